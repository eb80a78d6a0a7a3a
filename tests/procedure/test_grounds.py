"""Temporary protective grounds: asked for where they are due, and off before the power is on.

NFPA 70E 120.5 step 8 and EN 50110-1 rule 4 (both from memory, see steps/isolation/pack.yaml).
"""

from __future__ import annotations

import pytest

from assistant.errors import PackError
from assistant.plans import plan_from_files
from assistant.procedure import energy, inputs
from assistant.procedure.load import load_job
from tests.packs.cases import STEPS as PACKS
from tests.procedure.small import JOB, STEPS, Walk, plan

ON = """
- {id: grounds-on, section: isolation, say: Ground it., needs: {energy: locked}, affirm: true,
   expects: {choice: {grounds are on: next, source is off: next}}, proves: grounds-on}
"""
OFF = """
- {id: grounds-off, section: closing, say: Grounds off., needs: {energy: proven-dead},
   expects: {confirmation: grounds are off}, proves: grounds-off}
"""
GROUNDED = STEPS.replace("- {id: dead,", ON + "- {id: dead,").replace(
    "- {id: guard,", OFF + "- {id: guard,"
)
EXPECTED = JOB + "options: [induced-voltage]\n"


def to_tester(walk):
    walk.to_locked()
    walk.value(230)


def answer(walk, words):
    walk.put(inputs.Choice(answer=words))
    walk.put(inputs.Affirm())


def dead_to_gate(walk):
    for _ in walk.run.ledger.pairs:
        walk.value(0)
    walk.put(inputs.Tick(), after_s=301)
    walk.value(12)
    walk.value(231)


@pytest.fixture
def found():
    """Twenty volts were left at a pair; isolated, locked and tested anew."""
    walk = Walk(plan(steps=GROUNDED))
    to_tester(walk)
    walk.value(20)
    assert "voided" in [effect.kind for effect in walk.effects]
    to_tester(walk)
    return walk


def test_where_nothing_is_expected_or_found_nobody_is_asked_for_grounds():
    walk = Walk(plan(steps=GROUNDED))
    walk.to_dead()
    assert walk.run.ledger.state == "proven-dead"
    assert not {"grounds-on", "grounds-off"} & set(walk.run.marks)


def test_a_few_volts_at_a_pair_ask_for_grounds_before_the_next_proof(found):
    assert found.run.at == "grounds-on"
    assert found.put(inputs.Choice(answer="grounds are on")) == ["read-back"]
    assert not found.run.ledger.grounds  # said, not yet affirmed
    found.put(inputs.Affirm())
    assert found.run.ledger.grounds
    dead_to_gate(found)
    found.challenge("lockout-confirmed")
    assert found.run.ledger.state == "proven-dead"


@pytest.mark.parametrize(
    ("volts", "asked"), [("5.1", True), ("49.9", True), (50, False), (480, False)]
)
def test_fifty_volts_and_more_are_live_and_never_grounded(volts, asked):
    walk = Walk(plan(steps=GROUNDED))
    to_tester(walk)
    walk.value(volts)
    assert walk.run.ledger.left == asked


def test_where_the_source_was_found_and_opened_the_work_goes_on_without_grounds(found):
    answer(found, "source is off")
    assert found.run.at == "dead.l1-l2" and not found.run.ledger.grounds
    dead_to_gate(found)
    found.challenge("lockout-confirmed")
    assert found.run.ledger.state == "proven-dead"


def test_a_job_that_expects_induced_voltage_is_grounded_whatever_is_said():
    walk = Walk(plan(EXPECTED, GROUNDED))
    to_tester(walk)
    answer(walk, "source is off")
    assert walk.refused() == ("grounds",) and walk.run.at == "grounds-on"
    answer(walk, "grounds are on")
    assert walk.run.ledger.grounds


def test_without_the_grounds_that_are_due_the_proof_is_refused():
    lacking = energy.Ledger(people=("lead",), pairs=(), stored=False, state="locked", induced=True)
    assert "grounds" in energy.missing_for(lacking, "lockout-confirmed", 0.0)


def to_proven(walk):
    answer(walk, "grounds are on")
    dead_to_gate(walk)
    walk.challenge("lockout-confirmed")


def test_locks_stay_on_and_power_off_while_the_grounds_are_on(found):
    to_proven(found)
    found.confirm("done")
    found.value("0.05")
    found.value(200)
    assert found.run.at == "grounds-off"
    found.put(inputs.Tag(digits="10"))
    found.put(inputs.GoTo(section="closing"))
    assert found.run.at == "grounds-off" and found.run.ledger.locks
    on = energy.move(found.run.ledger, "work-over", found.at_s)
    assert "grounds-on" in energy.missing_for(on, "clear-to-energise", found.at_s)
    found.confirm("grounds are off")
    assert not found.run.ledger.grounds and not found.run.ledger.left
    assert found.run.at == "guard"


@pytest.mark.parametrize(
    "lost",
    [inputs.Command(name="stop-work"), inputs.PowerOn(), inputs.LockOff(), inputs.Restarted()],
)
def test_grounds_outlast_a_lost_proof_and_still_come_off_before_the_power(found, lost):
    to_proven(found)
    found.put(lost)
    found.command("go-ahead")
    assert found.run.ledger.state == "unknown" and found.run.ledger.grounds
    to_tester(found)
    assert found.run.at == "grounds-on"
    to_proven(found)
    found.confirm("done")
    while found.run.at != "grounds-off":
        found.value("0.05" if found.run.at == "earth" else 200)
    assert found.run.ledger.grounds


def test_a_plan_that_puts_grounds_on_takes_them_off_later():
    only = STEPS.replace("- {id: dead,", ON + "- {id: dead,")
    with pytest.raises(PackError, match="go on at one step and off at a later one"):
        plan(steps=only)


def test_every_isolation_of_the_packs_has_both_steps_in_their_places():
    bound = plan_from_files(["power-entry"], load_job(PACKS / "jobs" / "pinewharf-d1.yaml"))
    ids = [step.id for step in bound.steps]
    assert ids.index("tester-before") < ids.index("grounds-on") < ids.index("dead.l1-l2")
    assert ids.index("guard-off") < ids.index("grounds-off") < ids.index("guard-on")
