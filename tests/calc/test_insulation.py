"""Insulation limits against the table of IEC 60364-6."""

import pytest

from assistant.errors import RangeError


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
