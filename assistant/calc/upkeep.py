"""Upkeep: use of the door, when its next service is due, what has changed since the last."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.errors import RangeError
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


@calculator(
    "daily-use",
    "Cycles a day between two services",
    Input("count", "one", "cycle counter now", low=0, high=100_000_000),
    Input("last", "one", "cycle counter at the last service", low=0, high=100_000_000),
    Input("days", "day", "days between the two", low=1, high=36_600),
)
def daily_use(count: Quantity, last: Quantity, days: Quantity) -> Result:
    """Mean use of a door, every day of the calendar counted.

    Parameters
    ----------
    count, last : Quantity
        Cycle counter, now and at the last service.
    days : Quantity
        Days between the two. [d]

    Returns
    -------
    Result
        `cycles-a-day`, rounded up, for a week of seven days, and `cycles` since then.

    Raises
    ------
    RangeError
        If the counter stands below the last one: it was reset, or the panel was changed.

    References
    ----------
    .. [1] A mean is cycles over days.
    """
    if count.value < last.value:
        raise RangeError(
            "count",
            shown(count, 9),
            f"at least {shown(last, 9)}, the last one; after a reset or a new panel last is 0",
        )
    run = count.value - last.value
    rate = (run / days.value).to_integral_value("ROUND_CEILING")
    return Result(
        values={"cycles-a-day": Quantity(rate, "one"), "cycles": Quantity(run, "one")},
        working=(
            f"since then: {shown(count, 9)} - {shown(last, 9)} = {shown(run, 9)} cycles",
            f"a day: {shown(run, 9)} / {shown(days)} = {shown(run / days.value)}",
            f"rounded up: {shown(rate, 9)} a day",
        ),
        source="arithmetic of a mean",
        kind="derived",
        assumptions=("every day of the calendar counts, so a week has seven",),
    )


def _change(now: Quantity, last: Quantity, most: Quantity) -> Result:
    change = (now.value - last.value) / last.value * 100
    bound = Quantity(most.value, "percent")
    return Result(
        values={"change": Quantity(change, "percent")},
        working=(
            f"change = ({shown(now)} - {shown(last)}) / {shown(last)} = {shown(change)} %",
            f"unusual beyond {shown(bound)} either way",
        ),
        source="reading held against the last one",
        kind="common-practice",
        at_least=Quantity(-most.value, "percent"),
        at_most=bound,
        assumptions=("measured the same way, at a like load and temperature",),
    )


def _fall(now: Quantity, last: Quantity, most: Quantity) -> Result:
    """A change of which only the fall is bounded."""
    found = _change(now, last, most)
    working = (found.working[0], f"unusual below -{shown(most)}")
    return replace(found, at_most=None, working=working)


@calculator(
    "current-change",
    "Change of a motor's current since the last service",
    Input("now", "ampere", "current now", low=0, high=1000),
    Input("last", "ampere", "current at the last service", low=0.01, high=1000),
    Input("most", "percent", "change that is still usual", low=1, high=100, default="20 %"),
)
def current_change(now: Quantity, last: Quantity, most: Quantity) -> Result:
    """Change of a current, in parts of the last reading.

    Parameters
    ----------
    now, last : Quantity
        Current now and at the last service, same direction of the door. [A]
    most : Quantity
        Change that needs no explanation. [%]

    Returns
    -------
    Result
        `change`; `at_least` and `at_most` bound it. [%]

    References
    ----------
    .. [1] Relative change; 20 % either way is common practice, no source.
    """
    return _change(now, last, most)


@calculator(
    "time-change",
    "Change of a door's travel time since the last service",
    Input("now", "second", "time now", low=0, high=3600),
    Input("last", "second", "time at the last service", low=0.01, high=3600),
    Input("most", "percent", "change that is still usual", low=1, high=100, default="10 %"),
)
def time_change(now: Quantity, last: Quantity, most: Quantity) -> Result:
    """Change of a travel time, in parts of the last reading.

    Parameters
    ----------
    now, last : Quantity
        Time of a full run now and at the last service, same direction. [s]
    most : Quantity
        Change that needs no explanation. [%]

    Returns
    -------
    Result
        `change`; `at_least` and `at_most` bound it. [%]

    References
    ----------
    .. [1] Relative change; 10 % either way is common practice, no source.
    """
    return _change(now, last, most)


@calculator(
    "insulation-change",
    "Change of an insulation resistance since the last service",
    Input("now", "megohm", "insulation now", low=0, high=1_000_000),
    Input("last", "megohm", "insulation at the last service", low=0.001, high=1_000_000),
    Input("most", "percent", "fall that is still usual", low=1, high=99, default="40 %"),
)
def insulation_change(now: Quantity, last: Quantity, most: Quantity) -> Result:
    """Change of an insulation resistance, in parts of the last reading.

    Parameters
    ----------
    now, last : Quantity
        Insulation now and at the last service, same winding and test voltage. [megohm]
    most : Quantity
        Fall that meter, temperature and weather explain. [%]

    Returns
    -------
    Result
        `change`; `at_least` bounds the fall, a rise has no bound. [%]

    References
    ----------
    .. [1] Relative change; that a halved value is looked into, whatever the limit, is common
       practice, no source. Ten kelvin warmer halves it as well (rule of thumb, from memory).
    """
    found = _fall(now, last, most)
    return replace(found, assumptions=("same test voltage, winding within 5 K of the last time",))


@calculator(
    "battery-change",
    "Change of a battery's voltage since the last service",
    Input("now", "volt", "voltage now", low=0, high=60),
    Input("last", "volt", "voltage at the last service", low=0.1, high=60),
    Input("most", "percent", "fall that is still usual", low=1, high=99, default="3 %"),
)
def battery_change(now: Quantity, last: Quantity, most: Quantity) -> Result:
    """Change of a battery's voltage under its load, in parts of the last reading.

    Parameters
    ----------
    now, last : Quantity
        Voltage now and at the last service, device on. [V]
    most : Quantity
        Fall that meter and temperature explain. [%]

    Returns
    -------
    Result
        `change`; `at_least` bounds the fall, a rise (a new battery) has no bound. [%]

    References
    ----------
    .. [1] Relative change. A lithium cell's voltage stays flat for most of its life, so that a
       fall of a few percent is its end (from memory); 3 % is common practice, no source.
    """
    return _fall(now, last, most)


@calculator(
    "resistance-change",
    "Change of a resistance since the last service",
    Input("now", "ohm", "resistance now", low=0, high=100_000_000),
    Input("last", "ohm", "resistance at the last service", low=0.0001, high=100_000_000),
    Input("most", "percent", "change that is still usual", low=1, high=200, default="10 %"),
)
def resistance_change(now: Quantity, last: Quantity, most: Quantity) -> Result:
    """Change of a resistance, in parts of the last reading.

    Parameters
    ----------
    now, last : Quantity
        Resistance now and at the last service, same points. [ohm]
    most : Quantity
        Change that meter and clips explain. [%]

    Returns
    -------
    Result
        `change`; `at_least` and `at_most` bound it. [%]

    References
    ----------
    .. [1] Relative change; 10 % either way is common practice, no source.
    """
    return _change(now, last, most)
