"""A closed set of when-conditions. Nothing is evaluated as code."""

from __future__ import annotations

from typing import Any

from assistant.procedure.model import Job, When
from assistant.procedure.run import Run


def job_value(job: Job, path: str) -> Any:
    """A value of the job by dotted path; KeyError names the part that isn't there."""
    found: Any = job
    for part in path.split("."):
        if isinstance(found, dict):
            found = found[part]
        elif part in getattr(type(found), "model_fields", {}):
            found = getattr(found, part)
        else:
            raise KeyError(part)
    return found


def holds(when: When | None, job: Job, run: Run | None) -> bool | None:
    """True or False, or None while it depends on a reading or answer that isn't there yet."""
    if when is None:
        return True
    if when.option is not None:
        return when.option in job.options
    if when.fact is not None:
        return when.fact in job.facts
    if when.job is not None:
        found = job_value(job, when.job)
        if isinstance(found, tuple):  # a list on the sheet: people, hazards
            found = list(found)
        return found == when.is_ if when.in_ is None else found in when.in_
    if when.not_ is not None:
        inner = holds(when.not_, job, run)
        return None if inner is None else not inner
    if when.all_ is not None or when.any_ is not None:
        decisive = when.all_ is None
        answers = []
        for each in when.all_ or when.any_ or ():
            # In order, so that a fact is asked of the job only where its option is fitted.
            if (answer := holds(each, job, run)) == decisive:
                return decisive
            answers.append(answer)
        return None if None in answers else not decisive
    if when.passed is not None:
        taken = run.readings.get(when.passed) if run else None
        return None if run is None else taken is not None and taken.verdict == "pass"
    if when.answer is not None:
        said = run.answers.get(when.answer) if run else None
        if said is None:
            return None
        return said == when.is_ if when.in_ is None else said in when.in_
    return _reading_holds(when, run)


def _reading_holds(when: When, run: Run | None) -> bool | None:
    taken = run.readings.get(when.reading or "") if run else None
    if taken is None:
        return None
    if when.verdict is not None:
        return taken.verdict == when.verdict
    if taken.quantity is None:  # over range: above whatever is compared
        return when.above is not None
    value = taken.quantity.value
    if when.below is not None and not value < when.below:
        return False
    return when.above is None or value > when.above
