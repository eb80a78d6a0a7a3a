"""How much current a conductor may carry: size, insulation, terminals, warmth, neighbours."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.circuit import CODE_BY_SIZE, PHASES, code_of, listed
from assistant.calc.conductors import METAL, SIZE
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

# NEC table 310.16 at 30 degC, up to three loaded conductors: 60, 75 and 90 degC columns. [A]
# Copper read on a page that quotes the 2023 edition.
NEC_COPPER = {
    "18": ("", "", "14"), "16": ("", "", "18"), "14": ("15", "20", "25"), "12": ("20", "25", "30"),
    "10": ("30", "35", "40"), "8": ("40", "50", "55"), "6": ("55", "65", "75"),
    "4": ("70", "85", "95"), "3": ("85", "100", "115"), "2": ("95", "115", "130"),
    "1": ("110", "130", "145"), "1/0": ("125", "150", "170"),
}  # fmt: skip
# From memory.
NEC_ALUMINIUM = {
    "12": ("15", "20", "25"), "10": ("25", "30", "35"), "8": ("35", "40", "45"),
    "6": ("40", "50", "55"), "4": ("55", "65", "75"), "3": ("65", "75", "85"),
    "2": ("75", "90", "100"), "1": ("85", "100", "115"), "1/0": ("100", "120", "135"),
}  # fmt: skip
# Copper cells that editions before 2014 have otherwise: (gauge, column) -> [A]. Read.
NEC_BEFORE_2014 = {("14", "60"): 20, ("12", "60"): 25, ("3", "90"): 110, ("1", "90"): 150}
NEC_COLUMNS = ("60", "75", "90")
# NEC table 310.15(B)(1)(1): up to this ambient [degC], factor by column. Read.
NEC_AMBIENT = (
    (10, ("1.29", "1.20", "1.15")), (15, ("1.22", "1.15", "1.12")), (20, ("1.15", "1.11", "1.08")),
    (25, ("1.08", "1.05", "1.04")), (30, ("1.00", "1.00", "1.00")), (35, ("0.91", "0.94", "0.96")),
    (40, ("0.82", "0.88", "0.91")), (45, ("0.71", "0.82", "0.87")), (50, ("0.58", "0.75", "0.82")),
    (55, ("0.41", "0.67", "0.76")), (60, ("", "0.58", "0.71")),
)  # fmt: skip
# NEC table 310.15(C)(1): up to so many loaded conductors, percent. Read.
NEC_BUNDLE = ((3, 100), (6, 80), (9, 70), (20, 50), (30, 45), (40, 40), (400, 35))

# IEC 60364-5-52, tables B.52.2 to B.52.5 and B.52.10 to B.52.13: copper at 30 degC, from memory;
# B2 with three loaded conductors in PVC was also read in a handbook, 4 to 16 mm2, and agrees. [A]
IEC_SIZES = ("1.5", "2.5", "4", "6", "10", "16")
IEC_COPPER = {
    ("70", 3): {
        "A1": "13.5 18 24 31 42 56", "A2": "13 17.5 23 29 39 52", "B1": "15.5 21 28 36 50 68",
        "B2": "15 20 27 34 46 62", "C": "17.5 24 32 41 57 76", "E": "18.5 25 34 43 60 80",
    },
    ("70", 2): {
        "A1": "14.5 19.5 26 34 46 61", "A2": "14 18.5 25 32 43 57", "B1": "17.5 24 32 41 57 76",
        "B2": "16.5 23 30 38 52 69", "C": "19.5 27 36 46 63 85", "E": "22 30 40 51 70 94",
    },
    ("90", 3): {
        "A1": "17 23 31 40 54 73", "A2": "16.5 22 30 38 51 68", "B1": "20 28 37 48 66 88",
        "B2": "19.5 26 35 44 60 80", "C": "22 30 40 52 71 96", "E": "23 32 42 54 75 100",
    },
    ("90", 2): {
        "A1": "19 26 35 45 61 81", "A2": "18.5 25 33 42 57 76", "B1": "23 31 42 54 75 100",
        "B2": "22 30 40 51 69 91", "C": "24 33 45 58 80 107", "E": "26 36 49 63 86 115",
    },
}  # fmt: skip
# IEC 60364-5-52 table B.52.14, from memory: up to this ambient [degC], factor for 70 and 90 degC.
IEC_AMBIENT = (
    (10, ("1.22", "1.15")), (15, ("1.17", "1.12")), (20, ("1.12", "1.08")), (25, ("1.06", "1.04")),
    (30, ("1.00", "1.00")), (35, ("0.94", "0.96")), (40, ("0.87", "0.91")), (45, ("0.79", "0.87")),
    (50, ("0.71", "0.82")), (55, ("0.61", "0.76")), (60, ("0.50", "0.71")),
)  # fmt: skip
# IEC 60364-5-52 table B.52.17, row 1, from memory: up to so many circuits together, factor.
IEC_BUNDLE = (
    (1, "1.00"), (2, "0.80"), (3, "0.70"), (4, "0.65"), (5, "0.60"), (6, "0.57"), (7, "0.54"),
    (8, "0.52"), (9, "0.50"), (12, "0.45"), (16, "0.41"), (20, "0.38"),
)  # fmt: skip

INSULATION = Input(
    "insulation",
    "",
    "temperature class of the insulation in degC; usual is 90 american (THHN, XHHW-2), 70 metric",
    choices=("usual", "60", "70", "75", "90"),
    default="usual",
)
TERMINALS = Input(
    "terminals",
    "",
    "temperature mark of the terminals in degC, american; 75 only if both ends are marked so",
    choices=("60", "75"),
    default="60",
)
AMBIENT = Input("ambient", "celsius", "around the conductor", low=-40, high=60, default="30 degC")
TOGETHER = Input(
    "conductors",
    "one",
    "current-carrying conductors together in one conduit or bundle",
    low=1,
    high=60,
    default="3",
)
METHOD = Input(
    "method",
    "",
    "metric: A in a lagged wall, B1 cores or B2 cable in conduit, C on a wall, E on a tray",
    choices=("A1", "A2", "B1", "B2", "C", "E"),
    default="B2",
)


@dataclass(frozen=True)
class Laid:
    """How a conductor is laid; texts as in the inputs of `ampacity`.

    ambient in [degC]; together counts the loaded conductors of the bundle.
    """

    insulation: str = "usual"
    terminals: str = "60"
    ambient: Decimal = Decimal(30)
    together: Decimal = Decimal(3)
    phases: str = "three-phase"
    method: str = "B2"


@dataclass(frozen=True)
class Carried:
    """What a size carries as laid. [A] corrected: by warmth and bundling; usable: the limit."""

    size: str
    table: Decimal
    corrected: Decimal
    usable: Decimal
    working: tuple[str, ...]
    source: str
    kind: str


def _row(table: tuple[tuple[int, tuple[str, ...]], ...], ambient: Decimal) -> tuple[str, ...]:
    """The factors of a band of ambient temperature. [degC]"""
    # 113 degF comes out a hair above the 45 degC that it is, and must stay in that band.
    return next(factors for up_to, factors in table if round(ambient, 6) <= up_to)


def nec_ampacity(size: str, metal: str, laid: Laid) -> Carried:
    """Ampacity of an American gauge ("12"): the smaller of corrected wire and terminal column.

    Raises
    ------
    RangeError
        If the gauge, the insulation or the warmth is outside the tables.
    """
    table = NEC_COPPER if metal == "copper" else NEC_ALUMINIUM
    insulation = "90" if laid.insulation == "usual" else laid.insulation
    if insulation not in NEC_COLUMNS:
        raise RangeError("insulation", f"{insulation} degC", "60, 75 or 90 degC on American gauges")
    column = NEC_COLUMNS.index(insulation)
    cell = table[size][column]
    if not cell:
        valid = f"90 for {size} AWG, which has no other column"
        raise RangeError("insulation", f"{insulation} degC", valid)
    factors = _row(NEC_AMBIENT, laid.ambient)
    if not factors[column]:
        valid = f"55 degC or less for insulation of {insulation} degC"
        raise RangeError("ambient", f"{shown(laid.ambient)} degC", valid)
    warm = Decimal(factors[column])
    bundle = next(Decimal(p) / 100 for up_to, p in NEC_BUNDLE if laid.together <= up_to)
    corrected = Decimal(cell) * warm * bundle
    # 18 and 16 AWG have no terminal column: they serve control circuits, not motors.
    terminal = table[size][NEC_COLUMNS.index(laid.terminals)]
    usable = min(corrected, Decimal(terminal)) if terminal else corrected
    lines = [
        f"{size} AWG {metal}, {insulation} degC column: {cell} A",
        f"x {warm} for {shown(laid.ambient)} degC, x {shown(bundle)} for {laid.together} "
        f"conductors = {shown(corrected)} A",
    ]
    if terminal:
        lines.append(f"terminals of {laid.terminals} degC: at most {terminal} A")
    lines.append(f"usable: {shown(usable)} A")
    return Carried(
        f"{size} AWG",
        Decimal(cell),
        corrected,
        usable,
        tuple(lines),
        "NEC 2023, table 310.16, 310.15(B)(1), 310.15(C)(1), 110.14(C)",
        "published" if metal == "copper" else "from-memory",
    )


def iec_ampacity(size: str, metal: str, laid: Laid) -> Carried:
    """Ampacity of a metric size ("2.5") by method of installation.

    Raises
    ------
    RangeError
        If the size, metal, insulation or number of circuits is outside the tables.
    """
    if metal != "copper":
        raise RangeError("metal", metal, "copper for metric sizes up to 16 mm2")
    insulation = "70" if laid.insulation == "usual" else laid.insulation
    if insulation not in ("70", "90"):
        raise RangeError("insulation", f"{insulation} degC", "70 or 90 degC on metric sizes")
    loaded = 3 if laid.phases == "three-phase" else 2
    row = IEC_COPPER[insulation, loaded][laid.method].split()
    cell = Decimal(row[IEC_SIZES.index(size)])
    factors = _row(IEC_AMBIENT, laid.ambient)
    warm = Decimal(factors[("70", "90").index(insulation)])
    circuits = max(-(-int(laid.together) // loaded), 1)
    bundle = next((Decimal(f) for up_to, f in IEC_BUNDLE if circuits <= up_to), None)
    if bundle is None:
        raise RangeError("conductors", laid.together, f"{20 * loaded} or fewer: 20 circuits")
    corrected = cell * warm * bundle
    return Carried(
        f"{size} mm2",
        cell,
        corrected,
        corrected,
        (
            f"{size} mm2 copper, {insulation} degC, method {laid.method}, {loaded} loaded: "
            f"{shown(cell)} A",
            f"x {warm} for {shown(laid.ambient)} degC, x {bundle} for {circuits} "
            f"circuit{'s' * (circuits > 1)} = {shown(corrected)} A",
        ),
        "IEC 60364-5-52, tables B.52.2 to B.52.17",
        "from-memory",
    )


def carried(section: str, code: str, metal: str, laid: Laid) -> Carried:
    """What a size ("12 AWG", "2.5 mm2") carries as laid; RangeError if a table lacks it."""
    if code == "american":
        table = NEC_COPPER if metal == "copper" else NEC_ALUMINIUM
        return nec_ampacity(listed(section, "AWG", table, metal), metal, laid)
    return iec_ampacity(listed(section, "mm2", IEC_SIZES), metal, laid)


@calculator(
    "ampacity",
    "Current that a conductor may carry",
    SIZE,
    CODE_BY_SIZE,
    METAL,
    INSULATION,
    TERMINALS,
    AMBIENT,
    TOGETHER,
    PHASES,
    METHOD,
)
def ampacity(
    section: str,
    code_set: str,
    metal: str,
    insulation: str,
    terminals: str,
    ambient: Quantity,
    conductors: Quantity,
    phases: str,
    method: str,
) -> Result:
    """Continuous current that a conductor may carry as it is laid and connected.

    Parameters
    ----------
    section, metal : str
        See `conductors.conductor`.
    code_set : str
        "american", "metric" or "by-size".
    insulation, terminals : str
        Temperature classes. [degC] Metric practice takes no terminal column.
    ambient : Quantity
        Warmth around the conductor, up to 60. [degC]
    conductors : Quantity
        Current-carrying conductors together; earth conductors don't count. Metric practice makes
        circuits of two or three of them.
    phases : str
        Of the circuit: metric tables differ for two and three loaded conductors.
    method : str
        Method of installation, metric.

    Returns
    -------
    Result
        `usable`, `table` and `corrected` [A]; `at_most` is the usable current.

    Raises
    ------
    RangeError
        If size, insulation, warmth or number are outside the tables.

    References
    ----------
    .. [1] NEC 310.16, 310.15(B)(1), 310.15(C)(1): copper read; aluminium and the order of 110.14(C)
       from memory.
    .. [2] IEC 60364-5-52, annex B (from memory).
    """
    if conductors.value != conductors.value.to_integral_value():
        raise RangeError("conductors", conductors.written(), "a whole number from 1 to 60")
    laid = Laid(insulation, terminals, ambient.value, conductors.value, phases, method)
    found = carried(section, code_of(section, code_set), metal, laid)
    usable = Quantity(found.usable, "ampere")
    american = found.size.endswith("AWG")
    if american:
        counted = "the earth conductor doesn't count; a nipple up to 24 in needs no bundling factor"
    else:
        counted = "circuits equally loaded; the earth conductor doesn't count"
    return Result(
        values={
            "usable": usable,
            "table": Quantity(found.table, "ampere"),
            "corrected": Quantity(found.corrected, "ampere"),
        },
        working=found.working,
        source=found.source,
        kind=found.kind,
        at_most=usable,
        assumptions=(counted,),
        warnings=_american_warnings(found.size, metal) if american else (),
    )


def _american_warnings(size: str, metal: str) -> tuple[str, ...]:
    gauge = size.removesuffix(" AWG")
    warnings = []
    small = {"14": 15, "12": 20, "10": 30}.get(gauge)
    if metal == "copper" and small:
        warnings.append(f"outside motor circuits: device of at most {small} A (240.4(D))")
    if metal == "copper":
        warnings += [
            f"before the 2014 edition its {column} degC column has {amps} A"
            for (each, column), amps in NEC_BEFORE_2014.items()
            if each == gauge
        ]
    return tuple(warnings)


def smallest(least: Decimal, code: str, metal: str, laid: Laid) -> Carried:
    """The smallest power conductor that carries `least` [A] as laid.

    Raises
    ------
    RangeError
        If none of the tables' sizes does.
    """
    if code == "american":
        table = NEC_COPPER if metal == "copper" else NEC_ALUMINIUM
        # Power conductors start at 14 AWG (NEC 310.3, from memory).
        sizes = [f"{each} AWG" for each in table if each not in ("18", "16")]
    else:
        sizes = [f"{each} mm2" for each in IEC_SIZES]
    for each in sizes:
        found = carried(each, code, metal, laid)
        if found.usable >= least:
            return found
    valid = f"{shown(found.usable)} A or less, what {found.size} carries so"
    raise RangeError("the current to carry", f"{shown(least)} A", valid)
