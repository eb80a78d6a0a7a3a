"""How full a conduit is, by the areas of the conductors in it."""

from __future__ import annotations

import re
from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.circuit import listed, weakest
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

# NEC chapter 9 table 4, internal area by trade size. [in2]
# Read for EMT, flexible and liquid-tight metal or plastic; rigid metal and PVC from memory.
CONDUITS = {
    "emt": {"1/2": "0.304", "3/4": "0.533", "1": "0.864", "1-1/4": "1.496", "1-1/2": "2.036",
            "2": "3.356"},
    "rigid": {"1/2": "0.314", "3/4": "0.549", "1": "0.887", "1-1/4": "1.526", "1-1/2": "2.071",
              "2": "3.408"},
    "pvc-40": {"1/2": "0.285", "3/4": "0.508", "1": "0.832", "1-1/4": "1.453", "1-1/2": "1.986",
               "2": "3.291"},
    "pvc-80": {"1/2": "0.217", "3/4": "0.409", "1": "0.688", "1-1/4": "1.237", "1-1/2": "1.711",
               "2": "2.874"},
    "liquid-tight": {"3/8": "0.192", "1/2": "0.314", "3/4": "0.541", "1": "0.872",
                     "1-1/4": "1.528", "1-1/2": "1.979", "2": "3.245"},
    "flexible": {"1/2": "0.317", "3/4": "0.533", "1": "0.817"},
}  # fmt: skip
CONDUITS_FROM_MEMORY = ("rigid", "pvc-40", "pvc-80")
# Metric designators of the trade sizes (NEC table 300.1(C), from memory).
DESIGNATORS = {"12": "3/8", "16": "1/2", "21": "3/4", "27": "1", "35": "1-1/4", "41": "1-1/2",
               "53": "2"}  # fmt: skip
# NEC chapter 9 table 5: THHN and THWN-2, for 18 and 16 AWG TFFN; the latter, 3 and 1 from memory.
NEC_CONDUCTORS = {
    "18": "0.0055", "16": "0.0072", "14": "0.0097", "12": "0.0133", "10": "0.0211", "8": "0.0366",
    "6": "0.0507", "4": "0.0824", "3": "0.0973", "2": "0.1158", "1": "0.1562", "1/0": "0.1855",
}  # fmt: skip
GAUGES_FROM_MEMORY = ("18", "16", "3", "1")
# EN 50525-2-31, H07V-K, largest outside diameter, from memory. [mm]
IEC_DIAMETERS = {"1.5": "3.4", "2.5": "4.1", "4": "4.8", "6": "5.3", "10": "6.8", "16": "8.1"}

MM2_PER_IN2 = Decimal("645.16")
PI = Decimal("3.14159265358979")
# NEC chapter 9 table 1 and its note on nipples, read. [percent]
LIMITS = {1: 53, 2: 31}
LIMIT_MANY, LIMIT_NIPPLE = 40, 60
# For conductors all of one size a count whose decimals are 0.8 or more is rounded up (note 7).
ROUND_UP_FROM = Decimal("0.8")
_PART = re.compile(r"(\d+)\s*x\s*(.+)")


def circle_mm2(diameter: Decimal) -> Decimal:
    """Area of a circle. [mm] -> [mm2]"""
    return PI * diameter**2 / 4


def inside(kind: str, size: str) -> tuple[Decimal, str, str]:
    """(inside area [mm2], its name, how sure) of a conduit; size as in `conduit_fill`."""
    text = size.strip()
    if text.endswith("mm"):
        try:
            diameter = Decimal(text.removesuffix("mm").strip())
        except ArithmeticError:
            diameter = Decimal(0)
        if not 5 <= diameter <= 200:
            raise RangeError("size", size, "an inside diameter from 5 to 200 mm, such as 16.4 mm")
        return circle_mm2(diameter), f"inside {shown(diameter)} mm across", "derived"
    trade = text.removesuffix("in").strip()
    sizes = CONDUITS[kind]
    memory = kind in CONDUITS_FROM_MEMORY or trade in DESIGNATORS
    trade = DESIGNATORS.get(trade, trade)
    if trade not in sizes:
        metric = [m for m, t in DESIGNATORS.items() if t in sizes]
        valid = (
            f"one of {', '.join(sizes)} in, metric {', '.join(metric)} for {kind}, or an inside "
            "diameter such as 16.4 mm"
        )
        raise RangeError("size", size, valid)
    area = Decimal(sizes[trade]) * MM2_PER_IN2
    return area, f"{kind} {trade} in, {sizes[trade]} in2", "from-memory" if memory else "published"


def contents(conductors: str) -> tuple[tuple[int, str, Decimal, str], ...]:
    """(how many, size, area of one [mm2], how sure) of "3 x 12 AWG + 1 x 10 AWG".

    Raises
    ------
    RangeError
        If a part isn't a number and a size of the tables.
    """
    if conductors.strip() == "none":
        return ()
    found = []
    for part in conductors.split("+"):
        match = _PART.fullmatch(part.strip())
        if not match or not 1 <= int(match[1]) <= 100:
            valid = "numbers and sizes such as 3 x 12 AWG + 1 x 10 AWG, from 1 to 100 of a size"
            raise RangeError("conductors", part.strip() or "empty", valid)
        count, section = int(match[1]), match[2]
        if section.upper().endswith("AWG"):
            size = listed(section, "AWG", NEC_CONDUCTORS)
            area = Decimal(NEC_CONDUCTORS[size]) * MM2_PER_IN2
            kind = "from-memory" if size in GAUGES_FROM_MEMORY else "published"
            found.append((count, f"{size} AWG", area, kind))
        else:
            size = listed(section, "mm2", IEC_DIAMETERS)
            area = circle_mm2(Decimal(IEC_DIAMETERS[size]))
            found.append((count, f"{size} mm2", area, "from-memory"))
    return tuple(found)


def limit_percent(count: int, nipple: bool) -> int:
    """Largest fill for a number of conductors and cables. [percent]"""
    return LIMIT_NIPPLE if nipple else LIMITS.get(count, LIMIT_MANY)


def most_alike(area: Decimal, each: Decimal, nipple: bool) -> int:
    """How many conductors of one size a conduit may hold; both areas in [mm2]."""
    many = _rounded(area * limit_percent(3, nipple) / 100 / each)
    if many > 2:
        return many
    for count in (2, 1):
        if _rounded(area * limit_percent(count, nipple) / 100 / each) >= count:
            return count
    return 0


def _rounded(number: Decimal) -> int:
    whole = int(number)
    return whole + (number - whole >= ROUND_UP_FROM)


@calculator(
    "conduit-fill",
    "How full a conduit is",
    Input("conduit", "", "kind of conduit", choices=tuple(CONDUITS), default="emt"),
    Input("size", "", "trade size such as 3/4 or 21 (metric), or the inside diameter as 16.4 mm"),
    Input(
        "conductors",
        "",
        "single conductors, earth counted, such as 3 x 12 AWG + 1 x 10 AWG, or none",
        default="none",
    ),
    Input(
        "cables",
        "millimetre",
        "outside diameters of cables with several cores",
        low=0,
        high=150,
        many=True,
        default="0 mm",
    ),
    Input(
        "run",
        "",
        "a nipple is 24 in (600 mm) or less",
        choices=("conduit", "nipple"),
        default="conduit",
    ),
)
def conduit_fill(
    conduit: str, size: str, conductors: str, cables: tuple[Quantity, ...], run: str
) -> Result:
    """Share of a conduit's inside that its conductors take, against the limit for their number.

    Parameters
    ----------
    conduit : str
        Kind of conduit; counts only with a trade size.
    size : str
        Trade size, its metric designator, or an inside diameter in mm.
    conductors : str
        Single conductors (THHN or THWN-2; metric H07V-K); the earth conductor counts.
    cables : tuple of Quantity
        Outside diameters; each counts as one conductor. [mm]
    run : str
        "conduit" or "nipple".

    Returns
    -------
    Result
        `fill` and `limit` [percent], `used` and `inside` [mm2] and, for conductors all alike,
        `most` of them; `at_most` the limit. The words are `verdict` and, for a trade size,
        `smallest`, the first size of that conduit that holds them.

    Raises
    ------
    RangeError
        If a size is in no table, or nothing is in the conduit.

    References
    ----------
    .. [1] NEC chapter 9, tables 1, 4 and 5 and their notes (read; some cells from memory).
    .. [2] EN 50525-2-31, diameters of H07V-K (from memory). Metric practice has no one limit: the
       same percentages are taken.
    """
    area, name, sure = inside(conduit, size)
    single = contents(conductors)
    round_ones = [each.value for each in cables if each.value]
    count = sum(number for number, *_ in single) + len(round_ones)
    if not count:
        raise RangeError("conductors", "none and no cables", "at least one conductor or cable")
    used = sum((number * each for number, _, each, _ in single), Decimal(0))
    used += sum((circle_mm2(each) for each in round_ones), Decimal(0))
    nipple = run == "nipple"
    limit = limit_percent(count, nipple)
    alike = single[0][2] if len({s for _, s, _, _ in single}) == 1 and not round_ones else None

    def holds(space: Decimal) -> bool:
        if alike:
            return count <= most_alike(space, alike, nipple)
        return used <= space * limit / 100

    fill = Quantity(100 * used / area, "percent")
    verdict = "fits" if holds(area) else "too full"
    values = {
        "fill": fill,
        "limit": Quantity(Decimal(limit), "percent"),
        "used": Quantity(used, "square-millimetre"),
        "inside": Quantity(area, "square-millimetre"),
    }
    lines = [
        f"{number} x {each_name}: {shown(number * each)} mm2"
        for number, each_name, each, _ in single
    ]
    lines += [f"cable of {shown(each)} mm: {shown(circle_mm2(each))} mm2" for each in round_ones]
    lines.append(
        f"{shown(used)} of {shown(area)} mm2 ({name}) = {shown(fill)}, limit {limit} % for "
        f"{'a nipple' if nipple else f'{count} in it'}: {verdict}"
    )
    if alike:
        most = most_alike(area, alike, nipple)
        values["most"] = Quantity(Decimal(most), "one")
        lines.append(f"most of this size: {most} (from 0.8 rounded up, all alike)")
    words = {"verdict": verdict}
    if not name.startswith("inside"):
        sizes = CONDUITS[conduit]
        fits = (s for s, a in sizes.items() if holds(Decimal(a) * MM2_PER_IN2))
        words["smallest"] = next(fits, f"larger than {[*sizes][-1]}")
        lines.append(f"smallest {conduit} for these: {words['smallest']} in")
    return Result(
        values=values,
        working=tuple(lines),
        source="NEC chapter 9, tables 1, 4 and 5",
        kind=weakest(sure, "published", *(kind for *_, kind in single)),
        at_most=values["limit"],
        assumptions=(
            "THHN or THWN-2, 18 and 16 AWG TFFN; metric H07V-K at its largest diameter",
            "at most 360 degrees of bends between pull points",
        ),
        warnings=("a conduit of power and one of signals: never both kinds in one",),
        words=words,
    )
