"""Field pairs and batteries against handbook resistances, pint and battery labels."""

import pint
import pytest

from assistant.errors import RangeError


def test_a_pair_has_the_resistance_that_the_american_table_gives_for_out_and_back(work):
    """NEC chapter 9, table 8: 18 AWG stranded 7.95 ohm/kft at 75 degC (read on a page that quotes
    it); 300 ft out and back are 4.77 ohm, and 2.385 V at half an ampere (standards.md C2)."""
    found = work("pair-resistance", length="300 ft", section="18 AWG", temperature="75 degC")
    assert float(found.values["expected"].value) == pytest.approx(4.77, rel=0.005)
    assert float(found.values["expected"].value) * 0.5 == pytest.approx(2.385, rel=0.005)


def test_a_pair_has_the_resistance_that_the_metric_table_gives_for_out_and_back(work):
    """IEC 60228 class 5 at 20 degC (from memory): 0.75 mm2 has 26.0 ohm/km; summed by pint."""
    ureg = pint.UnitRegistry()
    by_table = 2 * ureg.Quantity(40, "m") * ureg.Quantity(26.0, "ohm/km")
    found = work("pair-resistance", length="40 m", section="0.75 mm2", strands="flexible")
    expected = float(found.values["expected"].value)
    assert expected == pytest.approx(by_table.to("ohm").magnitude)
    assert float(found.at_most.value) == pytest.approx(1.1 * expected + 0.5)


def test_a_pair_of_no_length_leaves_only_the_contacts(work):
    found = work("pair-resistance", length="0 m", section="1 mm2")
    assert found.values["expected"].value == 0 and float(found.at_most.value) == 0.5


def test_a_gauge_that_is_in_no_table_is_refused(work):
    with pytest.raises(RangeError, match="section"):
        work("pair-resistance", length="10 m", section="17 AWG")


@pytest.mark.parametrize(
    ("nominal", "volts", "fresh"),
    [
        # Open-circuit volts of fresh and spent cells, from memory of data sheets in general.
        ("1.5 V", 1.6, True),  # alkaline, new
        ("1.5 V", 1.2, False),  # alkaline, used
        ("3.6 V", 3.67, True),  # lithium thionyl chloride, new
        ("3.6 V", 3.0, False),  # the same at its end
        ("3 V", 3.6, False),  # another chemistry in the holder
    ],
)
def test_a_fresh_battery_passes_and_a_spent_or_foreign_one_fails(work, nominal, volts, fresh):
    found = work("battery-voltage", nominal=nominal)
    assert (found.at_least.value <= volts <= found.at_most.value) == fresh


def test_the_sheet_of_the_device_wins_over_the_habit(work):
    found = work("battery-voltage", nominal="3.6 V", least="3.5 V")
    assert float(found.at_least.value) == 3.5
    with pytest.raises(RangeError, match="115 percent"):
        work("battery-voltage", nominal="3.6 V", least="5 V")
