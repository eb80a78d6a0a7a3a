"""How each conductor of the terminal plan was left, worked out from a job's events.

The table goes to the record. It says what people confirmed and not more: a conductor that no step
asked for is "not asked", one with a remark is a deviation until somebody has read the remark.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from assistant.procedure import effects as fx
from assistant.procedure import inputs, machine
from assistant.procedure.model import Plan, Terminal
from assistant.procedure.run import Mark
from assistant.procedure.terminals import asked

State = Literal["done", "deviation", "not done", "not asked"]


@dataclass(frozen=True)
class Settled:
    """How one step about a conductor was settled, by whom and by which entry of the log."""

    step: str
    mark: Mark
    who: str
    seq: int
    at_s: float  # since the job's log began. [s]


@dataclass(frozen=True)
class WiredRow:
    """One line of the plan and what became of it.

    Attributes
    ----------
    planned : Terminal
        The plan's line: device, conductor, terminal, role, torque, core, cable.
    state : str
        done: every step that asks about it was confirmed. deviation: a step was answered UNABLE
        or "landed on" another terminal, or a remark was dictated at it. not done: a step is open
        or was passed over. not asked: no step of this plan asks about it.
    remark : str
        Reasons given with UNABLE and remarks dictated at its steps, in order, "; " between them.
    settled : tuple of Settled
        Its steps that are settled, in the plan's order (landing before tightening).
    """

    planned: Terminal
    state: State
    remark: str = ""
    settled: tuple[Settled, ...] = ()

    @property
    def last(self) -> Settled | None:
        """What settled it last: its who, seq and at_s are the row's."""
        return max(self.settled, key=lambda each: each.seq, default=None)


def as_wired(plan: Plan, events: Iterable[tuple[int, inputs.Event]]) -> tuple[WiredRow, ...]:
    """The as-wired table of a job: one row a line of its terminal plan, in the plan's order.

    Parameters
    ----------
    plan : Plan
        The plan that the job runs, as the log's head keeps it.
    events : iterable of (int, Event)
        The log's events with the number of their entries, from the first one on.
    """
    about: dict[tuple[str, str, bool], list[str]] = defaultdict(list)
    for step in plan.steps:
        if found := asked(step):
            about[found].append(step.id)
    wired = {step_id for steps in about.values() for step_id in steps}
    settled: dict[str, Settled] = {}
    notes: dict[str, list[str]] = defaultdict(list)
    reasons: dict[str, list[str]] = defaultdict(list)
    run = machine.start(plan)
    for seq, event in events:
        at = run.at
        if at in wired and isinstance(event.input, inputs.Note) and event.input.text:
            notes[at].append(event.input.text)
        out = machine.advance(plan, run, event)
        after = out.run
        for effect in out.effects:
            if isinstance(effect, fx.OpenPoint) and effect.step in wired:
                reason = effect.reason or "unable, without a reason"
                if reason not in reasons[effect.step]:
                    reasons[effect.step].append(reason)
        for step_id in wired:
            mark = after.marks.get(step_id)
            if mark == run.marks.get(step_id):
                continue
            if mark is None:  # taken up again
                settled.pop(step_id, None)
            else:
                settled[step_id] = Settled(step_id, mark, event.who, seq, event.at_s)
            if mark == "done":  # put right
                reasons.pop(step_id, None)
        run = after
    rows = []
    for row in plan.job.terminals:
        steps = about[row.device, row.conductor, row.role == "shield"]
        known = tuple(settled[each] for each in steps if each in settled)
        said = [text for each in steps for text in (*notes[each], *reasons[each])]
        rows.append(WiredRow(row, _state(steps, known, bool(said)), "; ".join(said), known))
    return tuple(rows)


def _state(steps: list[str], settled: tuple[Settled, ...], remarked: bool) -> State:
    if not steps:
        return "not asked"
    if remarked:
        return "deviation"
    return "done" if [each.mark for each in settled] == ["done"] * len(steps) else "not done"
