"""What the fault guide may do to a job: take the floor, give it back, have tests done anew.

It can neither answer a step nor move the ledger. What it says was changed brings steps in whose
conditions ask for that, and takes marks of tests away; no gate step is settled by it.
"""

from __future__ import annotations

from dataclasses import replace

from assistant.procedure import effects as fx
from assistant.procedure import gates, inputs
from assistant.procedure.model import Step
from assistant.procedure.moves import Now, Outcome, again, enter, first_unsettled, stay
from assistant.procedure.run import Run


def _dead(step: Step) -> bool:
    return bool(step.needs and step.needs.energy == "proven-dead")


def belongs(step: Step, ref: str) -> bool:
    """True if a step is one of "pack" or "pack:section of it"."""
    pack, _, section = ref.partition(":")
    return step.pack == pack and section in ("", step.section)


def take(what: inputs.Guide | inputs.BackToSteps | inputs.Changed, now: Now, run: Run) -> Outcome:
    """The run after the guide was spoken to, or after it has spoken."""
    if isinstance(what, inputs.Guide):
        busy = run.pending or run.marked or run.sum
        return again(now, run, "not here") if busy else stay(run)
    if isinstance(what, inputs.BackToSteps):
        return enter(now, run, run.at or first_unsettled(now.plan, run))
    return _changed(what, now, run)


def _changed(what: inputs.Changed, now: Now, run: Run) -> Outcome:
    plan = now.plan
    anew = {
        step.id
        for step in plan.steps
        if not step.gate and any(belongs(step, ref) for ref in what.again)
    }
    if what.shut:
        anew = {name for name in anew if not _dead(plan.step(name))}
    if any(not gates.settled(plan, run, plan.step(name)) for name in anew):
        # An earlier repair still has tests to come: what was said of it is not asked away.
        words = set(what.answers.values())
        anew = {name for name in anew if run.answers.get(name) not in words}
    marks = {name: mark for name, mark in run.marks.items() if name not in anew}
    answers = {name: said for name, said in run.answers.items() if name not in anew}
    told: list[fx.Effect] = []
    for step in plan.steps:
        said = what.answers.get(step.id)
        if said is None or step.gate or said not in (step.expects.choice or {}):
            continue
        marks[step.id], answers[step.id] = "done", said
        told.append(fx.Taken(step=step.id, answer=said))
    points = tuple(point for point in run.open_points if point.step not in anew)
    run = replace(run, marks=marks, answers=answers, open_points=points)
    run = replace(run, failing=None, finished=False)
    out = enter(now, run, first_unsettled(plan, run))
    return Outcome(out.run, (*told, *out.effects))
