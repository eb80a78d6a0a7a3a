"""What the packs cover, phase by phase of the work, as a table for the documentation."""

from __future__ import annotations

from pathlib import Path

from assistant import resources
from assistant.procedure.load import load_job, load_pack
from assistant.procedure.model import Job, Pack

HEAD = (
    "| phase of the job | pack | steps | of these by door or value | readings | worked out | "
    "sources | doors |\n|---|---|---|---|---|---|---|---|"
)


def table(folder: Path | None = None) -> str:
    """One row a pack, in the order of the most complete job sheet, frames first."""
    folder = folder or resources.steps_dir()
    jobs = {path.stem: load_job(path) for path in sorted((folder / "jobs").glob("*.yaml"))}
    packs = [load_pack(path.parent) for path in sorted(folder.glob("*/pack.yaml"))]
    order = list(dict.fromkeys(n for _, job in sorted(jobs.items()) for n in job.packs))
    packs.sort(key=lambda pack: order.index(pack.name) if pack.name in order else -1)
    return "\n".join((HEAD, *(_row(pack, jobs) for pack in packs)))


def _row(pack: Pack, jobs: dict[str, Job]) -> str:
    steps = pack.steps
    readings = sum(step.expects.reading is not None for step in steps)
    sums = sum(bool(step.expects.derived or (step.limits and step.limits.calc)) for step in steps)
    varied = sum(step.when is not None or step.for_each is not None for step in steps)
    doors = sorted({_door(n) for n, job in jobs.items() if pack.name in job.packs})
    cells = (pack.title, f"`{pack.name}`", len(steps), varied, readings, sums, len(pack.sources))
    return "| " + " | ".join(map(str, (*cells, ", ".join(doors) or "all"))) + " |"


def _door(job: str) -> str:
    return job.removeprefix("pinewharf-").split("-")[0].upper()
