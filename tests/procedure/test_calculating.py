"""A sum in the middle of a job: asked input by input, worked out, never a step's answer."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from assistant.calc.base import CALCULATORS, calculate
from assistant.dialogue.interpret import interpret_text
from assistant.dialogue.language import language
from assistant.procedure import effects as fx
from assistant.procedure import inputs, machine
from assistant.procedure.sums import Sum
from tests.packs.cases import Played

AT_ONCE = "right-door"  # where every job begins


@pytest.fixture
def job() -> Played:
    return Played.start("power-entry", "pinewharf-d1")


def say(job: Played, *lines: str) -> None:
    for line in lines:
        job.turn({"lead": line})


def done(job: Played) -> fx.SumDone:
    return next(each for each in job.effects if isinstance(each, fx.SumDone))


def test_what_is_missing_is_asked_and_the_result_is_that_of_the_command(job):
    say(job, "calculate voltage drop")
    assert job.last(fx.SumAsked, "known") == (
        ("volts", "480 V"), ("phases", "three-phase"), ("code-set", "american"),
    )  # fmt: skip
    asked = [job.last(fx.SumAsked, "input")]
    for line in ("twelve amps", "eighty five feet"):
        say(job, line)
        asked.append(job.last(fx.SumAsked, "input"))
    assert asked == ["current", "length", "section"]
    say(job, "twelve gauge")
    given = {"current": "12 A", "length": "85 ft", "section": "12 AWG", "volts": "480 V"}
    same = calculate("voltage-drop", given | {"phases": "three-phase", "code-set": "american"})
    assert done(job).values[0][1] == next(iter(same.values.values())).value
    assert done(job).working == same.working and done(job).source == same.source


def test_a_list_of_values_ends_when_the_person_says_so(job):
    """NEMA MG 1's example: 460, 467, 450 V; mean 459, farthest 9 V off, 1.96 % (from memory)."""
    say(job, "calculate voltage unbalance", "four six zero", "four six seven", "four five zero")
    say(job, "that is all")
    assert round(done(job).values[0][1], 2) == Decimal("1.96")


def test_an_empty_list_does_not_end(job):
    say(job, "calculate voltage unbalance", "that is all")
    assert job.run.sum and job.run.sum.result is None


def test_a_value_outside_the_range_is_refused_with_the_range_and_asked_again(job):
    say(job, "calculate control run", "minus two amps")
    assert "it must be from 0 to 50 ampere" in job.last(fx.SumRefused, "why")
    assert job.run.sum.asked().name == "current"


def test_a_wrong_unit_is_refused(job):
    say(job, "calculate control run", "two volts")
    assert "ampere" in job.last(fx.SumRefused, "why")


def test_correction_takes_the_last_answer_back(job):
    say(job, "calculate control run", "two amps", "correction", "three amps")
    assert job.run.sum.given == (("current", "3 A"),)


def test_no_answer_reaches_the_step_while_a_calculation_is_open(job):
    say(job, "calculate control run")
    for what in (inputs.Confirm(word="done"), inputs.Affirm(), inputs.Tag(digits="12")):
        job.put(what, "lead", "touch")
    assert AT_ONCE not in job.run.marks and job.run.at == AT_ONCE


@pytest.mark.parametrize("line", ["stop work", "power is on", "lock off"])
def test_what_holds_everywhere_holds_within_a_calculation(job, line):
    say(job, "calculate control run", line)
    assert job.run.held == "stop-work" or job.run.sum is None


def test_going_on_speaks_the_step_again_and_leaves_it_undone(job):
    say(job, "calculate control run", "disregard")
    assert job.run.sum is None and AT_ONCE not in job.run.marks
    assert job.last(fx.Entered, "step") == AT_ONCE


def test_a_result_becomes_the_limit_of_a_step_without_one_and_only_there():
    job = Played.start("travel-guard", "pinewharf-d2")
    step = next(s for s in job.plan.steps if s.expects.reading and not s.limits)
    marks = {s.id: "done" for s in job.plan.steps[: job.plan.index(step.id)]}
    ledger = replace(job.run.ledger, state="energised", was_live=True)
    job.run = replace(job.run, at=step.id, marks=marks, ledger=ledger)
    say(job, "calculate closing dwell", "six metres", "one metre per second")
    assert job.run.sum and job.run.sum.result and job.run.sum.result.at_least
    say(job, "use it as the limit")
    bounds = job.run.limits[step.expects.reading.name]
    assert bounds.at_least == job.last(fx.LimitSet, "bounds").at_least
    say(job, "all clear", "point five seconds", "affirm")
    assert job.last(fx.Judged, "verdict") == "fail" and job.run.failing == step.id


def test_a_packs_own_limit_is_never_replaced(job):
    step = next(s for s in job.plan.steps if s.base == "null-leads")
    ledger = replace(job.run.ledger, state="proven-dead")
    job.run = replace(job.run, at=step.id, ledger=ledger)
    assert step.limits
    say(job, "calculate earth resistance", "eighty five feet", "twelve gauge")
    assert job.run.sum.result.at_most
    say(job, "use it as the limit")
    assert not job.run.limits and job.last(fx.AskAgain, "why") == "no-use"


def test_a_calculation_is_replayed_from_its_events(job):
    events = []
    real = machine.advance

    def kept(plan, run, event):
        events.append(event)
        return real(plan, run, event)

    machine.advance = kept
    try:
        say(job, "calculate control run", "two amps", "forty metres", "twelve gauge")
    finally:
        machine.advance = real
    again = machine.replay(job.plan, [inputs.Event(input=inputs.Started(), at_s=0.0), *events])
    assert again.sum == job.run.sum and again.sum.result


@pytest.mark.parametrize("name", language().texts["sums"]["names"])
def test_every_calculation_that_has_a_name_can_be_asked_for_by_voice(name, job):
    """Each input that must be given is a value, a choice, or a size of a conductor."""
    for each in CALCULATORS[name].inputs:
        assert each.default or each.unit or each.choices or each.name == "section", each.name
    for said in language().texts["sums"]["names"][name]:
        found = interpret_text(f"calculate {said}", job.plan, job.run)
        assert found == inputs.Calculate(name=name)


@pytest.mark.parametrize("size", language().texts["sums"]["sizes"])
def test_every_size_that_has_a_name_is_a_size(size):
    assert calculate("conductor-size", {"section": size}).values


def test_a_calculation_that_is_complete_from_the_job_sheet_needs_no_question(job):
    say(job, "calculate supply tolerance")
    assert isinstance(job.run.sum, Sum) and done(job).at_least
