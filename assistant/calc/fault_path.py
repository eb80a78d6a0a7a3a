"""Earth faults: loop impedance, its limit by protective device, and the fault path's check.

Zs = Ze + R1 + R2. Too much of it, and the device trips too late or never.
"""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.conductors import METAL, PER_DEGREE, SIZE, STRANDS, conductor
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

# IEC 60898-1, upper end of the instantaneous range as a multiple of the rating, from memory.
TRIPS = {"B": Decimal(5), "C": Decimal(10), "D": Decimal(20)}
# IEC 60364-4-41, table 41.1, TN: nominal voltage to earth up to -> time, from memory. [V], [s]
TIMES = ((120, "0.8"), (230, "0.4"), (400, "0.2"), (1000, "0.1"))
FINAL_UP_TO_A = 32

_TO_EARTH = Input("to-earth", "volt", "nominal voltage to earth", low=50, high=1000)


@calculator(
    "earth-loop",
    "Earth-fault loop impedance of a circuit",
    Input("external", "ohm", "outside the circuit, Ze", low=0, high=200),
    Input("length", "metre", "length of the circuit", low=0, high=500),
    SIZE,
    Input("earth-section", "", "earth conductor, such as 12 AWG or 2.5 mm2"),
    STRANDS,
    METAL,
    Input("temperature", "celsius", "of the conductors", low=-20, high=90, default="20 degC"),
)
def earth_loop(
    external: Quantity,
    length: Quantity,
    section: str,
    earth_section: str,
    strands: str,
    metal: str,
    temperature: Quantity,
) -> Result:
    """Zs = Ze + R1 + R2, to compare with a reading or with the limit of the device.

    Parameters
    ----------
    external : Quantity
        Impedance of the supply's part of the loop, measured or declared. [ohm]
    length : Quantity
        Of the circuit, one way. [m]
    section, earth_section : str
        Line and earth conductor; see `conductors.conductor`.
    strands, metal : str
        As for `conductors.conductor`, both conductors alike.
    temperature : Quantity
        20 for a test on a cold circuit, 70 for PVC in use. [degC]

    Returns
    -------
    Result
        `loop`, `line` (R1) and `earth` (R2). [ohm]

    References
    ----------
    .. [1] IEC 60364-4-41, 411.4 (from memory): sum of the parts of the loop. Reactance of
       conductors up to 35 mm2 is neglected, which is common practice.
    """
    warm = 1 + PER_DEGREE * (temperature.value - 20)
    line = conductor(section, strands, metal)
    earth = conductor(earth_section, strands, metal)
    r1 = line.ohm_per_km * length.value / 1000 * warm
    r2 = earth.ohm_per_km * length.value / 1000 * warm
    total = external.value + r1 + r2
    read = line.kind == earth.kind == "published"
    return Result(
        values={
            "loop": Quantity(total, "ohm"),
            "line": Quantity(r1, "ohm"),
            "earth": Quantity(r2, "ohm"),
        },
        working=(
            f"R1 = {shown(length)} of {line.name} at {shown(temperature)} = {shown(r1)} ohm",
            f"R2 = {shown(length)} of {earth.name} = {shown(r2)} ohm",
            f"Zs = {shown(external)} + {shown(r1)} + {shown(r2)} = {shown(total)} ohm",
        ),
        source=f"IEC 60364-4-41, 411.4; {line.source}",
        kind="derived" if read else "from-memory",
        assumptions=("reactance neglected, joints add nothing", "parts simply added"),
    )


@calculator(
    "earth-loop-limit",
    "Highest earth-fault loop impedance for a protective device",
    _TO_EARTH,
    Input("rating", "ampere", "of the device", low=0.5, high=630),
    Input("device", "", "B, C, D: circuit breaker", choices=("B", "C", "D", "fuse"), default="C"),
    Input(
        "trip",
        "ampere",
        "a fuse's current for the time wanted, from its sheet",
        low=0,
        high=20_000,
        default="0 A",
    ),
    Input("factor", "one", "for the lowest voltage", low=0.8, high=1, default="0.95"),
    Input("reading", "one", "0.8 for a cold circuit's reading", low=0.5, high=1, default="0.8"),
)
def earth_loop_limit(
    to_earth: Quantity,
    rating: Quantity,
    device: str,
    trip: Quantity,
    factor: Quantity,
    reading: Quantity,
) -> Result:
    """Limit on Zs in a TN system, and the time in which the device must disconnect.

    Parameters
    ----------
    to_earth : Quantity
        Nominal voltage line to earth, U0. [V]
    rating : Quantity
        Of the device. [A]
    device : str
        "B", "C", "D" (instantaneous trip at 5, 10, 20 times the rating) or "fuse".
    trip : Quantity
        For a fuse, the current that blows it in time; breakers don't use it. [A]
    factor : Quantity
        Lowest voltage as a part of nominal; 1 where the local rules leave it out.
    reading : Quantity
        Part of the limit that a reading on a cold circuit may reach; 2/3 by IEC 60364-6.

    Returns
    -------
    Result
        `limit` for a circuit in use and `cold`, the limit on a reading [ohm], also as `at_most`;
        `trip` [A] and `time` [s].

    Raises
    ------
    RangeError
        If a fuse comes without its current, or one below its rating.

    References
    ----------
    .. [1] IEC 60364-4-41, 411.4.4 Zs x Ia <= U0, table 41.1 times (0.8, 0.4, 0.2, 0.1 s up to
       32 A, 5 s above); IEC 60898-1 trips; factors 0.95 and 0.8 as in national rules: all from
       memory.
    """
    if device == "fuse":
        if trip.value < rating.value:
            raise RangeError(
                "trip", trip.written(), f"the fuse's blowing current, above {rating.written()}"
            )
        current, how = trip.value, "from the fuse's sheet"
    else:
        current, how = TRIPS[device] * rating.value, f"{TRIPS[device]} x {shown(rating)}"
    limit = factor.value * to_earth.value / current
    cold = Quantity(limit * reading.value, "ohm")
    fast = next(Decimal(seconds) for volts, seconds in TIMES if to_earth.value <= volts)
    time = fast if rating.value <= FINAL_UP_TO_A else Decimal(5)
    return Result(
        values={
            "limit": Quantity(limit, "ohm"),
            "cold": cold,
            "trip": Quantity(current, "ampere"),
            "time": Quantity(time, "second"),
        },
        working=(
            f"trips at {how} = {shown(current)} A, within {shown(time)} s",
            f"limit in use = {shown(factor)} x {shown(to_earth)} / {shown(current)} A"
            f" = {shown(limit)} ohm",
            f"reading on a cold circuit: {shown(reading)} x {shown(limit)} = {shown(cold)}",
        ),
        source="IEC 60364-4-41, 411.4.4 and table 41.1; IEC 60898-1",
        kind="from-memory",
        at_most=cold,
        assumptions=("TN system, alternating current, final circuit",),
        warnings=("a residual-current device may be needed besides; local rules win",),
    )


@calculator(
    "earth-electrode-limit",
    "Highest earth resistance with a residual-current device",
    Input("residual", "milliampere", "rated residual current", low=6, high=3000),
    Input("touch", "volt", "touch voltage allowed", low=12, high=50, default="50 V"),
)
def earth_electrode_limit(residual: Quantity, touch: Quantity) -> Result:
    """Limit on the resistance of electrode and earth conductor in a TT system.

    Parameters
    ----------
    residual : Quantity
        Rated residual operating current. [mA]
    touch : Quantity
        50, or 25 in wet places. [V]

    Returns
    -------
    Result
        `limit`, also as `at_most`. [ohm]

    References
    ----------
    .. [1] IEC 60364-4-41, 411.5.3: RA x I_dn <= 50 V (from memory).
    """
    limit = Quantity(1000 * touch.value / residual.value, "ohm")
    return Result(
        values={"limit": limit},
        working=(f"limit = {shown(touch)} / {shown(residual)} = {shown(limit)}",),
        source="IEC 60364-4-41, 411.5.3",
        kind="from-memory",
        at_most=limit,
        assumptions=("TT system",),
        warnings=("above 200 ohm an electrode may not be stable: ask who installed it",),
    )


@calculator(
    "fault-path",
    "Highest impedance of an equipment ground fault path",
    _TO_EARTH,
    Input("rating", "ampere", "of the fuse or breaker", low=1, high=1000),
    Input("multiple", "one", "fault current wanted, times rating", low=1, high=20, default="5"),
)
def fault_path(to_earth: Quantity, rating: Quantity, multiple: Quantity) -> Result:
    """Limit on the impedance of the loop, so that a ground fault opens the device at once.

    Parameters
    ----------
    to_earth : Quantity
        Voltage to ground. [V]
    rating : Quantity
        Of the overcurrent device. [A]
    multiple : Quantity
        Least fault current as a multiple of the rating.

    Returns
    -------
    Result
        `limit` [ohm], also as `at_most`, and the `current` at it [A].

    References
    ----------
    .. [1] NEC 250.4(A)(5) asks for a path of low impedance and gives no number (from memory);
       five times the rating is common practice.
    """
    current = multiple.value * rating.value
    limit = Quantity(to_earth.value / current, "ohm")
    return Result(
        values={"limit": limit, "current": Quantity(current, "ampere")},
        working=(
            f"fault current wanted = {shown(multiple)} x {shown(rating)} = {shown(current)} A",
            f"limit = {shown(to_earth)} / {shown(current)} A = {shown(limit)}",
        ),
        source="NEC 250.4(A)(5), low impedance; five times the rating, common practice",
        kind="common-practice",
        at_most=limit,
        assumptions=("solidly grounded supply, a bolted fault",),
        warnings=(
            "earth itself is no fault path: the equipment grounding conductor must carry it",
        ),
    )
