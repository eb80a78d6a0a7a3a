"""What a door's earlier jobs leave to the next one: readings, and points that are still open.

Jobs are read oldest first. A point is settled by the answer at the step that asks for it in a later
job, or by its reading if that is taken again and isn't outside its limits; else it is carried on.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from decimal import Decimal, InvalidOperation
from typing import Any

from assistant.errors import RecordError
from assistant.procedure import past
from assistant.procedure.model import CarriedPoint, History, PastReading, PastVisit, Plan
from assistant.records.history import last_readings, same, work_of
from assistant.records.store import Store

MOST_VISITS = 12  # of a reading that are kept with the next job
MOST_POINTS = 30

Key = tuple[str, str]  # job and step that opened a point


def history(
    store: Store,
    site: str,
    door: str,
    wanted: Sequence[str],
    plan_of: Callable[[Mapping[str, Any]], Plan | None],
) -> History:
    """The history of a door as the record has it now.

    Parameters
    ----------
    site, door : str
        Both must fit, in any case of letters.
    wanted : sequence of str
        Names of the readings to take along.
    plan_of : callable
        The plan of a job's head, None if it can't be read.

    Returns
    -------
    History
        Without visits if no job of this door is on record.
    """
    visits: list[PastVisit] = []
    readings: dict[str, list[PastReading]] = {}
    points: dict[Key, CarriedPoint] = {}
    named: dict[Key, str] = {}  # point -> the reading that its step takes
    for row in work_of(store):
        if not (same(row["site"], site) and same(row["door"], door)):
            continue
        job = str(row["job"])
        with suppress(RecordError):  # a damaged job must not keep anybody from the next one
            head = store.head(job)
            taken = last_readings(store, job)
            visits.append(
                PastVisit(job=job, on=row["started"][:10], title=str(head.get("title") or ""))
            )
            for name, each in taken.items():
                if past.key_of(name, wanted) and (found := _reading(each)):
                    readings.setdefault(name, []).append(found)
            _fold(store, job, head, taken, points, named, plan_of)
    return History(
        visits=tuple(visits[-MOST_VISITS:]),
        readings={name: tuple(each[-MOST_VISITS:]) for name, each in readings.items()},
        points=tuple(points.values())[-MOST_POINTS:],
    )


def _reading(row: Mapping[str, Any]) -> PastReading | None:
    """A row of the view; None if it says nothing that can be compared."""

    def number(name: str) -> Decimal | None:
        return None if row[name] is None else Decimal(str(row[name]))

    try:
        return PastReading(
            job=row["job"],
            on=str(row["wall"])[:10],
            value=number("value"),
            unit=row["unit"] or "one",
            special=row["special"] or "",
            verdict=row["verdict"] or "none",
            at_least=number("at_least"),
            at_most=number("at_most"),
            limit_unit=row["limit_unit"] or "",
        )
    except (InvalidOperation, ValueError):
        return None


def _fold(
    store: Store,
    job: str,
    head: Mapping[str, Any],
    taken: Mapping[str, Mapping[str, Any]],
    points: dict[Key, CarriedPoint],
    named: dict[Key, str],
    plan_of: Callable[[Mapping[str, Any]], Plan | None],
) -> None:
    """What one job does to the points that are open: settles some, opens some."""
    opened = store.query("SELECT * FROM open_points WHERE job = ? ORDER BY seq", [job])
    failed = [row for row in taken.values() if row["verdict"] == "fail"]
    told = past.read(head.get("texts") or {})
    plan = plan_of(head) if opened or failed or (told and told.points) else None
    asked = _asked(plan, told)
    answered = _answers(store, job, asked)
    for key in [key for key in points if key in asked.values()]:
        step = next(step for step, each in asked.items() if each == key)
        again = next((row for row in opened if row["step"] == step), None)
        if answered.get(step):
            del points[key]
        elif again:
            reason = again["reason"] or points[key].reason
            points[key] = points[key].model_copy(update={"reason": str(reason)})
    kept = {asked[step] for step in asked if answered.get(step) is False}
    for key in [key for key in points if key not in kept]:
        row = taken.get(named.get(key, ""))
        if row is not None and row["verdict"] != "fail":
            del points[key]
    rows = [(r["step"], r["cause"], str(r["reason"] or ""), r["wall"]) for r in opened]
    there = {row["step"] for row in opened}
    rows += [(r["step"], "failed", "", r["wall"]) for r in failed if r["step"] not in there]
    for step, cause, reason, wall in rows:
        if step in asked:
            continue
        # A step that is open again is one point, since the day it was opened first.
        key = next((key for key in points if key[1] == step), (job, step))
        first = points.get(key)
        points[key] = CarriedPoint(
            job=key[0],
            on=first.on if first else wall[:10],
            step=step,
            cause=cause,
            label=_label(plan, step),
            reason=reason or (first.reason if first else ""),
        )
        if name := _taken_at(plan, step):
            named[key] = name


def _asked(plan: Plan | None, told: History | None) -> dict[str, Key]:
    """Steps that ask for a carried point, with the point."""
    found = {}
    for step in plan.steps if plan and told else ():
        number = step.id.rpartition(".")[2]
        if step.for_each == "carried-point" and number.isdigit():
            place = int(number) - 1
            if told and place < len(told.points):
                point = told.points[place]
                found[step.id] = (point.job, point.step)
    return found


def _answers(store: Store, job: str, asked: Mapping[str, Key]) -> dict[str, bool]:
    """Steps that were answered -> is the point settled, by what was said last?"""
    found: dict[str, bool] = {}
    for entry in store.entries(job) if asked else ():
        for effect in entry.body.get("effects") or ():
            step = effect.get("step")
            if step not in asked:
                continue
            if effect.get("kind") == "taken":
                found[step] = True
            elif effect.get("kind") == "open-point":
                found[step] = False
    return found


def _label(plan: Plan | None, step_id: str) -> str:
    """A step as it is told: its short form as a statement."""
    step = next((each for each in plan.steps if each.id == step_id), None) if plan else None
    text = (step.brief or step.say) if step else ""
    text = text or step_id.replace(".", ", ").replace("-", " ")
    return text.rstrip("?.! ")


def _taken_at(plan: Plan | None, step_id: str) -> str:
    step = next((each for each in plan.steps if each.id == step_id), None) if plan else None
    spec = (step.expects.reading or step.expects.derived) if step else None
    return spec.name if spec else ""
