"""Brake and switches: each door has the switches of its type, each contact both ways."""

import pytest

from assistant.calc import calculate
from assistant.plans import plan_from_files
from assistant.procedure.load import load_job
from tests.packs.cases import STEPS

JOBS = {n: load_job(STEPS / "jobs" / f"pinewharf-{n}.yaml") for n in ("d1", "d2", "d3", "d4")}
SWITCHES = {"anti-roll-back": "roll-back", "slack-cable": "slack", "over-travel": "over-travel"}


def own(job):
    steps = plan_from_files(["brake-and-switches"], job).steps
    return {step.id: step for step in steps if step.pack == "brake-and-switches"}


@pytest.mark.parametrize("name", JOBS)
def test_a_door_has_the_steps_of_the_switches_it_has_and_no_others(name):
    job = JOBS[name]
    found = set(own(job))
    for option, prefix in SWITCHES.items():
        assert (f"{prefix}-rest" in found) == (option in job.options), option
    assert ("brake-coil" in found) == ("brake" in job.options)


def test_the_door_is_held_before_anything_is_let_go():
    for job in JOBS.values():
        first = next(iter(own(job).values()))
        assert first.id == "switch-held" and first.caution.word == "DANGER"


@pytest.mark.parametrize("name", JOBS)
def test_each_contact_is_measured_at_rest_and_held_over(name):
    steps = own(JOBS[name])
    for prefix in SWITCHES.values():
        if f"{prefix}-rest" in steps:
            rest, acted = steps[f"{prefix}-rest"].limits, steps[f"{prefix}-acted"].limits
            assert rest.safety and acted.safety
            assert rest.at_most is not None and acted.at_least is not None


def test_a_contact_that_closes_is_judged_the_other_way_round():
    job = JOBS["d1"]
    facts = {**job.facts, "roll-back-contact": "closes"}
    steps = own(job.model_copy(update={"facts": facts}))
    assert "roll-back-rest" not in steps
    assert steps["roll-back-rest-open"].limits.at_least is not None
    assert steps["roll-back-acted-closed"].limits.at_most is not None


@pytest.mark.parametrize("name", ["d1", "d2", "d3"])
def test_rectifier_and_coil_of_each_door_fit_each_other(name):
    """Half waves give 0.45 of the supply (trade facts, section C.7)."""
    facts = JOBS[name].facts
    given = {
        "supply": facts["brake-supply"],
        "rectifier": facts["brake-rectifier"],
        "rated": facts["brake-volts"],
    }
    assert calculate("coil-voltage", given).words["verdict"] == "fits"
