"""A door over its visits: what earlier ones read and left open is told, settled and printed.

Pinewharf's door D1 is served three times through the real machine by text; a door D1 of another
site and the door D2 beside it are served meanwhile and must not be mixed up with it.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

import icalendar
import pytest

from assistant import rehearse
from assistant.clock import SetClock
from assistant.job import Jobs, JobSession
from assistant.plans import events_of, find_job, plan_if_readable, plan_of
from assistant.procedure import machine
from assistant.procedure.load import spoken_day
from assistant.records import history, retention
from assistant.records.ics import export_ics
from assistant.records.report import commissioning_record, words
from assistant.records.visits import history as history_of
from tests.packs import helpful
from tests.records.report_jobs import POINTS_PER_MM, glyphs, overlaps, tight, whole

SITE, ANNEX = "Pinewharf Cold Store", "Pinewharf Annex"
PACKS = ("service-looks", "service", "service-runs", "service-close")
YEAR_D = 365


@dataclass
class Door:
    """The record, its clock, and what was said at each visit of D1: step -> replies."""

    jobs: Jobs
    clock: SetClock
    folder: Path
    visits: list[JobSession] = field(default_factory=list)
    said: list[dict[str, str]] = field(default_factory=list)

    def visit(
        self, sheet: str, values: Mapping[str, str], instead: Mapping[str, str] | None = None,
        packs: tuple[str, ...] = PACKS,
    ) -> tuple[JobSession, dict[str, str]]:  # fmt: skip
        """A visit by right answers, but for the steps whose base is in `instead`."""
        session = self.jobs.new(sheet, *packs)
        told = {"": " ".join(session.prompt().replies)}
        for person in session.plan.job.people:
            session.join(person, person)
        for line in helpful.lines(session, values):
            at = session.run.at or ""
            other = (instead or {}).get(at.partition(".")[0])
            line = line if session.run.pending or other is None else f"lead: {other}"
            for played in rehearse.play_text(session, self.clock, rehearse.read_script(line)):
                assert played.turn.tone != "not-understood", (line, played.turn.replies)
                told[at] = f"{told.get(at, '')} {' '.join(played.turn.replies)}".strip()
        return session, told

    def later(self) -> None:
        """A year passes."""
        self.clock.pass_s(YEAR_D * 86_400)

    def known(self, site: str, door: str):
        return history_of(
            self.jobs.store, site, door, ("winding-insulation", "opening.1"), plan_if_readable
        )


def values(count: int, insulation: str, battery: str = "3.6 V") -> dict[str, str]:
    """What the meters show at a visit; invented."""
    amps = {
        "motor-amps-opening": "2.6 A",
        "motor-amps-closing": "2.1 A",
        "motor-amps-left": "2.5 A",
    }
    times = {"opening.1": "2.6 s", "closing.1": "5.9 s", "days-since-service": "365 d"}
    return amps | times | {
        "cycle-count": str(count), "winding-insulation": insulation, "edge-battery": battery,
    }  # fmt: skip


@pytest.fixture(scope="module")
def door(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Door]:
    folder = tmp_path_factory.mktemp("visits")
    annex = folder / "annex.yaml"
    text = find_job("pinewharf-d1-service").read_text(encoding="utf-8")
    text = text.replace(f"site: {SITE}", f"site: {ANNEX}").replace("terminals: plans/d1.csv\n", "")
    # A sheet that knows nothing of a last visit.
    kept = [line for line in text.splitlines() if not line.strip().startswith("last-")]
    annex.write_text("\n".join(kept), encoding="utf-8")
    clock, digits = SetClock("2023-03-06T08:00:00+00:00"), itertools.cycle(("47", "62", "76", "24"))
    found = Door(Jobs(folder, clock=clock, challenge=lambda: next(digits)), clock, folder)
    for count, insulation, battery, instead in (
        (140_000, "480 Mohm", "3.6 V", {"svc-entries": "unable no key"}),
        (180_000, "460 Mohm", "3600 mV", {"end-carried": "stays open"}),
        (225_000, "0.23 Gohm", "3.46 V", {}),
    ):
        here = values(count, insulation, battery)
        session, told = found.visit("pinewharf-d1-service", here, instead)
        found.visits.append(session)
        found.said.append(told)
        if len(found.visits) == 1:
            found.visit("pinewharf-d2-service", {}, packs=("service-looks",))
            other = {"svc-amps-left": "unable clamp is broken"}
            found.visit(str(annex), values(9_000, "700 Mohm"), other)
        found.later()
    yield found
    found.jobs.store.close()


def test_a_first_visit_says_that_nothing_is_on_record_and_prints(door: Door):
    first = door.visits[0]
    assert "No earlier visit to this door is on record." in door.said[0][""]
    assert not any("Last time" in told for told in door.said[0].values())
    assert first.plan.job.facts["last-opening"] == "2.5 s"  # the sheet's own
    text = whole(commissioning_record(door.jobs.store, first.job_id, first.plan))
    assert tight("No earlier visit to this door is on record.") in text
    assert tight("None was left.") in text and tight("first count on record") in text


def test_a_sheet_that_knows_no_last_visit_is_no_fault_on_the_first_one(door: Door):
    annex = next(row["id"] for row in door.jobs.list() if row["site"] == ANNEX)
    plan = plan_of(door.jobs.store.head(annex)["texts"])
    assert plan.job.facts["last-count"] == "0"  # a new panel counts from zero
    assert "looks-opening-change" not in {step.id for step in plan.steps}


def test_each_reading_is_told_beside_the_last_one_as_it_was_said_then(door: Door):
    assert "Last time four eight zero megohms, on 6 March 2023." in door.said[1]["svc-insulation"]
    assert "of last time" not in door.said[1]["svc-insulation"]
    third = door.said[2]["svc-insulation"]
    assert "Last time four six zero megohms, on 5 March 2024. Half of last time. Water" in third
    assert "Over three visits it halved." in third  # 480, 460, 230: each lower
    assert not any("Over three" in told.get("svc-insulation", "") for told in door.said[:2])
    # 3600 mV against 3.46 V: four percent, by hand.
    battery = door.said[2]["svc-edge-battery"]
    assert "Four percent less than last time. Near its end." in battery
    assert "Last time" not in door.said[1]["looks-opening"]  # the change has its own step


def test_the_values_on_record_take_the_place_of_those_on_the_sheet(door: Door):
    facts = door.visits[1].plan.job.facts
    assert (facts["last-count"], facts["last-opening"]) == ("140000", "2.6 s")
    assert facts["last-amps-opening"] == "2.5 A"  # as left, not as found
    assert door.visits[2].plan.job.facts["last-count"] == "180000"
    daily = door.visits[2].run.readings["cycles-a-day"].quantity
    assert daily and daily.value == -(-(225_000 - 180_000) // 365)


def test_an_open_point_is_told_asked_for_and_carried_on_until_somebody_settles_it(door: Door):
    second, third = door.visits[1:]
    told = "It left one open point. Glands, drain, seal, not done."
    assert told in door.said[1][""] and told in door.said[2][""]
    asked = [step for step in third.plan.steps if step.base == "end-carried"]
    assert [step.say for step in asked] == [
        "Open since 6 March 2023: Glands, drain, seal, not done: no key. Is that settled by now?"
    ]
    assert [(p.step, p.cause, p.reason) for p in second.run.open_points] == [
        ("end-carried.1", "carried", "no key")
    ]
    assert third.run.open_points == ()
    assert door.known(SITE, "D1").points == ()


def test_another_door_and_another_site_are_not_mixed_up(door: Door):
    here, there = door.known(SITE, "d1"), door.known(ANNEX, "D1")
    read = [str(each.value) for each in here.readings["winding-insulation"]]
    assert read == ["480", "460", "0.23"]
    assert [str(each.value) for each in there.readings["winding-insulation"]] == ["700"]
    assert len(here.visits) == 3 and len(there.visits) == 1
    assert [point.step for point in there.points] == ["svc-amps-left"]
    assert "winding-insulation" not in door.known(SITE, "D2").readings
    assert door.known(SITE, "D9").visits == ()


def test_a_point_is_settled_when_its_reading_is_taken_again(door: Door):
    """At the annex the clamp was broken; the next visit has no step that asks for the point."""
    annex = str(door.folder / "annex.yaml")
    session, told = door.visit(annex, values(30_000, "690 Mohm"), packs=PACKS[:3])
    assert "It left one open point. Opening as left, amps, not done." in told[""]
    assert session.run.readings["motor-amps-left"].quantity is not None
    assert door.known(ANNEX, "D1").points == ()


def test_the_log_of_a_visit_alone_rebuilds_it(door: Door):
    for session in door.visits:
        texts = door.jobs.store.head(session.job_id)["texts"]
        run = machine.replay(plan_of(texts), events_of(door.jobs.store, session.job_id))
        assert run == session.run


@pytest.mark.parametrize(("paper", "size"), [("A4", (210.0, 297.0)), ("Letter", (215.9, 279.4))])
def test_the_printed_record_sets_the_visits_side_by_side(door: Door, paper: str, size):
    store, third = door.jobs.store, door.visits[2]
    pdf = commissioning_record(store, third.job_id, third.plan, paper=paper)  # type: ignore[arg-type]
    text = whole(pdf)
    for printed in (
        "Service record",
        "2023-03-06: 0.48 GΩ; 2024-03-05: 0.46 GΩ",
        "Winding insulation halved in 3 visits, from 0.48 to 0.23 GΩ.",
        "Water, dirt or age in the winding",
        "−50 %",
        "Readings over the visits",
        "Glands, drain, seal, not done",
        "45000 since 2024-03-05",
        "What was found",
        "What was tested",
    ):
        assert tight(printed) in text, printed
    assert tight("annex") not in text and tight("700 MΩ") not in text
    # One sentence for the page, the office's trend and the print.
    trend = history.trend(store, "D1", "winding-insulation", SITE)
    assert tight(words.signed(trend.sentence))[1:] in text
    for (width, height), boxes in glyphs(pdf)[1:6]:
        assert (width / POINTS_PER_MM, height / POINTS_PER_MM) == pytest.approx(size, abs=0.1)
        assert all(box.left > 0 and box.right < width - 12 * POINTS_PER_MM for box in boxes)
        assert overlaps(boxes) == []


def test_the_next_date_in_print_is_the_one_of_the_calendar_file(door: Door):
    """365 days after the visit's end, counted by Python's calendar."""
    store, third = door.jobs.store, door.visits[2]
    (row,) = store.query("SELECT ended FROM jobs_of_door WHERE job = ?", [third.job_id])
    due = date.fromisoformat(row["ended"][:10]) + timedelta(days=YEAR_D)
    calendar = icalendar.Calendar.from_ical(export_ics(store, third.job_id))
    (event,) = calendar.walk("VEVENT")
    assert event["DTSTART"].dt == due
    text = whole(commissioning_record(store, third.job_id, third.plan))
    assert tight(f"due {due.isoformat()}, 200000 cycles left of 200000") in text


def test_the_next_date_is_spoken_as_the_record_has_it(door: Door):
    visit, told = door.visits[-1], door.said[-1]
    due = history.due_of(door.jobs.store, _row(door, visit), date(2025, 3, 5))
    assert f"The next service is due by {spoken_day(due.due)}." in " ".join(told.values())


def _row(door: Door, visit: JobSession):
    (row,) = door.jobs.store.query("SELECT * FROM jobs_of_door WHERE job = ?", [visit.job_id])
    return row


def test_words_of_an_earlier_visit_can_be_taken_out_of_a_later_one(door: Door):
    """What somebody dictated goes; the visit can still be read, replayed and printed."""
    store, second = door.jobs.store, door.visits[1]
    assert "no key" in store.head(second.job_id)["texts"]["carried-reasons"]
    retention.redact(
        store, second.job_id, "words", who="office", why="retention", wall=door.clock.wall()
    )
    plan = plan_of(store.head(second.job_id)["texts"])
    assert [step.base for step in plan.steps].count("end-carried") == 1
    text = whole(commissioning_record(store, second.job_id, plan))
    assert "nokey" not in text and tight("Glands, drain, seal, not done") in text


def test_a_damaged_job_keeps_nobody_from_the_next_visit(door: Door):
    """Comes last: the second visit's first entry is broken by hand; the two others stay known."""
    store, second = door.jobs.store, door.visits[1]
    store._conn.execute("DROP TRIGGER entries_no_update")
    store._conn.execute("UPDATE entries SET body = '[]' WHERE job = ? AND seq = 1", [second.job_id])
    known = door.known(SITE, "D1")
    assert [visit.job for visit in known.visits] == [
        session.job_id for session in door.visits if session is not second
    ]
    assert [str(each.value) for each in known.readings["winding-insulation"]] == ["480", "0.23"]
