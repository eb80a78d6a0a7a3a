"""Control transformer and long control runs against worked examples and Ohm's law."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from assistant.calc import calculate
from assistant.errors import RangeError
from assistant.quantity import Quantity, registry


def value(result, name):
    return float(result.values[name].value)


LOADS = ["3.0 VA", "2.5 VA", "2.0 VA", "2.4 VA", "6.0 VA", "1.2 VA"]


def test_load_agrees_with_the_worked_example(work):
    """C4 of the trade facts: 17.1 VA; with 25 percent 21.38 VA; 0.7125 A; 42.75 % of 40 VA."""
    found = work("control-transformer", loads=LOADS, source="40 VA")
    assert value(found, "total") == pytest.approx(17.1)
    assert value(found, "needed") == pytest.approx(21.375)
    assert value(found, "current") == pytest.approx(0.7125)
    assert value(found, "share") == pytest.approx(42.75)
    assert found.words["verdict"] == "enough"


def test_current_is_what_pint_makes_of_power_and_voltage(work):
    amps = registry().Quantity(50, "volt * ampere") / registry().Quantity(120, "volt")
    found = work("control-transformer", loads="50 VA", volts="120 V")
    assert value(found, "current") == pytest.approx(float(amps.to("ampere").magnitude))


def test_a_source_can_fail_in_two_ways(work):
    """By hand: 40 + 25 % = 50 VA; 40 sealed and 120 inrush are 160 VA for a moment."""
    found = {"loads": "40 VA", "inrush": "120 VA"}
    small = work("control-transformer", source="49 VA", **found)
    assert small.words["verdict"] == "too small"
    weak = work("control-transformer", source="50 VA", inrush_capacity="159 VA", **found)
    assert weak.words["verdict"] == "too small for the inrush"
    assert value(weak, "moment") == 160
    enough = work("control-transformer", source="50 VA", inrush_capacity="160 VA", **found)
    assert enough.words["verdict"] == "enough"


def test_a_class_2_source_ends_at_a_hundred_volt_amperes(work):
    """Published: 100 VA at most up to 30 V."""
    assert not work("control-transformer", loads="80 VA").warnings
    assert any("class 2" in w for w in work("control-transformer", loads="81 VA").warnings)
    assert not work("control-transformer", loads="81 VA", volts="120 V").warnings


def test_no_load_needs_nothing(work):
    found = work("control-transformer", loads="0 VA", source="40 VA")
    assert value(found, "needed") == value(found, "share") == value(found, "current") == 0


@given(st.lists(st.decimals(0, 100, places=1), min_size=1, max_size=8), st.randoms())
def test_order_of_the_loads_does_not_matter(loads, random):
    mixed = list(loads)
    random.shuffle(mixed)

    def needed(each):
        given_ = {"loads": tuple(Quantity(v, "volt-ampere") for v in each)}
        return calculate("control-transformer", given_).values["needed"].value

    assert needed(loads) == needed(mixed)
    assert float(needed(loads)) == pytest.approx(1.25 * float(sum(loads)))


@pytest.mark.parametrize(
    ("bad", "valid"),
    [
        ({"loads": "-1 VA"}, "from 0 to 2000 volt-ampere"),
        ({"loads": "3 A"}, "given in volt-ampere"),
        ({"margin": "-5 percent"}, "from 0 to 100 percent"),
        ({"volts": "480 V"}, "from 5 to 240 volt"),
    ],
)
def test_transformer_refuses_what_cannot_be(bad, valid):
    with pytest.raises(RangeError, match=valid):
        calculate("control-transformer", {"loads": "10 VA", **bad})


# --- long runs -----------------------------------------------------------------------------------


def run(work, current, length, section, **given_):
    return work("control-run", current=current, length=length, section=section, **given_)


@pytest.mark.parametrize(
    ("given_", "volts", "percent"),
    [
        # C1, a published example: 16 AWG, 100 ft, 4 A. C2, worked from the published table 8.
        (("4 A", "100 ft", "16 AWG"), 3.992, 16.63),
        (("0.5 A", "300 ft", "18 AWG"), 2.385, 9.94),
    ],
)
def test_drop_agrees_with_worked_examples(work, given_, volts, percent):
    found = run(work, *given_)
    assert value(found, "drop") == pytest.approx(volts, rel=0.001)
    assert value(found, "percent") == pytest.approx(percent, rel=0.001)
    assert value(found, "left") == pytest.approx(24 - volts, rel=0.001)


def test_metric_run_agrees_with_ohms_law(work):
    """By hand, IEC 60228 (from memory): 2 x 50 m x 26.0 ohm/km x 0.4 A on 0.75 mm2 at 20 degC."""
    cold = {"strands": "flexible", "temperature": "20 degC"}
    found = run(work, "0.4 A", "50 m", "0.75 mm2", **cold)
    assert value(found, "drop") == pytest.approx(1.04)
    assert found.kind == "from-memory"


def test_verdict_follows_the_two_limits_and_the_pick_up(work):
    """5 and 10 percent (common practice): C2 is tolerable, C1 too long, half of C2 good."""
    assert run(work, "0.5 A", "300 ft", "18 AWG").words["verdict"] == "tolerable"
    assert run(work, "4 A", "100 ft", "16 AWG").words["verdict"] == "too long"
    good = run(work, "0.5 A", "150 ft", "18 AWG")
    assert good.words["verdict"] == "good" and not good.warnings
    strict = run(work, "0.5 A", "300 ft", "18 AWG", pick_up="95 percent")
    assert strict.words["verdict"] == "too long"


@pytest.mark.parametrize(("current", "length"), [("0 A", "100 m"), ("1 A", "0 m")])
def test_no_load_or_no_length_leaves_all(work, current, length):
    found = run(work, current, length, "1.5 mm2")
    assert value(found, "left") == 24 and found.words["verdict"] == "good"


@given(st.floats(0.01, 5), st.sampled_from(["18 AWG", "12 AWG", "0.5 mm2", "2.5 mm2"]))
def test_the_longest_run_loses_five_percent(current, section):
    given_ = {"current": f"{current:.5f} A", "section": section}
    longest = calculate("control-run", {**given_, "length": "1 m"}).values["longest"]
    assume(longest.value <= 2000)
    found = calculate("control-run", {**given_, "length": longest})
    assert value(found, "percent") == pytest.approx(5)


@given(st.floats(0, 500), st.floats(1, 4))
def test_a_longer_run_leaves_less(length, factor):
    def left(metres):
        given_ = {"current": "0.3 A", "section": "1 mm2", "length": f"{metres:.4f} m"}
        return value(calculate("control-run", given_), "left")

    assert left(length * factor) <= left(length)


@pytest.mark.parametrize(
    ("bad", "valid"),
    [
        ({"length": "-1 m"}, "from 0 to 2000 metre"),
        ({"section": "17 AWG"}, "18, 16, 14"),
        ({"temperature": "100 degC"}, "from -40 to 90 celsius"),
        ({"volts": "400 V"}, "from 5 to 240 volt"),
    ],
)
def test_control_run_refuses_what_cannot_be(bad, valid):
    sound = {"current": "1 A", "length": "10 m", "section": "18 AWG"}
    with pytest.raises(RangeError, match=valid):
        calculate("control-run", {**sound, **bad})
