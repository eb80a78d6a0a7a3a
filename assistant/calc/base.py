"""What a calculator is, and the list of them.

A calculator is a pure function from quantities to a `Result`; it states units, valid range,
assumptions and source, prints its working line by line, and refuses input outside its range.
`thirdhand calc`, a spoken question and a pack's computed limit use the same function.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from assistant.errors import RangeError
from assistant.quantity import Quantity, same_dimension

Given = Quantity | tuple[Quantity, ...] | str
UNVERIFIED = "unverified default, confirm with the adopted code"


@dataclass(frozen=True)
class Input:
    """One input: its unit (canonical name, or "" for a word), range in that unit, and help.

    many: it takes a list of quantities. choices: the words allowed, for a word. default: used
    when it isn't given (as written in a command), "" if it must be given.
    """

    name: str
    unit: str
    help: str
    low: float | None = None
    high: float | None = None
    many: bool = False
    choices: tuple[str, ...] = ()
    default: str = ""


@dataclass(frozen=True)
class Result:
    """What came out.

    values: name -> quantity, the main one first. at_least, at_most: the limits it sets on a
    reading, where it is a limit. working: lines a person can follow. source: title, edition,
    section. kind: "published", "from-memory", "common-practice" or "derived". words: name ->
    what came out as a word: a conductor size, a verdict.
    """

    values: dict[str, Quantity]
    working: tuple[str, ...]
    source: str
    kind: str
    at_least: Quantity | None = None
    at_most: Quantity | None = None
    assumptions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    words: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Calculator:
    """A named sum."""

    name: str
    title: str
    inputs: tuple[Input, ...]
    function: Callable[..., Result]


CALCULATORS: dict[str, Calculator] = {}


def calculator(name: str, title: str, *inputs: Input) -> Callable[..., Callable[..., Result]]:
    """Decorator that lists a function; its parameters are the inputs with "-" as "_"."""

    def keep(function: Callable[..., Result]) -> Callable[..., Result]:
        CALCULATORS[name] = Calculator(name, title, inputs, function)
        return function

    return keep


def calculate(name: str, given: Mapping[str, Given]) -> Result:
    """Run a calculator by name on checked, converted inputs.

    A result from memory comes with a warning that says so.

    Raises
    ------
    RangeError
        If the name or an input is unknown, missing, in a unit of another dimension, or out of
        range; the message says which and what is valid.
    """
    found = CALCULATORS.get(name)
    if found is None:
        raise RangeError("calculator", name, f"one of {', '.join(sorted(CALCULATORS))}")
    known = {each.name for each in found.inputs}
    for extra in given:
        if extra not in known:
            raise RangeError(f"input '{extra}'", "not an input", f"one of {', '.join(known)}")
    arguments: dict[str, Given] = {}
    for each in found.inputs:
        value = given.get(each.name, each.default or None)
        if value is None:
            raise RangeError(f"input '{each.name}'", "missing", each.help)
        arguments[each.name.replace("-", "_")] = _checked(each, value)
    result = found.function(**arguments)
    if result.kind == "from-memory":
        return replace(result, warnings=(*result.warnings, UNVERIFIED))
    return result


def _checked(wanted: Input, value: Given) -> Given:
    from assistant.quantity import quantity

    if not wanted.unit:
        if not isinstance(value, str) or (wanted.choices and value not in wanted.choices):
            raise RangeError(wanted.name, value, f"one of {', '.join(wanted.choices)}")
        return value
    many = value if isinstance(value, tuple) else (value,)
    if len(many) != 1 and not wanted.many:
        raise RangeError(wanted.name, f"{len(many)} values", "one value")
    checked = []
    for one in many:
        each = quantity(one) if isinstance(one, str) else one
        if each.unit == "one" and wanted.unit != "one":
            each = Quantity(each.value, wanted.unit)
        if not same_dimension(each.unit, wanted.unit):
            raise RangeError(wanted.name, each.written(), f"given in {wanted.unit}")
        number = each.to(wanted.unit)
        low, high = wanted.low, wanted.high
        too_low = low is not None and float(number.value) < low
        if too_low or (high is not None and float(number.value) > high):
            span = f"from {low if low is not None else '-'} to {high if high is not None else '-'}"
            name = "" if wanted.unit == "one" else wanted.unit  # "5000 one" is heard as 5001
            raise RangeError(wanted.name, each.written(), f"{span} {name}".rstrip())
        checked.append(number)
    return tuple(checked) if wanted.many else checked[0]
