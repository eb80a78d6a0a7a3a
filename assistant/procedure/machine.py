"""The pure function that moves from step to step.

`advance(plan, run, event)` gives the new run and what happened; it touches nothing else. Time
comes in with the event. `replay` is advance over a list, so the log alone rebuilds a run.

The next step is always the first one that isn't settled, so losing the energy proof is no
special case: its marks go, and the way leads through isolation again before anything else.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from assistant.procedure import answers, energy, inputs
from assistant.procedure import effects as fx
from assistant.procedure.gates import grounding
from assistant.procedure.load import dead_points, slug
from assistant.procedure.model import Plan
from assistant.procedure.moves import Now, Outcome, enter, first_unsettled, void
from assistant.procedure.run import Run
from assistant.quantity import quantity

__all__ = ["Outcome", "advance", "replay", "start"]

_NO_WORK = inputs.Tick | inputs.NotUnderstood | inputs.DeviceJoined | inputs.DeviceLost
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


def start(plan: Plan) -> Run:
    """A run before its first event: nothing done, energy unknown."""
    job = plan.job
    wait_s = float(quantity(job.stored_energy.wait).to("second").value)
    ledger = energy.start(
        people=job.people,
        pairs=tuple(each for each, _ in dead_points(job)),
        hazards=tuple(slug(hazard.name) for hazard in job.hazards),
        stored=job.stored_energy.present,
        wait_s=wait_s,
        in_service=plan.pack.found == "in-service",
        induced="induced-voltage" in job.options and grounding(plan),
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
    now = Now(plan, at_s, event.who, event.via)
    before: tuple[fx.Effect, ...] = ()
    was = run.ledger.state
    if _lapsed(plan, run, at_s):
        run, before = void(now, run, "interruption")
        if run.held:  # told, but no step is spoken into the pause
            run = replace(run, at=first_unsettled(plan, run))
            before = (*before, fx.Held(cause=run.held, who=now.who))
        else:
            entered = enter(now, run, first_unsettled(plan, run))
            run, before = entered.run, before + entered.effects
        # An answer to a question asked before the interruption is an answer to nothing now.
        if isinstance(event.input, _ANSWERS | inputs.Tick | inputs.NotUnderstood):
            return _told(was, replace(run, last_s=at_s), before)
    heard = not isinstance(event.input, _NO_WORK)
    out = answers.take(event.input, now, run)
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
