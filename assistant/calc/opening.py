"""Air through an opening of a warm hall: by stack effect and by wind."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.doorway import GRAVITY, HEAT, HEIGHT, INSIDE, OUTSIDE, WIDTH, density
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

# Part of the wind that goes through, by how it meets the opening, from memory.
WIND = {"square": Decimal("0.55"), "diagonal": Decimal("0.30")}


@calculator(
    "opening-stack-flow",
    "Air through an opening by warmth alone, between two levels",
    WIDTH,
    HEIGHT,
    Input("drop", "metre", "from its middle to the neutral level", low=0, high=30),
    INSIDE,
    OUTSIDE,
)
def opening_stack_flow(
    width: Quantity, height: Quantity, drop: Quantity, inside: Quantity, outside: Quantity
) -> Result:
    """Flow by stack effect, for a hall with another opening higher up.

    Parameters
    ----------
    width, height : Quantity
        Of the lower opening. [m]
    drop : Quantity
        Height from its middle to the neutral level. [m]
    inside, outside : Quantity
        Temperatures; the inside is the warmer. [degC]

    Returns
    -------
    Result
        `air` [m3/s] and `heat` that it takes [kW].

    Raises
    ------
    RangeError
        If the inside is colder than the outside.

    References
    ----------
    .. [1] ASHRAE Fundamentals 1997, 25.13: Q = CD A sqrt(2 g dH (Ti - To) / Ti), CD = 0.40 +
       0.0045 (Ti - To) (read on a page that quotes it).
    """
    area = width.value * height.value
    rise = inside.value - outside.value
    if rise < 0:
        raise RangeError("inside", inside.written(), f"{outside.written()} or more")
    factor = Decimal("0.40") + Decimal("0.0045") * rise
    kelvin = inside.value + Decimal("273.15")
    air = factor * area * (2 * GRAVITY * drop.value * rise / kelvin).sqrt()
    heat = air * density(outside.value) * HEAT * rise
    return Result(
        values={
            "air": Quantity(air, "cubic-metre-per-second"),
            "heat": Quantity(heat, "kilowatt"),
        },
        working=(
            f"CD = 0.40 + 0.0045 x {shown(rise)} = {shown(factor)}",
            f"air = {shown(factor)} x {shown(area)} m2 x sqrt(2 x 9.807 x {shown(drop)} x "
            f"{shown(rise)} / {shown(kelvin, 5)}) = {shown(air)} m3/s",
            f"dry heat = {shown(heat)} kW",
        ),
        source="ASHRAE Fundamentals 1997, 25.13, flow by stack effect",
        kind="published",
        assumptions=("another opening of at least this size higher up", "no wind, dry air"),
    )


@calculator(
    "opening-wind-flow",
    "Air that wind drives through an opening",
    WIDTH,
    HEIGHT,
    Input("wind", "metre-per-second", "speed of the wind", low=0, high=40),
    Input("facing", "", "how the wind meets it", choices=tuple(WIND), default="square"),
)
def opening_wind_flow(width: Quantity, height: Quantity, wind: Quantity, facing: str) -> Result:
    """Flow through an opening that faces the wind, with a way out on the other side.

    Parameters
    ----------
    width, height : Quantity
        Of the opening. [m]
    wind : Quantity
        Undisturbed speed. [m/s]
    facing : str
        "square" (factor 0.5 to 0.6) or "diagonal" (0.25 to 0.35); the middle is taken.

    Returns
    -------
    Result
        `air`. [m3/s]

    References
    ----------
    .. [1] ASHRAE Fundamentals: Q = Cv A U (from memory).
    """
    factor, area = WIND[facing], width.value * height.value
    air = Quantity(factor * area * wind.value, "cubic-metre-per-second")
    return Result(
        values={"air": air},
        working=(f"air = {factor} x {shown(area)} m2 x {shown(wind)} = {shown(air)}",),
        source="ASHRAE Fundamentals, flow by wind",
        kind="from-memory",
        assumptions=("the air finds a way out on the other side",),
    )
