"""Air, heat and money through an open doorway, so that a customer can choose the dwell.

Doorway exchange by Gosney and Olama: cold air flows out below, warm air in above.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

PRESSURE_PA = Decimal(101325)
DRY_AIR = Decimal("287.055")  # gas constant [J/(kg K)]
HEAT = Decimal("1.006")  # of dry air [kJ/(kg K)]
GRAVITY = Decimal("9.80665")
FLOW = Decimal("0.221")
SMALL_K, SMALL_FACTOR = Decimal(11), Decimal(1)

SOURCE = "Gosney and Olama, doorway air exchange"
WIDTH = Input("width", "metre", "clear width of the doorway", low=0.5, high=20)
HEIGHT = Input("height", "metre", "clear height of the doorway", low=0.5, high=20)
INSIDE = Input("inside", "celsius", "air temperature inside", low=-50, high=60)
OUTSIDE = Input("outside", "celsius", "air temperature on the other side", low=-50, high=60)
_IN_RH = Input("inside-humidity", "percent", "0 for dry", low=0, high=100, default="0 %")
_OUT_RH = Input("outside-humidity", "percent", "0 for dry", low=0, high=100, default="0 %")
_PLACE = (WIDTH, HEIGHT, INSIDE, OUTSIDE, _IN_RH, _OUT_RH)
_CYCLES = Input("cycles", "one", "passages an hour", low=0, high=1000)
_OPENING = Input("opening", "second", "opening time", low=0.3, high=300)
_CLOSING = Input("closing", "second", "closing time", low=0.3, high=300)
_FACTOR = Input(
    "flow-factor",
    "one",
    "0.8 for more than 11 K of difference, 1.1 for less",
    low=0.1,
    high=1.5,
    default="0.8",
)
_PROTECTION = Input(
    "protection", "percent", "held back by strips or an air curtain", low=0, high=99, default="0 %"
)
_PRICE = Input("price", "one", "money for one kilowatt hour", low=0, high=100)
_PERFORMANCE = Input(
    "performance", "one", "heat moved for one part of electricity", low=0.5, high=8, default="2"
)
_HOURS = Input("hours", "one", "hours a day with this traffic", low=0, high=24, default="12")
_DAYS = Input("days", "one", "days a year", low=0, high=366, default="250")
_USE = (_FACTOR, _PROTECTION, _PRICE, _PERFORMANCE, _HOURS, _DAYS)


def density(celsius: Decimal) -> Decimal:
    """Of dry air at sea level. [kg/m3]"""
    return PRESSURE_PA / (DRY_AIR * (celsius + Decimal("273.15")))


def moisture(celsius: Decimal, humidity: Decimal) -> Decimal:
    """Water in one kilogram of dry air at a relative humidity in percent. [kg/kg]

    Vapour pressure by Magnus's formula, over ice below zero (WMO coefficients, from memory).
    """
    if celsius < 0:
        a, b = Decimal("22.46"), Decimal("272.62")
    else:
        a, b = Decimal("17.62"), Decimal("243.12")
    vapour = humidity / 100 * Decimal("611.2") * (a * celsius / (b + celsius)).exp()
    return Decimal("0.62198") * vapour / (PRESSURE_PA - vapour)


def enthalpy(celsius: Decimal, humidity: Decimal) -> Decimal:
    """Heat of moist air for one kilogram of dry air, from 0 degC. [kJ/kg]"""
    water = moisture(celsius, humidity)
    return HEAT * celsius + water * (2501 + Decimal("1.86") * celsius)


@dataclass(frozen=True)
class Exchange:
    """Steady flow through the fully open doorway: air [m3/s], heat [kW]."""

    air: Decimal
    heat: Decimal
    working: tuple[str, ...]
    dry: bool


def exchange(
    width: Quantity,
    height: Quantity,
    inside: Quantity,
    outside: Quantity,
    inside_humidity: Quantity,
    outside_humidity: Quantity,
) -> Exchange:
    """Gosney and Olama's flow, and the heat that it carries."""
    sides = sorted(((inside.value, inside_humidity.value), (outside.value, outside_humidity.value)))
    (cold, cold_rh), (warm, warm_rh) = sides
    heavy, light = density(cold), density(warm)
    form = (2 / (1 + (heavy / light) ** (Decimal(1) / 3))) ** Decimal("1.5")
    area = width.value * height.value
    drive = (1 - light / heavy).sqrt() * (GRAVITY * height.value).sqrt()
    air = FLOW * area * drive * form
    rise = enthalpy(warm, warm_rh) - enthalpy(cold, cold_rh)
    heat = air * heavy * abs(rise)
    dry = not cold_rh and not warm_rh
    working = (
        f"density: {shown(heavy)} kg/m3 at {shown(cold)} degC, {shown(light)} at {shown(warm)}",
        f"air = 0.221 x {shown(area)} m2 x sqrt(1 - {shown(light)}/{shown(heavy)}) x "
        f"sqrt(9.807 x {shown(height.value)}) x {shown(form)} = {shown(air)} m3/s",
        f"heat = {shown(air)} x {shown(heavy)} x {shown(rise)} kJ/kg = {shown(heat)} kW",
    )
    return Exchange(air, heat, working, dry)


_DRY: tuple[str, ...] = (
    "dry estimate: moisture can double a freezer's figure; give both humidities",
)


@calculator("doorway-exchange", "Air and heat through an open doorway", *_PLACE)
def doorway_exchange(
    width: Quantity,
    height: Quantity,
    inside: Quantity,
    outside: Quantity,
    inside_humidity: Quantity,
    outside_humidity: Quantity,
) -> Result:
    """Flow through a doorway that stands fully open, from the difference of temperature alone.

    Parameters
    ----------
    width, height : Quantity
        Clear opening. [m]
    inside, outside : Quantity
        Temperatures on both sides; either may be the colder. [degC]
    inside_humidity, outside_humidity : Quantity
        Relative humidity; 0 on both sides gives the dry estimate. [percent]

    Returns
    -------
    Result
        `heat` [kW], `air` [m3/s], `a-second` [kJ] and `an-hour` [kWh] of standing open.

    References
    ----------
    .. [1] Gosney and Olama: V = 0.221 A sqrt(1 - rho_w/rho_c) sqrt(g H) Fm (read in a paper
       that gives it; its inch-pound form is 13.26).
    .. [2] Moist air: Magnus's formula, WMO coefficients (from memory).
    """
    flow = exchange(width, height, inside, outside, inside_humidity, outside_humidity)
    return Result(
        values={
            "heat": Quantity(flow.heat, "kilowatt"),
            "air": Quantity(flow.air, "cubic-metre-per-second"),
            "a-second": Quantity(flow.heat, "kilojoule"),
            "an-hour": Quantity(flow.heat, "kilowatt-hour"),
        },
        working=(
            *flow.working,
            f"each second open: {shown(flow.heat)} kJ; an hour: {shown(flow.heat)} kWh of heat",
        ),
        source=SOURCE,
        kind="published",
        assumptions=("air at sea level, no wind, nothing in the doorway, flow fully developed",),
        warnings=_DRY if flow.dry and flow.heat else (),
    )


def _share(cycles: Quantity, cycle: Decimal) -> Decimal:
    """Part of the time that the doorway counts as open: N t / 3600."""
    if cycles.value * cycle > 3600:
        raise RangeError(
            "cycles", cycles.written(), f"{shown(3600 / cycle)} or fewer of {shown(cycle)} s"
        )
    return cycles.value * cycle / 3600


@calculator(
    "open-door-cost",
    "Energy and money lost through a doorway in use",
    *_PLACE,
    _CYCLES,
    _OPENING,
    Input("dwell", "second", "time fully open", low=0, high=3600),
    _CLOSING,
    *_USE,
)
def open_door_cost(
    width: Quantity,
    height: Quantity,
    inside: Quantity,
    outside: Quantity,
    inside_humidity: Quantity,
    outside_humidity: Quantity,
    cycles: Quantity,
    opening: Quantity,
    dwell: Quantity,
    closing: Quantity,
    flow_factor: Quantity,
    protection: Quantity,
    price: Quantity,
    performance: Quantity,
    hours: Quantity,
    days: Quantity,
) -> Result:
    """What the traffic through a doorway costs, and what an hour of open door costs.

    Parameters
    ----------
    width, height, inside, outside, inside_humidity, outside_humidity
        As for `doorway_exchange`.
    cycles : Quantity
        Passages an hour, each with a cycle of its own.
    opening, dwell, closing : Quantity
        The cycle; the whole of it counts. [s]
    flow_factor : Quantity
        Part of the developed flow that short openings reach.
    protection : Quantity
        Part held back by strips (93) or an air curtain (50 to 80). [percent]
    price : Quantity
        Of one kilowatt hour, in the customer's money.
    performance : Quantity
        Heat moved for one part of electricity, 1 for electric heating.
    hours, days : Quantity
        Hours a day with this traffic, days a year.

    Returns
    -------
    Result
        `average` heat while in use [kW], `energy` bought in a year [kWh]; money: `year`,
        `open-hour` (an hour of open door) and `dwell-second` (one second of dwell, for a year).

    Raises
    ------
    RangeError
        If so many cycles don't fit in an hour.

    References
    ----------
    .. [1] Gosney and Olama; average = q Dt Df (1 - E), Dt = N t / 3600, E by protection (read in
       a paper that gives them). Df 0.8 or 1.1 from memory. Performance 2 is common practice.
    """
    flow = exchange(width, height, inside, outside, inside_humidity, outside_humidity)
    cycle = opening.value + dwell.value + closing.value
    share = _share(cycles, cycle)
    kept = flow_factor.value * (1 - protection.value / 100)
    average = flow.heat * share * kept
    yearly = hours.value * days.value
    rate = price.value / performance.value
    energy = average * yearly / performance.value
    hour = flow.heat * (1 - protection.value / 100) * rate
    warnings = _DRY if flow.dry and flow.heat else ()
    if abs(outside.value - inside.value) <= SMALL_K and flow_factor.value < SMALL_FACTOR:
        warnings += ("at a difference of 11 K or less take a flow factor of 1.1",)
    second = flow.heat * kept * _hours_open_a_second(cycles, hours, days) * rate
    return Result(
        values={
            "average": Quantity(average, "kilowatt"),
            "energy": Quantity(energy, "kilowatt-hour"),
            "year": Quantity(energy * price.value, "one"),
            "open-hour": Quantity(hour, "one"),
            "dwell-second": Quantity(second, "one"),
        },
        working=(
            *flow.working,
            f"open for {shown(cycles)} x {shown(cycle)} s in 3600 s = {shown(100 * share)} %",
            f"average = {shown(flow.heat)} x {shown(share)} x {shown(flow_factor)} x "
            f"(1 - {shown(protection)}) = {shown(average)} kW",
            f"a year = {shown(average)} kW x {shown(yearly)} h / {shown(performance)}"
            f" = {shown(energy)} kWh, {shown(energy * price.value)} in money",
            f"an hour of open door costs {shown(hour)}, a second of dwell {shown(second)} a year",
        ),
        source=f"{SOURCE}; flow factor from memory",
        kind="from-memory",
        assumptions=(
            "no wind, nothing in the doorway; an hour of open door has the whole flow",
            f"one part of electricity moves {shown(performance)} parts of heat",
        ),
        warnings=warnings,
    )


def _hours_open_a_second(cycles: Quantity, hours: Quantity, days: Quantity) -> Decimal:
    """Hours in a year that the door stands open for each second of its dwell."""
    return cycles.value * hours.value * days.value / 3600


@calculator("dwell-cost", "Money for one second of dwell, in a year", *_PLACE, _CYCLES, *_USE)
def dwell_cost(
    width: Quantity,
    height: Quantity,
    inside: Quantity,
    outside: Quantity,
    inside_humidity: Quantity,
    outside_humidity: Quantity,
    cycles: Quantity,
    flow_factor: Quantity,
    protection: Quantity,
    price: Quantity,
    performance: Quantity,
    hours: Quantity,
    days: Quantity,
) -> Result:
    """What each second that a door waits open costs in a year of its traffic.

    Parameters
    ----------
    width, height, inside, outside, inside_humidity, outside_humidity, cycles
        As for `open_door_cost`.
    flow_factor, protection, price, performance, hours, days
        As for `open_door_cost`.

    Returns
    -------
    Result
        `money` in a year, in that of the price, and `heat` that it lets in. [kWh]

    References
    ----------
    .. [1] As for `open_door_cost`.
    """
    flow = exchange(width, height, inside, outside, inside_humidity, outside_humidity)
    hours_open = _hours_open_a_second(cycles, hours, days)
    heat = flow.heat * flow_factor.value * (1 - protection.value / 100) * hours_open
    money = heat * price.value / performance.value
    return Result(
        values={"money": Quantity(money, "one"), "heat": Quantity(heat, "kilowatt-hour")},
        working=(
            *flow.working,
            f"a second each: {shown(cycles)} x {shown(hours)} x {shown(days)} = "
            f"{shown(hours_open * 3600)} s in a year",
            f"heat = {shown(flow.heat)} x {shown(flow_factor)} x (1 - {shown(protection)}) x "
            f"{shown(hours_open * 3600)} / 3600 = {shown(heat)} kWh",
            f"money = {shown(heat)} kWh x {shown(price)} / {shown(performance)} = {shown(money)}",
        ),
        source=SOURCE,
        kind="from-memory",
        assumptions=("air at sea level, no wind; each opening waits its whole dwell",),
        warnings=_DRY if flow.dry and flow.heat else (),
    )


@calculator(
    "dwell-saving",
    "What a shorter dwell saves",
    *_PLACE,
    _CYCLES,
    _OPENING,
    Input("dwell", "second", "dwell now", low=0, high=3600),
    Input("shorter", "second", "dwell proposed", low=0, high=3600),
    _CLOSING,
    *_USE,
)
def dwell_saving(
    width: Quantity,
    height: Quantity,
    inside: Quantity,
    outside: Quantity,
    inside_humidity: Quantity,
    outside_humidity: Quantity,
    cycles: Quantity,
    opening: Quantity,
    dwell: Quantity,
    shorter: Quantity,
    closing: Quantity,
    flow_factor: Quantity,
    protection: Quantity,
    price: Quantity,
    performance: Quantity,
    hours: Quantity,
    days: Quantity,
) -> Result:
    """Heat, energy and money saved by closing sooner.

    Parameters
    ----------
    dwell, shorter : Quantity
        Dwell now and as proposed, not longer. [s]
    width, height, inside, outside, inside_humidity, outside_humidity, cycles, opening, closing
        As for `open_door_cost`.
    flow_factor, protection, price, performance, hours, days
        As for `open_door_cost`.

    Returns
    -------
    Result
        `average` heat saved while in use [kW], `energy` in a year [kWh], `year` in money.

    Raises
    ------
    RangeError
        If `shorter` is longer than `dwell`, or the cycles don't fit in an hour.

    References
    ----------
    .. [1] As for `open_door_cost`.
    """
    if shorter.value > dwell.value:
        raise RangeError("shorter", shorter.written(), f"{dwell.written()} or less")
    place = (width, height, inside, outside, inside_humidity, outside_humidity)
    use = (flow_factor, protection, price, performance, hours, days)
    now = open_door_cost(*place, cycles, opening, dwell, closing, *use)
    then = open_door_cost(*place, cycles, opening, shorter, closing, *use)

    def saved(name: str) -> Quantity:
        before = now.values[name]
        return Quantity(before.value - then.values[name].value, before.unit)

    return Result(
        values={name: saved(name) for name in ("average", "energy", "year")},
        working=(
            f"dwell {shown(dwell)}: {shown(now.values['average'])} on average",
            f"dwell {shown(shorter)}: {shown(then.values['average'])} on average",
            f"saved: {shown(saved('average'))}, {shown(saved('energy'))} a year, "
            f"{shown(saved('year'))} in money",
        ),
        source=now.source,
        kind=now.kind,
        assumptions=now.assumptions,
        warnings=(*now.warnings, "never below what the traffic needs: see auto-close-dwell"),
    )
