"""Inductive loops in the floor: inductance of a rectangle, turns for a window."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

MU0_OVER_PI = Decimal("0.4")  # [uH/m]
MOST_TURNS = 12
TOLERANCE = Decimal("0.25")
CLEAR_M = Decimal("0.9144")  # 3 ft
# Turns by perimeter, two habits of the trade, no source: up to so much -> turns.
HABIT_FEET = ((12, 6), (20, 5), (60, 4), (240, 3))
HABIT_METRES = ((6, 4), (10, 3))

LENGTH = Input("length", "metre", "long side of the loop", low=0.3, high=30)
WIDTH = Input("width", "metre", "short side of the loop", low=0.3, high=30)
TURNS = Input("turns", "one", "turns of wire in the slot", low=1, high=MOST_TURNS)
LEAD = Input("lead", "metre", "lead-in, one way", low=0, high=300, default="0 m")
LEAD_PER_METRE = Input(
    "lead-per-metre", "microhenry", "of twisted lead-in", low=0.3, high=2, default="0.7218 uH"
)


def whole(name: str, value: Quantity) -> int:
    """A count; RangeError if it isn't a whole number."""
    if value.value != value.value.to_integral_value():
        raise RangeError(name, value.written(), "a whole number")
    return int(value.value)


def quick_uh(perimeter_m: Decimal, turns: int) -> Decimal:
    """Rule of thumb: P/4 (T^2 + T), P the perimeter in feet. [uH]"""
    return perimeter_m / Decimal("0.3048") / 4 * (turns * turns + turns)


def rectangle_uh(length: Decimal, width: Decimal, radius: Decimal) -> Decimal:
    """One turn: rectangle of thin wire, current on its surface; all in metres. [uH]"""
    diagonal = (length**2 + width**2).sqrt()
    return MU0_OVER_PI * (
        -2 * (length + width)
        + 2 * diagonal
        - length * ((length + diagonal) / width).ln()
        - width * ((width + diagonal) / length).ln()
        + length * (2 * length / radius).ln()
        + width * (2 * width / radius).ln()
    )


def stacked_uh(
    length: Decimal, width: Decimal, turns: int, radius: Decimal, pitch: Decimal
) -> Decimal:
    """Turns on top of each other; two turns `pitch` apart couple as a wire of that radius. [uH]"""
    own = turns * rectangle_uh(length, width, radius)
    coupled = (
        (turns - step) * rectangle_uh(length, width, step * pitch) for step in range(1, turns)
    )
    return own + 2 * sum(coupled, Decimal(0))


@calculator(
    "loop-inductance",
    "Inductance of a rectangular loop",
    LENGTH,
    WIDTH,
    TURNS,
    Input("wire", "millimetre", "bare wire, across", low=0.3, high=5, default="1.63 mm"),
    Input("pitch", "millimetre", "from turn to turn in the slot", low=1, high=15, default="5 mm"),
    LEAD,
    LEAD_PER_METRE,
)
def loop_inductance(
    length: Quantity,
    width: Quantity,
    turns: Quantity,
    wire: Quantity,
    pitch: Quantity,
    lead: Quantity,
    lead_per_metre: Quantity,
) -> Result:
    """Inductance of the loop itself, and the limits on a reading at the end of its lead-in.

    Parameters
    ----------
    length, width : Quantity
        Sides of the rectangle. [m]
    turns : Quantity
        Whole turns, 1 to 12.
    wire : Quantity
        Diameter of the bare wire; 1.63 mm is 14 AWG. [mm]
    pitch : Quantity
        Distance from turn to turn, at least the wire itself. [mm]
    lead, lead_per_metre : Quantity
        Lead-in up to where it is measured, one way [m], and inductance of one metre of it [uH].

    Returns
    -------
    Result
        `inductance` by the rule of thumb and `model` by the textbook's rectangle [uH], both
        without lead-in; `at_least` and `at_most` are 25 percent around the rule, lead-in added.

    Raises
    ------
    RangeError
        If `turns` isn't whole, or `pitch` is less than the wire.

    References
    ----------
    .. [1] Trade's rule of thumb P/4 (T^2 + T), feet; it and the 25 percent are common practice.
    .. [2] Rectangle of thin wire, standard textbook form; turns coupled by their distance.
    """
    count = whole("turns", turns)
    if pitch.value < wire.value:
        raise RangeError("pitch", pitch.written(), f"{wire.written()} or more, the wire itself")
    perimeter = 2 * (length.value + width.value)
    quick = Quantity(quick_uh(perimeter, count), "microhenry")
    model = Quantity(
        stacked_uh(length.value, width.value, count, wire.value / 2000, pitch.value / 1000),
        "microhenry",
    )
    extra = lead.value * lead_per_metre.value
    low = Quantity(quick.value * (1 - TOLERANCE) + extra, "microhenry")
    high = Quantity(quick.value * (1 + TOLERANCE) + extra, "microhenry")
    feet = perimeter / Decimal("0.3048")
    return Result(
        values={"inductance": quick, "model": model},
        working=(
            f"perimeter = 2 x ({shown(length)} + {shown(width)}) = {shown(perimeter)} m"
            f" = {shown(feet)} ft",
            f"rule = {shown(feet)} / 4 x ({count} x {count} + {count}) = {shown(quick)}",
            f"textbook rectangle of {count} turns = {shown(model)}",
            f"lead-in = {shown(lead)} x {shown(lead_per_metre)} = {shown(extra)} uH",
            f"25 percent around the rule, and the lead-in: {shown(low)} to {shown(high)}",
        ),
        source="rule of thumb P/4 (T^2 + T), checked by the textbook's rectangle",
        kind="common-practice",
        at_least=low,
        at_most=high,
        assumptions=(
            "detector unplugged, lead-in twisted to its end",
            "no steel mesh below, nothing metal near: both lower the reading",
        ),
    )


def habit(table: tuple[tuple[int, int], ...], perimeter: Decimal) -> int:
    """Turns that a table of habits gives for a perimeter; 2 beyond its end."""
    return next((turns for most, turns in table if perimeter <= most), 2)


@calculator(
    "loop-turns",
    "Turns of a loop for an inductance window",
    LENGTH,
    WIDTH,
    Input("least", "microhenry", "least inductance wanted", low=1, high=5000, default="100 uH"),
    Input("most", "microhenry", "most inductance wanted", low=1, high=5000, default="300 uH"),
)
def loop_turns(length: Quantity, width: Quantity, least: Quantity, most: Quantity) -> Result:
    """Fewest and most turns whose inductance lies in a window.

    Parameters
    ----------
    length, width : Quantity
        Sides of the rectangle. [m]
    least, most : Quantity
        Window of inductance; 100 to 300 uH is comfortable for most detectors. [uH]

    Returns
    -------
    Result
        `turns`, the fewest that do, their `inductance` [uH], and what two habits of the trade
        give: `habit-feet`, `habit-metres`; `at_least` and `at_most` in turns.

    Raises
    ------
    RangeError
        If `most` is below `least`, or no whole number of turns lies between.

    References
    ----------
    .. [1] Rule of thumb P/4 (T^2 + T), the window and both tables of turns: common practice.
    """
    if most.value < least.value:
        raise RangeError("most", most.written(), f"{least.written()} or more")
    perimeter = 2 * (length.value + width.value)
    table = [(count, quick_uh(perimeter, count)) for count in range(1, MOST_TURNS + 1)]
    fit = [(count, value) for count, value in table if least.value <= value <= most.value]
    if not fit:
        around = next((pair for pair in pairwise(table) if pair[1][1] > most.value), table[-2:])
        near = " and ".join(f"{n} give {shown(v)} uH" for n, v in around)
        raise RangeError(
            "window",
            f"{least.written()} to {most.written()}",
            f"wide enough for whole turns: {near}",
        )
    (fewest, value), (highest, top) = fit[0], fit[-1]
    feet = habit(HABIT_FEET, perimeter / Decimal("0.3048"))
    metres = habit(HABIT_METRES, perimeter)
    return Result(
        values={
            "turns": Quantity(Decimal(fewest), "one"),
            "inductance": Quantity(value, "microhenry"),
            "habit-feet": Quantity(Decimal(feet), "one"),
            "habit-metres": Quantity(Decimal(metres), "one"),
        },
        working=(
            f"perimeter = {shown(perimeter)} m",
            f"{fewest} turns give {shown(value)} uH, {highest} turns give {shown(top)} uH",
            f"by perimeter in feet the trade winds {feet} turns, in metres {metres} or more",
        ),
        source="rule of thumb P/4 (T^2 + T)",
        kind="common-practice",
        at_least=Quantity(Decimal(fewest), "one"),
        at_most=Quantity(Decimal(highest), "one"),
        assumptions=("lead-in not counted", "detector tunes from 20 to at least 1000 uH"),
        warnings=("the detector's own sheet wins",),
    )


@calculator(
    "loop-clearance",
    "How high a loop sees, and how far it must be from a metal door",
    LENGTH,
    WIDTH,
)
def loop_clearance(length: Quantity, width: Quantity) -> Result:
    """Detection height, and least distance of a loop from a moving metal door.

    Parameters
    ----------
    length, width : Quantity
        Sides of the rectangle, in any order. [m]

    Returns
    -------
    Result
        `clearance`, also as `at_least`, and detection `height`. [m]

    References
    ----------
    .. [1] Two thirds of the short side for both, the clearance at least 3 ft: common practice.
    """
    short = min(length.value, width.value)
    height = short * 2 / 3
    clearance = Quantity(max(height, CLEAR_M), "metre")
    return Result(
        values={"clearance": clearance, "height": Quantity(height, "metre")},
        working=(
            f"height seen = 2/3 x {shown(short)} m = {shown(height)} m",
            f"clearance = larger of {shown(height)} m and {shown(CLEAR_M)} m (3 ft)",
        ),
        source="two thirds of the short side, at least 3 ft from the door",
        kind="common-practice",
        at_least=clearance,
        assumptions=("no steel mesh below the loop",),
        warnings=("a high chassis needs a longer short side, not more sensitivity",),
    )
