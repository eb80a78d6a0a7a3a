"""Travel times and their guard against worked examples and an integral by scipy."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, optimize

from assistant.calc import calculate
from assistant.errors import RangeError
from assistant.quantity import Quantity


@pytest.mark.parametrize(
    ("times", "low", "high"),
    [
        # 3.0 m at 1.0 m/s with ramps of 0.5 s: 3.5 s by the trapezium; guard 5.5 to 6.5 s.
        (["3.5 s"], 5.5, 6.5),
        # 10 ft at 24 in/s opens in 5 s and closes at half the speed in 10 s.
        (["5.00 s"], 7, 8),
        (["10.00 s"], 12, 13),
        # The longest of three counts, whatever its place.
        (["9.8 s", "10.2 s", "9.9 s"], 12.2, 13.2),
        (["10.2 s", "9.8 s", "0.165 min"], 12.2, 13.2),
    ],
)
def test_guard_is_the_longest_run_and_two_to_three_seconds(work, times, low, high):
    found = work("travel-time-guard", times=times)
    assert float(found.at_least.value) == pytest.approx(low)
    assert float(found.at_most.value) == pytest.approx(high)


@given(st.lists(st.decimals(1, 60, places=1), min_size=1, max_size=6), st.randoms())
def test_order_of_the_runs_does_not_matter(times, random):
    mixed = list(times)
    random.shuffle(mixed)

    def low(values):
        runs = tuple(Quantity(v, "second") for v in values)
        return calculate("travel-time-guard", {"times": runs}).at_least.value

    assert low(times) == low(mixed) == max(times) + 2


def test_fewer_than_three_runs_are_said_to_be_few(work):
    assert work("travel-time-guard", times=["3.5 s", "3.4 s"]).warnings
    assert not work("travel-time-guard", times=["3.5 s", "3.4 s", "3.6 s"]).warnings


def test_a_whole_second_always_fits(work):
    """Guards are often set in whole seconds: the window holds one for any time."""
    for tenths in range(3, 100):
        found = work("travel-time-guard", times=[f"{Decimal(tenths) / 10} s"])
        low, high = found.at_least.value, found.at_most.value
        assert any(low <= whole <= high for whole in range(int(low), int(high) + 1))


@pytest.mark.parametrize(
    ("given_", "valid"),
    [
        ({"times": []}, "at least one"),
        ({"times": ["0.1 s"]}, "from 0.3 to 300 second"),
        ({"times": ["400 s"]}, "from 0.3 to 300 second"),
        ({"times": ["3 V"]}, "given in second"),
        ({"times": ["3 s"], "least": "5 s"}, "5 s or more"),
    ],
)
def test_guard_refuses_what_is_no_travel_time(work, given_, valid):
    with pytest.raises(RangeError, match=valid):
        work("travel-time-guard", **given_)


@pytest.mark.parametrize(
    ("given_", "seconds"),
    [
        # standards.md E.3: E7, E9 both ways, E10 (derived). 2 m/s2 to 1 m/s is a ramp of 0.5 s.
        ({"height": "3.0 m", "speed": "1.0 m/s"}, 3.5),
        ({"height": "10 ft", "speed": "24 in/s", "start_ramp": "0 s", "stop_ramp": "0 s"}, 5.0),
        ({"height": "10 ft", "speed": "12 in/s", "start_ramp": "0 s", "stop_ramp": "0 s"}, 10.0),
        ({"height": "0.3 m", "speed": "1.0 m/s"}, 0.7746),
    ],
)
def test_travel_time_agrees_with_the_worked_examples(work, given_, seconds):
    found = work("travel-time", **given_)
    assert float(found.values["time"].value) == pytest.approx(seconds, abs=5e-5)
    assert float(found.values["guard-lowest"].value) == pytest.approx(seconds + 2, abs=5e-5)
    assert float(found.values["guard-highest"].value) == pytest.approx(seconds + 3, abs=5e-5)


def test_a_short_way_never_reaches_full_speed(work):
    """standards.md E10: peak 0.7746 m/s (derived)."""
    found = work("travel-time", height="0.3 m", speed="1 m/s")
    assert float(found.values["peak"].value) == pytest.approx(0.7746, abs=5e-5)


def test_travel_time_agrees_with_speed_integrated_by_scipy(work):
    up, down, full = 0.8, 0.4, 1.2

    def way(time):
        def speed(t):
            return max(0.0, min(full, full * t / up, full * (time - t) / down))

        return integrate.quad(speed, 0, time, points=[up, time - down])[0]

    time = optimize.brentq(lambda t: way(t) - 3.4, 1.3, 20)
    found = work(
        "travel-time", height="3.4 m", speed="1.2 m/s", start_ramp="0.8 s", stop_ramp="0.4 s"
    )
    assert float(found.values["time"].value) == pytest.approx(time, rel=1e-6)


@given(st.decimals(0, 10, places=2), st.decimals("0.05", "3", places=2))
def test_a_higher_door_takes_longer_and_no_way_no_time(height, speed):
    def time(metres):
        given_ = {
            "height": Quantity(metres, "metre"),
            "speed": Quantity(speed, "metre-per-second"),
        }
        return calculate("travel-time", given_).values["time"].value

    assert time(Decimal(0)) == 0
    assert time(height + 1) > time(height) >= height / speed


@pytest.mark.parametrize(
    ("given_", "valid"),
    [
        ({"height": "-1 m", "speed": "1 m/s"}, "from 0 to 20 metre"),
        ({"height": "3 m", "speed": "0 m/s"}, "from 0.02 to 5"),
        ({"height": "3 s", "speed": "1 m/s"}, "given in metre"),
    ],
)
def test_what_is_no_travel_is_refused(work, given_, valid):
    with pytest.raises(RangeError, match=valid):
        work("travel-time", **given_)
