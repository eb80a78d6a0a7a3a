"""One job as a shell around the core: recorded before it is spoken, resumed from its log."""

from __future__ import annotations

import io
import sqlite3

import numpy as np
import pytest
import soundfile

from assistant.clock import SetClock
from assistant.errors import ModelMissing, RecordError
from assistant.job import HOLD_S, Jobs, JobSession, draw_challenge
from assistant.plans import events_of, plan_of
from assistant.procedure import machine
from assistant.records import retention
from assistant.records.log import verify
from assistant.records.store import Store
from assistant.speech.recogniser import Transcript
from tests.procedure.small import JOB, PACK, STEPS

TEXTS = {"pack.yaml": PACK, "steps.yaml": STEPS, "job.yaml": JOB}


@pytest.fixture
def clock():
    return SetClock()


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "records.sqlite") as found:
        yield found


@pytest.fixture
def session(store, clock):
    parts = {"clock": clock, "challenge": lambda: "47"}
    return JobSession.start("j1", plan_of(TEXTS), TEXTS, store, **parts)


def speak(session, clock, *lines):
    """Say lines as typed words; the last turn."""
    for line in lines:
        clock.pass_s(2)
        turn = session.say("phone", line, via="text")
    return turn


def to_dead(session, clock):
    speak(session, clock, "disconnect is off", "affirm", "tag one two", "affirm")
    speak(session, clock, "no movement", "affirm", "two three zero volts", "affirm")
    for _ in session.run.ledger.pairs:
        speak(session, clock, "zero volts", "affirm")
    clock.pass_s(301)
    session.tick()
    speak(session, clock, "twelve volts", "affirm", "two three one volts", "affirm")
    return speak(session, clock, "lockout confirmed four seven", "affirm")


def test_words_lead_through_the_gate_and_every_turn_is_in_the_log(session, store, clock):
    turn = to_dead(session, clock)
    assert (turn.energy, turn.step) == ("proven-dead", "wires")
    assert verify(store, "j1").ok
    assert machine.replay(session.plan, events_of(store, "j1")) == session.run


def test_what_is_spoken_as_taken_is_on_disk_in_another_connection(session, store, clock, tmp_path):
    turn = speak(session, clock, "disconnect is off", "affirm")
    with sqlite3.connect(tmp_path / "records.sqlite") as other:
        (last,) = other.execute("select max(seq) from entries").fetchone()
    assert last == turn.seq


def test_a_restart_resumes_in_place_with_energy_unknown(session, store, clock):
    to_dead(session, clock)
    speak(session, clock, "done", "zero decimal zero five ohms", "affirm")
    again = JobSession.resume("j1", store, clock=clock, challenge=lambda: "47")
    assert again.run.ledger.state == "unknown"
    assert again.run.at == "disconnect"
    assert again.run.readings["earth"].quantity.written() == "0.05 ohm"
    assert "wires" in again.run.marks
    to_dead(again, clock)
    assert again.run.at == "insulation"


def test_a_pack_edited_after_the_start_does_not_change_a_running_job(session, store, clock):
    head = store.head("j1")
    assert head["texts"]["steps.yaml"] == STEPS
    again = JobSession.resume("j1", store, clock=clock)
    assert again.plan == session.plan


def test_when_the_disk_refuses_nothing_is_taken_and_the_person_is_told(session, clock, monkeypatch):
    before = session.run

    def full(*_, **__):
        raise RecordError("records.sqlite: the disk is full; free some space")

    monkeypatch.setattr(session.store, "append_all", full)
    turn = speak(session, clock, "disconnect is off")
    assert session.run == before
    assert "Not recorded" in turn.replies[0] and "disk is full" in turn.replies[0]
    assert turn.seq == 0 and turn.tone == "refused"


def _full(*_, **__):
    raise RecordError("records.sqlite: the disk is full; free some space")


@pytest.mark.parametrize("cause", ["stop work", "lock off", "power is on", "a person comes"])
def test_a_lost_proof_that_the_disk_refused_goes_before_the_next_input(
    session, store, clock, monkeypatch, cause
):
    to_dead(session, clock)
    with monkeypatch.context() as full:
        full.setattr(store, "append_all", _full)
        if cause == "a person comes":
            session.join("other", "helper")
        else:
            speak(session, clock, cause)
    speak(session, clock, "done")
    assert session.run.ledger.state == "unknown" and "wires" not in session.run.marks
    assert machine.replay(session.plan, events_of(store, "j1")) == session.run


def test_a_job_whose_restart_cannot_be_recorded_is_not_opened(session, store, clock, monkeypatch):
    to_dead(session, clock)
    monkeypatch.setattr(store, "append_all", _full)
    with pytest.raises(RecordError, match="disk is full"):
        JobSession.resume("j1", store, clock=clock)


def test_a_full_disk_is_told_once_and_not_with_each_second(session, store, clock, monkeypatch):
    told = []
    session.subscribe(told.append)
    to_dead(session, clock)
    told.clear()
    clock.pass_s(3_600)
    monkeypatch.setattr(store, "append_all", _full)
    for _ in range(5):
        session.tick()
    assert [turn.replies[0][:12] for turn in told] == ["Not recorded"]


def test_a_reply_that_cannot_be_voiced_is_told_without_sound(store, clock):
    class Mute:
        name = "mute"

        def speak(self, *_):
            raise ModelMissing("no voice here")

    session = JobSession.start("j2", plan_of(TEXTS), TEXTS, store, clock=clock, voice=Mute())
    told = []
    session.subscribe(told.append)
    turn = session.say("phone", "disconnect is off", via="text")
    assert told == [turn] and turn.seq and turn.replies and turn.audio == ()


@pytest.mark.parametrize("words", ["affirm", "done", "unable no ladder"])
def test_words_said_before_the_question_answer_nothing(session, clock, words):
    class Ear:
        def hear(self, samples, expected):
            return Transcript(words, 1.0)

    session.recogniser = Ear()
    asked = session.asked()
    if words == "affirm":
        speak(session, clock, "disconnect is off")
    else:
        to_dead(session, clock)
    before = session.run
    turn = session.hear("phone", np.zeros(160, np.int16), asked=asked)
    assert turn.understood == "not understood: too soon"
    assert (session.run.at, session.run.pending, session.run.marks) == (
        before.at, before.pending, before.marks,
    )  # fmt: skip
    session.hear("phone", np.zeros(160, np.int16), asked=session.asked())
    assert (session.run.pending, session.run.marks) != (before.pending, before.marks)


@pytest.mark.parametrize("keep", [False, True])
def test_sound_is_kept_of_notes_and_gates_alone_and_only_where_the_job_says_so(store, clock, keep):
    """By default nobody's voice is kept; what is kept is the sound, sample for sample."""
    said = ["disconnect is off", "affirm", "say again", "note gland is loose"]

    class Ear:
        def hear(self, samples, expected):
            return Transcript(said[samples[0]], 1.0)

    texts = {**TEXTS, "job.yaml": JOB + ("keep_clips: true\n" if keep else "")}
    parts = {"clock": clock, "recogniser": Ear()}
    session = JobSession.start("j2", plan_of(texts), texts, store, **parts)
    turns = [session.hear("phone", np.full(1600, n, np.int16)) for n in range(len(said))]
    entries = {entry.seq: entry for entry in store.entries("j2")}
    clips = [entry for entry in entries.values() if "attachment" in entry.body]
    about = [clip.body["attachment"]["about"] for clip in clips]
    assert about == ([turns[1].seq, turns[3].seq] if keep else [])
    for clip, number in zip(clips, (1, 3), strict=False):
        sound = store.attachment("j2", clip.seq)
        data, rate_hz = soundfile.read(io.BytesIO(sound), dtype="int16")
        assert rate_hz == 16_000 and np.array_equal(data, np.full(1600, number, np.int16))
    assert verify(store, "j2").ok
    assert retention.kept(store, "j2").keep_clips == keep
    again = JobSession.resume("j2", store, clock=clock)  # clips are no turns of the job
    assert again.run.at == "disconnect"


def test_a_gate_phrase_by_touch_passes_only_pressed_and_held(session, store, clock):
    to_gate = to_dead
    to_gate(session, clock)
    speak(session, clock, "power is on")
    assert session.run.ledger.state == "unknown"
    speak(session, clock, "disconnect is off", "affirm", "tag one two", "affirm")
    speak(session, clock, "no movement", "affirm", "two three zero volts", "affirm")
    for _ in session.run.ledger.pairs:
        speak(session, clock, "zero volts", "affirm")
    clock.pass_s(301)
    session.tick()
    speak(session, clock, "twelve volts", "affirm", "two three one volts", "affirm")
    session.say("phone", "lockout confirmed 47", via="touch")
    assert session.run.pending is None
    session.gate_touch("phone", "lockout-confirmed", "47", HOLD_S - 0.1)
    assert session.run.pending is None
    session.gate_touch("phone", "lockout-confirmed", "47", HOLD_S)
    session.say("phone", "affirm", via="touch")
    assert session.run.ledger.state == "proven-dead"
    assert [e.via for e in events_of(store, "j1")][-1] == "touch"


def test_say_again_speaks_the_last_reply_and_changes_nothing(session, clock):
    turn = speak(session, clock, "disconnect is off")
    again = speak(session, clock, "say again")
    assert again.replies == turn.replies
    assert session.run.pending is not None


def test_the_view_has_what_a_page_shows(session, clock):
    view = session.view()
    assert view["energy"]["state"] == "unknown"
    assert view["step"]["id"] == "disconnect" and view["step"]["number"] == 1
    assert view["buttons"][0] == {"phrase": "disconnect is off", "label": "Disconnect is off"}
    speak(session, clock, "disconnect is off")
    assert session.view()["pending"]["written"] == "disconnect is off"
    to_dead_view = to_dead(session, clock)
    assert to_dead_view.energy == "proven-dead"
    row = next(r for r in session.view()["readings"] if r["name"] == "bus")
    assert (row["written"], row["verdict"], row["limits"]) == ("12 V", "pass", "at most 50 V")


def test_subscribers_hear_every_turn_until_they_end_it(session, clock):
    heard = []
    end = session.subscribe(heard.append)
    speak(session, clock, "where are we")
    end()
    speak(session, clock, "where are we")
    assert len(heard) == 1 and heard[0].replies


def test_jobs_are_numbered_apart_and_found_again(tmp_path, clock):
    file = tmp_path / "my.yaml"
    file.write_text(JOB)
    pack = tmp_path / "small"
    pack.mkdir()
    (pack / "pack.yaml").write_text(PACK)
    (pack / "steps.yaml").write_text(STEPS)
    jobs = Jobs(tmp_path / "data", clock=clock)
    one, two = jobs.new(file, str(pack)), jobs.new(file, str(pack))
    assert one.job_id != two.job_id
    assert {row["id"] for row in jobs.list()} == {one.job_id, two.job_id}
    assert jobs.open(one.job_id) is one
    other = Jobs(tmp_path / "data", clock=clock)
    assert other.open(two.job_id).run.at == "disconnect"


def test_a_challenge_has_two_different_digits():
    drawn = {draw_challenge() for _ in range(200)}
    assert all(len(d) == 2 and d.isdigit() and d[0] != d[1] for d in drawn)
    assert len(drawn) > 40
