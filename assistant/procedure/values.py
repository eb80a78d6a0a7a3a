"""Values against their limits: what holds for a step, and what a value comes to. No moves."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from decimal import Decimal
from typing import Literal

from assistant.calc.base import Result, calculate
from assistant.errors import RangeError, UnitError
from assistant.procedure import effects as fx
from assistant.procedure.instruments import in_hand, warning
from assistant.procedure.load import resolve
from assistant.procedure.model import Plan, Step
from assistant.procedure.run import Pending, Run, TakenReading
from assistant.quantity import Quantity, unit

Verdict = Literal["pass", "fail", "none"]
CANT_COMPUTE = (RangeError, UnitError, KeyError)  # what a sum raises when an input isn't there


def quantities(run: Run) -> dict[str, Quantity]:
    """Reading names with their quantities; over-range and the like are left out."""
    return {n: t.quantity for n, t in run.readings.items() if t.quantity is not None}


def bounds(plan: Plan, run: Run, step: Step) -> fx.Bounds | None:
    """The limits that hold for a step's value, in the step's unit; None where it has none.

    Raises
    ------
    RangeError, UnitError, KeyError
        If a computed limit can't be worked out from what is there.
    """
    limits = step.limits
    spec = step.expects.reading or step.expects.derived
    if limits is None or spec is None:
        return run.limits.get(spec.name) if spec else None
    name = unit(spec.unit).name
    if limits.calc is None:
        return fx.Bounds(
            at_least=limits.at_least,
            at_most=limits.at_most,
            unit=name,
            source=source(plan, step),
            safety=limits.safety,
        )
    result = calculate(limits.calc, resolve(limits.given, plan.job, quantities(run)))

    def edge(value: Quantity | None) -> Decimal | None:
        return None if value is None else value.to(name).value

    return fx.Bounds(
        at_least=edge(result.at_least),
        at_most=edge(result.at_most),
        unit=name,
        source=result.source,
        safety=limits.safety,
        working=result.working,
        warnings=result.warnings,
    )


def bounds_or_none(plan: Plan, run: Run, step: Step) -> fx.Bounds | None:
    """The limits for showing; None also while they can't be worked out yet."""
    with suppress(*CANT_COMPUTE):
        return bounds(plan, run, step)
    return None


def source(plan: Plan, step: Step) -> str:
    """A step's source as it is spoken and printed, "" if it has none."""
    if step.source is None:
        return ""
    found = plan.pack.sources[step.source.ref]
    place = f", {step.source.section}" if step.source.section else ""
    common = ", common practice" if found.kind == "common-practice" else ""
    return f"{found.title}{place}{common}"


def verdict(limits: fx.Bounds | None, value: Quantity | None) -> Verdict:
    """ "pass", "fail" or "none"; values are compared unrounded.

    `value` None stands for over range: above every upper limit, at or above every lower one.
    """
    if limits is None:
        return "none"
    if value is None:
        return "fail" if limits.at_most is not None else "pass"
    number = value.to(limits.unit).value
    low = limits.at_least is None or number >= limits.at_least
    high = limits.at_most is None or number <= limits.at_most
    return "pass" if low and high else "fail"


def judge(
    plan: Plan,
    run: Run,
    step: Step,
    value: Quantity | None,
    pending: Pending | None,
    result: Result | None,
    at_s: float,
) -> tuple[fx.Judged, Run]:
    """Hold a value against the step's limits and keep it among the readings.

    `pending` is the affirmed answer of a measured value, `result` the sum behind a derived one.
    Raises as `bounds` does.
    """
    spec = step.expects.reading or step.expects.derived
    if spec is None:
        raise KeyError(f"step {step.id} takes no value")
    limits = bounds(plan, run, step)
    found = verdict(limits, value)
    instrument = in_hand(plan, run, step)
    judged = fx.Judged(
        step=step.id,
        name=spec.name,
        value=value.value if value else None,
        unit=value.unit if value else unit(spec.unit).name,
        special=pending.special if pending else "",
        said=pending.said if pending else "",
        si_value=value.si()[0] if value else None,
        si_unit=value.si()[1] if value else "",
        bounds=limits,
        verdict=found,
        then="" if found != "fail" else step.limits.outside if step.limits else "stop",
        derived=result is not None,
        corrects=bool(pending and pending.corrects) or spec.name in run.readings,
        working=result.working if result else (),
        warnings=(result.warnings if result else ()) + warning(instrument, run.on),
        instrument=instrument.id if instrument else "",
    )
    taken = TakenReading(
        step=step.id,
        quantity=value,
        special=judged.special,
        verdict=judged.verdict,
        bounds=limits,
        derived=judged.derived,
        at_s=at_s,
    )
    points = run.open_points
    if found != "fail":  # a value that passes closes the step's "failed" point; the log has both
        points = tuple(p for p in points if not (p.step == step.id and p.cause == "failed"))
    kept = replace(run, readings={**run.readings, spec.name: taken}, open_points=points)
    return judged, kept


def source_names(step: Step, run: Run) -> list[str]:
    """Names of the readings that a derived step is made of, as far as they are there."""
    given = step.expects.derived.given if step.expects.derived else {}
    names: list[str] = []
    for text in given.values():
        if text.startswith("reading."):
            name = text.removeprefix("reading.")
            prefix = name.removesuffix("*")
            many = name != prefix
            names += [n for n in run.readings if n == name or (many and n.startswith(prefix))]
    return names
