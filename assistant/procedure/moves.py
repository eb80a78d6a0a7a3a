"""Going from step to step: enter, settle, stay, and what a lost energy proof takes along."""

from __future__ import annotations

from dataclasses import dataclass, replace

from assistant.calc.base import calculate
from assistant.procedure import effects as fx
from assistant.procedure import energy, gates, values
from assistant.procedure.energy import Denied
from assistant.procedure.load import resolve
from assistant.procedure.model import Plan, Step
from assistant.procedure.run import OpenItem, Run
from assistant.quantity import quantity


@dataclass(frozen=True)
class Outcome:
    """A new run and what happened on the way."""

    run: Run
    effects: tuple[fx.Effect, ...]


@dataclass(frozen=True)
class Now:
    """The event's circumstances, handed through."""

    plan: Plan
    at_s: float
    who: str
    via: str


def first_unsettled(plan: Plan, run: Run, after: str | None = None) -> str | None:
    """The next step after `after` that isn't settled, else the first in the whole plan."""
    first = plan.index(after) + 1 if after else 0
    for step in (*plan.steps[first:], *plan.steps[:first]):
        if not gates.settled(plan, run, step):
            return step.id
    return None


def enter(now: Now, run: Run, step_id: str | None) -> Outcome:
    """Go to a step; steps that answer themselves (sums, waits that are over) are taken at once."""
    run = replace(run, pending=None, challenge=None, failing=None, refused=(), sum=None)
    run = replace(run, retaking=None)
    if step_id is None:
        run = replace(run, at=None, finished=True)
        return Outcome(run, (fx.Finished(open_points=len(run.open_points)),))
    step = now.plan.step(step_id)
    fresh = run.at != step_id
    entered_s = now.at_s if fresh or not run.entered_s else run.entered_s
    run = replace(run, at=step_id, finished=False, entered_s=entered_s)
    run = replace(run, clear=frozenset(), marked=False)
    missing = gates.may_enter(run, step) or gates.lost_for(run, step)
    if step.proves == "lock-off" and not missing:
        # Told before the step is spoken: its words are what takes the lock off.
        missing = gates.may_open(now.plan, run, step, now.at_s)
    if missing:
        offer = gates.offer_for(now.plan, run, missing, step_id)
        refused = fx.Refused(step=step_id, missing=missing, offer=offer)
        return Outcome(replace(run, refused=missing), (refused,))
    if step.expects.derived:
        return derive(now, run, step)
    if step.expects.wait and wait_left(now, run, step) <= 0:
        return wait_over(now, run, step)
    if step.proves in ("lock", "lock-off") and person(run, step) is None:
        return settle(now, run, step, ())
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
        left = fx.Waiting(step=step_id, left_s=wait_left(now, run, step))
        return Outcome(run, (entered, left))
    return Outcome(run, (entered,))


def settle(
    now: Now, run: Run, step: Step, told: tuple[fx.Effect, ...], mark: str = "done"
) -> Outcome:
    """Mark a step and go on to the next."""
    run = replace(run, marks={**run.marks, step.id: mark}, failing=None)  # type: ignore[dict-item]
    out = enter(now, run, first_unsettled(now.plan, run, step.id))
    return Outcome(out.run, told + out.effects)


def stay(run: Run, *told: fx.Effect) -> Outcome:
    return Outcome(run, told)


def again(now: Now, run: Run, why: str, candidates: tuple[str, ...] = ()) -> Outcome:
    times = run.times + 1
    asked = fx.AskAgain(step=run.at or "", why=why, candidates=candidates, times=times)
    return stay(replace(run, times=times), asked)


def refuse(now: Now, run: Run, missing: tuple[str, ...]) -> Outcome:
    offer = gates.offer_for(now.plan, run, missing, run.at)
    return stay(run, fx.Refused(step=run.at or "", missing=missing, offer=offer))


def person(run: Run, step: Step) -> str | None:
    if step.proves == "lock":
        return run.ledger.next_without_lock()
    return run.ledger.next_with_lock()


def wait_left(now: Now, run: Run, step: Step) -> float:
    if step.expects.wait == "stored-energy":
        return run.ledger.wait_left_s(now.at_s)
    length_s = float(quantity(step.expects.wait or "0 s").to("second").value)
    return max(0.0, run.entered_s + length_s - now.at_s)


def wait_over(now: Now, run: Run, step: Step) -> Outcome:
    ledger = moved(run, step, now)
    if isinstance(ledger, Denied):
        return refuse(now, run, ledger.missing)
    return settle(now, replace(run, ledger=ledger), step, (fx.Taken(step=step.id, word="over"),))


def moved(
    run: Run, step: Step, now: Now, person: str = "", tag: str = ""
) -> energy.Ledger | Denied:
    name = gates.ledger_move(step)
    if name is None:
        return run.ledger
    pair = step.id.rpartition(".")[2] if step.proves in ("dead", "restrained") else ""
    return energy.move(run.ledger, name, now.at_s, person=person, tag=tag, pair=pair)


def void(now: Now, run: Run, cause: str) -> tuple[Run, tuple[fx.Effect, ...]]:
    """The run when the energy state is unknown again, with the marks that no longer count."""
    was = run.ledger.state
    if run.finished:  # what is done stays done; only the knowledge of the energy state goes
        return replace(run, ledger=energy.void(run.ledger)), (fx.Voided(cause=cause, was=was),)
    cleared = marks_to_clear(now.plan, run, run.at)
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


def marks_to_clear(plan: Plan, run: Run, at: str | None) -> set[str]:
    """Marks that a lost proof takes along.

    On the dead side those of `to_prove`. On the live side only what leads to power after the
    last lock-off; hands were out, and the way to live work leads through the warning and the
    challenge.
    """
    on = run.ledger.state in ("released", "energised")
    if not (on or (run.ledger.state == "unknown" and run.ledger.was_live)):
        return to_prove(plan, run, at)
    steps = gates.chain(plan, at)
    offs = [i for i, step in enumerate(steps) if step.proves == "lock-off"]
    live = [i for i, step in enumerate(steps) if gates.ledger_move(step) == "power-on"]
    first, last = (offs[-1] + 1 if offs else 0), (live[-1] if live else -1)
    frame = steps[live[-1]].pack if live and not offs else ""
    return {step.id for step in steps[first : last + 1] if frame in ("", step.pack)}


def to_prove(plan: Plan, run: Run, at: str | None) -> set[str]:
    """What is done anew at a dead panel before hands go in and power comes back.

    Every gate of the chain, and the whole section in which locks come off: covers may be open
    again. A safety reading that was passed over keeps the power off; a new proof is the time
    for it.
    """
    steps = gates.chain(plan, at)
    release = {(s.pack, s.section) for s in steps if s.proves == "lock-off"}
    redone = {step.id for step in steps if step.gate or (step.pack, step.section) in release}
    owed = {s.id for s in steps if s.limits and s.limits.safety and run.marks.get(s.id) != "done"}
    return redone | owed


def derive(now: Now, run: Run, step: Step) -> Outcome:
    """Work a value out, record and judge it; it needs nobody's answer unless it fails."""
    spec = step.expects.derived
    assert spec is not None
    try:
        given = resolve(spec.given, now.plan.job, values.quantities(run))
        result = calculate(spec.calc, given)
        value = next(iter(result.values.values())).to(spec.unit)
        judged, run = values.judge(now.plan, run, step, value, None, result, now.at_s)
    except values.CANT_COMPUTE as problem:
        point = fx.OpenPoint(step=step.id, cause="unable", reason=f"can't be computed: {problem}")
        return settle(now, with_point(run, point), step, (point,), "unable")
    if judged.verdict != "fail":
        return settle(now, run, step, (judged,))
    if judged.then == "note":
        point = fx.OpenPoint(step=step.id, cause="failed")
        return settle(now, with_point(run, point), step, (judged, point))
    return stay(replace(run, failing=step.id), judged)


def with_point(run: Run, point: fx.OpenPoint) -> Run:
    """The run with an item on the open-points list, one a step."""
    others = tuple(item for item in run.open_points if item.step != point.step)
    item = OpenItem(point.step, point.cause, point.reason)
    return replace(run, open_points=(*others, item))
