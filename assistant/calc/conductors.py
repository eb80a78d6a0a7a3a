"""Conductor sizes: area and resistance, metric by table, American by number.

A size is a word ("12 AWG", "2.5 mm2"), not a quantity: gauge numbers are no measure, and only
sizes that are made have a resistance in the tables. Nothing is interpolated.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

# IEC 60228, highest resistance at 20 degC of plain copper, from memory. [mm2] -> [ohm/km]
IEC_RIGID = {
    "0.5": "36.0", "0.75": "24.5", "1": "18.1", "1.5": "12.1", "2.5": "7.41", "4": "4.61",
    "6": "3.08", "10": "1.83", "16": "1.15", "25": "0.727", "35": "0.524",
    "50": "0.387", "70": "0.268",
}  # fmt: skip
IEC_FLEXIBLE = {
    "0.5": "39.0", "0.75": "26.0", "1": "19.5", "1.5": "13.3", "2.5": "7.98", "4": "4.95",
    "6": "3.30", "10": "1.91",
}  # fmt: skip
# NEC chapter 9 table 8, stranded uncoated copper, direct current at 75 degC. [ohm/kft]
# 18 to 12 and 6 to 1/0 read on a page that quotes it; 10 and 8 from memory.
NEC_STRANDED = {
    "18": "7.95", "16": "4.99", "14": "3.14", "12": "1.98", "10": "1.24", "8": "0.778",
    "6": "0.491", "4": "0.308", "3": "0.245", "2": "0.194", "1": "0.154", "1/0": "0.122",
}  # fmt: skip
KM_PER_KFT = Decimal("0.3048")
NEC_PER_DEGREE = Decimal("0.00323")  # copper, referred to 75 degC
PER_DEGREE = Decimal("0.00393")  # copper, referred to 20 degC
# Resistivity of aluminium over copper: 28.264 / 17.241 nanohm metre (IEC 60889, IEC 60028).
ALUMINIUM_FACTOR = Decimal("28.264") / Decimal("17.241")

SIZE = Input("section", "", "conductor size, such as 12 AWG or 2.5 mm2")
STRANDS = Input(
    "strands", "", "how the conductor is built", choices=("rigid", "flexible"), default="rigid"
)
METAL = Input("metal", "", "what it is made of", choices=("copper", "aluminium"), default="copper")


@dataclass(frozen=True)
class Conductor:
    """One conductor size. area in [mm2], resistance of copper at 20 degC in [ohm/km]."""

    name: str
    area_mm2: Decimal
    ohm_per_km: Decimal
    source: str
    kind: str


def gauge_area_mm2(gauge: str) -> Decimal:
    """Area of a solid wire of gauge n, 0.127 mm x 92 ** ((36 - n) / 39) across. [mm2]"""
    number = 1 - Decimal(gauge.partition("/")[0]) if "/" in gauge else Decimal(gauge)
    diameter = Decimal("0.127") * Decimal(92) ** ((36 - number) / 39)
    return Decimal("3.14159265358979") * diameter**2 / 4


def conductor(section: str, strands: str = "rigid", metal: str = "copper") -> Conductor:
    """The conductor of a size.

    Parameters
    ----------
    section : str
        "12 AWG" or "2.5 mm2".
    strands : str
        "rigid" (IEC 60228 class 1 or 2) or "flexible" (class 5); metric sizes only.
    metal : str
        "copper" or "aluminium".

    Returns
    -------
    Conductor

    Raises
    ------
    RangeError
        If the size is in no table; lists those that are.
    """
    number, _, family = section.strip().partition(" ")
    if family.upper() == "AWG" and number in NEC_STRANDED:
        hot = Decimal(NEC_STRANDED[number]) / KM_PER_KFT
        cold = hot * (1 + NEC_PER_DEGREE * (20 - 75))
        kind = "from-memory" if number in ("10", "8") else "published"
        source = "NEC chapter 9, table 8, brought from 75 to 20 degC"
        found = Conductor(f"{number} AWG", gauge_area_mm2(number), cold, source, kind)
    else:
        table = IEC_FLEXIBLE if strands == "flexible" else IEC_RIGID
        short = number.rstrip("0").rstrip(".") if "." in number else number
        if family not in ("mm2", "mm²") or short not in table:
            sizes = f"{', '.join(NEC_STRANDED)} AWG or {', '.join(table)} mm2"
            raise RangeError("section", section, f"one of {sizes}")
        source = f"IEC 60228, class {'5' if strands == 'flexible' else '1 and 2'}"
        found = Conductor(
            f"{short} mm2", Decimal(short), Decimal(table[short]), source, "from-memory"
        )
    if metal == "aluminium":
        return Conductor(
            found.name,
            found.area_mm2,
            found.ohm_per_km * ALUMINIUM_FACTOR,
            f"{found.source}; aluminium by resistivity",
            "from-memory",
        )
    return found


def metric_for(area_mm2: Decimal) -> str:
    """The metric size with the nearest area not below it, or the largest listed."""
    return next((s for s in IEC_RIGID if Decimal(s) >= area_mm2), [*IEC_RIGID][-1])


@calculator("conductor-size", "Area and resistance of a conductor size", SIZE, STRANDS, METAL)
def conductor_size(section: str, strands: str, metal: str) -> Result:
    """Area of a conductor and its resistance for one kilometre at 20 degC.

    Parameters
    ----------
    section, strands, metal : str
        See `conductor`.

    Returns
    -------
    Result
        `area` [mm2], `per-kilometre` [ohm] at 20 degC, and `metric`, the metric size that is
        not smaller [mm2].

    References
    ----------
    .. [1] IEC 60228 (from memory); NEC chapter 9, table 8 (read on a page that quotes it).
    .. [2] ASTM B258, diameter of American gauges (from memory).
    """
    found = conductor(section, strands, metal)
    metric = metric_for(found.area_mm2)
    return Result(
        values={
            "area": Quantity(found.area_mm2, "square-millimetre"),
            "per-kilometre": Quantity(found.ohm_per_km, "ohm"),
            "metric": Quantity(Decimal(metric), "square-millimetre"),
        },
        working=(
            f"{found.name}: {shown(found.area_mm2)} mm2, "
            f"{shown(found.ohm_per_km)} ohm for a kilometre at 20 degC",
            f"metric size that is not smaller: {metric} mm2",
        ),
        source=found.source,
        kind=found.kind,
        warnings=("terminals are approved for one family of sizes: look at their mark",),
    )
