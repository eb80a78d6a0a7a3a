"""A door over the years: its jobs, honest trends, when it is due; the views the office reads."""

from __future__ import annotations

import random
import sqlite3
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise, permutations
from pathlib import Path

import icalendar
import pytest
from sqlite_utils import Database

from assistant.calc import trends
from assistant.errors import RecordError
from assistant.records import history, ics, trend_plot
from assistant.records.store import Store
from tests.records.pinewharf import judged, turn

SITE = "Pinewharf Cold Store"


def visit(
    store: Store, day: str, *readings: dict, door: str = "D1", site: str = SITE, done: bool = True
) -> str:
    """A job of a door on a day, with readings; returns its id."""
    job = f"{door.lower()}-{day}-{len(site)}"
    start = f"{day}T08:00:00+00:00"
    head = {"title": "Service", "site": site, "door": door, "pack": "service", "version": "1.0"}
    store.create_job(job, head | {"thirdhand": "0.1", "job": {"instruments": []}}, start)
    for place, reading in enumerate(readings):
        body = turn("affirm", reading)
        store.append(job, body, wall=f"{day}T08:{place:02d}:30+00:00", mono_s=place + 1)
    last = {"kind": "finished", "open_points": 0} if done else {"kind": "entered", "step": "x"}
    store.append(job, turn("confirm", last), wall=f"{day}T09:00:00+00:00", mono_s=3600.0)
    return job


def insulation(value: str | None, **more) -> dict:
    bounds = {"at_least": "1.0", "at_most": None, "unit": "megohm", "source": "IEC 60364-6"}
    told = {"unit": "megohm", "bounds": bounds, "si_value": None, "si_unit": "ohm"} | more
    return judged("insulation.l1-pe", value, **told)


def visits(store: Store, values: Iterable[str | None]) -> None:
    for year, value in enumerate(values, start=2020):
        special = "" if value else "over-range"
        visit(store, f"{year}-03-02", insulation(value, special=special))


# --- jobs of a door ------------------------------------------------------------------------------


def test_all_jobs_of_a_door_come_oldest_first_with_what_matters(store: Store):
    visit(store, "2024-03-02", insulation("9.0"))
    visit(store, "2021-03-02", insulation("0.4", verdict="fail"), insulation("0.3", verdict="fail"))
    visit(store, "2023-03-02", door="D2")
    jobs = history.jobs_of_door(store, " d1 ")
    assert [job["started"][:4] for job in jobs] == ["2021", "2024"]
    assert [job["failed"] for job in jobs] == [["insulation.l1-pe"], []]
    assert [(job["readings"], job["finished"]) for job in jobs] == [(1, 1), (1, 1)]


def test_a_door_of_two_sites_needs_the_site_and_an_unknown_one_names_what_there_is(store: Store):
    visit(store, "2024-03-02")
    visit(store, "2024-03-03", site="Other Wharf")
    with pytest.raises(RecordError, match="Other Wharf; Pinewharf Cold Store; name one with --si"):
        history.jobs_of_door(store, "D1")
    assert len(history.jobs_of_door(store, "D1", "other wharf")) == 1
    with pytest.raises(RecordError, match="doors on record: D1 at Other Wharf"):
        history.jobs_of_door(store, "D9")


def test_words_are_found_in_what_was_heard_and_noted_in_any_case(store: Store):
    job = visit(store, "2024-03-02")
    note = turn("note", {"kind": "noted", "text": "Gland at 100% loose"}, heard="note gland")
    store.append(job, note, wall="2024-03-02T09:01:00+00:00", mono_s=3700)
    (found,) = history.search(store, "gland AT 100%")
    assert (found["job"], found["kind"]) == (job, "note")
    assert "Gland at 100% loose" in found["found"]
    assert history.search(store, "gland_at") == []  # signs of patterns are signs


def test_what_was_redacted_is_not_found(store: Store):
    from assistant.records import retention

    job = visit(store, "2024-03-02")
    note = turn("note", {"kind": "noted", "text": "ask Robin"}, heard="note ask Robin")
    store.append(job, note, wall="2024-03-02T09:01:00+00:00", mono_s=3700)
    assert history.search(store, "robin")
    retention.redact(store, job, "words", who="office", why="time", wall="2034-03-02")
    assert history.search(store, "robin") == []


# --- trends --------------------------------------------------------------------------------------


def test_insulation_that_halved_in_three_visits_is_said_so(store: Store):
    visits(store, ["12.0", "8.4", "6.0"])
    found = history.trend(store, "D1", "insulation.l1-pe")
    assert found.sentence == (
        "insulation l1 pe halved in 3 visits, from 12 to 6 Mohm. "
        "The last is within its limits (at least 1 Mohm)."
    )
    assert found.claimed


@pytest.mark.parametrize(
    ("values", "words"),
    [
        (["12", "11.8", "11.5"], "no trend in 3 visits, between 11.5 and 12 Mohm"),
        (["12", "5", "9"], "no trend"),  # not one way
        (["12", "9", "12"], "no trend"),
        (["12", "9", "8.1"], "no trend"),  # less than half as much again
        (["12", "9", "7.9"], "fell by 34 % in 3 visits"),
        (["4", "8", "12"], "tripled in 3 visits"),
        (["2", "4", "30"], "rose 15.0 times"),
        (["2", "3", "20"], "rose tenfold"),
        (["9", "6", "3"], "fell to a third"),
        (["12", "6"], "2 visits with a value, too few"),
        (["12"], "1 visit with a value, too few"),
        (["0", "1", "2"], "at or below zero"),
        (["9.0", "9.1", "9.2", "9.3", "9.4"], "no trend"),  # sure, but less than a tenth
        (["9", "8.5", "8.6", "7.9", "7.1", "6.4"], "fell by 2"),
        (["9", "5", "8", "4", "7", "3"], "no trend"),  # S = -7 of 15: p = 0.27
    ],
)
def test_a_change_is_named_only_by_the_written_rule(store: Store, values: list[str], words: str):
    visits(store, values)
    found = history.trend(store, "D1", "insulation.l1-pe")
    assert words in found.sentence
    assert found.claimed == ("visits, from" in found.sentence)


def test_chance_alone_hardly_ever_makes_a_trend():
    """Readings that scatter by 10 % around one value: at most one door in twenty is claimed."""
    draw = random.Random(1)
    for count in (3, 4, 5, 6, 8, 12):
        claims = 0
        for _ in range(2000):
            values = [10 * draw.lognormvariate(0, 0.1) for _ in range(count)]
            claims += trends.changed(values)
        assert claims / 2000 <= 0.05, count


def test_a_real_fall_is_claimed_most_times():
    """Ten per cent a visit over eight visits, with 5 % scatter: nine of ten are seen."""
    draw = random.Random(2)
    seen = sum(
        trends.changed([10 * 0.9**n * draw.lognormvariate(0, 0.05) for n in range(8)])
        for _ in range(500)
    )
    assert seen > 450


@pytest.mark.parametrize("n", [3, 4, 5, 6, 7])
def test_the_exact_probability_is_the_share_of_all_orders(n: int):
    """Counted over every order of n values, which is what the test's distribution is."""
    orders = list(permutations(range(n)))

    def s(values) -> int:
        return sum(
            (values[j] > values[i]) - (values[j] < values[i])
            for i in range(n)
            for j in range(i + 1, n)
        )

    all_s = [abs(s(order)) for order in orders]
    for order in orders[:: max(1, len(orders) // 20)]:
        share = sum(each >= abs(s(order)) for each in all_s) / len(orders)
        assert trends.kendall_p([float(v) for v in order]) == pytest.approx(share)


def test_published_points_of_the_distribution_come_out():
    """Kendall's S for n = 10: P(S >= 21) = 0.036, P(S >= 23) = 0.023 (Kendall's table; from
    memory)."""

    def with_s(s: int) -> list[float]:
        return next([float(v) for v in order] for order in _by_inversions(10, (45 - s) // 2))

    assert trends.kendall_p(with_s(21)) / 2 == pytest.approx(0.036, abs=0.0005)
    assert trends.kendall_p(with_s(23)) / 2 == pytest.approx(0.023, abs=0.0005)


def _by_inversions(n: int, inversions: int):
    """An order of n values with so many inversions."""
    left, order, values = inversions, [], list(range(n))
    for place in range(n):
        take = min(left, n - 1 - place)
        order.append(values.pop(take))
        left -= take
    yield order


def test_the_line_is_that_of_a_worked_example():
    """Slopes of 1, 3, 2, 5 at equal steps: 2, -1, 3, 1/2, 1, 4/3; their median is 7/6, and the
    median of 1, 3 - 7/6, 2 - 14/6, 5 - 21/6 is 1.25. Worked by hand."""
    assert trends.sen_line([1, 3, 2, 5]) == pytest.approx((1.25, 1.25 + 3.5))


def test_values_over_range_are_counted_and_left_out_and_the_last_of_a_job_counts(store: Store):
    visits(store, ["12.0", None, "8.4"])
    visit(
        store,
        "2023-03-02",
        insulation("60"),
        insulation("6.0", corrects=True),
    )
    found = history.trend(store, "D1", "insulation.l1-pe")
    assert "halved in 3 visits" in found.sentence
    assert "1 without a number is left out" in found.sentence
    assert [each.value for each in found.visits] == [12.0, None, 8.4, 6.0]


def test_values_in_other_units_are_brought_to_the_last_one(store: Store):
    visit(store, "2020-03-02", insulation("0.012", unit="gigohm"))
    visit(store, "2021-03-02", insulation("8400", unit="kilohm"))
    visit(store, "2022-03-02", insulation("6"))
    found = history.trend(store, "D1", "insulation.l1-pe")
    assert [round(each.value, 6) for each in found.visits] == [12.0, 8.4, 6.0]
    assert [each.at_least for each in found.visits] == [1.0, 1.0, 1.0]


def test_a_last_value_outside_its_limits_is_said_in_capitals(store: Store):
    visits(store, ["3", "2"])
    visit(store, "2023-03-02", insulation("0.5", verdict="fail"))
    assert "OUTSIDE its limits" in history.trend(store, "D1", "insulation.l1-pe").sentence


def test_a_reading_that_never_was_is_an_error_that_names_those_there_are(store: Store):
    visits(store, ["12"])
    with pytest.raises(RecordError, match=r"no reading 'closing'; it has: insulation\.l1-pe"):
        history.trend(store, "D1", "closing")


# --- the plot ------------------------------------------------------------------------------------

SVG = "{http://www.w3.org/2000/svg}"


def plotted(store: Store, reading: str = "insulation.l1-pe") -> ET.Element:
    return ET.fromstring(trend_plot.svg(history.trend(store, "D1", reading)))


def test_the_plot_has_a_dot_a_visit_at_its_date_and_height(store: Store):
    visits(store, ["12", "9", "6", "3"])
    root = plotted(store)
    dots = [(float(c.get("cx")), float(c.get("cy"))) for c in root.iter(f"{SVG}circle")]
    assert len(dots) == 4
    heights = [y for _, y in dots]
    steps = [b - a for a, b in pairwise(heights)]
    assert max(steps) - min(steps) <= 0.2 and min(steps) > 10  # equal falls, downwards
    assert [x for x, _ in dots] == sorted(x for x, _ in dots)
    (limit,) = [p for p in root.iter(f"{SVG}polyline") if p.get("stroke-dasharray")]
    assert limit is not None


def test_the_plot_keeps_inside_its_frame_whatever_the_values(store: Store):
    draw = random.Random(3)
    for place in range(40):
        door = f"E{place}"
        for year in range(draw.randint(1, 6)):
            value = f"{draw.choice((-1, 1)) * 10 ** draw.uniform(-6, 6):.9f}"
            visit(store, f"20{10 + year}-03-02", insulation(value), door=door)
        text = trend_plot.svg(history.trend(store, door, "insulation.l1-pe"))
        for dot in ET.fromstring(text).iter(f"{SVG}circle"):
            assert trend_plot.LEFT <= float(dot.get("cx")) <= trend_plot.WIDTH - trend_plot.RIGHT
            assert float(dot.get("cy")) >= trend_plot.TOP - 1
            assert float(dot.get("cy")) <= trend_plot.HEIGHT - trend_plot.BOTTOM + 1
        assert "nan" not in text and "inf" not in text


def test_signs_that_are_markup_elsewhere_are_text_in_the_plot(store: Store):
    for year in (2020, 2021, 2022):
        visit(store, f"{year}-03-02", insulation("5"), door='<D&1>"', site="<script>x</script>")
    text = trend_plot.svg(history.trend(store, '<D&1>"', "insulation.l1-pe"))
    root = ET.fromstring(text)
    assert [e for e in root.iter() if e.tag == f"{SVG}script"] == []
    assert '<D&1>"' in "".join(root.itertext())


def test_the_same_visits_give_the_same_plot_and_a_failed_one_is_a_square(store: Store):
    visits(store, ["12", "9"])
    visit(store, "2023-03-02", insulation("0.5", verdict="fail"))
    found = history.trend(store, "D1", "insulation.l1-pe")
    assert trend_plot.svg(found) == trend_plot.svg(found)
    squares = [r for r in plotted(store).iter(f"{SVG}rect") if r.get("width") == "10"]
    assert len(squares) == 1
    alone = replace(found, visits=(replace(found.visits[0], value=None, said="over-range"),))
    assert "over-range" in trend_plot.svg(alone)


# --- due -----------------------------------------------------------------------------------------


def test_doors_are_due_by_their_last_job_and_the_most_urgent_comes_first(store: Store):
    visit(store, "2024-03-02")
    visit(store, "2025-06-01")
    visit(store, "2025-01-10", door="D2")
    days = judged("next-service", "90", unit="day", si_value=90 * 86400.0, si_unit="s", bounds=None)
    visit(store, "2025-05-01", days, door="D3")
    found = history.due(store, date(2025, 8, 9))
    assert [(each.door, each.due, each.days_left) for each in found] == [
        ("D3", "2025-07-30", -10),
        ("D2", "2026-01-10", 154),
        ("D1", "2026-06-01", 296),
    ]
    assert found[0].reason == "90 days, as entry 2 of the job says"
    assert "no job says another" in found[1].reason
    assert [each.door for each in history.due(store, date(2025, 8, 9), within=0)] == ["D3"]
    assert history.due(store, date(2025, 8, 9), days=30)[-1].due == "2025-07-30"


def test_a_job_opened_again_years_later_is_not_newer_for_that(store: Store):
    job = visit(store, "2024-03-02")
    again = turn("restarted", {"kind": "finished", "open_points": 0})
    store.append(job, again, wall="2026-03-02T08:00:00+00:00", mono_s=3600.0)
    assert history.due(store, date(2026, 3, 2))[0].last == "2024-03-02"


def test_the_calendar_file_is_one_event_on_the_day_with_a_reminder(store: Store):
    """Read back by the library; the stamp comes from the log, so it is the same each time."""
    days = judged("next-service", "182", unit="day", si_value=182 * 86400.0, si_unit="s")
    job = visit(store, "2025-03-02", days)
    text = ics.export_ics(store, job)
    assert text == ics.export_ics(store, job)
    (event,) = icalendar.Calendar.from_ical(text).walk("VEVENT")
    assert event.decoded("dtstart") == date(2025, 3, 2) + timedelta(days=182)
    assert event.decoded("dtend") - event.decoded("dtstart") == timedelta(days=1)
    assert event.decoded("dtstamp").isoformat() == "2025-03-02T09:00:00+00:00"
    assert str(event["summary"]) == "Service due: door D1, Pinewharf Cold Store"
    assert "182 days, as entry 2" in str(event["description"])
    assert store.job(job)["hash"] in str(event["description"])
    (alarm,) = event.walk("VALARM")
    assert alarm.decoded("trigger") == timedelta(days=-14)
    lines = text.split(b"\r\n")
    assert max(len(line) for line in lines) <= 75  # RFC 5545, 3.1
    assert lines[0] == b"BEGIN:VCALENDAR" and b"\n" not in text.replace(b"\r\n", b"")


# --- the views -----------------------------------------------------------------------------------

DOCUMENTED = Path(__file__).parents[2] / "assistant" / "records" / "README.md"


def test_every_view_and_column_is_documented():
    text = DOCUMENTED.read_text(encoding="utf-8")
    with Store.memory() as store:
        for view in ("readings", "open_points", "lockouts", "jobs_of_door", "files"):
            assert f"### `{view}`" in text
            section = text.split(f"### `{view}`")[1].split("###")[0]
            columns = store._conn.execute(f"SELECT name FROM pragma_table_info('{view}')")
            missing = [name for (name,) in columns if f"`{name}`" not in section]
            assert not missing, (view, missing)


def test_an_office_tool_reads_the_views_without_being_able_to_write(played: tuple[Path, str]):
    """Opened read-only by sqlite-utils' own command line, as an office would."""
    path, _ = played
    ran = subprocess.run(
        [sys.executable, "-m", "sqlite_utils", "query", str(path),
         "SELECT name, value, unit, verdict FROM readings WHERE name = 'supply.l-n'"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert '"value": "231"' in ran.stdout
    connection = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    with pytest.raises(sqlite3.OperationalError):
        connection.execute("DELETE FROM readings")
    counts = {
        view: connection.execute(f"SELECT count(*) FROM {view}").fetchone()[0]
        for view in ("readings", "lockouts", "jobs_of_door")
    }
    connection.close()
    assert counts["jobs_of_door"] == 1 and counts["readings"] > 10 and counts["lockouts"] > 3
    with Database(path) as db:
        rows = list(db.query("SELECT what, person, tag, state FROM lockouts"))
    told = [(row["what"], row["person"]) for row in rows]
    assert ("lock on", "lead") in told and ("lock off", "lead") in told
    assert [row["state"] for row in rows if row["what"] == "state"][-1] == "energised"


def test_open_points_of_the_view_are_those_of_the_machine(tmp_path: Path):
    """Points that a later reading closes are gone from both; the others stay in both."""
    from assistant.clock import SetClock
    from assistant.job import Jobs

    jobs = Jobs(tmp_path, clock=SetClock(), challenge=lambda: "47")
    session = jobs.new("pinewharf-d2", "power-entry")
    for words in ("unable, no ladder", "done", "unable, told nobody", "go back", "done") * 3:
        session.say("", words, via="text")
        session.clock.pass_s(4)
    machine = {(point.step, point.cause, point.reason) for point in session.run.open_points}
    rows = jobs.store.query("SELECT step, cause, reason FROM open_points")
    assert {(row["step"], row["cause"], row["reason"]) for row in rows} == machine
    assert machine
    jobs.store.close()


def test_a_failed_reading_that_passes_later_leaves_no_open_point(store: Store):
    job = visit(store, "2024-03-02", done=False)
    point = {"kind": "open-point", "step": "measure-x", "cause": "failed", "reason": ""}
    unable = {"kind": "open-point", "step": "other", "cause": "unable", "reason": "no meter"}
    fails, passes = judged("x", "9", verdict="fail"), judged("x", "1")
    wall = "2024-03-02T10:00:00+00:00"

    def steps() -> list[str]:
        return [row["step"] for row in store.query("SELECT step FROM open_points ORDER BY step")]

    store.append(job, turn("affirm", fails, point), wall=wall, mono_s=1)
    store.append(job, turn("unable", unable), wall=wall, mono_s=2)
    assert steps() == ["measure-x", "other"]
    store.append(job, turn("affirm", passes), wall=wall, mono_s=3)
    assert steps() == ["other"]
    store.append(job, turn("affirm", fails, point), wall=wall, mono_s=4)
    assert steps() == ["measure-x", "other"]
