"""Voltage lost in a circuit's conductors, and how long a run may be for a limit."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.circuit import CODE_BY_SIZE, ROOT_3, code_of, line_voltage, listed
from assistant.calc.conductors import IEC_RIGID, METAL, NEC_STRANDED, SIZE
from assistant.calc.working import shown
from assistant.quantity import Quantity

KINDS_OF_CONDUIT = ("plastic", "aluminium", "steel")
# NEC chapter 9 table 9, 60 Hz, 75 degC, to neutral: reactance in plastic or aluminium and in
# steel; resistance in plastic, aluminium, steel. Copper read in three copies. [ohm/kft]
REACTANCE = {
    "14": ("0.058", "0.073"), "12": ("0.054", "0.068"), "10": ("0.050", "0.063"),
    "8": ("0.052", "0.065"), "6": ("0.051", "0.064"), "4": ("0.048", "0.060"),
    "3": ("0.047", "0.059"), "2": ("0.045", "0.057"), "1": ("0.046", "0.057"),
    "1/0": ("0.044", "0.055"),
}  # fmt: skip
COPPER = {
    "14": ("3.1", "3.1", "3.1"), "12": ("2.0", "2.0", "2.0"), "10": ("1.2", "1.2", "1.2"),
    "8": ("0.78", "0.78", "0.78"), "6": ("0.49", "0.49", "0.49"), "4": ("0.31", "0.31", "0.31"),
    "3": ("0.25", "0.25", "0.25"), "2": ("0.19", "0.20", "0.20"), "1": ("0.15", "0.16", "0.16"),
    "1/0": ("0.12", "0.13", "0.12"),
}  # fmt: skip
# From memory.
ALUMINIUM = {
    "12": ("3.2", "3.2", "3.2"), "10": ("2.0", "2.0", "2.0"), "8": ("1.3", "1.3", "1.3"),
    "6": ("0.81", "0.81", "0.81"), "4": ("0.51", "0.52", "0.51"), "3": ("0.40", "0.41", "0.40"),
    "2": ("0.32", "0.32", "0.32"), "1": ("0.25", "0.26", "0.25"), "1/0": ("0.20", "0.21", "0.20"),
}  # fmt: skip
# NEC chapter 9 table 8, aluminium, direct current at 75 degC, from memory. [ohm/kft]
ALUMINIUM_DIRECT = {
    "12": "3.25", "10": "2.04", "8": "1.28", "6": "0.808", "4": "0.508", "3": "0.403",
    "2": "0.319", "1": "0.253", "1/0": "0.201",
}  # fmt: skip
METRES_PER_KFT = Decimal("304.8")
# IEC 60364-5-52 annex G, from memory: resistivity in use [ohm mm2/m], reactance [ohm/m].
IEC_RESISTIVITY = {"copper": Decimal("0.0225"), "aluminium": Decimal("0.036")}
IEC_REACTANCE = Decimal("0.00008")

CURRENT = Input("current", "ampere", "load current", low=0, high=1000)
VOLTS = Input(
    "volts",
    "volt",
    "nominal voltage: line to line on three phases, else between the two conductors",
    low=5,
    high=1000,
)
PHASES = Input(
    "phases",
    "",
    "kind of circuit; direct is two wires of direct current",
    choices=("three-phase", "single-phase", "direct"),
    default="three-phase",
)
POWER_FACTOR = Input(
    "power-factor", "one", "of the load; unused on direct current", low=0.1, high=1, default="0.85"
)
CONDUIT = Input(
    "conduit",
    "",
    "American practice: what the conduit is made of",
    choices=KINDS_OF_CONDUIT,
    default="steel",
)
LIMIT = Input(
    "limit",
    "percent",
    "largest drop; 3 for a branch circuit, 5 with the feeder",
    low=0.1,
    high=20,
    default="3 percent",
)


@dataclass(frozen=True)
class Lost:
    """Voltage lost for one ampere.

    per_ampere_metre: for one metre of run, between the conductors that `volts` is between.
    [V/(A m)] one: of one conductor, for each `metres` of it [ohm]; length_name names that length.
    """

    per_ampere_metre: Decimal
    one: Decimal
    metres: Decimal
    length_name: str
    working: tuple[str, ...]
    source: str
    kind: str


def lost(
    section: str, code_set: str, metal: str, phases: str, power_factor: Decimal, conduit: str
) -> Lost:
    """Loss of one run; the arguments are the inputs of `voltage-drop`.

    Raises
    ------
    RangeError
        If a table lacks the size, or has none of that metal.
    """
    metres, length_name = METRES_PER_KFT, "thousand feet"
    cosine = Decimal(1) if phases == "direct" else power_factor
    sine = (1 - cosine**2).sqrt()
    if code_of(section, code_set) == "metric":
        size = listed(section, "mm2", IEC_RIGID, metal)
        metres, length_name = Decimal(1), "m"
        resistivity = IEC_RESISTIVITY[metal]
        one = resistivity / Decimal(size) * cosine + IEC_REACTANCE * sine
        line = (
            f"one conductor: {resistivity} / {size} x {shown(cosine)} + 0.00008 x {shown(sine)} "
            f"= {shown(one)} ohm for 1 m"
        )
        source, kind = "IEC 60364-5-52, annex G", "from-memory"
    elif phases == "direct":
        table = NEC_STRANDED if metal == "copper" else ALUMINIUM_DIRECT
        size = listed(section, "AWG", table, metal)
        one = Decimal(table[size])
        line = f"table 8 at 75 degC: {table[size]} ohm for 1000 ft"
        source = "NEC chapter 9, table 8"
        memory = metal == "aluminium" or size in ("10", "8")
        kind = "from-memory" if memory else "published"
    else:
        resistances = COPPER if metal == "copper" else ALUMINIUM
        size = listed(section, "AWG", resistances, metal)
        resistance = Decimal(resistances[size][KINDS_OF_CONDUIT.index(conduit)])
        reactance = Decimal(REACTANCE[size][conduit == "steel"])
        one = resistance * cosine + reactance * sine
        line = (
            f"impedance = {resistance} x {shown(cosine)} + {reactance} x {shown(sine)} = "
            f"{shown(one)} ohm for 1000 ft"
        )
        source = "NEC chapter 9, table 9"
        kind = "published" if metal == "copper" else "from-memory"
    both = ROOT_3 if phases == "three-phase" else Decimal(2)
    return Lost(both * one / metres, one, metres, length_name, (line,), source, kind)


@calculator(
    "voltage-drop",
    "Voltage drop of a circuit",
    CURRENT,
    Input("length", "metre", "one way, from the supply to the load", low=0, high=2000),
    SIZE,
    VOLTS,
    PHASES,
    POWER_FACTOR,
    CODE_BY_SIZE,
    METAL,
    CONDUIT,
    LIMIT,
)
def voltage_drop(
    current: Quantity,
    length: Quantity,
    section: str,
    volts: Quantity,
    phases: str,
    power_factor: Quantity,
    code_set: str,
    metal: str,
    conduit: str,
    limit: Quantity,
) -> Result:
    """Voltage drop with the conductors warm, against a limit.

    Parameters
    ----------
    current : Quantity
        [A]
    length : Quantity
        One way. [m]
    section, metal : str
        See `conductors.conductor`.
    volts : Quantity
        Line to line on three phases, else between the two conductors. [V]
    phases : str
        "three-phase", "single-phase" or "direct".
    power_factor : Quantity
        Of the load, 0.1 to 1.
    code_set, conduit : str
        American practice (AWG) takes chapter 9, metric practice (mm2) annex G.
    limit : Quantity
        [percent]

    Returns
    -------
    Result
        `drop` [V] between the same conductors as `volts`, `percent`, `at-load` [V] and, with a
        current, `longest`, the length that just meets the limit [m]; `at_most` for a measured
        drop [V]. The word `verdict` is "within the limit" or "above the limit".

    Raises
    ------
    RangeError
        If the size isn't in the table of its metal, or the voltage is a single-phase one.

    References
    ----------
    .. [1] NEC chapter 9: table 9 for alternating, table 8 for direct current (read; aluminium, and
       10 and 8 AWG of table 8, from memory).
    .. [2] IEC 60364-5-52, annex G (from memory).
    .. [3] 3 and 5 percent: recommended, no rule of the NEC (read in a guide); IEC 60364-5-52 has
       5 percent for power from a public supply.
    """
    nominal = line_voltage("volts", volts, phases)
    found = lost(section, code_set, metal, phases, power_factor.value, conduit)
    drop = found.per_ampere_metre * current.value * length.value
    percent = 100 * drop / nominal
    most = Quantity(limit.value / 100 * nominal, "volt")
    ways = "sqrt(3)" if phases == "three-phase" else "2"
    verdict = "within the limit" if drop <= most.value else "above the limit"
    values = {
        "drop": Quantity(drop, "volt"),
        "percent": Quantity(percent, "percent"),
        "at-load": Quantity(max(nominal - drop, Decimal(0)), "volt"),
    }
    lines = [
        *found.working,
        f"drop = {ways} x {shown(current)} x {shown(found.one)} ohm x "
        f"{shown(length.value / found.metres)} {found.length_name} = {shown(drop)} V",
        f"that is {shown(percent)} % of {shown(volts)}: {verdict} of {shown(limit)}",
    ]
    if current.value:
        longest = Quantity(most.value / (found.per_ampere_metre * current.value), "metre")
        values["longest"] = longest
        lines.append(f"longest run for {shown(limit)}: {_both(longest)}")
    return Result(
        values=values,
        working=tuple(lines),
        source=found.source,
        kind=found.kind,
        at_most=most,
        assumptions=_assumed(phases, power_factor),
        warnings=_warned(volts, phases, code_of(section, code_set)),
        words={"verdict": verdict},
    )


@calculator(
    "longest-run",
    "Longest run for a limit on voltage drop",
    Input("current", "ampere", "load current", low=0.001, high=1000),
    SIZE,
    VOLTS,
    PHASES,
    POWER_FACTOR,
    CODE_BY_SIZE,
    METAL,
    CONDUIT,
    LIMIT,
)
def longest_run(
    current: Quantity,
    section: str,
    volts: Quantity,
    phases: str,
    power_factor: Quantity,
    code_set: str,
    metal: str,
    conduit: str,
    limit: Quantity,
) -> Result:
    """Length at which the voltage drop just meets a limit.

    Parameters
    ----------
    current, section, volts, phases, power_factor, code_set, metal, conduit, limit
        As in `voltage_drop`.

    Returns
    -------
    Result
        `longest`, one way [m]; `at_most` the same.

    References
    ----------
    .. [1] As in `voltage_drop`.
    """
    nominal = line_voltage("volts", volts, phases)
    found = lost(section, code_set, metal, phases, power_factor.value, conduit)
    most = limit.value / 100 * nominal
    longest = Quantity(most / (found.per_ampere_metre * current.value), "metre")
    return Result(
        values={"longest": longest},
        working=(
            *found.working,
            f"{shown(limit)} of {shown(volts)} = {shown(most)} V",
            f"longest run at {shown(current)}: {_both(longest)}",
        ),
        source=found.source,
        kind=found.kind,
        at_most=longest,
        assumptions=_assumed(phases, power_factor),
        warnings=_warned(volts, phases, code_of(section, code_set)),
    )


def _both(length: Quantity) -> str:
    return f"{shown(length)} ({shown(length.to('foot'))})"


def _assumed(phases: str, power_factor: Quantity) -> tuple[str, ...]:
    load = "direct current" if phases == "direct" else f"power factor {shown(power_factor)}"
    return (f"{load}; conductors at the temperature of use, one set of conductors in the run",)


def _warned(volts: Quantity, phases: str, code: str) -> tuple[str, ...]:
    warnings = []
    if phases != "direct":
        warnings.append("a motor draws several times this while it starts: look at that too")
    if phases == "three-phase" and code == "metric" and 220 <= volts.value <= 240:
        warnings.append(f"{shown(volts)} between lines is rare here: on one phase say single-phase")
    return tuple(warnings)
