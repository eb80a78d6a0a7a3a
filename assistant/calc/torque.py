"""Tightening torques where neither terminal nor instructions give one."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

TENTH = Decimal("0.1")
SOURCE = "UL 486A-B, as in NEC annex I"

# Table I.1: largest gauge of the row's sizes -> torque by screw. [lbf.in]
SCREWS = ("slotted-narrow", "slotted", "split-bolt", "hex")
_ROWS: tuple[tuple[str, tuple[int | None, ...]], ...] = (
    ("30 28 26 24 22 20 18 16 14 12 10", (20, 35, 80, 75)),
    ("8", (25, 40, 80, 75)),
    ("6 4", (35, 45, 165, 110)),
    ("3", (35, 50, 275, 150)),
    ("2", (40, 50, 275, 150)),
    ("1", (None, 50, 275, 150)),
    ("1/0 2/0", (None, 50, 385, 180)),
)
BY_GAUGE = {gauge: row for gauges, row in _ROWS for gauge in gauges.split()}
# Metric sizes by the American size whose row holds them: the next gauge not smaller.
AS_GAUGE = {
    "0.5": "20", "0.75": "18", "1": "16", "1.5": "14", "2.5": "12", "4": "10", "6": "8",
    "10": "6", "16": "4", "25": "3", "35": "1", "50": "1/0", "70": "2/0",
}  # fmt: skip

# Table I.2, slotted screws below number 10: longest slot -> narrow, wide. [in], [lbf.in]
_SLOTS: tuple[tuple[Decimal, int | None, int, str], ...] = (
    (Decimal("0.15624"), 7, 9, "published"),  # below 5/32 in
    (Decimal("0.21876"), 7, 12, "published"),  # 5/32, 3/16, 7/32 in
    (Decimal("0.25001"), 9, 12, "published"),  # 1/4 in
    (Decimal("0.28126"), None, 15, "from-memory"),  # 9/32 in
    (Decimal("99"), None, 20, "from-memory"),
)
_SLOT_MM, _NARROW_MM = Decimal("25.4"), Decimal("0.047") * Decimal("25.4")

# Table I.3, recessed hexagon or square across flats. [lbf.in]
BY_SOCKET = {
    "1/8": 45, "5/32": 100, "3/16": 120, "7/32": 150, "1/4": 200, "5/16": 275, "3/8": 375,
    "1/2": 500, "9/16": 600,
}  # fmt: skip
# IEC 60999-1 and 60947-1, test torques by thread, from memory. [N.m]
BY_THREAD = {
    "M2.5": "0.4", "M3": "0.5", "M3.5": "0.8", "M4": "1.2", "M5": "2.0", "M6": "2.5",
    "M8": "3.5",
}  # fmt: skip


def _result(torque: Quantity, line: str, source: str, kind: str) -> Result:
    """Torque in both units, with ten percent to either side."""
    low = Quantity(torque.value * (1 - TENTH), torque.unit)
    high = Quantity(torque.value * (1 + TENTH), torque.unit)
    inch, metre = torque.to("pound-inch"), torque.to("newton-metre")
    values = {"torque": torque, "american": inch, "metric": metre}
    return Result(
        values=values,
        working=(line, f"torque {shown(inch)} = {shown(metre)}, ten percent to either side"),
        source=source,
        kind=kind,
        at_least=low,
        at_most=high,
        assumptions=("neither terminal nor instructions give a torque",),
        warnings=(
            "a value on the equipment or in its instructions wins; use a calibrated tool",
            "checking a joint later by tightening again is no test: joints relax",
        ),
    )


@calculator(
    "tightening-torque",
    "Torque of a terminal by conductor and screw",
    Input("section", "", "conductor size, such as 12 AWG or 2.5 mm2"),
    Input("screw", "", "slotted-narrow: slot to 1.2 mm wide and 6.4 mm long", choices=SCREWS),
)
def tightening_torque(section: str, screw: str) -> Result:
    """Torque for a terminal of screw number 10 or larger.

    Parameters
    ----------
    section : str
        "12 AWG" or "2.5 mm2"; a metric size takes the row of the gauge that holds it.
    screw : str
        "slotted-narrow" (slot at most 0.047 in wide and 1/4 in long), "slotted" (larger slot),
        "split-bolt" or "hex" (hexagon and other heads).

    Returns
    -------
    Result
        `torque`, `american` [lbf.in], `metric` [N.m]; `at_least`, `at_most` ten percent around.

    Raises
    ------
    RangeError
        If the size isn't in the table, or not for this screw.

    References
    ----------
    .. [1] UL 486A-B, table I.1 of NEC informative annex I (read on pages that quote it; the
       column of hexagon heads from memory, but for 2 AWG). Ten percent: common practice.
    """
    number, _, family = section.strip().partition(" ")
    short = number.rstrip("0").rstrip(".") if "." in number else number
    gauge = number if family.upper() == "AWG" else ""
    if family in ("mm2", "mm²"):
        gauge = AS_GAUGE.get(short, "")
    row = BY_GAUGE.get(gauge)
    if row is None:
        sizes = f"{', '.join(BY_GAUGE)} AWG or {', '.join(AS_GAUGE)} mm2"
        raise RangeError("section", section, f"one of {sizes}")
    value = row[SCREWS.index(screw)]
    if value is None:
        raise RangeError("screw", screw, f"one of slotted, split-bolt, hex for {section}")
    memory = screw == "hex" and gauge != "2"
    return _result(
        Quantity(Decimal(value), "pound-inch"),
        f"table I.1: {gauge} AWG, {screw}: {value} lbf.in",
        SOURCE,
        "from-memory" if memory else "published",
    )


@calculator(
    "slotted-screw-torque",
    "Torque of a small slotted screw by its slot",
    Input("slot-length", "millimetre", "length of the slot", low=1, high=12),
    Input("slot-width", "millimetre", "width of the slot", low=0.3, high=3),
)
def slotted_screw_torque(slot_length: Quantity, slot_width: Quantity) -> Result:
    """Torque for a slotted screw smaller than number 10, wire of 8 AWG or less.

    Parameters
    ----------
    slot_length, slot_width : Quantity
        Of the screw's slot; below 0.047 in (1.19 mm) is narrow. [mm]

    Returns
    -------
    Result
        As for `tightening_torque`.

    Raises
    ------
    RangeError
        If a narrow slot is longer than 1/4 in.

    References
    ----------
    .. [1] UL 486A-B, table I.2 of NEC informative annex I (read on pages that quote it; slots
       above 1/4 in from memory).
    """
    inches = slot_length.value / _SLOT_MM
    _, narrow, wide, kind = next(row for row in _SLOTS if inches <= row[0])
    value = narrow if slot_width.value < _NARROW_MM else wide
    if value is None:
        raise RangeError("slot-length", slot_length.written(), "6.35 mm or less for a narrow slot")
    return _result(
        Quantity(Decimal(value), "pound-inch"),
        f"table I.2: slot {shown(slot_length)} x {shown(slot_width)}: {value} lbf.in",
        SOURCE,
        kind,
    )


@calculator(
    "socket-screw-torque",
    "Torque of a screw with a recessed drive",
    Input("across", "", "across flats, in inches", choices=tuple(BY_SOCKET)),
)
def socket_screw_torque(across: str) -> Result:
    """Torque for a recessed hexagon or square drive.

    Parameters
    ----------
    across : str
        Size of the drive across flats, a fraction of an inch such as "3/16".

    Returns
    -------
    Result
        As for `tightening_torque`.

    References
    ----------
    .. [1] UL 486A-B, table I.3 of NEC informative annex I (from memory; 3/16 in read on a page).
    """
    value = BY_SOCKET[across]
    return _result(
        Quantity(Decimal(value), "pound-inch"),
        f"table I.3: {across} in across flats: {value} lbf.in",
        SOURCE,
        "published" if across == "3/16" else "from-memory",
    )


@calculator(
    "metric-screw-torque",
    "Torque of a metric terminal screw",
    Input("thread", "", "of the terminal's screw", choices=tuple(BY_THREAD)),
)
def metric_screw_torque(thread: str) -> Result:
    """Torque for a slotted metric terminal screw.

    Parameters
    ----------
    thread : str
        "M2.5" to "M8".

    Returns
    -------
    Result
        As for `tightening_torque`.

    References
    ----------
    .. [1] IEC 60999-1 and IEC 60947-1, test torques (from memory).
    """
    return _result(
        Quantity(Decimal(BY_THREAD[thread]), "newton-metre"),
        f"{thread}: {BY_THREAD[thread]} N.m",
        "IEC 60999-1 and IEC 60947-1, test torques",
        "from-memory",
    )
