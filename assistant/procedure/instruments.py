"""The instruments of a job: how each is called, which is in hand, and whether its date has passed.

A spoken name is a class word and a number, both from the job: the word from the kind
("multimeter", "insulation tester": meter; "torque screwdriver": torque tool; "closing-force gauge":
gauge; else the kind's last word), the number from the end of the id ("M-2": two) or, where a
class has a number twice or an id has none, from the place among its class.
"""

from __future__ import annotations

import re
from typing import Literal

from assistant.procedure.model import Instrument, Job, Plan, Step
from assistant.procedure.run import Run

# In this order: a "torque meter" is a torque tool. The words are the trade's (common practice).
_CLASSES = (
    (r"torque", "torque tool"),
    (r"gauge|force", "gauge"),
    (r"meter|tester|clamp|megger", "meter"),
)
State = Literal["in-date", "out-of-date", "not-known"]


def spoken_names(job: Job) -> dict[str, Instrument]:
    """Names such as "meter 2", each of one instrument, in the job's order."""
    by_class: dict[str, list[Instrument]] = {}
    for each in job.instruments:
        by_class.setdefault(_word(each.kind), []).append(each)
    names: dict[int, str] = {}
    for word, members in by_class.items():
        numbers = [_number(each.id) for each in members]
        if "" in numbers or len(set(numbers)) < len(numbers):
            numbers = [str(place) for place in range(1, len(members) + 1)]
        for each, number in zip(members, numbers, strict=True):
            names[id(each)] = f"{word} {number}"
    return {names[id(each)]: each for each in job.instruments}


def _word(kind: str) -> str:
    for pattern, word in _CLASSES:
        if re.search(pattern, kind.casefold()):
            return word
    words: list[str] = re.findall(r"[a-z]+", kind.casefold())
    return words[-1] if words else "instrument"


def _number(id_: str) -> str:
    found = re.search(r"(\d{1,3})\D*$", id_)
    return str(int(found[1])) if found else ""


def to_choose(plan: Plan, step: Step | None) -> dict[str, Instrument]:
    """Names that may be said at a step: where a value is measured and there is a choice."""
    if step is None or step.expects.reading is None or step.expects.reading.instrument == "none":
        return {}
    names = spoken_names(plan.job)
    return names if len(names) > 1 else {}


def in_hand(plan: Plan, run: Run, step: Step) -> Instrument | None:
    """What a step's value is measured with: the one chosen last, else the job's first."""
    spec = step.expects.reading
    if spec is None or spec.instrument == "none" or not plan.job.instruments:
        return None
    chosen = (each for each in plan.job.instruments if each.id == run.instrument)
    return next(chosen, plan.job.instruments[0])


def state(instrument: Instrument, on: str) -> State:
    """Whether its calibration holds on a day (ISO 8601); the due day itself is in date.

    "not-known" if the day or the date isn't known.
    """
    due = instrument.calibration_due[:10]
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", due) or not on:
        return "not-known"
    return "out-of-date" if on[:10] > due else "in-date"


def warning(instrument: Instrument | None, on: str) -> tuple[str, ...]:
    """What goes with a value that was measured out of date, as it is spoken and printed."""
    if instrument is None or state(instrument, on) != "out-of-date":
        return ()
    due = instrument.calibration_due[:10]
    return (f"instrument {instrument.id} is out of calibration since {due}",)
