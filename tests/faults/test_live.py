"""The guide within a job: on record before it is spoken, gates kept, back through the tests."""

from __future__ import annotations

import io
import itertools
import json
from dataclasses import replace
from functools import cache

import jsonschema
import pytest
from pypdf import PdfReader

from assistant import rehearse
from assistant.clock import SetClock
from assistant.errors import RecordError
from assistant.faults.found import faults
from assistant.finding import Finding, follow, searches
from assistant.job import JobSession
from assistant.plans import events_of, find_job, find_pack, plan_of, texts_of
from assistant.procedure import inputs, machine
from assistant.procedure.load import load_job
from assistant.records import bundle
from assistant.records.log import export_json, show, verify
from assistant.records.report import commissioning_record
from assistant.records.store import Store
from tests.packs import helpful

SEEN = ("find the fault", "door will not close", "it is safe")


@cache
def texts_and_plan(name):
    file = find_job(name)
    texts = texts_of([find_pack(each) for each in load_job(file).packs], file)
    return texts, plan_of(texts)


def new(folder, name="pinewharf-d1-repair", recogniser=None):
    """A visit of both people, at its first step."""
    clock, digits = SetClock(), itertools.cycle(("47", "62", "76", "24"))
    parts = {"recogniser": recogniser, "clock": clock, "challenge": lambda: next(digits)}
    texts, plan = texts_and_plan(name)
    store = Store.open(folder / "records.sqlite")
    session = JobSession.start("j1", plan, texts, store, **parts)
    for person in plan.job.people:
        session.join(person, person)
    return session, clock


@pytest.fixture
def at_door(tmp_path):
    session, clock = new(tmp_path)
    yield session, clock
    session.store.close()


def say(session, clock, *lines, who="lead"):
    """Say lines as typed words; the last turn."""
    for line in lines:
        clock.pass_s(3)
        turn = session.say(who, line, via="text")
    return turn


def go_on(session, clock, until):
    """Answer the job's steps rightly until something holds."""
    for _ in range(600):
        if until():
            return
        line = helpful._line(session, {})
        list(rehearse.play_text(session, clock, rehearse.read_script(line)))
    raise AssertionError(f"stuck at {session.run.at}")


def floor(session):
    return session.finding.has_floor(session.run)


def search(session):
    return session.finding.live.search


def replayed(session):
    """Run and search from the log alone."""
    run, found = machine.start(session.plan), Finding()
    for event in events_of(session.store, session.job_id):
        out = machine.advance(session.plan, run, event)
        found, _, _ = follow(found, session.plan, event, out)
        run = out.run
    return run, found


def test_a_fault_is_found_repaired_and_tested_again_in_one_visit_and_its_log_alone_says_so(at_door):
    session, clock = at_door
    say(session, clock, *SEEN, "I found it, a beam out of line")
    assert search(session).phase == "repair" and not search(session).entered
    say(session, clock, "go there")
    go_on(session, clock, lambda: floor(session))
    assert session.run.ledger.state == "locked" and search(session).entered
    turn = say(session, clock, "repaired")
    assert "Do these again, in this order: reset after repair and safety tests." in turn.replies[0]
    assert session.run.answers["repair-beam"] == "it was changed"
    go_on(session, clock, lambda: session.run.finished)
    assert session.finding.live.over and search(session).retests == ()
    asked = {
        effect["step"]
        for entry in session.store.entries(session.job_id)
        for effect in entry.body.get("effects", ())
        if effect["kind"] == "entered"
    }
    assert {"repair-beam-seat", "repair-line-up", "repair-tune"} <= {s.split(".")[0] for s in asked}
    assert verify(session.store, session.job_id).ok
    assert replayed(session) == (session.run, session.finding)
    (row,) = faults(session.store.entries(session.job_id))
    assert (row.symptom, row.cause) == ("the door opens but will not close", "a beam out of line")
    shown = "\n".join(show(session.store, session.job_id))
    assert "fault guide, found: cause beam-misaligned" in shown
    assert row.repaired and row.solved and {state for _, state in row.retests} == {"passed"}
    assert searches(session.store, "j1") == (row,)
    pdf = commissioning_record(session.store, "j1", session.plan, faults=(row,))
    read = PdfReader(io.BytesIO(pdf))
    page = " ".join("".join(each.extract_text() for each in read.pages).split())
    assert "Cause: a beam out of line. Entries " in page
    assert f"Repair: {row.fix}" in page
    assert "Tests after it: reset after repair passed; safety tests passed." in page


def test_a_repair_is_not_entered_before_the_ledger_has_its_state(at_door):
    session, clock = at_door
    say(session, clock, *SEEN, "I found it, a beam without supply")
    turn = say(session, clock, "repaired")
    assert search(session).phase == "repair"
    assert turn.replies == (
        "The repair needs the panel proven dead; it counts as unknown, which means live.",
    )
    say(session, clock, "go there")
    go_on(session, clock, lambda: session.run.ledger.state == "locked")
    assert not floor(session)
    turn = say(session, clock, "find the fault", "repaired")
    assert search(session).phase == "repair" and not search(session).entered


def test_a_proof_that_is_lost_drops_the_repair_at_once(at_door):
    session, clock = at_door
    say(session, clock, *SEEN, "I found it, a beam without supply", "go there")
    go_on(session, clock, lambda: floor(session))
    assert search(session).entered and session.run.ledger.state == "proven-dead"
    turn = say(session, clock, "power is on")
    assert session.run.ledger.state == "unknown" and not search(session).entered
    assert any("Hands out" in text for text in turn.replies)
    say(session, clock, "repaired")
    assert search(session).phase == "repair"


def test_an_interruption_that_is_too_long_ends_the_repair_before_it_is_called_done(at_door):
    session, clock = at_door
    say(session, clock, *SEEN, "I found it, a beam without supply", "go there")
    go_on(session, clock, lambda: floor(session))
    clock.pass_s(31 * 60)
    say(session, clock, "repaired")
    assert session.run.ledger.state == "unknown"
    assert search(session).phase == "repair" and not search(session).entered


def test_words_to_the_guide_count_as_work_so_a_long_search_keeps_its_proof(at_door):
    session, clock = at_door
    say(session, clock, *SEEN, "I found it, a beam without supply", "go there")
    go_on(session, clock, lambda: floor(session))
    for _ in range(4):
        clock.pass_s(10 * 60)
        say(session, clock, "what else")
    assert session.run.ledger.state == "proven-dead"


def test_no_gate_and_no_step_is_answered_while_the_guide_has_the_floor(at_door):
    session, clock = at_door
    before = session.run
    say(session, clock, *SEEN)
    for line in ("done", "lockout confirmed 47", "clear to energize 47", "tag 14", "affirm"):
        say(session, clock, line)
    session.gate_touch("lead", "lockout-confirmed", "47", 2.0)
    assert session.run.marks == before.marks and session.run.ledger == before.ledger


def test_stop_work_holds_the_guide_until_the_lead_goes_ahead(at_door):
    session, clock = at_door
    say(session, clock, *SEEN)
    asked = search(session).asked
    turn = say(session, clock, "stop work")
    assert session.run.held == "stop-work" and "Work is stopped" in turn.replies[0]
    say(session, clock, "no")
    say(session, clock, "go ahead", who="helper")
    assert session.run.held and not search(session).answers
    turn = say(session, clock, "go ahead")
    assert not session.run.held and search(session).asked == asked and floor(session)
    assert turn.replies[0] == "Going on."


def test_what_was_answered_and_taken_back_stands_in_the_rows_of_the_record_as_it_was(at_door):
    session, clock = at_door
    say(session, clock, *SEEN, "no", "can't do that one", "correction", "no", "leave the search")
    (row,) = faults(session.store.entries(session.job_id))
    assert [look.outcome for look in row.looked] == ["clear", "clear"]
    assert row.ended and not row.solved and row.cause == "" and row.retests == ()


def test_a_value_is_read_back_and_taken_only_when_whoever_said_it_affirms(at_door):
    session, clock = at_door
    say(session, clock, *SEEN)
    door = session.finding.door
    for check in door.guide.checks.values():  # a check that asks for a value, wherever it stands
        if check.reading and check.needs == "unknown":
            break
    kept = session.finding.live
    asks = replace(kept, search=replace(kept.search, asked=check.id))
    session.finding = Finding(door, asks)
    low = check.reading.plausible[0] + 1
    turn = say(session, clock, f"{low} {check.reading.unit}")
    assert turn.replies[0].endswith("Correct?") and not search(session).answers
    view = session.view("lead")
    assert view["pending"]["mine"] and view["step"]["kind"] == "reading"
    assert view["buttons"][0]["phrase"] == "affirm"
    say(session, clock, "affirm", who="helper")
    assert not search(session).answers
    say(session, clock, "negative")
    assert session.finding.live.pending is None and not search(session).answers
    say(session, clock, f"{low} {check.reading.unit}", "affirm")
    assert search(session).answers[0].value == low


def test_the_helper_answers_checks_but_neither_opens_nor_ends_a_repair(at_door):
    session, clock = at_door
    say(session, clock, "find the fault", who="helper")
    assert not session.finding.open
    say(session, clock, *SEEN)
    say(session, clock, "no", who="helper")
    assert len(search(session).answers) == 1
    turn = say(session, clock, "I found it, a beam out of line", who="helper")
    assert search(session).phase == "check" and turn.replies == ("Only the lead may say that.",)


def test_a_killed_program_comes_back_to_the_same_question_from_the_log(at_door):
    session, clock = at_door
    say(session, clock, *SEEN, "no")
    again = JobSession.resume(session.job_id, session.store, clock=clock)
    assert again.finding == session.finding and floor(again)
    assert again.prompt().replies
    say(again, clock, "no")
    assert len(search(again).answers) == 2


def test_a_guide_edited_later_changes_nothing_in_a_search_that_was_begun(
    at_door, monkeypatch, tmp_path
):
    session, clock = at_door
    say(session, clock, *SEEN)
    (tmp_path / "steps").mkdir()
    monkeypatch.setattr("assistant.finding.resources.steps_dir", lambda: tmp_path / "steps")
    assert replayed(session) == (session.run, session.finding)


def test_when_the_disk_refuses_nothing_is_taken_of_what_was_said_to_the_guide(at_door, monkeypatch):
    session, clock = at_door
    say(session, clock, *SEEN)
    before = session.finding

    def full(*_, **__):
        raise RecordError("records.sqlite: the disk is full; free some space")

    monkeypatch.setattr(session.store, "append_all", full)
    turn = say(session, clock, "no")
    assert session.finding == before and turn.replies[0].startswith("Not recorded")


def test_a_test_that_fails_after_the_repair_keeps_the_search_open(at_door):
    session, clock = at_door
    say(session, clock, *SEEN, "I found it, a beam out of line", "go there")
    go_on(session, clock, lambda: floor(session))
    say(session, clock, "repaired")
    go_on(session, clock, lambda: session.run.at == "repair-sheet")
    failed = session.plan.step("repair-sheet")
    assert not failed.gate
    say(session, clock, "unable no sheet here")
    go_on(session, clock, lambda: session.run.finished)
    assert not session.finding.live.over
    assert "reset-after-repair" in search(session).retests


def test_the_log_with_a_search_fits_the_schema_of_its_export(at_door):
    session, clock = at_door
    say(session, clock, *SEEN, "no")
    log = json.loads(export_json(session.store, session.job_id))
    assert any("guide" in entry["body"] for entry in log["entries"])
    jsonschema.validate(log, json.loads(bundle.schema()))


def test_the_view_shows_what_the_guide_asks_and_its_answers_as_buttons(at_door):
    session, clock = at_door
    assert session.view("lead")["fault"] is None
    say(session, clock, *SEEN)
    view = session.view("lead")
    assert view["fault"]["floor"] and view["fault"]["check"] == search(session).asked
    assert view["step"]["say"].endswith("?") and view["step"]["section"] == "fault guide"
    assert [each["phrase"] for each in view["buttons"]][:2] == ["yes", "no"]
    for each in view["buttons"]:
        assert not isinstance(session.meaning(each["phrase"]), inputs.NotUnderstood), each
    say(session, clock, "back to the steps")
    assert session.view("lead")["step"]["id"] == session.run.at
