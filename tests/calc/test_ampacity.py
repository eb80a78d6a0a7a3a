"""Ampacity against the codes' tables, the formula behind them, and a handbook."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.calc import calculate
from assistant.calc.ampacity import IEC_AMBIENT, IEC_COPPER, NEC_AMBIENT, NEC_COPPER
from assistant.errors import RangeError


def value(result, name):
    return float(result.values[name].value)


@pytest.mark.parametrize(
    ("size", "column", "amps", "slip"),
    [
        # NEC 310.16 as a page quotes the 2023 edition; the slips are cells of older editions.
        ("14", "60", 15, 20), ("12", "60", 20, 25), ("3", "90", 115, 110), ("1", "90", 145, 150),
        ("12", "75", 25, None), ("10", "90", 40, None), ("8", "75", 50, None),
        ("1/0", "75", 150, None), ("18", "90", 14, None), ("16", "90", 18, None),
    ],
)  # fmt: skip
def test_table_value_is_the_one_of_the_edition(work, size, column, amps, slip):
    found = work("ampacity", section=f"{size} AWG", insulation=column)
    assert value(found, "table") == amps != slip


def test_the_published_example_of_a_terminal(work):
    """Published: 20 A take 12 AWG at 60 degC terminals, though the wire's own column says 30 A."""
    found = work("ampacity", section="12 AWG")
    assert value(found, "usable") == 20 and value(found, "table") == 30
    assert value(work("ampacity", section="12 AWG", terminals="75"), "usable") == 25


def test_warmth_and_neighbours_apply_to_the_wires_own_column(work):
    """By hand from 310.15(B)(1) and (C)(1): 10 AWG, 40 A x 0.87 x 0.70 = 24.36 A."""
    found = work("ampacity", section="10 AWG", ambient="45 degC", conductors="9", terminals="75")
    assert value(found, "usable") == pytest.approx(24.36)
    fahrenheit = work(
        "ampacity", section="10 AWG", ambient="113 degF", conductors="9", terminals="75"
    )
    assert value(fahrenheit, "usable") == pytest.approx(24.36)


@pytest.mark.parametrize(("up_to", "factors"), NEC_AMBIENT[1:])
def test_american_warmth_factors_follow_their_formula(up_to, factors):
    """sqrt((Tc - Ta) / (Tc - 30)) at the upper edge of a band, in two places (from memory)."""
    for limit, factor in zip((60, 75, 90), factors, strict=True):
        if factor:
            by_formula = math.sqrt((limit - up_to) / (limit - 30))
            assert float(factor) == pytest.approx(by_formula, abs=0.006)


@pytest.mark.parametrize(("up_to", "factors"), IEC_AMBIENT)
def test_metric_warmth_factors_follow_the_same_formula(up_to, factors):
    for limit, factor in zip((70, 90), factors, strict=True):
        by_formula = math.sqrt((limit - up_to) / (limit - 30))
        assert float(factor) == pytest.approx(by_formula, abs=0.01)


@pytest.mark.parametrize(
    ("size", "amps"),
    [
        # A maker's handbook quotes IEC 60364-5-52, method B2, PVC, three loaded conductors.
        ("4", (27, 23, 21, 19, 16)), ("6", (34, 30, 27, 24, 21)),
        ("10", (46, 40, 36, 33, 28)), ("16", (62, 54, 49, 44, 38)),
    ],
)  # fmt: skip
def test_metric_ampacity_agrees_with_a_handbook(work, size, amps):
    for ambient, expected in zip((30, 40, 45, 50, 55), amps, strict=True):
        found = work("ampacity", section=f"{size} mm2", ambient=f"{ambient} degC")
        assert value(found, "usable") == pytest.approx(expected, abs=0.55)


@pytest.mark.parametrize(
    ("method", "amps"),
    # IEC 60204-1 table 6 (from memory): PVC, 40 degC, 1.5, 2.5 and 4 mm2.
    [("B2", (13.1, 17.4, 23)), ("C", (15.2, 21, 28)), ("E", (16.1, 22, 30))],
)
def test_metric_ampacity_agrees_with_the_machine_standard(work, method, amps):
    for size, expected in zip(("1.5", "2.5", "4"), amps, strict=True):
        found = work("ampacity", section=f"{size} mm2", ambient="40 degC", method=method)
        assert value(found, "usable") == pytest.approx(expected, abs=0.55)


def test_what_was_not_read_says_so(work):
    assert work("ampacity", section="2.5 mm2").kind == "from-memory"
    assert work("ampacity", section="12 AWG", metal="aluminium").kind == "from-memory"
    assert work("ampacity", section="12 AWG").kind == "published"


def test_aluminium_carries_what_copper_one_or_two_sizes_smaller_carries(work):
    """Rule of thumb (common practice, no source): 0.78 of copper's ampacity."""
    for size in ("10", "8", "4", "1/0"):
        copper = value(work("ampacity", section=f"{size} AWG", insulation="75"), "table")
        metal = work("ampacity", section=f"{size} AWG", insulation="75", metal="aluminium")
        assert value(metal, "table") == pytest.approx(0.78 * copper, rel=0.11)


def test_single_phase_conductors_of_one_cable_warm_each_other_less(work):
    """IEC 60364-5-52 table B.52.2 against B.52.4 (from memory): 2.5 mm2, B2, 23 and 20 A."""
    alone = work("ampacity", section="2.5 mm2", phases="single-phase", conductors="2")
    assert value(alone, "usable") == 23
    assert value(work("ampacity", section="2.5 mm2"), "usable") == 20


def test_two_circuits_together_carry_eight_tenths(work):
    """NEC 310.15(C)(1), read: 4 to 6 conductors 80 percent; B.52.17 for two circuits too."""
    for section in ("2.5 mm2", "8 AWG"):
        one = value(work("ampacity", section=section), "corrected")
        two = value(work("ampacity", section=section, conductors="6"), "corrected")
        assert two / one == pytest.approx(0.8)


# NEC 310.16 entered a second time, column by column, 14 to 1/0 AWG: copper as read, aluminium (from
# 12 AWG) from memory.
COLUMNS = {
    ("copper", "60"): (15, 20, 30, 40, 55, 70, 85, 95, 110, 125),
    ("copper", "75"): (20, 25, 35, 50, 65, 85, 100, 115, 130, 150),
    ("copper", "90"): (25, 30, 40, 55, 75, 95, 115, 130, 145, 170),
    ("aluminium", "60"): (15, 25, 35, 40, 55, 65, 75, 85, 100),
    ("aluminium", "75"): (20, 30, 40, 50, 65, 75, 90, 100, 120),
    ("aluminium", "90"): (25, 35, 45, 55, 75, 85, 100, 115, 135),
}
GAUGES = ("14", "12", "10", "8", "6", "4", "3", "2", "1", "1/0")


@pytest.mark.parametrize(("metal", "column"), COLUMNS)
def test_every_cell_is_the_one_of_the_table(work, metal, column):
    given_ = {"metal": metal, "insulation": column}
    gauges = GAUGES if metal == "copper" else GAUGES[1:]
    found = [value(work("ampacity", section=f"{g} AWG", **given_), "table") for g in gauges]
    assert tuple(found) == COLUMNS[metal, column]


@pytest.mark.parametrize("column", [0, 1, 2])
def test_a_thicker_wire_carries_more(column):
    amps = [float(cells[column]) for cells in NEC_COPPER.values() if cells[column]]
    assert amps == sorted(set(amps))


@pytest.mark.parametrize("size", [size for size, cells in NEC_COPPER.items() if cells[0]])
def test_columns_stand_to_each_other_as_the_square_root_of_their_rise(size):
    """Neher and McGrath: ampacity goes with the root of the rise above 30 degC. The tables are
    rounded to 5 A, and small sizes are held down, so within that and a tenth."""
    at_60, at_75, at_90 = (float(each) for each in NEC_COPPER[size])
    assert at_75 == pytest.approx(at_60 * math.sqrt(45 / 30), rel=0.05, abs=2.6)
    assert at_90 == pytest.approx(at_75 * math.sqrt(60 / 45), rel=0.03, abs=5.2)


@pytest.mark.parametrize("loaded", [2, 3])
def test_metric_columns_stand_to_each_other_in_the_same_way(loaded):
    """sqrt(60 / 40) is 1.225; the two insulations were computed apart, so within 11 percent."""
    for method, row in IEC_COPPER["70", loaded].items():
        warmer = IEC_COPPER["90", loaded][method].split()
        for cool, warm in zip(row.split(), warmer, strict=True):
            assert float(warm) / float(cool) == pytest.approx(math.sqrt(60 / 40), rel=0.11)


@pytest.mark.parametrize("method", ["A1", "A2", "B1", "B2", "C", "E"])
@pytest.mark.parametrize("insulation", ["70", "90"])
def test_metric_ampacity_goes_with_a_power_of_the_size(method, insulation):
    """IEC 60364-5-52 annex D: I = a S^0.6 or so (from memory); each cell within 4 percent of the
    straight line through the logarithms, by numpy."""
    for loaded in (2, 3):
        amps = np.array([float(x) for x in IEC_COPPER[insulation, loaded][method].split()])
        sizes = np.log([1.5, 2.5, 4, 6, 10, 16])
        slope, start = np.polyfit(sizes, np.log(amps), 1)
        assert 0.57 < slope < 0.66
        assert amps == pytest.approx(np.exp(start + slope * sizes), rel=0.04)


def test_metric_tables_rise_with_size_and_with_cooling():
    for methods in IEC_COPPER.values():
        rows = {name: [float(x) for x in row.split()] for name, row in methods.items()}
        assert all(row == sorted(set(row)) for row in rows.values())
        for worse, better in (("A2", "A1"), ("A1", "B1"), ("A2", "B2"), ("B2", "C"), ("C", "E")):
            assert all(a <= b for a, b in zip(rows[worse], rows[better], strict=True))


@given(
    st.sampled_from(["14 AWG", "6 AWG", "1.5 mm2", "16 mm2"]),
    st.floats(-40, 60),
    st.floats(0, 40),
    st.integers(1, 30),
    st.integers(0, 30),
)
def test_warmer_or_closer_never_carries_more(section, ambient, warmer, together, more):
    def usable(degrees, number):
        given_ = {"ambient": f"{degrees:.2f} degC", "conductors": str(number)}
        return value(calculate("ampacity", {"section": section, **given_}), "usable")

    hot = min(ambient + warmer, 60)
    assert usable(hot, together + more) <= usable(ambient, together)


def test_a_cell_that_older_editions_have_otherwise_is_told(work):
    """Read: before 2014 the 60 degC column has 25 A for 12 AWG; 10 AWG never changed."""
    assert any("has 25 A" in each for each in work("ampacity", section="12 AWG").warnings)
    assert not any("edition" in each for each in work("ampacity", section="10 AWG").warnings)


def test_small_conductors_have_a_largest_device_outside_motor_circuits(work):
    """240.4(D), read: 14 AWG 15 A, 12 AWG 20 A, 10 AWG 30 A."""
    for size, amps in (("14", 15), ("12", 20), ("10", 30)):
        found = work("ampacity", section=f"{size} AWG")
        assert any(f"at most {amps} A" in each for each in found.warnings)
    assert not work("ampacity", section="8 AWG").warnings


@pytest.mark.parametrize(
    ("bad", "valid"),
    [
        ({"ambient": "61 degC"}, "from -40 to 60 celsius"),
        ({"ambient": "60 degC", "insulation": "60"}, "55 degC or less for insulation of 60"),
        ({"section": "13 AWG"}, "18, 16, 14, 12"),
        ({"section": "14 AWG", "metal": "aluminium"}, "one of 12, 10, 8.* AWG for aluminium"),
        ({"section": "16 AWG", "insulation": "60"}, "90 for 16 AWG"),
        ({"section": "2.5 mm2", "metal": "aluminium"}, "copper for metric sizes"),
        ({"section": "2.5 mm2", "insulation": "75"}, "70 or 90 degC"),
        ({"section": "3 mm2"}, "1.5, 2.5, 4"),
        ({"section": "70 mm2"}, "10, 16 mm2 for copper"),
        ({"section": "12 mm2"}, "10, 16 mm2 for copper"),
        ({"code-set": "metric"}, "in mm2, as 2.5 mm2, where code-set is metric"),
        ({"section": "2.5 mm2", "code-set": "american"}, "an AWG size"),
        ({"insulation": "70"}, "60, 75 or 90 degC"),
        ({"conductors": "2.5"}, "a whole number"),
        ({"conductors": "0"}, "from 1 to 60"),
    ],
)
def test_ampacity_refuses_what_the_tables_lack(bad, valid):
    with pytest.raises(RangeError, match=valid):
        calculate("ampacity", {"section": "12 AWG", **bad})
