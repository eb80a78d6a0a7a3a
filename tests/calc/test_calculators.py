"""What holds for every calculator on the list."""

import inspect
from decimal import Decimal

import pytest

from assistant.calc import CALCULATORS, calculate
from assistant.calc.base import UNVERIFIED
from assistant.errors import RangeError, UnitError
from assistant.quantity import quantity, unit

FREEZER = {"width": "2.4 m", "height": "3 m", "inside": "-20 degC", "outside": "5 degC"}
TRAFFIC = {"cycles": "30", "opening": "3 s", "dwell": "8 s", "closing": "5 s", "price": "0.20"}
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
    "motor-current-table": {"power": "5 hp", "volts": "460 V"},
    "motor-current": {
        "power": "1.1 kW",
        "volts": "400 V",
        "efficiency": "82 percent",
        "power-factor": "0.8",
    },
    "motor-heat-rise": {"unbalance": "2 percent"},
    "branch-conductor": {"current": "7.6 A"},
    "short-circuit-protection": {"current": "7.6 A", "device": "time-delay-fuse"},
    "overload-setting": {"current": "7.2 A"},
    "earth-conductor": {"section": "12 AWG", "device": "20 A"},
    "ampacity": {"section": "12 AWG"},
    "voltage-drop": {"current": "9 A", "length": "85 ft", "section": "12 AWG", "volts": "480 V"},
    "longest-run": {"current": "9 A", "section": "2.5 mm2", "volts": "400 V"},
    "conduit-fill": {"size": "1/2", "conductors": "4 x 12 AWG"},
    "control-transformer": {"loads": (quantity("17.1 VA"),)},
    "control-run": {"current": "0.5 A", "length": "300 ft", "section": "18 AWG"},
    "earth-loop": {
        "external": "0.35 ohm",
        "length": "30 m",
        "section": "2.5 mm2",
        "earth-section": "2.5 mm2",
    },
    "earth-loop-limit": {"to-earth": "230 V", "rating": "16 A"},
    "earth-electrode-limit": {"residual": "30 mA"},
    "fault-path": {"to-earth": "277 V", "rating": "20 A"},
    "insulation-corrected": {"reading": "100 Mohm", "temperature": "20 degC"},
    "loop-inductance": {"length": "8 ft", "width": "4 ft", "turns": "3"},
    "loop-turns": {"length": "8 ft", "width": "4 ft"},
    "loop-lead-in": {"loop": "72 uH", "lead": "100 ft"},
    "loop-group": {"loops": tuple(quantity(v) for v in ("72 uH", "72 uH"))},
    "loop-neighbours": {"first": "94 uH", "second": "142 uH"},
    "loop-insulation": {},
    "loop-clearance": {"length": "8 ft", "width": "4 ft"},
    "opening-stack-flow": {
        "width": "2 m",
        "height": "2 m",
        "drop": "1 m",
        "inside": "18 degC",
        "outside": "-5 degC",
    },
    "opening-wind-flow": {"width": "3 m", "height": "4 m", "wind": "3 m/s"},
    "loop-resistance": {"length": "8 ft", "width": "4 ft", "turns": "3", "section": "14 AWG"},
    "edge-resistor-window": {},
    "edge-reading": {"measured": "8.2 kohm"},
    "travel-time": {"height": "3 m", "speed": "1 m/s"},
    "stopping-distance": {"speed": "1 m/s", "reaction": "0.05 s", "braking": "2 m/s2"},
    "edge-closing-speed": {"give": "60 mm", "reaction": "0.05 s", "braking": "2 m/s2"},
    "guard-distance": {"stop": "0.165 s"},
    "sensor-reach": {"speed": "2 m/s", "opening": "3 s"},
    "approach-speed": {"reach": "8 m", "opening": "3 s"},
    "auto-close-dwell": {"vehicle": "4 m", "speed": "2 m/s"},
    "door-cycle": {"opening": "3 s", "dwell": "8 s", "closing": "5 s", "cycles": "30"},
    "doorway-exchange": FREEZER,
    "open-door-cost": {**FREEZER, **TRAFFIC},
    "housing-warmth": {"before": "18 degC"},
    "dwell-cost": {**FREEZER, "cycles": "30", "price": "0.20"},
    "dwell-saving": {**FREEZER, **TRAFFIC, "shorter": "3 s"},
    "tightening-torque": {"section": "12 AWG", "screw": "slotted"},
    "slotted-screw-torque": {"slot-length": "4 mm", "slot-width": "0.8 mm"},
    "socket-screw-torque": {"across": "3/16"},
    "metric-screw-torque": {"thread": "M4"},
    "drive-wait": {"line": "480 V"},
    "bus-voltage-left": {
        "bus": "680 V",
        "capacitance": "1000 uF",
        "resistance": "47 kohm",
        "time": "60 s",
    },
    "residual-charge": {"bus": "325 V", "capacitance": "0.1 uF"},
    "pair-resistance": {"length": "30 m", "section": "0.75 mm2"},
    "battery-voltage": {"nominal": "3.6 V"},
    "opening-size": {"ordered": "3.6 m"},
    "clear-room": {"needed": "450 mm"},
    "winding-balance": {"ohms": tuple(quantity(f"{ohms} ohm") for ohms in ("8.0", "8.1", "8.2"))},
    "working-space": {"nominal": "480 V"},
    "brake-coil": {"volts": "103 V", "power": "20 W"},
    "coil-voltage": {"supply": "230 V", "rectifier": "half-wave", "rated": "103 V"},
    "winding-limit": {"temperature": "20 degC"},
    "running-current": {"current": "3.2 A"},
    "overload-dial": {"current": "3.2 A", "sized": "4 A"},
    "current-unbalance": {"first": "3.0 A", "second": "3.1 A", "third": "3.2 A"},
    "next-service": {"cycles-a-day": "480", "every-cycles": "100000"},
    "daily-use": {"count": "91000", "last": "0", "days": "190 d"},
    "current-change": {"now": "2.1 A", "last": "2.0 A"},
    "insulation-change": {"now": "240 Mohm", "last": "480 Mohm"},
    "battery-change": {"now": "3.5 V", "last": "3.6 V"},
    "resistance-change": {"now": "8.3 kohm", "last": "8.2 kohm"},
    "time-change": {"now": "9.9 s", "last": "9.8 s"},
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
