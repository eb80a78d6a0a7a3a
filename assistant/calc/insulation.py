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
