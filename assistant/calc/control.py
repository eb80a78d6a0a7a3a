"""The control circuit: what its transformer must give, and what arrives at the end of a run."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.circuit import weakest
from assistant.calc.conductors import METAL, PER_DEGREE, SIZE, STRANDS, conductor
from assistant.calc.working import shown
from assistant.quantity import Quantity

CONTROL_VOLTS = Input(
    "volts", "volt", "rated control voltage", low=5, high=240, default="24 V"
)  # fmt: skip
AIM_PERCENT, HARD_PERCENT = Decimal(5), Decimal(10)
CLASS_2_VA = 100


@calculator(
    "control-transformer",
    "Load on a control transformer or 24 V supply",
    Input("loads", "volt-ampere", "sealed VA of each device", low=0, high=2000, many=True),
    Input(
        "source",
        "volt-ampere",
        "rating of the transformer; 0 if it is still to be chosen",
        low=0,
        high=5000,
        default="0 VA",
    ),
    Input(
        "inrush",
        "volt-ampere",
        "inrush VA of the largest coil",
        low=0,
        high=5000,
        default="0 VA",
    ),
    Input(
        "inrush-capacity",
        "volt-ampere",
        "what the transformer gives at 95 percent voltage; 0 if unknown",
        low=0,
        high=50000,
        default="0 VA",
    ),
    CONTROL_VOLTS,
    Input("margin", "percent", "spare on top of the load", low=0, high=100, default="25 percent"),
)
def control_transformer(
    loads: tuple[Quantity, ...],
    source: Quantity,
    inrush: Quantity,
    inrush_capacity: Quantity,
    volts: Quantity,
    margin: Quantity,
) -> Result:
    """Sealed and inrush load of a control supply, against its rating.

    Parameters
    ----------
    loads : tuple of Quantity
        Sealed (steady) VA of each device that can be on at once, from its label. [VA]
    source : Quantity
        Rating, 0 if not chosen. [VA]
    inrush : Quantity
        Inrush of the largest coil. [VA]
    inrush_capacity : Quantity
        What the source gives for a moment at 95 percent voltage, from its maker's table. [VA]
    volts : Quantity
        Rated voltage of the control circuit. [V]
    margin : Quantity
        [percent]

    Returns
    -------
    Result
        `needed` with the margin and `total` [VA], `current` [A], `moment`, the load while the
        largest coil pulls in [VA], and `share` of the source [percent]; `at_least` is what a
        source must be rated. The word `verdict` judges a source that is given.

    References
    ----------
    .. [1] Common practice: 25 percent spare; all sealed loads plus the largest coil's inrush.
    .. [2] NEC chapter 9, table 11(A): 100 VA at most up to 30 V in class 2 (read).
    """
    total = sum((each.value for each in loads), Decimal(0))
    needed = Quantity(total * (1 + margin.value / 100), "volt-ampere")
    current = Quantity(total / volts.value, "ampere")
    moment = Quantity(total + inrush.value, "volt-ampere")
    values = {
        "needed": needed,
        "total": Quantity(total, "volt-ampere"),
        "current": current,
        "moment": moment,
    }
    lines = [
        f"sealed: {' + '.join(shown(each.value) for each in loads)} = {shown(total)} VA, "
        f"{shown(current)} at {shown(volts)}",
        f"with {shown(margin)} spare: {shown(needed)}",
    ]
    if inrush.value:
        lines.append(f"largest coil pulls in: {shown(total)} + {shown(inrush)} = {shown(moment)}")
    words, warnings = {}, []
    if source.value:
        share = Quantity(100 * total / source.value, "percent")
        values["share"] = share
        lines.append(f"share of {shown(source)}: {shown(share)}")
        steady = needed.value <= source.value
        pulls = not inrush_capacity.value or moment.value <= inrush_capacity.value
        words["verdict"] = (
            ("enough" if pulls else "too small for the inrush") if steady else "too small"
        )
        lines.append(f"verdict: {words['verdict']}")
    if inrush.value and not inrush_capacity.value:
        warnings.append("compare the moment with the maker's inrush table at 95 percent voltage")
    if volts.value <= 30 and needed.value > CLASS_2_VA:
        warnings.append("above 100 VA it is no class 2 source: class 1 wiring rules hold")
    return Result(
        values=values,
        working=tuple(lines),
        source="sealed load plus margin, inrush of the largest coil",
        kind="common-practice",
        at_least=needed,
        assumptions=("all loads on at once; VA from each device's label",),
        warnings=tuple(warnings),
        words=words,
    )


@calculator(
    "control-run",
    "Voltage left at a device at the end of a control run",
    Input("current", "ampere", "load current of the device", low=0, high=50),
    Input("length", "metre", "one way", low=0, high=2000),
    SIZE,
    CONTROL_VOLTS,
    STRANDS,
    METAL,
    Input("temperature", "celsius", "of the conductor", low=-40, high=90, default="75 degC"),
    Input(
        "pick-up", "percent", "lowest voltage the device works at", low=10, high=100,
        default="85 percent",
    ),
)  # fmt: skip
def control_run(
    current: Quantity,
    length: Quantity,
    section: str,
    volts: Quantity,
    strands: str,
    metal: str,
    temperature: Quantity,
    pick_up: Quantity,
) -> Result:
    """Voltage at a device fed by two long conductors, by their resistance alone.

    Parameters
    ----------
    current : Quantity
        [A]
    length : Quantity
        One way. [m]
    section, strands, metal : str
        See `conductors.conductor`.
    volts : Quantity
        Voltage at the start of the run. [V]
    temperature : Quantity
        Of the conductor; 75 is what American tables take. [degC]
    pick_up : Quantity
        Share of the rated voltage that the device needs. [percent]

    Returns
    -------
    Result
        `left` at the device and `drop` [V], `percent` and, with a current, `longest` for a drop of
        5 percent [m]; `at_least`, the voltage that the device needs [V]. The word `verdict` is
        "good", "tolerable" (above 5 percent) or "too long" (above 10 percent or below pick-up).

    References
    ----------
    .. [1] VD = 2 L R I; NEC chapter 9 table 8 and IEC 60228 as `conductors` has them.
    .. [2] 5 percent aimed at, 10 percent at most: common practice. Pick-up at 85 percent:
       IEC 60947-4-1 (from memory).
    """
    size = conductor(section, strands, metal)
    warm = size.ohm_per_km * (1 + PER_DEGREE * (temperature.value - 20))
    loop = 2 * warm / 1000  # ohm for one metre of run
    drop = loop * length.value * current.value
    left = max(volts.value - drop, Decimal(0))
    percent = 100 * drop / volts.value
    least = Quantity(volts.value * pick_up.value / 100, "volt")
    if percent > HARD_PERCENT or left < least.value:
        verdict = "too long"
    else:
        verdict = "tolerable" if percent > AIM_PERCENT else "good"
    values = {
        "left": Quantity(left, "volt"),
        "drop": Quantity(drop, "volt"),
        "percent": Quantity(percent, "percent"),
    }
    lines = [
        f"{size.name} {metal} at {shown(temperature)}: {shown(warm)} ohm/km",
        f"drop = 2 x {shown(length)} x {shown(warm)} ohm/km x {shown(current)} = {shown(drop)} V, "
        f"{shown(percent)} %",
        f"left at the device: {shown(left)} V, it needs {shown(least)}: {verdict}",
    ]
    if current.value:
        longest = Quantity(AIM_PERCENT / 100 * volts.value / (loop * current.value), "metre")
        values["longest"] = longest
        lines.append(f"longest for 5 %: {shown(longest)} ({shown(longest.to('foot'))})")
    return Result(
        values=values,
        working=tuple(lines),
        source=f"{size.source}; 5 and 10 percent are common practice",
        kind=weakest(size.kind, "common-practice"),
        at_least=least,
        assumptions=("two conductors of one size, load current as on the label",),
        warnings=() if verdict == "good" else ("take a larger size, or feed it closer by",),
        words={"verdict": verdict},
    )
