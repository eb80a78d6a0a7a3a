"""What a job's log says, gathered for print. Pure: entries in, facts out, nothing decided anew.

Entries are read as plain data and with care: a record outlives the version that wrote it, and
texts in it may have been taken out since.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from typing import Any

from assistant.procedure import past
from assistant.procedure.model import History, Plan, Step
from assistant.records.report import words

_BLANK = re.compile(r"\{(\w+)\}")


@dataclass(frozen=True)
class Moment:
    """Where in the log something stands: entry, wall time, who."""

    seq: int
    wall: str
    mono_s: float
    who: str


@dataclass(frozen=True)
class Measure:
    """A reading that was taken or worked out; `replaced` is the entry of the later one."""

    at: Moment
    step: str
    name: str
    value: str | None
    unit: str
    special: str
    bounds: Mapping[str, Any] | None
    verdict: str
    derived: bool
    working: tuple[str, ...]
    warnings: tuple[str, ...]
    instrument: str
    due: str
    said: str
    replaced: int | None = None

    @property
    def out_of_date(self) -> bool:
        """True if the instrument's calibration had run out on the day of the reading."""
        return bool(self.instrument and self.due) and words.day(self.due) < words.day(self.at.wall)

    @property
    def failed(self) -> bool:
        """True if this is the last value of its name and is outside its limits."""
        return self.verdict == "fail" and self.replaced is None


@dataclass(frozen=True)
class Answer:
    """A step that was answered: the word, the choice, or the tag and person."""

    at: Moment
    step: str
    text: str
    tag: str = ""
    person: str = ""


@dataclass(frozen=True)
class Lock:
    """A person's lock: on, and how it ended; `off` None while it is on."""

    person: str
    tag: str
    on: Moment
    off: Moment | None = None
    ended: str = ""


@dataclass(frozen=True)
class Told:
    """Something that happened, with words for it: a void, a state, a refusal, a hold, a note."""

    at: Moment
    kind: str
    text: str
    step: str = ""


@dataclass(frozen=True)
class Point:
    """An item of the open-points list; `closed` is where a later answer settled it."""

    at: Moment
    step: str
    cause: str
    reason: str
    closed: Moment | None = None


@dataclass
class Facts:
    """All that the record's pages are made of."""

    job_id: str
    head: Mapping[str, Any]
    plan: Plan | None
    measures: list[Measure] = field(default_factory=list)
    places: dict[str, int] = field(default_factory=dict)  # name -> its last among `measures`
    answers: list[Answer] = field(default_factory=list)
    locks: list[Lock] = field(default_factory=list)
    told: list[Told] = field(default_factory=list)
    points: list[Point] = field(default_factory=list)
    heard: list[tuple[float, float, bool]] = field(default_factory=list)  # [s], 0 to 1, taken
    entered: dict[str, Moment] = field(default_factory=dict)  # step -> when it was first spoken
    first: Moment | None = None
    last: Moment | None = None
    finished: bool = False
    ended: Moment | None = None  # when it was finished, the first time since a step was entered
    here: str = ""  # the step that was entered last
    besides: dict[str, Mapping[str, Any]] = field(default_factory=dict)  # reading -> `fx.Beside`
    passed_over: list[str] = field(default_factory=list)  # steps an answer led past
    unsettled: list[str] = field(default_factory=list)  # steps not answered at the log's end

    @property
    def job(self) -> Mapping[str, Any]:
        """The job as the log's head keeps it."""
        found = self.head.get("job")
        return found if isinstance(found, Mapping) else {}

    @cached_property
    def history(self) -> History | None:
        """What the record had of the door when the job began; None if the job is no visit."""
        kept = self.head.get("texts")
        return past.read(kept) if isinstance(kept, Mapping) else None

    @property
    def title(self) -> str:
        """What the record of this job is called."""
        return "Commissioning record" if self.history is None else "Service record"

    @property
    def standing(self) -> list[Measure]:
        """The last value of each reading."""
        return [each for each in self.measures if each.replaced is None]

    @property
    def open(self) -> list[Point]:
        """Points that nothing has settled."""
        return [each for each in self.points if each.closed is None]

    def step(self, step_id: str) -> Step | None:
        """A step of the plan, None if there is no plan or no such step."""
        return self._steps.get(step_id)

    @cached_property
    def _steps(self) -> dict[str, Step]:
        return {each.id: each for each in (self.plan.steps if self.plan else ())}

    def label(self, step_id: str) -> str:
        """A step in print: its short form without the question mark."""
        step = self.step(step_id)
        text = (step.brief or step.say) if step else words.spaced(step_id.replace(".", ": "))
        if step and step.for_each == "carried-point":
            text = step.item  # what is asked about it is no part of the point
        text = _BLANK.sub(r"each \1", text.rstrip("?. "))  # who and what, known only when asked
        return words.first_up(words.signed(text)) or step_id

    def section(self, step_id: str) -> str:
        """Pack and section that a step belongs to: 'Isolation'."""
        step = self.step(step_id)
        if step is None:
            return "Further readings"
        parts = getattr(self.plan and self.plan.pack, "parts", ())
        titles = {part.name: part.title for part in parts}
        title = titles.get(getattr(step, "pack", ""), "")
        section = words.first_up(step.section)
        return f"{title}: {step.section}" if title else section

    def of(self, *kinds: str) -> list[Told]:
        """What was told of some kinds, in order."""
        return [each for each in self.told if each.kind in kinds]


def gather(
    job_id: str, head: Mapping[str, Any], entries: Iterable[Any], plan: Plan | None
) -> Facts:
    """The facts of a job.

    Parameters
    ----------
    job_id : str
    head : mapping
        What entry 1 holds under "start".
    entries : iterable of store.Entry
        All entries in order.
    plan : Plan or None
        What the kept texts bind to; without it steps are named by their ids alone.
    """
    facts = Facts(job_id, head, plan)
    instruments = facts.job.get("instruments") or ()
    due = {str(each.get("id")): str(each.get("calibration_due") or "") for each in instruments}
    for entry in entries:
        body = entry.body if isinstance(entry.body, dict) else {}
        event = _mapping(body.get("event"))
        at = Moment(entry.seq, str(entry.wall), float(entry.mono_s), str(event.get("who") or ""))
        facts.first = facts.first or at
        facts.last = at
        _event(facts, at, event)
        for effect in body.get("effects") or ():
            if isinstance(effect, dict):
                _effect(facts, at, effect, due)
    return facts


def _mapping(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}


def _event(facts: Facts, at: Moment, event: Mapping[str, Any]) -> None:
    what = _mapping(event.get("input"))
    kind = str(what.get("kind") or "")
    if event.get("via") == "voice" and isinstance(event.get("confidence"), int | float):
        facts.heard.append((at.mono_s, float(event["confidence"]), kind != "not-understood"))
    if kind in ("restarted", "person-joined", "crew-changed"):
        people = what.get("people") or [what.get("person")]
        who = ", ".join(str(each) for each in people if each)
        facts.told.append(Told(at, kind, who))


def _effect(facts: Facts, at: Moment, effect: dict[str, Any], due: Mapping[str, str]) -> None:
    kind, step = str(effect.get("kind") or ""), str(effect.get("step") or "")
    if kind == "judged":
        _judged(facts, at, step, effect, due)
    elif kind == "taken":
        _taken(facts, at, step, effect)
    elif kind == "open-point":
        facts.points = [p for p in facts.points if p.step != step or p.closed]
        cause, reason = str(effect.get("cause") or ""), str(effect.get("reason") or "")
        facts.points.append(Point(at, step, cause, reason))
    elif kind == "voided":
        _voided(facts, at, str(effect.get("cause") or ""), str(effect.get("was") or ""))
    elif kind == "energy-now":
        facts.told.append(Told(at, "state", str(effect.get("state") or "")))
        if effect.get("state") == "unknown":
            _end_locks(facts, at, "proof void")
    elif kind == "refused":
        facts.told.append(Told(at, "refused", _missing(facts, effect), step))
    elif kind == "held":
        facts.told.append(Told(at, "held", str(effect.get("cause") or "")))
    elif kind == "resumed":
        facts.told.append(Told(at, "resumed", ""))
    elif kind == "noted":
        facts.told.append(Told(at, "note", str(effect.get("text") or ""), facts.here))
    elif kind == "handed-over":
        facts.told.append(Told(at, "handed-over", "lead and helper changed over"))
    elif kind == "entered":
        facts.entered.setdefault(step, at)
        facts.here, facts.finished, facts.ended = step, False, None
    elif kind == "finished":
        facts.finished, facts.ended = True, facts.ended or at
    elif kind == "beside":
        facts.besides[str(effect.get("name") or "")] = effect


def _missing(facts: Facts, effect: Mapping[str, Any]) -> str:
    """What a gate missed, in words, each kind once."""
    found: dict[str, list[str]] = {}
    for code in effect.get("missing") or ():
        kind, _, what = str(code).partition(":")
        if kind == "dead" and facts.step(f"dead.{what}"):
            what = facts.label(f"dead.{what}")
        elif kind == "unsettled":
            what = facts.label(what)
        found.setdefault(kind, []).append(words.spaced(what))
    return "; ".join(words.missing(kind, ", ".join(what)) for kind, what in found.items())


def _judged(
    facts: Facts, at: Moment, step: str, effect: dict[str, Any], due: Mapping[str, str]
) -> None:
    name, instrument = str(effect.get("name") or ""), str(effect.get("instrument") or "")
    value = effect.get("value")
    taken = Measure(
        at=at,
        step=step,
        name=name,
        value=None if value is None else str(value),
        unit=str(effect.get("unit") or ""),
        special=str(effect.get("special") or ""),
        bounds=effect.get("bounds") if isinstance(effect.get("bounds"), dict) else None,
        verdict=str(effect.get("verdict") or "none"),
        derived=bool(effect.get("derived")),
        working=tuple(map(str, effect.get("working") or ())),
        warnings=tuple(map(str, effect.get("warnings") or ())),
        instrument=instrument,
        due=str(effect.get("calibration_due") or due.get(instrument, "")),
        said=str(effect.get("said") or ""),
    )
    before = facts.places.get(name)
    if before is not None:
        facts.measures[before] = replace(facts.measures[before], replaced=at.seq)
    facts.places[name] = len(facts.measures)
    facts.measures.append(taken)
    if taken.verdict != "fail":  # as `values.judge` closes them
        facts.points = [
            replace(p, closed=at) if p.step == step and p.cause == "failed" and not p.closed else p
            for p in facts.points
        ]


def _taken(facts: Facts, at: Moment, step: str, effect: dict[str, Any]) -> None:
    said = str(effect.get("word") or effect.get("answer") or "")
    tag, person = str(effect.get("tag") or ""), str(effect.get("person") or "")
    answer = Answer(at, step, words.spaced(said), tag, person)
    facts.answers.append(answer)
    facts.points = [  # as `past.kept_open` takes them off; it opens them anew right after
        replace(p, closed=at) if p.step == step and p.cause == "carried" and not p.closed else p
        for p in facts.points
    ]
    if not tag:
        return
    place = next(
        (i for i, k in enumerate(facts.locks) if k.off is None and k.person == person), None
    )
    found = facts.step(step)
    off = found.proves == "lock-off" if found else place is not None
    if place is not None:
        ended = "taken off, own tag said" if off else f"tag said again, entry {at.seq}"
        facts.locks[place] = replace(facts.locks[place], off=at, ended=ended)
    if not off:
        facts.locks.append(Lock(person, tag, at))


def _voided(facts: Facts, at: Moment, cause: str, was: str) -> None:
    text = words.CAUSES.get(cause, words.spaced(cause))
    facts.told.append(Told(at, "void", f"{text}|{was}"))
    _end_locks(facts, at, f"proof void: {text}")


def _end_locks(facts: Facts, at: Moment, ended: str) -> None:
    facts.locks = [
        k if k.off else replace(k, off=at, ended=f"{ended}; to be proven anew") for k in facts.locks
    ]


def duration_s(facts: Facts) -> float:
    """From the first entry to the last, by the wall clock. [s]"""
    ends = [words.when(each.wall) for each in (facts.first, facts.last) if each]
    found: Iterator[datetime] = (each for each in ends if each)
    start = next(found, None)
    end = next(found, start)
    return (end - start).total_seconds() if start and end else 0.0
