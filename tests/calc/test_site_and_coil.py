"""Opening, space before a panel, brake coil and winding limit, against figures from outside."""

import numpy as np
import pytest

from assistant.calc import calculate
from assistant.errors import RangeError
from assistant.quantity import quantity


def number(found, unit):
    return float(found.to(unit).value)


@pytest.mark.parametrize(
    ("nominal", "system", "opposite", "feet"),
    [
        ("208 V", "three-phase", "live", 3),
        ("120 V", "single-phase", "earthed", 3),
        ("208 V", "two-phase-lines", "live", 3),
        ("480 V", "three-phase", "nothing-live", 3),
        ("480 V", "three-phase", "earthed", 3.5),
        ("480 V", "three-phase", "live", 4),
        ("600 V", "three-phase", "live", 4),
    ],
)
def test_depth_before_a_panel_is_that_of_the_american_table(nominal, system, opposite, feet, work):
    """NEC table 110.26(A)(1), from memory (trade facts, section A.9)."""
    found = work(
        "working-space", nominal=nominal, system=system, opposite=opposite, code_set="american"
    )
    assert number(found.at_least, "foot") == pytest.approx(feet)


def test_metric_depth_is_a_gangway(work):
    """IEC 60204-1, 11.5: 0.7 m, from memory; no second source."""
    found = work("working-space", nominal="400 V", code_set="metric")
    assert number(found.at_least, "metre") == pytest.approx(0.7)
    assert any("unverified" in each for each in found.warnings)


def test_an_opening_may_differ_by_the_tolerance_either_way(work):
    found = work("opening-size", ordered="12 ft", tolerance="1/4 in")
    assert number(found.at_least, "inch") == pytest.approx(143.75)
    assert number(found.at_most, "inch") == pytest.approx(144.25)
    exact = work("opening-size", ordered="3 m", tolerance="0 mm")
    assert exact.at_least == exact.at_most


@pytest.mark.parametrize(
    ("supply", "rectifier", "volts"),
    [
        ("115 V", "half-wave", 51.8),
        ("115 V", "full-wave", 103.5),
        ("208 V", "half-wave", 93.6),
        ("230 V", "half-wave", 103.5),
        ("230 V", "full-wave", 207),
        ("400 V", "half-wave", 180),
        ("460 V", "half-wave", 207),
    ],
)
def test_rectified_voltages_are_those_of_the_trade_and_of_a_sampled_sine(
    supply, rectifier, volts, work
):
    """Trade facts, section C.7 (factors 0.45 and 0.90); and numpy's mean over a whole turn."""
    found = work("coil-voltage", supply=supply, rectifier=rectifier, rated=f"{volts} V")
    got = number(found.values["volts"], "volt")
    assert got == pytest.approx(volts, rel=0.002)
    wave = np.sin(np.linspace(0, 2 * np.pi, 200_000, endpoint=False))
    wave *= np.sqrt(2) * float(quantity(supply).value)
    rectified = np.abs(wave) if rectifier == "full-wave" else np.clip(wave, 0, None)
    assert got == pytest.approx(rectified.mean(), rel=1e-6)
    assert found.words["verdict"] == "fits"


def test_a_coil_on_the_wrong_rectifier_does_not_fit(work):
    """205 V coil, 230 V, half wave: 103.5 V, the mistake that leaves the brake shut."""
    found = work("coil-voltage", supply="230 V", rectifier="half-wave", rated="205 V")
    assert found.words["verdict"] == "does not fit" and found.warnings
    with pytest.raises(RangeError, match="read both labels"):
        work("coil-voltage", supply="480 V", rectifier="full-wave", rated="24 V")


def test_a_coil_of_103_v_and_20_w_has_530_ohm(work):
    """Trade facts, section C.7. Warm: IEC 60034-1's (235 + t) / (235 + 20) for copper, memory."""
    cold = work("brake-coil", volts="103 V", power="20 W")
    assert number(cold.values["resistance"], "ohm") == pytest.approx(530, abs=0.5)
    assert number(cold.at_least, "ohm") == pytest.approx(530.45 * 0.9)
    assert number(cold.at_most, "ohm") == pytest.approx(530.45 * 1.1)
    warm = work("brake-coil", volts="103 V", power="20 W", temperature="80 degC")
    wanted = 530.45 * (235 + 80) / (235 + 20)
    assert number(warm.values["resistance"], "ohm") == pytest.approx(wanted, rel=0.002)


@pytest.mark.parametrize(("degrees", "least"), [(40, 5), (30, 10), (20, 20), (0, 80), (70, 1)])
def test_limit_of_a_winding_halves_with_every_ten_kelvin_down_to_one_megohm(degrees, least, work):
    """IEEE 43, 5 megohm at 40 degC, from memory; never below IEC 60364-6's 1 megohm."""
    found = work("winding-limit", temperature=f"{degrees} degC")
    assert number(found.at_least, "megohm") == pytest.approx(least)
    given = {"reading": "3 Mohm", "temperature": f"{degrees} degC"}
    assert calculate("insulation-corrected", given).at_least == found.at_least
    assert not any("3 " in line for line in found.working)


def test_three_windings_are_compared_with_their_mean(work):
    """Trade facts, H.2 (equal within 5 percent); numpy works the same out by itself."""
    ohms = [7.9, 8.1, 8.9]
    found = work("winding-balance", ohms=[f"{each} ohm" for each in ohms])
    wanted = np.abs(np.array(ohms) - np.mean(ohms)).max() / np.mean(ohms) * 100
    assert number(found.values["spread"], "percent") == pytest.approx(wanted)
    assert found.values["spread"].value > found.at_most.value
    alike = work("winding-balance", ohms=["8 ohm"] * 3)
    assert alike.values["spread"].value == 0
    with pytest.raises(RangeError, match="three readings"):
        work("winding-balance", ohms=["8 ohm", "8 ohm"])


def test_room_is_at_least_what_the_sheet_asks_for(work):
    found = work("clear-room", needed="18 in")
    assert number(found.at_least, "metre") == pytest.approx(0.4572)
    assert found.at_most is None
