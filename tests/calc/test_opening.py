"""Air through a hall's opening against worked examples and a chimney solved with scipy."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants, integrate

from assistant.calc import calculate
from assistant.errors import RangeError
from assistant.quantity import Quantity

HALL = {"width": "2 m", "height": "2 m", "drop": "1 m", "inside": "18 degC", "outside": "-5 degC"}


def value(result, name):
    return float(result.values[name].value)


def test_stack_flow_agrees_with_the_worked_example(work):
    """standards.md E27 (derived): formula of ASHRAE Fundamentals 1997 (published, S56)."""
    assert value(work("opening-stack-flow", **HALL), "air") == pytest.approx(2.507, abs=2e-3)


def test_stack_flow_agrees_with_the_pressure_of_two_air_columns(work):
    """Weight of the columns integrated by scipy drives a stream through the same opening.

    Speed from Bernoulli with the warm air's density, dry ideal gas; the formula's own discharge
    coefficient at 23 K, 0.5035 (standards.md E27).
    """

    def density(kelvin):
        return 101325 / (287.055 * kelvin)

    cold, warm = density(268.15), density(291.15)
    pressure, _ = integrate.quad(lambda _: (cold - warm) * constants.g, 0, 1.0)
    speed = math.sqrt(2 * pressure / cold)
    found = work("opening-stack-flow", **HALL)
    assert value(found, "air") == pytest.approx(0.5035 * 4 * speed, rel=2e-3)
    assert value(found, "heat") == pytest.approx(value(found, "air") * cold * 1.006 * 23, rel=1e-3)


@pytest.mark.parametrize(
    ("facing", "low", "high"),
    # ASHRAE Fundamentals: 0.5 to 0.6 square on, 0.25 to 0.35 diagonal (from memory).
    [("square", 0.5, 0.6), ("diagonal", 0.25, 0.35)],
)
def test_wind_flow_lies_in_the_handbooks_range(work, facing, low, high):
    found = work("opening-wind-flow", width="3 m", height="4 m", wind="3 m/s", facing=facing)
    assert low * 36 < value(found, "air") < high * 36


def test_wind_flow_agrees_with_the_worked_example(work):
    """standards.md E28 (derived): 12 m2 at 3 m/s, 19.8 m3/s."""
    found = work("opening-wind-flow", width="3 m", height="4 m", wind="3 m/s")
    assert value(found, "air") == pytest.approx(19.8)
    assert any("unverified" in each for each in found.warnings)


@given(st.decimals("-20", "39", places=1), st.decimals("0", "20", places=1))
def test_more_warmth_moves_more_air_and_none_moves_none(outside, rise):
    def air(inside):
        given_ = {
            **HALL,
            "inside": Quantity(inside, "celsius"),
            "outside": Quantity(outside, "celsius"),
        }
        return calculate("opening-stack-flow", given_).values["air"].value

    assert air(outside) == 0
    assert air(outside + rise) <= air(outside + rise + 1)


def test_no_height_and_no_wind_move_nothing(work):
    assert value(work("opening-stack-flow", **{**HALL, "drop": "0 m"}), "air") == 0
    assert value(work("opening-wind-flow", width="3 m", height="4 m", wind="0 m/s"), "air") == 0


def test_a_cold_hall_and_a_negative_wind_are_refused(work):
    with pytest.raises(RangeError, match="18 degC or more"):
        work("opening-stack-flow", **{**HALL, "inside": "-5 degC", "outside": "18 degC"})
    with pytest.raises(RangeError, match="from 0 to 40 metre-per-second"):
        work("opening-wind-flow", width="3 m", height="4 m", wind="-1 m/s")
