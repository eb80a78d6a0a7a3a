"""Lead and helper: each answers on their own device, both are clear before the mark."""

from __future__ import annotations

import pytest

from assistant.procedure import inputs
from tests.procedure.small import JOB, STEPS, Walk, plan

TWO = JOB + "people: [lead, helper]\n"
EDGE = (
    STEPS
    + """
- {id: edge, section: live, say: Press close., helper: Hold the test piece., who: both,
   mark: close the door, needs: {energy: energised},
   expects: {choice: {reversed: next, went on: next}}}
- {id: look, section: live, say: Look at the edge., who: helper, needs: {energy: energised},
   expects: {confirmation: done}}
"""
)


def joined(role):
    return inputs.DeviceJoined(role=role)


@pytest.fixture
def two():
    walk = Walk(plan(TWO))
    walk.put(joined("lead"), who="system")
    walk.put(joined("helper"), who="system")
    return walk


@pytest.fixture
def at_edge():
    """Live, at the step with a mark, both devices there."""
    walk = Walk(plan(TWO, EDGE))
    walk.to_energised()
    for volts in (480, 482, 479):
        walk.value(volts)
    walk.put(joined("lead"), who="system")
    walk.put(joined("helper"), who="system")
    assert walk.run.at == "edge"
    return walk


def test_a_lock_is_given_by_its_own_person_on_their_own_device(two):
    two.confirm("disconnect is off")
    two.put(inputs.Tag(digits="10"), who="helper")
    assert two.refused() == ("answer-from:lead",)
    two.tag("10")
    two.put(inputs.Tag(digits="11"), who="lead")
    assert two.refused() == ("answer-from:helper",)
    two.put(inputs.Tag(digits="11"), who="helper")
    two.put(inputs.Affirm(), who="lead")
    assert two.refused() == ("affirm-from:helper",)
    two.put(inputs.Affirm(), who="helper")
    assert two.run.ledger.locks == (("lead", "10"), ("helper", "11"))


def test_a_second_person_without_a_device_takes_a_voice_turn_at_the_leads():
    walk = Walk(plan(TWO))
    walk.confirm("disconnect is off")
    walk.tag("10")
    walk.tag("11")
    assert walk.run.ledger.locks == (("lead", "10"), ("helper", "11"))


def test_a_helper_who_joins_a_job_of_one_voids_the_proof_and_needs_a_lock():
    walk = Walk()
    walk.to_dead()
    walk.put(joined("helper"), who="system")
    assert (walk.run.ledger.state, walk.run.at) == ("unknown", "disconnect")
    assert walk.run.ledger.people == ("lead", "helper")


def test_a_lost_device_holds_the_steps_that_need_it_and_no_others(at_edge):
    kinds = at_edge.put(inputs.DeviceLost(role="helper"), who="system")
    assert kinds == ["device-notice", "refused"]
    at_edge.command("all-clear")
    assert at_edge.refused() == ("device-lost:helper",)
    kinds = at_edge.put(joined("helper"), who="system")
    assert kinds == ["device-notice", "entered"]


def test_a_lost_device_does_not_hold_a_step_for_the_lead(two):
    assert two.put(inputs.DeviceLost(role="helper"), who="system") == ["device-notice"]
    two.confirm("disconnect is off")
    assert two.run.at == "lock"


def test_what_a_lost_device_left_pending_is_gone(two):
    two.confirm("disconnect is off")
    two.tag("10")
    two.put(inputs.Tag(digits="11"), who="helper")
    two.put(inputs.DeviceLost(role="helper"), who="system")
    two.put(inputs.Affirm(), who="lead")
    assert two.run.ledger.locks == (("lead", "10"),)


def test_the_mark_is_given_only_when_both_are_clear_and_answers_wait_for_it(at_edge):
    at_edge.put(inputs.Choice(answer="reversed"))
    assert at_edge.refused() == ("all-clear:lead", "all-clear:helper")
    assert at_edge.command("all-clear") == ["taken"]
    assert at_edge.command("all-clear") == ["taken"]  # twice from one is still one
    at_edge.put(inputs.Choice(answer="reversed"), who="helper")
    assert at_edge.refused() == ("all-clear:helper",)
    assert at_edge.command("all-clear", who="helper") == ["taken", "marked"]
    at_edge.put(inputs.Choice(answer="reversed"), who="helper")
    assert at_edge.run.at == "look"


def test_on_one_device_the_clear_calls_are_taken_in_turn():
    walk = Walk(plan(TWO, EDGE))
    walk.to_energised()
    for volts in (480, 482, 479):
        walk.value(volts)
    walk.command("all-clear")
    assert walk.run.clear == {"lead"}
    assert walk.command("all-clear")[-1] == "marked"


def test_a_step_for_the_helper_is_answered_by_the_helper(at_edge):
    at_edge.command("all-clear")
    at_edge.command("all-clear", who="helper")
    at_edge.put(inputs.Choice(answer="reversed"))
    at_edge.put(inputs.Confirm(word="done"))
    assert at_edge.refused() == ("answer-from:helper",)
    at_edge.put(inputs.Confirm(word="done"), who="helper")
    assert at_edge.run.finished


def test_stop_work_from_the_helper_holds_everything_and_only_the_lead_goes_on(at_edge):
    at_edge.command("stop-work", who="helper")
    assert at_edge.run.held == "stop-work"
    at_edge.command("go-ahead", who="helper")
    assert at_edge.refused() == ("lead-only",)
    at_edge.command("go-ahead")
    assert at_edge.run.held is None and at_edge.run.ledger.state == "unknown"


def test_changing_over_is_read_back_and_takes_locks_and_proof_anew():
    walk = Walk(plan(TWO))
    walk.to_dead()
    walk.put(joined("helper"), who="system")
    walk.command("hand-over", who="helper")
    assert walk.refused() == ("lead-only",)
    assert walk.command("hand-over") == ["read-back"]
    assert walk.run.ledger.state == "proven-dead"
    walk.put(inputs.Affirm())
    assert "handed-over" in [e.kind for e in walk.effects]
    assert (walk.run.ledger.state, walk.run.ledger.locks) == ("unknown", ())
    assert walk.run.devices == {"lead"}  # the device that was the helper's


def test_a_reading_is_corrected_by_whoever_may_give_it(two):
    two.confirm("disconnect is off")
    two.tag("10")
    two.put(inputs.Tag(digits="11"), who="helper")
    two.put(inputs.Affirm(), who="helper")
    two.confirm("no movement")
    two.value(230)
    two.put(inputs.Correction(reading=inputs.Reading(value="231")), who="helper")
    assert two.refused() == ("answer-from:lead",)


def test_nobody_alone_can_change_over():
    walk = Walk()
    walk.command("hand-over")
    assert walk.refused() == ("alone",)
