"""The lockout gate: what it asks for, what it refuses, and what takes the proof away."""

from __future__ import annotations

from decimal import Decimal

import pytest

from assistant.procedure import energy, inputs, machine
from tests.procedure.small import JOB, PACK, STEPS, Walk, plan


def test_a_job_starts_unknown_and_the_first_step_is_the_disconnect():
    walk = Walk()
    assert (walk.run.ledger.state, walk.run.at) == ("unknown", "disconnect")


def test_the_whole_way_leads_from_unknown_to_energised_and_to_the_end():
    walk = Walk()
    walk.to_energised()
    assert walk.run.ledger.state == "energised"
    for volts in (480, 482, 479):
        walk.value(volts)
    assert walk.run.finished and walk.run.open_points == ()
    assert walk.run.readings["unbalance"].verdict == "pass"


def test_a_lockout_phrase_before_the_lock_names_the_lock_as_missing():
    walk = Walk()
    walk.confirm("disconnect is off")
    walk.put(inputs.Challenge(phrase="lockout-confirmed", digits="47"))
    assert "lock:lead" in walk.refused()
    assert walk.run.ledger.state == "isolated"


@pytest.mark.parametrize("digits", ["48", "", "74", "4"])
def test_a_wrong_or_missing_challenge_is_no_confirmation_and_burns_the_challenge(digits):
    walk = Walk()
    walk.to_gate()
    walk.put(inputs.ChallengeIssued(digits="47"), who="system")
    kinds = walk.put(inputs.Challenge(phrase="lockout-confirmed", digits=digits))
    assert kinds == ["refused", "challenge-needed"]
    walk.put(inputs.Affirm())
    assert walk.run.ledger.state == "locked"
    # The old digits don't open the gate any more: one try a challenge.
    walk.put(inputs.Challenge(phrase="lockout-confirmed", digits="47"))
    walk.put(inputs.Affirm())
    assert walk.run.ledger.state == "locked"


def test_an_old_challenge_is_no_confirmation():
    walk = Walk()
    walk.to_gate()
    walk.put(inputs.ChallengeIssued(digits="47"), who="system")
    walk.put(inputs.Challenge(phrase="lockout-confirmed", digits="47"), after_s=121)
    assert walk.refused() == ("challenge-old",)
    assert walk.run.ledger.state == "locked"


def test_a_plain_yes_does_not_affirm_a_gate():
    walk = Walk()
    walk.put(inputs.Confirm(word="disconnect is off"))
    walk.put(inputs.Affirm(plain=True))
    assert walk.refused() == ("affirm-needed",)
    assert walk.run.ledger.state == "unknown"


def test_every_person_needs_a_lock_with_a_tag_of_their_own():
    walk = Walk(plan(JOB + "people: [lead, helper]\n"))
    walk.confirm("disconnect is off")
    walk.tag("12")
    assert walk.run.at == "lock"
    walk.put(inputs.Tag(digits="12"))
    assert walk.refused() == ("same-tag",)
    walk.put(inputs.Confirm(word="no movement"))
    assert walk.run.ledger.state == "isolated"
    walk.tag("13")
    assert walk.run.at == "try-start"


def test_voltage_on_any_pair_takes_the_way_back_to_the_disconnect():
    walk = Walk()
    walk.to_locked()
    walk.value(230)
    walk.value(0)
    walk.value("6")
    assert (walk.run.ledger.state, walk.run.at) == ("unknown", "disconnect")
    assert "voided" in [e.kind for e in walk.effects]


def test_a_pair_that_was_not_measured_keeps_the_gate_shut():
    walk = Walk()
    walk.to_locked()
    walk.value(230)
    ledger = walk.run.ledger
    missing = energy.missing_for(ledger, "lockout-confirmed", walk.at_s + 1000)
    assert [m for m in missing if m.startswith("dead:")] == [
        f"dead:{pair}" for pair in ("l1-l2", "l2-l3", "l3-l1", "l1-pe", "l2-pe", "l3-pe")
    ]


def test_the_stored_energy_wait_runs_from_the_disconnect_and_a_clock_set_back_does_not_help():
    walk = Walk()
    walk.to_pairs_dead()
    assert walk.put(inputs.Confirm(word="done")) == ["waiting"]
    walk.put(inputs.Tick(), after_s=-10_000)
    assert walk.run.at == "wait"
    walk.at_s += 10_000
    walk.put(inputs.Tick(), after_s=300)
    assert walk.run.at == "bus"


def test_a_bus_above_fifty_volts_holds_until_it_is_measured_again():
    walk = Walk()
    walk.to_bus()
    walk.value(55)
    assert (walk.run.at, walk.run.failing) == ("bus", "bus")
    walk.value(48)
    assert walk.run.at == "tester-after"


@pytest.mark.parametrize(
    "spoil",
    [
        inputs.LockOff(),
        inputs.PowerOn(),
        inputs.PersonJoined(person="second"),
        inputs.CrewChanged(people=("lead", "helper")),
        inputs.Restarted(),
        inputs.Command(name="stop-work"),
        inputs.Command(name="emergency"),
        inputs.Command(name="prove-again"),
    ],
    ids=lambda what: getattr(what, "name", what.kind),
)
def test_whatever_spoils_the_proof_refuses_hands_in_until_it_is_proven_again(spoil):
    walk = Walk()
    walk.to_dead()
    assert walk.run.at == "wires"
    walk.put(spoil)
    assert walk.run.ledger.state == "unknown"
    if walk.run.held:
        walk.command("go-ahead")
    assert walk.run.at == "disconnect"
    walk.put(inputs.GoTo(section="wiring"))
    assert walk.refused() == ("state:proven-dead",)
    assert walk.run.at == "disconnect"
    walk.to_dead()
    assert (walk.run.ledger.state, walk.run.at) == ("proven-dead", "wires")


def test_an_interruption_longer_than_the_re_prove_time_voids_and_drops_the_late_answer():
    walk = Walk()
    walk.to_dead()
    walk.put(inputs.Confirm(word="done"), after_s=30 * 60 + 1)
    assert (walk.run.ledger.state, walk.run.at) == ("unknown", "disconnect")
    assert "wires" not in walk.run.marks


def test_an_interruption_within_the_re_prove_time_changes_nothing():
    walk = Walk()
    walk.to_dead()
    walk.put(inputs.Confirm(word="done"), after_s=30 * 60 - 1)
    assert (walk.run.ledger.state, walk.run.at) == ("proven-dead", "earth")


def test_a_pause_that_is_too_long_is_told_and_no_step_is_spoken_into_it():
    walk = Walk()
    walk.to_dead()
    walk.command("stand-by")
    kinds = walk.put(inputs.Tick(), after_s=30 * 60 + 1)
    assert kinds == ["voided", "held"] or kinds == ["voided", "held", "energy-now"]
    assert walk.run.held == "stand-by"
    walk.command("go-ahead")
    assert (walk.run.at, walk.run.held) == ("disconnect", None)


def test_noise_and_ticks_do_not_count_as_work_when_the_interruption_is_measured():
    walk = Walk()
    walk.to_dead()
    for _ in range(31):
        walk.put(inputs.NotUnderstood(why="unsure"), after_s=59)
        walk.put(inputs.Tick(), after_s=1)
    assert walk.run.ledger.state == "unknown"


def test_a_jump_past_the_finger_guard_does_not_release():
    walk = Walk()
    walk.to_dead()
    walk.put(inputs.GoTo(section="closing"))
    assert walk.run.at == "guard"
    walk.confirm("guard is on")
    assert walk.refused() == ("unsettled:wires",)
    walk.put(inputs.Challenge(phrase="clear-to-energise", digits="47"))
    assert "unsettled:wires" in walk.refused()
    assert walk.run.ledger.state == "proven-dead"


def test_a_failed_safety_reading_keeps_the_power_off_even_after_unable():
    walk = Walk()
    walk.to_dead()
    walk.confirm("done")
    walk.value("2.5")
    assert walk.run.failing == "earth"
    walk.put(inputs.Unable(reason="no time"))
    walk.value(200)
    walk.confirm("guard is on")
    assert walk.refused() == ("failed:earth",)
    walk.put(inputs.Challenge(phrase="clear-to-energise", digits="47"))
    assert "failed:earth" in walk.refused()
    assert walk.run.ledger.locks == (("lead", "10"),)


def test_a_failed_live_reading_does_not_keep_the_power_off_for_good():
    live = STEPS.replace("outside: note}", "outside: stop, safety: true}")
    walk = Walk(plan(steps=live))
    walk.to_energised()
    walk.value(400)
    walk.command("stop-work")
    walk.command("go-ahead")
    walk.confirm("done")
    walk.challenge("clear-to-energise", "61")
    walk.put(inputs.PowerOn())
    walk.put(inputs.Affirm())
    assert (walk.run.ledger.state, walk.run.at) == ("energised", "supply.l1-l2")


def test_a_safety_reading_that_was_passed_over_can_be_taken_up_again():
    walk = Walk()
    walk.to_dead()
    walk.confirm("done")
    walk.put(inputs.Unable(reason="no meter"))
    walk.value(200)
    walk.confirm("guard is on")
    assert walk.refused() == ("failed:earth",)
    walk.put(inputs.GoTo(section="wiring"))
    assert walk.run.at == "earth"
    walk.value("0.05")
    assert (walk.run.at, walk.refused()) == ("lock-off", ())


@pytest.mark.parametrize("said", [inputs.LockOff(), inputs.Tag(digits="10")], ids=str)
def test_a_lock_that_comes_off_while_the_release_is_refused_voids_the_proof(said):
    walk = Walk()
    walk.to_dead()
    walk.put(inputs.GoTo(section="closing"))
    walk.confirm("guard is on")
    walk.put(said)
    assert (walk.run.ledger.state, walk.run.at) == ("unknown", "disconnect")


def test_unable_never_passes_a_gate_step():
    walk = Walk()
    walk.put(inputs.Unable(reason="handle is stuck"))
    assert walk.run.at == "disconnect"
    assert walk.run.open_points[0].reason == "handle is stuck"


def test_a_lock_comes_off_only_with_its_own_tag_and_hands_in_end_there():
    walk = Walk(plan(JOB + "people: [lead, helper]\n"))
    walk.to_dead()
    walk.confirm("done")
    walk.value("0.05")
    walk.value(200)
    walk.confirm("guard is on")
    walk.put(inputs.Tag(digits="99"))
    assert walk.refused() == ("wrong-tag",)
    walk.tag("11")
    assert walk.run.ledger.state == "isolated"
    walk.command("go-back")
    assert walk.refused() == ("state:proven-dead",)
    walk.put(inputs.Challenge(phrase="clear-to-energise", digits="47"))
    assert "locks-on:lead" in walk.refused()


def test_the_helper_cannot_give_the_clear_to_energise():
    walk = Walk()
    walk.to_dead()
    walk.confirm("done")
    walk.value("0.05")
    walk.value(200)
    walk.confirm("guard is on")
    walk.tag("10")
    walk.confirm("done")
    walk.put(inputs.ChallengeIssued(digits="52"), who="system")
    walk.put(inputs.Challenge(phrase="clear-to-energise", digits="52"), who="helper")
    assert walk.refused() == ("lead-only",)


def test_a_restart_while_live_asks_for_the_warning_and_the_clearance_again():
    walk = Walk()
    walk.to_energised()
    walk.value(480)
    walk.put(inputs.Restarted())
    assert (walk.run.ledger.state, walk.run.at) == ("unknown", "warn")
    walk.put(inputs.GoTo(section="live"))
    assert walk.refused() == ("state:energised",)
    walk.confirm("done")
    walk.challenge("clear-to-energise", "61")
    walk.put(inputs.PowerOn())
    walk.put(inputs.Affirm())
    assert walk.run.at == "supply.l2-l3"


def test_stop_work_holds_everything_until_the_lead_says_go_ahead():
    walk = Walk()
    walk.to_dead()
    walk.command("stop-work", who="helper")
    for what in (inputs.Confirm(word="done"), inputs.GoTo(section="wiring"), inputs.Affirm()):
        assert walk.put(what) == ["held"]
    walk.command("go-ahead", who="helper")
    assert walk.refused() == ("lead-only",)
    walk.command("go-ahead")
    assert (walk.run.held, walk.run.at) == (None, "disconnect")


def test_a_dead_reading_corrected_to_a_live_one_voids_the_proof():
    walk = Walk()
    walk.to_dead()
    walk.command("go-back")
    walk.put(inputs.Correction(reading=inputs.Reading(value="230")))
    walk.put(inputs.Affirm())
    # The last reading was the tester's; below its limit it can vouch for nothing.
    walk2 = Walk()
    walk2.to_dead()
    walk2.put(inputs.Correction(reading=inputs.Reading(value="12")))
    walk2.put(inputs.Affirm())
    assert walk2.run.ledger.state == "unknown"


def test_every_move_of_the_table_has_a_source_and_every_state_can_be_left():
    assert all(rule.source for rule in energy.RULES)
    left = {state for rule in energy.RULES for state in rule.from_states}
    assert left == set(energy.ANY)


def test_a_job_without_stored_energy_has_no_wait_and_no_bus():
    bound = plan(JOB.replace("present: true", "present: false"))
    assert not {"wait", "bus"} & {step.id for step in bound.steps}
    walk = Walk(bound)
    walk.to_dead()
    assert walk.run.ledger.state == "proven-dead"


def test_a_pack_found_in_service_is_live_after_warning_and_clearance_without_isolation():
    steps = """
- {id: warn, section: closing, say: Warn everybody., expects: {confirmation: done}}
- {id: clear, section: closing, say: Give the phrase., sets: {energy: released},
   expects: {challenge: clear-to-energise}}
- {id: power, section: closing, say: Is it on?, sets: {energy: energised},
   needs: {energy: released}, expects: {confirmation: power is on}}
- {id: look, section: live, say: Look., needs: {energy: energised}, expects: {confirmation: done}}
"""
    walk = Walk(plan(steps=steps, pack=PACK + "found: in-service\n"))
    walk.put(inputs.PowerOn())
    assert walk.run.ledger.state == "unknown"
    walk.confirm("done")
    walk.challenge("clear-to-energise")
    walk.put(inputs.PowerOn())
    walk.put(inputs.Affirm())
    assert walk.run.at == "look"
    walk.put(inputs.Restarted())
    assert walk.run.at == "warn"
    assert not any(s.needs and s.needs.energy in energy.DEAD_SIDE for s in walk.plan.steps)


def test_a_failing_correction_with_the_power_on_leads_to_no_step_that_puts_hands_inside():
    walk = Walk()
    walk.to_energised()
    walk.put(inputs.Correction(reading=inputs.Reading(value=Decimal("0.5"))))
    walk.put(inputs.Affirm())
    assert walk.run.readings["insulation"].verdict == "fail"
    assert walk.refused() == ("state:proven-dead",) and walk.run.refused
    assert walk.run.failing is None and "insulation" not in walk.run.marks


def test_replay_of_a_log_gives_the_run_that_made_it():
    walk = Walk()
    walk.to_energised()
    walk.value(480)
    assert machine.replay(walk.plan, walk.events) == walk.run
