"""Auto-close: how long the door has to stay open, and what a cycle asks of the motor."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

# Margin by traffic, common practice. [s]
MARGIN_S = {"vehicles": Decimal(2), "people": Decimal(3), "stopping": Decimal(5)}
LONG_S, LONGEST_S = Decimal(60), Decimal(99)
STARTS = ("fully-open", "last-clear", "activation")


@calculator(
    "auto-close-dwell",
    "Least time before the door closes by itself",
    Input("vehicle", "metre", "length of the longest vehicle", low=0, high=50),
    Input("speed", "metre-per-second", "slowest usual speed", low=0.1, high=10),
    Input("sensor", "metre", "from the sensor to the door line", low=0, high=50, default="0 m"),
    Input("zone", "metre", "depth to be clear behind it", low=0, high=50, default="1 m"),
    Input("start", "", "what starts the timer", choices=STARTS, default="fully-open"),
    Input("traffic", "", "who passes", choices=tuple(MARGIN_S), default="vehicles"),
    Input("opening", "second", "opening time, for activation", low=0, high=120, default="0 s"),
    Input(
        "head-start",
        "second",
        "rolled already when the door is fully open",
        low=0,
        high=120,
        default="0 s",
    ),
)
def auto_close_dwell(
    vehicle: Quantity,
    speed: Quantity,
    sensor: Quantity,
    zone: Quantity,
    start: str,
    traffic: str,
    opening: Quantity,
    head_start: Quantity,
) -> Result:
    """Least setting of the auto-close timer, in whole seconds.

    Parameters
    ----------
    vehicle, speed : Quantity
        Longest vehicle [m] and its slowest usual speed [m/s].
    sensor, zone : Quantity
        Way from the sensor to the door and on until the tail is clear. [m]
    start : str
        "fully-open"; "last-clear", the last beam or loop is free (they must cover the whole
        passage); or "activation", the sensor switched.
    traffic : str
        "vehicles" 2 s, "people" and pallet trucks 3 s, "stopping" under the door 5 s of margin.
    opening : Quantity
        Counted for "activation" only. [s]
    head_start : Quantity
        Time that the vehicle rolls before the door is fully open; for "fully-open" only. [s]

    Returns
    -------
    Result
        `dwell` rounded up to whole seconds, `exact` and `passage` [s]; `at_least` is the dwell.

    Raises
    ------
    RangeError
        If more than 99 s come out.

    References
    ----------
    .. [1] Passage at steady speed; the margins are common practice.
    """
    margin = MARGIN_S[traffic]
    way = sensor.value + zone.value + vehicle.value
    passage = way / speed.value
    if start == "last-clear":
        exact, line = margin, f"from the last clear: margin {margin} s"
    elif start == "activation":
        exact = opening.value + passage + margin
        line = f"from activation: {shown(opening)} + {shown(passage)} + {margin} = {shown(exact)} s"
    else:
        exact = max(passage - head_start.value, Decimal(0)) + margin
        line = (
            f"from fully open: {shown(passage)} - {shown(head_start)} + {margin}, at least "
            f"{margin} = {shown(exact)} s"
        )
    dwell = Quantity(exact.to_integral_value("ROUND_CEILING"), "second")
    if dwell.value > LONGEST_S:
        raise RangeError(
            "dwell", dwell.written(), "99 s or less; use a presence loop or a hold-open instead"
        )
    warnings = ["auto-close needs its beams or edge tested first"]
    if dwell.value > LONG_S:
        warnings.append("above 60 s: a presence loop or a hold-open suits better than a timer")
    if start == "last-clear":
        warnings.append("beams and loops must cover the whole passage, trailer and drawbar too")
    return Result(
        values={
            "dwell": dwell,
            "exact": Quantity(exact, "second"),
            "passage": Quantity(passage, "second"),
        },
        working=(
            f"passage = ({shown(sensor)} + {shown(zone)} + {shown(vehicle)}) / {shown(speed)}"
            f" = {shown(passage)} s",
            line,
            f"rounded up: {shown(dwell)}",
        ),
        source="passage at steady speed, margin by traffic",
        kind="common-practice",
        at_least=dwell,
        assumptions=("one vehicle a cycle; a second one starts the timer anew",),
        warnings=tuple(warnings),
    )


@calculator(
    "door-cycle",
    "Cycle time, motor duty and share of time open",
    Input("opening", "second", "opening time", low=0.3, high=300),
    Input("dwell", "second", "time fully open", low=0, high=3600),
    Input("closing", "second", "closing time", low=0.3, high=300),
    Input("cycles", "one", "cycles an hour", low=0, high=1000),
)
def door_cycle(opening: Quantity, dwell: Quantity, closing: Quantity, cycles: Quantity) -> Result:
    """What traffic asks of the motor, and for how much of the time the doorway is open.

    Parameters
    ----------
    opening, dwell, closing : Quantity
        Parts of one cycle. [s]
    cycles : Quantity
        Cycles in an hour, not more than fit.

    Returns
    -------
    Result
        `cycle` and `open-time`, the cycle's time as if fully open [s], `duty` of the motor and
        `open-share` [percent], `most-cycles` an hour.

    Raises
    ------
    RangeError
        If so many cycles don't fit in an hour.

    References
    ----------
    .. [1] Arithmetic; opening and closing count half, the doorway being half open on average.
    """
    moving = opening.value + closing.value
    cycle = moving + dwell.value
    most = 3600 / cycle
    if cycles.value > most:
        raise RangeError("cycles", cycles.written(), f"{shown(most)} or fewer in an hour")
    open_time = moving / 2 + dwell.value
    duty = 100 * cycles.value * moving / 3600
    share = 100 * cycles.value * open_time / 3600
    return Result(
        values={
            "cycle": Quantity(cycle, "second"),
            "duty": Quantity(duty, "percent"),
            "open-time": Quantity(open_time, "second"),
            "open-share": Quantity(share, "percent"),
            "most-cycles": Quantity(most, "one"),
        },
        working=(
            f"cycle = {shown(opening)} + {shown(dwell)} + {shown(closing)} = {shown(cycle)} s,"
            f" at most {shown(most)} an hour",
            f"motor runs {shown(cycles)} x {shown(moving)} s in 3600 s = {shown(duty)} %",
            f"open as if for {shown(open_time)} s a cycle, {shown(share)} % of the time",
        ),
        source="arithmetic of a cycle",
        kind="derived",
        assumptions=("the doorway is half open on average while the door moves",),
        warnings=("compare the duty with the motor's plate",),
    )
