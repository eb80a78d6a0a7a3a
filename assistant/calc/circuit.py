"""What sums about one circuit share: phases, the rules of the site, and how sure a result is."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from assistant.calc.base import Input
from assistant.errors import RangeError
from assistant.quantity import Quantity

PHASES = Input(
    "phases",
    "",
    "how many phases feed it",
    choices=("three-phase", "single-phase"),
    default="three-phase",
)
CODE_BY_SIZE = Input(
    "code-set",
    "",
    "which rules hold; by-size takes american for AWG and metric for mm2",
    choices=("by-size", "american", "metric"),
    default="by-size",
)
ROOT_3 = Decimal(3).sqrt()

# Between one line and neutral of 208Y/120, 480Y/277 and 600Y/347 V supplies.
_LINE_TO_NEUTRAL_V = ((Decimal(100), Decimal(130)), (Decimal(265), Decimal(277)),
                      (Decimal(347), Decimal(347)))  # fmt: skip
_SURENESS = ("derived", "published", "common-practice", "from-memory")


def line_voltage(name: str, volts: Quantity, phases: str) -> Decimal:
    """The voltage as a number. [V]

    Raises
    ------
    RangeError
        If `phases` is "three-phase" and the voltage is one between a line and neutral.
    """
    if phases == "three-phase":
        for low, high in _LINE_TO_NEUTRAL_V:
            if low <= volts.value <= high:
                raise RangeError(
                    name,
                    f"{volts.written()}, a single-phase voltage",
                    "measured between two lines of a three-phase supply, such as 208 V, 230 V, "
                    "400 V or 480 V; or say phases=single-phase",
                )
    return volts.value


def code_of(section: str, code_set: str) -> str:
    """ "american" or "metric": as the site says, or by the family of the conductor's size.

    Raises
    ------
    RangeError
        If a size of the other family is given.
    """
    by_size = "american" if section.upper().endswith("AWG") else "metric"
    if code_set not in ("by-size", by_size):
        family = "an AWG size, such as 12 AWG" if code_set == "american" else "in mm2, as 2.5 mm2"
        raise RangeError("section", section, f"{family}, where code-set is {code_set}")
    return by_size


def weakest(*kinds: str) -> str:
    """How sure a result is that rests on values of these kinds."""
    return max(kinds, key=_SURENESS.index)


def listed(section: str, family: str, sizes: Iterable[str], metal: str = "copper") -> str:
    """The size as it stands in a table: "12 awg" -> "12", "2.50 mm2" -> "2.5".

    family: "AWG" or "mm2". sizes: those that the table has for the metal.

    Raises
    ------
    RangeError
        If the table lacks it; lists the sizes there are.
    """
    known = tuple(sizes)
    number, _, unit = section.strip().partition(" ")
    if "." in number:
        number = number.rstrip("0").rstrip(".")
    if number not in known or unit.lower().replace("²", "2") != family.lower():
        valid = f"one of {', '.join(known)} {family} for {metal}"
        raise RangeError("section", section or "empty", valid)
    return number
