"""Loops at the detector: lead-in, several loops, neighbours, insulation and resistance."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.conductors import PER_DEGREE, SIZE, conductor
from assistant.calc.loops import LEAD, LEAD_PER_METRE, LENGTH, TURNS, WIDTH, whole
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

PI = Decimal("3.141592653589793238462643383")
LEAST_UH = Decimal(50)
MOST_OHM = Decimal(4)
APART = "5 kHz"

_CAPACITANCE = Input(
    "capacitance",
    "microfarad",
    "in the detector's oscillator",
    low=0.001,
    high=10,
    default="0.047 uF",
)


def _khz(microhenry: Decimal, microfarad: Decimal) -> Decimal:
    """Resonance of L and C. [kHz]"""
    return 1000 / (2 * PI * (microhenry * microfarad).sqrt())


@calculator(
    "loop-lead-in",
    "Loop and lead-in at the detector, and what is left of a change",
    Input("loop", "microhenry", "inductance of the loop alone", low=5, high=5000),
    LEAD,
    LEAD_PER_METRE,
    _CAPACITANCE,
    Input("change", "percent", "loss in the loop by a vehicle", low=0.01, high=20, default="1 %"),
)
def loop_lead_in(
    loop: Quantity,
    lead: Quantity,
    lead_per_metre: Quantity,
    capacitance: Quantity,
    change: Quantity,
) -> Result:
    """Inductance at the terminals, share of the loop in it, and the frequency.

    Parameters
    ----------
    loop : Quantity
        Inductance of the loop or group of loops. [uH]
    lead : Quantity
        Length of the twisted lead-in, one way. [m]
    lead_per_metre : Quantity
        Inductance of one metre of it. [uH]
    capacitance : Quantity
        Of the detector's oscillator; the sheet has it. [uF]
    change : Quantity
        How much of its inductance the loop loses under a vehicle. [percent]

    Returns
    -------
    Result
        `total` [uH], `share` of the loop, `seen` change at the detector and `shift` of its
        frequency [percent], `frequency` [kHz], `longest-lead` [m]; `at_least` is 50 uH.

    References
    ----------
    .. [1] Traffic-equipment specification: twisted lead-in of 20 to 24 uH for 100 ft (read on a
       page that quotes it). f = 1 / (2 pi sqrt(L C)).
    .. [2] At least 50 uH at the terminals, loop at least twice the lead-in: common practice.
    """
    extra = lead.value * lead_per_metre.value
    total = loop.value + extra
    share = loop.value / total
    seen = change.value * share
    before = _khz(total, capacitance.value)
    shift = 100 * (1 / (1 - seen / 100).sqrt() - 1)
    longest = loop.value / 2 / lead_per_metre.value
    warnings = ["twist the lead-in all the way to the terminals; cut spare length, never coil it"]
    if extra > loop.value / 2:
        warnings.append(
            f"lead-in above half of the loop: shorten it to {shown(longest)} m or add a turn"
        )
    if total < LEAST_UH:
        warnings.append("below 50 uH: add a turn")
    return Result(
        values={
            "total": Quantity(total, "microhenry"),
            "share": Quantity(100 * share, "percent"),
            "seen": Quantity(seen, "percent"),
            "frequency": Quantity(before, "kilohertz"),
            "shift": Quantity(shift, "percent"),
            "longest-lead": Quantity(longest, "metre"),
        },
        working=(
            f"lead-in = {shown(lead)} x {shown(lead_per_metre)} = {shown(extra)} uH",
            f"total = {shown(loop)} + {shown(extra)} uH = {shown(total)} uH",
            f"share of the loop = {shown(loop)} / {shown(total)} uH = {shown(100 * share)} %",
            f"a change of {shown(change)} in the loop shows as {shown(seen)} %",
            f"frequency = 1 / (2 pi sqrt({shown(total)} uH x {shown(capacitance)}))"
            f" = {shown(before)} kHz, rising by {shown(shift)} %",
        ),
        source="lead-in of 20 to 24 uH for 100 ft; at least 50 uH and half a loop, common practice",
        kind="common-practice",
        at_least=Quantity(LEAST_UH, "microhenry"),
        assumptions=("5 to 7 twists a foot, 4 at the least", "no coupling of loop and lead-in"),
        warnings=tuple(warnings),
    )


@calculator(
    "loop-group",
    "Several loops on one detector, in series or parallel",
    Input("loops", "microhenry", "inductance of each loop", low=5, high=5000, many=True),
    Input("joined", "", "how they are joined", choices=("series", "parallel"), default="series"),
)
def loop_group(loops: tuple[Quantity, ...], joined: str) -> Result:
    """Inductance of a group, and the share of a loop's change that the group shows.

    Parameters
    ----------
    loops : tuple of Quantity
        Inductance of each loop, apart from the others. [uH]
    joined : str
        "series" or "parallel".

    Returns
    -------
    Result
        `inductance` [uH] and `share`, what is left of a change in the weakest loop [percent];
        `at_least` is 50 uH.

    Raises
    ------
    RangeError
        If no loop is given.

    References
    ----------
    .. [1] Inductors without coupling: sums in series, sums of the inverse in parallel.
    """
    if not loops:
        raise RangeError("loops", "no value", "at least one loop")
    numbers = [each.value for each in loops]
    if joined == "series":
        total = sum(numbers, Decimal(0))
        share = min(numbers) / total
        line = f"{' + '.join(shown(n) for n in numbers)} = {shown(total)} uH"
    else:
        total = 1 / sum((1 / n for n in numbers), Decimal(0))
        share = total / max(numbers)
        line = f"1 / ({' + '.join(f'1/{shown(n)}' for n in numbers)}) = {shown(total)} uH"
    warnings = ["loops side by side couple: wind them so that neighbouring sides run the same way"]
    if total < LEAST_UH:
        other = "series" if joined == "parallel" else "more turns"
        warnings.append(f"below 50 uH: try {other}")
    return Result(
        values={
            "inductance": Quantity(total, "microhenry"),
            "share": Quantity(100 * share, "percent"),
        },
        working=(
            f"in {joined}: {line}",
            f"a change in the weakest loop shows with {shown(100 * share)} % of its size",
        ),
        source="inductors without coupling; at least 50 uH, common practice",
        kind="derived",
        at_least=Quantity(LEAST_UH, "microhenry"),
        assumptions=("loops apart from each other",),
        warnings=tuple(warnings),
    )


@calculator(
    "loop-neighbours",
    "Frequencies of two neighbouring loops, far enough apart",
    Input("first", "microhenry", "first loop with its lead-in", low=5, high=5000),
    Input("second", "microhenry", "second loop with its lead-in", low=5, high=5000),
    _CAPACITANCE,
    Input(
        "second-capacitance",
        "microfarad",
        "in the second detector, as its frequency switch sets it",
        low=0.001,
        high=10,
        default="0.047 uF",
    ),
    Input("apart", "kilohertz", "least difference", low=0.5, high=50, default=APART),
)
def loop_neighbours(
    first: Quantity,
    second: Quantity,
    capacitance: Quantity,
    second_capacitance: Quantity,
    apart: Quantity,
) -> Result:
    """Difference of the frequencies of two loops that could disturb each other.

    Parameters
    ----------
    first, second : Quantity
        Inductance at each detector's terminals. [uH]
    capacitance, second_capacitance : Quantity
        Of each oscillator. [uF]
    apart : Quantity
        Least difference wanted. [kHz]

    Returns
    -------
    Result
        `difference`, `first` and `second` [kHz]; `at_least` is `apart`.

    References
    ----------
    .. [1] f = 1 / (2 pi sqrt(L C)); the least difference of 5 kHz is common practice.
    """
    one = _khz(first.value, capacitance.value)
    two = _khz(second.value, second_capacitance.value)
    gap = abs(one - two)
    close = gap < apart.value
    advice = (
        f"only {shown(gap)} kHz apart: set another frequency on one detector, or wind one turn "
        "more or less in one loop"
    )
    return Result(
        values={
            "difference": Quantity(gap, "kilohertz"),
            "first": Quantity(one, "kilohertz"),
            "second": Quantity(two, "kilohertz"),
        },
        working=(
            f"first: {shown(first)} with {shown(capacitance)} = {shown(one)} kHz",
            f"second: {shown(second)} with {shown(second_capacitance)} = {shown(two)} kHz",
            f"difference = {shown(gap)} kHz, wanted {shown(apart)} or more",
        ),
        source="resonance of loop and capacitor; least difference of 5 kHz, common practice",
        kind="common-practice",
        at_least=apart,
        assumptions=("two detectors that don't take turns; one that scans its loops can't clash",),
        warnings=(advice,) if close else (),
    )


@calculator(
    "loop-insulation",
    "Least insulation of a loop to earth",
    Input("loop", "", "new, or already in the floor", choices=("new", "old"), default="old"),
)
def loop_insulation(loop: str) -> Result:
    """Limit on the insulation resistance of loop and lead-in to earth, detector unplugged.

    Parameters
    ----------
    loop : str
        "new" asks for a good loop, "old" for one that may stay.

    Returns
    -------
    Result
        `minimum`, `good` and `failed` [megohm], `test-voltage` [V]; `at_least` is the minimum.

    References
    ----------
    .. [1] 100 megohm for a good loop: from memory. 50 to accept, 1 to 50 suspect, below 1
       failed: common practice. At 500 V direct voltage.
    """
    new = loop == "new"
    least = Quantity(Decimal(100 if new else 50), "megohm")
    return Result(
        values={
            "minimum": least,
            "good": Quantity(Decimal(100), "megohm"),
            "failed": Quantity(Decimal(1), "megohm"),
            "test-voltage": Quantity(Decimal(500), "volt"),
        },
        working=(
            f"{loop} loop: test with 500 V direct voltage, at least {shown(least)}",
            "from 1 to 50 megohm suspect: moisture or a cut jacket; below 1 failed",
        ),
        source="insulation of detector loops, 50 megohm to accept and 100 for a good one",
        kind="from-memory" if new else "common-practice",
        at_least=least,
        assumptions=("loop with lead-in, cut off from the detector, dry terminals",),
        warnings=("never with the detector connected; discharge after the test",),
    )


@calculator(
    "loop-resistance",
    "Series resistance of loop and lead-in",
    LENGTH,
    WIDTH,
    TURNS,
    SIZE,
    LEAD,
    Input("lead-section", "", "conductor of the lead-in, such as 16 AWG", default="16 AWG"),
    Input("temperature", "celsius", "of the wire", low=-40, high=90, default="20 degC"),
)
def loop_resistance(
    length: Quantity,
    width: Quantity,
    turns: Quantity,
    section: str,
    lead: Quantity,
    lead_section: str,
    temperature: Quantity,
) -> Result:
    """Resistance expected at the panel, and the limit on a reading.

    Parameters
    ----------
    length, width, turns : Quantity
        Sides of the loop [m] and its whole turns.
    section, lead_section : str
        Conductor of the loop and of the lead-in; see `conductors.conductor`.
    lead : Quantity
        Length of the lead-in, one way; both conductors are counted. [m]
    temperature : Quantity
        Of the wire. [degC]

    Returns
    -------
    Result
        `expected`, `loop` and `lead` [ohm]; `at_most` is 4 ohm.

    References
    ----------
    .. [1] Conductor tables: see `conductors`. At most 4 ohm, often below 2: common practice.
    """
    count = whole("turns", turns)
    warm = 1 + PER_DEGREE * (temperature.value - 20)
    wire, pair = conductor(section), conductor(lead_section)
    wound = 2 * (length.value + width.value) * count
    loop = wire.ohm_per_km * warm * wound / 1000
    way = pair.ohm_per_km * warm * 2 * lead.value / 1000
    expected = loop + way
    long = f"{shown(expected)} ohm is expected, above 4: a thicker or shorter lead-in"
    return Result(
        values={
            "expected": Quantity(expected, "ohm"),
            "loop": Quantity(loop, "ohm"),
            "lead": Quantity(way, "ohm"),
        },
        working=(
            f"loop = {shown(wound)} m of {wire.name} = {shown(loop)} ohm",
            f"lead-in = 2 x {shown(lead)} of {pair.name} = {shown(way)} ohm",
            f"expected = {shown(expected)} ohm, at most {MOST_OHM} ohm",
        ),
        source="conductor tables; at most 4 ohm, common practice",
        kind="common-practice",
        at_most=Quantity(MOST_OHM, "ohm"),
        assumptions=(f"wire at {shown(temperature)}, soldered splices add nothing",),
        warnings=(long,) if expected > MOST_OHM else (),
    )
