"""Upkeep: when the next service is due."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.quantity import Quantity


@calculator(
    "next-service",
    "Days and cycles to the next service",
    Input("cycles-a-day", "one", "cycles on a working day", low=0, high=5000),
    Input("every-cycles", "one", "service interval in cycles", low=1, high=10_000_000),
    Input("every-days", "day", "service interval by date", low=1, high=3660, default="365 d"),
    Input("days-a-week", "one", "working days a week", low=1, high=7, default="7"),
    Input("cycles-since", "one", "cycles since the last", low=0, high=100_000_000, default="0"),
    Input("days-since", "day", "days since the last", low=0, high=36_600, default="0 d"),
)
def next_service(
    cycles_a_day: Quantity,
    every_cycles: Quantity,
    every_days: Quantity,
    days_a_week: Quantity,
    cycles_since: Quantity,
    days_since: Quantity,
) -> Result:
    """Days until a service is due by cycles or by date, whichever comes first.

    Parameters
    ----------
    cycles_a_day, days_a_week : Quantity
        Use of the door.
    every_cycles : Quantity
        Interval in cycles, from the maker.
    every_days : Quantity
        Interval by date. [d]
    cycles_since, days_since : Quantity
        Since the last service; days as counted from it. [d]

    Returns
    -------
    Result
        `days` left, rounded down, 0 if due [d]; `cycles` left until then; `by-cycles` and
        `by-date` [d]. A door that never runs has no `by-cycles`. `at_most` is the days.

    References
    ----------
    .. [1] Service at the earlier of calendar and cycles: common practice; the intervals are the
       maker's, and a door in use at work is commonly looked at once a year or oftener.
    """
    rate = cycles_a_day.value * days_a_week.value / 7
    left = max(every_cycles.value - cycles_since.value, Decimal(0))
    by_date = max(every_days.value - days_since.value, Decimal(0))
    values = {"by-date": Quantity(by_date, "day")}
    due, first = by_date, "by date"
    if rate or not left:
        by_cycles = left / rate if left else Decimal(0)
        values["by-cycles"] = Quantity(by_cycles, "day")
        if by_cycles < by_date:
            due, first = by_cycles, "by cycles"
        line = f"by cycles: {shown(left)} left / {shown(rate)} a day = {shown(by_cycles)} d"
    else:
        line = "by cycles: never, the door doesn't run"
    days = Quantity(due.to_integral_value("ROUND_FLOOR"), "day")
    until = Quantity(min((days.value * rate).to_integral_value("ROUND_FLOOR"), left), "one")
    return Result(
        values={"days": days, "cycles": until, **values},
        working=(
            f"cycles a day over the week = {shown(cycles_a_day)} x {shown(days_a_week)} / 7"
            f" = {shown(rate)}",
            line,
            f"by date: {shown(every_days)} - {shown(days_since)} = {shown(by_date)} d",
            f"due {first}: in {shown(days, 6)}",
        ),
        source="earlier of cycles and date",
        kind="common-practice",
        at_most=days,
        assumptions=("use stays as it is", "intervals from the maker's instructions"),
        warnings=() if days.value else ("service is due",),
    )
