"""Working a sum out in conversation: what is missing is asked, one input at a time.

A sum changes no step, gate or energy state. It is closed by whatever moves the job, and its
result can become the limit of the present step's reading where the pack sets none.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from assistant.calc.base import CALCULATORS, Input, Result, calculate
from assistant.errors import RangeError, UnitError
from assistant.procedure import effects as fx
from assistant.procedure import inputs
from assistant.procedure.moves import Now, Outcome, again, enter, stay
from assistant.procedure.run import Run
from assistant.procedure.sums import Sum, known
from assistant.quantity import Quantity, quantity, same_dimension, unit

MORE = "that is all"  # ends a list of values


def begin(what: inputs.Calculate, now: Now, run: Run) -> Outcome:
    """Open a sum: nothing may be pending and nothing be moving."""
    if run.pending or run.marked or what.name not in CALCULATORS:
        return again(now, run, "not here")
    asked = Sum(what.name, known=known(CALCULATORS[what.name], now.plan.job))
    return _on(now, replace(run, sum=asked))


def take(what: Any, now: Now, run: Run) -> Outcome | None:
    """An answer within a sum; None for what has nothing to do with it."""
    sum_ = run.sum
    assert sum_ is not None
    if isinstance(what, inputs.Command):
        if what.name == "disregard" or (what.name == "go-ahead" and sum_.result):
            return _close(now, run)
        if what.name == "working" and sum_.result:
            return stay(run, fx.SumWorking(name=sum_.name, lines=sum_.result.working))
        if what.name == "use-result" and sum_.result:
            return _use(now, run, sum_.result)
        return None
    if isinstance(what, inputs.Correction) and what.reading is None and what.tag is None:
        return _on(now, replace(run, sum=_without_last(sum_)))
    asked = sum_.asked()
    if isinstance(what, inputs.Reading):
        text = _as_text(what, asked)
        return _taken(now, run, asked, text) if asked and text else again(now, run, "not here")
    if isinstance(what, inputs.Choice):
        if asked and asked.many and what.answer == MORE and _count(sum_, asked.name):
            ended = replace(sum_, ended=sum_.ended | {asked.name})
            return _on(now, replace(run, sum=ended))
        fits = asked is not None and not asked.unit
        return _taken(now, run, asked, what.answer) if fits else again(now, run, "not here")
    return None


def _as_text(what: inputs.Reading, asked: Input | None) -> str:
    if asked is None or not asked.unit or what.value is None:
        return ""
    return f"{format(what.value, 'f')} {unit(what.unit or asked.unit).symbol}".strip()


def _count(sum_: Sum, name: str) -> int:
    return sum(each == name for each, _ in sum_.given)


def _without_last(sum_: Sum) -> Sum:
    """The last answer taken back; a complete list is open again."""
    left = sum_.given[:-1]
    names = {name for name, _ in left}
    return replace(sum_, given=left, ended=sum_.ended & names, result=None)


def _taken(now: Now, run: Run, asked: Input | None, text: str) -> Outcome:
    assert run.sum is not None and asked is not None
    if asked.unit:
        try:
            _fits(asked, text)
        except (RangeError, UnitError) as problem:
            return stay(run, fx.SumRefused(name=run.sum.name, input=asked.name, why=str(problem)))
    given = (*run.sum.given, (asked.name, text))
    return _on(now, replace(run, sum=replace(run.sum, given=given)))


def _fits(asked: Input, text: str) -> None:
    value = quantity(text)
    if not same_dimension(value.unit, asked.unit):
        raise RangeError(asked.name, text, f"a value in {asked.unit}s")
    number = float(value.to(asked.unit).value)
    low, high = asked.low, asked.high
    if (low is not None and number < low) or (high is not None and number > high):
        span = f"from {low if low is not None else '-'} to {high if high is not None else '-'}"
        raise RangeError(asked.name, text, f"{span} {asked.unit}")


def _on(now: Now, run: Run) -> Outcome:
    """Ask the next input, or work the result out."""
    sum_ = run.sum
    assert sum_ is not None
    asked = sum_.asked()
    if asked is not None:
        last = sum_.given[-1] if sum_.given else None
        return stay(
            run,
            fx.SumAsked(
                name=sum_.name,
                input=asked.name,
                help=asked.help,
                unit=asked.unit,
                choices=asked.choices,
                last=last,
                known=() if sum_.given else sum_.known,
            ),
        )
    try:
        result = calculate(sum_.name, sum_.values())
    except (RangeError, UnitError) as problem:
        name = getattr(problem, "name", "")
        fitting = [each for each, _ in sum_.given if each in name] or [
            each for each, _ in sum_.given[-1:]
        ]
        given = tuple(row for row in sum_.given if row[0] not in fitting)
        left = replace(sum_, given=given, ended=sum_.ended - set(fitting))
        told = fx.SumRefused(name=sum_.name, input=fitting[0] if fitting else "", why=str(problem))
        if not fitting:  # the job's own values don't fit: nothing to ask
            out = _close(now, run)
            return Outcome(out.run, (told, *out.effects))
        return stay(replace(run, sum=left), told)
    run = replace(run, sum=replace(sum_, result=result))
    return stay(run, _done(sum_.name, result, sum_.values()))


def _done(name: str, result: Result, given: dict[str, Any]) -> fx.SumDone:
    return fx.SumDone(
        name=name,
        given={key: _shown(value) for key, value in given.items()},
        values=tuple((key, q.value, q.unit) for key, q in result.values.items()),
        words=dict(result.words),
        at_least=(result.at_least.value, result.at_least.unit) if result.at_least else None,
        at_most=(result.at_most.value, result.at_most.unit) if result.at_most else None,
        source=result.source,
        how=result.kind,
        working=result.working,
        assumptions=result.assumptions,
        warnings=result.warnings,
    )


def _shown(value: Any) -> str:
    many = isinstance(value, tuple)
    return ", ".join(each.written() for each in value) if many else str(value)


def _use(now: Now, run: Run, result: Result) -> Outcome:
    """The result's limits hold for the present step's reading, where the pack sets none."""
    step = now.plan.step(run.at) if run.at else None
    spec = step.expects.reading if step else None
    edges = [edge for edge in (result.at_least, result.at_most) if edge is not None]
    if step is None or spec is None or step.limits or not edges:
        return again(now, run, "no-use")
    if not all(same_dimension(edge.unit, spec.unit) for edge in edges):
        return again(now, run, "no-use")
    name = unit(spec.unit).name

    def edge(value: Quantity | None) -> Any:
        return None if value is None else value.to(name).value

    bounds = fx.Bounds(
        at_least=edge(result.at_least),
        at_most=edge(result.at_most),
        unit=name,
        source=result.source,
        working=result.working,
        warnings=result.warnings,
    )
    run = replace(run, limits={**run.limits, spec.name: bounds})
    out = _close(now, run)
    return Outcome(out.run, (fx.LimitSet(step=step.id, bounds=bounds), *out.effects))


def _close(now: Now, run: Run) -> Outcome:
    """Back to where the job stood; the step is spoken again."""
    out = enter(now, replace(run, sum=None), run.at)
    return Outcome(out.run, (fx.SumEnded(), *out.effects))
