"""Protective earth: the resistance of a sound connection, and the limit on a reading."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.conductors import METAL, PER_DEGREE, SIZE, STRANDS, conductor
from assistant.calc.working import shown
from assistant.quantity import Quantity

FLOOR_OHM = Decimal("0.1")
MARGIN = Decimal("1.2")
JOINT_OHM = Decimal("0.01")


@calculator(
    "earth-continuity",
    "Highest resistance of a protective-earth connection",
    Input("length", "metre", "length of the earth conductor", low=0, high=300),
    SIZE,
    STRANDS,
    METAL,
    Input("temperature", "celsius", "of the conductor", low=-40, high=90, default="20 degC"),
    Input("joints", "one", "clamped joints in the path", low=0, high=20, default="2"),
    Input("leads", "ohm", "test leads, if not nulled", low=0, high=2, default="0 ohm"),
)
def earth_continuity(
    length: Quantity,
    section: str,
    strands: str,
    metal: str,
    temperature: Quantity,
    joints: Quantity,
    leads: Quantity,
) -> Result:
    """Expected resistance from the earth terminal to a bonded part, and the limit on a reading.

    Parameters
    ----------
    length : Quantity
        Length of the earth conductor, one way. [m]
    section, strands, metal : str
        See `conductors.conductor`.
    temperature : Quantity
        Temperature of the conductor. [degC]
    joints : Quantity
        Clamped joints in the path, taken as 0.01 ohm each.
    leads : Quantity
        Resistance of the test leads if it is still in the reading; nulled leads are 0. [ohm]

    Returns
    -------
    Result
        `expected` and `conductor` alone [ohm]; `at_most` is 1.2 times the expected value, at
        least 0.1 ohm, plus the leads.

    References
    ----------
    .. [1] IEC 60204-1, 18.2.2: the value agrees with length, section and material (from memory).
    .. [2] NFPA 79, 19.2 of the 2002 to 2006 editions: at most 0.1 ohm, leads subtracted (read on
       a page that quotes it). The factor 1.2 and the joints are common practice.
    """
    size = conductor(section, strands, metal)
    warm = 1 + PER_DEGREE * (temperature.value - 20)
    wire = size.ohm_per_km * length.value / 1000 * warm
    expected = wire + joints.value * JOINT_OHM
    limit = max(expected * MARGIN, FLOOR_OHM)
    return Result(
        values={"expected": Quantity(expected, "ohm"), "conductor": Quantity(wire, "ohm")},
        working=(
            f"conductor = {shown(size.ohm_per_km)} ohm/km x {shown(length)} x "
            f"(1 + 0.00393 x ({shown(temperature.value)} - 20)) = {shown(wire)} ohm",
            f"expected = {shown(wire)} + {shown(joints)} joints x {JOINT_OHM} = "
            f"{shown(expected)} ohm",
            f"limit = larger of 1.2 x {shown(expected)} and 0.1 = {shown(limit)} ohm"
            + (f", plus leads {shown(leads)}" if leads.value else ""),
        ),
        source=f"{size.source}; limit 1.2 x expected, at least 0.1 ohm, common practice",
        kind="common-practice",
        at_most=Quantity(limit + leads.value, "ohm"),
        assumptions=(
            f"{joints.value} joints of {JOINT_OHM} ohm",
            f"{size.name} {metal}: {size.kind} value",
        ),
    )
