"""Waiting for a drive's capacitors: from the supply voltage, the label, or both.

Time is never proof; the voltage measured afterwards decides.
"""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.dead import dc_bus_voltage, dc_bus_wait
from assistant.calc.working import shown
from assistant.quantity import Quantity

UNKNOWN_MIN = Decimal(15)  # the long end of what drives' labels say
CHARGE_UC = Decimal(60)

_TARGET = Input("target", "volt", "voltage to wait for", low=1, high=120, default="50 V")


@calculator(
    "drive-wait",
    "Waiting time of a drive, from supply, capacitors and label",
    Input("line", "volt", "supply voltage that feeds the drive", low=12, high=1000),
    Input("label", "minute", "on the drive's label, 0 if none", low=0, high=120, default="0 min"),
    Input("capacitance", "microfarad", "0 if unknown", low=0, high=1_000_000, default="0 uF"),
    Input("resistance", "kilohm", "bleed, 0 if unknown", low=0, high=10_000, default="0 kohm"),
    _TARGET,
)
def drive_wait(
    line: Quantity, label: Quantity, capacitance: Quantity, resistance: Quantity, target: Quantity
) -> Result:
    """Time from the open disconnect to the first measurement: the longest that is known.

    Parameters
    ----------
    line : Quantity
        Line to line for a three-phase drive. [V]
    label : Quantity
        Waiting time on the label. [min]
    capacitance, resistance : Quantity
        Of the bus, if both are known. [uF], [kohm]
    target : Quantity
        Voltage to wait for. [V]

    Returns
    -------
    Result
        `wait` [min], also as `at_least`, and `bus`, the voltage after a braking stop [V].

    References
    ----------
    .. [1] Discharge from 1.25 times the supply's peak, as after a braking stop (common
       practice). Labels say 5 min for small drives to 15 min for large (read on a page): with
       neither label nor values 15 min are taken.
    """
    bus = dc_bus_voltage(line).values["braking"]
    minutes, lines = label.value, [f"bus after a braking stop {shown(bus)}"]
    kind, source = "derived", "label, and discharge of a capacitor through a resistor"
    warnings = ["time is no proof: measure plus to minus", "a bleed resistor can be open"]
    if label.value:
        lines.append(f"label: {shown(label)}")
    else:
        warnings.append("find the drive's label or sheet: it may ask for longer")
    if capacitance.value and resistance.value:
        wait = dc_bus_wait(bus, capacitance, resistance, target)
        computed = wait.values["wait"].to("minute").value
        lines += [*wait.working[:2], f"= {shown(computed)} min"]
        minutes = max(minutes, computed)
    elif not label.value:
        minutes, kind = UNKNOWN_MIN, "common-practice"
        source = "waiting times on drives' labels, 5 to 15 min"
        lines.append("no label, no values: 15 min, the long end of what labels say")
    wait_for = Quantity(minutes, "minute")
    return Result(
        values={"wait": wait_for, "bus": bus},
        working=(*lines, f"wait {shown(wait_for)} from the open disconnect"),
        source=source,
        kind=kind,
        at_least=wait_for,
        assumptions=("every supply of the drive is open, control supply too",),
        warnings=tuple(warnings),
    )


@calculator(
    "bus-voltage-left",
    "Voltage left on a bus after a time",
    Input("bus", "volt", "voltage at the start", low=0, high=1500),
    Input("capacitance", "microfarad", "of the bus", low=0.001, high=1_000_000),
    Input("resistance", "kilohm", "bleed resistance", low=0.001, high=10_000),
    Input("time", "second", "since the disconnect opened", low=0, high=36_000),
)
def bus_voltage_left(
    bus: Quantity, capacitance: Quantity, resistance: Quantity, time: Quantity
) -> Result:
    """What a sound bleed resistor leaves; a reading far above it means that it is open.

    Parameters
    ----------
    bus : Quantity
        Voltage at the start. [V]
    capacitance, resistance : Quantity
        Of the bus. [uF], [kohm]
    time : Quantity
        Since then. [s]

    Returns
    -------
    Result
        `left` [V] and `energy` still stored [J].

    References
    ----------
    .. [1] V(t) = V0 exp(-t / RC), E = C V^2 / 2.
    """
    constant = resistance.value * capacitance.value / 1000
    left = bus.value * (-time.value / constant).exp()
    energy = capacitance.value / 1_000_000 * left**2 / 2
    return Result(
        values={"left": Quantity(left, "volt"), "energy": Quantity(energy, "joule")},
        working=(
            f"time constant = {shown(resistance)} x {shown(capacitance)} = {shown(constant)} s",
            f"left = {shown(bus)} x exp(-{shown(time)} / {shown(constant)} s) = {shown(left)} V",
            f"still stored: {shown(energy)} J",
        ),
        source="discharge of a capacitor through a resistor",
        kind="derived",
        assumptions=("the bleed resistor is sound",),
        warnings=("a sum, no measurement: measure before touching",),
    )


@calculator(
    "residual-charge",
    "Charge on a capacitor, and whether the 60 V rule spares it",
    Input("bus", "volt", "voltage on it", low=1, high=1500),
    Input("capacitance", "microfarad", "of the part", low=0, high=1_000_000),
)
def residual_charge(bus: Quantity, capacitance: Quantity) -> Result:
    """Stored charge against the 60 microcoulombs up to which a part needs no discharge.

    Parameters
    ----------
    bus : Quantity
        Voltage on the capacitor. [V]
    capacitance : Quantity
        Of the part. [uF]

    Returns
    -------
    Result
        `largest` capacitance that is spared at this voltage [uF], also as `at_most`, and
        `energy` [J].

    References
    ----------
    .. [1] IEC 60204-1, 6.2.4, and NFPA 79, 6.5.1: 60 V or less within 5 s of switching off, or a
       sign with the waiting time; parts with 60 uC or less are spared (read on pages that
       quote them).
    """
    charge = bus.value * capacitance.value
    largest = Quantity(CHARGE_UC / bus.value, "microfarad")
    energy = capacitance.value / 1_000_000 * bus.value**2 / 2
    over = charge > CHARGE_UC
    sign = "not spared: at most 60 V within 5 s, or a lasting sign with the waiting time"
    return Result(
        values={"largest": largest, "energy": Quantity(energy, "joule")},
        working=(
            f"charge = {shown(bus)} x {shown(capacitance)} = {shown(charge)} microcoulombs",
            f"spared up to 60 microcoulombs: {shown(largest)} at {shown(bus)}",
        ),
        source="IEC 60204-1, 6.2.4; NFPA 79, 6.5.1",
        kind="published",
        at_most=largest,
        warnings=(sign,) if over else (),
    )
