"""Insulation limits against the table of IEC 60364-6, windings against IEEE 43."""

import pytest
from hypothesis import given as given_by
from hypothesis import strategies as st

from assistant.calc import calculate
from assistant.errors import RangeError
from assistant.quantity import Quantity


@pytest.mark.parametrize(
    ("nominal", "circuit", "test_v", "megohm"),
    [
        # IEC 60364-6, published in a rule book and in a wiring guide with the same values.
        ("24 V", "extra-low", 250, 0.5),
        ("50 V", "extra-low", 250, 0.5),
        ("24 V", "ordinary", 500, 1.0),  # FELV
        ("230 V", "ordinary", 500, 1.0),
        ("480 V", "ordinary", 500, 1.0),  # IEC 60204-1, 18.3: 500 V, 1 megohm (published; memory)
        ("500 V", "ordinary", 500, 1.0),  # "up to and including"
        ("501 V", "ordinary", 1000, 1.0),
        ("600 V", "ordinary", 1000, 1.0),
    ],
)
def test_limits_follow_the_table(work, nominal, circuit, test_v, megohm):
    found = work("insulation-minimum", nominal=nominal, circuit=circuit)
    assert float(found.values["test-voltage"].value) == test_v
    assert float(found.at_least.to("megohm").value) == megohm
    assert found.at_most is None


def test_electronics_that_stay_connected_are_tested_with_less(work):
    """Same table, note on electronics and surge devices (published): 250 V, still 1 megohm."""
    found = work("insulation-minimum", nominal="230 V", electronics="connected")
    assert float(found.values["test-voltage"].value) == 250
    assert float(found.at_least.value) == 1


def test_limit_agrees_with_pint(work):
    found = work("insulation-minimum", nominal="480 V")
    assert found.at_least.si() == (1_000_000.0, "ohm")


@pytest.mark.parametrize(
    ("given", "valid"),
    [
        ({"nominal": "60 V", "circuit": "extra-low"}, "50 V or less"),
        ({"nominal": "600 V", "electronics": "connected"}, "unplugged"),
        ({"nominal": "0 V"}, "from 1 to 1000 volt"),
        ({"nominal": "3 kV"}, "from 1 to 1000 volt"),
        ({"nominal": "480 A"}, "given in volt"),
    ],
)
def test_what_the_table_does_not_cover_is_refused(work, given, valid):
    with pytest.raises(RangeError, match=valid):
        work("insulation-minimum", **given)


@pytest.mark.parametrize(
    ("temperature", "factor"),
    # IEEE 43, correction to 40 degC: halves for every 10 K (from memory; figure and formula).
    [("40 degC", 1.0), ("30 degC", 0.5), ("20 degC", 0.25), ("50 degC", 2.0), ("60 degC", 4.0)],
)
def test_a_winding_is_corrected_to_40_degrees(work, temperature, factor):
    found = work("insulation-corrected", reading="100 Mohm", temperature=temperature)
    assert float(found.values["factor"].value) == pytest.approx(factor)
    assert float(found.values["corrected"].value) == pytest.approx(100 * factor)
    assert any("unverified" in each for each in found.warnings)


@pytest.mark.parametrize(
    ("winding", "rated", "megohm"),
    # IEEE 43, table of least values at 40 degC (from memory).
    [("random-wound", "0.46 kV", 5), ("form-wound", "0.46 kV", 100), ("old", "0.46 kV", 1.46)],
)
def test_least_value_follows_the_winding(work, winding, rated, megohm):
    found = work(
        "insulation-corrected",
        reading="10 Mohm",
        temperature="40 degC",
        winding=winding,
        rated=rated,
    )
    assert float(found.at_least.value) == pytest.approx(megohm)


@given_by(st.decimals(-20, 90, places=1), st.decimals(0, 1000, places=2))
def test_a_reading_at_its_limit_is_at_the_minimum_when_corrected(temperature, reading):
    def run(megohm):
        return calculate(
            "insulation-corrected",
            {
                "reading": Quantity(megohm, "megohm"),
                "temperature": Quantity(temperature, "celsius"),
            },
        )

    least = run(reading).at_least.value
    corrected = run(least).values["corrected"].value
    assert least >= 1  # never below a circuit's own 1 megohm (IEC 60364-6, published)
    assert float(corrected) >= 5 - 1e-9


def test_a_freezer_motor_must_show_more_than_a_warm_one(work):
    """At -20 degC the factor is 2 to the power of -6 = 1/64: 5 megohm become 320."""
    cold = work("insulation-corrected", reading="400 Mohm", temperature="-20 degC")
    assert float(cold.at_least.value) == pytest.approx(320)
    hot = work("insulation-corrected", reading="10 Mohm", temperature="80 degC")
    assert float(hot.at_least.value) == 1
