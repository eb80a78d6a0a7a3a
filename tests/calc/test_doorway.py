"""Doorway exchange against a published formula's worked values and psychrometric tables."""

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from assistant.calc import calculate
from assistant.calc.doorway import density, enthalpy, moisture
from assistant.errors import RangeError
from assistant.quantity import Quantity

FREEZER = {"width": "2.4 m", "height": "3.0 m", "inside": "-20 degC", "outside": "5 degC"}
TRAFFIC = {"cycles": "30", "opening": "3 s", "closing": "5 s", "price": "0.20"}


def value(result, name, unit=None):
    found = result.values[name]
    return float((found.to(unit) if unit else found).value)


@pytest.mark.parametrize(
    ("width", "height", "inside", "outside", "air", "cfm", "kilowatt"),
    [
        # standards.md E.6: E21, E22, E24 by Gosney and Olama (published, S55), worked there.
        ("2.4 m", "3.0 m", "-20 degC", "5 degC", 2.527, 5354, 88.63),
        ("3.0 m", "3.5 m", "5 degC", "30 degC", 3.821, 8095, 121.9),
        ("2.5 m", "3.0 m", "2 degC", "25 degC", 2.448, 5185, 72.65),
    ],
)
def test_air_and_heat_agree_with_the_worked_examples(
    work, width, height, inside, outside, air, cfm, kilowatt
):
    found = work("doorway-exchange", width=width, height=height, inside=inside, outside=outside)
    assert value(found, "air") == pytest.approx(air, rel=0.01)
    assert value(found, "air", "cubic-foot-per-minute") == pytest.approx(cfm, rel=0.01)
    assert value(found, "heat") == pytest.approx(kilowatt, rel=0.01)
    assert value(found, "a-second") == value(found, "an-hour") == value(found, "heat")
    assert any("dry estimate" in each for each in found.warnings)


def test_inch_pound_form_of_the_formula_gives_the_same_air(work):
    """13.26 in feet and cubic feet a minute (published, S55), worked here in floats."""
    cold, warm = float(density(Decimal(-20))), float(density(Decimal(5)))
    area, height = 2.4 * 3.0 / constants.foot**2, 3.0 / constants.foot
    gravity = constants.g / constants.foot
    form = (2 / (1 + (cold / warm) ** (1 / 3))) ** 1.5
    cfm = 13.26 * area * math.sqrt(1 - warm / cold) * math.sqrt(gravity * height) * form
    found = work("doorway-exchange", **FREEZER)
    assert value(found, "air", "cubic-foot-per-minute") == pytest.approx(cfm, rel=1e-3)


@pytest.mark.parametrize(
    ("celsius", "kilogram"),
    # Dry air at 101.325 kPa, handbook table of air's density (from memory).
    [(0, 1.292), (20, 1.204), (-20, 1.394), (40, 1.127)],
)
def test_density_agrees_with_the_handbooks_table(celsius, kilogram):
    assert float(density(Decimal(celsius))) == pytest.approx(kilogram, rel=1.5e-3)


@pytest.mark.parametrize(
    ("celsius", "humidity", "water", "heat"),
    [
        # ASHRAE psychrometric tables at sea level (from memory).
        (25, 50, 0.00988, 50.3),
        (5, 100, 0.005425, 18.64),
        (30, 100, 0.02733, 100.0),
        (-20, 100, 0.000637, -18.55),
        (20, 0, 0.0, 20.1),
    ],
)
def test_moist_air_agrees_with_psychrometric_tables(celsius, humidity, water, heat):
    assert float(moisture(Decimal(celsius), Decimal(humidity))) == pytest.approx(water, rel=0.01)
    assert float(enthalpy(Decimal(celsius), Decimal(humidity))) == pytest.approx(
        heat, rel=6e-3, abs=0.3
    )


def test_moisture_adds_to_a_freezers_heat(work):
    dry = work("doorway-exchange", **FREEZER)
    damp = work(
        "doorway-exchange", **FREEZER, inside_humidity="90 percent", outside_humidity="80 percent"
    )
    # Enthalpies at 5 degC, 80 % and -20 degC, 90 %: 5.0 + 10.8 and -20.1 + 1.4 (ASHRAE, memory).
    assert value(damp, "heat") / value(dry, "heat") == pytest.approx(
        (15.8 + 18.7) / 25.15, rel=0.02
    )
    assert not damp.warnings


temperatures = st.decimals("-40", "45", places=1)


@given(temperatures, temperatures)
def test_either_side_may_be_the_colder_and_equal_sides_exchange_nothing(one, other):
    def run(inside, outside):
        given_ = {
            "width": "3 m",
            "height": "3 m",
            "inside": Quantity(inside, "celsius"),
            "outside": Quantity(outside, "celsius"),
        }
        return calculate("doorway-exchange", given_).values

    assert run(one, other) == run(other, one)
    assert run(one, one)["heat"].value == run(one, one)["air"].value == 0
    assert run(one, other)["heat"].value >= 0


@given(temperatures, st.decimals("1", "8", places=1))
def test_air_grows_with_width_and_with_height_to_the_power_of_three_halves(outside, size):
    def air(width, height):
        given_ = {
            "width": Quantity(width, "metre"),
            "height": Quantity(height, "metre"),
            "inside": "-41 degC",
            "outside": Quantity(outside, "celsius"),
        }
        return float(calculate("doorway-exchange", given_).values["air"].value)

    assert air(2 * size, size) == pytest.approx(2 * air(size, size))
    assert air(size, 2 * size) == pytest.approx(2**1.5 * air(size, size))


def test_average_of_the_freezers_traffic(work):
    """standards.md E25: 30 passages an hour of 16 s, Df 0.8, 9.454 kW (derived, S55)."""
    found = work("open-door-cost", **FREEZER, **TRAFFIC, dwell="8 s")
    assert value(found, "average") == pytest.approx(9.454, rel=0.01)
    assert found.kind == "from-memory"


def test_a_dwell_of_3_seconds_saves_3_kilowatts(work):
    """standards.md E26: cycle 11 s, 6.500 kW, saves 2.954 kW (derived, S55)."""
    shorter = work("open-door-cost", **FREEZER, **TRAFFIC, dwell="3 s")
    assert value(shorter, "average") == pytest.approx(6.500, rel=0.01)
    saved = work("dwell-saving", **FREEZER, **TRAFFIC, dwell="8 s", shorter="3 s")
    assert value(saved, "average") == pytest.approx(2.954, rel=0.01)


def test_money_follows_energy_as_pints_arithmetic_has_it(work):
    import pint

    ureg = pint.UnitRegistry()
    found = work("open-door-cost", **FREEZER, **TRAFFIC, dwell="8 s", hours="16", days="300")
    energy = ureg.Quantity(value(found, "average"), "kW") * ureg.Quantity(16 * 300, "hour") / 2
    assert value(found, "energy") == pytest.approx(energy.to("kWh").magnitude)
    assert value(found, "year") == pytest.approx(0.20 * value(found, "energy"))
    heat = value(work("doorway-exchange", **FREEZER), "heat")
    assert value(found, "open-hour") == pytest.approx(heat / 2 * 0.20)
    # A second of dwell is the derivative: one second more, a whole year.
    more = work("open-door-cost", **FREEZER, **TRAFFIC, dwell="9 s", hours="16", days="300")
    assert value(more, "year") - value(found, "year") == pytest.approx(value(found, "dwell-second"))


def test_a_second_of_dwell_costs_a_fifth_of_what_five_seconds_save(work):
    """standards.md E26: 5 s save 2.954 kW on average (derived, S55); for 4,800 h a year."""
    use = {"cycles": "30", "price": "0.20", "hours": "16", "days": "300"}
    found = work("dwell-cost", **FREEZER, **use)
    assert value(found, "heat") == pytest.approx(2.954 / 5 * 4800, rel=0.01)
    assert value(found, "money") == pytest.approx(2.954 / 5 * 4800 * 0.20 / 2, rel=0.01)
    cycle = work("open-door-cost", **FREEZER, **TRAFFIC, dwell="8 s", hours="16", days="300")
    assert value(found, "money") == pytest.approx(value(cycle, "dwell-second"))
    none = work("dwell-cost", **FREEZER, **{**use, "cycles": "0"})
    assert value(none, "money") == 0


def test_strips_hold_back_93_percent(work):
    """Strip curtain, effectiveness 0.93 (published, S55)."""
    bare = work("open-door-cost", **FREEZER, **TRAFFIC, dwell="8 s")
    strips = work("open-door-cost", **FREEZER, **TRAFFIC, dwell="8 s", protection="93 percent")
    for name in ("average", "year", "open-hour"):
        assert value(strips, name) == pytest.approx(0.07 * value(bare, name))


def test_a_small_difference_asks_for_another_flow_factor(work):
    """Df 0.8 above 11 K, 1.1 below (from memory)."""
    cool = {**FREEZER, "inside": "0 degC"}
    plain = work("open-door-cost", **cool, **TRAFFIC, dwell="8 s")
    given_ = work("open-door-cost", **cool, **TRAFFIC, dwell="8 s", flow_factor="1.1")
    assert any("1.1" in each for each in plain.warnings)
    assert not any("1.1" in each for each in given_.warnings)
    assert value(given_, "average") / value(plain, "average") == pytest.approx(1.1 / 0.8)


def test_no_traffic_costs_nothing_and_the_same_dwell_saves_nothing(work):
    still = work("open-door-cost", **FREEZER, **{**TRAFFIC, "cycles": "0"}, dwell="8 s")
    assert value(still, "average") == value(still, "year") == value(still, "dwell-second") == 0
    same = work("dwell-saving", **FREEZER, **TRAFFIC, dwell="8 s", shorter="8 s")
    assert all(each.value == 0 for each in same.values.values())


@pytest.mark.parametrize(
    ("name", "given_", "valid"),
    [
        ("doorway-exchange", {**FREEZER, "width": "0 m"}, "from 0.5 to 20 metre"),
        ("doorway-exchange", {**FREEZER, "outside": "90 degC"}, "from -50 to 60 celsius"),
        ("doorway-exchange", {**FREEZER, "inside-humidity": "120 percent"}, "from 0 to 100"),
        (
            "open-door-cost",
            {**FREEZER, **TRAFFIC, "cycles": "300", "dwell": "8 s"},
            "225 or fewer of 16 s",
        ),
        ("dwell-saving", {**FREEZER, **TRAFFIC, "dwell": "3 s", "shorter": "8 s"}, "3 s or less"),
        ("open-door-cost", {**FREEZER, "dwell": "8 s"}, "passages an hour"),
    ],
)
def test_what_is_no_doorway_is_refused(work, name, given_, valid):
    with pytest.raises(RangeError, match=valid):
        work(name, **given_)
