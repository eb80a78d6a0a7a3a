"""Light beams across the doorway: from which height of the door's edge on they may be ignored."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.quantity import Quantity

LEAST_MM = Decimal("25")
GOOD_MM = Decimal("50")
MOST_MM = Decimal("75")


@calculator(
    "beam-disable-position",
    "Height of the door's edge at which a beam may be ignored",
    Input("beam", "millimetre", "height of the beam above the floor", low=50, high=2000),
)
def beam_disable_position(beam: Quantity) -> Result:
    """Limits on the edge height below which a beam in the door's own plane is ignored.

    Parameters
    ----------
    beam : Quantity
        Height of the lowest beam above the floor. [mm]

    Returns
    -------
    Result
        `lowest`, `good` and `highest`; `at_least` and `at_most`. [mm]

    References
    ----------
    .. [1] Common practice: 25 to 50 mm above the beam, so that the door's own edge doesn't trip
       it; never more than 75 mm, because below it only the edge protects.
    """
    low, good, high = (
        Quantity(beam.value + margin, "millimetre") for margin in (LEAST_MM, GOOD_MM, MOST_MM)
    )
    return Result(
        values={"lowest": low, "good": good, "highest": high},
        working=(
            f"beam at {shown(beam)}",
            f"ignored from {shown(low)} to {shown(good)}, never from above {shown(high)}",
        ),
        source="25 to 50 mm above the beam, at most 75 mm",
        kind="common-practice",
        at_least=low,
        at_most=high,
        assumptions=("the beam crosses the door's own plane",),
        warnings=("below this height only the edge protects: test it there as well",),
    )
