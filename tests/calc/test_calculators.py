"""What holds for every calculator on the list."""

import inspect
from decimal import Decimal

import pytest

from assistant.calc import CALCULATORS, calculate
from assistant.calc.base import UNVERIFIED
from assistant.errors import RangeError, UnitError
from assistant.quantity import quantity, unit

SOUND = {
    "supply-tolerance": {"nominal": "480 V"},
    "voltage-unbalance": {"volts": tuple(quantity(v) for v in ("480 V", "476 V", "472 V"))},
    "motor-derating": {"unbalance": "2 percent"},
    "line-to-earth": {"nominal": "480 V"},
    "supply-plausibility": {"measured": "478 V", "nominal": "480 V"},
    "control-voltage": {"nominal": "24 V"},
    "dead-test": {},
    "dc-bus-voltage": {"line": "480 V"},
    "dc-bus-wait": {"bus": "680 V", "capacitance": "1000 uF", "resistance": "47 kohm"},
    "conductor-size": {"section": "12 AWG"},
    "earth-continuity": {"length": "85 ft", "section": "12 AWG"},
    "insulation-minimum": {"nominal": "480 V"},
    "travel-time-guard": {"times": (quantity("5 s"),)},
    "closing-force-limit": {"gap": "300 mm"},
    "force-time-limit": {},
    "residual-force-limit": {},
    "closing-force": {"peaks": (quantity("300 N"),) * 3, "gap": "50 mm"},
    "force-trace": {
        "times": tuple(quantity(t) for t in ("0 s", "0.3 s", "5 s")),
        "forces": tuple(quantity(f) for f in ("300 N", "0 N", "0 N")),
        "gap": "50 mm",
    },
    "beam-disable-position": {"beam": "300 mm"},
}


@pytest.mark.parametrize("name", SOUND)
def test_result_says_where_it_comes_from_and_how_it_was_worked_out(name):
    found = calculate(name, SOUND[name])
    assert found.source
    assert found.kind in ("published", "from-memory", "common-practice", "derived")
    assert found.working
    for each in (*found.values.values(), found.at_least, found.at_most):
        assert each is None or unit(each.unit).name == each.unit


@pytest.mark.parametrize("name", CALCULATORS)
def test_inputs_are_the_parameters_and_the_docstring_says_units(name):
    each = CALCULATORS[name]
    wanted = [i.name.replace("-", "_") for i in each.inputs]
    assert list(inspect.signature(each.function).parameters) == wanted
    text = each.function.__doc__ or ""
    assert "Parameters" in text and "References" in text
    assert all(i.help for i in each.inputs)


@pytest.mark.parametrize("name", SOUND)
def test_an_input_that_is_none_is_refused(name):
    with pytest.raises(RangeError, match="not an input"):
        calculate(name, {**SOUND[name], "colour": "red"})


def test_an_unknown_calculator_is_refused_with_those_there_are():
    with pytest.raises(RangeError, match="voltage-unbalance"):
        calculate("horoscope", {})


def test_a_result_from_memory_comes_with_a_warning_that_says_so():
    """IEC 60204-1 was not read, NEMA MG 1 was (trade facts, section B.9)."""
    assert UNVERIFIED in calculate("supply-tolerance", {"nominal": "400 V"}).warnings
    american = {"nominal": "480 V", "code-set": "american"}
    assert UNVERIFIED not in calculate("supply-tolerance", american).warnings


def test_fractions_of_a_horsepower_are_read_as_they_are_stamped():
    assert quantity("1/2 hp").value == Decimal("0.5")
    assert quantity("1-1/2 hp").value == Decimal("1.5")
    for bad in ("1/0 V", "1/2/3 V", "-/2 V", "1-2 V"):
        with pytest.raises(UnitError, match="not a number"):
            quantity(bad)
