"""A number with its unit; unit symbols and spoken unit names.

Conversion is pint's work; this file only says which units a technician uses here, how they
are written and how they are spoken. A value keeps the digits as they were said (Decimal), so
"two four decimal one zero" stays 24.10.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from functools import cache

import pint

from assistant.errors import UnitError


@dataclass(frozen=True)
class Unit:
    """One unit: canonical name, symbol, spoken forms, pint's name, and the SI unit it becomes."""

    name: str
    symbol: str
    singular: str
    plural: str
    pint: str
    also: tuple[str, ...] = ()  # further spoken forms that are understood


_UNITS = (
    Unit("volt", "V", "volt", "volts", "volt"),
    Unit("millivolt", "mV", "millivolt", "millivolts", "millivolt", ("milli volts",)),
    Unit("kilovolt", "kV", "kilovolt", "kilovolts", "kilovolt", ("kilo volts",)),
    Unit("ampere", "A", "amp", "amps", "ampere", ("ampere", "amperes")),
    Unit("milliampere", "mA", "milliamp", "milliamps", "milliampere", ("milli amps",)),
    Unit("ohm", "ohm", "ohm", "ohms", "ohm"),
    Unit("milliohm", "mohm", "milliohm", "milliohms", "milliohm", ("milli ohms",)),
    Unit("kilohm", "kohm", "kilohm", "kilohms", "kiloohm", ("kilo ohms", "k ohms")),
    Unit("megohm", "Mohm", "megohm", "megohms", "megaohm", ("meg ohms", "mega ohms", "meg")),
    Unit("gigohm", "Gohm", "gigohm", "gigohms", "gigaohm", ("gig ohms", "giga ohms")),
    Unit("second", "s", "second", "seconds", "second"),
    Unit("minute", "min", "minute", "minutes", "minute"),
    Unit("hour", "h", "hour", "hours", "hour"),
    Unit("day", "d", "day", "days", "day"),
    Unit("metre", "m", "metre", "metres", "meter", ("meter", "meters")),
    Unit("centimetre", "cm", "centimetre", "centimetres", "centimeter",
         ("centimeter", "centimeters")),
    Unit("millimetre", "mm", "millimetre", "millimetres", "millimeter",
         ("millimeter", "millimeters", "mils metric")),
    Unit("inch", "in", "inch", "inches", "inch"),
    Unit("foot", "ft", "foot", "feet", "foot"),
    Unit("newton", "N", "newton", "newtons", "newton"),
    Unit("newton-metre", "N.m", "newton metre", "newton metres", "newton * meter",
         ("newton meter", "newton meters")),
    Unit("pound-inch", "lbf.in", "inch pound", "inch pounds", "force_pound * inch",
         ("pound inches", "pound inch")),
    Unit("hertz", "Hz", "hertz", "hertz", "hertz"),
    Unit("kilohertz", "kHz", "kilohertz", "kilohertz", "kilohertz"),
    Unit("microhenry", "uH", "microhenry", "microhenries", "microhenry", ("micro henries",)),
    Unit("microfarad", "uF", "microfarad", "microfarads", "microfarad", ("micro farads",)),
    Unit("celsius", "degC", "degree", "degrees", "degree_Celsius",
         ("degrees celsius", "degree celsius", "celsius")),
    Unit("fahrenheit", "degF", "degree fahrenheit", "degrees fahrenheit", "degree_Fahrenheit",
         ("fahrenheit",)),
    Unit("percent", "%", "percent", "percent", "percent"),
    Unit("watt", "W", "watt", "watts", "watt"),
    Unit("kilowatt", "kW", "kilowatt", "kilowatts", "kilowatt"),
    Unit("horsepower", "hp", "horsepower", "horsepower", "horsepower"),
    Unit("volt-ampere", "VA", "volt amp", "volt amps", "volt * ampere"),
    Unit("square-millimetre", "mm2", "square millimetre", "square millimetres",
         "millimeter ** 2", ("square millimeter", "square millimeters")),
    Unit("metre-per-second", "m/s", "metre per second", "metres per second", "meter / second",
         ("meters per second", "meter per second")),
    Unit("kilometre-per-hour", "km/h", "kilometre per hour", "kilometres per hour",
         "kilometer / hour", ("kilometers per hour", "kilometer per hour")),
    Unit("mile-per-hour", "mph", "mile per hour", "miles per hour", "mile / hour"),
    Unit("foot-per-second", "ft/s", "foot per second", "feet per second", "foot / second"),
    Unit("inch-per-second", "in/s", "inch per second", "inches per second", "inch / second"),
    Unit("metre-per-second-squared", "m/s2", "metre per second squared",
         "metres per second squared", "meter / second ** 2",
         ("meters per second squared", "meter per second squared")),
    Unit("joule", "J", "joule", "joules", "joule"),
    Unit("kilojoule", "kJ", "kilojoule", "kilojoules", "kilojoule", ("kilo joules",)),
    Unit("kilowatt-hour", "kWh", "kilowatt hour", "kilowatt hours", "kilowatt * hour"),
    Unit("cubic-metre-per-second", "m3/s", "cubic metre per second", "cubic metres per second",
         "meter ** 3 / second", ("cubic meters per second", "cubic meter per second")),
    Unit("cubic-foot-per-minute", "cfm", "cubic foot per minute", "cubic feet per minute",
         "foot ** 3 / minute"),
    Unit("one", "", "", "", "dimensionless"),
)  # fmt: skip

UNITS: dict[str, Unit] = {unit.name: unit for unit in _UNITS}
_BY_SYMBOL: dict[str, Unit] = {unit.symbol: unit for unit in _UNITS if unit.symbol}
_BY_SYMBOL |= {"Nm": UNITS["newton-metre"], "lbf-in": UNITS["pound-inch"], "Ω": UNITS["ohm"]}
_BY_SYMBOL |= {"kΩ": UNITS["kilohm"], "MΩ": UNITS["megohm"], "lb-in": UNITS["pound-inch"]}


@cache
def registry() -> pint.UnitRegistry:
    """The one pint registry; building it takes a third of a second, so it waits for first use."""
    return pint.UnitRegistry(non_int_type=Decimal)


def unit(name: str) -> Unit:
    """The unit of a canonical name or symbol.

    Raises
    ------
    UnitError
        If no such unit is known; names close ones.
    """
    found = UNITS.get(name) or _BY_SYMBOL.get(name)
    if found:
        return found
    import difflib

    close = difflib.get_close_matches(name, [*UNITS, *_BY_SYMBOL], n=2, cutoff=0.5)
    hint = f"; use {' or '.join(repr(c) for c in close)}" if close else ""
    raise UnitError(f"unit '{name}' is not known{hint}")


@cache
def spoken_units() -> dict[str, str]:
    """Every spoken form of a unit -> canonical name."""
    table: dict[str, str] = {}
    for each in _UNITS:
        for form in (each.singular, each.plural, *each.also):
            if form:
                table.setdefault(form, each.name)
    return table


@cache
def same_dimension(a: str, b: str) -> bool:
    """True if a value in unit `a` can be converted to unit `b`."""
    ureg = registry()
    return bool(ureg.Unit(unit(a).pint).is_compatible_with(ureg.Unit(unit(b).pint)))


@cache
def _linear(a: str, b: str) -> tuple[Decimal, Decimal]:
    """Scale and offset that take a value in `a` to `b`; pint is asked once a pair."""
    ureg = registry()
    try:
        zero = ureg.Quantity(Decimal(0), unit(a).pint).to(unit(b).pint).magnitude
        one = ureg.Quantity(Decimal(1), unit(a).pint).to(unit(b).pint).magnitude
    except pint.DimensionalityError as error:
        raise UnitError(f"a value in {a} can't be given in {b}: {error}") from error
    return Decimal(one) - Decimal(zero), Decimal(zero)


@cache
def si_unit(name: str) -> str:
    """Symbol of the SI base or derived unit that values in `name` are logged in."""
    return _SI.get(name, unit(name).symbol)


_SI_OF = {
    "V": ("volt", "millivolt", "kilovolt"),
    "A": ("ampere", "milliampere"),
    "ohm": ("ohm", "milliohm", "kilohm", "megohm", "gigohm"),
    "s": ("second", "minute", "hour", "day"),
    "m": ("metre", "centimetre", "millimetre", "inch", "foot"),
    "N": ("newton",),
    "N.m": ("newton-metre", "pound-inch"),
    "Hz": ("hertz", "kilohertz"),
    "degC": ("celsius", "fahrenheit"),
    "W": ("watt", "kilowatt", "horsepower"),
    "m/s": (
        "metre-per-second",
        "kilometre-per-hour",
        "mile-per-hour",
        "foot-per-second",
        "inch-per-second",
    ),
    "J": ("joule", "kilojoule", "kilowatt-hour"),
    "m3/s": ("cubic-metre-per-second", "cubic-foot-per-minute"),
}
_SI = {name: symbol for symbol, names in _SI_OF.items() for name in names}


@dataclass(frozen=True)
class Quantity:
    """A number with its unit.

    value: the digits as said. unit: canonical unit name.
    """

    value: Decimal
    unit: str

    def to(self, name: str) -> Quantity:
        """The same quantity in another unit; UnitError if the dimensions differ."""
        target = unit(name).name
        if target == self.unit:
            return self
        scale, offset = _linear(self.unit, target)
        return Quantity(self.value * scale + offset, target)

    def si(self) -> tuple[float, str]:
        """(value, symbol) in the SI unit that the log keeps; 0.25 megohm -> (250000.0, 'ohm')."""
        symbol = si_unit(self.unit)
        return float(self.to(_BY_SYMBOL[symbol].name if symbol else "one").value), symbol

    def written(self) -> str:
        """For the screen and the record: '24.10 V'."""
        symbol = unit(self.unit).symbol
        text = format(self.value, "f")
        return f"{text} {symbol}" if symbol else text


_FRACTION = re.compile(r"(?:(\d+)-)?(\d+)/(\d+)")


def _decimal(number: str) -> Decimal:
    """'24.10', '1/2' or '1-1/2'; ArithmeticError if it is none of these."""
    found = _FRACTION.fullmatch(number)
    if not found:
        return Decimal(number)
    whole, above, below = found.groups()
    return Decimal(whole or 0) + Decimal(above) / Decimal(below)


def quantity(text: str) -> Quantity:
    """Read '480 V', '0.5 megohm' or '1-1/2 hp' as written in packs, jobs and commands.

    Raises
    ------
    UnitError
        If the text isn't a number and a known unit.
    """
    number, _, name = text.strip().partition(" ")
    try:
        value = _decimal(number)
    except ArithmeticError as error:
        raise UnitError(
            f"'{text}' is not a number and a unit; write for example '480 V'"
        ) from error
    if not value.is_finite():
        raise UnitError(f"'{text}' is not a finite number")
    return Quantity(value, unit(name.strip()).name if name.strip() else "one")
