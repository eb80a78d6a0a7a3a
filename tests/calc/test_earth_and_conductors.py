"""Conductor sizes and protective earth against tables and separate sums."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.calc import calculate
from assistant.calc.conductors import IEC_RIGID, NEC_STRANDED
from assistant.errors import RangeError
from assistant.quantity import registry

# NEC table 310.16 head and chapter 9 table 8: area of the gauges in mm2 (published).
AREA_MM2 = {
    "18": 0.823, "16": 1.31, "14": 2.08, "12": 3.31, "10": 5.26, "8": 8.37, "6": 13.3,
    "4": 21.2, "3": 26.7, "2": 33.6, "1": 42.4, "1/0": 53.5,
}  # fmt: skip


def value(result, name):
    return float(result.values[name].value)


@pytest.mark.parametrize("gauge", AREA_MM2)
def test_gauge_area_agrees_with_the_table(work, gauge):
    found = work("conductor-size", section=f"{gauge} AWG")
    assert value(found, "area") == pytest.approx(AREA_MM2[gauge], rel=0.005)


@pytest.mark.parametrize(("gauge", "mils"), [("12", 6530), ("10", 10380), ("8", 16510)])
def test_gauge_area_agrees_with_circular_mils_by_pint(work, gauge, mils):
    """Chapter 9 table 8 (published) gives circular mils; pint knows what one is."""
    area = registry().Quantity(Decimal(mils), "circular_mil").to("millimeter ** 2").magnitude
    assert value(work("conductor-size", section=f"{gauge} AWG"), "area") == pytest.approx(
        float(area), rel=0.002
    )


def test_twelve_gauge_stranded_at_twenty_degrees(work):
    """Worked by hand from table 8: 1.98 ohm/kft at 75 degC is 1.628 at 20 degC."""
    per_km = value(work("conductor-size", section="12 AWG"), "per-kilometre")
    assert per_km * 0.3048 == pytest.approx(1.628, rel=0.001)
    # A public page says that a cold wire has "about 82 percent" of the table's value.
    assert per_km * 0.3048 / 1.98 == pytest.approx(0.82, abs=0.005)


SIZES = [f"{size} mm2" for size in IEC_RIGID] + [f"{gauge} AWG" for gauge in NEC_STRANDED]


@pytest.mark.parametrize("section", SIZES)
def test_resistance_agrees_with_the_resistivity_of_copper(work, section):
    """IEC 60028: 17.241 nanohm metre. Tables allow some more for stranding.

    50 mm2 has the most: it is made of 47 mm2 of copper (IEC 60228, from memory).
    """
    found = work("conductor-size", section=section)
    ideal = 17.241 / value(found, "area")
    assert ideal * 0.97 < value(found, "per-kilometre") < ideal * 1.13


def test_a_flexible_conductor_has_more_resistance(work):
    """IEC 60228 (from memory): 2.5 mm2 has 7.41 ohm/km rigid, 7.98 flexible."""
    assert value(work("conductor-size", section="2.5 mm2"), "per-kilometre") == 7.41
    flexible = work("conductor-size", section="2.5 mm2", strands="flexible")
    assert value(flexible, "per-kilometre") == 7.98


def test_aluminium_has_the_conductivity_of_its_standard(work):
    """Aluminium of IEC 60889 has 61 percent of the conductivity of copper (from memory)."""
    copper = value(work("conductor-size", section="16 mm2"), "per-kilometre")
    aluminium = value(work("conductor-size", section="16 mm2", metal="aluminium"), "per-kilometre")
    assert copper / aluminium == pytest.approx(0.61, abs=0.001)


@pytest.mark.parametrize(
    ("gauge", "metric"),
    # Trade equivalents (common practice): the metric size that is not smaller.
    [("18", 1), ("16", 1.5), ("14", 2.5), ("12", 4), ("10", 6), ("8", 10)],
)
def test_metric_size_for_a_gauge(work, gauge, metric):
    assert value(work("conductor-size", section=f"{gauge} AWG"), "metric") == metric


@pytest.mark.parametrize("bad", ["13 AWG", "3 mm2", "2.5", "thick", "", "12 mm"])
def test_a_size_that_is_not_made_is_refused_with_those_that_are(work, bad):
    with pytest.raises(RangeError, match=r"1\.5, 2\.5, 4"):
        work("conductor-size", section=bad)


def test_trailing_zeros_and_case_do_not_matter(work):
    assert value(work("conductor-size", section="4.0 mm2"), "per-kilometre") == 4.61
    assert work("conductor-size", section="12 awg") == work("conductor-size", section="12 AWG")


# --- protective earth ----------------------------------------------------------------------------


def test_twenty_metres_of_two_and_a_half(work):
    """Worked by hand with IEC 60228 (from memory): 7.41 ohm/km x 20 m = 0.1482 ohm."""
    found = work("earth-continuity", length="20 m", section="2.5 mm2")
    assert value(found, "conductor") == pytest.approx(0.1482, rel=1e-6)
    assert value(found, "expected") == pytest.approx(0.1682, rel=1e-6)
    assert float(found.at_most.value) == pytest.approx(0.20184, rel=1e-6)
    # IEC 60204-1:1997 table 9 (from memory): at most 1.9 V at 10 A for 2.5 mm2.
    assert 10 * value(found, "conductor") < 1.9


def test_eighty_five_feet_of_twelve_gauge(work):
    """By hand from table 8 (published): 1.628 ohm/kft x 0.085 kft = 0.1384 ohm."""
    found = work("earth-continuity", length="85 ft", section="12 AWG", joints="0")
    assert value(found, "expected") == pytest.approx(0.1384, rel=0.001)


def test_a_short_connection_must_stay_within_a_tenth_of_an_ohm(work):
    """NFPA 79, 19.2 (published on a page that quotes it): 0.1 ohm, leads subtracted."""
    assert work("earth-continuity", length="1 m", section="6 mm2").at_most.value == Decimal("0.1")
    assert work("earth-continuity", length="0 m", section="6 mm2").at_most.value == Decimal("0.1")


def test_no_length_leaves_the_joints(work):
    found = work("earth-continuity", length="0 m", section="6 mm2")
    assert value(found, "conductor") == 0
    assert value(found, "expected") == pytest.approx(0.02)


def test_leads_that_were_not_nulled_are_allowed_for(work):
    found = work("earth-continuity", length="1 m", section="6 mm2", leads="80 milliohm")
    assert float(found.at_most.value) == pytest.approx(0.18)


def test_a_warm_conductor_reads_higher(work):
    """Copper: 0.393 percent a degree (IEC 60028); at 75 degC table 8 is met again."""
    found = work(
        "earth-continuity", length="100 ft", section="12 AWG", temperature="75 degC", joints="0"
    )
    assert value(found, "expected") == pytest.approx(0.198, rel=0.002)
    fahrenheit = work(
        "earth-continuity", length="100 ft", section="12 AWG", temperature="167 degF", joints="0"
    )
    assert value(fahrenheit, "expected") == pytest.approx(value(found, "expected"), rel=1e-9)


@given(length=st.floats(0, 300), factor=st.floats(0, 1))
def test_conductor_resistance_rises_in_proportion_to_length(length, factor):
    def wire(metres):
        given_ = {"length": f"{metres:.6f} m", "section": "2.5 mm2"}
        return float(calculate("earth-continuity", given_).values["conductor"].value)

    assert wire(length * factor) == pytest.approx(np.multiply(wire(length), factor), abs=1e-6)


@pytest.mark.parametrize(
    ("name", "bad", "valid"),
    [
        ("length", "400 m", "from 0 to 300 metre"),
        ("length", "-1 m", "from 0 to 300 metre"),
        ("temperature", "200 degC", "from -40 to 90 celsius"),
        ("joints", "50", "from 0 to 20"),
        ("leads", "5 ohm", "from 0 to 2 ohm"),
        ("section", "3 mm2", "one of"),
        ("metal", "tin", "copper, aluminium"),
    ],
)
def test_earth_refuses_input_out_of_range(work, name, bad, valid):
    sound = {"length": "20 m", "section": "2.5 mm2"}
    with pytest.raises(RangeError, match=valid):
        work("earth-continuity", **{**sound, name: bad})
