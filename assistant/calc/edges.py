"""Resistive safety edges: the window of the end-of-line resistor, and what a reading means."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity

# Outer bounds as a part of the nominal value: below, pressed or shorted; above, open.
# For 8.2 kohm they are 5 and 12 kohm.
SHORT_PART = Decimal(5) / Decimal("8.2")
OPEN_PART = Decimal(12) / Decimal("8.2")
# Ratio of reading to nominal -> what is likely wrong; each within the resistors' tolerance.
LIKELY = (
    (Decimal("0.5"), "two resistors in parallel; remove one"),
    (Decimal(2), "two resistors in series; remove one"),
    (Decimal("0.1"), "wrong resistor, a tenth of it; check the colour code"),
    (Decimal(10), "wrong resistor, ten times as much; check the colour code"),
)

_RESISTOR = Input(
    "resistor", "kilohm", "end-of-line resistor, nominal", low=0.1, high=100, default="8.2 kohm"
)
_WINDOW = Input(
    "window", "percent", "healthy band around the nominal value", low=1, high=38, default="15 %"
)
_PART = Input("tolerance", "percent", "of the resistor itself", low=0, high=20, default="5 %")
_LEADS = Input("leads", "ohm", "resistance of the lead, both cores", low=0, high=500, default="0")
_SOURCE = "edge with an end-of-line resistor, 15 percent around it"


def _window(
    resistor: Quantity, window: Quantity, tolerance: Quantity, leads: Quantity
) -> tuple[Decimal, Decimal, Decimal, Decimal]:
    """(shorted below, lowest healthy, highest healthy, open above), leads counted. [kohm]"""
    if tolerance.value > window.value:
        raise RangeError(
            "window", window.written(), f"the resistor's {tolerance.written()} or more"
        )
    part, lead = window.value / 100, leads.value / 1000
    low, high = resistor.value * (1 - part), resistor.value * (1 + part)
    return resistor.value * SHORT_PART, low, high + lead, resistor.value * OPEN_PART + lead


@calculator(
    "edge-resistor-window",
    "Healthy window of a resistive edge",
    _RESISTOR,
    _WINDOW,
    _PART,
    _LEADS,
    Input("state", "", "which reading is limited", choices=("idle", "pressed"), default="idle"),
)
def edge_resistor_window(
    resistor: Quantity, window: Quantity, tolerance: Quantity, leads: Quantity, state: str
) -> Result:
    """Limits on the resistance of an edge, measured at the panel with its lead unplugged.

    Parameters
    ----------
    resistor : Quantity
        Nominal value of the end-of-line resistor. [kohm]
    window : Quantity
        Band that counts as healthy. [percent]
    tolerance : Quantity
        Of the resistor itself; not above the window. [percent]
    leads : Quantity
        Resistance of the lead, both cores together; it widens the window upwards. [ohm]
    state : str
        "idle" limits the reading to the healthy window, "pressed" to below `shorted-below`.

    Returns
    -------
    Result
        `expected`, `part-lowest` and `part-highest` of a sound resistor with its lead,
        `shorted-below` and `open-above` [kohm]; `at_least` and `at_most` of the state.

    Raises
    ------
    RangeError
        If the window is narrower than the resistor's tolerance.

    References
    ----------
    .. [1] 8.2 kohm, 15 percent, and the bounds 5 and 12 kohm, scaled to other resistors: common
       practice. ISO 13856-2 sets principles of edges and fixes no resistor.
    """
    short, low, high, broken = _window(resistor, window, tolerance, leads)
    part, lead = tolerance.value / 100, leads.value / 1000
    values = {
        "expected": resistor.value + lead,
        "part-lowest": resistor.value * (1 - part) + lead,
        "part-highest": resistor.value * (1 + part) + lead,
        "shorted-below": short,
        "open-above": broken,
    }
    return Result(
        values={name: Quantity(value, "kilohm") for name, value in values.items()},
        working=(
            f"idle: {shown(resistor)} less {shown(window)} = {shown(low)} kohm",
            f"to {shown(resistor)} plus {shown(window)}, lead {shown(leads)} = {shown(high)} kohm",
            f"below {shown(short)} kohm pressed or shorted, above {shown(broken)} kohm open",
        ),
        source=_SOURCE,
        kind="common-practice",
        at_least=Quantity(low, "kilohm") if state == "idle" else None,
        at_most=Quantity(high if state == "idle" else short, "kilohm"),
        assumptions=("edge lead unplugged from the panel, edge dry",),
        warnings=("the panel's own window wins", "test pressed and idle, left, middle and right"),
    )


@calculator(
    "edge-reading",
    "What a reading of a resistive edge means",
    Input("measured", "kilohm", "reading at the panel, edge unplugged", low=0, high=100_000),
    _RESISTOR,
    _WINDOW,
    _PART,
    _LEADS,
)
def edge_reading(
    measured: Quantity, resistor: Quantity, window: Quantity, tolerance: Quantity, leads: Quantity
) -> Result:
    """Meaning of a reading: idle, marginal, pressed or shorted, open, or a wrong resistor.

    Parameters
    ----------
    measured : Quantity
        Reading at the panel. [kohm]
    resistor, window, tolerance, leads
        As for `edge_resistor_window`.

    Returns
    -------
    Result
        `ratio` of the reading, less the leads, to the nominal value [percent], and `healthy`,
        1 or 0; the word `state`, what it means, and a fault as a warning; `at_least` and
        `at_most` as for the window.

    Raises
    ------
    RangeError
        If the window is narrower than the resistor's tolerance.

    References
    ----------
    .. [1] As for `edge_resistor_window`: common practice.
    """
    short, low, high, broken = _window(resistor, window, tolerance, leads)
    ratio = max(measured.value - leads.value / 1000, Decimal(0)) / resistor.value
    part = tolerance.value / 100
    likely = next((text for at, text in LIKELY if abs(ratio / at - 1) <= part), "")
    if low <= measured.value <= high:
        state, likely = "idle, healthy", ""
    elif measured.value < short:
        state = "pressed or shorted"
    elif measured.value > broken:
        state = "open: broken wire or missing resistor"
    else:
        state = "marginal: look for moisture or a bad joint"
    said = f"{state}; or {likely}" if likely else state
    return Result(
        values={
            "ratio": Quantity(100 * ratio, "percent"),
            "healthy": Quantity(Decimal(state == "idle, healthy"), "one"),
        },
        working=(
            f"window {shown(low)} to {shown(high)} kohm, shorted below {shown(short)}, "
            f"open above {shown(broken)} kohm",
            f"{shown(measured)}, leads {shown(leads)}: {shown(100 * ratio)} % of {shown(resistor)}",
            said,
        ),
        source=_SOURCE,
        kind="common-practice",
        at_least=Quantity(low, "kilohm"),
        at_most=Quantity(high, "kilohm"),
        assumptions=("edge lead unplugged from the panel",),
        warnings=() if state == "idle, healthy" else (said,),
        words={"state": said},
    )
