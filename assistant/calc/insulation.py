"""Insulation resistance: test voltage and lowest value by circuit."""

from __future__ import annotations

from decimal import Decimal

from assistant.calc.base import Input, Result, calculator
from assistant.calc.working import shown
from assistant.errors import RangeError
from assistant.quantity import Quantity


@calculator(
    "insulation-minimum",
    "Test voltage and lowest insulation resistance",
    Input("nominal", "volt", "nominal voltage of the circuit", low=1, high=1000),
    Input(
        "circuit",
        "",
        "extra-low is SELV or PELV; FELV counts as ordinary",
        choices=("ordinary", "extra-low"),
        default="ordinary",
    ),
    Input(
        "electronics",
        "",
        "connected only if it can't be unplugged, with live conductors joined",
        choices=("unplugged", "connected"),
        default="unplugged",
    ),
)
def insulation_minimum(nominal: Quantity, circuit: str, electronics: str) -> Result:
    """Test voltage (direct) and the least insulation resistance of a circuit.

    Parameters
    ----------
    nominal : Quantity
        Nominal voltage of the circuit. [V]
    circuit : str
        "ordinary" or "extra-low" (SELV, PELV up to 50 V AC).
    electronics : str
        "unplugged", or "connected" where it can't be, up to 500 V only.

    Returns
    -------
    Result
        `minimum` [megohm] and `test-voltage` [V]; `at_least` is the minimum.

    Raises
    ------
    RangeError
        If an extra-low circuit is above 50 V, or electronics stay connected above 500 V.

    References
    ----------
    .. [1] IEC 60364-6, table 6.1 in the 2016 edition, and the note on surge devices and
       electronics (read in a rule book and a guide that give the same values).
    """
    minimum = Decimal("1.0")
    if circuit == "extra-low":
        if nominal.value > 50:
            raise RangeError("nominal", nominal.written(), "50 V or less for an extra-low circuit")
        test, minimum = Decimal(250), Decimal("0.5")
    elif nominal.value <= 500:
        test = Decimal(500)
    else:
        test = Decimal(1000)
    if electronics == "connected" and circuit == "ordinary":
        if nominal.value > 500:
            raise RangeError(
                "electronics", "connected above 500 V", "unplugged before a test at 1000 V"
            )
        test = Decimal(250)
    least = Quantity(minimum, "megohm")
    return Result(
        values={"minimum": least, "test-voltage": Quantity(test, "volt")},
        working=(
            f"{circuit} circuit of {shown(nominal)}, electronics {electronics}",
            f"test with {shown(test)} V direct voltage, at least {shown(least)}",
        ),
        source="IEC 60364-6, table of insulation resistance",
        kind="published",
        at_least=least,
        assumptions=("the circuit is dead and cut off from others",),
        warnings=("never into electronics that is plugged in; discharge after the test",),
    )


# IEEE 43, least resistance of a winding at 40 degC, from memory. [megohm]
WINDINGS = {"random-wound": Decimal(5), "form-wound": Decimal(100)}


@calculator(
    "insulation-corrected",
    "Insulation of a winding brought to 40 degC, and the least reading",
    Input("reading", "megohm", "measured after one minute", low=0, high=1_000_000),
    Input("temperature", "celsius", "of the winding", low=-20, high=90),
    Input(
        "winding",
        "",
        "old: before about 1970",
        choices=(*WINDINGS, "old"),
        default="random-wound",
    ),
    Input("rated", "kilovolt", "rated voltage, for an old one", low=0, high=1, default="0.4 kV"),
)
def insulation_corrected(
    reading: Quantity, temperature: Quantity, winding: str, rated: Quantity
) -> Result:
    """What a reading would be at 40 degC, and the limit on a reading at the winding's temperature.

    Parameters
    ----------
    reading : Quantity
        Insulation resistance after one minute. [megohm]
    temperature : Quantity
        Of the winding, above the dew point. [degC]
    winding : str
        "random-wound" (door motors), "form-wound", or "old".
    rated : Quantity
        Rated voltage line to line; an old winding's least is kV + 1 megohm. [kV]

    Returns
    -------
    Result
        `corrected` to 40 degC and `minimum` there [megohm], `factor`; `at_least` is the limit on
        the reading itself, never below the 1 megohm of a circuit.

    References
    ----------
    .. [1] IEEE 43: halves for every 10 K; least 5 megohm random-wound below 1 kV, 100 form-wound,
       kV + 1 old, at 40 degC (from memory). IEC 60364-6: 1 megohm for the circuit.
    """
    factor = Decimal(2) ** ((temperature.value - 40) / 10)
    corrected = Quantity(reading.value * factor, "megohm")
    minimum = Quantity(WINDINGS.get(winding, rated.value + 1), "megohm")
    least = Quantity(max(minimum.value / factor, Decimal(1)), "megohm")
    return Result(
        values={
            "corrected": corrected,
            "minimum": minimum,
            "factor": Quantity(factor, "one"),
        },
        working=(
            f"factor = 2 to the power of ({shown(temperature.value)} - 40) / 10 = {shown(factor)}",
            f"at 40 degC: {shown(reading)} x {shown(factor)} = {shown(corrected)},"
            f" at least {shown(minimum)}",
            f"so at {shown(temperature)} a reading of at least {shown(least)}",
        ),
        source="IEEE 43, winding insulation at 40 degC",
        kind="from-memory",
        at_least=least,
        assumptions=("winding above the dew point, drive unplugged, read after one minute",),
        warnings=("never into a drive; discharge after the test",),
    )


@calculator(
    "winding-limit",
    "Least insulation reading of a winding at its temperature",
    Input("temperature", "celsius", "of the winding", low=-20, high=90),
    Input(
        "winding",
        "",
        "old: before about 1970",
        choices=(*WINDINGS, "old"),
        default="random-wound",
    ),
    Input("rated", "kilovolt", "rated voltage, for an old one", low=0, high=1, default="0.4 kV"),
)
def winding_limit(temperature: Quantity, winding: str, rated: Quantity) -> Result:
    """Limit on a reading that is still to be taken; `insulation-corrected` has the rule.

    Parameters
    ----------
    temperature, winding, rated
        As in `insulation-corrected`.

    Returns
    -------
    Result
        `least`, also as `at_least`. [megohm]

    References
    ----------
    .. [1] As in `insulation-corrected`.
    """
    # Halving for every 10 K is a pure factor, so the limit does not depend on the reading.
    found = insulation_corrected(Quantity(Decimal(1), "megohm"), temperature, winding, rated)
    assert found.at_least is not None
    return Result(
        values={"least": found.at_least},
        working=(
            found.working[0],
            f"at 40 degC at least {shown(found.values['minimum'])}",
            found.working[2],
        ),
        source=found.source,
        kind=found.kind,
        at_least=found.at_least,
        assumptions=found.assumptions,
        warnings=found.warnings,
    )
