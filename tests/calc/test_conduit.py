"""Conduit fill against the code's own count tables and worked examples."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.calc import calculate
from assistant.calc.conduit import CONDUITS, IEC_DIAMETERS, NEC_CONDUCTORS
from assistant.errors import RangeError
from assistant.quantity import registry


def value(result, name):
    return float(result.values[name].value)


def fill(work, size, conductors="none", **given_):
    return work("conduit-fill", size=size, conductors=conductors, **given_)


@pytest.mark.parametrize(
    ("size", "conductors", "percent"),
    [
        # B26 and B27 of the trade facts: 0.0532 of 0.304 in2, 0.1309 of 0.533 in2.
        ("1/2", "3 x 12 AWG + 1 x 12 AWG", 17.5),
        ("3/4", "3 x 8 AWG + 1 x 10 AWG", 24.56),
    ],
)
def test_fill_agrees_with_worked_examples(work, size, conductors, percent):
    found = fill(work, size, conductors)
    assert value(found, "fill") == pytest.approx(percent, rel=0.002)
    assert float(found.at_most.value) == 40
    assert found.words["verdict"] == "fits"


# NEC annex C, table C.1, THHN in EMT (from memory).
ANNEX_C = {
    "1/2": {"14": 12, "12": 9, "10": 5, "8": 3, "6": 2, "4": 1, "3": 1, "2": 1, "1": 1},
    "3/4": {"14": 22, "12": 16, "10": 10, "8": 6, "6": 4, "4": 2, "3": 1, "2": 1, "1": 1},
    "1": {"14": 35, "12": 26, "10": 16, "8": 9, "6": 7, "4": 4, "3": 3, "2": 3, "1": 1},
}


@pytest.mark.parametrize("size", ANNEX_C)
def test_count_agrees_with_annex_c(work, size):
    for gauge, count in ANNEX_C[size].items():
        found = fill(work, size, f"1 x {gauge} AWG")
        assert (gauge, value(found, "most")) == (gauge, count)
        assert fill(work, size, f"{count} x {gauge} AWG").words["verdict"] == "fits"
        too_many = fill(work, size, f"{count + 1} x {gauge} AWG")
        assert too_many.words["verdict"] == "too full"


def test_one_takes_53_percent_and_two_take_31(work):
    """A public page prints them the other way round (trade facts, slips); table 1 as read."""
    assert value(fill(work, "1/2", "1 x 6 AWG"), "limit") == 53
    assert value(fill(work, "1/2", "2 x 6 AWG"), "limit") == 31
    assert value(fill(work, "1/2", "3 x 6 AWG"), "limit") == 40
    assert value(fill(work, "1/2", "2 x 6 AWG", run="nipple"), "limit") == 60


# NEC table 4, its column of 40 percent [in2]: EMT, liquid-tight and flexible read, others memory.
FORTY = {
    "emt": {"1/2": 0.122, "3/4": 0.213, "1": 0.346, "1-1/4": 0.598, "1-1/2": 0.814, "2": 1.342},
    "rigid": {"1/2": 0.125, "3/4": 0.220, "1": 0.355, "1-1/4": 0.610, "1-1/2": 0.829, "2": 1.363},
    "pvc-40": {"1/2": 0.114, "3/4": 0.203, "1": 0.333, "1-1/4": 0.581, "1-1/2": 0.794, "2": 1.316},
    "pvc-80": {"1/2": 0.087, "3/4": 0.164, "1": 0.275, "1-1/4": 0.495, "1-1/2": 0.684, "2": 1.150},
    "liquid-tight": {"3/8": 0.077, "1/2": 0.125, "3/4": 0.216, "1": 0.349, "1-1/4": 0.611,
                     "1-1/2": 0.792, "2": 1.298},
    "flexible": {"1/2": 0.127, "3/4": 0.213, "1": 0.327},
}  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "size", "printed"), [(k, s, p) for k, sizes in FORTY.items() for s, p in sizes.items()]
)
def test_inside_area_agrees_with_the_tables_other_column(work, kind, size, printed):
    inside = value(fill(work, size, "1 x 14 AWG", conduit=kind), "inside")
    square_inch = float(registry().Quantity(1, "inch ** 2").to("millimeter ** 2").magnitude)
    assert 0.4 * inside / square_inch == pytest.approx(printed, abs=0.0007)


# NEC table 5, its column of diameters [in]: THHN, and TFFN for 18 and 16 AWG (from memory).
DIAMETERS = {"18": 0.084, "16": 0.096, "14": 0.111, "12": 0.130, "10": 0.164, "8": 0.216,
             "6": 0.254, "4": 0.324, "3": 0.352, "2": 0.384, "1": 0.446, "1/0": 0.486}  # fmt: skip


@pytest.mark.parametrize("gauge", NEC_CONDUCTORS)
def test_conductor_area_agrees_with_the_tables_diameter(gauge):
    circle = math.pi * DIAMETERS[gauge] ** 2 / 4
    assert float(NEC_CONDUCTORS[gauge]) == pytest.approx(circle, rel=0.008)


@pytest.mark.parametrize("size", IEC_DIAMETERS)
def test_metric_core_is_copper_and_two_walls_with_an_allowance(size):
    """Insulation 0.7, 0.8 and 1.0 mm (EN 50525-2-31, from memory) around a stranded conductor, 1.13
    times the solid one; the largest diameter allows about 14 percent more."""
    wall = {"1.5": 0.7, "10": 1.0, "16": 1.0}.get(size, 0.8)
    nominal = 1.13 * math.sqrt(4 * float(size) / math.pi) + 2 * wall
    assert float(IEC_DIAMETERS[size]) == pytest.approx(1.14 * nominal, rel=0.03)


@pytest.mark.parametrize(
    ("metric", "trade"), [("16", "1/2"), ("21", "3/4"), ("27", "1"), ("41", "1-1/2"), ("53", "2")]
)
def test_a_metric_designator_is_its_trade_size(work, metric, trade):
    """NEC table 300.1(C), from memory; the designator is about the size in millimetres."""
    one, other = (fill(work, each, "3 x 12 AWG") for each in (metric, trade))
    assert value(one, "inside") == value(other, "inside")
    assert one.kind == "from-memory" and other.kind == "published"
    diameter = 2 * math.sqrt(value(one, "inside") / math.pi)
    assert diameter == pytest.approx(float(metric), rel=0.06)


def test_a_cable_counts_as_one_conductor_by_its_outside(work):
    """Published note: area = pi d^2 / 4. One of 10 mm in 20 mm is a quarter; 53 percent limit."""
    found = fill(work, "20 mm", cables="10 mm")
    assert value(found, "fill") == pytest.approx(25)
    assert value(found, "limit") == 53
    two = fill(work, "20 mm", cables=["10 mm", "0.39370079 in"])
    assert value(two, "fill") == pytest.approx(50)
    assert value(two, "limit") == 31 and two.words["verdict"] == "too full"


def test_metric_cores_in_a_metric_tube(work):
    """H07V-K 2.5 mm2: 4.1 mm (EN 50525-2-31, from memory); by hand 5 x 4.1^2 / 16.4^2."""
    found = fill(work, "16.4 mm", "5 x 2.5 mm2")
    assert value(found, "fill") == pytest.approx(100 * 5 / 16)
    assert found.kind == "from-memory"


def test_the_smallest_conduit_is_named(work):
    """Annex C (from memory): ten 12 AWG fit 3/4 EMT, not 1/2; a hundred 1 AWG fit none listed."""
    assert fill(work, "2", "10 x 12 AWG").words["smallest"] == "3/4"
    assert fill(work, "2", "100 x 1 AWG").words["smallest"] == "larger than 2"


def test_what_was_not_read_says_so(work):
    assert fill(work, "1/2", "3 x 12 AWG").kind == "published"
    assert fill(work, "1/2", "3 x 12 AWG", conduit="pvc-40").kind == "from-memory"
    assert fill(work, "1/2", "3 x 18 AWG").kind == "from-memory"


@given(
    st.sampled_from(["14", "10", "4"]), st.integers(1, 50), st.integers(0, 50),
    st.sampled_from(["1/2", "1"]),
)  # fmt: skip
def test_more_conductors_never_fill_less(gauge, count, more, size):
    def of(number):
        given_ = {"size": size, "conductors": f"{number} x {gauge} AWG"}
        return value(calculate("conduit-fill", given_), "fill")

    assert of(count + more) == pytest.approx(of(count) * (count + more) / count)


@pytest.mark.parametrize("kind", CONDUITS)
def test_a_larger_trade_size_has_more_inside(kind):
    areas = [float(each) for each in CONDUITS[kind].values()]
    assert areas == sorted(set(areas))


@pytest.mark.parametrize(
    ("bad", "valid"),
    [
        ({"size": "5/8"}, "1/2, 3/4, 1.* in, metric 16, 21"),
        ({"size": "2", "conduit": "flexible"}, "one of 1/2, 3/4, 1 in"),
        ({"size": "1 mm"}, "from 5 to 200 mm"),
        ({"size": "wide mm"}, "from 5 to 200 mm"),
        ({"conductors": "3 x 13 AWG"}, "18, 16, 14"),
        ({"conductors": "3 x 3 mm2"}, "1.5, 2.5"),
        ({"conductors": "-3 x 12 AWG"}, "such as 3 x 12 AWG"),
        ({"conductors": "some"}, "such as 3 x 12 AWG"),
        ({"conductors": "0 x 12 AWG"}, "from 1 to 100"),
        ({"conductors": "none"}, "at least one conductor or cable"),
        ({"cables": "-5 mm"}, "from 0 to 150 millimetre"),
        ({"conduit": "hose"}, "emt, rigid"),
    ],
)
def test_conduit_fill_refuses_what_is_in_no_table(bad, valid):
    with pytest.raises(RangeError, match=valid):
        calculate("conduit-fill", {"size": "1/2", "conductors": "3 x 12 AWG", **bad})
