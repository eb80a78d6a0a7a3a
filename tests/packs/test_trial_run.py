"""Trial run: two people or one who sees all, by hand and by itself, brake and motor judged."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from assistant.plans import plan_from_files
from assistant.procedure import gates, machine, values
from assistant.procedure.load import load_job
from assistant.procedure.run import TakenReading
from assistant.quantity import quantity
from tests.packs.cases import STEPS

JOBS = {n: load_job(STEPS / "jobs" / f"pinewharf-{n}.yaml") for n in ("d1", "d2", "d3", "d4")}
PLANS = {name: plan_from_files(["trial-run"], job) for name, job in JOBS.items()}


def own(name):
    return {step.id: step for step in PLANS[name].steps if step.pack == "trial-run"}


def reading(value, verdict="pass"):
    return TakenReading("x", quantity(value), "", verdict, None, False, 0)


def asked(name, **readings):
    run = replace(
        machine.start(PLANS[name]), readings={n.replace("_", "-"): r for n, r in readings.items()}
    )
    return {i for i, step in own(name).items() if gates.applies(PLANS[name], run, step)}


def test_one_person_alone_has_to_see_all_of_the_doorway_before_full_speed():
    assert {"trial-ready-alone", "trial-alone-failed"} <= set(own("d2"))
    assert "trial-ready" not in own("d2")
    choice = own("d2")["trial-ready-alone"].expects.choice
    assert choice == {"all is in sight": "trial-housing", "some is hidden": "trial-alone-failed"}
    spoken = " ".join(f"{s.say} {s.caution.text if s.caution else ''}" for s in own("d2").values())
    assert not re.search(r"\bboth\b", spoken)
    for name in ("d1", "d3", "d4"):
        assert "trial-ready" in own(name) and "trial-ready-alone" not in own(name)


@pytest.mark.parametrize("name", JOBS)
def test_every_movement_has_a_mark_both_people_and_a_caution_of_its_own(name):
    moving = [step for step in own(name).values() if step.mark]
    assert len(moving) >= 2
    for step in moving:
        assert step.who == "both" and step.helper and step.caution, step.id


@pytest.mark.parametrize("name", JOBS)
def test_the_brake_is_tried_from_full_speed_and_watched_for_a_minute(name):
    steps = own(name)
    gate = "-gate" if name == "d4" else ""
    assert steps[f"trial-stop{gate}"].limits.at_most == 300
    assert steps[f"trial-drift{gate}"].limits.at_most == 5
    weak = f"trial-brake-weak{gate}"
    assert weak not in asked(name, brake_way=reading("90 mm"), brake_drift=reading("0 mm"))
    assert weak in asked(name, brake_way=reading("400 mm", "fail"))
    assert weak in asked(name, brake_drift=reading("20 mm", "fail"))
    assert steps[weak].expects.choice == {"start over": f"trial-stop{gate}"}


def test_a_gate_hears_of_no_curtain_no_leaf_and_no_fall():
    texts = " ".join(
        f"{s.say} {s.brief} {s.reason} {s.caution.text if s.caution else ''}"
        for s in own("d4").values()
    )
    assert not re.search(r"\b(curtain|leaf|top|floor|falls?|under it|lining)\b", texts)


def test_automatic_cycles_are_run_only_where_the_timer_was_left_on():
    for name in ("d1", "d4"):
        assert "trial-auto" not in asked(name)
        assert "trial-auto" in asked(name, auto_close_left=reading("14 s"))
        assert "trial-auto-weak" in asked(name, trial_auto_cycles=reading("4", "fail"))
    assert not {"trial-auto"} & (set(own("d2")) | set(own("d3")))


@pytest.mark.parametrize(("before", "least", "most"), [("18", 15, 58), ("-22", -25, 18)])
def test_the_motors_heat_is_held_against_where_it_began(before, least, most):
    """Common practice, no source: 40 K in ten cycles; 7 degC at a motor of 18 is another spot."""
    plan, step = PLANS["d1"], own("d1")["trial-heat"]
    had = {"motor-housing-before": reading(f"{before} degC")}
    found = values.bounds(plan, replace(machine.start(plan), readings=had), step)
    assert (found.at_least, found.at_most) == (least, most)
    assert values.verdict(found, quantity("7 degC")) == ("fail" if before == "18" else "pass")
