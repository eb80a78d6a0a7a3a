"""Proving dead: what counts as dead, and how long stored energy stays.

Time is never proof. The wait says when measuring makes sense; the measured value decides.
"""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.quantity import Quantity

PAIR_LIMIT_V = Decimal("5")
# "Below 50 V" with a meter that shows tenths; limits include their own value, so 50.0 fails.
BUS_LIMIT_V = Decimal("49.9")


@calculator(
    "dead-test",
    "Highest reading that counts as dead",
    Input("place", "", "what is measured", choices=("pair", "dc-bus"), default="pair"),
)
def dead_test(place: str) -> Result:
    """Limit on a reading that shows a circuit to be dead.

    Parameters
    ----------
    place : str
        "pair" for two conductors or a conductor and earth, "dc-bus" for a drive's capacitors.

    Returns
    -------
    Result
        `at_most`. [V]

    References
    ----------
    .. [1] Pair: common practice, well below the 50 V at which US rules ask for de-energising
       (29 CFR 1910.333(a)(1), from memory). From 5 to 50 V look for induced or back-fed voltage.
    .. [2] Bus: below 50 V, as drive labels have it (read on a page that quotes them).
    """
    bus = place == "dc-bus"
    limit = Quantity(BUS_LIMIT_V if bus else PAIR_LIMIT_V, "volt")
    said = "below 50 V direct voltage between plus and minus" if bus else "at most 5 V"
    return Result(
        values={"limit": limit},
        working=(f"{'direct-current bus' if bus else 'each pair'}: {said}",),
        source="drive labels, below 50 V" if bus else "common practice, 5 V",
        kind="published" if bus else "common-practice",
        at_most=limit,
        assumptions=("a contact tester, proved on a known source before and after",),
    )


@calculator(
    "dc-bus-voltage",
    "Direct voltage behind a drive's rectifier",
    Input("line", "volt", "supply voltage that feeds the drive", low=12, high=1000),
)
def dc_bus_voltage(line: Quantity) -> Result:
    """Peak of the supply, which a drive's capacitors hold when nothing is drawn.

    Parameters
    ----------
    line : Quantity
        Line to line for a three-phase drive, else between its two supply conductors. [V]

    Returns
    -------
    Result
        `bus` at no load, and `braking`, about 1.25 times as much after a braking stop. [V]

    References
    ----------
    .. [1] Peak of a sine: sqrt(2) times its RMS value; the 1.25 is common practice.
    """
    bus = Quantity(line.value * Decimal(2).sqrt(), "volt")
    braking = Quantity(bus.value * Decimal("1.25"), "volt")
    return Result(
        values={"bus": bus, "braking": braking},
        working=(
            f"bus = sqrt(2) x {shown(line)} = {shown(bus)}",
            f"after a braking stop about 1.25 x {shown(bus)} = {shown(braking)}",
        ),
        source="peak of a sine wave",
        kind="derived",
        assumptions=("a plain rectifier without a boost stage",),
    )


@calculator(
    "dc-bus-wait",
    "Time until a drive's capacitors have run down",
    Input("bus", "volt", "voltage at the moment of switching off", low=0, high=1500),
    Input("capacitance", "microfarad", "capacitance of the bus", low=0, high=1_000_000),
    Input("resistance", "kilohm", "bleed resistance across the bus", low=0.001, high=10_000),
    Input("target", "volt", "voltage to wait for", low=1, high=120, default="50 V"),
)
def dc_bus_wait(
    bus: Quantity, capacitance: Quantity, resistance: Quantity, target: Quantity
) -> Result:
    """Discharge time of a capacitor through its bleed resistor.

    Parameters
    ----------
    bus, target : Quantity
        Voltage at the start and at the end. [V]
    capacitance : Quantity
        Total capacitance of the bus. [uF]
    resistance : Quantity
        Total bleed resistance. [kohm]

    Returns
    -------
    Result
        `wait` [s]: zero if the bus is at or below `target` already. `time-constant` [s].

    References
    ----------
    .. [1] V(t) = V0 exp(-t / RC), solved for t.
    """
    constant = resistance.value * capacitance.value / 1000  # kohm x uF = ms
    if bus.value <= target.value:
        wait = Decimal(0)
        line = f"the bus is at {shown(bus)}, not above {shown(target)}: no wait"
    else:
        wait = constant * (bus.value / target.value).ln()
        ratio = f"{shown(bus)} / {shown(target)}"
        line = f"wait = {shown(constant)} s x ln({ratio}) = {shown(wait)} s"
    joules = capacitance.value / 1_000_000 * bus.value**2 / 2
    charge = capacitance.value * bus.value
    return Result(
        values={
            "wait": Quantity(wait, "second"),
            "time-constant": Quantity(constant, "second"),
        },
        working=(
            f"time constant = {shown(resistance)} x {shown(capacitance)} = {shown(constant)} s",
            line,
            f"stored at the start: {shown(joules)} J, {shown(charge)} microcoulombs",
        ),
        source="discharge of a capacitor through a resistor",
        kind="derived",
        assumptions=("the bleed resistor is sound; if it is open the charge stays",),
        warnings=("the waiting time on the drive's label wins; time is no proof: measure",),
    )
