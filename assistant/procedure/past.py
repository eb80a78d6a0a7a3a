"""What the record has of a door before a job: read from the log's head, told at its place. Pure.

The history travels with the texts of a log's head, so that a replay needs no other job.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import replace
from decimal import Decimal

from pydantic import ValidationError

from assistant.calc.base import calculate
from assistant.calc.trends import changed, in_words
from assistant.errors import RangeError, UnitError
from assistant.procedure import effects as fx
from assistant.procedure.model import Beside, History, Job, Pack, PastReading, Plan, Step
from assistant.procedure.moves import with_point
from assistant.procedure.run import Run
from assistant.quantity import Quantity, same_dimension, unit

TEXT, REASONS = "history", "carried-reasons"  # keys among the texts of a head


def wanted(packs: Iterable[Pack]) -> tuple[str, ...]:
    """Names of the readings whose history these packs ask for; none if it is no visit."""
    found = [each for pack in packs for each in pack.beside.items()]
    names = [name for name, beside in found] + [beside.left for _, beside in found if beside.left]
    return tuple(dict.fromkeys(names))


def texts(history: History) -> dict[str, str]:
    """A history as texts of a head. The reasons of its points, which somebody dictated, stand
    alone, so that they can be taken out and the rest stays."""
    points = tuple(each.model_copy(update={"reason": ""}) for each in history.points)
    bare = history.model_copy(update={"points": points})
    reasons = "\n".join(" ".join(each.reason.split()) for each in history.points)
    found = {TEXT: bare.model_dump_json(exclude_defaults=True)}
    return found | ({REASONS: reasons} if reasons.strip() else {})


def read(kept: Mapping[str, str]) -> History | None:
    """The history among the texts of a head; None if there is none that can be read."""
    try:
        history = History.model_validate_json(kept[TEXT])
    except (KeyError, TypeError, ValidationError):
        return None
    reasons = str(kept.get(REASONS, "")).split("\n")
    if len(reasons) != len(history.points):  # none was given, or they were taken out
        return history
    pairs = zip(history.points, reasons, strict=True)
    points = tuple(each.model_copy(update={"reason": reason}) for each, reason in pairs)
    return history.model_copy(update={"points": points})


def key_of(name: str, keys: Iterable[str]) -> str:
    """Which of the keys a reading's name falls under ("earth" for "earth.motor-frame"), or ""."""
    return next((key for key in keys if name == key or name.startswith(f"{key}.")), "")


def last(history: History | None, name: str) -> PastReading | None:
    """A reading at the last visit that took it."""
    found = history.readings.get(name, ()) if history else ()
    return found[-1] if found else None


def with_history(pack: Pack, job: Job) -> Job:
    """The job with the record's last readings in place of the facts that its sheet has of them."""
    facts = dict(job.facts)
    for name, beside in pack.beside.items():
        if not beside.fact:
            continue
        found = _counting(job.history, name, beside)
        if found and found.value is not None:
            symbol = unit(found.unit).symbol
            facts[beside.fact] = f"{format(found.value, 'f')} {symbol}".strip()
        elif beside.otherwise:
            facts.setdefault(beside.fact, beside.otherwise)
    return job if facts == job.facts else job.model_copy(update={"facts": facts})


def _counting(history: History | None, name: str, beside: Beside) -> PastReading | None:
    """The reading, or the one as left where the same or a later visit took it."""
    own, left = last(history, name), last(history, beside.left)
    return left if left and (own is None or left.on >= own.on) else own


def left(plan: Plan) -> tuple[fx.CarriedOver, ...]:
    """What earlier jobs left, told when a visit begins; nothing where the record wasn't asked."""
    history = plan.job.history
    if history is None or not plan.pack.beside:
        return ()
    on = history.visits[-1].on if history.visits else ""
    return (fx.CarriedOver(last=on, points=tuple(each.told() for each in history.points)),)


def beside(plan: Plan, step: Step, now: Quantity | None) -> tuple[fx.Beside, ...]:
    """The reading of a step at the last visit, and what the trade makes of the change."""
    spec = step.expects.reading
    how = plan.pack.beside.get(key_of(spec.name, plan.pack.beside)) if spec else None
    if spec is None or how is None:
        return ()
    found = _counting(plan.job.history, spec.name, how)
    if found is None:
        return ()
    change, unusual = _change(how, now, found)
    values = _values(plan.job.history, spec.name, now)
    told = fx.Beside(
        step=step.id,
        name=spec.name,
        job=found.job,
        on=found.on,
        value=found.value,
        unit=found.unit,
        special=found.special,
        told=not how.fact,
        change=change,
        unusual=unusual,
        trend=in_words(values) if changed(values) else "",
        visits=len(values),
    )
    return (told,)


def _values(history: History | None, name: str, now: Quantity | None) -> list[float]:
    """The reading at each visit that has it as a number, and now, in today's unit."""
    if history is None or now is None:
        return []
    found: list[float] = []
    for each in history.readings.get(name, ()):
        if each.value is not None and same_dimension(each.unit, now.unit):
            found.append(float(Quantity(each.value, each.unit).to(now.unit).value))
    return [*found, float(now.value)]


def _change(how: Beside, now: Quantity | None, then: PastReading) -> tuple[Decimal | None, str]:
    if not how.by or now is None or then.value is None:
        return None, ""
    with suppress(RangeError, UnitError):  # a zero, or another unit than today's: just told
        given = {"now": now, "last": Quantity(then.value, then.unit)}
        result = calculate(how.by, given)
        change = next(iter(result.values.values())).value
        low, high = result.at_least, result.at_most
        usual = (low is None or change >= low.value) and (high is None or change <= high.value)
        return round(change, 1), "" if usual else how.unusual or "That is more than usual"
    return None, ""


def kept_open(plan: Plan, run: Run, step: Step, answer: str) -> tuple[Run, tuple[fx.Effect, ...]]:
    """An open point where the answer says so; another answer takes the step's own off the list."""
    if answer != step.keeps_open:
        others = tuple(p for p in run.open_points if (p.step, p.cause) != (step.id, "carried"))
        return replace(run, open_points=others), ()
    history = plan.job.history
    points = history.points if history else ()
    number = step.id.rpartition(".")[2]
    reason = ""
    if step.for_each == "carried-point" and number.isdigit() and int(number) <= len(points):
        reason = points[int(number) - 1].reason
    point = fx.OpenPoint(step=step.id, cause="carried", reason=reason)
    return with_point(run, point), (point,)
