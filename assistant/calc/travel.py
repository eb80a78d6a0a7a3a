"""Times of the door's travel: the guard that stops a motor which runs too long."""

from __future__ import annotations

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
