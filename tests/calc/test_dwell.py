"""Dwell and cycle against the worked examples of standards.md and a simulated passage."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants, integrate

from assistant.calc import calculate
from assistant.errors import RangeError
from assistant.quantity import Quantity


def value(result, name):
    return float(result.values[name].value)


@pytest.mark.parametrize(
    ("given_", "exact", "whole"),
    [
        # standards.md E.1: E1, E2, E4 (derived; margins are common practice).
        ({"sensor": "3 m", "zone": "1 m", "vehicle": "4 m", "speed": "2 m/s"}, 6.0, 6),
        (
            {
                "sensor": "1.5 m",
                "zone": "0.5 m",
                "vehicle": "4.5 m",
                "speed": "1.4 m/s",
                "traffic": "people",
            },
            7.643,
            8,
        ),
        ({"sensor": "8 ft", "zone": "2 ft", "vehicle": "12 ft", "speed": "5 mph"}, 5.0, 5),
    ],
)
def test_dwell_lets_the_longest_vehicle_pass(work, given_, exact, whole):
    found = work("auto-close-dwell", **given_)
    assert value(found, "exact") == pytest.approx(exact, abs=1e-3)
    assert float(found.at_least.value) == whole


def test_22_feet_at_5_mph_take_3_seconds_by_scipys_units(work):
    found = work("auto-close-dwell", vehicle="22 ft", zone="0 m", speed="5 mph")
    assert value(found, "passage") == pytest.approx(22 * constants.foot / (5 * constants.mph))
    assert value(found, "passage") == pytest.approx(3)


def test_what_starts_the_timer_changes_the_sum(work):
    """The three rules of standards.md E.1 on one passage of 4 s."""
    passage = {"sensor": "3 m", "zone": "1 m", "vehicle": "4 m", "speed": "2 m/s"}
    activation = work("auto-close-dwell", **passage, start="activation", opening="3 s")
    assert value(activation, "exact") == 3 + 4 + 2
    clear = work("auto-close-dwell", **passage, start="last-clear")
    assert value(clear, "exact") == 2
    rolling = work("auto-close-dwell", **passage, head_start="3 s")
    assert value(rolling, "exact") == 4 - 3 + 2
    gone = work("auto-close-dwell", **passage, head_start="9 s")
    assert value(gone, "exact") == 2  # never below the margin


lengths = st.decimals("0", "20", places=1)


@given(lengths, lengths, st.decimals("0.5", "5", places=1))
def test_a_longer_or_slower_vehicle_never_gets_less_time(length, more, speed):
    def run(vehicle, pace):
        given_ = {
            "vehicle": Quantity(vehicle, "metre"),
            "speed": Quantity(pace, "metre-per-second"),
        }
        return calculate("auto-close-dwell", given_).at_least.value

    assert run(length + more, speed) >= run(length, speed) >= run(length, speed * 2)
    assert run(length, speed) >= 2


def test_no_vehicle_and_no_way_leave_the_margin(work):
    found = work("auto-close-dwell", vehicle="0 m", zone="0 m", speed="1 m/s", traffic="stopping")
    assert value(found, "dwell") == 5


def test_a_minute_is_advised_against_and_100_seconds_refused(work):
    assert any("presence loop" in w for w in dwell(work, "30 m", "0.5 m/s").warnings)
    with pytest.raises(RangeError, match="99 s or less; use a presence loop"):
        dwell(work, "50 m", "0.5 m/s")


def dwell(work, vehicle, speed):
    return work("auto-close-dwell", vehicle=vehicle, speed=speed)


@pytest.mark.parametrize(
    ("times", "cycles", "cycle", "duty", "most", "open_time", "share"),
    [
        # standards.md E.2: E5 and E6 (derived).
        (("3 s", "8 s", "5 s"), "30", 16, 6.667, 225, 12.0, 10.0),
        (("2 s", "4 s", "3 s"), "60", 9, 8.333, 400, 6.5, 10.83),
    ],
)
def test_cycle_duty_and_open_share(work, times, cycles, cycle, duty, most, open_time, share):
    opening, open_for, closing = times
    found = work("door-cycle", opening=opening, dwell=open_for, closing=closing, cycles=cycles)
    assert value(found, "cycle") == cycle
    assert value(found, "duty") == pytest.approx(duty, abs=1e-3)
    assert value(found, "most-cycles") == pytest.approx(most)
    assert value(found, "open-time") == pytest.approx(open_time)
    assert value(found, "open-share") == pytest.approx(share, abs=0.01)


def test_open_time_is_the_opening_integrated_over_the_cycle(work):
    """A door that opens and closes at steady speed: scipy integrates its opened part."""
    opening, dwell, closing = 2.5, 7.0, 4.5

    def opened(t):
        return min(t / opening, 1.0, max(0.0, (opening + dwell + closing - t) / closing))

    area, _ = integrate.quad(opened, 0, 14.0, points=[2.5, 9.5])
    found = work("door-cycle", opening="2.5 s", dwell="7 s", closing="4.5 s", cycles="10")
    assert value(found, "open-time") == pytest.approx(area)


def test_no_cycles_no_duty_and_too_many_are_refused(work):
    times = {"opening": "3 s", "dwell": "8 s", "closing": "5 s"}
    assert value(work("door-cycle", **times, cycles="0"), "duty") == 0
    assert value(work("door-cycle", **times, cycles="225"), "open-share") == pytest.approx(75)
    with pytest.raises(RangeError, match="225 or fewer"):
        work("door-cycle", **times, cycles="226")


@pytest.mark.parametrize(
    ("given_", "valid"),
    [
        ({"vehicle": "-4 m", "speed": "1 m/s"}, "from 0 to 50 metre"),
        ({"vehicle": "4 m", "speed": "0 m/s"}, "from 0.1 to 10"),
        ({"vehicle": "4 m", "speed": "1 m/s", "start": "monday"}, "one of fully-open"),
    ],
)
def test_what_is_no_passage_is_refused(work, given_, valid):
    with pytest.raises(RangeError, match=valid):
        work("auto-close-dwell", **given_)
