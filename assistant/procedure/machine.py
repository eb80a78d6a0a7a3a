"""The pure function that moves from step to step.

`advance(plan, run, event)` gives the new run and what happened; it touches nothing else. Time
comes in with the event. `replay` is advance over a list, so the log alone rebuilds a run.

The next step is always the first one that isn't settled, so losing the energy proof is no
special case: its marks go, and the way leads through isolation again before anything else.
"""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import singledispatch
from typing import Any

import assistant.calc as calc
from assistant.errors import RangeError, UnitError
from assistant.procedure import effects as fx
from assistant.procedure import energy, gates, inputs
from assistant.procedure.energy import Denied
from assistant.procedure.load import conductors, pair_id, pairs, resolve
from assistant.procedure.model import LimitSpec, Plan, Step
from assistant.procedure.run import IssuedChallenge, OpenItem, Pending, Run, TakenReading
from assistant.quantity import Quantity, quantity, same_dimension, unit

CHALLENGE_LIFE_S = 120.0  # an older challenge is no longer the one just spoken
__all__ = ["Outcome", "advance", "conductors", "replay", "start"]


_ANSWERS = (
    inputs.Confirm
    | inputs.Affirm
    | inputs.Negative
    | inputs.Reading
    | inputs.Tag
    | inputs.Choice
    | inputs.Challenge
    | inputs.Correction
)


@dataclass(frozen=True)
class Outcome:
    """A new run and what happened on the way."""

    run: Run
    effects: tuple[fx.Effect, ...]


@dataclass(frozen=True)
class _Now:
    """The event's circumstances, handed through."""

    plan: Plan
    at_s: float
    who: str
    via: str


# --- entry points --------------------------------------------------------------------------------


def start(plan: Plan) -> Run:
    """A run before its first event: nothing done, energy unknown."""
    job = plan.job
    wait_s = float(quantity(job.stored_energy.wait).to("second").value)
    ledger = energy.start(
        people=job.people,
        pairs=tuple(pair_id(pair) for pair in pairs(job.supply)),
        stored=job.stored_energy.present,
        wait_s=wait_s,
    )
    return Run(ledger=ledger)


def advance(plan: Plan, run: Run, event: inputs.Event) -> Outcome:
    """The run after an event, and its effects.

    Parameters
    ----------
    plan : Plan
        A pack bound to a job.
    run : Run
        Where the job stands.
    event : Event
        Who said what, when. An `at_s` before the last one counts as the last one, so that a
        clock set back can't shorten a wait or an interruption.

    Returns
    -------
    Outcome
        The new run; `effects` in the order in which they are to be told.
    """
    at_s = max(event.at_s, run.last_s)
    now = _Now(plan, at_s, event.who, event.via)
    before: tuple[fx.Effect, ...] = ()
    was = run.ledger.state
    if _lapsed(plan, run, at_s):
        run, before = _void(now, run, "interruption")
        entered = _enter(now, run, _first_unsettled(plan, run))
        run, before = entered.run, before + entered.effects
        # An answer to a question asked before the interruption is an answer to nothing now.
        if isinstance(event.input, _ANSWERS | inputs.Tick | inputs.NotUnderstood):
            return _told(was, replace(run, last_s=at_s), before)
    heard = not isinstance(event.input, inputs.Tick | inputs.NotUnderstood)
    out = _take(event.input, now, run)
    after = replace(
        out.run,
        last_s=at_s if heard else out.run.last_s,
        times=0 if heard and not _asked_again(out) else out.run.times,
    )
    return _told(was, after, before + out.effects)


def replay(plan: Plan, events: Iterable[inputs.Event]) -> Run:
    """The run that a list of events leads to, from the start."""
    run = start(plan)
    for event in events:
        run = advance(plan, run, event).run
    return run


def _told(was: str, run: Run, effects: tuple[fx.Effect, ...]) -> Outcome:
    """Say a changed energy state right after what changed it, before the next step is spoken."""
    if run.ledger.state == was:
        return Outcome(run, effects)
    place = next(
        (i for i, e in enumerate(effects) if isinstance(e, fx.Entered | fx.Refused | fx.Finished)),
        len(effects),
    )
    told = fx.EnergyNow(state=run.ledger.state)
    return Outcome(run, (*effects[:place], told, *effects[place:]))


def _asked_again(out: Outcome) -> bool:
    return any(isinstance(effect, fx.AskAgain) for effect in out.effects)


def _lapsed(plan: Plan, run: Run, at_s: float) -> bool:
    limit_s = float(quantity(plan.job.re_prove).to("second").value)
    return run.ledger.state in energy.DEAD_SIDE and at_s - run.last_s > limit_s


# --- going from step to step -----------------------------------------------------------------


def _first_unsettled(plan: Plan, run: Run, after: str | None = None) -> str | None:
    """The next step after `after` that isn't settled, else the first in the whole plan."""
    first = plan.index(after) + 1 if after else 0
    for step in (*plan.steps[first:], *plan.steps[:first]):
        if not gates.settled(plan, run, step):
            return step.id
    return None


def _enter(now: _Now, run: Run, step_id: str | None) -> Outcome:
    """Go to a step; steps that answer themselves (sums, waits that are over) are taken at once."""
    run = replace(run, pending=None, challenge=None, failing=None, refused=())
    if step_id is None:
        run = replace(run, at=None, finished=True)
        return Outcome(run, (fx.Finished(open_points=len(run.open_points)),))
    step = now.plan.step(step_id)
    fresh = run.at != step_id
    entered_s = now.at_s if fresh or not run.entered_s else run.entered_s
    run = replace(run, at=step_id, finished=False, entered_s=entered_s)
    missing = gates.may_enter(run, step)
    if missing:
        offer = gates.offer_for(now.plan, run, missing, step_id)
        refused = fx.Refused(step=step_id, missing=missing, offer=offer)
        return Outcome(replace(run, refused=missing), (refused,))
    if step.expects.derived:
        return _derive(now, run, step)
    if step.expects.wait and _wait_left(now, run, step) <= 0:
        return _wait_over(now, run, step)
    if step.proves in ("lock", "lock-off") and _person(run, step) is None:
        return _settle(now, run, step, ())
    entered = fx.Entered(step=step_id, again=step_id in run.spoken)
    run = replace(run, spoken=run.spoken | {step_id})
    if step.expects.challenge:
        closed = gates.may_open(now.plan, run, step, now.at_s)
        if closed:
            offer = gates.offer_for(now.plan, run, closed, step_id)
            refused = fx.Refused(step=step_id, missing=closed, offer=offer)
            return Outcome(run, (entered, refused))
        return Outcome(run, (entered, fx.ChallengeNeeded(step=step_id)))
    if step.expects.wait:
        left = fx.Waiting(step=step_id, left_s=_wait_left(now, run, step))
        return Outcome(run, (entered, left))
    return Outcome(run, (entered,))


def _settle(
    now: _Now, run: Run, step: Step, told: tuple[fx.Effect, ...], mark: str = "done"
) -> Outcome:
    """Mark a step and go on to the next."""
    run = replace(run, marks={**run.marks, step.id: mark}, failing=None)  # type: ignore[dict-item]
    out = _enter(now, run, _first_unsettled(now.plan, run, step.id))
    return Outcome(out.run, told + out.effects)


def _stay(run: Run, *told: fx.Effect) -> Outcome:
    return Outcome(run, told)


def _again(now: _Now, run: Run, why: str, candidates: tuple[str, ...] = ()) -> Outcome:
    times = run.times + 1
    asked = fx.AskAgain(step=run.at or "", why=why, candidates=candidates, times=times)
    return _stay(replace(run, times=times), asked)


def _refuse(now: _Now, run: Run, missing: tuple[str, ...]) -> Outcome:
    offer = gates.offer_for(now.plan, run, missing, run.at)
    return _stay(run, fx.Refused(step=run.at or "", missing=missing, offer=offer))


def _person(run: Run, step: Step) -> str | None:
    if step.proves == "lock":
        return run.ledger.next_without_lock()
    return run.ledger.next_with_lock()


def _wait_left(now: _Now, run: Run, step: Step) -> float:
    if step.expects.wait == "stored-energy":
        return run.ledger.wait_left_s(now.at_s)
    length_s = float(quantity(step.expects.wait or "0 s").to("second").value)
    return max(0.0, run.entered_s + length_s - now.at_s)


def _wait_over(now: _Now, run: Run, step: Step) -> Outcome:
    ledger = _moved(run, step, now)
    if isinstance(ledger, Denied):
        return _refuse(now, run, ledger.missing)
    return _settle(now, replace(run, ledger=ledger), step, (fx.Taken(step=step.id, word="over"),))


def _moved(
    run: Run, step: Step, now: _Now, person: str = "", tag: str = ""
) -> energy.Ledger | Denied:
    name = gates.ledger_move(step)
    if name is None:
        return run.ledger
    pair = step.id.rpartition(".")[2] if step.proves == "dead" else ""
    return energy.move(run.ledger, name, now.at_s, person=person, tag=tag, pair=pair)


# --- losing the proof ------------------------------------------------------------------------


def _void(now: _Now, run: Run, cause: str) -> tuple[Run, tuple[fx.Effect, ...]]:
    """The run when the energy state is unknown again, with the marks that no longer count."""
    was = run.ledger.state
    if run.finished:  # what is done stays done; only the knowledge of the energy state goes
        return replace(run, ledger=energy.void(run.ledger)), (fx.Voided(cause=cause, was=was),)
    cleared = _marks_to_clear(now.plan, run, run.at)
    run = replace(
        run,
        ledger=energy.void(run.ledger),
        marks={k: v for k, v in run.marks.items() if k not in cleared},
        pending=None,
        challenge=None,
        failing=None,
        refused=(),
    )
    if was == "unknown" and cause not in ("restart", "stop-work", "person-joined", "crew-changed"):
        return run, ()
    return run, (fx.Voided(cause=cause, was=was),)


def _marks_to_clear(plan: Plan, run: Run, at: str | None) -> set[str]:
    """Marks that a lost proof takes along.

    On the dead side: every gate of the chain, and the whole section in which locks come off,
    because covers may be open again. On the live side: only what follows the last lock-off;
    hands were out, and the way to live work leads through the warning and the challenge.
    """
    steps = gates.chain(plan, at)
    offs = [i for i, step in enumerate(steps) if step.proves == "lock-off"]
    live = [i for i, step in enumerate(steps) if gates.ledger_move(step) == "power-on"]
    release = {s.section for s in steps if s.proves == "lock-off"}
    on = run.ledger.state in ("released", "energised")
    if on or (run.ledger.state == "unknown" and run.ledger.was_live):
        first, last = (offs[-1] + 1 if offs else 0), (live[-1] if live else -1)
        return {step.id for step in steps[first : last + 1]}
    return {step.id for step in steps if step.gate or step.section in release}


# --- one function an input ---------------------------------------------------------------------


def _take(what: Any, now: _Now, run: Run) -> Outcome:
    """Held runs and system events first, then what holds in every step, then the answer."""
    if isinstance(what, inputs.Started):
        return _enter(now, run, _first_unsettled(now.plan, run))
    if isinstance(what, inputs.Tick):
        return _tick(now, run)
    if isinstance(what, inputs.Restarted | inputs.CrewChanged | inputs.PersonJoined):
        return _unknown_again(what, now, run)
    if isinstance(what, inputs.LockOff | inputs.PowerOn):
        return _said_live(what, now, run)
    if run.held and not _allowed_while_held(what):
        return _stay(run, fx.Held(cause=run.held, who=now.who))
    return _answer(what, now, run)


def _allowed_while_held(what: Any) -> bool:
    names = {"go-ahead", "say-again", "where-are-we", "reason", "limits", "stop-work", "emergency"}
    names |= {"read-back", "call-helper", "slower", "faster", "louder", "quieter"}
    if isinstance(what, inputs.Command):
        return what.name in names
    return isinstance(what, inputs.Note | inputs.NotUnderstood)


def _tick(now: _Now, run: Run) -> Outcome:
    step = _step(now, run)
    if run.held or step is None or not step.expects.wait or run.refused:
        return _stay(run)
    return _wait_over(now, run, step) if _wait_left(now, run, step) <= 0 else _stay(run)


def _unknown_again(what: Any, now: _Now, run: Run) -> Outcome:
    cause = {"restarted": "restart", "crew-changed": "crew-changed"}.get(what.kind, "person-joined")
    run, told = _void(now, run, cause)
    people = run.ledger.people
    if isinstance(what, inputs.CrewChanged):
        people = what.people or people
    elif isinstance(what, inputs.PersonJoined) and what.person not in people:
        people = (*people, what.person)
    run = replace(run, ledger=replace(run.ledger, people=people))
    if run.held:
        return _stay(run, *told, fx.Held(cause=run.held, who=now.who))
    out = _enter(now, run, _first_unsettled(now.plan, run))
    return Outcome(out.run, told + out.effects)


def _said_live(what: Any, now: _Now, run: Run) -> Outcome:
    """ "Lock off" and "power is on": an answer where they are asked for, else the proof is gone."""
    step = _step(now, run)
    move = gates.ledger_move(step) if step else None
    if isinstance(what, inputs.PowerOn) and move == "power-on" and not run.held:
        assert step is not None
        return _answer(inputs.Confirm(word=step.expects.confirmation or ""), now, run)
    if isinstance(what, inputs.LockOff) and move == "lock-off" and not run.held:
        return _again(now, run, "tag-needed")
    if isinstance(what, inputs.PowerOn) and run.ledger.state == "energised":
        return _stay(run, fx.EnergyNow(state="energised"))
    run, told = _void(now, run, what.kind)
    if run.held:
        return _stay(run, *told, fx.Held(cause=run.held, who=now.who))
    out = _enter(now, run, _first_unsettled(now.plan, run))
    return Outcome(out.run, told + out.effects)


def _step(now: _Now, run: Run) -> Step | None:
    return now.plan.step(run.at) if run.at else None


@singledispatch
def _answer(what: Any, now: _Now, run: Run) -> Outcome:
    raise TypeError(f"no rule for input {type(what).__name__} at step {run.at}")


@_answer.register
def _(what: inputs.NotUnderstood, now: _Now, run: Run) -> Outcome:
    return _again(now, run, what.why, what.candidates)


@_answer.register
def _(what: inputs.Note, now: _Now, run: Run) -> Outcome:
    return _stay(run, fx.Noted(text=what.text))


@_answer.register
def _(what: inputs.ChallengeIssued, now: _Now, run: Run) -> Outcome:
    step = _step(now, run)
    if step is None or step.expects.challenge is None or run.refused:
        return _stay(run)
    phrase = step.expects.challenge
    issued = IssuedChallenge(step.id, phrase, what.digits, now.at_s)
    given = fx.ChallengeGiven(step=step.id, phrase=phrase, digits=what.digits)
    return _stay(replace(run, challenge=issued, pending=None), given)


@_answer.register
def _(what: inputs.Affirm, now: _Now, run: Run) -> Outcome:
    pending = run.pending
    if pending is None:
        return _again(now, run, "not here")
    step = now.plan.step(pending.step)
    if what.plain and (step.gate or (step.limits and step.limits.safety)):
        return _refuse(now, run, ("affirm-needed",))
    missing = gates.may_enter(run, step)
    if missing and not pending.corrects:
        return _refuse(now, replace(run, pending=None), missing)
    if pending.kind == "reading":
        return _take_reading(now, run, step, pending)
    if pending.kind == "challenge":
        wrong = _wrong_challenge(now, run, pending.digits)
        if wrong:
            return _challenge_again(now, replace(run, pending=None), step, wrong)
        closed = gates.may_open(now.plan, run, step, now.at_s)
        if closed:
            return _refuse(now, replace(run, pending=None, challenge=None), closed)
    ledger = _moved(run, step, now, pending.person, pending.tag)
    if isinstance(ledger, Denied):
        return _refuse(now, replace(run, pending=None), ledger.missing)
    run = replace(run, ledger=ledger, pending=None)
    taken = fx.Taken(step=step.id, word=pending.word, tag=pending.tag, person=pending.person)
    if step.expects.tag and _person(run, step) is not None:
        out = _enter(now, run, step.id)
        return Outcome(out.run, (taken, *out.effects))
    return _settle(now, run, step, (taken,))


@_answer.register
def _(what: inputs.Negative, now: _Now, run: Run) -> Outcome:
    return _withdraw(now, run)


def _withdraw(now: _Now, run: Run) -> Outcome:
    if run.pending is None:
        return _again(now, run, "not here")
    withdrawn = fx.Withdrawn(step=run.pending.step)
    step = now.plan.step(run.pending.step)
    run = replace(run, pending=None)
    if step.expects.challenge:
        return _stay(replace(run, challenge=None), withdrawn, fx.ChallengeNeeded(step=step.id))
    return _stay(run, withdrawn)


@_answer.register
def _(what: inputs.Confirm, now: _Now, run: Run) -> Outcome:
    step = _step(now, run)
    if step is None:
        return _again(now, run, "not here")
    if run.refused:
        return _refuse(now, run, run.refused)
    if step.expects.wait and what.word == "done":
        left = _wait_left(now, run, step)
        if left > 0:
            return _stay(run, fx.Waiting(step=step.id, left_s=left))
        return _wait_over(now, run, step)
    if step.expects.confirmation is None or what.word != step.expects.confirmation:
        return _again(now, run, "not here")
    missing = gates.may_enter(run, step) or gates.may_open(now.plan, run, step, now.at_s)
    if missing:
        return _refuse(now, run, missing)
    if step.gate:
        pending = Pending(step.id, "confirm", now.at_s, word=what.word)
        return _stay(replace(run, pending=pending), fx.ReadBack(step=step.id, word=what.word))
    return _settle(now, run, step, (fx.Taken(step=step.id, word=what.word),))


@_answer.register
def _(what: inputs.Tag, now: _Now, run: Run) -> Outcome:
    step = _step(now, run)
    if step is None or step.expects.tag is None:
        return _again(now, run, "not here")
    if run.refused:
        return _refuse(now, run, run.refused)
    person = _person(run, step) or ""
    if step.proves == "lock-off":
        person = next((p for p, tag in run.ledger.locks if tag == what.digits), "")
        if not person:
            return _refuse(now, run, ("wrong-tag",))
    move = gates.ledger_move(step) or ""
    missing = energy.missing_for(run.ledger, move, now.at_s, what.digits)
    if missing:
        return _refuse(now, run, missing)
    pending = Pending(step.id, "tag", now.at_s, tag=what.digits, person=person)
    read = fx.ReadBack(step=step.id, tag=what.digits, person=person)
    return _stay(replace(run, pending=pending), read)


@_answer.register
def _(what: inputs.Choice, now: _Now, run: Run) -> Outcome:
    step = _step(now, run)
    target = (step.expects.choice or {}).get(what.answer) if step else None
    if step is None or target is None:
        return _again(now, run, "not here")
    if run.refused:
        return _refuse(now, run, run.refused)
    taken = (fx.Taken(step=step.id, answer=what.answer),)
    if target == "next":
        return _settle(now, run, step, taken)
    here = now.plan.index(step.id)
    there = len(now.plan.steps) if target == "end" else now.plan.index(target)
    marks = {**run.marks, step.id: "done"}
    if there <= here:  # do it again from there; gates keep their marks, the ledger its state
        for each in now.plan.steps[there : here + 1]:
            if not each.gate:
                marks.pop(each.id, None)
    for each in now.plan.steps[here + 1 : there]:
        if not each.gate and each.id not in marks:
            marks[each.id] = "passed-over"
    run = replace(run, marks=marks)  # type: ignore[arg-type]
    after = step.id if there > here else None
    next_id = target if there < len(now.plan.steps) else _first_unsettled(now.plan, run, after)
    out = _enter(now, run, next_id)
    return Outcome(out.run, taken + out.effects)


@_answer.register
def _(what: inputs.Challenge, now: _Now, run: Run) -> Outcome:
    gate = next(
        (s for s in gates.chain(now.plan, run.at) if s.expects.challenge == what.phrase), None
    )
    if gate is None:
        return _again(now, run, "not here")
    if what.phrase == "clear-to-energise" and now.who not in ("lead", "system"):
        return _refuse(now, run, ("lead-only",))
    missing = gates.may_enter(run, gate) or gates.may_open(now.plan, run, gate, now.at_s)
    if missing:
        return _refuse(now, run, missing)
    if run.at != gate.id:
        return _refuse(now, run, (f"unsettled:{run.at}",) if run.at else ("challenge-missing",))
    wrong = _wrong_challenge(now, run, what.digits)
    if wrong:
        return _challenge_again(now, run, gate, wrong)
    pending = Pending(gate.id, "challenge", now.at_s, digits=what.digits, word=what.phrase)
    read = fx.ReadBack(step=gate.id, word=what.phrase, challenge=what.digits)
    return _stay(replace(run, pending=pending), read)


def _wrong_challenge(now: _Now, run: Run, digits: str) -> str:
    """Why the digits are no confirmation, or ""."""
    if not digits or run.challenge is None:
        return "challenge-missing"
    if now.at_s - run.challenge.at_s > CHALLENGE_LIFE_S:
        return "challenge-old"
    return "" if digits == run.challenge.digits else "challenge-wrong"


def _challenge_again(now: _Now, run: Run, gate: Step, code: str) -> Outcome:
    """Each challenge gets one try: after a wrong one fresh digits are drawn."""
    refused = fx.Refused(step=gate.id, missing=(code,))
    run = replace(run, challenge=None, pending=None)
    return _stay(run, refused, fx.ChallengeNeeded(step=gate.id))


@_answer.register
def _(what: inputs.Reading, now: _Now, run: Run) -> Outcome:
    step = now.plan.step(run.pending.step) if run.pending else _step(now, run)
    if step is None or step.expects.reading is None:
        return _again(now, run, "not here")
    corrects = bool(run.pending and run.pending.corrects)
    return _hear_reading(what, now, run, step, corrects)


def _hear_reading(
    what: inputs.Reading, now: _Now, run: Run, step: Step, corrects: bool
) -> Outcome:
    """Hold a value as pending, unless it can't be what was measured."""
    spec = step.expects.reading
    assert spec is not None
    if run.refused and not corrects:
        return _refuse(now, run, run.refused)
    missing = gates.may_enter(run, step) or gates.may_open(now.plan, run, step, now.at_s)
    if missing and not corrects:
        return _refuse(now, run, missing)
    if what.special == "no-reading" or (what.value is None and not what.special):
        return _again(now, run, "no-reading")
    said_unit = unit(what.unit or spec.unit).name
    if not same_dimension(said_unit, spec.unit):
        wrong = fx.WrongUnit(step=step.id, said=said_unit, expected=unit(spec.unit).name)
        return _stay(replace(run, pending=None), wrong)
    held = Pending(step.id, "reading", now.at_s, said=what.said, corrects=corrects)
    if what.special:
        held = replace(held, special=what.special)
        read = fx.ReadBack(step=step.id, special=what.special, unit=said_unit)
        return _stay(replace(run, pending=held, failing=None), read)
    assert what.value is not None
    measured = Quantity(what.value, said_unit)
    low, high = spec.plausible
    if not low <= measured.to(spec.unit).value <= high:
        doubtful = fx.Implausible(
            step=step.id,
            value=what.value,
            unit=said_unit,
            low=low,
            high=high,
            plausible_unit=unit(spec.unit).name,
        )
        return _stay(replace(run, pending=None), doubtful)
    held = replace(held, quantity=measured)
    read = fx.ReadBack(step=step.id, value=what.value, unit=said_unit)
    return _stay(replace(run, pending=held, failing=None), read)


@_answer.register
def _(what: inputs.Correction, now: _Now, run: Run) -> Outcome:
    if what.tag and run.at:
        return _answer(what.tag, now, replace(run, pending=None))
    if run.pending:
        step = now.plan.step(run.pending.step)
        if what.reading is None or step.expects.reading is None:
            return _withdraw(now, run)
        return _hear_reading(what.reading, now, run, step, run.pending.corrects)
    current = _step(now, run)
    if current and current.expects.reading and (run.failing or run.last_reading is None):
        if what.reading is None:
            return _enter(now, run, current.id)
        return _hear_reading(what.reading, now, run, current, False)
    last = run.readings.get(run.last_reading or "")
    if last is None:
        return _again(now, run, "nothing-to-correct")
    step = now.plan.step(last.step)
    if what.reading is None:
        return _reopen(now, run, step)
    return _hear_reading(what.reading, now, run, step, True)


def _reopen(now: _Now, run: Run, step: Step) -> Outcome:
    """Measure a settled step anew. A dead reading stands in the proof: that goes first."""
    told: tuple[fx.Effect, ...] = ()
    if step.gate:
        run, told = _void(now, run, "prove-again")
        out = _enter(now, run, _first_unsettled(now.plan, run))
        return Outcome(out.run, told + out.effects)
    marks = {k: v for k, v in run.marks.items() if k != step.id}
    return _enter(now, replace(run, marks=marks), step.id)


@_answer.register
def _(what: inputs.Unable, now: _Now, run: Run) -> Outcome:
    step = _step(now, run)
    if step is None:
        return _again(now, run, "not here")
    cause = "failed" if run.failing == step.id else "unable"
    others = tuple(item for item in run.open_points if item.step != step.id)
    item = OpenItem(step.id, cause, what.reason)
    run = replace(run, open_points=(*others, item), pending=None)
    point = fx.OpenPoint(step=step.id, cause=cause, reason=what.reason, stays=step.gate)
    if step.gate or run.refused:
        return _stay(run, point.model_copy(update={"stays": True}))
    return _settle(now, run, step, (point,), "unable")


@_answer.register
def _(what: inputs.GoTo, now: _Now, run: Run) -> Outcome:
    steps = [s for s in now.plan.steps if s.section == what.section]
    target = next((s for s in steps if not gates.settled(now.plan, run, s)), None)
    if target is None:
        return _stay(run, fx.Explained(step=run.at or "", what="where-are-we"))
    missing = gates.may_enter(run, target)
    if missing:
        offer = gates.offer_for(now.plan, run, missing, target.id)
        return _stay(run, fx.Refused(step=target.id, missing=missing, offer=offer))
    return _enter(now, run, target.id)


@_answer.register
def _(what: inputs.Command, now: _Now, run: Run) -> Outcome:
    return _COMMANDS[what.name](now, run)


def _explain(what: str) -> Any:
    def tell(now: _Now, run: Run) -> Outcome:
        step = _step(now, run)
        bounds = None
        if step and what == "limits":
            with suppress(RangeError, UnitError, KeyError):  # not all it is made of is there yet
                bounds = _bounds(now, run, step)
        told = fx.Explained(step=run.at or "", what=what, bounds=bounds)  # type: ignore[arg-type]
        return _stay(run, told)

    return tell


def _setting(name: str) -> Any:
    def change(now: _Now, run: Run) -> Outcome:
        brief = {"brief": True, "full": False}.get(name, run.brief)
        return _stay(replace(run, brief=brief), fx.Setting(name=name))

    return change


def _hold(cause: str) -> Any:
    def hold(now: _Now, run: Run) -> Outcome:
        told: tuple[fx.Effect, ...] = ()
        if cause != "stand-by":
            if run.ledger.state != "unknown":
                run, told = _void(now, run, "stop-work")
            run = replace(run, pending=None, challenge=None)
        elif run.held:
            return _stay(run, fx.Held(cause=run.held, who=now.who))
        run = replace(run, held=cause)  # type: ignore[arg-type]
        return _stay(run, fx.Held(cause=cause, who=now.who), *told)

    return hold


def _go_ahead(now: _Now, run: Run) -> Outcome:
    if not run.held:
        return _again(now, run, "not here")
    if run.held != "stand-by" and now.who != "lead":
        return _refuse(now, run, ("lead-only",))
    was, run = run.held, replace(run, held=None)
    if was == "stand-by":
        told = (fx.Resumed(),)
        if run.pending:
            return _stay(run, *told, _read_back_again(run.pending))
        out = _enter(now, run, run.at)
    else:
        told = (fx.Resumed(),)
        out = _enter(now, run, _first_unsettled(now.plan, run))
    return Outcome(out.run, told + out.effects)


def _read_back_again(pending: Pending) -> fx.ReadBack:
    value = pending.quantity
    return fx.ReadBack(
        step=pending.step,
        value=value.value if value else None,
        unit=value.unit if value else "",
        special=pending.special,
        tag=pending.tag,
        word=pending.word,
        challenge=pending.digits,
        person=pending.person,
    )


def _go_back(now: _Now, run: Run) -> Outcome:
    here = now.plan.index(run.at) if run.at else len(now.plan.steps)
    for step in reversed(now.plan.steps[:here]):
        if step.id in run.marks and not step.gate and not step.expects.derived:
            marks = {k: v for k, v in run.marks.items() if k != step.id}
            out = _enter(now, replace(run, marks=marks), step.id)
            if out.run.refused:  # it can't be entered now: stay where we are
                return _stay(run, *out.effects)
            return out
    return _again(now, run, "nothing-before")


def _prove_again(now: _Now, run: Run) -> Outcome:
    run, told = _void(now, run, "prove-again")
    run = replace(run, ledger=replace(run.ledger, was_live=False))
    chain = gates.chain(now.plan, run.at)
    marks = {k: v for k, v in run.marks.items() if k not in {s.id for s in chain if s.gate}}
    run = replace(run, marks=marks)
    out = _enter(now, run, _first_unsettled(now.plan, run))
    return Outcome(out.run, told + out.effects)


def _measure_again(now: _Now, run: Run) -> Outcome:
    step = _step(now, run)
    if step and step.expects.derived:
        return _measure_sources(now, run, step)
    if step and step.expects.reading:
        return _enter(now, run, step.id)
    last = run.readings.get(run.last_reading or "")
    if last is None:
        return _again(now, run, "nothing-to-correct")
    return _reopen(now, run, now.plan.step(last.step))


def _measure_sources(now: _Now, run: Run, step: Step) -> Outcome:
    """Take anew the readings that a failed sum was made of."""
    assert step.expects.derived is not None
    names = set(_source_names(step, run))
    sources = {t.step for n, t in run.readings.items() if n in names}
    marks = {k: v for k, v in run.marks.items() if k not in sources and k != step.id}
    run = replace(run, marks=marks, failing=None)
    return _enter(now, run, _first_unsettled(now.plan, run))


def _source_names(step: Step, run: Run) -> list[str]:
    given = step.expects.derived.given if step.expects.derived else {}
    names = []
    for source in given.values():
        if source.startswith("reading."):
            name = source.removeprefix("reading.")
            prefix = name.removesuffix("*")
            names += [n for n in run.readings if n == name or (name != prefix and n.startswith(prefix))]
    return names


_COMMANDS: dict[str, Any] = {
    "say-again": lambda now, run: _stay(run, fx.Repeat()),
    "read-back": _explain("read-back"),
    "where-are-we": _explain("where-are-we"),
    "reason": _explain("reason"),
    "limits": _explain("limits"),
    "stand-by": _hold("stand-by"),
    "stop-work": _hold("stop-work"),
    "emergency": _hold("emergency"),
    "go-ahead": _go_ahead,
    "go-back": _go_back,
    "prove-again": _prove_again,
    "measure-again": _measure_again,
    "disregard": lambda now, run: _withdraw(now, run),
    "call-helper": lambda now, run: _stay(run, fx.HelperCalled()),
    **{n: _setting(n) for n in ("brief", "full", "slower", "faster", "louder", "quieter")},
}


# --- values and limits -----------------------------------------------------------------------


def _quantities(run: Run) -> dict[str, Quantity]:
    return {n: t.quantity for n, t in run.readings.items() if t.quantity is not None}


def _bounds(now: _Now, run: Run, step: Step) -> fx.Bounds | None:
    """The limits that hold for a step's value, in the step's unit; None where it has none.

    Raises RangeError, UnitError or KeyError if a sum can't be done with what is there.
    """
    limits = step.limits
    spec = step.expects.reading or step.expects.derived
    if limits is None or spec is None:
        return None
    shared = {"unit": unit(spec.unit).name, "safety": limits.safety}
    if limits.calc is None:
        return fx.Bounds(
            at_least=limits.at_least, at_most=limits.at_most, source=_source(now, step), **shared
        )
    result = calc.calculate(limits.calc, resolve(limits.given, now.plan.job, _quantities(run)))

    def edge(value: Quantity | None) -> Decimal | None:
        return None if value is None else value.to(spec.unit).value

    return fx.Bounds(
        at_least=edge(result.at_least),
        at_most=edge(result.at_most),
        source=result.source,
        working=result.working,
        warnings=result.warnings + _unverified(result.kind),
        **shared,
    )


def _unverified(kind: str) -> tuple[str, ...]:
    return ("unverified default, confirm with the adopted code",) if kind == "from-memory" else ()


def _source(now: _Now, step: Step) -> str:
    if step.source is None:
        return ""
    found = now.plan.pack.sources[step.source.ref]
    place = f", {step.source.section}" if step.source.section else ""
    common = ", common practice" if found.kind == "common-practice" else ""
    return f"{found.title}{place}{common}"


def _verdict(bounds: fx.Bounds | None, value: Quantity | None) -> str:
    """Hold a value against limits, unrounded. Over range is above every upper limit."""
    if bounds is None:
        return "none"
    if value is None:
        return "fail" if bounds.at_most is not None else "pass"
    number = value.to(bounds.unit).value
    low = bounds.at_least is None or number >= bounds.at_least
    high = bounds.at_most is None or number <= bounds.at_most
    return "pass" if low and high else "fail"


def _take_reading(now: _Now, run: Run, step: Step, pending: Pending) -> Outcome:
    """An affirmed value: record, judge, and do what the verdict asks for."""
    spec = step.expects.reading
    assert spec is not None
    try:
        bounds = _bounds(now, run, step)
    except (RangeError, UnitError, KeyError) as problem:
        return _again(now, replace(run, pending=None), f"no-limits: {problem}")
    verdict = _verdict(bounds, pending.quantity)
    limits = step.limits or LimitSpec(at_most=Decimal(0))
    fails = verdict == "fail"
    instruments = now.plan.job.instruments
    judged = fx.Judged(
        step=step.id,
        name=spec.name,
        value=pending.quantity.value if pending.quantity else None,
        unit=pending.quantity.unit if pending.quantity else unit(spec.unit).name,
        special=pending.special,
        said=pending.said,
        si_value=pending.quantity.si()[0] if pending.quantity else None,
        si_unit=pending.quantity.si()[1] if pending.quantity else "",
        bounds=bounds,
        verdict=verdict,  # type: ignore[arg-type]
        then=limits.outside if fails else "",
        corrects=pending.corrects or spec.name in run.readings,
        instrument=instruments[0].id if instruments and spec.instrument != "none" else "",
    )
    taken = TakenReading(
        step=step.id,
        quantity=pending.quantity,
        special=pending.special,
        verdict=judged.verdict,
        bounds=bounds,
        derived=False,
        at_s=now.at_s,
    )
    run = replace(
        run,
        readings={**run.readings, spec.name: taken},
        pending=None,
        last_reading=spec.name,
        open_points=_without_failed(run, step) if not fails else run.open_points,
    )
    if fails and (step.proves in ("dead", "tester-after") or (step.gate and pending.corrects)):
        tester = step.proves in ("tester-before", "tester-after")
        run, told = _void(now, run, "tester-failed" if tester else "voltage-found")
        out = _enter(now, run, _first_unsettled(now.plan, run))
        return Outcome(out.run, (judged, *told, *out.effects))
    if fails and limits.outside == "note":
        item = OpenItem(step.id, "failed", "")
        run = replace(run, open_points=(*run.open_points, item))
        point = fx.OpenPoint(step=step.id, cause="failed")
        return _after_reading(now, run, step, pending, (judged, point))
    if fails:
        marks = {k: v for k, v in run.marks.items() if k != step.id}
        run = replace(run, failing=step.id, at=step.id, marks=marks, entered_s=now.at_s)
        return _stay(run, judged)
    ledger = _moved(run, step, now)
    if isinstance(ledger, Denied) and not pending.corrects:
        return _refuse(now, run, ledger.missing)
    if not isinstance(ledger, Denied) and not pending.corrects:
        run = replace(run, ledger=ledger)
    return _after_reading(now, run, step, pending, (judged,))


def _without_failed(run: Run, step: Step) -> tuple[OpenItem, ...]:
    """A value that passes closes the step's open "failed" point; the log keeps both."""
    return tuple(i for i in run.open_points if not (i.step == step.id and i.cause == "failed"))


def _after_reading(
    now: _Now, run: Run, step: Step, pending: Pending, told: tuple[fx.Effect, ...]
) -> Outcome:
    """Go on; sums and conditions that used this reading are done anew."""
    stale = {
        s.id
        for s in now.plan.steps
        if s.id in run.marks
        and s.expects.derived
        and step.expects.reading
        and step.expects.reading.name in _source_names(s, run)
    }
    marks = {k: v for k, v in run.marks.items() if k not in stale}
    run = replace(run, marks={**marks, step.id: "done"})
    if not pending.corrects:
        after: str | None = step.id
    elif stale:
        after = None
    else:  # a correction from a later step: go on where we were
        out = _enter(now, run, run.at) if run.at != step.id else _settle(now, run, step, ())
        return Outcome(out.run, told + out.effects)
    out = _enter(now, run, _first_unsettled(now.plan, run, after))
    return Outcome(out.run, told + out.effects)


def _derive(now: _Now, run: Run, step: Step) -> Outcome:
    """Work a value out, record and judge it; it needs nobody's answer unless it fails."""
    spec = step.expects.derived
    assert spec is not None
    try:
        given = resolve(spec.given, now.plan.job, _quantities(run))
        result = calc.calculate(spec.calc, given)
        bounds = _bounds(now, run, step)
    except (RangeError, UnitError, KeyError) as problem:
        point = fx.OpenPoint(step=step.id, cause="unable", reason=f"can't be computed: {problem}")
        item = OpenItem(step.id, "unable", point.reason)
        run = replace(run, open_points=(*run.open_points, item))
        return _settle(now, run, step, (point,), "unable")
    value = next(iter(result.values.values())).to(spec.unit)
    verdict = _verdict(bounds, value)
    limits = step.limits or LimitSpec(at_most=Decimal(0))
    fails = verdict == "fail"
    judged = fx.Judged(
        step=step.id,
        name=spec.name,
        value=value.value,
        unit=value.unit,
        si_value=value.si()[0],
        si_unit=value.si()[1],
        bounds=bounds,
        verdict=verdict,  # type: ignore[arg-type]
        then=limits.outside if fails else "",
        derived=True,
        working=result.working,
        warnings=result.warnings + _unverified(result.kind),
        corrects=spec.name in run.readings,
    )
    taken = TakenReading(
        step=step.id,
        quantity=value,
        special="",
        verdict=judged.verdict,
        bounds=bounds,
        derived=True,
        at_s=now.at_s,
    )
    run = replace(run, readings={**run.readings, spec.name: taken})
    if not fails:
        run = replace(run, open_points=_without_failed(run, step))
        return _settle(now, run, step, (judged,))
    if limits.outside == "note":
        item = OpenItem(step.id, "failed", "")
        run = replace(run, open_points=(*run.open_points, item))
        return _settle(now, run, step, (judged, fx.OpenPoint(step=step.id, cause="failed")))
    return _stay(replace(run, failing=step.id), judged)
