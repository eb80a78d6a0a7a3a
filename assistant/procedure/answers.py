"""One function an input: what holds in every step, and the answers that a step expects."""

from __future__ import annotations

from dataclasses import replace
from functools import singledispatch
from typing import Any, Literal

from assistant.procedure import (
    calculating,
    energy,
    gates,
    guided,
    inputs,
    instruments,
    past,
    terminals,
    values,
)
from assistant.procedure import effects as fx
from assistant.procedure.energy import Denied
from assistant.procedure.instruments import to_choose
from assistant.procedure.load import spoken_terminal
from assistant.procedure.model import Step
from assistant.procedure.moves import (
    Now,
    Outcome,
    again,
    enter,
    first_unsettled,
    moved,
    person,
    refuse,
    settle,
    stay,
    to_prove,
    void,
    wait_left,
    wait_over,
    with_point,
)
from assistant.procedure.run import IssuedChallenge, Mark, Pending, Run
from assistant.quantity import Quantity, same_dimension, unit

HAZARDOUS_V = 50.0  # from here on a part is live: 29 CFR 1910.333(a)(1), from memory
CHALLENGE_LIFE_S = 120.0  # an older challenge is no longer the one just spoken
_REOPENED = ("unable", "passed-over")  # a jump to their section takes these up again


def take(what: Any, now: Now, run: Run) -> Outcome:
    """Held runs and system events first, then what holds in every step, then the answer."""
    if isinstance(what, inputs.Started | inputs.Restarted) and what.on:
        run = replace(run, on=what.on[:10])
    if isinstance(what, inputs.Started):
        begun = enter(now, run, first_unsettled(now.plan, run))
        return Outcome(begun.run, (*past.left(now.plan), *begun.effects))
    if isinstance(what, inputs.Tick):
        return _tick(now, run)
    if isinstance(what, inputs.Restarted | inputs.CrewChanged | inputs.PersonJoined):
        return _unknown_again(what, now, run)
    if isinstance(what, inputs.DeviceJoined | inputs.DeviceLost):
        return _device(what, now, run)
    if isinstance(what, inputs.LockOff | inputs.PowerOn):
        return _said_live(what, now, run)
    if run.held and not _allowed_while_held(what):
        return stay(run, fx.Held(cause=run.held, who=now.who))
    if run.sum and not run.held:
        out = calculating.take(what, now, run)
        if out is None and isinstance(what, _TO_THE_STEP):
            out = again(now, run, "not here")  # the step waits until the sum is closed
        if out is not None:
            return out
    return _answer(what, now, run)


_TO_THE_STEP = (
    inputs.Confirm | inputs.Reading | inputs.Tag | inputs.Choice | inputs.Landed | inputs.Challenge
) | (inputs.Affirm | inputs.Negative | inputs.Correction | inputs.Unable)


def _allowed_while_held(what: Any) -> bool:
    names = {"go-ahead", "say-again", "where-are-we", "reason", "limits", "stop-work", "emergency"}
    names |= {"read-back", "call-helper", "take-photo"}
    names |= {"slower", "faster", "louder", "quieter"}
    if isinstance(what, inputs.Command):
        return what.name in names
    return isinstance(what, inputs.Note | inputs.NotUnderstood)


def _tick(now: Now, run: Run) -> Outcome:
    step = _step(now, run)
    if run.held or step is None or not step.expects.wait or run.refused:
        return stay(run)
    return wait_over(now, run, step) if wait_left(now, run, step) <= 0 else stay(run)


def _unknown_again(what: Any, now: Now, run: Run) -> Outcome:
    cause = {"restarted": "restart", "crew-changed": "crew-changed"}.get(what.kind, "person-joined")
    run, told = void(now, run, cause)
    people = run.ledger.people
    if isinstance(what, inputs.CrewChanged):
        people = what.people or people
    elif isinstance(what, inputs.PersonJoined) and what.person not in people:
        people = (*people, what.person)
    run = replace(run, ledger=replace(run.ledger, people=people))
    if run.held:
        return stay(run, *told, fx.Held(cause=run.held, who=now.who))
    out = enter(now, run, first_unsettled(now.plan, run))
    return Outcome(out.run, told + out.effects)


def _said_live(what: Any, now: Now, run: Run) -> Outcome:
    """ "Lock off" and "power is on": an answer where they are asked for, else the proof is gone."""
    step = _step(now, run)
    move = gates.ledger_move(step) if step else None
    released = run.ledger.state == "released" and not run.held
    if isinstance(what, inputs.PowerOn) and step and move == "power-on" and released:
        return _answer(inputs.Confirm(word=step.expects.confirmation or ""), now, run)
    taking_off = step is not None and move == "lock-off" and not run.held
    if isinstance(what, inputs.LockOff) and taking_off and not run.refused:
        return again(now, _work_over(run, now), "tag-needed")
    if isinstance(what, inputs.PowerOn) and run.ledger.state == "energised":
        return stay(run, fx.EnergyNow(state="energised"))
    run, told = void(now, run, what.kind)
    if run.held:
        return stay(run, *told, fx.Held(cause=run.held, who=now.who))
    out = enter(now, run, first_unsettled(now.plan, run))
    return Outcome(out.run, told + out.effects)


def _work_over(run: Run, now: Now) -> Run:
    """Whoever speaks of a lock off, with whatever tag, ends the work with hands inside.

    Without this a tag that was misheard and taken back would leave the proof standing while the
    lock is in somebody's pocket.
    """
    ledger = energy.move(run.ledger, "work-over", now.at_s)
    return run if isinstance(ledger, Denied) else replace(run, ledger=ledger)


def _device(what: Any, now: Now, run: Run) -> Outcome:
    """A role's device comes or goes. A role that isn't on the job joins it, without a lock."""
    present = isinstance(what, inputs.DeviceJoined)
    told: tuple[fx.Effect, ...] = (fx.DeviceNotice(role=what.role, present=present),)
    if not present:
        run = replace(run, devices=run.devices - {what.role}, lost=run.lost | {what.role})
        pending = run.pending
        if pending and pending.who == what.role:  # nobody is left who could affirm it
            run = replace(run, pending=None)
    else:
        back = what.role in run.lost
        told = told if back else ()
        run = replace(run, devices=run.devices | {what.role}, lost=run.lost - {what.role})
        if what.role not in run.ledger.people:
            return _unknown_again(inputs.PersonJoined(person=what.role), now, run)
    step = _step(now, run)
    waits = step is not None and bool(gates.lost_for(run, step))
    waited = any(code.startswith("device-lost") for code in run.refused)
    if step is None or run.held or waits == waited:
        return stay(run, *told)
    out = enter(now, run, step.id)
    return Outcome(out.run, told + out.effects)


def _not_now(now: Now, run: Run, step: Step) -> tuple[str, ...]:
    """Why the step's answer isn't taken from this person now."""
    if run.refused:
        return run.refused
    return gates.may_answer(run, step, now.who) or gates.not_clear(run, step)


def _step(now: Now, run: Run) -> Step | None:
    return now.plan.step(run.at) if run.at else None


@singledispatch
def _answer(what: Any, now: Now, run: Run) -> Outcome:
    raise TypeError(f"no rule for input {type(what).__name__} at step {run.at}")


@_answer.register
def _(what: inputs.NotUnderstood, now: Now, run: Run) -> Outcome:
    return again(now, run, what.why, what.candidates)


@_answer.register
def _(what: inputs.Note, now: Now, run: Run) -> Outcome:
    return stay(run, fx.Noted(text=what.text))


@_answer.register
def _(what: inputs.ChallengeIssued, now: Now, run: Run) -> Outcome:
    step = _step(now, run)
    if step is None or step.expects.challenge is None or run.refused:
        return stay(run)
    phrase = step.expects.challenge
    issued = IssuedChallenge(step.id, phrase, what.digits, now.at_s)
    given = fx.ChallengeGiven(step=step.id, phrase=phrase, digits=what.digits)
    return stay(replace(run, challenge=issued, pending=None), given)


@_answer.register
def _(what: inputs.Affirm, now: Now, run: Run) -> Outcome:
    pending = run.pending
    if pending is None:
        return again(now, run, "not here")
    if now.who not in (pending.who, "system"):
        return refuse(now, run, (f"affirm-from:{pending.who}",))
    if pending.kind == "hand-over":
        return _handed_over(now, run)
    if pending.person and not _speaks_for(pending.person, now.who, run):
        return refuse(now, replace(run, pending=None), (f"answer-from:{pending.person}",))
    step = now.plan.step(pending.step)
    if what.plain and gates.weighty(step):
        return refuse(now, run, ("affirm-needed",))
    missing = gates.may_enter(run, step)
    if missing and not pending.corrects:
        return refuse(now, replace(run, pending=None), missing)
    if pending.kind == "reading":
        return _take_reading(now, run, step, pending)
    if pending.kind == "choice":
        return _take_choice(now, replace(run, pending=None), step, pending.word)
    if pending.kind == "challenge":
        wrong = _wrong_challenge(now, run, pending.digits)
        if wrong:
            return _challenge_again(now, replace(run, pending=None), step, wrong)
        closed = gates.may_open(now.plan, run, step, now.at_s)
        if closed:
            return refuse(now, replace(run, pending=None, challenge=None), closed)
    if pending.kind == "landed":
        return _landed_elsewhere(now, replace(run, pending=None), step, pending.said)
    ledger = moved(run, step, now, pending.person, pending.tag)
    if isinstance(ledger, Denied):
        return refuse(now, replace(run, pending=None), ledger.missing)
    run = replace(run, ledger=ledger, pending=None)
    taken = fx.Taken(step=step.id, word=pending.word, tag=pending.tag, person=pending.person)
    if step.expects.tag and person(run, step) is not None:
        out = enter(now, run, step.id)
        return Outcome(out.run, (taken, *out.effects))
    return settle(now, run, step, (taken,))


@_answer.register
def _(what: inputs.Negative, now: Now, run: Run) -> Outcome:
    return _withdraw(now, run)


def _withdraw(now: Now, run: Run) -> Outcome:
    if run.pending is None:
        return again(now, run, "not here")
    withdrawn = fx.Withdrawn(step=run.pending.step, again=run.pending.step == run.retaking)
    step = now.plan.step(run.pending.step)
    run = _not_taken(run, step, run.pending.corrects)
    if step.expects.challenge:
        return stay(replace(run, challenge=None), withdrawn, fx.ChallengeNeeded(step=step.id))
    return stay(run, withdrawn)


@_answer.register
def _(what: inputs.Confirm, now: Now, run: Run) -> Outcome:
    step = _step(now, run)
    if step is None:
        return again(now, run, "not here")
    no = _not_now(now, run, step)
    if no:
        return refuse(now, run, no)
    if step.expects.wait and what.word == "done":
        left = wait_left(now, run, step)
        if left > 0:
            return stay(run, fx.Waiting(step=step.id, left_s=left))
        return wait_over(now, run, step)
    if step.expects.confirmation is None or what.word != step.expects.confirmation:
        return again(now, run, "not here")
    missing = gates.may_enter(run, step) or gates.may_open(now.plan, run, step, now.at_s)
    if missing:
        return refuse(now, run, missing)
    if step.gate:
        pending = Pending(step.id, "confirm", now.at_s, now.who, word=what.word)
        return stay(replace(run, pending=pending), pending.read_back())
    put_right = tuple(p for p in run.open_points if (p.step, p.cause) != (step.id, "misplaced"))
    run = replace(run, open_points=put_right)
    return settle(now, run, step, (fx.Taken(step=step.id, word=what.word),))


@_answer.register
def _(what: inputs.Tag, now: Now, run: Run) -> Outcome:
    step = _step(now, run)
    if step is None or step.expects.tag is None:
        return again(now, run, "not here")
    if step.proves == "lock-off":
        if any(not code.startswith("device-lost") for code in run.refused):
            return _said_live(inputs.LockOff(), now, run)  # locks should still be on
        run = _work_over(run, now)
    no = _not_now(now, run, step)
    if no:
        return refuse(now, run, no)
    owner = person(run, step) or ""
    if step.proves == "lock-off":
        owner = next((p for p, tag in run.ledger.locks if tag == what.digits), "")
        if not owner:
            return refuse(now, run, ("wrong-tag",))
    move = gates.ledger_move(step) or ""
    missing = energy.missing_for(run.ledger, move, now.at_s, what.digits)
    if missing:
        return refuse(now, run, missing)
    if not _speaks_for(owner, now.who, run):
        return refuse(now, run, (f"answer-from:{owner}",))  # each takes off their own lock
    pending = Pending(step.id, "tag", now.at_s, now.who, tag=what.digits, person=owner)
    return stay(replace(run, pending=pending), pending.read_back())


def _speaks_for(owner: str, who: str, run: Run) -> bool:
    """A lock is its owner's word; for an owner without a device it is a turn at another's."""
    return who == owner or owner not in run.devices | run.lost


@_answer.register
def _(what: inputs.Choice, now: Now, run: Run) -> Outcome:
    step = _step(now, run)
    if step is None or what.answer not in (step.expects.choice or ()):
        return again(now, run, "not here")
    no = _not_now(now, run, step)
    if no:
        return refuse(now, run, no)
    missing = gates.may_enter(run, step) or gates.may_open(now.plan, run, step, now.at_s)
    if missing:
        return refuse(now, run, missing)
    if step.judged_by_choice:
        pending = Pending(step.id, "choice", now.at_s, now.who, word=what.answer)
        return stay(replace(run, pending=pending), pending.read_back())
    return _take_choice(now, run, step, what.answer)


def _take_choice(now: Now, run: Run, step: Step, answer: str) -> Outcome:
    """Go where the answer leads."""
    target = (step.expects.choice or {})[answer]
    if step.gate:
        ledger = energy.move(run.ledger, gates.move_of(step, answer), now.at_s)
        if isinstance(ledger, Denied):
            return refuse(now, run, ledger.missing)
        run = replace(run, ledger=ledger)
    taken: tuple[fx.Effect, ...] = (fx.Taken(step=step.id, answer=answer),)
    run = replace(run, answers={**run.answers, step.id: answer})
    if step.keeps_open:
        run, opened = past.kept_open(now.plan, run, step, answer)
        taken += opened
    if target == "next":
        return settle(now, run, step, taken)
    here = now.plan.index(step.id)
    there = len(now.plan.steps) if target == "end" else now.plan.index(target)
    marks: dict[str, Mark] = {**run.marks, step.id: "done"}
    own = [i for i, each in enumerate(now.plan.steps) if each.pack == step.pack and not each.gate]
    if there <= here:  # do it again from there; gates keep their marks, the ledger its state
        for i in own:
            if there <= i <= here:
                marks.pop(now.plan.steps[i].id, None)
    for i in own:
        if here < i < there:
            marks.setdefault(now.plan.steps[i].id, "passed-over")
    run = replace(run, marks=marks)
    after = step.id if there > here else None
    next_id = target if there < len(now.plan.steps) else first_unsettled(now.plan, run, after)
    out = enter(now, run, next_id)
    return Outcome(out.run, taken + out.effects)


@_answer.register
def _(what: inputs.Landed, now: Now, run: Run) -> Outcome:
    step = _step(now, run)
    planned = terminals.planned(now.plan.job.terminals, step) if step else None
    if step is None or planned is None or step.gate:
        return again(now, run, "not here")
    no = _not_now(now, run, step) or gates.may_enter(run, step)
    if no:
        return refuse(now, run, no)
    found = f"-{what.strip}:{what.point}"
    if terminals.designation(found) == terminals.designation(planned.terminal):
        return again(now, run, "not here")  # that is the plan: the step's own word confirms it
    word = f"landed on {spoken_terminal(found)}"
    pending = Pending(step.id, "landed", now.at_s, now.who, word=word, said=found)
    return stay(replace(run, pending=pending), pending.read_back())


def _landed_elsewhere(now: Now, run: Run, step: Step, found: str) -> Outcome:
    """An open point with both terminals. Where power and low voltage meet, or a core and an
    earth, the step stays, UNABLE or not: that core is moved first, then confirmed."""
    rows = now.plan.job.terminals
    planned = terminals.planned(rows, step)
    assert planned is not None
    reason, harmful = terminals.elsewhere(rows, planned, found)
    cause: Literal["misplaced", "unable"] = "misplaced" if harmful else "unable"
    point = fx.OpenPoint(step=step.id, cause=cause, reason=reason, stays=harmful)
    run = with_point(run, point)
    return stay(run, point) if harmful else settle(now, run, step, (point,), "unable")


@_answer.register
def _(what: inputs.Challenge, now: Now, run: Run) -> Outcome:
    gate = next(
        (s for s in gates.chain(now.plan, run.at) if s.expects.challenge == what.phrase), None
    )
    if gate is None:
        return again(now, run, "not here")
    if now.who not in ("lead", "system"):
        return refuse(now, run, ("lead-only",))
    missing = gates.may_open(now.plan, run, gate, now.at_s) or gates.may_enter(run, gate)
    if missing:
        return refuse(now, run, missing)
    if run.at != gate.id:
        return refuse(now, run, (f"unsettled:{run.at}",) if run.at else ("challenge-missing",))
    wrong = _wrong_challenge(now, run, what.digits)
    if wrong:
        return _challenge_again(now, run, gate, wrong)
    pending = Pending(gate.id, "challenge", now.at_s, now.who, digits=what.digits, word=what.phrase)
    return stay(replace(run, pending=pending), pending.read_back())


def _wrong_challenge(now: Now, run: Run, digits: str) -> str:
    """Why the digits are no confirmation, or ""."""
    if not digits or run.challenge is None:
        return "challenge-missing"
    if now.at_s - run.challenge.at_s > CHALLENGE_LIFE_S:
        return "challenge-old"
    return "" if digits == run.challenge.digits else "challenge-wrong"


def _challenge_again(now: Now, run: Run, gate: Step, code: str) -> Outcome:
    """Each challenge gets one try: after a wrong one fresh digits are drawn."""
    refused = fx.Refused(step=gate.id, missing=(code,))
    run = replace(run, challenge=None, pending=None)
    return stay(run, refused, fx.ChallengeNeeded(step=gate.id))


@_answer.register
def _(what: inputs.Reading, now: Now, run: Run) -> Outcome:
    step = now.plan.step(run.pending.step) if run.pending else _step(now, run)
    if step is None or step.expects.reading is None:
        return again(now, run, "not here")
    corrects = bool(run.pending and run.pending.corrects)
    return _hear_reading(what, now, run, step, corrects)


def _hear_reading(what: inputs.Reading, now: Now, run: Run, step: Step, corrects: bool) -> Outcome:
    """Hold a value as pending, unless it can't be what was measured."""
    spec = step.expects.reading
    assert spec is not None
    no = gates.may_answer(run, step, now.who) if corrects else _not_now(now, run, step)
    if no:
        return refuse(now, run, no)
    missing = gates.may_enter(run, step) or gates.may_open(now.plan, run, step, now.at_s)
    if missing and not corrects:
        return refuse(now, run, missing)
    # Over range or an open line on a known source tells of a tester set wrong, not of a proof.
    tester = step.proves in ("tester-before", "tester-after") and what.special
    if tester or what.special == "no-reading" or (what.value is None and not what.special):
        return again(now, run, "no-reading")
    said_unit = unit(what.unit or spec.unit).name
    if not same_dimension(said_unit, spec.unit):
        wrong = fx.WrongUnit(step=step.id, said=said_unit, expected=unit(spec.unit).name)
        return stay(_not_taken(run, step, corrects), wrong)
    held = Pending(step.id, "reading", now.at_s, now.who, said=what.said, corrects=corrects)
    if what.special:
        held = replace(held, special=what.special)
        read = fx.ReadBack(step=step.id, special=what.special, unit=said_unit)
        return stay(replace(run, pending=held, failing=None), read)
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
        return stay(_not_taken(run, step, corrects), doubtful)
    held = replace(held, quantity=measured)
    return stay(replace(run, pending=held, failing=None), held.read_back())


def _not_taken(run: Run, step: Step, corrects: bool) -> Run:
    """A value was heard and won't be taken: what corrects it is no earlier step's."""
    again = step.id if step.expects.reading and not corrects else run.retaking
    return replace(run, pending=None, retaking=again)


@_answer.register
def _(what: inputs.UseInstrument, now: Now, run: Run) -> Outcome:
    """Change the instrument in hand; a value that waits for AFFIRM is asked about again."""
    step = now.plan.step(run.pending.step) if run.pending else _step(now, run)
    found = {n: i for n, i in to_choose(now.plan, step).items() if i.id == what.id}
    if not found:
        return again(now, run, "not here")
    ((name, instrument),) = found.items()
    chosen = fx.InstrumentChosen(
        id=instrument.id,
        name=name,
        what=instrument.kind,
        calibration_due=instrument.calibration_due,
        state=instruments.state(instrument, run.on),
    )
    run = replace(run, instrument=instrument.id)
    return stay(run, chosen, *((run.pending.read_back(),) if run.pending else ()))


@_answer.register
def _(what: inputs.Correction, now: Now, run: Run) -> Outcome:
    if what.tag and run.at:
        return _answer(what.tag, now, replace(run, pending=None))
    if run.pending:
        step = now.plan.step(run.pending.step)
        if what.reading is None or step.expects.reading is None:
            return _withdraw(now, run)
        return _hear_reading(what.reading, now, run, step, run.pending.corrects)
    current = _step(now, run)
    asked_for = run.failing or run.last_reading is None or run.at == run.retaking
    if current and current.expects.reading and asked_for:
        if what.reading is None:
            return enter(now, run, current.id)
        return _hear_reading(what.reading, now, run, current, False)
    last = run.readings.get(run.last_reading or "")
    if last is None:
        return again(now, run, "nothing-to-correct")
    step = now.plan.step(last.step)
    if what.reading is None:
        return _reopen(now, run, step)
    return _hear_reading(what.reading, now, run, step, True)


def _reopen(now: Now, run: Run, step: Step) -> Outcome:
    """Measure a settled step anew. A dead reading stands in the proof: that goes first."""
    told: tuple[fx.Effect, ...] = ()
    if step.gate:
        run, told = void(now, run, "prove-again")
        out = enter(now, run, first_unsettled(now.plan, run))
        return Outcome(out.run, told + out.effects)
    marks = {k: v for k, v in run.marks.items() if k != step.id}
    return enter(now, replace(run, marks=marks), step.id)


@_answer.register(inputs.Guide)
@_answer.register(inputs.BackToSteps)
@_answer.register(inputs.Changed)
def _(what: Any, now: Now, run: Run) -> Outcome:
    return guided.take(what, now, run)


@_answer.register
def _(what: inputs.Calculate, now: Now, run: Run) -> Outcome:
    return calculating.begin(what, now, run)


@_answer.register
def _(what: inputs.Unable, now: Now, run: Run) -> Outcome:
    step = _step(now, run)
    if step is None:
        return again(now, run, "not here")
    cause = "failed" if run.failing == step.id else "unable"
    misplaced = next((p for p in run.open_points if p.step == step.id), None)
    if misplaced and misplaced.cause == "misplaced":
        told = fx.OpenPoint(step=step.id, cause="misplaced", reason=misplaced.reason, stays=True)
        return stay(replace(run, pending=None), told)
    stays = step.gate or bool(run.refused)
    point = fx.OpenPoint(step=step.id, cause=cause, reason=what.reason, stays=stays)
    run = with_point(replace(run, pending=None), point)
    if stays:
        return stay(run, point)
    return settle(now, run, step, (point,), "unable")


@_answer.register
def _(what: inputs.GoTo, now: Now, run: Run) -> Outcome:
    here = now.plan.step(run.at).pack if run.at else ""
    steps = [s for s in now.plan.steps if what.section in (s.section, s.pack.replace("-", " "))]
    steps.sort(key=lambda s: (s.pack != here, now.plan.index(s.id)))  # one near by comes first
    target = next((s for s in steps if not gates.settled(now.plan, run, s)), None)
    target = target or next((s for s in steps if run.marks.get(s.id) in _REOPENED), None)
    if target is None:
        return stay(run, fx.Explained(step=run.at or "", what="where-are-we"))
    missing = gates.may_enter(run, target)
    if missing:
        offer = gates.offer_for(now.plan, run, missing, target.id)
        return stay(run, fx.Refused(step=target.id, missing=missing, offer=offer))
    return enter(now, run, target.id)


@_answer.register
def _(what: inputs.Command, now: Now, run: Run) -> Outcome:
    out: Outcome = _COMMANDS[what.name](now, run)
    return out


def _explain(what: Literal["reason", "limits", "where-are-we", "read-back"]) -> Any:
    def tell(now: Now, run: Run) -> Outcome:
        step = _step(now, run)
        shown = step if what == "limits" else None
        bounds = values.bounds_or_none(now.plan, run, shown) if shown else None
        told = fx.Explained(step=run.at or "", what=what, bounds=bounds)
        return stay(run, told)

    return tell


def _setting(name: str) -> Any:
    def change(now: Now, run: Run) -> Outcome:
        brief = {"brief": True, "full": False}.get(name, run.brief)
        return stay(replace(run, brief=brief), fx.Setting(name=name))

    return change


def _hold(cause: str) -> Any:
    def hold(now: Now, run: Run) -> Outcome:
        told: tuple[fx.Effect, ...] = ()
        if cause != "stand-by":
            if run.ledger.state != "unknown" or run.ledger.was_live:
                run, told = void(now, run, "stop-work")
            run = replace(run, pending=None, challenge=None)
        elif run.held:
            return stay(run, fx.Held(cause=run.held, who=now.who))
        run = replace(run, held=cause)  # type: ignore[arg-type]
        return stay(run, fx.Held(cause=cause, who=now.who), *told)

    return hold


def _go_ahead(now: Now, run: Run) -> Outcome:
    if not run.held:
        return again(now, run, "not here")
    if run.held != "stand-by" and now.who != "lead":
        return refuse(now, run, ("lead-only",))
    was, run = run.held, replace(run, held=None)
    told = fx.Resumed()
    if was == "stand-by" and run.pending:
        return stay(run, told, run.pending.read_back())
    out = enter(now, run, run.at if was == "stand-by" else first_unsettled(now.plan, run))
    return Outcome(out.run, (told, *out.effects))


def _hand_over(now: Now, run: Run) -> Outcome:
    """Lead and helper want to change over; asked back, because every lock is taken anew."""
    if len(run.ledger.people) < 2:
        return refuse(now, run, ("alone",))
    if now.who != "lead":
        return refuse(now, run, ("lead-only",))
    if run.at is None:  # nothing is left to do with other roles
        return again(now, run, "not here")
    pending = Pending(run.at, "hand-over", now.at_s, now.who, word="hand over")
    return stay(replace(run, pending=pending), pending.read_back())


def _handed_over(now: Now, run: Run) -> Outcome:
    swap = {"lead": "helper", "helper": "lead"}
    run = replace(
        run,
        pending=None,
        devices=frozenset(swap[role] for role in run.devices),
        lost=frozenset(swap[role] for role in run.lost),
    )
    out = _unknown_again(inputs.CrewChanged(people=run.ledger.people), now, run)
    return Outcome(out.run, (fx.HandedOver(), *out.effects))


def _all_clear(role: str = "") -> Any:
    """One person is clear; with the last one the count is given.

    A bare call is the word of the device's own person, however often it is said. Whoever has no
    device of their own calls at another's, with the role in front: so one person's repeat is never
    the other's word.
    """

    def clear(now: Now, run: Run) -> Outcome:
        step = _step(now, run)
        if step is None or not step.mark or run.marked:
            return again(now, run, "not here")
        no = run.refused or gates.may_answer(run, step, now.who)
        if no:
            return refuse(now, run, no)
        person = role or now.who
        if person not in gates.addressed(run, step):
            return refuse(now, run, gates.not_clear(run, step))
        if not _speaks_for(person, now.who, run):
            return refuse(now, run, (f"answer-from:{person}",))
        run = replace(run, clear=run.clear | {person})
        taken = fx.Taken(step=step.id, word="all clear", person=person)
        if gates.not_clear(run, step):
            return stay(run, taken)
        return stay(replace(run, marked=True), taken, fx.Marked(step=step.id))

    return clear


def _go_back(now: Now, run: Run) -> Outcome:
    here = now.plan.index(run.at) if run.at else len(now.plan.steps)
    for step in reversed(now.plan.steps[:here]):
        if step.id in run.marks and not step.gate and not step.expects.derived:
            marks = {k: v for k, v in run.marks.items() if k != step.id}
            out = enter(now, replace(run, marks=marks), step.id)
            if out.run.refused:  # it can't be entered now: stay where we are
                return stay(run, *out.effects)
            return out
    return again(now, run, "nothing-before")


def _prove_again(now: Now, run: Run) -> Outcome:
    run, told = void(now, run, "prove-again")
    run = replace(run, ledger=replace(run.ledger, was_live=False))
    redone = to_prove(now.plan, run, _isolated_at(now, run))
    run = replace(run, marks={k: v for k, v in run.marks.items() if k not in redone})
    out = enter(now, run, first_unsettled(now.plan, run))
    return Outcome(out.run, told + out.effects)


def _isolated_at(now: Now, run: Run) -> str | None:
    """The step whose chain holds an isolation: the present one's, else that of the last step."""
    chain = gates.chain(now.plan, run.at)
    return run.at if any(gates.ledger_move(s) == "disconnect-off" for s in chain) else None


def _measure_again(now: Now, run: Run) -> Outcome:
    step = _step(now, run)
    if step and step.expects.derived:
        return _measure_sources(now, run, step)
    if step and step.expects.reading:
        return enter(now, run, step.id)
    last = run.readings.get(run.last_reading or "")
    if last is None:
        return again(now, run, "nothing-to-correct")
    return _reopen(now, run, now.plan.step(last.step))


def _measure_sources(now: Now, run: Run, step: Step) -> Outcome:
    """Take anew the readings that a failed sum was made of."""
    assert step.expects.derived is not None
    names = set(values.source_names(step, run))
    sources = {t.step for n, t in run.readings.items() if n in names}
    marks = {k: v for k, v in run.marks.items() if k not in sources and k != step.id}
    run = replace(run, marks=marks, failing=None)
    return enter(now, run, first_unsettled(now.plan, run))


_COMMANDS: dict[str, Any] = {
    "say-again": lambda now, run: stay(run, fx.Repeat()),
    "working": lambda now, run: again(now, run, "not here"),
    "use-result": lambda now, run: again(now, run, "not here"),
    "read-back": _explain("read-back"),
    "where-are-we": _explain("where-are-we"),
    "reason": _explain("reason"),
    "limits": _explain("limits"),
    "stand-by": _hold("stand-by"),
    "stop-work": _hold("stop-work"),
    "emergency": _hold("emergency"),
    "go-ahead": _go_ahead,
    "go-back": _go_back,
    "hand-over": _hand_over,
    "all-clear": _all_clear(),
    "lead-all-clear": _all_clear("lead"),
    "helper-all-clear": _all_clear("helper"),
    "prove-again": _prove_again,
    "measure-again": _measure_again,
    "disregard": lambda now, run: _withdraw(now, run),
    "call-helper": lambda now, run: stay(run, fx.HelperCalled()),
    "take-photo": lambda now, run: stay(run, fx.PhotoAsked(step=run.at or "")),
    **{n: _setting(n) for n in ("brief", "full", "slower", "faster", "louder", "quieter")},
}


def _take_reading(now: Now, run: Run, step: Step, pending: Pending) -> Outcome:
    """An affirmed value: record, judge, and do what the verdict asks for."""
    try:
        judged, run = values.judge(
            now.plan, replace(run, pending=None), step, pending.quantity, pending, None, now.at_s
        )
    except values.CANT_COMPUTE as problem:
        return again(now, replace(run, pending=None), f"no-limits: {problem}")
    run = replace(run, last_reading=judged.name)
    beside = past.beside(now.plan, step, pending.quantity)
    fails = judged.verdict == "fail"
    if fails and (step.proves in ("dead", "tester-after") or (step.gate and pending.corrects)):
        tester = step.proves in ("tester-before", "tester-after")
        run, told = void(now, run, "tester-failed" if tester else "voltage-found")
        run = _left(now, run, step, pending)
        out = enter(now, run, first_unsettled(now.plan, run))
        return Outcome(out.run, (judged, *told, *out.effects))
    if fails and judged.then == "note":
        point = fx.OpenPoint(step=step.id, cause="failed")
        noted: tuple[fx.Effect, ...] = (judged, point, *beside)
        return _after_reading(now, with_point(run, point), step, pending, noted)
    if fails:
        run = replace(run, marks={k: v for k, v in run.marks.items() if k != step.id})
        if gates.may_enter(run, step):  # corrected once the power is on: no way back by words
            out = enter(now, run, step.id)
            return Outcome(out.run, (judged, *beside, *out.effects))
        run = replace(run, failing=step.id, at=step.id, entered_s=now.at_s)
        run = replace(run, clear=frozenset(), marked=False)  # a new try has its own count
        return stay(run, judged, *beside)
    if not pending.corrects:
        ledger = moved(run, step, now)
        if isinstance(ledger, Denied):
            return refuse(now, run, ledger.missing)
        run = replace(run, ledger=ledger)
    return _after_reading(now, run, step, pending, (judged, *beside))


def _left(now: Now, run: Run, step: Step, pending: Pending) -> Run:
    """A few volts at an open pair are induced or fed back: grounds are asked for from now on."""
    volts = pending.quantity.si()[0] if pending.quantity else HAZARDOUS_V
    if step.proves != "dead" or not volts < HAZARDOUS_V or not gates.grounding(now.plan):
        return run
    return replace(run, ledger=replace(run.ledger, left=True))


def _after_reading(
    now: Now, run: Run, step: Step, pending: Pending, told: tuple[fx.Effect, ...]
) -> Outcome:
    """Go on; sums and conditions that used this reading are done anew."""
    stale = {
        s.id
        for s in now.plan.steps
        if s.id in run.marks
        and s.expects.derived
        and step.expects.reading
        and step.expects.reading.name in values.source_names(s, run)
    }
    marks = {k: v for k, v in run.marks.items() if k not in stale}
    # A correction of a proof that is gone by now takes its step's place in no new proof.
    if not (pending.corrects and step.gate):
        marks[step.id] = "done"
    run = replace(run, marks=marks)
    if not pending.corrects:
        after: str | None = step.id
    elif stale:
        after = None
    else:  # a correction from a later step: go on where we were
        out = enter(now, run, run.at) if run.at != step.id else settle(now, run, step, ())
        return Outcome(out.run, told + out.effects)
    out = enter(now, run, first_unsettled(now.plan, run, after))
    return Outcome(out.run, told + out.effects)
