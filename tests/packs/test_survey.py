"""The survey: every size it names is worked out, in both code sets, with and without a drive."""

import pytest

from assistant.calc import CALCULATORS, calculate
from assistant.plans import plan_from_files
from assistant.procedure.load import load_job, load_pack
from tests.packs.cases import STEPS

JOBS = {
    name: load_job(STEPS / "jobs" / f"pinewharf-{name}.yaml") for name in ("d1", "d2", "d3", "d4")
}
PACK = load_pack(STEPS / "survey")
SIZING = {
    "branch-conductor", "ampacity", "short-circuit-protection", "overload-setting",
    "earth-conductor", "voltage-drop", "conduit-fill", "control-transformer", "control-run",
    "opening-size", "working-space",
}  # fmt: skip


def ids(job):
    return {step.id for step in plan_from_files(["survey"], job).steps}


def sums(job):
    steps = plan_from_files(["survey"], job).steps
    derived = {s.expects.derived.calc for s in steps if s.expects.derived}
    return derived | {s.limits.calc for s in steps if s.limits and s.limits.calc}


@pytest.mark.parametrize("name", JOBS)
def test_every_size_of_every_door_comes_from_a_calculator(name):
    assert sums(JOBS[name]) >= SIZING
    assert sums(JOBS[name]) <= set(CALCULATORS)


@pytest.mark.parametrize("name", JOBS)
def test_one_current_goes_on_to_the_sums_with_and_without_a_drive(name):
    """430.122: behind a drive its rated input counts, without one the table or the plate."""
    job = JOBS[name]
    plain = job.model_copy(
        update={
            "options": tuple(o for o in job.options if o != "drive"),
            "facts": {**job.facts, "start-ratio": "4"},
        }
    )
    driven = job.model_copy(update={"options": (*plain.options, "drive")})
    for each in (plain, driven):
        steps = plan_from_files(["survey"], each).steps
        made = [
            s.id
            for s in steps
            if (s.expects.reading or s.expects.derived)
            and (s.expects.reading or s.expects.derived).name == "circuit-current"
        ]
        assert len(made) == 1, made
    assert "drive-input" in ids(driven) and "drive-input" not in ids(plain)


def test_code_sets_ask_their_own_questions():
    american, metric = ids(JOBS["d1"]) | ids(JOBS["d4"]), ids(JOBS["d2"]) | ids(JOBS["d3"])
    assert {"panel-breadth", "disconnect-distance", "device-american"} <= american - metric
    assert {"disconnect-metric", "device-metric", "power-cable"} <= metric - american


def test_door_types_and_options_ask_their_own_questions():
    found = {name: ids(job) for name, job in JOBS.items()}
    assert "run-back" in found["d4"] and "room-above" not in found["d4"]
    assert "room-behind" in found["d3"] and "room-behind" not in found["d1"]
    assert "heat-loss" in found["d1"] and "heat-loss" not in found["d2"]
    assert "traffic-dwell" in found["d1"] & found["d4"] and "traffic-reach" not in found["d2"]
    shutter = JOBS["d1"].model_copy(update={"door_type": "rolling-shutter"})
    assert ids(shutter) == found["d1"]


def test_written_distances_are_those_of_the_code():
    """NEC 110.26(A)(2), (3): 30 in and 6.5 ft, from memory; article 100: 50 ft, read."""
    steps = {step.id: step for step in PACK.steps}
    assert steps["panel-breadth"].limits.at_least == 30
    assert float(steps["panel-headroom"].limits.at_least) == 6.5
    assert steps["disconnect-distance"].limits.at_most == 50


def test_d1_needs_a_fifteen_ampere_breaker_at_most():
    """250 percent of 5.6 A is 14 A; the next standard rating is 15 A (NEC 430.52, 240.6, read)."""
    given = {"current": "5.6 A", "device": JOBS["d1"].facts["protection-device"]}
    assert calculate("short-circuit-protection", given).at_most.value == 15


def test_nothing_in_the_survey_needs_or_changes_an_energy_state():
    assert all(s.needs is None and s.sets is None and not s.mark for s in PACK.steps)
