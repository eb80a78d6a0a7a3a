"""Fault cases as data and how they are played: by the guide's choice and by a fixed order.

`cases/*.yaml` holds one symptom a file: `symptom`, and `cases`, a list of

    cause: beam-misaligned        what is really wrong
    door: freezer                 of doors.yaml, or a job of steps/jobs
    says: "door won't close"      the technician's words for the symptom
    finds: {beam-light: acting}   what is to be seen at this door; a number for a reading; a check
                                  that isn't listed comes out as on a sound door
    wrong: {edge-light: acting}   what the technician says instead, being mistaken
    unknown: [path-look]          "don't know"
    cant: [edge-ohms]             "can't do that one"
    record: {...}                 the job's record, as `faults.door` describes it
    within: 10                    checks, at most, until the true cause is named; 8 if not said

A cause that is named and isn't it costs a look, which counts as a check. The energy state is that
of a real ledger: each change goes through `procedure.energy.move`, rule by rule.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML

from assistant.faults import effects as fx
from assistant.faults import inputs, machine
from assistant.faults.choose import cost_min, may_enter
from assistant.faults.door import Door, DoorCheck, for_job
from assistant.faults.load import load_guide
from assistant.procedure import energy
from assistant.procedure.load import check_job, load_job
from assistant.procedure.model import EnergyState

ROOT = Path(__file__).parents[2]
HERE = Path(__file__).parent
MOST_TURNS = 60
WITHIN = 8  # checks, where a case says nothing else


@dataclass(frozen=True)
class Case:
    """One invented fault."""

    file: str
    number: int
    symptom: str
    cause: str
    door: str
    says: str
    within: int
    finds: dict[str, Any]
    wrong: dict[str, Any]
    unknown: tuple[str, ...]
    cant: tuple[str, ...]
    record: dict[str, Any]

    @property
    def name(self) -> str:
        return f"{self.file}-{self.number}"


@cache
def guide():
    return load_guide(ROOT / "steps" / "faults")


def read(path: Path) -> Any:
    return YAML(typ="safe").load(path.read_text(encoding="utf-8"))


@cache
def all_cases() -> tuple[Case, ...]:
    found = []
    for path in sorted((HERE / "cases").glob("*.yaml")):
        tree = read(path)
        assert set(tree) == {"symptom", "cases"}, path
        for number, row in enumerate(tree["cases"], 1):
            row = {
                "finds": {},
                "wrong": {},
                "unknown": (),
                "cant": (),
                "record": {},
                "within": WITHIN,
                **row,
            }
            row = {**row, "unknown": tuple(row["unknown"]), "cant": tuple(row["cant"])}
            found.append(Case(file=path.stem, number=number, symptom=tree["symptom"], **row))
    return tuple(found)


@cache
def _doors() -> dict[str, Any]:
    return dict(read(HERE / "doors.yaml"))


def door_for(name: str, record: dict[str, Any] | None = None) -> Door:
    """The guide at a door of doors.yaml, or of steps/jobs."""
    if name in _doors():
        row = {"job": name, "site": "Pinewharf Cold Store", "door": name, **_doors()[name]}
        return for_job(guide(), check_job(row, "doors.yaml"), record)
    return for_job(guide(), load_job(ROOT / "steps" / "jobs" / f"{name}.yaml"), record)


@dataclass
class Worker:
    """A technician who answers from a case, and moves the ledger as it has to be moved."""

    case: Case
    door: Door
    minutes: float = 0.0
    checks: int = 0
    trail: list[str] = field(default_factory=list)
    ledger: energy.Ledger = field(init=False)

    def __post_init__(self) -> None:
        self.ledger = energy.start(("lead",), ("l1-l2",), False, 0, in_service=True)

    @property
    def state(self) -> EnergyState:
        return self.ledger.state

    def _move(self, name: str, **given: str) -> None:
        moved = energy.move(self.ledger, name, 0.0, person="lead", tag="7", pair="l1-l2", **given)
        assert isinstance(moved, energy.Ledger), f"{name} from {self.state}: {moved}"
        self.ledger = moved

    def change_to(self, state: EnergyState) -> None:
        """Take the ledger's own way to a state."""
        self.minutes += self.door.guide.costs.to[state]
        if energy.satisfies(self.state, state):
            return
        if state == "energised":
            if self.state in ("locked", "isolated"):
                self.change_to("proven-dead")
            ways = ("work-over", "lock-off") if self.state == "proven-dead" else ()
            for move in (*ways, "clear-to-energise", "power-on"):
                self._move(move)
            return
        chain = ["disconnect-off", "lock", "try-start", "tester-before", "dead", "tester-after"]
        until = {"isolated": 1, "locked": 3, "proven-dead": 6}[state]
        for move in chain[:until]:
            self._move(move)
        if state == "proven-dead":
            self._move("lockout-confirmed")

    def answer(self, name: str) -> inputs.Input:
        """What the technician says to a check; it is entered only where the ledger lets it."""
        here = self.door.checks[name]
        need = here.check.needs
        dead = self.state in ("isolated", "locked", "proven-dead", "released")
        if need == "unknown":
            assert not (here.check.powered and dead), f"{name} looks at a dead panel"
        else:
            assert energy.satisfies(self.state, need), f"{name} needs {need}, is {self.state}"
        self.checks += 1
        self.minutes += here.check.minutes + self.door.guide.costs.asking
        self.trail.append(name)
        if name in self.case.cant:
            return inputs.Unable(reason="can't get at it")
        if name in self.case.unknown:
            return inputs.DontKnow()
        found = self.case.wrong.get(name, self.case.finds.get(name, here.check.normal))
        return said(here, found)


def said(here: DoorCheck, found: Any) -> inputs.Input:
    """A finding as it is said: a number, or an outcome's word at this door."""
    if here.check.reading is None:
        word = next(word for word, outcome in here.spoken.items() if outcome == found)
        return inputs.Choice(answer=word)
    value = found if isinstance(found, int | float) else _number(here, str(found))
    return inputs.Reading(value=Decimal(str(value)))


def _number(here: DoorCheck, outcome: str) -> Decimal:
    """A value that is plainly of an outcome."""
    low, high = here.check.reading.plausible
    edges = [low, *here.check.bands, high]
    if here.check.bands:
        place = here.check.outcomes.index(outcome)
        return (edges[place] + edges[place + 1]) / 2
    bottom, top = here.at_least, here.at_most
    if outcome == "below":
        return bottom * Decimal("0.9")
    if outcome == "above":
        return top * Decimal("1.1")
    if bottom is None:
        return top * Decimal("0.5")
    return (bottom + (top if top is not None else bottom * Decimal("1.1"))) / 2


@dataclass(frozen=True)
class Result:
    """How a case came out. named: causes named, in order. checks: questions and looks."""

    case: Case
    named: tuple[str, ...]
    checks: int
    minutes: float
    trail: tuple[str, ...]

    @property
    def right(self) -> bool:
        """The true cause was named in the end."""
        return bool(self.named) and self.named[-1] == self.case.cause

    @property
    def first_right(self) -> bool:
        """The first cause that was named is the true one."""
        return bool(self.named) and self.named[0] == self.case.cause


def by_guide(case: Case) -> Result:
    """The case with the guide's own choice, through the machine."""
    door = door_for(case.door, case.record)
    worker = Worker(case, door)
    out = machine.advance(door, machine.start(), inputs.Seen(words=case.says))
    assert out.search.symptom == case.symptom, (case.name, out.effects)
    out = machine.advance(door, out.search, inputs.Safe())
    named: list[str] = []
    for _ in range(MOST_TURNS):
        last = out.effects[-1]
        if isinstance(last, fx.AskCheck):
            out = machine.advance(door, out.search, worker.answer(last.check))
        elif isinstance(last, fx.NeedsEnergy):
            worker.change_to(last.state)
            out = machine.advance(door, out.search, inputs.EnergyIs(state=worker.state))
        elif isinstance(last, fx.Named):
            named.append(last.cause)
            if last.cause == case.cause:
                break
            worker.checks += 1
            worker.trail.append(f"({last.cause})")
            out = machine.advance(door, out.search, inputs.Negative())
        else:
            break
    return Result(case, tuple(named), worker.checks, worker.minutes, tuple(worker.trail))


def by_fixed_order(case: Case) -> Result:
    """The case with the trade list's fixed order, then the remaining checks as they are written.

    Same tables, same threshold, same technician; only the choice differs.
    """
    return by_order(case, lambda door, symptom, left: left[0])


def by_order(case: Case, pick: Callable[[Door, Any, list[str]], str]) -> Result:
    """The case with any choice among the checks that are left, in the fixed order."""
    door = door_for(case.door, case.record)
    symptom = door.guide.symptoms[case.symptom]
    worker = Worker(case, door)
    now = door.chances(symptom)
    every = [check.id for check in door.checks_for(symptom, now)]
    left = [name for name in symptom.order if name in every]
    left += [name for name in every if name not in left]
    answers: list[tuple[str, str]] = []
    named: list[str] = []
    while True:
        now = door.chances(symptom, tuple(answers), tuple(named))
        likely = [(p, c) for c, p in now.items() if c not in (*named, "unlisted")]
        top = max(likely, default=(0.0, ""))
        if top[0] >= door.guide.sure or (not left and top[0] >= machine._GUESS):
            named.append(top[1])
            if top[1] == case.cause:
                break
            worker.checks += 1
            continue
        if not left:
            break
        name = pick(door, symptom, left)
        left.remove(name)
        check = door.guide.checks[name]
        if not may_enter(check, worker.state):
            worker.change_to("energised" if check.needs == "unknown" else check.needs)
        found = worker.answer(name)
        outcome = _outcome(door, name, found)
        if outcome:
            answers.append((name, outcome))
    return Result(case, tuple(named), worker.checks, worker.minutes, tuple(worker.trail))


def _outcome(door: Door, name: str, found: inputs.Input) -> str | None:
    here = door.checks[name]
    if isinstance(found, inputs.Choice):
        return here.spoken[found.answer]
    if isinstance(found, inputs.Reading) and found.value is not None:
        from assistant.quantity import Quantity, unit

        return here.outcome(Quantity(found.value, unit(here.check.reading.unit).name))
    return None


__all__ = ["Case", "all_cases", "by_fixed_order", "by_guide", "cost_min", "door_for", "guide"]
