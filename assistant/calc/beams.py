"""Light beams across the doorway: from which height of the door's edge on they may be ignored."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

LEAST_MM = Decimal("25")
GOOD_MM = Decimal("50")
MOST_MM = Decimal("75")
RETEST_MM = Decimal("50")


@calculator(
    "beam-disable-position",
    "Height of the door's edge at which a beam may be ignored",
    Input("beam", "millimetre", "height of the beam above the floor", low=50, high=2000),
    Input("speed", "metre-per-second", "closing speed there", low=0, high=5, default="0 m/s"),
    Input("delay", "second", "until the control ignores it", low=0, high=1, default="0 s"),
)
def beam_disable_position(beam: Quantity, speed: Quantity, delay: Quantity) -> Result:
    """Limits on the edge height below which a beam in the door's own plane is ignored.

    Parameters
    ----------
    beam : Quantity
        Height of the lowest beam above the floor. [mm]
    speed, delay : Quantity
        Closing speed at that height [m/s] and the control's delay [s]: the way that the edge
        goes meanwhile is the least margin if it is more than 25 mm.

    Returns
    -------
    Result
        `lowest`, `good` and `highest`, and the heights at which the edge is tested again,
        `retest-low` and `retest-middle`; `at_least` and `at_most`. [mm]

    Raises
    ------
    RangeError
        If the edge goes more than 75 mm during the delay.

    References
    ----------
    .. [1] Common practice: 25 to 50 mm above the beam, so that the door's own edge doesn't trip
       it; never more than 75 mm, because below it only the edge protects.
    """
    moved = 1000 * speed.value * delay.value
    if moved > MOST_MM:
        raise RangeError(
            "speed x delay", f"{shown(moved)} mm", "75 mm or less: close more slowly at the beam"
        )
    least = max(LEAST_MM, moved)
    low, good, high = (
        Quantity(beam.value + margin, "millimetre")
        for margin in (least, max(GOOD_MM, least), MOST_MM)
    )
    return Result(
        values={
            "lowest": low,
            "good": good,
            "highest": high,
            "retest-low": Quantity(RETEST_MM, "millimetre"),
            "retest-middle": Quantity(beam.value / 2, "millimetre"),
        },
        working=(
            f"beam at {shown(beam)}, the edge goes {shown(moved)} mm during the delay",
            f"ignored from {shown(low)} to {shown(good)}, never from above {shown(high)}",
        ),
        source="25 to 50 mm above the beam, at most 75 mm",
        kind="common-practice",
        at_least=low,
        at_most=high,
        assumptions=("the beam crosses the door's own plane",),
        warnings=("below this height only the edge protects: test it there as well",),
    )
