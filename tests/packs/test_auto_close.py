"""Automatic closing: set only where every safety test of the door has passed, group by group."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.calc import calculate
from assistant.plans import plan_from_files
from assistant.procedure import gates, machine, values
from assistant.procedure.load import load_job
from assistant.procedure.run import TakenReading
from assistant.quantity import quantity
from tests.packs.cases import STEPS

JOBS = {n: load_job(STEPS / "jobs" / f"pinewharf-{n}.yaml") for n in ("d1", "d4")}
# D4 with a second beam and measured forces, D1 without its buttons: doors that no sheet has.
JOBS["d4-more"] = JOBS["d4"].model_copy(
    update={"options": (*JOBS["d4"].options, "second-light-beam", "force-gauge", "presence-sensor")}
)
JOBS["d1-bare"] = JOBS["d1"].model_copy(
    update={"options": ("safety-edge", "light-beam", "auto-close", "drive", "encoder")}
)
PLANS = {name: plan_from_files(["auto-close"], job) for name, job in JOBS.items()}
GROUPS = {
    "timer-loop": "loop",
    "timer-second-loop": "second-loop",
    "timer-motion": "motion-sensor",
    "timer-button": "push-button",
    "timer-cord": "pull-cord",
}


def own(name):
    return {step.id: step for step in PLANS[name].steps if step.pack == "auto-close"}


def taken(names, verdict="pass"):
    return {n: TakenReading(n, quantity("1"), "", verdict, None, False, 0) for n in names}


def safety_readings(name):
    """Every safety reading that the door's own tests ask for."""
    job = JOBS[name]
    packs = ["safety-tests"] + ["force-tests"] * ("force-gauge" in job.options)
    steps = [s for s in plan_from_files(packs, job).steps if s.pack in packs]
    specs = [s.expects.reading or s.expects.derived for s in steps if s.limits and s.limits.safety]
    return [spec.name for spec in specs]


def asked(name, readings, answers=None):
    run = replace(machine.start(PLANS[name]), readings=readings, answers=answers or {})
    return {i for i, step in own(name).items() if gates.applies(PLANS[name], run, step)}


@pytest.mark.parametrize("name", JOBS)
def test_timer_is_set_only_where_every_safety_test_of_the_door_has_passed(name):
    needed = safety_readings(name)
    assert {"edge-reversals", "beam-reversals", "power-cuts"} <= set(needed)
    passed = taken(needed)
    assert "timer-set" in asked(name, passed) and "timer-off" not in asked(name, passed)
    for each in needed:
        for readings in (
            passed | taken([each], "fail"),
            {n: t for n, t in passed.items() if n != each},
        ):
            assert asked(name, readings) == {"timer-off"}, each
    assert asked(name, {}) == {"timer-off"}


@pytest.mark.parametrize("name", ["d1", "d4-more"])
def test_a_failed_second_beam_keeps_the_timer_off(name):
    needed = safety_readings(name)
    assert "second-beam-reversals" in needed
    failed = taken(needed) | taken(["second-beam-reversals"], "fail")
    assert asked(name, failed) == {"timer-off"}


@pytest.mark.parametrize("option", ["safety-edge", "light-beam"])
def test_a_door_without_edge_or_without_beam_never_gets_a_timer(option):
    """EN 12453 table 1, from memory: automatic control takes both, C and D."""
    left = tuple(o for o in JOBS["d1"].options if o != option)
    job = JOBS["d1"].model_copy(update={"options": left})
    tests = plan_from_files(["safety-tests"], job)
    passed = taken(s.expects.reading.name for s in tests.steps if s.limits and s.limits.safety)
    plan = plan_from_files(["auto-close"], job)
    run = replace(machine.start(plan), readings=passed)
    applying = {s.id for s in plan.steps if s.pack == "auto-close" and gates.applies(plan, run, s)}
    assert applying == {"timer-off"}


@pytest.mark.parametrize("name", JOBS)
def test_each_activation_group_of_the_door_is_tried_with_a_caution_of_its_own(name):
    steps = own(name)
    for step_id, option in GROUPS.items():
        fitted = option in JOBS[name].options
        if step_id == "timer-motion":
            fitted = fitted or "presence-sensor" in JOBS[name].options
        assert (step_id in steps) == fitted, step_id
        if fitted:
            step = steps[step_id]
            assert step.caution and step.helper and step.who == "both" and step.mark
            assert step.expects.choice["it closed too soon"] == "timer-early-failed"


def test_a_group_that_isnt_right_leads_back_or_takes_the_timer_off_again():
    passed = taken(safety_readings("d1"))
    for answer in ("it closed too soon", "the way stayed free"):
        asked_now = asked("d1", passed, {"timer-loop": answer})
        assert "timer-taken-back" in asked_now
    assert "timer-taken-back" not in asked("d1", passed, {"timer-loop": "closed in time"})
    assert own("d1")["timer-taken-back"].expects.choice == {"timer is off": "end"}


def test_the_customer_hears_money_at_a_freezer_and_chooses_no_less_than_the_traffic_needs():
    passed = taken(safety_readings("d1"))
    assert {"timer-hourly", "timer-price", "timer-cost"} <= asked("d1", passed)
    assert not {"timer-hourly", "timer-cost"} & set(own("d4"))
    spec = own("d1")["timer-cost"].expects.derived
    assert spec.calc == "dwell-cost" and set(spec.given) >= {"price", "cycles", "hours", "days"}
    traffic = {"traffic-vehicle": "6 m", "traffic-slow": "1.2 m/s", "traffic-reach": "4 m",
               "traffic-zone": "2 m"}  # fmt: skip
    had = {n: replace(taken([n])[n], quantity=quantity(v)) for n, v in traffic.items()}
    run = replace(machine.start(PLANS["d1"]), readings=passed | had)
    found = values.bounds(PLANS["d1"], run, own("d1")["timer-set"])
    least = calculate(
        "auto-close-dwell",
        {"vehicle": "6 m", "speed": "1.2 m/s", "sensor": "4 m", "zone": "2 m",
         "start": "fully-open", "traffic": "vehicles"},
    ).at_least.value  # fmt: skip
    assert found.at_least == least == 12  # 12 m / 1.2 m/s + 2 s
