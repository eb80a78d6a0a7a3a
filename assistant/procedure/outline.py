"""A plan as texts to read: before climbing, and while nothing answers."""

from __future__ import annotations

from typing import Any

from assistant.procedure import values
from assistant.procedure.conditions import holds
from assistant.procedure.load import DAY
from assistant.procedure.model import Plan, Step


def outline(plan: Plan) -> dict[str, Any]:
    """Every step that can come up in this job, by section, as plain data.

    It tells nothing of how far the job is, so an old copy of it is as true as a new one.

    Returns
    -------
    dict
        `job` {site, door, title}, `pack` {name, title, version}, `sections` [{name, steps}]; a step
        is {id, say, brief, helper, caution {word, text} or None, reason, source, who, needs (an
        energy state or ""), gate (does it change the energy state?), kind, answers, unit,
        conditional (does it hang on a value or an answer?)}.
    """
    sections: dict[str, list[dict[str, Any]]] = {}
    for step in plan.steps:
        if holds(step.when, plan.job, None) is not False:
            sections.setdefault(step.section, []).append(_step(plan, step))
    pack = plan.pack
    return {
        "job": {"site": plan.job.site, "door": plan.job.door, "title": pack.title},
        "pack": {"name": pack.name, "title": pack.title, "version": pack.version},
        "sections": [{"name": name, "steps": steps} for name, steps in sections.items()],
    }


def _step(plan: Plan, step: Step) -> dict[str, Any]:
    expects, caution = step.expects, step.caution
    spec = expects.reading or expects.derived
    return {
        "id": step.id,
        "say": _text(step.say),
        "brief": _text(step.brief or step.say),
        "helper": _text(step.helper),
        "caution": {"word": caution.word, "text": caution.text} if caution else None,
        "reason": _text(step.reason),
        "source": values.source(plan, step),
        "who": step.who,
        "needs": step.needs.energy if step.needs else "",
        "gate": step.gate,
        "kind": expects.kind,
        "answers": list(expects.choice or ()) or [expects.confirmation or ""],
        "unit": spec.unit if spec else "",
        "conditional": holds(step.when, plan.job, None) is None,
    }


def _text(text: str) -> str:
    return DAY.sub("the day worked out", text.replace("{person}", "each person"))
