"""Visits after the handover: a service begins with looks at the live door and ends with its next
date; after a repair each changed part leads to its settings, and to no others."""

from dataclasses import replace

import pytest

from assistant.plans import find_pack, plan_from_files
from assistant.procedure import gates, machine
from assistant.procedure.load import load_job, load_pack
from tests.packs.cases import STEPS

JOBS = {path.stem: load_job(path) for path in sorted((STEPS / "jobs").glob("*.yaml"))}
SERVICES = [name for name in JOBS if name.endswith("-service")]
REPAIRS = [name for name in JOBS if name.endswith("-repair")]
VISITS = ("service-looks", "service", "service-runs", "service-close", "repair-looks",
          "reset-after-repair")  # fmt: skip


@pytest.fixture(scope="module")
def plans():
    return {name: plan_from_files(JOBS[name].packs, JOBS[name]) for name in SERVICES + REPAIRS}


def first(plan, pack, energy=""):
    """Place of a pack's first step that needs this energy."""
    return next(
        i
        for i, step in enumerate(plan.steps)
        if step.pack == pack and (not energy or (step.needs and step.needs.energy == energy))
    )


@pytest.mark.parametrize("name", SERVICES)
def test_a_service_looks_at_the_live_door_then_works_dead_then_tests(plans, name):
    plan = plans[name]
    ids = [step.id for step in plan.steps]
    places = [
        first(plan, "service-looks"),
        ids.index("disconnect-off"),
        first(plan, "service", "proven-dead"),
        ids.index("lock-off"),
        first(plan, "reset-after-repair", "energised"),
        first(plan, "service-runs"),
        first(plan, "safety-tests"),
        first(plan, "service-close"),
    ]
    assert places == sorted(places)
    assert ids.count("disconnect-off") == 1  # isolated once


def test_what_settles_is_done_at_the_first_service_and_what_ages_at_the_yearly_one(plans):
    yearly = {step.base or step.id for step in plans["pinewharf-d3-service"].steps}
    new = {step.base or step.id for step in plans["pinewharf-d2-service"].steps}
    assert {"svc-insulation", "svc-motor-off", "svc-motor-back"} <= yearly - new
    assert {"svc-mains-torque", "svc-motor-torque"} <= new - yearly


def test_wear_follows_the_kind_of_door(plans):
    def ids(door):
        return {step.id for step in plans[f"pinewharf-{door}-service"].steps}

    assert {"svc-curtain-life", "svc-heater", "svc-roll-back", "svc-edge-radio"} <= ids("d1")
    assert {"svc-spring-life", "looks-lifting", "svc-edge-wired"} <= ids("d2") & ids("d3")
    assert {"svc-gate", "svc-backup", "svc-second-loop-earth", "looks-gate-way"} <= ids("d4")
    assert not {"svc-springs", "svc-brake-gap", "svc-holds"} & ids("d4")


def test_a_reading_taken_again_at_a_visit_has_the_name_and_unit_of_the_first_one():
    """Only so does the history of a door set the two side by side."""
    packs = [load_pack(path.parent) for path in STEPS.glob("*/pack.yaml")]
    named = {}
    for pack in packs:
        for step in pack.steps:
            if reading := step.expects.reading:
                named.setdefault(reading.name, set()).add(reading.unit)
    at_first = {
        step.expects.reading.name
        for pack in packs
        if pack.name not in VISITS
        for step in pack.steps
        if step.expects.reading
    }
    again = {"cycle-count", "motor-amps-opening", "motor-amps-closing", "opening.1", "closing.1",
             "winding-insulation", "edge-battery", "edge-idle", "earth", "closed-limit",
             "loop-earth", "second-loop-earth", "edge-free-radio", "overload-setting"}  # fmt: skip
    taken = {
        step.expects.reading.name
        for pack in packs
        if pack.name in VISITS
        for step in pack.steps
        if step.expects.reading
    }
    assert again <= at_first & taken
    assert all(len(named[name]) == 1 for name in taken)


def test_the_next_date_of_a_visit_is_the_one_that_the_list_of_due_doors_reads():
    from assistant.records.history import SERVICE_READING

    (derived,) = [s.expects.derived for s in load_pack(STEPS / "service-close").steps
                  if s.expects.derived]  # fmt: skip
    assert derived.name == derived.calc == SERVICE_READING


def asked_with(plan, overall="a part was changed", **changed):
    """Steps of the repair that are asked for when these parts were changed, the others not."""
    run = machine.start(plan)
    parts = [s for s in plan.steps if s.pack == "reset-after-repair" and s.affirm
             and "it was changed" in (s.expects.choice or {})]  # fmt: skip
    names = {step.id.removeprefix("repair-") for step in parts}
    assert set(changed) <= names
    answers = {f"repair-{n}": "it was changed" if n in changed else "left alone" for n in names}
    run = replace(run, answers=answers | {"repair-any": overall})
    return {
        step.base or step.id
        for step in plan.steps
        if step.pack == "reset-after-repair" and gates.applies(plan, run, step)
    }


# Common practice, no source: what a technician sets and tests again after each of these.
AFTER = {
    "motor": {"repair-jog", "repair-overload", "repair-low", "repair-both-held",
              "repair-closing-guard", "repair-motor-earth", "repair-motor-lead"},
    "panel": {"repair-settings", "repair-jog", "repair-overload", "repair-low", "repair-pair",
              "repair-watched", "repair-tune", "repair-beam-point", "repair-opening-guard"},
    "encoder": {"repair-counts", "repair-low", "repair-high", "repair-both-held",
                "repair-beam-point"},
    "brake": {"repair-brake-gap", "repair-brake-holds", "repair-amps-opening",
              "repair-closing-guard"},
    "lifting": {"repair-way", "repair-low", "repair-both-held", "repair-opening-guard"},
    "edge": {"repair-edge-ohms", "repair-edge-battery", "repair-pair", "repair-watched"},
    "beam": {"repair-beam-seat", "repair-line-up", "repair-beam-point", "repair-watched"},
    "loop": {"repair-loop-earth", "repair-tune"},
    "stop": {"repair-stop-pairs"},
    "limits": {"repair-low", "repair-high", "repair-both-held", "repair-beam-point"},
    "point": {"repair-beam-point"},
    "detector": {"repair-tune"},
    "drive": {"repair-mode", "repair-both-held", "repair-opening-guard", "repair-closing-guard",
              "repair-beam-point"},
}  # fmt: skip


@pytest.mark.parametrize("part", AFTER)
def test_a_changed_part_leads_to_its_settings_and_tests(plans, part):
    plan = plans["pinewharf-d1-repair"]
    with_it, without = asked_with(plan, **{part: True}), asked_with(plan)
    assert AFTER[part] <= with_it
    assert not AFTER[part] & without


def test_where_nothing_was_changed_the_pack_asks_one_question_and_no_more(plans):
    for name in SERVICES + REPAIRS:
        assert asked_with(plans[name], "nothing was changed") == {"repair-any"}


def test_a_setting_alone_is_tested_again_without_an_isolation(plans):
    plan = plans["pinewharf-d1-service"]
    needs = {(step.base or step.id): step.needs.energy for step in plan.steps if step.needs}
    for part in ("limits", "point", "detector", "drive"):
        asked = asked_with(plan, "only a setting", **{part: True}) - {"repair-any"}
        assert AFTER[part] | {"repair-hold"} <= asked
        assert "proven-dead" not in {needs.get(step) for step in asked}, part


def test_what_was_left_alone_is_not_set_again(plans):
    asked = asked_with(plans["pinewharf-d1-repair"], encoder=True)
    left = AFTER["motor"] | AFTER["edge"] | AFTER["loop"] | AFTER["brake"] | AFTER["stop"]
    assert not asked & (left - AFTER["encoder"])


@pytest.mark.parametrize("name", REPAIRS)
def test_a_repair_looks_and_listens_at_the_live_door_then_isolates(plans, name):
    plan = plans[name]
    ids = [step.id for step in plan.steps]
    looks = [i for i, step in enumerate(plan.steps) if step.pack == "repair-looks"]
    assert ids.index("found-live") < ids.index("power-on") < looks[0]
    assert looks[-1] < ids.index("disconnect-off") < first(plan, "reset-after-repair")
    assert all(step.expects.reading is None for step in plan.steps if step.pack == "repair-looks")


@pytest.mark.parametrize("name", REPAIRS)
def test_after_any_repair_the_whole_safety_test_follows(plans, name):
    """EN 12635 (from memory): after a repair that touches safety the whole door is tested."""
    plan = plans[name]
    ids = [step.id for step in plan.steps]
    last = max(i for i, step in enumerate(plan.steps) if step.pack == "reset-after-repair")
    assert first(plan, "safety-tests") > last
    alone = plan_from_files(["safety-tests"], JOBS[name])
    assert {s.id for s in alone.steps if s.pack == "safety-tests"} <= set(ids)


def test_where_forces_are_limited_by_the_code_set_a_heavier_change_voids_the_force_record(plans):
    for part in ("motor", "panel", "brake", "lifting", "edge"):
        asked = asked_with(plans["pinewharf-d3-repair"], **{part: True})
        assert "repair-force-due" in asked, part
    assert "repair-force-due" not in asked_with(plans["pinewharf-d3-repair"], beam=True)
    assert "repair-force-due" not in asked_with(plans["pinewharf-d1-repair"], motor=True)


@pytest.mark.parametrize("pack", VISITS)
def test_the_packs_of_a_visit_are_found_by_name(pack):
    assert load_pack(find_pack(pack)).name == pack
