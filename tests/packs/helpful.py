"""What a technician says at a door where all is in order: the right answer to the present step.

It plays a pack or a whole job without a script, so that its author hears every step and the
tests find a step that can't be passed. Values lie inside the step's limits; nothing here is a
measurement.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from decimal import Decimal

from assistant.dialogue.language import language
from assistant.dialogue.numbers import digit_words, speak_value
from assistant.errors import JobError
from assistant.job import JobSession
from assistant.procedure import gates, values
from assistant.procedure.model import Step
from assistant.quantity import quantity

TAGS = {"lead": "14", "helper": "27"}
MOST_VISITS = 12


def lines(session: JobSession, said: Mapping[str, str] | None = None) -> Iterator[str]:
    """Lines of a script, one for each state the session is found in, until the job is finished.

    Parameters
    ----------
    session : JobSession
        Whoever takes a line plays it in before the next is asked for.
    said : mapping of str to str
        Reading name -> value ("9.8 s"), taken where the limits allow it.

    Raises
    ------
    JobError
        At a step that no right answer passes; the message names it.
    """
    visits: Counter[str | None] = Counter()
    while not session.run.finished:
        run = session.run
        visits[run.at] += 1
        if visits[run.at] > MOST_VISITS:
            where = f"step '{run.at}' is not passed by its right answer; missing: {run.refused}"
            raise JobError(session.plan.job.job, None, where)
        yield _line(session, said or {})


def _line(session: JobSession, said: Mapping[str, str]) -> str:
    run, plan = session.run, session.plan
    if run.pending:
        who = run.pending.who if run.pending.who in TAGS else "lead"
        return f"{who}: affirm"
    step = plan.step(run.at or "")
    owed = gates.not_clear(run, step)
    if owed:
        return f"{owed[0].partition(':')[2]}: all clear"
    who = gates.addressed(run, step)[0]
    expects = step.expects
    if expects.wait:
        if expects.wait == "stored-energy":
            return f"wait {run.ledger.wait_left_s(run.last_s) + 1:.0f} s"
        return f"wait {expects.wait}"
    if expects.confirmation:
        return f"{who}: {expects.confirmation}"
    if expects.tag:
        if step.proves == "lock-off":
            who = run.ledger.next_with_lock() or who
        return f"{who}: tag {digit_words(TAGS.get(who, '14'))}"
    if expects.challenge:
        words = language().templates(expects.challenge)[0].replace("{digits:2}", "{challenge}")
        return f"lead: {words}"
    if expects.choice:
        return f"{who}: {_choice(session, step)}"
    return f"{who}: {_value(session, step, said)}"


def _choice(session: JobSession, step: Step) -> str:
    """The answer that leads on: the next step, else the farthest that tells of no failure."""
    choice = step.expects.choice or {}
    on = [answer for answer, target in choice.items() if target in ("next", "end")]
    here = session.plan.index(step.id)
    ahead = [
        answer
        for answer, target in choice.items()
        if target not in ("next", "end")
        and session.plan.index(target) > here
        and not target.endswith("-failed")
    ]
    return (on + ahead + list(choice))[0]


def _value(session: JobSession, step: Step, said: Mapping[str, str]) -> str:
    spec = step.expects.reading
    if spec is None:
        raise JobError(session.plan.job.job, None, f"step '{step.id}' has no answer to give")
    low, high = spec.plausible
    bounds = values.bounds_or_none(session.plan, session.run, step)
    if bounds:
        low = max(low, bounds.at_least) if bounds.at_least is not None else low
        high = min(high, bounds.at_most) if bounds.at_most is not None else high
    if spec.name in said:
        value = quantity(said[spec.name])
        if low <= value.to(spec.unit).value <= high:
            return speak_value(value.value, value.unit)
    return speak_value(_inside(low, high), spec.unit)


def _inside(low: Decimal, high: Decimal) -> Decimal:
    """A short number well inside, nearer to the lower end of a wide span."""
    middle = (low * high).sqrt() if low > 0 and high > 10 * low else low + (high - low) / 3
    for places in range(1, 12):
        short = round(middle, places - 1 - (middle.adjusted() if middle else 0))
        if low <= short <= high:
            return Decimal(format(short.normalize(), "f"))
    return middle
