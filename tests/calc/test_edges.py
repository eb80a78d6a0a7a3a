"""Resistive edges against the trade's table and the tolerance bands of resistors."""

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.calc import calculate
from assistant.errors import RangeError
from assistant.quantity import Quantity


def value(result, name):
    return float(result.values[name].value)


def test_window_of_an_8_2_kilohm_edge(work):
    """standards.md C.6 (common practice): 7.0 to 9.4, shorted below 5, open above 12 kohm."""
    found = work("edge-resistor-window")
    assert float(found.at_least.value) == pytest.approx(7.0, abs=0.05)
    assert float(found.at_most.value) == pytest.approx(9.4, abs=0.05)
    assert value(found, "shorted-below") == pytest.approx(5)
    assert value(found, "open-above") == pytest.approx(12)


@pytest.mark.parametrize(
    ("tolerance", "low", "high"),
    [
        ("5 %", 7.79, 8.61),  # E24 series part, band of IEC 60062 (derived in standards.md)
        ("10 %", 7.38, 9.02),  # E12
    ],
)
def test_a_sound_resistor_lies_in_the_window(work, tolerance, low, high):
    found = work("edge-resistor-window", tolerance=tolerance)
    assert value(found, "part-lowest") == pytest.approx(low)
    assert value(found, "part-highest") == pytest.approx(high)
    assert float(found.at_least.value) < low < high < float(found.at_most.value)


def test_leads_widen_the_window_upwards_by_their_own_resistance_as_pint_adds_it(work):
    ureg = pint.UnitRegistry()
    bare, long = work("edge-resistor-window"), work("edge-resistor-window", leads="120 ohm")
    top = ureg.Quantity(float(bare.at_most.value), "kiloohm") + ureg.Quantity(120, "ohm")
    assert float(long.at_most.value) == pytest.approx(top.to("kiloohm").magnitude)
    assert long.at_least == bare.at_least


@pytest.mark.parametrize(
    ("measured", "state"),
    [
        # standards.md C.6, row by row (common practice, no source).
        ("8.2 kohm", "healthy"),
        ("7 kohm", "healthy"),
        ("9.4 kohm", "healthy"),
        ("6 kohm", "marginal"),
        ("11 kohm", "marginal"),
        ("300 ohm", "pressed or shorted"),
        ("0 ohm", "pressed or shorted"),
        ("100 Mohm", "open"),
        ("4.1 kohm", "two resistors in parallel"),
        ("16.4 kohm", "two resistors in series"),
        ("0.82 kohm", "a tenth"),
        ("82 kohm", "ten times"),
    ],
)
def test_a_reading_means_what_the_table_says(work, measured, state):
    found = work("edge-reading", measured=measured)
    assert state in found.words["state"]
    assert bool(found.warnings) == (state != "healthy")
    assert value(found, "healthy") == (state == "healthy")


@given(st.decimals(0, 100, places=3))
def test_healthy_is_exactly_the_window(kilohm):
    found = calculate("edge-reading", {"measured": Quantity(kilohm, "kilohm")})
    inside = found.at_least.value <= kilohm <= found.at_most.value
    assert found.values["healthy"].value == inside


@pytest.mark.parametrize(
    ("given_", "valid"),
    [
        ({"resistor": "0 ohm"}, "from 0.1 to 100 kilohm"),
        ({"window": "5 %", "tolerance": "10 %"}, "10 % or more"),
        ({"window": "50 %"}, "from 1 to 38 percent"),
        ({"leads": "-1 ohm"}, "from 0 to 500 ohm"),
        ({"resistor": "8 V"}, "given in kilohm"),
    ],
)
def test_what_is_no_edge_is_refused(work, given_, valid):
    with pytest.raises(RangeError, match=valid):
        work("edge-resistor-window", **given_)


def test_a_pressed_edge_is_limited_to_what_counts_as_shorted(work):
    """standards.md C.6 (common practice): pressed or shorted below 5 kohm of 8.2 kohm."""
    found = work("edge-resistor-window", state="pressed")
    assert found.at_least is None and float(found.at_most.value) == pytest.approx(5)
