"""Next service by cycles and by date, against the calendar and hand-worked examples."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.calc import calculate
from assistant.errors import RangeError


def value(result, name):
    return float(result.values[name].value)


def test_cycles_come_first_on_a_busy_door(work):
    """30 cycles an hour for 16 hours (standards.md E.2, E5's traffic): 480 a day, 208 days."""
    found = work("next-service", cycles_a_day="480", every_cycles="100000")
    assert value(found, "by-cycles") == pytest.approx(208.33, abs=0.01)
    assert value(found, "days") == 208
    assert value(found, "cycles") == 208 * 480
    assert "by cycles" in found.working[-1]


def test_the_year_comes_first_on_a_quiet_door(work):
    found = work("next-service", cycles_a_day="20", every_cycles="100000")
    assert value(found, "days") == 365
    assert value(found, "cycles") == 7300
    assert "by date" in found.working[-1]


def test_a_five_day_week_agrees_with_days_counted_on_the_calendar(work):
    """10 000 cycles at 100 a working day: the hundredth one, found by walking a calendar."""
    day, worked = date(2026, 11, 2), 0  # a Monday
    while worked < 100:
        worked += day.weekday() < 5
        day += timedelta(days=1)
    counted = (day - date(2026, 11, 2)).days
    found = work("next-service", cycles_a_day="100", every_cycles="10000", days_a_week="5")
    assert value(found, "by-cycles") == pytest.approx(counted, abs=2)  # a weekend
    assert value(found, "by-cycles") == pytest.approx(140)


def test_what_has_run_since_counts(work):
    found = work(
        "next-service",
        cycles_a_day="200",
        every_cycles="50000",
        cycles_since="30000",
        days_since="150 d",
    )
    assert value(found, "by-cycles") == 100
    assert value(found, "by-date") == 215
    assert not found.warnings


def test_an_overdue_service_is_said(work):
    for late in ({"cycles_since": "60000"}, {"days_since": "400 d"}):
        found = work("next-service", cycles_a_day="0", every_cycles="50000", **late)
        assert value(found, "days") == 0
        assert found.warnings == ("service is due",)


def test_a_door_that_never_runs_goes_by_the_date_alone(work):
    found = work("next-service", cycles_a_day="0", every_cycles="50000")
    assert value(found, "days") == 365
    assert "by-cycles" not in found.values


@given(st.integers(1, 2000), st.integers(1, 200_000), st.integers(1, 1000))
def test_neither_interval_is_ever_passed_and_one_day_more_would_pass_one(rate, cycles, days):
    given_ = {"cycles-a-day": str(rate), "every-cycles": str(cycles), "every-days": f"{days} d"}
    left = int(calculate("next-service", given_).values["days"].value)
    assert left <= days and left * rate <= cycles
    assert left + 1 > days or (left + 1) * rate > cycles


@pytest.mark.parametrize(
    ("given_", "valid"),
    [
        ({"cycles_a_day": "-1", "every_cycles": "1000"}, "from 0 to 5000"),
        ({"cycles_a_day": "10", "every_cycles": "0"}, "from 1 to"),
        ({"cycles_a_day": "10", "every_cycles": "1000", "days_a_week": "8"}, "from 1 to 7"),
        ({"cycles_a_day": "10"}, "service interval in cycles"),
    ],
)
def test_what_is_no_interval_is_refused(work, given_, valid):
    with pytest.raises(RangeError, match=valid):
        work("next-service", **given_)
