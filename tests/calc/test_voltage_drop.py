"""Voltage drop against worked examples, other methods, phasors and the code's own columns."""

import cmath
import math
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from assistant.calc import calculate
from assistant.calc.conductors import NEC_STRANDED
from assistant.calc.voltage_drop import (
    ALUMINIUM,
    ALUMINIUM_DIRECT,
    COPPER,
    IEC_RESISTIVITY,
    REACTANCE,
    lost,
)
from assistant.errors import RangeError


def value(result, name):
    return float(result.values[name].value)


def drop(work, current, length, section, volts, **given_):
    return work(
        "voltage-drop", current=current, length=length, section=section, volts=volts, **given_
    )


SINGLE = {"phases": "single-phase"}


@pytest.mark.parametrize(
    ("given_", "volts", "percent"),
    [
        # Worked in the trade facts (B13, B14, B16, B18, B19) from the published tables.
        (("15.2 A", "150 ft", "12 AWG", "230 V", {}), 6.855, 2.980),
        (("15.2 A", "150 ft", "10 AWG", "230 V", {}), 4.159, 1.808),
        (("4.8 A", "250 ft", "14 AWG", "460 V", {"conduit": "plastic", "power_factor": "0.8"}),
         5.227, 1.136),
        (("16 A", "80 ft", "12 AWG", "115 V",
          {"conduit": "plastic", "power_factor": "0.8", **SINGLE}), 4.179, 3.634),
        (("10 A", "150 ft", "12 AWG", "230 V", {"power_factor": "0.8", **SINGLE}), 4.922, 2.140),
        # B21 and B22, IEC 60364-5-52 annex G (from memory).
        (("3.5 A", "60 m", "1.5 mm2", "400 V", {"power_factor": "0.8"}), 4.382, 1.100),
        (("9.5 A", "45 m", "2.5 mm2", "230 V", {"power_factor": "0.8", **SINGLE}), 6.197, 2.694),
    ],
)  # fmt: skip
def test_drop_agrees_with_worked_examples(work, given_, volts, percent):
    *given_, more = given_
    found = drop(work, *given_, **more)
    assert value(found, "drop") == pytest.approx(volts, rel=0.005)
    assert value(found, "percent") == pytest.approx(percent, rel=0.005)


def test_drop_agrees_with_a_published_example_by_millivolts(work):
    """Published: 50 A, 100 m, 2.8 mV/A/m lose 14.0 V, 3.5 % of 400 V. 2.8 is the figure of BS 7671
    for two conductors of 16 mm2 (from memory)."""
    found = drop(work, "50 A", "100 m", "16 mm2", "400 V", power_factor="1", **SINGLE)
    assert value(found, "drop") == pytest.approx(14.0, rel=0.005)
    assert value(found, "percent") == pytest.approx(3.5, rel=0.005)


@pytest.mark.parametrize(
    ("section", "millivolts"),
    # BS 7671 table 4D1B, two conductors, 70 degC, mV/A/m in two digits (from memory).
    [("1.5", 29), ("2.5", 18), ("4", 11), ("6", 7.3), ("10", 4.4), ("16", 2.8)],
)
def test_metric_drop_agrees_with_the_british_table(work, section, millivolts):
    found = drop(work, "1 A", "1 m", f"{section} mm2", "230 V", power_factor="1", **SINGLE)
    assert 1000 * value(found, "drop") == pytest.approx(millivolts, rel=0.04)


def test_resistivity_in_use_is_a_quarter_above_that_at_twenty_degrees():
    """IEC 60028: 17.241 nanohm metre at 20 degC; annex G takes 1.25 times 0.018 (from memory)."""
    assert float(IEC_RESISTIVITY["copper"]) == pytest.approx(1.25 * 0.017241, rel=0.05)
    assert float(IEC_RESISTIVITY["aluminium"]) == pytest.approx(1.25 * 0.028264, rel=0.05)


@pytest.mark.parametrize(
    ("section", "mils"), [("14", 4110), ("12", 6530), ("10", 10380), ("8", 16510), ("6", 26240)]
)
def test_drop_agrees_with_the_method_of_circular_mils(work, section, mils):
    """Published: VD = 1.732 x 12.9 x I x L / CM on three phases; it leaves the reactance out."""
    found = drop(work, "10 A", "100 ft", f"{section} AWG", "480 V", power_factor="1")
    assert value(found, "drop") == pytest.approx(1.732 * 12.9 * 10 * 100 / mils, rel=0.06)


# NEC chapter 9 table 9, effective impedance at 0.85, in plastic, aluminium and steel (published).
PRINTED = {
    "14": (2.7, 2.7, 2.7), "12": (1.7, 1.7, 1.7), "10": (1.1, 1.1, 1.1), "8": (0.69, 0.69, 0.70),
    "6": (0.44, 0.45, 0.45), "4": (0.29, 0.29, 0.30), "3": (0.23, 0.24, 0.24),
    "2": (0.19, 0.19, 0.20), "1": (0.16, 0.16, 0.16), "1/0": (0.13, 0.13, 0.13),
}  # fmt: skip


@pytest.mark.parametrize("section", PRINTED)
def test_impedance_agrees_with_the_tables_own_column(work, section):
    """6 percent: the table's resistances have two digits, so 10 AWG gives 1.05 for 1.1."""
    for conduit, printed in zip(("plastic", "aluminium", "steel"), PRINTED[section], strict=True):
        found = drop(work, "1 A", "1000 ft", f"{section} AWG", "240 V", conduit=conduit, **SINGLE)
        assert value(found, "drop") / 2 == pytest.approx(printed, rel=0.06)


@pytest.mark.parametrize("size", COPPER)
def test_resistances_of_tables_eight_and_nine_agree(size):
    """Table 9 prints two digits of table 8, or a little more beside metal conduit; aluminium has
    28.264 / 17.241 times the resistance of copper (IEC 60889, IEC 60028)."""
    direct = float(NEC_STRANDED[size])
    for cell in COPPER[size]:
        assert float(cell) == pytest.approx(direct, rel=0.07)
    if size in ALUMINIUM:
        by_resistivity = direct * 28.264 / 17.241
        assert float(ALUMINIUM_DIRECT[size]) == pytest.approx(by_resistivity, rel=0.02)
        for cell in ALUMINIUM[size]:
            assert float(cell) == pytest.approx(by_resistivity, rel=0.05)


@pytest.mark.parametrize("size", REACTANCE)
def test_steel_raises_the_reactance_by_a_quarter(size):
    """The rule behind table 9 (from memory): 1.25 times that in plastic."""
    plastic, steel = REACTANCE[size]
    assert float(steel) == pytest.approx(1.25 * float(plastic), rel=0.02)


def test_direct_current_takes_the_direct_table(work):
    """C1 of the trade facts, a published example: 16 AWG, 100 ft, 4 A lose 3.992 V of 24 V."""
    found = drop(work, "4 A", "100 ft", "16 AWG", "24 V", phases="direct")
    assert value(found, "drop") == pytest.approx(3.992, rel=0.001)
    assert value(found, "percent") == pytest.approx(16.63, rel=0.001)
    # By hand from annex G: 2 x 0.0225 / 2.5 x 30 m x 2 A.
    metric = drop(work, "2 A", "30 m", "2.5 mm2", "24 V", phases="direct")
    assert value(metric, "drop") == pytest.approx(1.08)


def test_aluminium_loses_what_its_resistivity_says(work):
    """By table 8 (from memory) 2.04 against 1.24 ohm/kft; by IEC 60889 and 60028, 1.639 times."""
    for section in ("10 AWG", "10 mm2"):
        copper = drop(work, "10 A", "100 m", section, "400 V", phases="direct")
        other = drop(work, "10 A", "100 m", section, "400 V", phases="direct", metal="aluminium")
        ratio = value(other, "drop") / value(copper, "drop")
        assert ratio == pytest.approx(28.264 / 17.241, rel=0.03)
        assert other.kind == "from-memory"


@given(st.floats(0.3, 1), st.floats(1, 40), st.sampled_from(["12 AWG", "1/0 AWG", "16 mm2"]))
def test_short_formula_is_the_length_of_the_phasor_within_a_little(cosine, amps, section):
    """Independent: |sending end| - |load end| by complex numbers. Up to 5 % the two are one."""
    found = lost(section, "by-size", "copper", "single-phase", Decimal(f"{cosine:.8f}"), "steel")
    if section.endswith("AWG"):
        ohms, reactance = {"12 AWG": (2.0, 0.068), "1/0 AWG": (0.12, 0.055)}[section]
        impedance = complex(ohms, reactance) / 304.8
    else:
        impedance = complex(0.0225 / 16, 0.00008)
    metres = 230 * 0.04 / (amps * abs(impedance) * 2)
    current = cmath.rect(amps, -math.acos(cosine))
    sending = 230 + 2 * metres * impedance * current
    short = float(found.per_ampere_metre) * amps * metres
    assert short == pytest.approx(abs(sending) - 230, abs=0.2)


# --- limit and length ----------------------------------------------------------------------------


def test_verdict_tells_the_two_sides_of_a_limit(work):
    """B13 passes 3 percent at 2.98, B18 fails at 3.634 and passes 5 (trade facts)."""
    sound = drop(work, "15.2 A", "150 ft", "12 AWG", "230 V")
    assert sound.words["verdict"] == "within the limit"
    assert float(sound.at_most.value) == pytest.approx(6.9)
    long = ("16 A", "80 ft", "12 AWG", "115 V")
    assert drop(work, *long, **SINGLE).words["verdict"] == "above the limit"
    assert drop(work, *long, limit="5 percent", **SINGLE).words["verdict"] == "within the limit"


def test_longest_run_agrees_with_the_worked_example(work):
    """B15 of the trade facts: 151.0 ft for 3 percent."""
    inputs = {"current": "15.2 A", "section": "12 AWG", "volts": "230 V"}
    found = work("longest-run", **inputs).values["longest"]
    assert float(found.to("foot").value) == pytest.approx(151.0, rel=0.001)
    same = work("voltage-drop", length="10 ft", **inputs).values["longest"]
    assert same == found


@given(
    st.floats(0.1, 100),
    st.sampled_from(["14 AWG", "6 AWG", "1.5 mm2", "35 mm2"]),
    st.sampled_from(["three-phase", "single-phase", "direct"]),
    st.floats(0.1, 10),
)
def test_a_run_of_the_longest_length_just_meets_the_limit(amps, section, phases, limit):
    inputs = {"current": f"{amps:.6f} A", "section": section, "volts": "400 V", "phases": phases}
    inputs["limit"] = f"{limit:.6f} percent"
    longest = calculate("longest-run", inputs).values["longest"]
    assume(longest.value <= 2000)
    found = calculate("voltage-drop", {**inputs, "length": longest})
    assert value(found, "percent") == pytest.approx(limit, rel=1e-4)


@pytest.mark.parametrize(("current", "length"), [("0 A", "100 m"), ("10 A", "0 m")])
def test_no_load_or_no_length_loses_nothing(work, current, length):
    for section in ("12 AWG", "2.5 mm2"):
        found = drop(work, current, length, section, "400 V")
        assert value(found, "drop") == value(found, "percent") == 0
        assert value(found, "at-load") == 400
        assert found.words["verdict"] == "within the limit"


@given(
    st.floats(0, 500),
    st.floats(0, 500),
    st.floats(1, 3),
    st.sampled_from(["8 AWG", "10 mm2"]),
    st.sampled_from(["three-phase", "single-phase", "direct"]),
)
def test_drop_rises_with_load_and_with_length(amps, metres, factor, section, phases):
    def volts(current, length):
        given_ = {"current": f"{current:.4f} A", "length": f"{length:.4f} m", "volts": "400 V"}
        found = calculate("voltage-drop", {**given_, "section": section, "phases": phases})
        return value(found, "drop")

    assert volts(min(amps * factor, 1000), metres) >= volts(amps, metres)
    assert volts(amps, metres * factor) >= volts(amps, metres)


def test_three_phases_lose_less_than_one(work):
    """sqrt(3) against 2 on the same voltage between conductors."""
    three = value(drop(work, "10 A", "50 m", "6 mm2", "400 V"), "drop")
    one = value(drop(work, "10 A", "50 m", "6 mm2", "400 V", **SINGLE), "drop")
    assert one / three == pytest.approx(2 / math.sqrt(3))


def test_what_was_read_and_what_was_not(work):
    assert drop(work, "1 A", "1 m", "12 AWG", "480 V").kind == "published"
    metric = drop(work, "1 A", "1 m", "2.5 mm2", "400 V")
    assert metric.kind == "from-memory"
    assert "unverified default, confirm with the adopted code" in metric.warnings


def test_230_v_on_three_metric_phases_is_queried(work):
    assert any("single-phase" in w for w in drop(work, "1 A", "1 m", "2.5 mm2", "230 V").warnings)
    assert not any("say" in w for w in drop(work, "1 A", "1 m", "12 AWG", "230 V").warnings)


@pytest.mark.parametrize(
    ("bad", "valid"),
    [
        ({"length": "-1 m"}, "from 0 to 2000 metre"),
        ({"length": "5 V"}, "given in metre"),
        ({"current": "-1 A"}, "from 0 to 1000 ampere"),
        ({"section": "13 AWG"}, "one of 14, 12, 10, .* AWG for copper"),
        ({"section": "14 AWG", "metal": "aluminium"}, "one of 12, 10, .* AWG for aluminium"),
        ({"section": "18 AWG"}, "one of 14, 12"),
        ({"section": "3 mm2"}, "one of 0.5, 0.75, 1, 1.5"),
        ({"section": "2.5"}, "mm2 for copper"),
        ({"section": "12 AWG", "code-set": "metric"}, "in mm2, as 2.5 mm2"),
        ({"volts": "120 V"}, "two lines of a three-phase supply"),
        ({"volts": "277 V"}, "two lines of a three-phase supply"),
        ({"phases": "two-phase"}, "three-phase, single-phase, direct"),
        ({"power-factor": "0"}, "from 0.1 to 1"),
        ({"limit": "50 percent"}, "from 0.1 to 20 percent"),
    ],
)
def test_voltage_drop_refuses_what_cannot_be(bad, valid):
    sound = {"current": "10 A", "length": "50 m", "section": "12 AWG", "volts": "480 V"}
    with pytest.raises(RangeError, match=valid):
        calculate("voltage-drop", {**sound, **bad})
