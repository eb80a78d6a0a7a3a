"""Travel limits: by touches, by held button, then one run each way; texts follow the door."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from assistant.calc import calculate
from assistant.plans import plan_from_files
from assistant.procedure import gates, machine, values
from assistant.procedure.load import load_job
from assistant.procedure.run import TakenReading
from assistant.quantity import quantity
from tests.packs.cases import STEPS

JOBS = {n: load_job(STEPS / "jobs" / f"pinewharf-{n}.yaml") for n in ("d1", "d2", "d3", "d4")}
PLANS = {name: plan_from_files(["travel-limits"], job) for name, job in JOBS.items()}


def own(name):
    return {step.id: step for step in PLANS[name].steps if step.pack == "travel-limits"}


@pytest.mark.parametrize("name", JOBS)
def test_every_movement_has_a_mark_both_people_and_a_caution_of_its_own(name):
    moving = [step for step in own(name).values() if step.mark]
    assert len(moving) >= 8
    for step in moving:
        assert step.who == "both" and step.helper and step.caution, step.id
    for step in own(name).values():
        if step.say.startswith(("Close", "Open", "Touch", "Now open", "Raise")):
            assert step.mark, step.id


@pytest.mark.parametrize("name", JOBS)
def test_full_speed_comes_after_both_limits_were_reached_by_held_button(name):
    order = list(own(name))
    held = max(order.index("limits-hand-low"), order.index("limits-hand-high"))
    runs = [order.index("limits-full-close"), order.index("limits-full-open")]
    assert held < min(runs)
    marks = {own(name)[order[i]].mark for i in runs}
    assert marks == {"close the door", "open the door"}  # one mark a run


@pytest.mark.parametrize("name", JOBS)
def test_each_failed_trial_is_met_by_its_own_answer_alone(name):
    steps, plan = own(name), PLANS[name]
    failed = [s for s in steps.values() if s.id.endswith("-failed")]
    assert len(failed) >= 3
    fresh = machine.start(plan)
    for step in failed:
        assert not gates.applies(plan, fresh, step), step.id
        into = [(s, a) for s in steps.values() for a, to in (s.expects.choice or {}).items()
                if to == step.id]  # fmt: skip
        assert into
        for source, answer in into:
            assert gates.applies(plan, replace(fresh, answers={source.id: answer}), step)


def test_over_travel_switches_are_tried_before_an_end_is_near_where_a_door_has_them():
    for name in ("d3", "d4"):
        order = list(own(name))
        tried = [order.index(i) for i in ("limits-over-closed", "limits-over-open")]
        assert max(tried) < order.index("limits-low-near")
        assert own(name)["limits-over-open"].expects.choice["the door starts"] == (
            "limits-over-failed"
        )
    assert not any("over" in i for i in (*own("d1"), *own("d2")))


def test_a_sliding_gate_has_no_floor_and_no_top():
    texts = " ".join(f"{s.say} {s.brief} {s.helper}" for s in own("d4").values())
    assert not re.findall(r"\b(floor|top|curtain|seal|below the edge|counterweight)\b", texts)
    assert {"limits-low-touch-gate", "limits-opening-width"} <= set(own("d4"))
    assert {"limits-low-touch", "limits-opening-height"} <= set(own("d1")) & set(own("d2"))


def test_values_are_read_of_encoders_and_switches_are_looked_at():
    counted = {"limits-low-set", "limits-high-set"}
    switched = {"limits-low-switch", "limits-high-switch"}
    for name, job in JOBS.items():
        has, lacks = (counted, switched) if "encoder" in job.options else (switched, counted)
        assert has <= set(own(name)) and not lacks & set(own(name))


def test_clear_opening_is_held_against_the_size_on_the_order():
    for name, fact in (("d1", "order-height"), ("d2", "order-height"), ("d3", "order-height"),
                       ("d4", "order-width")):  # fmt: skip
        (step,) = [s for s in own(name).values() if s.id.startswith("limits-opening-")]
        found = values.bounds(PLANS[name], machine.start(PLANS[name]), step)
        size = quantity(JOBS[name].facts[fact]).to("metre").value
        slack = quantity(JOBS[name].facts["size-slack"]).to("metre").value
        assert (found.at_least, found.at_most) == (size - slack, size + slack)


def test_beam_point_takes_the_way_of_the_edge_during_the_delay():
    """25 mm or the way during the delay, at most 75 mm: common practice, no source."""
    plan, step = PLANS["d1"], own("d1")["limits-beam-point"]
    taken = TakenReading("limits-beam-height", quantity("300 mm"), "", "none", None, False, 0)
    run = replace(machine.start(plan), readings={"limits-beam": taken})
    found = values.bounds(plan, run, step)
    assert (found.at_least, found.at_most, found.safety) == (330, 375, True)  # 0.6 m/s x 0.05 s
    still = calculate("beam-disable-position", {"beam": "300 mm"})
    assert still.at_least.value == 325
    assert not step.mark and own("d1")["limits-beam-near"].mark
