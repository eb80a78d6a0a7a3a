"""Edge radio and beam heads: cautions, texts by door, a way back from each wrong answer."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from assistant.plans import plan_from_files
from assistant.procedure import gates, machine
from assistant.procedure.load import load_job
from assistant.procedure.run import TakenReading
from assistant.quantity import quantity
from tests.packs.cases import STEPS

JOBS = {n: load_job(STEPS / "jobs" / f"pinewharf-{n}.yaml") for n in ("d1", "d2", "d3", "d4")}
JOBS["d3-radio"] = JOBS["d3"].model_copy(
    update={"options": (*JOBS["d3"].options, "wireless-edge", "second-light-beam")}
)
PLANS = {name: plan_from_files(["alignment"], job) for name, job in JOBS.items()}


def own(name):
    return {step.id: step for step in PLANS[name].steps if step.pack == "alignment"}


@pytest.mark.parametrize("name", JOBS)
def test_whatever_moves_the_door_or_puts_somebody_at_its_post_has_a_caution_of_its_own(name):
    steps = own(name)
    heads = [s for s in steps.values() if s.section == "beam heads"]
    moving = [s for s in steps.values() if s.mark]
    assert heads and bool(moving) == ("wireless-edge" in JOBS[name].options)
    for step in heads + moving:
        assert step.caution, step.id
    for step in moving:
        assert step.who == "both" and step.helper, step.id


@pytest.mark.parametrize("name", ["d1", "d3-radio", "d4"])
def test_signal_is_read_at_three_places_and_the_open_one_is_told_by_the_door(name):
    steps = own(name)
    read = [s.expects.reading.name for s in steps.values() if s.expects.reading]
    assert read == ["edge-signal-closed", "edge-signal-middle", "edge-signal-open"]
    texts = " ".join(f"{s.say} {s.brief} {s.helper} {s.mark} {s.reason}" for s in steps.values())
    assert bool(re.search(r"\b(top|curtain)\b", texts)) == (name == "d1")


@pytest.mark.parametrize("place", ["edge-signal-closed", "edge-signal-middle", "edge-signal-open"])
def test_a_weak_signal_at_one_place_is_mended_and_all_three_are_read_again(place):
    plan, weak = PLANS["d4"], own("d4")["align-weak"]
    run = machine.start(plan)
    assert not gates.applies(plan, run, weak)
    taken = TakenReading(place, quantity("20 percent"), "", "fail", None, False, 0)
    assert gates.applies(plan, replace(run, readings={place: taken}), weak)
    assert weak.expects.choice == {"start over": "align-signal-closed"}


@pytest.mark.parametrize("name", JOBS)
def test_every_wrong_answer_leads_to_a_failed_step_that_it_alone_brings_up(name):
    plan, steps = PLANS[name], own(name)
    fresh = machine.start(plan)
    for step in steps.values():
        answers = list((step.expects.choice or {}).items())
        for answer, target in answers[1:]:
            assert target.endswith("-failed"), step.id
            assert not gates.applies(plan, fresh, steps[target]), target
            said = replace(fresh, answers={step.id: answer})
            assert gates.applies(plan, said, steps[target]), (step.id, answer)


def test_crosstalk_is_tried_both_ways_where_two_beams_are_fitted():
    crossed = {"align-beam-cross", "align-cross-second", "align-cross-failed"}
    assert crossed <= set(own("d1")) & set(own("d3-radio"))
    assert not crossed & (set(own("d2")) | set(own("d4")))
    assert "first transmitter" in own("d1")["align-beam-cross"].say
    assert "second transmitter" in own("d1")["align-cross-second"].say
