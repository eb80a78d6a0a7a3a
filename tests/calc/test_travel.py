"""Travel-time guard against hand-worked examples."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

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
