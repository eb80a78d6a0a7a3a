"""Current of a motor, by the code's tables and by its nameplate, and what unbalance does to it."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.circuit import PHASES, ROOT_3, line_voltage
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

# NEC table 430.250, read in two copies that agree but for slips of one. [hp] -> [A]
THREE_PHASE_COLUMNS = (115, 200, 208, 230, 460, 575)
THREE_PHASE: dict[str, tuple[str, ...]] = {
    "1/2": ("4.4", "2.5", "2.4", "2.2", "1.1", "0.9"),
    "3/4": ("6.4", "3.7", "3.5", "3.2", "1.6", "1.3"),
    "1": ("8.4", "4.8", "4.6", "4.2", "2.1", "1.7"),
    "1-1/2": ("12.0", "6.9", "6.6", "6.0", "3.0", "2.4"),
    "2": ("13.6", "7.8", "7.5", "6.8", "3.4", "2.7"),
    "3": ("", "11.0", "10.6", "9.6", "4.8", "3.9"),
    "5": ("", "17.5", "16.7", "15.2", "7.6", "6.1"),
    "7-1/2": ("", "25.3", "24.2", "22", "11", "9"),
    "10": ("", "32.2", "30.8", "28", "14", "11"),
    "15": ("", "48.3", "46.2", "42", "21", "17"),
}
# NEC table 430.248, read in one copy. [hp] -> [A]
SINGLE_PHASE_COLUMNS = (115, 200, 208, 230)
SINGLE_PHASE: dict[str, tuple[str, ...]] = {
    "1/6": ("4.4", "2.5", "2.4", "2.2"),
    "1/4": ("5.8", "3.3", "3.2", "2.9"),
    "1/3": ("7.2", "4.1", "4.0", "3.6"),
    "1/2": ("9.8", "5.6", "5.4", "4.9"),
    "3/4": ("13.8", "7.9", "7.6", "6.9"),
    "1": ("16", "9.2", "8.8", "8.0"),
    "1-1/2": ("20", "11.5", "11", "10"),
    "2": ("24", "13.8", "13.2", "12"),
    "3": ("34", "19.6", "18.7", "17"),
    "5": ("56", "32.2", "30.8", "28"),
    "7-1/2": ("80", "46", "44", "40"),
    "10": ("100", "57.5", "55", "50"),
}
# Supply voltages that a column stands for: read for 430.250; for 430.248 from memory.
BANDS = {115: (110, 120), 230: (220, 240), 460: (440, 480), 575: (550, 600)}
# A kilowatt plate never hits a horsepower row exactly: 1.1 kW is 1.475 hp, 0.17 hp is 1/6 hp.
ROW_TOLERANCE = Decimal("0.02")
POWER = Input("power", "horsepower", "rated shaft power, such as 5 hp or 4 kW", low=0.05, high=200)
VOLTS = Input("volts", "volt", "supply voltage at the motor, line to line", low=12, high=1000)


def horsepower(row: str) -> Decimal:
    """The number of a row such as "7-1/2". [hp]"""
    whole, _, part = row.rpartition("-") if "/" in row else (row, "", "0/1")
    above, _, below = part.partition("/")
    return Decimal(whole or 0) + Decimal(above) / Decimal(below)


def table_row(table: dict[str, tuple[str, ...]], power: Quantity) -> str:
    """The row that stands for a power. [hp]

    Raises
    ------
    RangeError
        If no row is within two percent of it: the code's tables are never interpolated.
    """
    row = min(table, key=lambda each: abs(horsepower(each) - power.value))
    rated = horsepower(row)
    if abs(power.value - rated) > ROW_TOLERANCE * rated:
        raise RangeError("power", power.written(), f"a rating of the table: {', '.join(table)} hp")
    return row


def table_column(columns: tuple[int, ...], volts: Quantity) -> int:
    """The column that stands for a supply voltage. [V]"""
    for each in columns:
        low, high = BANDS.get(each, (each, each))
        if low <= volts.value <= high:
            return each
    spans = ", ".join("{} to {}".format(*BANDS[c]) if c in BANDS else str(c) for c in columns)
    raise RangeError("volts", volts.written(), f"in a column of the table: {spans} V")


@calculator(
    "motor-current-table",
    "Full-load current of a motor by the American tables",
    POWER,
    VOLTS,
    PHASES,
)
def motor_current_table(power: Quantity, volts: Quantity, phases: str) -> Result:
    """Full-load current that conductors, disconnect and short-circuit protection are sized by.

    Parameters
    ----------
    power : Quantity
        Rated power, a row of the table or its metric twin. [hp]
    volts : Quantity
        Supply voltage, line to line. [V]
    phases : str
        "three-phase" or "single-phase".

    Returns
    -------
    Result
        `current` [A].

    Raises
    ------
    RangeError
        If power or voltage are not in the table. It isn't interpolated.

    References
    ----------
    .. [1] NEC table 430.250, three phases: copies of the 2008 and a current edition.
    .. [2] NEC table 430.248, one phase: one copy. That a column stands for 110 to 120 V or 220 to
       240 V is from memory there.
    .. [3] NEC 430.6(A): the table for conductors and short-circuit protection, the nameplate for
       the overload.
    """
    single = phases == "single-phase"
    table, columns = (
        (SINGLE_PHASE, SINGLE_PHASE_COLUMNS) if single else (THREE_PHASE, THREE_PHASE_COLUMNS)
    )
    row = table_row(table, power)
    column = table_column(columns, volts)
    cell = table[row][columns.index(column)]
    if not cell:
        raise RangeError("power", power.written(), f"2 hp or less at {column} V on three phases")
    current = Quantity(Decimal(cell), "ampere")
    name = "430.248" if single else "430.250"
    exact = volts.value == column
    return Result(
        values={"current": current},
        working=(
            f"{shown(power)} is row {row} hp; {shown(volts)} is column {column} V",
            f"NEC table {name}: {shown(current)}",
        ),
        source=f"NEC table {name}",
        kind="from-memory" if single and not exact else "published",
        assumptions=(
            "for conductors, disconnect and short-circuit protection; the overload is set by the "
            "nameplate (430.6(A))",
            "usual speed and torque; with a drive the drive's rated input current counts instead",
        ),
    )


@calculator(
    "motor-current",
    "Full-load current from a motor's nameplate",
    Input("power", "kilowatt", "rated shaft power, such as 1.1 kW or 2 hp", low=0, high=150),
    VOLTS,
    Input("efficiency", "percent", "rated efficiency", low=10, high=100),
    Input("power-factor", "one", "rated power factor", low=0.1, high=1),
    PHASES,
)
def motor_current(
    power: Quantity, volts: Quantity, efficiency: Quantity, power_factor: Quantity, phases: str
) -> Result:
    """Line current of a motor at full load.

    Parameters
    ----------
    power : Quantity
        Shaft power. [kW]
    volts : Quantity
        Line to line; on one phase between the two conductors. [V]
    efficiency : Quantity
        [percent]
    power_factor : Quantity
        Without unit.
    phases : str
        "three-phase" or "single-phase".

    Returns
    -------
    Result
        `current` [A] and `input`, the apparent power [VA].

    References
    ----------
    .. [1] I = P / (sqrt(3) V eff pf), on one phase I = P / (V eff pf): power of a sinusoidal
       alternating current.
    """
    line_voltage("volts", volts, phases)
    watts = power.value * 1000
    apparent = watts / (efficiency.value / 100) / power_factor.value
    root = ROOT_3 if phases == "three-phase" else Decimal(1)
    current = Quantity(apparent / root / volts.value, "ampere")
    below = f"{'sqrt(3) x ' if phases == 'three-phase' else ''}{shown(volts)}"
    return Result(
        values={"current": current, "input": Quantity(apparent, "volt-ampere")},
        working=(
            f"input = {shown(watts)} W / {shown(efficiency.value / 100)} / {shown(power_factor)}"
            f" = {shown(apparent)} VA",
            f"current = {shown(apparent)} VA / ({below}) = {shown(current)}",
        ),
        source="power of a sinusoidal alternating current",
        kind="derived",
        assumptions=("full load, rated voltage, motor straight on the supply",),
        warnings=("a current on the nameplate wins over this sum",),
    )


@calculator(
    "motor-heat-rise",
    "Extra temperature rise of a motor on an unbalanced supply",
    Input("unbalance", "percent", "voltage unbalance at the motor", low=0, high=5),
)
def motor_heat_rise(unbalance: Quantity) -> Result:
    """How much more a fully loaded motor warms up, in percent of its rise on an even supply.

    Parameters
    ----------
    unbalance : Quantity
        Voltage unbalance, 0 to 5; above 5 a motor should not run at all. [percent]

    Returns
    -------
    Result
        `rise`, the increase of the temperature rise. [percent]

    References
    ----------
    .. [1] Rule of thumb: twice the square of the unbalance (from memory). A motor page gives
       25 percent for an unbalance of 3.5, which agrees.
    """
    rise = Quantity(2 * unbalance.value**2, "percent")
    return Result(
        values={"rise": rise},
        working=(f"2 x {shown(unbalance.value)}^2 = {shown(rise)} more temperature rise",),
        source="rule of thumb: rise grows by twice the square of the unbalance",
        kind="from-memory",
        assumptions=("full load; motor-derating gives the load that keeps it cool",),
    )
