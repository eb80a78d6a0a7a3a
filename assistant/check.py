"""What is wrong with packs, jobs and terminal plans, found before anyone climbs a ladder."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from assistant import resources
from assistant.dialogue import grammar, sounds
from assistant.dialogue.phrases import spoken
from assistant.errors import FileError, ThirdhandError
from assistant.faults import check as guide_check
from assistant.faults.load import load_guide
from assistant.plans import find_pack, plan_from_files
from assistant.procedure import terminals
from assistant.procedure.load import bind, is_terminals, load_job, load_pack, load_terminals
from assistant.procedure.model import Job, Plan, Step, Terminal

_OWN = ("pack.yaml", "steps.yaml", "guide.yaml")  # a folder with one of these is one part


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
    """What was looked at: a pack, a pack bound to a job with its number of steps, or a terminal
    plan with its number of lines (`what` says which).

    notes: what is no fault and yet worth knowing, such as conductors that no pack asks for.
    """

    name: str
    steps: int
    what: str = "steps"
    notes: tuple[str, ...] = ()


def check(paths: Iterable[Path]) -> tuple[list[Checked], list[Fault]]:
    """Look at each path: a pack's folder, a job file, a terminal plan, or a folder of them.

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
    if path.is_file() or any((path / each).exists() for each in _OWN):
        return [path]
    packs = sorted(each.parent for each in path.glob("*/pack.yaml"))
    jobs = sorted(each for each in path.glob("*.yaml")) + sorted(path.glob("jobs/*.yaml"))
    guides = sorted(each.parent for each in path.glob("*/guide.yaml"))
    found = packs + jobs + guides
    if not found:
        raise FileError(str(path), None, "holds neither a pack (pack.yaml) nor a job (*.yaml)")
    return found


def _look(path: Path) -> Iterator[tuple[Checked, list[Fault]]]:
    if (path / "guide.yaml").exists():
        yield _guide(path)
        return
    if path.is_dir():
        pack = load_pack(path)
        yield Checked(pack.name, len(pack.steps)), []
        for file in sorted((resources.steps_dir() / "jobs").glob("*.yaml")):
            job = load_job(file)
            if pack.name in job.packs:
                yield _bound(path, [path], job)
        return
    if is_terminals(path):
        yield _terminals(path, None)
        return
    job = load_job(path)
    yield _terminals(path, job)
    for name in job.packs:
        yield _bound(path, [find_pack(name)], job)
    if len(job.packs) > 1:
        yield _bound(path, [find_pack(name) for name in job.packs], job)


def _guide(path: Path) -> tuple[Checked, list[Fault]]:
    """A fault guide by itself, against the packs that it names, and at every job."""
    guide = load_guide(path)
    steps = resources.steps_dir()
    packs = {each.parent.name: load_pack(each.parent) for each in steps.glob("*/pack.yaml")}
    jobs = [load_job(each) for each in sorted((steps / "jobs").glob("*.yaml"))]
    wrong = guide_check.missing(guide, packs)
    wrong += guide_check.at_jobs(guide, jobs) + guide_check.sounding_alike(guide)
    faults = [Fault(str(path), None, known, problem) for known, problem in wrong]
    return Checked(f"fault guide {path.name}", len(guide.symptoms), "symptoms", ()), faults


def _bound(file: Path, packs: list[Path], job: Job) -> tuple[Checked, list[Fault]]:
    plan = plan_from_files(packs, job)
    return Checked(f"{plan.pack.name} for {job.job}", len(plan.steps)), _alike(file, plan)


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


# --- the terminal plan ---------------------------------------------------------------------------


def _terminals(path: Path, job: Job | None) -> tuple[Checked, list[Fault]]:
    """A terminal plan by itself, and against options and packs of the job that names it."""
    plan = load_terminals(path)
    faults = [
        Fault(each.file, each.line, each.step, each.problem)
        for each in terminals.faults(plan, job, sound_alike)
    ]
    name = f"terminal plan of {job.job}" if job else f"terminal plan {path.name}"
    alone = Checked(name, len(plan.rows), "lines")
    if job is None:
        return alone, faults
    each_pack = {name: _steps_for(name, job) for name in job.packs}
    if not all(each_pack.values()):
        return alone, faults  # what they ask for is not known
    every = [step for steps in each_pack.values() for step in steps]
    notes = [
        f"pack {name} doesn't ask for {_listed(left)}"
        for name, steps in each_pack.items()
        if (left := terminals.unasked_of_touched(plan.rows, steps))
    ]
    if left := terminals.unasked(plan.rows, every):
        notes.append(f"no pack of this job asks for {_listed(left)}")
    return replace(alone, notes=tuple(notes)), faults


def _steps_for(name: str, job: Job) -> tuple[Step, ...]:
    """A pack's own steps for a job; where they don't fit, the pack's own check says it."""
    try:
        return bind(load_pack(find_pack(name)), job).steps
    except FileError:
        return ()


def sound_alike(one: str, other: str) -> bool:
    """True if a recogniser may take one name of a terminal plan for the other."""
    return sounds.alike(spoken(one), spoken(other))


def _listed(rows: list[Terminal]) -> str:
    """'brake (brake plus, brake minus); loop (loop shield)'."""
    devices: dict[str, list[str]] = {}
    for row in rows:
        devices.setdefault(row.device, []).append(row.conductor)
    return "; ".join(f"{device} ({', '.join(names)})" for device, names in devices.items())
