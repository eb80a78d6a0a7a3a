"""How numbers look in a calculator's working. Only here are they rounded; limits never are."""

from __future__ import annotations

from decimal import Decimal

from assistant.quantity import Quantity, unit


def shown(value: Quantity | Decimal, significant: int = 4) -> str:
    """A value with its unit symbol, rounded for the eye to `significant` digits."""
    number = value.value if isinstance(value, Quantity) else value
    if number:
        rounded = round(number, significant - 1 - number.adjusted())
        digits = format(rounded, "f")
        text = digits.rstrip("0").rstrip(".") if "." in digits else digits
    else:
        text = "0"
    symbol = unit(value.unit).symbol if isinstance(value, Quantity) else ""
    return f"{text} {symbol}" if symbol else text
