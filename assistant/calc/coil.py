"""Coils: the resistance of a brake's, its rectified voltage, and a motor's three alike."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

PI = Decimal("3.14159265358979")
ROOT_2 = Decimal(2).sqrt()
PER_DEGREE = Decimal("0.00393")  # of copper, per kelvin at 20 degC
# Mean of a rectified sine, over its effective value.
RECTIFIERS = {"half-wave": ROOT_2 / PI, "full-wave": 2 * ROOT_2 / PI, "none": Decimal(1)}


@calculator(
    "brake-coil",
    "Resistance of a sound brake coil",
    Input("volts", "volt", "rated direct voltage of the coil", low=5, high=500),
    Input("power", "watt", "rated power of the coil", low=1, high=1000),
    Input("temperature", "celsius", "of the coil", low=-40, high=120, default="20 degC"),
    Input("tolerance", "percent", "either way", low=1, high=50, default="10 percent"),
)
def brake_coil(
    volts: Quantity, power: Quantity, temperature: Quantity, tolerance: Quantity
) -> Result:
    """Limits on the resistance of a direct-voltage coil from its nameplate.

    Parameters
    ----------
    volts : Quantity
        Rated voltage. [V]
    power : Quantity
        Rated power at 20 degC. [W]
    temperature : Quantity
        Of the copper. [degC]
    tolerance : Quantity
        [percent]

    Returns
    -------
    Result
        `resistance`, with `at_least` and `at_most` around it. [ohm]

    References
    ----------
    .. [1] R = V^2 / P of direct current; copper 0.00393 per kelvin. Ten percent is common practice.
    """
    cold = volts.value**2 / power.value
    warm = cold * (1 + PER_DEGREE * (temperature.value - 20))
    part = tolerance.value / 100
    low, high = Quantity(warm * (1 - part), "ohm"), Quantity(warm * (1 + part), "ohm")
    return Result(
        values={"resistance": Quantity(warm, "ohm")},
        working=(
            f"R = {shown(volts)}^2 / {shown(power)} = {shown(cold)} ohm at 20 degC",
            f"at {shown(temperature)}: {shown(warm)} ohm, {shown(low)} to {shown(high)}",
        ),
        source="R = V^2 / P, copper; ten percent is common practice",
        kind="derived",
        at_least=low,
        at_most=high,
        assumptions=("one coil, its rectifier taken off; rated power holds at 20 degC",),
    )


@calculator(
    "coil-voltage",
    "Direct voltage that a brake's rectifier gives",
    Input("supply", "volt", "voltage that feeds the rectifier", low=12, high=600),
    Input("rectifier", "", "none: fed with direct voltage", choices=tuple(RECTIFIERS)),
    Input("rated", "volt", "rated voltage of the coil", low=5, high=500),
    Input("tolerance", "percent", "either way", low=1, high=30, default="10 percent"),
)
def coil_voltage(supply: Quantity, rectifier: str, rated: Quantity, tolerance: Quantity) -> Result:
    """Voltage at the coil, and whether that rectifier suits that coil.

    Parameters
    ----------
    supply : Quantity
        Effective value of the alternating voltage, or the direct voltage. [V]
    rectifier : str
        "half-wave", "full-wave" or "none".
    rated : Quantity
        Rated voltage of the coil. [V]
    tolerance : Quantity
        [percent]

    Returns
    -------
    Result
        `volts` at the coil [V]; `at_least` and `at_most` are around the rated voltage. The word
        `verdict` is "fits" or "does not fit".

    Raises
    ------
    RangeError
        If the coil would get more than three times or less than a third of its voltage: then one
        of the values belongs to something else.

    References
    ----------
    .. [1] Mean of a rectified sine: sqrt(2)/pi = 0.45 for half, 2 sqrt(2)/pi = 0.90 for full waves.
    """
    volts = supply.value * RECTIFIERS[rectifier]
    if not rated.value / 3 <= volts <= rated.value * 3:
        valid = f"near the {shown(volts)} V that this rectifier gives; read both labels again"
        raise RangeError("rated", rated.written(), valid)
    part = tolerance.value / 100
    low = Quantity(rated.value * (1 - part), "volt")
    high = Quantity(rated.value * (1 + part), "volt")
    fits = low.value <= volts <= high.value
    return Result(
        values={"volts": Quantity(volts, "volt")},
        working=(
            f"{shown(supply)} x {shown(RECTIFIERS[rectifier], 3)} ({rectifier}) = {shown(volts)} V",
            f"the coil takes {shown(low)} to {shown(high)}: {'fits' if fits else 'does not fit'}",
        ),
        source="mean of a rectified sine; ten percent is common practice",
        kind="derived",
        at_least=low,
        at_most=high,
        assumptions=("no smoothing capacitor; a rectifier that lowers the voltage later is apart",),
        warnings=() if fits else ("take the rectifier on the maker's sheet for this coil",),
        words={"verdict": "fits" if fits else "does not fit"},
    )


@calculator(
    "winding-balance",
    "How far the three windings of a motor differ",
    Input("ohms", "ohm", "the three readings, lead to lead", low=0.001, high=10000, many=True),
)
def winding_balance(ohms: tuple[Quantity, ...]) -> Result:
    """Largest departure of the lead-to-lead resistances from their mean.

    Parameters
    ----------
    ohms : tuple of Quantity
        Three readings, drive or contactor taken off. [ohm]

    Returns
    -------
    Result
        `spread` [percent] and `mean` [ohm]; `at_most` 5 percent.

    Raises
    ------
    RangeError
        If there are not three readings.

    References
    ----------
    .. [1] Common practice: equal within 5 percent.
    """
    if len(ohms) != 3:
        raise RangeError("ohms", f"{len(ohms)} values", "three readings, lead to lead")
    mean = sum((each.value for each in ohms), Decimal(0)) / 3
    worst = max(ohms, key=lambda each: abs(each.value - mean))
    spread = Quantity(100 * abs(worst.value - mean) / mean, "percent")
    return Result(
        values={"spread": spread, "mean": Quantity(mean, "ohm")},
        working=(
            f"mean of {', '.join(shown(each.value) for each in ohms)} = {shown(mean)} ohm",
            f"farthest {shown(worst)}: {shown(spread)} from the mean, at most 5 %",
        ),
        source="windings equal within 5 percent",
        kind="common-practice",
        at_most=Quantity(Decimal(5), "percent"),
        assumptions=("leads of the meter nulled; all windings at one temperature",),
    )
