"""First movement: what a trial finds wrong is put right where it may be, and then tried anew."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.calc import calculate
from assistant.plans import plan_from_files
from assistant.procedure import gates, machine, values
from assistant.procedure.load import load_job
from assistant.procedure.run import TakenReading
from assistant.quantity import quantity
from tests.packs.cases import STEPS, Played

JOBS = {n: load_job(STEPS / "jobs" / f"pinewharf-{n}.yaml") for n in ("d1", "d2", "d3", "d4")}
PLANS = {name: plan_from_files(["power-up"], job) for name, job in JOBS.items()}


def own(name):
    return {step.id: step for step in PLANS[name].steps if step.pack == "power-up"}


def asked(name, answers):
    """Ids of the pack's steps that come up at a door after these answers."""
    plan = PLANS[name]
    run = replace(machine.start(plan), answers=answers)
    return {i for i, step in own(name).items() if gates.applies(plan, run, step)}


@pytest.mark.parametrize("name", JOBS)
def test_every_movement_has_a_mark_both_people_and_a_caution_of_its_own(name):
    moving = [step for step in own(name).values() if step.mark]
    assert len(moving) >= 3
    for step in moving:
        assert step.who == "both" and step.helper and step.caution, step.id
        assert step.needs.energy == "energised", step.id


@pytest.mark.parametrize("name", JOBS)
def test_props_and_cranks_are_for_the_dead_panel_and_the_live_one_only_looks(name):
    steps = own(name)
    assert steps["power-middle"].needs.energy == "proven-dead"
    assert steps["power-clear"].expects.choice["a block is in"] == "power-middle"
    for step in steps.values():
        if step.needs.energy == "energised":
            assert "block it" not in step.say and "crank" not in step.say, step.id


@pytest.mark.parametrize("name", JOBS)
def test_every_answer_but_the_right_one_leads_to_what_to_do(name):
    """Nothing but the first answer of a trial goes on to the next step."""
    steps = own(name)
    trials = [s for s in steps.values() if s.mark and s.expects.choice]
    assert {s.id for s in trials} >= {"power-jog"}
    for step in trials:
        targets = list(step.expects.choice.values())
        assert targets[0] == "next" and "next" not in targets[1:], step.id
        for target in targets[1:]:
            assert steps[target].when, target


def test_leads_are_changed_by_phases_and_only_where_the_answer_was_the_leads():
    leads = {"power-jog": "it closes", "power-wrong": "at the leads"}
    setting = {"power-jog": "it closes", "power-wrong": "in the settings"}
    changed = {"power-leads-read", "power-swap", "power-swap-single", "power-swap-tight"}
    for name in ("d1", "d3", "d4"):
        assert asked(name, leads) & changed == changed - {"power-swap-single"}
    assert asked("d2", leads) & changed == changed - {"power-swap"}
    for name in JOBS:
        assert not asked(name, setting) & changed
        assert "power-direction" in asked(name, setting)
        assert own(name)["power-direction"].expects.choice == {"start over": "power-jog"}


def test_a_second_wrong_jog_asks_for_the_leads_again():
    """The way back begins at the first of the steps it takes, so none of them is passed over."""
    ids = [step.id for step in PLANS["d1"].steps]
    back = ids.index("power-leads-read")
    assert all(back < ids.index(each) for each in ("power-swap", "power-swap-tight"))
    for each in ("power-hums", "power-brake-mend", "power-count-look", "power-start-stuck"):
        assert ids.index("power-swap-tight") < ids.index(each) < ids.index("power-middle")


def test_leads_have_the_names_of_the_terminal_plan():
    swap = own("d1")["power-swap"].say
    assert "leads U and V" in swap
    renamed = tuple(
        row.model_copy(update={"conductor": {"U": "T1", "V": "T2", "W": "T3"}[row.conductor]})
        if row.device == "motor" and row.role == "conductor"
        else row
        for row in JOBS["d1"].terminals
    )
    plan = plan_from_files(["power-up"], JOBS["d1"].model_copy(update={"terminals": renamed}))
    assert "leads T1 and T2" in plan.step("power-swap").say
    assert "T3" in plan.step("power-current-third").say
    bare = plan_from_files(["power-up"], JOBS["d1"].model_copy(update={"terminals": ()}))
    assert "leads number 1 and number 2" in bare.step("power-swap").say


def test_three_leads_are_clamped_on_three_phases_and_one_on_one():
    amps = {n: [s.expects.reading.name for s in own(n).values() if s.expects.reading] for n in JOBS}
    for name in ("d1", "d3", "d4"):
        assert {"motor-amps-opening", "motor-amps-second", "motor-amps-third"} <= set(amps[name])
        assert own(name)["power-current-even"].limits.calc == "current-unbalance"
    assert not any(each.endswith(("second", "third", "unbalance")) for each in amps["d2"])


@pytest.mark.parametrize("name", JOBS)
def test_too_little_current_fails_as_well_as_too_much(name):
    """Each lead must carry a fifth of the plate at least; zero is heard and fails."""
    plan, run = PLANS[name], machine.start(PLANS[name])
    plate = quantity(JOBS[name].facts["motor-current"])
    for step in own(name).values():
        if step.expects.reading and step.expects.reading.name.startswith("motor-amps"):
            found = values.bounds(plan, run, step)
            assert step.expects.reading.plausible[0] == 0
            assert float(found.at_least) == pytest.approx(0.2 * float(plate.value))
            assert found.at_most >= plate.value
    overload = values.bounds(plan, run, own(name)["power-overload-plate"])
    assert float(overload.at_least) == pytest.approx(0.9 * float(plate.value))


def test_overload_is_held_against_the_sizing_where_the_survey_was_done():
    plan, run = PLANS["d1"], machine.start(PLANS["d1"])
    assert {"power-overload-set", "power-overload-plate"} & asked("d1", {}) == {
        "power-overload-plate"
    }
    taken = {
        "overload-value": TakenReading(
            "overload-value", quantity("3.75 A"), "", "pass", None, True, 0
        ),
        "motor-plate-current": TakenReading("x", quantity("3.0 A"), "", "none", None, False, 0),
    }
    run = replace(run, readings=taken)
    steps = own("d1")
    assert gates.applies(plan, run, steps["power-overload-set"])
    assert not gates.applies(plan, run, steps["power-overload-plate"])
    found = values.bounds(plan, run, steps["power-overload-set"])
    # NEC 430.32(A)(1), read: 125 percent of a plate of 3 A.
    assert (
        found.at_most
        == calculate(
            "overload-setting", {"current": "3 A", "code-set": "american", "service-factor": "1.15"}
        ).at_most.value
    )
    survey = plan_from_files(["survey", "power-up"], JOBS["d1"])
    assert survey.step("overload-value").limits.calc == "overload-setting"


def test_doors_without_encoder_have_their_limit_switches_preset_by_hand_before_power():
    switches = {"power-cam-closed", "power-cam-open"}
    assert switches <= set(own("d2")) & set(own("d4"))
    assert not switches & (set(own("d1")) | set(own("d3")))
    for step_id in switches:
        assert own("d4")[step_id].needs.energy == "proven-dead"


def test_a_motor_that_hums_is_looked_at_by_its_phases_and_brake():
    hums = {"power-jog": "it only hums"}
    assert {"power-hums", "power-hums-windings"} <= asked("d4", hums)
    assert {"power-hums", "power-hums-capacitor", "power-hums-brake"} <= asked("d2", hums)
    assert "power-hums-brake" not in asked("d4", hums)


def test_no_answer_of_the_first_jog_reaches_the_amps_but_that_it_opens():
    """Played at door D4, each answer from the jog on: only the right one leads on."""
    for answer, at in (("it closes", "power-wrong"), ("it stands still", "power-still"),
                       ("it only hums", "power-hums"), ("it opens", "power-right")):  # fmt: skip
        played = Played.start("power-up", "pinewharf-d4")
        run = replace(played.run, at="power-jog", marked=True)
        played.run = replace(run, ledger=replace(run.ledger, state="energised"))
        played.turn({"lead": answer})
        played.turn({"lead": "affirm"})
        assert played.run.at == at
