"""The conductors of a motor's branch circuit: lines and protective earth."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.ampacity import (
    AMBIENT,
    INSULATION,
    METHOD,
    TERMINALS,
    TOGETHER,
    Laid,
    smallest,
)
from assistant.calc.base import Input, Result, calculator
from assistant.calc.circuit import CODE_BY_SIZE, PHASES, code_of, listed, weakest
from assistant.calc.conductors import METAL, SIZE, conductor
from assistant.calc.protection import FULL_LOAD, SUPPLY_NOTE, iec_rating
from assistant.calc.supply import CODE_SET
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

# NEC table 250.122, read for copper; aluminium from memory. Device up to [A] -> AWG.
EARTH = ((15, ("14", "12")), (20, ("12", "10")), (60, ("10", "8")), (100, ("8", "6")),
         (200, ("6", "4")), (300, ("4", "2")), (400, ("3", "1")))  # fmt: skip
# NEC chapter 9 table 8, read. [circular mils]
CIRCULAR_MILS = {
    "14": 4110, "12": 6530, "10": 10380, "8": 16510, "6": 26240, "4": 41740, "3": 52620,
    "2": 66360, "1": 83690, "1/0": 105600,
}  # fmt: skip
IEC_SECTIONS = ("1.5", "2.5", "4", "6", "10", "16", "25", "35", "50", "70", "95")


@calculator(
    "branch-conductor",
    "Smallest conductor for a motor's branch circuit",
    FULL_LOAD,
    CODE_SET,
    Input(
        "device",
        "ampere",
        "metric: rating of the overload protection; 0 takes the next standard one",
        low=0,
        high=125,
        default="0 A",
    ),
    METAL,
    INSULATION,
    TERMINALS,
    AMBIENT,
    TOGETHER,
    PHASES,
    METHOD,
)
def branch_conductor(
    current: Quantity,
    code_set: str,
    device: Quantity,
    metal: str,
    insulation: str,
    terminals: str,
    ambient: Quantity,
    conductors: Quantity,
    phases: str,
    method: str,
) -> Result:
    """Smallest conductor that carries a motor as it is laid and connected.

    Parameters
    ----------
    current : Quantity
        Full-load current. [A]
    code_set : str
        "american": 125 percent of the current; "metric": Ib <= In <= Iz.
    device : Quantity
        Rating In, metric only; 0 for the next standard rating. [A]
    metal, insulation, terminals, ambient, conductors, phases, method
        As in `ampacity`.

    Returns
    -------
    Result
        `least`, the ampacity that it takes, and `usable`, what the conductor carries [A]. The
        word `section` is its size.

    Raises
    ------
    RangeError
        If no size of the tables carries it, or the device is below the current.

    References
    ----------
    .. [1] NEC 430.22, 125 percent (read, with an example); duty other than continuous, table
       430.22(E), isn't used.
    .. [2] IEC 60364-4-43, 433.1 (from memory).
    """
    laid = Laid(insulation, terminals, ambient.value, conductors.value, phases, method)
    if code_set == "american":
        if device.value:
            raise RangeError("device", device.written(), "left out where code-set is american")
        least = current.value * Decimal("1.25")
        line = f"1.25 x {shown(current)} = {shown(least)} A (430.22)"
        rule, kind = "NEC 430.22", "published"
    else:
        least = device.value or Decimal(iec_rating(current.value))
        if least < current.value:
            raise RangeError("device", device.written(), f"{shown(current)} or more")
        line = f"Ib = {shown(current)}, so In = {shown(least)} A, and Iz must not be below"
        rule, kind = "IEC 60364-4-43, 433.1", "from-memory"
    found = smallest(least, code_set, metal, laid)
    return Result(
        values={
            "least": Quantity(least, "ampere"),
            "usable": Quantity(found.usable, "ampere"),
        },
        working=(line, *found.working, f"smallest conductor: {found.size} {metal}"),
        source=f"{rule}; {found.source}",
        kind=weakest(kind, found.kind),
        assumptions=("continuous duty, one motor", SUPPLY_NOTE),
        warnings=("check the voltage drop: a long run may take a larger size",),
        words={"section": found.size},
    )


@calculator(
    "earth-conductor",
    "Smallest protective earth conductor of a circuit",
    SIZE,
    Input(
        "device",
        "ampere",
        "american: rating of the short-circuit device ahead of the circuit",
        low=0,
        high=400,
        default="0 A",
    ),
    Input(
        "needed",
        "",
        "american: size that the current alone took, if the conductors were enlarged",
        default="same",
    ),
    CODE_BY_SIZE,
    METAL,
)
def earth_conductor(
    section: str, device: Quantity, needed: str, code_set: str, metal: str
) -> Result:
    """Smallest equipment earthing conductor, of the same metal as the lines.

    Parameters
    ----------
    section : str
        Size of the line conductors, as installed.
    device : Quantity
        Rating of the overcurrent device, american only. [A]
    needed : str
        Line size before it was enlarged, "same" if it wasn't; american only.
    code_set, metal : str
        American practice goes by the device, metric practice by the line conductor.

    Returns
    -------
    Result
        `area` [mm2]; `at_least` the same. The word `section` is the size.

    Raises
    ------
    RangeError
        If the device is missing or above 400 A, or a size is in no table.

    References
    ----------
    .. [1] NEC 250.122 and its table (read; aluminium and the ratio of (B) from memory).
    .. [2] IEC 60364-5-54, table 54.2 in the 2011 edition (read on two pages that give it).
    """
    if code_of(section, code_set) == "metric":
        return _metric_earth(section, metal)
    made = [s for s in CIRCULAR_MILS if metal == "copper" or s != "14"]
    line = listed(section, "AWG", made, metal)
    if not device.value:
        raise RangeError("device", "missing", "above 0 and up to 400 A, the device's rating")
    by_device = next(sizes for up_to, sizes in EARTH if device.value <= up_to)[metal != "copper"]
    lines = [f"device of {shown(device)}: {by_device} AWG {metal} (table 250.122)"]
    size, kind = by_device, "published" if metal == "copper" else "from-memory"
    if needed != "same":
        before = listed(needed, "AWG", made, metal)
        was, now = CIRCULAR_MILS[before], CIRCULAR_MILS[line]
        if now < was:
            raise RangeError("needed", needed, f"{section} or smaller")
        wanted = CIRCULAR_MILS[by_device] * now  # over `was`: kept whole, so that nothing rounds
        size = next((s for s in made if CIRCULAR_MILS[s] * was >= wanted), line)
        kind = weakest(kind, "from-memory")
        ratio = shown(Decimal(now) / was)
        lines.append(f"enlarged {before} to {line} AWG, {ratio} times: {size} AWG (250.122(B))")
    if CIRCULAR_MILS[size] > CIRCULAR_MILS[line]:
        size = line
        lines.append(f"it needn't exceed the lines: {size} AWG (250.122(A))")
    area = Quantity(conductor(f"{size} AWG").area_mm2, "square-millimetre")
    return Result(
        values={"area": area},
        working=(*lines, f"earth conductor: {size} AWG {metal}"),
        source="NEC 250.122",
        kind=kind,
        at_least=area,
        assumptions=("one set of conductors, earth conductor of the same metal",),
        words={"section": f"{size} AWG"},
    )


def _metric_earth(section: str, metal: str) -> Result:
    line = Decimal(listed(section, "mm2", IEC_SECTIONS, metal))
    if line <= 16:
        least, rule = line, "up to 16 mm2: as large as the line"
    elif line <= 35:
        least, rule = Decimal(16), "above 16 to 35 mm2: 16 mm2"
    else:
        least, rule = line / 2, "above 35 mm2: half the line"
    size = next(each for each in IEC_SECTIONS if Decimal(each) >= least)
    area = Quantity(Decimal(size), "square-millimetre")
    return Result(
        values={"area": area},
        working=(rule, f"line {shown(line)} mm2: earth conductor {size} mm2"),
        source="IEC 60364-5-54, table 54.2",
        kind="published",
        at_least=area,
        assumptions=(f"earth conductor of {metal} like the lines, in the same cable or conduit",),
        warnings=("laid apart: at least 2.5 mm2 protected, 4 mm2 unprotected",),
        words={"section": f"{size} mm2"},
    )
