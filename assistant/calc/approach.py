"""Approach: stopping distances, distance of a guard, reach of the sensor that opens the door."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.quantity import Quantity

FAST_MM_S, SLOW_MM_S = Decimal(2000), Decimal(1600)
LEAST_MM, FAST_UP_TO_MM = Decimal(100), Decimal(500)
ADDED_MM = {"multi-beam": Decimal(850), "single-beam": Decimal(1200)}

_SPEED = Input("speed", "metre-per-second", "speed before the stop", low=0, high=40)
_REACTION = Input("reaction", "second", "until the brake acts", low=0, high=10)
_BRAKING = Input(
    "braking", "metre-per-second-squared", "deceleration of the brake", low=0.05, high=20
)


def stopping(speed: Decimal, reaction: Decimal, braking: Decimal) -> Decimal:
    """Way until standstill, from [m/s], [s] and [m/s2]. [m]"""
    return speed * reaction + speed**2 / (2 * braking)


@calculator("stopping-distance", "Way and time until standstill", _SPEED, _REACTION, _BRAKING)
def stopping_distance(speed: Quantity, reaction: Quantity, braking: Quantity) -> Result:
    """Stopping distance of a door's edge from its contact, or of a vehicle.

    Parameters
    ----------
    speed : Quantity
        Speed at the moment of contact or of seeing. [m/s]
    reaction : Quantity
        Sensor, control and brake delay; for a vehicle the driver's too. [s]
    braking : Quantity
        Steady deceleration. [m/s2]

    Returns
    -------
    Result
        `distance`, `while-reacting` and `while-braking` [m], `time` [s].

    References
    ----------
    .. [1] Uniform motion, then uniform deceleration: s = v t + v^2 / (2 a), T = t + v / a.
    """
    rolled = speed.value * reaction.value
    total = stopping(speed.value, reaction.value, braking.value)
    time = reaction.value + speed.value / braking.value if speed.value else Decimal(0)
    return Result(
        values={
            "distance": Quantity(total, "metre"),
            "while-reacting": Quantity(rolled, "metre"),
            "while-braking": Quantity(total - rolled, "metre"),
            "time": Quantity(time, "second"),
        },
        working=(
            f"while reacting: {shown(speed)} x {shown(reaction)} = {shown(rolled)} m",
            f"while braking: {shown(speed)} squared / (2 x {shown(braking)})"
            f" = {shown(total - rolled)} m",
            f"together {shown(total)} m in {shown(time)} s",
        ),
        source="uniform motion, then uniform deceleration",
        kind="derived",
        assumptions=("the brake pulls steadily; load and wet floor lengthen the way",),
    )


@calculator(
    "edge-closing-speed",
    "Highest closing speed that an edge's give allows",
    Input("give", "millimetre", "how far the edge gives after it switched", low=0, high=300),
    _REACTION,
    _BRAKING,
)
def edge_closing_speed(give: Quantity, reaction: Quantity, braking: Quantity) -> Result:
    """Speed at which the door just stops within what the edge still gives.

    Parameters
    ----------
    give : Quantity
        Compression left from the moment that the edge switches. [mm]
    reaction, braking
        As for `stopping_distance`. [s], [m/s2]

    Returns
    -------
    Result
        `speed`, also as `at_most`. [m/s]

    References
    ----------
    .. [1] Stopping distance solved for the speed. That the give must exceed it is common
       practice; the force gauge decides (EN 12453).
    """
    a, t, way = braking.value, reaction.value, give.value / 1000
    speed = Quantity(((a * t) ** 2 + 2 * a * way).sqrt() - a * t, "metre-per-second")
    return Result(
        values={"speed": speed},
        working=(
            "v = sqrt((a t)^2 + 2 a s) - a t",
            f"a = {shown(braking)}, t = {shown(reaction)}, s = {shown(give)}: {shown(speed)}",
        ),
        source="stopping distance within the edge's give",
        kind="derived",
        at_most=speed,
        assumptions=("the door is stiff: only the edge gives",),
        warnings=("no proof of force: measure with a force gauge",),
    )


@calculator(
    "guard-distance",
    "Least distance of a light curtain or beam from a hazard",
    Input("stop", "second", "sensor, control and stopping time together", low=0, high=10),
    Input(
        "guard",
        "",
        "what detects",
        choices=("field", "multi-beam", "single-beam"),
        default="field",
    ),
    Input("resolution", "millimetre", "of a field", low=14, high=40, default="30 mm"),
)
def guard_distance(stop: Quantity, guard: str, resolution: Quantity) -> Result:
    """Distance S = K T + C for a guard that a person walks or reaches through.

    The door's own edge is no such case: there the door approaches the person.

    Parameters
    ----------
    stop : Quantity
        Time T from detection to standstill. [s]
    guard : str
        "field" (vertical, 14 to 40 mm), "multi-beam" or "single-beam".
    resolution : Quantity
        Smallest object that a field surely sees; beams don't use it. [mm]

    Returns
    -------
    Result
        `distance`, also as `at_least`. [mm]

    References
    ----------
    .. [1] ISO 13855: field K 2000 mm/s, at least 100 mm; above 500 mm K 1600 mm/s, at least
       500 mm; C = 8 (d - 14); several beams C 850 mm (read on a page about it); a single beam
       C 1200 mm (from memory).
    """
    t = stop.value
    if guard == "field":
        added = 8 * (resolution.value - 14)
        found = FAST_MM_S * t + added
        lines = [f"S = 2000 x {shown(t)} + 8 x ({shown(resolution)} - 14) = {shown(found)} mm"]
        if found > FAST_UP_TO_MM:
            found = max(SLOW_MM_S * t + added, FAST_UP_TO_MM)
            lines.append(f"above 500 mm: S = 1600 x {shown(t)} + {shown(added)}, at least 500")
        found = max(found, LEAST_MM)
    else:
        found = SLOW_MM_S * t + ADDED_MM[guard]
        lines = [f"S = 1600 x {shown(t)} + {ADDED_MM[guard]}"]
    distance = Quantity(found, "millimetre")
    return Result(
        values={"distance": distance},
        working=(*lines, f"least distance = {shown(distance)}"),
        source="ISO 13855, S = K T + C",
        kind="from-memory" if guard == "single-beam" else "published",
        at_least=distance,
        assumptions=("a person walks or reaches in at right angles",),
        warnings=("stopping time is measured, not taken from a sheet",),
    )


@calculator(
    "sensor-reach",
    "Where a vehicle must be detected so that the door is open in time",
    Input("speed", "metre-per-second", "approach speed", low=0.1, high=15),
    Input("opening", "second", "time to open high enough", low=0.3, high=120),
    Input("delay", "second", "sensor and control", low=0, high=10, default="0.5 s"),
    Input("clearance", "metre", "left in front of the door then", low=0, high=20, default="1 m"),
    Input("reaction", "second", "driver's reaction", low=0, high=5, default="1 s"),
    Input(
        "braking",
        "metre-per-second-squared",
        "braking with load",
        low=0.3,
        high=10,
        default="1.5 m/s2",
    ),
)
def sensor_reach(
    speed: Quantity,
    opening: Quantity,
    delay: Quantity,
    clearance: Quantity,
    reaction: Quantity,
    braking: Quantity,
) -> Result:
    """Distance from the door at which loop or motion sensor must switch.

    Parameters
    ----------
    speed : Quantity
        Fastest usual approach. [m/s]
    opening : Quantity
        From the start until the vehicle fits below or between. [s]
    delay : Quantity
        Sensor and control. [s]
    clearance : Quantity
        Distance to the door that is left when it is open. [m]
    reaction, braking : Quantity
        Of driver and vehicle, for the way to stop if the door stays shut. [s], [m/s2]

    Returns
    -------
    Result
        `reach`, the larger of `open-in-time` and `stopping` plus clearance [m]; `at_least` is
        the reach.

    References
    ----------
    .. [1] Uniform motion, and uniform deceleration; the default delay, clearance, reaction and
       braking are common practice.
    """
    rolled = speed.value * (delay.value + opening.value)
    in_time = rolled + clearance.value
    stop = stopping(speed.value, reaction.value, braking.value) + clearance.value
    reach = Quantity(max(in_time, stop), "metre")
    late = "the stop decides: a driver who trusts the door needs more way than the opening takes"
    return Result(
        values={
            "reach": reach,
            "open-in-time": Quantity(in_time, "metre"),
            "stopping": Quantity(stop, "metre"),
        },
        working=(
            f"until open: {shown(speed)} x ({shown(delay)} + {shown(opening)}) + "
            f"{shown(clearance)} = {shown(in_time)} m",
            f"to stop: {shown(speed)} x {shown(reaction)} + {shown(speed)} squared / "
            f"(2 x {shown(braking)}) + {shown(clearance)} = {shown(stop)} m",
            f"reach = {shown(reach)}",
        ),
        source="uniform motion; delay, clearance, reaction and braking as given",
        kind="common-practice",
        at_least=reach,
        assumptions=("vehicles hold their speed up to the door",),
        warnings=(late,) if stop > in_time else (),
    )


@calculator(
    "approach-speed",
    "Highest speed at which the door is open in time",
    Input("reach", "metre", "where the sensor switches, from the door", low=0.1, high=100),
    Input("opening", "second", "time to open high enough", low=0.3, high=120),
    Input("delay", "second", "sensor and control", low=0, high=10, default="0.5 s"),
    Input("clearance", "metre", "left in front of the door then", low=0, high=20, default="1 m"),
)
def approach_speed(
    reach: Quantity, opening: Quantity, delay: Quantity, clearance: Quantity
) -> Result:
    """Speed for the sign beside the lane, from where a sensor switches.

    Parameters
    ----------
    reach : Quantity
        Distance from the door at which the sensor switches. [m]
    opening, delay, clearance
        As for `sensor_reach`. [s], [s], [m]

    Returns
    -------
    Result
        `speed`, also as `at_most`; 0 if the sensor is within the clearance. [m/s]

    References
    ----------
    .. [1] Uniform motion; the default delay and clearance are common practice.
    """
    way = max(reach.value - clearance.value, Decimal(0))
    speed = Quantity(way / (delay.value + opening.value), "metre-per-second")
    return Result(
        values={"speed": speed},
        working=(
            f"way = {shown(reach)} - {shown(clearance)} = {shown(way)} m",
            f"speed = {shown(way)} m / ({shown(delay)} + {shown(opening)}) = {shown(speed)}",
        ),
        source="uniform motion; delay and clearance as given",
        kind="common-practice",
        at_most=speed,
        assumptions=("vehicles hold their speed up to the door",),
    )
