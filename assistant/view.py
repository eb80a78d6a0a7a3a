"""What a page shows of a job at a moment, as plain data; nothing is decided here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from assistant import finding
from assistant.dialogue import replies
from assistant.dialogue.numbers import speak_value
from assistant.faults import effects as guide_fx
from assistant.procedure import effects as fx
from assistant.procedure import gates, values
from assistant.procedure.model import Plan, Step
from assistant.procedure.plan import progress
from assistant.procedure.run import Run, TakenReading
from assistant.quantity import Quantity, unit


@dataclass(frozen=True)
class Moment:
    """A job at a moment.

    guide_said: what the fault guide told last. now_s: the job's own clock [s]. roles: those with a
    device. heard: the last turn's words, what they were taken for, and its tone. hold_s: how long a
    gate is pressed by touch [s]. rate_wpm [words/min], volume: how replies are spoken.
    """

    job_id: str
    plan: Plan
    run: Run
    finding: finding.Finding
    guide_said: tuple[guide_fx.Effect, ...]
    now_s: float
    roles: frozenset[str]
    heard: tuple[str, str, str]
    hold_s: float
    rate_wpm: int
    volume: float


def view_of(job: Moment, role: str) -> dict[str, Any]:
    """What a device of this role shows, as plain data; its keys are in `server/README.md`."""
    plan, run = job.plan, job.run
    step = plan.step(run.at) if run.at else None
    issued = run.challenge
    return {
        "job": {
            "id": job.job_id,
            "site": plan.job.site,
            "door": plan.job.door,
            "title": plan.pack.title,
        },
        "energy": {"state": run.ledger.state, "wait_left_s": _wait_left(run, step, job.now_s)},
        "role": role,
        "people": [
            {
                "role": person,
                "tag": run.ledger.lock_of(person),
                "device": _device_view(job, person),
            }
            for person in run.ledger.people
        ],
        "step": _shown(job, step, role),
        "fault": finding.view(job.finding, run, job.guide_said),
        "parts": _parts_view(plan, run, step),
        "pending": (
            finding.pending_view(job.finding, role)
            if job.finding.has_floor(run)
            else _pending_view(plan, run, role)
        ),
        "challenge": (
            {"phrase": issued.phrase, "digits": issued.digits, "hold_s": job.hold_s}
            if issued
            else None
        ),
        "held": run.held,
        "refused": list(run.refused),
        "heard": dict(zip(("text", "understood", "tone"), job.heard, strict=True)),
        "readings": [_reading_view(plan, name, taken) for name, taken in run.readings.items()],
        "open_points": [
            {"step": item.step, "cause": item.cause, "reason": item.reason}
            for item in run.open_points
        ],
        "finished": run.finished,
        "buttons": _touch(job, step, role),
        "listening": plan.job.listening,
        "speaking": {
            "rate_wpm": job.rate_wpm,
            "volume": job.volume,
            "brief": run.brief,
        },
    }


def _parts_view(plan: Plan, run: Run, step: Step | None) -> list[dict[str, Any]]:
    """The parts of a strung plan, in order, with what is left of each."""
    return [
        {
            "name": each.part.name,
            "title": each.part.title,
            "done": each.done,
            "steps": each.steps,
            "minutes_left": round(each.minutes_left, 1),
            "now": bool(step and step.pack == each.part.name),
        }
        for each in progress(plan, run)
    ]


def _device_view(job: Moment, person: str) -> bool | Literal["lost"]:
    """After a restart a role's device still counts as its own, so that nobody answers in its place;
    until it has joined again it is shown as lost."""
    if person not in job.run.devices | job.run.lost:
        return False
    return True if person in job.roles else "lost"


def _wait_left(run: Run, step: Step | None, now_s: float) -> float | None:
    if step is None or step.expects.wait is None or run.refused:
        return None
    if step.expects.wait == "stored-energy":
        return round(run.ledger.wait_left_s(now_s), 1)
    return None


def _shown(job: Moment, step: Step | None, role: str) -> dict[str, Any] | None:
    """The step that is asked, or what the fault guide asks while it has the floor."""
    found = _step_view(job.plan, job.run, step, role) if step else None
    if job.finding.has_floor(job.run):
        return {**(found or {"who": role}), **finding.step_view(job.finding)}
    return found


def _touch(job: Moment, step: Step | None, role: str) -> list[dict[str, str]]:
    if job.finding.has_floor(job.run):
        return finding.buttons(job.finding, role)
    found = _buttons(job.plan, job.run, step, role)
    if finding.offered(job.finding, job.plan, job.run, role):
        found[-2:-2] = [{"phrase": finding.ASKS, "label": finding.ASKS.capitalize()}]
    return found


def _step_view(plan: Plan, run: Run, step: Step, role: str) -> dict[str, Any]:
    shown = [each for each in plan.steps if gates.applies(plan, run, each)]
    number = shown.index(step) + 1 if step in shown else 0
    spec = step.expects.reading or step.expects.derived
    bounds = values.bounds_or_none(plan, run, step)
    caution = step.caution
    return {
        "id": step.id,
        "number": number,
        "of": len(shown),
        "section": step.section,
        "say": replies.filled(step.say, step, run),
        "brief": replies.filled(step.brief or step.say, step, run),
        "mine": role in gates.addressed(run, step),
        "part": replies.filled(step.helper, step, run) if role == "helper" else "",
        "mark": step.mark,
        "marked": run.marked,
        "clear": sorted(run.clear),
        "caution": {"word": caution.word, "text": caution.text} if caution else None,
        "who": step.who,
        "kind": step.expects.kind,
        "answers": list(step.expects.choice or ()) or [step.expects.confirmation or ""],
        "unit": unit(spec.unit).symbol if spec else "",
        "limits": written_bounds(bounds),
    }


def written_bounds(bounds: fx.Bounds | None) -> str:
    """Limits as they are shown: 'at least 432 V, at most 528 V'."""
    if bounds is None:
        return ""
    edges = (("at least", bounds.at_least), ("at most", bounds.at_most))
    return ", ".join(
        f"{word} {_number(Quantity(edge, bounds.unit))}" for word, edge in edges if edge is not None
    )


def _number(value: Quantity) -> str:
    """A computed number to four significant digits, a said one as it was said."""
    short = format(float(value.value), ".4g")
    symbol = unit(value.unit).symbol
    return f"{short} {symbol}".strip()


def _pending_view(plan: Plan, run: Run, role: str) -> dict[str, Any] | None:
    pending = run.pending
    if pending is None:
        return None
    written, value = replies.written(pending), pending.quantity
    step = plan.step(pending.step)
    asked = replies.filled(step.brief or step.say, step, run)
    return {
        # The value of an earlier step must not be affirmed as that of the step in hand.
        "asked": asked if pending.step == run.at else f"Correction of: {asked}",
        "who": pending.who,
        "mine": pending.who in (role, "system"),
        "text": speak_value(value.value, value.unit) if value else written,
        "written": written,
    }


def _reading_view(plan: Plan, name: str, taken: TakenReading) -> dict[str, Any]:
    step = plan.step(taken.step)
    value = taken.quantity
    if value is None:
        written = taken.special.replace("-", " ")
    else:
        written = _number(value) if taken.derived else value.written()
    return {
        "name": name,
        "item": step.item or (step.brief or step.say),
        "written": written,
        "verdict": taken.verdict,
        "limits": written_bounds(taken.bounds),
        "plot": _plot(value, taken.bounds),
    }


def _plot(value: Quantity | None, bounds: fx.Bounds | None) -> dict[str, float | None] | None:
    """A reading and its limits as numbers in the unit of the limits; None if there is no such."""
    if value is None or bounds is None:
        return None
    low, high = bounds.at_least, bounds.at_most
    return {
        "value": float(value.to(bounds.unit).value),
        "at_least": None if low is None else float(low),
        "at_most": None if high is None else float(high),
    }


def _buttons(plan: Plan, run: Run, step: Step | None, role: str) -> list[dict[str, str]]:
    """What this role can touch now, the likeliest first; each does what its words do."""

    def buttons(*phrases: str) -> list[dict[str, str]]:
        return [{"phrase": each, "label": each[:1].upper() + each[1:]} for each in phrases]

    if run.held:
        may = role == "lead" or run.held == "stand-by"
        return buttons(*(["go ahead"] if may else []), "where are we", "say again")
    if run.pending:
        mine = run.pending.who in (role, "system")
        return buttons(*(["affirm"] if mine else []), "negative", "say again")
    if step and gates.may_answer(run, step, role):
        return buttons("say again", "where are we", "stand by", "stop work")
    found: list[str] = []
    if step and step.mark and not run.marked and not run.refused:
        if f"all-clear:{role}" in gates.not_clear(run, step):
            found.append("all clear")
        others = [each for each in gates.without_device(run, step) if each != role]
        found += [f"{each} all clear" for each in others]  # people take turns at one device
    elif step and not run.refused:
        found += [step.expects.confirmation] if step.expects.confirmation else []
        found += ["done"] if step.expects.wait else []
        found += step.expects.choice or ()
        found += ["measure again"] if run.failing == step.id else []
    if any(not code.startswith("device-lost") for code in run.refused):
        found.append("prove again")  # a device that comes back needs no new proof
    more = ("say again", "reason", "limits", "go back", "unable", "take photo")
    return buttons(*found, *more, "stand by", "stop work")
