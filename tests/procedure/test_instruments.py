"""Which instrument is in hand: chosen by its spoken name, warned of when out of date, kept."""

from __future__ import annotations

import pytest

from assistant.clock import SetClock
from assistant.dialogue.grammar import spoken_instrument
from assistant.job import JobSession
from assistant.plans import plan_of
from assistant.procedure import inputs, instruments
from assistant.procedure.load import parse_job
from assistant.procedure.model import Instrument
from assistant.records.store import Store
from tests.procedure.small import JOB, PACK, STEPS

METERS = """instruments:
  - {id: M-1, kind: multimeter and contact tester, calibration_due: "2026-03-02"}
  - {id: M-2, kind: low-ohm and insulation tester, calibration_due: "2026-01-15"}
  - {id: T-1, kind: torque screwdriver}
"""


def job_with(*kept: tuple[str, str]) -> object:
    job = parse_job(JOB, "small job")
    return job.model_copy(update={"instruments": tuple(Instrument(id=i, kind=k) for i, k in kept)})


@pytest.mark.parametrize(
    ("kept", "names"),
    [
        (
            [("M-1", "multimeter"), ("M-2", "insulation tester"), ("T-1", "torque screwdriver")],
            ["meter 1", "meter 2", "torque tool 1"],
        ),
        ([("F-1", "closing-force gauge"), ("S 3", "stopwatch")], ["gauge 1", "stopwatch 3"]),
        ([("A-1", "multimeter"), ("B-1", "clamp meter")], ["meter 1", "meter 2"]),
        ([("Fluxer", "multimeter"), ("M-7", "tester")], ["meter 1", "meter 2"]),
        ([("M-0012", "multimeter")], ["meter 12"]),
        ([("1", "???")], ["instrument 1"]),
        ([], []),
    ],
)
def test_each_instrument_has_one_name_of_kind_and_number(kept, names):
    found = instruments.spoken_names(job_with(*kept))
    assert list(found) == names
    assert [each.id for each in found.values()] == [id_ for id_, _ in kept]


def test_numbers_are_said_digit_by_digit():
    assert spoken_instrument("meter 12") == "meter one two"
    assert spoken_instrument("torque tool 1") == "torque tool one"


@pytest.mark.parametrize(
    ("due", "on", "state"),
    [
        ("2026-01-15", "2026-01-15", "in-date"),  # the due day itself is in date
        ("2026-01-15", "2026-01-16", "out-of-date"),
        ("2026-01-15", "2025-12-31", "in-date"),
        ("", "2026-01-16", "not-known"),
        ("next year", "2026-01-16", "not-known"),
        ("2026-01-15", "", "not-known"),
    ],
)
def test_a_calibration_holds_to_its_due_day(due, on, state):
    meter = Instrument(id="M-1", kind="multimeter", calibration_due=due)
    assert instruments.state(meter, on) == state
    assert bool(instruments.warning(meter, on)) == (state == "out-of-date")


# --- in the dialogue -----------------------------------------------------------------------------


@pytest.fixture
def clock():
    return SetClock("2026-03-02T08:00:00+00:00")


@pytest.fixture
def session(store: Store, clock: SetClock) -> JobSession:
    """The small job with two meters and a torque tool, at the step that proves the tester."""
    texts = {"pack.yaml": PACK, "steps.yaml": STEPS, "job.yaml": JOB + METERS}
    found = JobSession.start(
        "j1", plan_of(texts), texts, store, clock=clock, challenge=lambda: "47"
    )
    say(found, "disconnect is off", "affirm", "tag one two", "affirm", "no movement", "affirm")
    return found


def say(session: JobSession, *lines: str):
    for line in lines:
        session.clock.pass_s(2)
        turn = session.say("phone", line, via="text")
    return turn


def test_an_instrument_is_chosen_by_name_spoken_back_and_kept_with_each_reading(session, store):
    say(session, "two three zero volts", "affirm")
    turn = say(session, "meter two")
    assert turn.replies[0] == (
        "Meter two, low-ohm and insulation tester. Attention, its calibration date has passed."
    )
    assert turn.seq and turn.understood == "instrument M-2"
    say(session, "zero volts", "affirm", "meter one", "zero volts", "affirm")
    rows = store.readings("j1")
    assert [row["instrument"] for row in rows] == ["M-1", "M-2", "M-1"]
    assert [row["calibration_due"] for row in rows] == ["2026-03-02", "2026-01-15", "2026-03-02"]
    chosen = [e for entry in store.entries("j1") for e in entry.body.get("effects") or ()
              if e["kind"] == "instrument-chosen"]  # fmt: skip
    assert [(each["id"], each["state"]) for each in chosen] == [
        ("M-2", "out-of-date"),
        ("M-1", "in-date"),
    ]


def test_a_reading_out_of_date_is_taken_with_a_warning_that_is_spoken_and_kept(session, store):
    turn = say(session, "meter two", "two three zero volts", "affirm")
    warning = "instrument M-2 is out of calibration since 2026-01-15"
    assert any("M-2 is out of calibration" in reply for reply in turn.replies)
    judged = [e for entry in store.entries("j1") for e in entry.body.get("effects") or ()
              if e["kind"] == "judged"]  # fmt: skip
    assert judged[-1]["warnings"] == [warning]


def test_with_a_value_pending_the_value_stays_and_is_asked_about_again(session, store):
    turn = say(session, "two three zero volts", "meter two")
    assert turn.replies[0].startswith("Meter two")
    assert turn.replies[-1] == "Two three zero volts. Correct?"
    say(session, "affirm")
    assert store.readings("j1")[-1]["instrument"] == "M-2"


def test_it_can_be_said_only_where_something_is_measured_and_there_is_a_choice(store, clock):
    texts = {"pack.yaml": PACK, "steps.yaml": STEPS, "job.yaml": JOB + METERS}
    session = JobSession.start("j2", plan_of(texts), texts, store, clock=clock)
    before = session.run
    assert "Say again" in " ".join(say(session, "meter two").replies)
    session._act(inputs.UseInstrument(id="M-2"))  # nor by any other way
    assert session.run.instrument == "" and session.run.at == before.at
    one = METERS.split("  - {id: M-2")[0]
    texts["job.yaml"] = JOB + one
    alone = JobSession.start("j3", plan_of(texts), texts, store, clock=clock)
    say(alone, "disconnect is off", "affirm", "tag one two", "affirm", "no movement", "affirm")
    say(alone, "meter one")
    assert alone.run.instrument == ""
    say(alone, "two three zero volts", "affirm")
    assert store.readings("j3")[-1]["instrument"] == "M-1"


def test_the_choice_is_found_again_in_the_log_after_a_restart(session, store, clock):
    say(session, "meter two")
    again = JobSession.resume("j1", store, clock=clock)
    assert again.run.instrument == "M-2"
    assert again.run.on == "2026-03-02"


def test_a_log_from_before_instruments_were_chosen_is_still_read():
    for kind in ("started", "restarted"):
        event = inputs.Event.model_validate({"input": {"kind": kind}, "at_s": 1.0})
        assert event.input.on == ""
