"""Times of the door's travel, and the guard that stops a motor which runs too long."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity


@calculator(
    "travel-time-guard",
    "Limits on the travel-time guard",
    Input("times", "second", "measured times of full runs", low=0.3, high=300, many=True),
    Input("least", "second", "least reserve", low=0, high=60, default="2 s"),
    Input("most", "second", "most reserve", low=0, high=60, default="3 s"),
)
def travel_time_guard(times: tuple[Quantity, ...], least: Quantity, most: Quantity) -> Result:
    """Limits on the setting that stops the motor when a run takes too long.

    Parameters
    ----------
    times : tuple of Quantity
        Measured times of full runs in one direction; three are good. [s]
    least, most : Quantity
        Reserve on top of the longest run. [s]

    Returns
    -------
    Result
        `longest` run; `at_least` and `at_most` for the setting. [s]

    Raises
    ------
    RangeError
        If no time is given, or `most` is below `least`.

    References
    ----------
    .. [1] Common practice: longest of three timed runs plus two to three seconds. Much more lets
       a slipping drive run on, less trips in the cold.
    """
    if not times:
        raise RangeError("times", "no value", "at least one measured run")
    if most.value < least.value:
        raise RangeError("most", most.written(), f"{least.written()} or more")
    longest = max(each.value for each in times)
    low = Quantity(longest + least.value, "second")
    high = Quantity(longest + most.value, "second")
    few = len(times) < 3
    return Result(
        values={"longest": Quantity(longest, "second"), "lowest": low, "highest": high},
        working=(
            f"longest of {', '.join(shown(each.value) for each in times)} = {shown(longest)} s",
            f"setting from {shown(longest)} + {shown(least)} = {shown(low)}",
            f"to {shown(longest)} + {shown(most)} = {shown(high)}",
        ),
        source="longest of three timed runs plus two to three seconds",
        kind="common-practice",
        at_least=low,
        at_most=high,
        assumptions=("full runs at normal speed, door warm and in use",),
        warnings=("fewer than three runs were timed",) if few else (),
    )


@calculator(
    "travel-time",
    "Travel time from height and speed",
    Input("height", "metre", "way of the door's edge", low=0, high=20),
    Input("speed", "metre-per-second", "full speed", low=0.02, high=5),
    Input("start-ramp", "second", "from rest to full speed", low=0, high=10, default="0.5 s"),
    Input("stop-ramp", "second", "from full speed to rest", low=0, high=10, default="0.5 s"),
)
def travel_time(
    height: Quantity, speed: Quantity, start_ramp: Quantity, stop_ramp: Quantity
) -> Result:
    """Time of a full run, to compare with a timed one and to set the guard before the first.

    Parameters
    ----------
    height : Quantity
        Way of the edge from closed to open. [m]
    speed : Quantity
        Full speed. [m/s]
    start_ramp, stop_ramp : Quantity
        Times to and from full speed; a way too short for both never reaches it. [s]

    Returns
    -------
    Result
        `time`, `guard-lowest` and `guard-highest`, two and three seconds more [s], and `peak`
        speed [m/s].

    References
    ----------
    .. [1] Trapezium or triangle of speed over time; the guard's reserve is common practice.
    """
    way, full = height.value, speed.value
    ramps = start_ramp.value + stop_ramp.value
    if way * 2 >= full * ramps:
        peak, time = full, way / full + ramps / 2
        line = f"time = {shown(height)} / {shown(speed)} + {shown(ramps)} / 2 = {shown(time)} s"
    else:
        # Ramps keep their steepness: the triangle is the trapezium's ramps scaled down.
        scale = (2 * way / (full * ramps)).sqrt()
        peak, time = full * scale, ramps * scale
        line = f"too short for full speed: peak {shown(peak)} m/s, time = {shown(time)} s"
    low, high = (Quantity(time + more, "second") for more in (Decimal(2), Decimal(3)))
    return Result(
        values={
            "time": Quantity(time, "second"),
            "guard-lowest": low,
            "guard-highest": high,
            "peak": Quantity(peak, "metre-per-second"),
        },
        working=(line, f"guard for a start: {shown(low)} to {shown(high)}"),
        source="uniform motion between ramps; guard two to three seconds more, common practice",
        kind="derived",
        assumptions=("no creep before the end; steady ramps",),
        warnings=("set the guard from timed runs; this is for the first run only",),
    )
