"""Torques against UL 486A-B's tables as printed in both units, and against pint."""

from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.calc import calculate
from assistant.calc.conductors import gauge_area_mm2
from assistant.calc.torque import AS_GAUGE, BY_GAUGE, BY_SOCKET, BY_THREAD
from assistant.errors import RangeError
from assistant.quantity import Quantity


def value(result, name):
    return float(result.values[name].value)


@pytest.mark.parametrize(
    ("section", "screw", "inch", "metre"),
    [
        # NEC annex I, table I.1, printed in lbf-in and N-m (published, S21).
        ("14 AWG", "slotted-narrow", 20, 2.3),
        ("10 AWG", "slotted", 35, 4.0),
        ("8 AWG", "slotted-narrow", 25, 2.8),
        ("8 AWG", "slotted", 40, 4.5),
        ("6 AWG", "slotted", 45, 5.1),
        ("4 AWG", "split-bolt", 165, 18.5),
        ("3 AWG", "slotted", 50, 5.6),
        ("2 AWG", "hex", 150, 16.9),
        ("1 AWG", "split-bolt", 275, 31.1),
        ("2/0 AWG", "split-bolt", 385, 43.5),
        # Column of hexagon heads: from memory.
        ("10 AWG", "hex", 75, 8.5),
        ("1/0 AWG", "hex", 180, 20.3),
    ],
)
def test_table_of_conductors_and_screws(work, section, screw, inch, metre):
    found = work("tightening-torque", section=section, screw=screw)
    assert value(found, "american") == inch
    # The table's own rounding: to a tenth, at times to a half (18.5 for 18.64).
    assert value(found, "metric") == pytest.approx(metre, rel=0.025)
    assert found.kind == ("from-memory" if screw == "hex" and section != "2 AWG" else "published")
    assert float(found.at_least.value) == pytest.approx(0.9 * inch)
    assert float(found.at_most.value) == pytest.approx(1.1 * inch)


@pytest.mark.parametrize(
    ("length", "width", "inch"),
    [
        # Table I.2 (published, S21; last two from memory).
        ("0.15 in", "0.04 in", 7),
        ("0.15 in", "0.05 in", 9),
        ("0.15625 in", "0.04 in", 7),
        ("0.21875 in", "0.05 in", 12),
        ("0.25 in", "0.04 in", 9),
        ("6.35 mm", "1.3 mm", 12),
        ("0.28125 in", "0.05 in", 15),
        ("0.3 in", "0.05 in", 20),
    ],
)
def test_table_of_small_slotted_screws(work, length, width, inch):
    found = work("slotted-screw-torque", slot_length=length, slot_width=width)
    assert value(found, "american") == inch
    assert found.kind == ("from-memory" if inch > 12 else "published")


@pytest.mark.parametrize(
    ("across", "metre"),
    # Table I.3 in N-m (from memory; 3/16 in published, S21).
    [("1/8", 5.1), ("5/32", 11.3), ("3/16", 13.6), ("5/16", 31.1), ("9/16", 67.8)],
)
def test_table_of_recessed_drives(work, across, metre):
    assert value(work("socket-screw-torque", across=across), "metric") == pytest.approx(
        metre, abs=0.06
    )


@pytest.mark.parametrize(
    ("thread", "metre"),
    # IEC 60999-1 and 60947-1 (from memory).
    [("M2.5", 0.4), ("M3", 0.5), ("M4", 1.2), ("M6", 2.5)],
)
def test_metric_screws(work, thread, metre):
    found = work("metric-screw-torque", thread=thread)
    assert value(found, "metric") == metre
    assert any("unverified" in each for each in found.warnings)


def test_both_units_agree_with_pint(work):
    ureg = pint.UnitRegistry()
    for name, inputs in (
        *(("tightening-torque", {"section": f"{g} AWG", "screw": "slotted"}) for g in BY_GAUGE),
        *(("socket-screw-torque", {"across": each}) for each in BY_SOCKET),
        *(("metric-screw-torque", {"thread": each}) for each in BY_THREAD),
    ):
        found = work(name, **inputs)
        inch = ureg.Quantity(value(found, "american"), "force_pound * inch")
        assert value(found, "metric") == pytest.approx(inch.to("newton * meter").magnitude)


def test_a_metric_size_takes_a_gauge_that_holds_it():
    """Areas by ASTM B258's rule; trade names 70 mm2 and 2/0 (67.4 mm2) as one, within 5 percent."""
    for metric, gauge in AS_GAUGE.items():
        if "/" in gauge and gauge != "1/0":
            area = float(gauge_area_mm2("1/0")) * 2 ** (1 / 3)
        else:
            area = float(gauge_area_mm2(gauge))
        assert area >= 0.95 * float(metric), (metric, gauge)


def test_metric_and_american_sizes_share_their_row(work):
    for metric, gauge in (("2.5 mm2", "12 AWG"), ("4.0 mm2", "10 AWG"), ("16 mm2", "4 AWG")):
        one = work("tightening-torque", section=metric, screw="slotted")
        other = work("tightening-torque", section=gauge, screw="slotted")
        assert one.values["torque"] == other.values["torque"]


@given(st.decimals("1", "12", places=2), st.decimals("0.3", "3", places=2))
def test_a_longer_slot_never_takes_less_torque(length, width):
    def torque(slot):
        given_ = {
            "slot-length": Quantity(slot, "millimetre"),
            "slot-width": Quantity(width, "millimetre"),
        }
        return calculate("slotted-screw-torque", given_).values["torque"].value

    if float(width) >= 1.2:
        assert torque(min(length + 1, Decimal(12))) >= torque(length)
    elif float(length) <= 5.3:
        assert torque(length + 1) >= torque(length)


@pytest.mark.parametrize(
    ("name", "given_", "valid"),
    [
        ("tightening-torque", {"section": "13 AWG", "screw": "slotted"}, "one of 30, 28"),
        ("tightening-torque", {"section": "2.5", "screw": "slotted"}, "one of 30, 28"),
        ("tightening-torque", {"section": "1 AWG", "screw": "slotted-narrow"}, "slotted, split"),
        ("tightening-torque", {"section": "12 AWG", "screw": "nail"}, "one of slotted-narrow"),
        ("slotted-screw-torque", {"slot-length": "8 mm", "slot-width": "1 mm"}, "6.35 mm or less"),
        ("slotted-screw-torque", {"slot-length": "-1 mm", "slot-width": "1 mm"}, "from 1 to 12"),
        ("socket-screw-torque", {"across": "3/4"}, "one of 1/8"),
        ("metric-screw-torque", {"thread": "M7"}, "one of M2.5"),
    ],
)
def test_what_no_table_holds_is_refused(work, name, given_, valid):
    with pytest.raises(RangeError, match=valid):
        work(name, **given_)
