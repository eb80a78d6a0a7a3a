"""What is wrong with packs, jobs and terminal plans, found before anyone climbs a ladder."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from assistant import resources
from assistant.dialogue import grammar
from assistant.errors import FileError, ThirdhandError
from assistant.job import find_pack
from assistant.procedure.load import bind, load_job, load_pack
from assistant.procedure.model import Job, Pack, Plan


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong, and where."""

    file: str
    line: int | None
    step: str | None
    problem: str

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}" if self.line else self.file
        at_step = f" step '{self.step}':" if self.step else ""
        return f"{where}:{at_step} {self.problem}"


@dataclass(frozen=True)
class Checked:
    """What was looked at: a pack, a job, or a pack bound to a job with its number of steps."""

    name: str
    steps: int


def check(paths: Iterable[Path]) -> tuple[list[Checked], list[Fault]]:
    """Look at each path: a pack's folder, a job file, or a folder of either.

    A pack is bound to every job that comes with the packs and names it, a job to its packs.
    """
    checked: list[Checked] = []
    faults: list[Fault] = []
    for path in paths:
        for part in _parts(path):
            try:
                for found in _look(part):
                    checked.append(found[0])
                    faults += found[1]
            except FileError as error:
                faults.append(Fault(error.file, error.line, error.step, error.problem))
            except ThirdhandError as error:
                faults.append(Fault(str(part), None, None, str(error)))
    return checked, faults


def _parts(path: Path) -> list[Path]:
    if path.is_file() or (path / "pack.yaml").exists() or (path / "steps.yaml").exists():
        return [path]
    packs = sorted(each.parent for each in path.glob("*/pack.yaml"))
    jobs = sorted(each for each in path.glob("*.yaml")) + sorted(path.glob("jobs/*.yaml"))
    found = packs + jobs
    if not found:
        raise FileError(str(path), None, "holds neither a pack (pack.yaml) nor a job (*.yaml)")
    return found


def _look(path: Path) -> Iterator[tuple[Checked, list[Fault]]]:
    if path.is_dir():
        pack = load_pack(path)
        yield Checked(pack.name, len(pack.steps)), []
        for file in sorted((resources.steps_dir() / "jobs").glob("*.yaml")):
            job = load_job(file)
            if pack.name in job.packs:
                yield _bound(path, pack, job)
        return
    job = load_job(path)
    for name in job.packs:
        folder = find_pack(name)
        yield _bound(path, load_pack(folder), job)


def _bound(file: Path, pack: Pack, job: Job) -> tuple[Checked, list[Fault]]:
    plan = bind(pack, job)
    return Checked(f"{pack.name} for {job.job}", len(plan.steps)), _alike(file, plan)


def _alike(file: Path, plan: Plan) -> list[Fault]:
    """Phrases of one step's state that a recogniser may take for each other."""
    return [
        Fault(
            str(file),
            None,
            step,
            f"'{one}' and '{other}' sound alike; choose other words for one of them",
        )
        for step, one, other in grammar.alike_in_plan(plan)
    ]
