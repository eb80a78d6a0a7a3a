"""A job set up in a form: a sheet that comes with the packs, made over for the door as it stands.

What is made is a job file with its terminal plan in a folder of the caller's; a job begun from it
keeps both texts in its record, so the folder may go afterwards.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from assistant.check import Fault, sound_alike
from assistant.errors import JobError
from assistant.plans import find_job
from assistant.procedure import tailor, terminals
from assistant.procedure.load import job_texts, load_job, load_terminals

PLAN_MAX_BYTES = 40_000  # some 500 lines; a door's panel has 40 to 100


@dataclass(frozen=True)
class PlanFile:
    """A terminal plan that was handed in: its file's name and what is in it."""

    name: str
    raw: bytes


def make_over(sheet: str, wanted: Mapping[str, Any], plan: PlanFile | None, folder: Path) -> Path:
    """The job file, made in `folder`, of a sheet with changes and perhaps another plan.

    wanted: any of options, supply, instruments; see `tailor.Changes`.

    Raises
    ------
    JobError
        Says which field, file and line is wrong.
    """
    changes = tailor.changes_of(wanted, "set-up")
    texts = job_texts(find_job(sheet))
    if plan is not None and len(plan.raw) > PLAN_MAX_BYTES:
        large = f"has {len(plan.raw)} bytes; at most {PLAN_MAX_BYTES} are taken"
        raise JobError(plan.name, None, f"{large}; leave only the lines of this door in it")
    path = folder / "job.yaml"
    text = tailor.tailored(texts.pop("job.yaml"), changes, plan.name if plan else None)
    path.write_text(text, encoding="utf-8")
    for name, text in texts.items() if plan is None else ():
        kept = folder / name
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_text(text, encoding="utf-8")
    if plan is not None:
        (folder / tailor.plan_name(plan.name)).write_bytes(plan.raw)
    load_job(path)
    return path


def plan_faults(path: Path) -> tuple[int, list[Fault]]:
    """How many lines a made-over job's terminal plan has, and what is wrong with them."""
    plan = load_terminals(path)
    found = terminals.faults(plan, load_job(path), sound_alike)
    return len(plan.rows), [Fault(each.file, each.line, None, each.problem) for each in found]
