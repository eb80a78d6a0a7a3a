"""The mains at the panel: tolerance, unbalance, voltage to earth, control voltage."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

NOMINAL = Input("nominal", "volt", "nominal supply voltage, such as 480 V", low=12, high=1000)
CODE_SET = Input(
    "code-set",
    "",
    "which rules hold on the site",
    choices=("american", "metric"),
    default="metric",
)
SYSTEMS = ("three-phase", "three-phase-neutral", "single-phase", "two-phase-lines")

# Nominal voltages that supplies are built for: IEC 60038 and ANSI C84.1, both from memory.
STANDARD_NOMINALS_V = (
    100, 120, 200, 208, 220, 230, 240, 277, 347, 380, 400, 415, 440, 480, 600, 690,
)  # fmt: skip

# Motor derating by voltage unbalance, read from the curve of NEMA MG 1. [percent] -> factor
DERATING = tuple(
    (Decimal(percent), Decimal(factor))
    for percent, factor in (
        ("0", "1.00"),
        ("1", "1.00"),
        ("1.5", "0.97"),
        ("2", "0.95"),
        ("2.5", "0.93"),
        ("3", "0.89"),
        ("3.5", "0.85"),
        ("4", "0.82"),
        ("4.5", "0.78"),
        ("5", "0.76"),
    )
)


@calculator("supply-tolerance", "Lowest and highest supply voltage", NOMINAL, CODE_SET)
def supply_tolerance(nominal: Quantity, code_set: str) -> Result:
    """Limits on the steady supply voltage at the panel's incoming terminals.

    Parameters
    ----------
    nominal : Quantity
        Nominal voltage, between the conductors that are measured. [V]
    code_set : str
        "metric" takes IEC 60204-1, "american" takes NEMA MG 1; both say ten percent.

    Returns
    -------
    Result
        `at_least` and `at_most`. [V]

    References
    ----------
    .. [1] IEC 60204-1, 4.3.2, alternating-current supplies: 0.9 to 1.1 of nominal (from memory).
    .. [2] NEMA MG 1: voltage within plus or minus ten percent (read on a page that quotes it).
    """
    low = Quantity(nominal.value * Decimal("0.9"), "volt")
    high = Quantity(nominal.value * Decimal("1.1"), "volt")
    american = code_set == "american"
    return Result(
        values={"lowest": low, "highest": high},
        working=(
            f"lowest = 0.9 x {shown(nominal)} = {shown(low)}",
            f"highest = 1.1 x {shown(nominal)} = {shown(high)}",
        ),
        source="NEMA MG 1, voltage variation" if american else "IEC 60204-1, 4.3.2",
        kind="published" if american else "from-memory",
        at_least=low,
        at_most=high,
        assumptions=("steady voltage at the incoming terminals, nothing moving",),
    )


@calculator(
    "voltage-unbalance",
    "Unbalance of three line voltages",
    Input("volts", "volt", "the three line-to-line readings", low=1, high=1000, many=True),
)
def voltage_unbalance(volts: tuple[Quantity, ...]) -> Result:
    """Farthest line voltage from the average, in percent of the average.

    Parameters
    ----------
    volts : tuple of three Quantity
        Line-to-line voltages, measured one soon after the other. [V]

    Returns
    -------
    Result
        `unbalance` [percent], `average` and `deviation` [V].

    Raises
    ------
    RangeError
        If there are not exactly three voltages.

    References
    ----------
    .. [1] NEMA MG 1, definition of voltage unbalance (read on pages that quote it, with examples).
    """
    if len(volts) != 3:
        raise RangeError("volts", f"{len(volts)} values", "exactly three line-to-line readings")
    numbers = [each.value for each in volts]
    average = sum(numbers, Decimal(0)) / 3
    farthest = max(numbers, key=lambda each: abs(each - average))
    deviation = abs(farthest - average)
    percent = Quantity(100 * deviation / average, "percent")
    derated = "above 1 percent a motor on this supply is derated"
    return Result(
        values={
            "unbalance": percent,
            "average": Quantity(average, "volt"),
            "deviation": Quantity(deviation, "volt"),
        },
        working=(
            f"average = ({' + '.join(shown(n) for n in numbers)}) / 3 = {shown(average, 5)} V",
            f"farthest from it = {shown(farthest)} V, by {shown(deviation)} V",
            f"unbalance = 100 x {shown(deviation)} / {shown(average, 5)} = {shown(percent)}",
        ),
        source="NEMA MG 1, voltage unbalance",
        kind="published",
        assumptions=("line-to-line voltages; currents can be out six to ten times as much",),
        warnings=(derated,) if percent.value > 1 else (),
    )


@calculator(
    "motor-derating",
    "Power left to a motor on an unbalanced supply",
    Input("unbalance", "percent", "voltage unbalance at the motor", low=0, high=5),
)
def motor_derating(unbalance: Quantity) -> Result:
    """Factor on a motor's rated power, read from the curve and interpolated between its points.

    Parameters
    ----------
    unbalance : Quantity
        Voltage unbalance, 0 to 5; above 5 a motor should not run at all. [percent]

    Returns
    -------
    Result
        `factor`, without unit.

    References
    ----------
    .. [1] NEMA MG 1, derating curve; the points are one engineering reference's reading of it.
       Other readings give 0.88 at 3 percent and 0.75 at 5 percent (from memory).
    """
    at = unbalance.value
    upper = next(i for i, (percent, _) in enumerate(DERATING) if percent >= at)
    (x0, y0), (x1, y1) = DERATING[max(upper - 1, 0)], DERATING[upper]
    factor = y1 if x0 == x1 else y0 + (y1 - y0) * (at - x0) / (x1 - x0)
    return Result(
        values={"factor": Quantity(factor, "one")},
        working=(
            f"points of the curve: {shown(x0)} % gives {y0}, {shown(x1)} % gives {y1}",
            f"at {shown(unbalance)} by straight line: {shown(factor)}",
        ),
        source="NEMA MG 1, derating by voltage unbalance",
        kind="published",
        assumptions=("a motor straight on the supply; behind a drive the rectifier bears it",),
    )


@calculator(
    "line-to-earth",
    "Voltage to earth of a sound supply",
    NOMINAL,
    Input("system", "", "how the supply is built", choices=SYSTEMS, default="three-phase"),
)
def line_to_earth(nominal: Quantity, system: str) -> Result:
    """Limits on the voltage of each line to protective earth.

    A line close to zero speaks for a corner-earthed supply, one far above the others for a
    high leg: both need a licensed electrician before anything is connected.

    Parameters
    ----------
    nominal : Quantity
        Line to line; for a single-phase supply line to neutral. [V]
    system : str
        As in the job: "three-phase", "three-phase-neutral", "single-phase" or "two-phase-lines".

    Returns
    -------
    Result
        `expected`, with `at_least` and `at_most` ten percent around it. [V]

    References
    ----------
    .. [1] Geometry of a star with its middle earthed; the ten percent are common practice.
    """
    tenth = Decimal("0.1")
    star = nominal.value / Decimal(3).sqrt()
    if system == "single-phase":
        low = high = nominal.value
        line = f"one line and neutral: expected {shown(nominal)}"
    elif system == "two-phase-lines":
        low, high = nominal.value / 2, star
        line = f"two lines: {shown(low)} V (middle tap) to {shown(high)} V (two lines of a star)"
    else:
        low = high = star
        line = f"star, middle earthed: {shown(nominal)} / sqrt(3) = {shown(star)} V"
    at_least = Quantity(low * (1 - tenth), "volt")
    at_most = Quantity(high * (1 + tenth), "volt")
    return Result(
        values={"expected": Quantity(low, "volt")},
        working=(line, f"with ten percent: {shown(at_least)} to {shown(at_most)}"),
        source="geometry of an earthed supply; ten percent is common practice",
        kind="derived",
        at_least=at_least,
        at_most=at_most,
        assumptions=("the middle of the supply is earthed",),
        warnings=("outside: high leg, corner-earthed or unearthed; ask a licensed electrician",),
    )


@calculator(
    "supply-plausibility",
    "Which standard supply a reading fits best",
    Input("measured", "volt", "the reading", low=20, high=1000),
    NOMINAL,
)
def supply_plausibility(measured: Quantity, nominal: Quantity) -> Result:
    """Nominal voltage nearest to a reading, to find a panel set for another supply.

    Parameters
    ----------
    measured : Quantity
        Reading between two lines or line and neutral. [V]
    nominal : Quantity
        What the job says the supply is. [V]

    Returns
    -------
    Result
        `deviation` of the reading from `nominal` [percent] and the `nearest` nominal [V];
        `at_least` and `at_most` are ten percent around the job's nominal. [V]

    References
    ----------
    .. [1] IEC 60038 and ANSI C84.1, nominal voltages (both from memory).
    """
    deviation = Quantity(100 * (measured.value - nominal.value) / nominal.value, "percent")
    known = [*(Decimal(each) for each in STANDARD_NOMINALS_V), nominal.value]
    # Of two at the same distance the job's own nominal wins: `min` keeps the first.
    known.sort(key=lambda each: each != nominal.value)
    nearest = min(known, key=lambda each: abs(each - measured.value))
    warnings: tuple[str, ...] = ()
    if nearest != nominal.value and abs(deviation.value) > 5:
        warnings = (
            f"{shown(measured)} fits a {shown(nearest)} V supply better than {shown(nominal)}: "
            "compare the panel's label and taps",
        )
    return Result(
        values={"deviation": deviation, "nearest": Quantity(nearest, "volt")},
        working=(
            f"deviation = 100 x ({shown(measured)} - {shown(nominal)}) / {shown(nominal)}"
            f" = {shown(deviation)}",
            f"nearest nominal voltage = {shown(nearest)} V",
        ),
        source="IEC 60038 and ANSI C84.1, nominal voltages",
        kind="from-memory",
        at_least=Quantity(nominal.value * Decimal("0.9"), "volt"),
        at_most=Quantity(nominal.value * Decimal("1.1"), "volt"),
        warnings=warnings,
    )


@calculator(
    "control-voltage",
    "Lowest and highest control voltage",
    Input("nominal", "volt", "nominal control voltage, such as 24 V", low=12, high=60),
)
def control_voltage(nominal: Quantity) -> Result:
    """Limits on the control-circuit voltage with everything at rest: 21.6 to 28 V for 24 V.

    Parameters
    ----------
    nominal : Quantity
        Rated control voltage, alternating or direct. [V]

    Returns
    -------
    Result
        `at_least` (0.9 of nominal) and `at_most` (7/6 of nominal). [V]

    References
    ----------
    .. [1] Common practice; lies inside 0.85 to 1.2 of nominal that IEC 61131-2 sets for
       24 V DC inputs (from memory).
    """
    low = Quantity(nominal.value * Decimal("0.9"), "volt")
    high = Quantity(nominal.value * 28 / 24, "volt")
    return Result(
        values={"lowest": low, "highest": high},
        working=(
            f"lowest = 0.9 x {shown(nominal)} = {shown(low)}",
            f"highest = 28/24 x {shown(nominal)} = {shown(high)}",
        ),
        source="control voltage at rest, 21.6 to 28 V for 24 V",
        kind="common-practice",
        at_least=low,
        at_most=high,
        assumptions=("nothing moves; the supply itself is within its tolerance",),
    )
