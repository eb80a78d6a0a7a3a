"""Next service by cycles and by date, against the calendar and hand-worked examples."""

from datetime import date, timedelta

import pint
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


def test_daily_use_agrees_with_days_counted_on_the_calendar(work):
    """From 1 March to 1 September are 184 days by Python's calendar: 460 cycles on each."""
    days = (date(2026, 9, 1) - date(2026, 3, 1)).days
    found = work("daily-use", count="92640", last="8000", days=f"{days} d")
    assert (value(found, "cycles"), value(found, "cycles-a-day")) == (460 * 184, 460)


def test_daily_use_is_never_rounded_down(work):
    """Numbers taken by hand: 1001 cycles in ten days are 100.1; 100 would make a service late."""
    assert value(work("daily-use", count="1001", last="0", days="10 d"), "cycles-a-day") == 101


def test_daily_use_leads_to_the_service_that_the_cycles_themselves_lead_to(work):
    """At the mean rate the counter reaches its interval on the day the next service is due."""
    rate = value(work("daily-use", count="50000", last="0", days="100 d"), "cycles-a-day")
    due = work("next-service", cycles_a_day=str(rate), every_cycles="100000", cycles_since="50000")
    assert value(due, "days") == 100


def test_a_counter_that_runs_backwards_is_refused():
    with pytest.raises(RangeError, match="reset or a new panel"):
        calculate("daily-use", {"count": "120", "last": "90000", "days": "365 d"})


@pytest.mark.parametrize(
    ("name", "now", "last"),
    [("current-change", "2.4 A", "2.0 A"), ("time-change", "11 s", "10 s"),
     ("time-change", "8.5 s", "10 s"), ("current-change", "500 mA", "0.5 A"),
     ("insulation-change", "210 Mohm", "0.48 Gohm"), ("battery-change", "3420 mV", "3.6 V"),
     ("resistance-change", "8.2 kohm", "9100 ohm")],
)  # fmt: skip
def test_a_change_is_the_one_that_pint_works_out(work, name, now, last):
    """pint's own registry, an independent library, in whatever units the two were given."""
    of = pint.UnitRegistry()
    wanted = ((of(now) - of(last)) / of(last)).to("percent").magnitude
    assert value(work(name, now=now, last=last), "change") == pytest.approx(wanted, abs=1e-9)


def test_a_change_is_bounded_either_way_by_what_is_usual(work):
    """20 % of a current, 10 % of a time or a resistance: common practice, no source."""
    for name, most in (("current-change", 20), ("time-change", 10), ("resistance-change", 10)):
        found = work(name, now="12", last="10")
        assert (found.at_least.value, found.at_most.value) == (-most, most)


@pytest.mark.parametrize(
    ("name", "now", "usual"),
    [("insulation-change", "5", False), ("insulation-change", "7", True),
     ("insulation-change", "90", True), ("battery-change", "9.6", False),
     ("battery-change", "9.8", True), ("battery-change", "12", True)],
)  # fmt: skip
def test_insulation_and_battery_are_unusual_only_when_they_fall(work, name, now, usual):
    """Half the insulation, 4 % less at a battery: common practice, no source."""
    found = work(name, now=now, last="10")
    assert found.at_most is None
    assert (value(found, "change") >= found.at_least.value) == usual
