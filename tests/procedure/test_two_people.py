"""Lead and helper: each answers on their own device, both are clear before the mark."""

from __future__ import annotations

import pytest

from assistant.dialogue.replies import replies
from assistant.errors import PackError
from assistant.procedure import inputs
from tests.procedure.small import JOB, PACK, STEPS, Walk, plan

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
    at_edge.put(inputs.Affirm(), who="helper")
    assert at_edge.run.at == "look"


@pytest.fixture
def shared():
    """Live, at the step with a mark, one device for both."""
    walk = Walk(plan(TWO, EDGE))
    walk.put(joined("lead"), who="system")
    walk.to_energised()
    for volts in (480, 482, 479):
        walk.value(volts)
    return walk


def test_on_one_device_a_repeated_clear_call_is_never_the_second_persons(shared):
    for _ in range(3):
        assert shared.command("all-clear") == ["taken"]
    assert (shared.run.clear, shared.run.marked) == ({"lead"}, False)
    assert shared.command("helper-all-clear") == ["taken", "marked"]


def test_on_one_device_each_is_asked_in_turn_and_the_reply_says_whose_call_was_taken(shared):
    shared.command("all-clear")
    assert shared.effects[0].person == "lead"
    assert replies(shared.effects, shared.plan, shared.run) == (
        "Lead is clear. Now the helper calls, role first.",
    )
    shared.command("helper-all-clear")
    assert replies(shared.effects, shared.plan, shared.run)[0] == "Helper is clear."


def test_the_helper_may_call_first_on_a_shared_device_and_that_clears_nobody_else(shared):
    assert shared.command("helper-all-clear") == ["taken"]
    assert shared.command("helper-all-clear") == ["taken"]
    assert shared.run.clear == {"helper"}
    assert shared.command("all-clear") == ["taken", "marked"]


def test_nobody_calls_clear_for_a_person_who_has_a_device(at_edge):
    at_edge.command("helper-all-clear")
    assert at_edge.refused() == ("answer-from:helper",)
    at_edge.command("lead-all-clear", who="helper")
    assert at_edge.refused() == ("answer-from:lead",)
    assert at_edge.run.clear == frozenset()


def clear(walk):
    walk.command("all-clear")
    walk.command("all-clear", who="helper")


def test_an_answer_that_passes_a_test_is_read_back_and_taken_on_affirm_alone(at_edge):
    clear(at_edge)
    assert at_edge.put(inputs.Choice(answer="reversed")) == ["read-back"]
    assert at_edge.effects[0].word == "reversed"
    at_edge.put(inputs.Affirm(plain=True))
    assert at_edge.refused() == ("affirm-needed",)
    at_edge.put(inputs.Affirm(), who="helper")
    assert at_edge.refused() == ("affirm-from:lead",)
    assert at_edge.run.at == "edge" and not at_edge.run.answers
    assert at_edge.put(inputs.Affirm()) == ["taken", "entered"]
    assert at_edge.run.answers == {"edge": "reversed"}


def test_a_misheard_answer_is_put_right_by_negative_or_by_the_right_one(at_edge):
    clear(at_edge)
    at_edge.put(inputs.Choice(answer="reversed"))
    assert at_edge.put(inputs.Negative()) == ["withdrawn"]
    at_edge.put(inputs.Choice(answer="reversed"))
    assert at_edge.put(inputs.Choice(answer="went on")) == ["read-back"]
    at_edge.put(inputs.Affirm())
    assert at_edge.run.answers == {"edge": "went on"}


def test_an_answer_whose_count_is_read_back_later_is_told_to_both_and_taken_at_once():
    counted = EDGE.replace("mark: close the door", "mark: close the door, counted: reversals")
    counted += COUNT
    walk = Walk(plan(TWO, counted))
    walk.to_energised()
    for volts in (480, 482, 479):
        walk.value(volts)
    clear(walk)
    assert walk.put(inputs.Choice(answer="reversed")) == ["taken", "entered"]
    assert replies(walk.effects, walk.plan, walk.run)[0] == "Reversed."


COUNT = """
- {id: reversals, section: live, say: How often?, needs: {energy: energised},
   expects: {reading: {name: reversals, unit: one, plausible: [0, 1]}},
   limits: {at_least: 1, outside: note, safety: true}, source: {ref: habit}}
"""


def test_a_job_with_fewer_people_than_the_pack_or_a_step_takes_is_refused_in_plain_words():
    for pack, steps in (
        (PACK + "crew: 2\n", EDGE),
        (PACK, EDGE.replace("who: both,", "who: both, crew: 2,")),
    ):
        assert plan(TWO, steps, pack).steps
        with pytest.raises(PackError, match=r"takes 2 people, and job 'test-door' has 1 .lead."):
            plan(JOB, steps, pack)


def test_a_step_for_the_helper_is_answered_by_the_helper(at_edge):
    at_edge.command("all-clear")
    at_edge.command("all-clear", who="helper")
    at_edge.put(inputs.Choice(answer="reversed"))
    at_edge.put(inputs.Affirm())
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
