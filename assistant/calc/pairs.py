"""What a field pair and a battery must measure before anything is powered."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.circuit import weakest
from assistant.calc.conductors import PER_DEGREE, SIZE, STRANDS, conductor
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

# Common practice, no source: a tenth for real lengths, and what contacts and test tips add.
SPARE_PART = Decimal("0.1")
CONTACTS_OHM = Decimal("0.5")
# Common practice, no source: a fresh battery stands near its label; far above is another type.
FRESH_PART, HIGH_PART = Decimal("0.95"), Decimal("1.15")


@calculator(
    "pair-resistance",
    "Resistance of a control pair that is joined at its far end",
    Input("length", "metre", "one way", low=0, high=2000),
    SIZE,
    STRANDS,
    Input("temperature", "celsius", "of the conductor", low=-40, high=90, default="20 degC"),
)
def pair_resistance(length: Quantity, section: str, strands: str, temperature: Quantity) -> Result:
    """Out and back through two cores of one size: what is expected, and the most that is sound.

    Parameters
    ----------
    length : Quantity
        One way. [m]
    section, strands : str
        See `conductors.conductor`.
    temperature : Quantity
        Of the conductor. [degC]

    Returns
    -------
    Result
        `expected` [ohm]; `at_most` adds a tenth for the real length and half an ohm for contacts.

    References
    ----------
    .. [1] Conductor tables: see `conductors`. What is added is common practice.
    """
    size = conductor(section, strands)
    warm = size.ohm_per_km * (1 + PER_DEGREE * (temperature.value - 20))
    expected = 2 * length.value * warm / 1000
    most = Quantity(expected * (1 + SPARE_PART) + CONTACTS_OHM, "ohm")
    return Result(
        values={"expected": Quantity(expected, "ohm")},
        working=(
            f"{size.name} at {shown(temperature)}: {shown(warm)} ohm/km",
            f"expected = 2 x {shown(length)} x {shown(warm)} ohm/km = {shown(expected)} ohm",
            f"a tenth more and {CONTACTS_OHM} ohm for contacts: at most {shown(most)}",
        ),
        source=f"{size.source}; a tenth and half an ohm more are common practice",
        kind=weakest(size.kind, "common-practice"),
        at_most=most,
        assumptions=("both cores of one size, joined at the far end, nothing else in the pair",),
        warnings=(
            "above it look for a loose clamp or a strand; open: a core is broken or crossed",
        ),
    )


@calculator(
    "battery-voltage",
    "Voltage of a fresh battery, and the least that its sheet allows",
    Input("nominal", "volt", "on the battery's label", low=1, high=60),
    Input(
        "least", "volt", "of the device's sheet, 0 if it has none", low=0, high=60, default="0 V"
    ),
)
def battery_voltage(nominal: Quantity, least: Quantity) -> Result:
    """Limits on the voltage of a battery in a device that is being put into service.

    Parameters
    ----------
    nominal : Quantity
        Voltage on the label. [V]
    least : Quantity
        The device's own limit; 0 takes 95 percent of the label. [V]

    Returns
    -------
    Result
        `least` and `most` [V], also as `at_least` and `at_most`.

    Raises
    ------
    RangeError
        If the device asks for more than a fresh battery of that label can have.

    References
    ----------
    .. [1] 95 and 115 percent of the label are common practice; the device's sheet wins.
    """
    most = nominal.value * HIGH_PART
    if least.value > most:
        raise RangeError("least", least.written(), f"{shown(most)} V or less, 115 percent of label")
    low = least.value or nominal.value * FRESH_PART
    own = f"the device's sheet: {shown(least)}"
    habit = f"95 percent of {shown(nominal)} = {shown(low)} V"
    return Result(
        values={"least": Quantity(low, "volt"), "most": Quantity(most, "volt")},
        working=(
            f"at least, by {own if least.value else habit}",
            f"at most 115 percent of {shown(nominal)} = {shown(most)} V, above it is another type",
        ),
        source="the device's sheet" if least.value else "95 to 115 percent of the label",
        kind="common-practice",
        at_least=Quantity(low, "volt"),
        at_most=Quantity(most, "volt"),
        assumptions=("measured with the device on, at the temperature of its place",),
        warnings=("lithium keeps its voltage to the end: its date counts as much as the volts",),
    )
