"""A motor's lead currents and its overload's dial, against phasors, rules and published sums."""

import cmath
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.calc import calculate
from assistant.errors import RangeError

AMERICAN = {"code-set": "american", "service-factor": "1.15"}
# Nameplates of the doors' motors, invented: amperes, power factor.
PLATES = ((3.2, 0.8), (1.8, 0.78), (4.0, 0.8))


def limits(found):
    return float(found.at_least.value), float(found.at_most.value)


def spread(work, *amps):
    first, second, third = (f"{each} A" for each in amps)
    return work("current-unbalance", first=first, second=second, third=third)


def test_a_running_current_lies_between_an_idle_motor_and_its_overload():
    """NEC 430.32(A)(1), read: 125 percent at factor 1.15. The lower end is common practice."""
    assert limits(calculate("running-current", {"current": "10 A", **AMERICAN})) == (2, 12.5)
    # IEC 60947-4-1, from memory: the nameplate itself.
    assert limits(calculate("running-current", {"current": "1.8 A"})) == pytest.approx((0.36, 1.8))


def test_the_least_current_is_below_that_of_an_idle_motor():
    """From memory: small cage motors draw 30 percent at the least. By phasors the reactive part
    of the plate current, which an idle motor keeps, lies far above the limit."""
    for amps, factor in PLATES:
        least, most = limits(calculate("running-current", {"current": f"{amps} A", **AMERICAN}))
        idle = cmath.rect(amps, math.acos(factor)).imag
        assert least < 0.3 * amps < idle < most


def test_point_six_ampere_are_too_little_for_the_motor_of_door_d1():
    least, _ = limits(calculate("running-current", {"current": "3.2 A", **AMERICAN}))
    assert least > 0.6


def test_a_dial_lies_between_nine_tenths_of_the_plate_and_the_setting():
    """Upper ends: NEC 430.32(A)(1), read, 125 and 115 percent; IEC 60947-4-1, from memory, 100."""
    dial = {"current": "10 A"}
    assert limits(calculate("overload-dial", {**dial, **AMERICAN})) == (9, 12.5)
    assert limits(calculate("overload-dial", {**dial, "code-set": "american"})) == (9, 11.5)
    assert limits(calculate("overload-dial", dial)) == (9, 10)


def test_a_sizing_that_was_done_sets_the_upper_end_of_the_dial():
    found = calculate("overload-dial", {"current": "3.2 A", "sized": "4 A", "code-set": "metric"})
    assert limits(found) == pytest.approx((2.88, 4)) and "sizing" in found.source
    with pytest.raises(RangeError, match=r"2\.88 A or more"):
        calculate("overload-dial", {"current": "3.2 A", "sized": "1.6 A"})


def test_unbalance_is_formed_as_that_of_voltages():
    """A published example, corrected: 400, 395 and 388 are 1.606 percent out, the 388 farthest."""
    found = calculate(
        "current-unbalance", {"first": "4.00 A", "second": "3.95 A", "third": "3.88 A"}
    )
    assert float(found.values["unbalance"].value) == pytest.approx(1.606, abs=1e-3)
    assert found.at_most.value == 10 and not found.warnings


def test_a_lost_phase_comes_out_far_above_ten_percent_and_is_said(work):
    """Kirchhoff: with one lead open the other two carry one current, forth and back."""
    forth = cmath.rect(3.1, 0.4)
    found = spread(work, 0, abs(forth), abs(-forth))
    assert float(found.values["unbalance"].value) == pytest.approx(100)
    assert "one phase is lost" in found.warnings[0]


@given(st.decimals("0.1", 100, places=2))
def test_equal_currents_have_no_unbalance(amps):
    given_ = dict.fromkeys(("first", "second", "third"), f"{amps} A")
    assert float(calculate("current-unbalance", given_).values["unbalance"].value) < 1e-9


def test_a_motor_at_rest_has_no_unbalance_to_tell(work):
    with pytest.raises(RangeError, match="measure while it runs"):
        spread(work, 0, 0, 0)
    with pytest.raises(RangeError, match="from 0 to 200 ampere"):
        spread(work, -1, 3, 3)


@pytest.mark.parametrize(
    ("before", "most", "least"), [("-22", 18, -25), ("18", 58, 15), ("55", 80, 52)]
)
def test_a_housing_may_rise_by_40_kelvin_and_never_above_80_degrees(before, most, least):
    """Common practice, no source; pint's own kelvin for the difference."""
    import pint

    found = calculate("housing-warmth", {"before": f"{before} degC"})
    start = pint.UnitRegistry().Quantity(float(before), "degC").to("kelvin").magnitude
    assert float(found.at_most.value) == pytest.approx(min(start + 40 - 273.15, 80)) == most
    assert float(found.at_least.value) == pytest.approx(start - 3 - 273.15) == least
