"""The place of door and panel: the opening against the order, the space to work in."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.supply import CODE_SET, NOMINAL, SYSTEMS, line_to_earth
from assistant.calc.working import shown
from assistant.quantity import Quantity

# NEC table 110.26(A)(1), from memory: up to this voltage to earth [V], depth by condition. [ft]
NEC_DEPTHS = ((150, ("3", "3", "3")), (600, ("3", "3.5", "4")))
OPPOSITE = ("nothing-live", "earthed", "live")  # conditions 1, 2 and 3
METRIC_DEPTH_M = Decimal("0.7")


@calculator(
    "opening-size",
    "Clear opening against the size that was ordered",
    Input("ordered", "metre", "width or height on the order", low=0.5, high=20),
    Input("tolerance", "millimetre", "either way", low=0, high=200, default="10 mm"),
)
def opening_size(ordered: Quantity, tolerance: Quantity) -> Result:
    """Limits on a measured width or height of the opening.

    Parameters
    ----------
    ordered : Quantity
        Width or height on the order. [m]
    tolerance : Quantity
        What the maker's sheet allows either way. [mm]

    Returns
    -------
    Result
        `ordered`, with `at_least` and `at_most` around it. [m]

    References
    ----------
    .. [1] Common practice: 10 mm where the sheet names no tolerance.
    """
    slack = tolerance.to("metre").value
    low, high = Quantity(ordered.value - slack, "metre"), Quantity(ordered.value + slack, "metre")
    return Result(
        values={"ordered": ordered},
        working=(
            f"{shown(ordered)} give or take {shown(tolerance)}: {shown(low)} to {shown(high)}",
        ),
        source="size on the order, tolerance by the maker's sheet",
        kind="common-practice",
        at_least=low,
        at_most=high,
        assumptions=("the smallest of three places is what counts",),
    )


@calculator(
    "clear-room",
    "Free room that a door or switch takes",
    Input("needed", "metre", "on the maker's sheet", low=0, high=30),
)
def clear_room(needed: Quantity) -> Result:
    """Limit on a measured room: above, beside or behind a door, or up to a hard stop.

    Parameters
    ----------
    needed : Quantity
        What the maker's sheet asks for. [m]

    Returns
    -------
    Result
        `needed`, also as `at_least`. [m]

    References
    ----------
    .. [1] The sheet of the door; the rule is common practice.
    """
    return Result(
        values={"needed": needed},
        working=(f"the sheet asks for {shown(needed)} or more",),
        source="room that the maker's sheet asks for",
        kind="common-practice",
        at_least=needed,
        assumptions=("the narrowest place counts, pipes and lamps taken off",),
    )


@calculator(
    "working-space",
    "Clear depth in front of a panel",
    NOMINAL,
    Input("system", "", "how the supply is built", choices=SYSTEMS, default="three-phase"),
    CODE_SET,
    Input(
        "opposite",
        "",
        "american: what is across; earthed is also a concrete, brick or tile wall",
        choices=OPPOSITE,
        default="earthed",
    ),
)
def working_space(nominal: Quantity, system: str, code_set: str, opposite: str) -> Result:
    """Least depth that is kept clear in front of equipment that is worked on live.

    Parameters
    ----------
    nominal, system
        As in `line-to-earth`; the larger voltage to earth counts. [V]
    code_set : str
        "american": by voltage to earth and what is opposite; "metric": one width.
    opposite : str
        "nothing-live", "earthed" or "live" parts across; american only.

    Returns
    -------
    Result
        `depth`, also as `at_least`. [m]

    References
    ----------
    .. [1] NEC 110.26(A)(1), conditions 1 to 3 (from memory).
    .. [2] IEC 60204-1, 11.5: gangways at least 0.7 m wide (from memory).
    """
    if code_set == "metric":
        depth = Quantity(METRIC_DEPTH_M, "metre")
        source, line = "IEC 60204-1, 11.5", f"gangway at least {shown(depth)} wide"
    else:
        # A single-phase supply is one line and neutral, so its nominal is the voltage to earth;
        # two lines count as two of a star, the higher of the two ways they can be built.
        star = system if system == "single-phase" else "three-phase"
        volts = line_to_earth(nominal, star).values["expected"].value
        row = next((depths for up_to, depths in NEC_DEPTHS if volts <= up_to), NEC_DEPTHS[-1][1])
        depth = Quantity(Decimal(row[OPPOSITE.index(opposite)]), "foot").to("metre")
        source = "NEC 110.26(A)(1)"
        feet = shown(depth.to("foot"))
        line = f"{shown(volts)} V to earth, opposite: {opposite}: {feet} ({shown(depth)})"
    return Result(
        values={"depth": depth},
        working=(line,),
        source=source,
        kind="from-memory",
        at_least=depth,
        assumptions=("supply up to 600 V to earth", "the panel's cover opens a quarter turn"),
        warnings=("the space is no store: it is kept clear for as long as the panel is there",),
    )
