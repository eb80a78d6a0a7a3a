"""A motor at work: the current of its leads against its plate, and the dial of its overload."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.protection import overload_setting
from assistant.calc.supply import CODE_SET
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

LEAST_SHARE = Decimal("0.2")  # of the nameplate current; an idle small motor draws more
LOWEST_DIAL = Decimal("0.9")  # of the nameplate current
MOST_RISE_K = Decimal(40)  # of a housing in ten cycles
MOST_HOUSING = Decimal(80)  # celsius
SPOT_K = Decimal(3)  # what a thermometer's aim makes of one spot
MOST_UNBALANCE = Decimal("10")  # percent

PLATE = Input("current", "ampere", "current on the motor's nameplate", low=0.05, high=200)
FACTOR = Input("service-factor", "one", "on the nameplate", low=1, high=2, default="1.0")
RISE = Input(
    "rise",
    "",
    "temperature rise on the nameplate, in degC",
    choices=("not-marked", "up-to-40", "above-40"),
    default="not-marked",
)


@calculator(
    "running-current", "Current of a motor lead while the door runs", PLATE, CODE_SET, FACTOR, RISE
)
def running_current(
    current: Quantity, code_set: str, service_factor: Quantity, rise: str
) -> Result:
    """Limits on a clamp's reading around one motor lead.

    Parameters
    ----------
    current : Quantity
        Nameplate current. [A]
    code_set, service_factor, rise
        As in `overload-setting`, which is the upper limit.

    Returns
    -------
    Result
        `least` and `most`, also as `at_least` and `at_most`. [A]

    References
    ----------
    .. [1] NEC 430.32 for the upper limit (see `overload-setting`); that a running current is held
       against it is common practice.
    .. [2] Small cage motors draw 30 to 70 percent of the nameplate without load (from memory):
       below 20 percent the lead carries nothing, or the clamp holds more than one lead.
    """
    top = overload_setting(current, code_set, service_factor, rise)
    least = Quantity(current.value * LEAST_SHARE, "ampere")
    most = top.values["setting"]
    return Result(
        values={"least": least, "most": most},
        working=(
            f"least: {shown(100 * LEAST_SHARE)} % x {shown(current)} = {shown(least)}; "
            "an idle motor draws more",
            *top.working[:2],
        ),
        source=f"common practice; upper limit {top.source}",
        kind="common-practice",
        at_least=least,
        at_most=most,
        assumptions=("a cage motor, the clamp around one lead alone",),
        warnings=("near nothing on one lead and more on the others is a lost phase: let go",),
    )


@calculator(
    "overload-dial",
    "Setting found on a motor's overload protection",
    PLATE,
    Input("sized", "ampere", "setting of the sizing; 0: none", low=0, high=300, default="0 A"),
    CODE_SET,
    FACTOR,
    RISE,
)  # fmt: skip
def overload_dial(
    current: Quantity, sized: Quantity, code_set: str, service_factor: Quantity, rise: str
) -> Result:
    """Limits on a setting that was read off a dial or a drive.

    Parameters
    ----------
    current : Quantity
        Nameplate current. [A]
    sized : Quantity
        Setting that the sizing came to; zero takes `overload-setting`. [A]
    code_set, service_factor, rise
        As in `overload-setting`.

    Returns
    -------
    Result
        `lowest` and `highest`, also as `at_least` and `at_most`. [A]

    Raises
    ------
    RangeError
        If the sizing lies below nine tenths of the nameplate: one of the two is another motor's.

    References
    ----------
    .. [1] NEC 430.32(A)(1) and IEC 60947-4-1 for the upper limit, as in `overload-setting`.
    .. [2] Common practice: a dial whose scale holds the factor is set to the nameplate; nine
       tenths of it leave room for the scale. Lower, it trips at every long run and is turned up.
    """
    lowest = Quantity(current.value * LOWEST_DIAL, "ampere")
    if sized.value:
        highest, source = sized, "setting of the sizing"
        lines: tuple[str, ...] = (f"highest: the sizing's {shown(sized)}",)
    else:
        found = overload_setting(current, code_set, service_factor, rise)
        highest, source, lines = found.values["setting"], found.source, found.working[:2]
    if highest.value < lowest.value:
        valid = f"{shown(lowest)} or more: read the plate and the sizing again"
        raise RangeError("sized", shown(highest), valid)
    return Result(
        values={"lowest": lowest, "highest": highest},
        working=(f"lowest: {shown(LOWEST_DIAL)} x {shown(current)} = {shown(lowest)}", *lines),
        source=f"{source}; lower limit is common practice",
        kind="common-practice",
        at_least=lowest,
        at_most=highest,
        assumptions=("current of the nameplate, not of the table",),
    )


@calculator(
    "current-unbalance",
    "Unbalance of the currents in three motor leads",
    *(
        Input(name, "ampere", f"current of the {name} lead", low=0, high=200)
        for name in ("first", "second", "third")
    ),
)
def current_unbalance(first: Quantity, second: Quantity, third: Quantity) -> Result:
    """Largest departure of three lead currents from their mean.

    Parameters
    ----------
    first, second, third : Quantity
        Current of each lead at the same kind of run. [A]

    Returns
    -------
    Result
        `unbalance` [percent] and `mean` [A]; `at_most` 10 percent.

    Raises
    ------
    RangeError
        If no lead carries a current.

    References
    ----------
    .. [1] Formed as NEMA MG 1 forms the unbalance of voltages (published).
    .. [2] Ten percent is common practice: currents are out six to ten times as much as the
       voltages (published), so it stands for one percent at the terminals.
    """
    amps = (first.value, second.value, third.value)
    mean = sum(amps, Decimal(0)) / 3
    if not mean:
        raise RangeError("first, second, third", "0 A each", "a current: measure while it runs")
    worst = max(amps, key=lambda each: abs(each - mean))
    unbalance = Quantity(100 * abs(worst - mean) / mean, "percent")
    lost = min(amps) < LEAST_SHARE * mean
    return Result(
        values={"unbalance": unbalance, "mean": Quantity(mean, "ampere")},
        working=(
            f"mean of {', '.join(shown(each) for each in amps)} = {shown(mean)} A",
            f"farthest {shown(worst)} A: {shown(unbalance)} from the mean, at most 10 %",
        ),
        source="NEMA MG 1, the form of the sum; ten percent is common practice",
        kind="common-practice",
        at_most=Quantity(MOST_UNBALANCE, "percent"),
        assumptions=("same load at each reading",),
        warnings=("one phase is lost: no more runs, isolate and find it",) if lost else (),
    )


@calculator(
    "housing-warmth",
    "Temperature of a motor's housing after ten cycles",
    Input("before", "celsius", "housing before the run", low=-50, high=60),
)
def housing_warmth(before: Quantity) -> Result:
    """Limits on a motor's housing after a trial run, from where it began.

    Parameters
    ----------
    before : Quantity
        Housing at rest, measured at the same spot. [degC]

    Returns
    -------
    Result
        `most` and `least`, also as `at_most` and `at_least`. [degC]

    References
    ----------
    .. [1] Common practice, no source: 40 K in ten cycles, 80 degC at most; the windings of class F
       may rise by 105 K above 40 degC (IEC 60034-1, from memory), and the housing is far cooler.
    """
    most = Quantity(min(before.value + MOST_RISE_K, MOST_HOUSING), "celsius")
    least = Quantity(before.value - SPOT_K, "celsius")
    return Result(
        values={"most": most, "least": least},
        working=(
            f"most: {shown(before)} + {MOST_RISE_K} K, {MOST_HOUSING} degC at most = {shown(most)}",
            f"least: {shown(before)} - {SPOT_K} K for the aim = {shown(least)}",
        ),
        source="40 K in ten cycles and 80 degC at most",
        kind="common-practice",
        at_least=least,
        at_most=most,
        assumptions=("ten cycles in a row, the same spot before and after",),
        warnings=("the maker's own figure wins",),
    )
