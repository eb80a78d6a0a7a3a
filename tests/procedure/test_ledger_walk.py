"""Every input in every state near the start and near the right way: no rule of the gate breaks.

The long walk is `python -m tests.benchmarks.walk_ledger`; this is its beginning.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.procedure import energy, inputs, machine
from tests.benchmarks import walk_ledger
from tests.benchmarks.walk_ledger import NOW_S, PLAN, START, Broken, Way, beginnings, check, walk


def test_no_sequence_of_seven_inputs_from_the_start_breaks_a_rule():
    done = walk(10**9, depth=7)
    assert len(done.states) == 8 and done.transitions > 70_000


def test_no_two_inputs_off_the_right_way_break_a_rule():
    done = walk(10**9, depth=2, where="way")
    assert done.transitions > 30_000
    assert set(done.energy) == set(energy.ANY)


def test_the_right_way_leads_through_every_step_to_the_end():
    states = beginnings("way")
    assert {run.at for run in states} == {step.id for step in PLAN.steps} | {None}
    assert sum(run.finished for run in states) == 3


def test_a_hole_in_the_core_is_found_with_the_way_to_it(monkeypatch):
    monkeypatch.setattr("assistant.procedure.gates.may_enter", lambda run, step: ())
    monkeypatch.setattr("assistant.procedure.energy.satisfies", lambda state, need: True)
    with pytest.raises(Way, match=r"No step is entered against its need\.\n  lead: go-to"):
        walk(10**9, depth=3)


def test_a_proof_without_the_lock_would_be_noticed():
    run = next(r for r in beginnings("way") if r.pending and r.pending.kind == "challenge")
    forged = replace(run, ledger=replace(run.ledger, state="proven-dead", locks=()))
    event = inputs.Event(input=inputs.Affirm(), at_s=NOW_S, who="lead")
    with pytest.raises(Broken):
        check(PLAN, run, event, machine.Outcome(forged, ()))


def test_states_that_differ_in_what_was_spoken_alone_are_one():
    run = beginnings("start")[0]
    other = replace(run, spoken=frozenset({"lock"}), brief=True, times=2)
    assert walk_ledger.key(run, NOW_S) == walk_ledger.key(other, NOW_S)
    assert START.ledger.people == ("lead",)
