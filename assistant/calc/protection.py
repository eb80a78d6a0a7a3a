"""What guards a motor's circuit: the short-circuit device and the overload."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.supply import CODE_SET
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

# NEC 240.6(A), read; the sizes below 15 A are fuses', from memory. [A]
NEC_RATINGS = (
    15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300,
    350, 400, 450, 500, 600,
)  # fmt: skip
NEC_SMALL_FUSES = (1, 3, 6, 10)
# IEC 60898-1 and IEC 60269, preferred ratings, from memory. [A]
IEC_RATINGS = (2, 4, 6, 10, 13, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125)

# NEC table 430.52, percent of full-load current, read: cage motors and one phase; wound rotor
# and direct current; then what exception 2 allows for starting, from memory (None: none).
NEC_DEVICES = {
    "non-time-delay-fuse": (300, 150, 400),
    "time-delay-fuse": (175, 150, 225),
    "inverse-time-breaker": (250, 150, 400),
    "instantaneous-breaker": (800, None, None),
}
# IEC 60898-1: lowest instantaneous trip, times the rating; an aM fuse lets any start pass. Memory.
IEC_DEVICES = {"breaker-c": 5, "breaker-d": 10, "am-fuse": None}

FULL_LOAD = Input(
    "current",
    "ampere",
    "full-load current; american from the table (motor-current-table), metric from the nameplate",
    low=0,
    high=200,
)
SUPPLY_NOTE = "with a drive in the panel its rated input current counts, not the motor's"


def iec_rating(current: Decimal) -> int:
    """The standard metric rating not below a current. [A]"""
    for each in IEC_RATINGS:
        if each >= current:
            return each
    raise RangeError("current", f"{shown(current)} A", f"{IEC_RATINGS[-1]} A or less")


@calculator(
    "short-circuit-protection",
    "Rating of a motor's short-circuit protection",
    FULL_LOAD,
    Input(
        "device",
        "",
        "kind of device; the first four are american, the others metric",
        choices=(*NEC_DEVICES, *IEC_DEVICES),
    ),
    Input(
        "motor",
        "",
        "cage also stands for single-phase motors",
        choices=("cage", "wound-or-direct"),
        default="cage",
    ),
    Input("start", "one", "metric: start current over full load", low=1, high=12, default="7"),
)
def short_circuit_protection(current: Quantity, device: str, motor: str, start: Quantity) -> Result:
    """Largest rating of the short-circuit and earth-fault device (american), or fitting rating.

    Parameters
    ----------
    current : Quantity
        Full-load current. [A]
    device : str
        Kind of device; tells the code set too.
    motor : str
        "cage" (and single-phase) or "wound-or-direct".
    start : Quantity
        Start current over full-load current, metric breakers; 1 behind a drive.

    Returns
    -------
    Result
        `rating` (for an instantaneous-trip breaker the highest `setting`) and `computed` before
        rounding [A]; `at_most` the rating.

    References
    ----------
    .. [1] NEC 430.52 and its table, 240.6(A) (read; fuses below 15 A and exception 2 from memory).
    .. [2] IEC 60898-1, instantaneous trip from 5 (C) or 10 (D) times the rating (from memory).
    """
    if device in IEC_DEVICES:
        return _metric_protection(current, device, start)
    cage, wound, starting = NEC_DEVICES[device]
    percent = cage if motor == "cage" else wound
    if percent is None:
        valid = "another device for a wound rotor or direct current; ask the maker for the setting"
        raise RangeError("device", device, valid)
    computed = current.value * percent / 100
    line = f"{percent} % x {shown(current)} = {shown(computed)} A (table 430.52)"
    listed_wins = "a maximum marked on the panel or drive wins (430.52(C)(2), from memory)"
    if device == "instantaneous-breaker":
        setting = Quantity(computed, "ampere")
        return Result(
            values={"setting": setting, "computed": setting},
            working=(line, f"highest instantaneous setting: {shown(setting)}"),
            source="NEC table 430.52",
            kind="published",
            at_most=setting,
            assumptions=("only as part of a listed combination; 1100 % for efficient design B",),
            warnings=(listed_wins,),
        )
    small = NEC_SMALL_FUSES if "fuse" in device else ()
    rating = next((each for each in (*small, *NEC_RATINGS) if each >= computed), None)
    if rating is None:
        raise RangeError("current", current.written(), "small enough for a device of 600 A")
    size = Quantity(Decimal(rating), "ampere")
    assumptions = [SUPPLY_NOTE]
    if motor == "cage":
        if device == "inverse-time-breaker" and current.value > 100:
            starting = 300
        bound = current.value * Decimal(starting or 0) / 100
        assumptions.append(
            f"if it trips at the start: never above {starting} %, {shown(bound)} A "
            "(430.52(C)(1) exception 2, from memory)"
        )
    return Result(
        values={"rating": size, "computed": Quantity(computed, "ampere")},
        working=(line, f"standard rating, the same or the next one up: {shown(size)} (240.6)"),
        source="NEC 430.52 and 240.6(A)",
        kind="from-memory" if rating in NEC_SMALL_FUSES else "published",
        at_most=size,
        assumptions=tuple(assumptions),
        warnings=(listed_wins,),
    )


def _metric_protection(current: Quantity, device: str, start: Quantity) -> Result:
    times = IEC_DEVICES[device]
    starting = current.value * start.value
    least = max(current.value, starting / times) if times else current.value
    rating = Quantity(Decimal(iec_rating(least)), "ampere")
    lines = [f"In not below {shown(current)}"]
    if times:
        lines.append(
            f"start {shown(start)} x {shown(current)} = {shown(starting)} A must stay below "
            f"{times} x In: In from {shown(starting / times)} A"
        )
    return Result(
        values={"rating": rating, "computed": Quantity(least, "ampere")},
        working=(*lines, f"standard rating: {shown(rating)}"),
        source="IEC 60898-1 trip bands" if times else "IEC 60269-2, aM fuses",
        kind="from-memory",
        at_most=rating,
        assumptions=("an overload relay guards the motor", SUPPLY_NOTE),
        warnings=(
            "the maker's coordination table for starter and device wins",
            "above what the conductor carries, only the overload relay guards the conductor",
        ),
    )


@calculator(
    "overload-setting",
    "Setting of a motor's overload protection",
    Input("current", "ampere", "current on the motor's nameplate", low=0, high=200),
    CODE_SET,
    Input("service-factor", "one", "on the nameplate", low=1, high=2, default="1.0"),
    Input(
        "rise",
        "",
        "temperature rise on the nameplate, in degC",
        choices=("not-marked", "up-to-40", "above-40"),
        default="not-marked",
    ),
)
def overload_setting(
    current: Quantity, code_set: str, service_factor: Quantity, rise: str
) -> Result:
    """Highest setting of a separate overload device.

    Parameters
    ----------
    current : Quantity
        Nameplate current, not the table's. [A]
    code_set : str
        "american": 125 or 115 percent; "metric": the nameplate current itself.
    service_factor : Quantity
        1.15 and more earns 125 percent.
    rise : str
        A marked rise of 40 degC or less earns it too.

    Returns
    -------
    Result
        `setting` and, american, `highest`, the most if the motor can't start otherwise [A];
        `at_most` the setting.

    References
    ----------
    .. [1] NEC 430.32(A)(1) and (C) (read). Either condition is enough by the text, which
       electricians argue about: the working says which one was used.
    .. [2] IEC 60947-4-1: a relay set to the nameplate current trips at 1.2 times it (from memory).
    """
    if code_set == "metric":
        return Result(
            values={"setting": current},
            working=(f"set to the nameplate current: {shown(current)}",),
            source="IEC 60947-4-1, thermal overload relay",
            kind="from-memory",
            at_most=current,
            assumptions=("the relay trips within two hours at 1.2 times its setting",),
        )
    strong = service_factor.value >= Decimal("1.15")
    cool = rise == "up-to-40"
    percent, most = (125, 140) if strong or cool else (115, 130)
    why = (
        f"service factor {shown(service_factor)} is 1.15 or more"
        if strong
        else "temperature rise is 40 degC or less"
        if cool
        else "neither service factor 1.15 nor a rise of 40 degC or less"
    )
    setting = Quantity(current.value * percent / 100, "ampere")
    highest = Quantity(current.value * most / 100, "ampere")
    return Result(
        values={"setting": setting, "highest": highest},
        working=(
            f"{why}: {percent} %",
            f"{percent} % x {shown(current)} = {shown(setting)} (430.32(A)(1))",
            f"if it can't start or carry the load: at most {most} % = {shown(highest)} (430.32(C))",
        ),
        source="NEC 430.32(A)(1) and (C)",
        kind="published",
        at_most=setting,
        assumptions=("continuous duty, more than 1 hp, current of the nameplate",),
        warnings=("a relay whose dial already holds the factor is set to the nameplate current",),
    )
