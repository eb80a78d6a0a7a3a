"""Devices on a live server: inputs act once, links may break, wrong frames change nothing."""

from __future__ import annotations

import contextlib
import json
import shutil
import socket
import sqlite3
import ssl
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from websocket import WebSocketBadStatusException, WebSocketTimeoutException

from assistant.job import Jobs
from assistant.server import room
from assistant.server.app import create_app
from assistant.server.messages import FRAME_MAX_BYTES, SOUND_MAX_BYTES
from assistant.server.pairing import Pairing
from assistant.server.serve import Server, listen
from assistant.speech.espeak_voice import make_speech
from assistant.speech.recogniser import Transcript

Device = Callable[..., Any]


def events(jobs: Jobs, job_id: str, kind: str) -> list[dict[str, Any]]:
    """Events of a kind in the log."""
    bodies = (entry.body for entry in jobs.store.entries(job_id))
    return [b["event"] for b in bodies if "event" in b and b["event"]["input"]["kind"] == kind]


def test_a_device_is_welcomed_and_gets_the_state_and_the_present_step(lead: Any) -> None:
    welcome, state, say = lead.got[0], lead.got[1], lead.got[-1]
    assert [m["type"] for m in (welcome, state, say)] == ["welcome", "state", "say"]
    assert (welcome["resumed"], welcome["taken"], welcome["role"]) == (False, 0, "lead")
    assert state["view"]["energy"]["state"] == "unknown"
    assert state["view"]["step"]["id"] == "right-door"
    assert say["again"]


def test_a_touch_is_on_record_before_it_is_said_to_be_taken(
    lead: Any, jobs: Jobs, job_id: str
) -> None:
    before = len(lead.got)
    lead.touch("done")
    (event,) = events(jobs, job_id, "confirm")
    assert (event["device"], event["via"], event["who"]) == ("phone-1", "touch", "lead")
    assert lead.view["step"]["id"] == "notify"
    kinds = [m["type"] for m in lead.got[before:]]
    assert kinds == ["heard", "state", *["say"] * kinds.count("say"), "taken"]


def test_an_input_that_comes_twice_acts_once(lead: Any, jobs: Jobs, job_id: str) -> None:
    lead.touch("done")
    lead.raw(json.dumps({"type": "touch", "n": 1, "phrase": "done"}))
    lead.touch("done")
    assert len(events(jobs, job_id, "confirm")) == 2
    assert lead.view["step"]["id"] == "barrier"


def test_an_input_ahead_of_a_lost_one_is_refused(lead: Any, jobs: Jobs, job_id: str) -> None:
    lead.raw(json.dumps({"type": "touch", "n": 2, "phrase": "done"}))
    assert lead.until("error")["about"] == 2
    assert events(jobs, job_id, "confirm") == []


def test_after_a_lost_link_nothing_is_lost_and_nothing_comes_twice(
    device: Device, lead: Any, jobs: Jobs, job_id: str
) -> None:
    helper = device("phone-2", role="helper")
    helper.connect()
    helper.until("say")
    before = helper.last
    helper.drop()
    for _ in range(3):
        lead.touch("done")
    lead.input("touch", phrase="done")
    lead.drop()  # before its answer could come
    time.sleep(0.3)
    welcome = lead.connect()
    assert welcome["resumed"]
    assert welcome["taken"] == 4
    lead.until("taken", number=4)
    assert len(events(jobs, job_id, "confirm")) == 4
    assert helper.connect()["resumed"]
    lead.touch("done")
    helper.until("heard", turn=lead.got[-2]["turn"])
    missed = [m for m in helper.got if m["type"] == "heard" and m["n"] > before]
    assert [m["understood"] for m in missed] == ["done"] * 5
    assert [m["turn"] for m in missed] == sorted({m["turn"] for m in missed})


def test_a_press_that_never_arrived_is_sent_again_with_its_number(
    lead: Any, jobs: Jobs, job_id: str
) -> None:
    lead.touch("done")
    lead.drop()
    welcome = lead.connect()
    assert welcome["taken"] == 1
    lead.touch("done")  # number 2
    assert len(events(jobs, job_id, "confirm")) == 2


def test_a_server_that_was_started_again_begins_a_new_session_in_place(
    lead: Any, server: Server, jobs: Jobs, job_id: str, tmp_path: Any
) -> None:
    lead.touch("done")
    server.stop()
    lead.drop()
    again = Jobs(tmp_path)
    with listen(create_app(again, job_id), port=server.port):
        welcome = lead.connect()
        assert not welcome["resumed"]
        assert welcome["taken"] == 0
        state = lead.until("state")["view"]
        assert state["step"]["id"] == "notify"
        assert state["energy"]["state"] == "unknown"
        lead.drop()
    again.store.close()


def test_a_lost_session_of_another_device_is_not_given_away(lead: Any, device: Device) -> None:
    thief = device("phone-9")
    thief.session, thief.last = lead.session, 0
    assert not thief.connect()["resumed"]


def test_whoever_learns_the_id_of_the_lead_gets_neither_the_seat_nor_the_role(
    device: Device, jobs: Jobs, job_id: str
) -> None:
    lead = device("phone-1", key="drawn by the lead")
    lead.connect()
    lead.until("say")
    thief = device("phone-1", role="helper", key="guessed")
    welcome = thief.connect()
    assert (welcome["device"], welcome["role"], welcome["resumed"]) == (
        "phone-1-2",
        "helper",
        False,
    )
    thief.until("say")
    lead.touch("done")  # the lead's line stands
    assert lead.view["role"] == "lead"
    assert {e["who"] for e in events(jobs, job_id, "confirm")} == {"lead"}


def test_a_page_that_was_loaded_anew_takes_its_own_older_seat(device: Device, jobs: Jobs) -> None:
    older = device("phone-1", key="drawn by the lead")
    older.connect()
    newer = device("phone-1", key="drawn by the lead")
    welcome = newer.connect()
    assert (welcome["device"], welcome["resumed"]) == ("phone-1", False)
    assert older.closed()[0] == 4001
    newer.until("say")
    newer.touch("done")


def test_a_second_connection_of_a_device_takes_over(lead: Any, device: Device) -> None:
    other = device("phone-1")
    other.session, other.last = lead.session, lead.last
    assert other.connect()["resumed"]
    code, reason = lead.closed()
    assert code == 4001
    assert reason
    other.number = 0
    other.touch("done")
    assert other.view["step"]["id"] == "notify"


def test_a_server_that_ends_says_so(lead: Any, server: Server) -> None:
    server.stop()
    assert lead.closed()[0] == 1001


WRONG: dict[str, str | bytes] = {
    "no JSON": "affirm",
    "unknown type": '{"type": "open-the-gate", "n": 1}',
    "of the server": '{"type": "taken", "n": 1, "number": 1}',
    "a second hello": '{"type": "hello", "n": 0, "device": "phone-1"}',
    "too long": json.dumps({"type": "typed", "n": 1, "text": "x" * 5_000}),
    "odd bytes": b"\0" * 1281,
    "no bytes": b"",
    "too much sound": b"\0" * (SOUND_MAX_BYTES + 2),
}


@pytest.mark.parametrize("frame", WRONG.values(), ids=WRONG)
def test_a_wrong_frame_is_answered_and_the_connection_stays(
    frame: str | bytes, lead: Any, jobs: Jobs, job_id: str
) -> None:
    lead.raw(frame)
    error = lead.until("error")
    assert error["what"]
    assert error["do"]
    assert "Traceback" not in json.dumps(error)
    lead.touch("done")
    assert len(events(jobs, job_id, "confirm")) == 1


def test_a_frame_beyond_all_measure_ends_the_connection_with_a_reason(lead: Any) -> None:
    lead.raw("x" * (FRAME_MAX_BYTES + 1))
    assert lead.closed()[0] == 1009
    lead.drop()
    assert lead.connect()["resumed"]


def test_wrong_frames_without_end_close_the_connection_with_a_reason(lead: Any) -> None:
    for _ in range(60):
        lead.raw("affirm")
    code, reason = lead.closed()
    assert code == 1008
    assert "JSON" in reason


BAD_HELLOS: dict[str, dict[str, Any]] = {
    "another rate": {"rate_hz": 48_000},
    "no such job": {"job": "../../etc"},
    "no such role": {"role": "customer"},
    "no id": {"device": ""},
}


@pytest.mark.parametrize("fields", BAD_HELLOS.values(), ids=BAD_HELLOS)
def test_a_hello_that_cannot_be_met_is_told_why_and_may_be_said_again(
    fields: dict[str, Any], device: Device
) -> None:
    client = device()
    client.hello |= fields
    client.patience_s = 0.5
    with pytest.raises(WebSocketTimeoutException):
        client.connect()
    assert client.got[0]["type"] == "error"
    client.sign("hello", device="phone-1")
    assert client.until("welcome")["job"]


def test_sound_before_hello_is_refused(server: Server, device: Device) -> None:
    from websocket import create_connection

    socket = create_connection(server.url.replace("http", "ws") + "/api/socket", timeout=5)
    socket.send_binary(b"\0" * 640)
    assert json.loads(socket.recv())["type"] == "error"
    socket.close()


@pytest.mark.parametrize(
    "header", [{"origin": "http://elsewhere.example"}, {"host": "rebound.example"}]
)
def test_another_site_or_name_gets_no_connection(header: dict[str, str], server: Server) -> None:
    from websocket import create_connection

    with pytest.raises(WebSocketBadStatusException):
        create_connection(server.url.replace("http", "ws") + "/api/socket", timeout=5, **header)


def test_a_touch_that_answers_what_is_no_longer_asked_is_refused(
    lead: Any, device: Device, jobs: Jobs, job_id: str
) -> None:
    helper = device("phone-2", role="helper")
    helper.connect()
    seen = helper.until("state")["n"]
    lead.touch("done")
    helper.until("state")
    number = helper.input("touch", phrase="done", seen=seen)
    assert helper.until("error")["about"] == number
    assert len(events(jobs, job_id, "confirm")) == 1
    helper.touch("done", seen=helper.last)
    assert len(events(jobs, job_id, "confirm")) == 2
    # Whatever was on the screen, work stops.
    helper.touch("stop work", seen=seen)
    assert helper.view["held"] == "stop-work"


def test_the_held_time_is_the_shorter_of_both_clocks(lead: Any, jobs: Jobs, job_id: str) -> None:
    held: list[float] = []
    jobs.open(job_id).gate_touch = lambda *given: held.append(given[3])  # type: ignore[method-assign]
    lead.input("gate-press", phrase="lockout-confirmed", digits="47")
    lead.until("taken", number=lead.input("gate-release", held_s=30.0))
    lead.input("gate-press", phrase="lockout-confirmed", digits="47")
    time.sleep(0.4)
    lead.until("taken", number=lead.input("gate-release", held_s=0.1))
    assert held[0] < 0.4
    assert held[1] == 0.1
    lead.until("error", about=lead.input("gate-release", held_s=3.0))
    lead.input("gate-press", phrase="lockout-confirmed", digits="47")
    lead.input("gate-cancel")
    lead.until("error", about=lead.input("gate-release", held_s=3.0))
    lead.input("gate-press", phrase="lockout-confirmed", digits="47")
    lead.until("taken")
    lead.drop()
    lead.connect()
    lead.until("error", about=lead.input("gate-release", held_s=3.0))
    assert len(held) == 2


def speech() -> list[bytes]:
    """Frames of a spoken word between silences, for the voice detector."""
    quiet = np.random.default_rng(1).integers(-20, 20, 16_000).astype(np.int16)
    data = np.concatenate([quiet[:8_000], make_speech("done"), quiet]).astype("<i2").tobytes()
    return [data[i : i + 1280] for i in range(0, len(data) - 1279, 1280)]


def test_speech_is_heard_and_taken(lead: Any, ear: Any, jobs: Jobs, job_id: str) -> None:
    ear.lines = ["done"]
    for frame in speech():
        lead.raw(frame)
    heard = lead.until("heard")
    assert (heard["understood"], heard["tone"]) == ("done", "done")
    assert lead.until("state")["view"]["step"]["id"] == "notify"
    assert any(m["type"] == "level" and m["open"] for m in lead.got)
    (event,) = events(jobs, job_id, "confirm")
    assert event["via"] == "voice"


@pytest.mark.parametrize("headset", [False, True], ids=["loudspeaker", "headset"])
def test_a_loudspeaker_that_speaks_shuts_the_ear_and_a_headset_does_not(
    headset: bool, lead: Any, ear: Any, jobs: Jobs, job_id: str
) -> None:
    ear.lines = ["done"]
    lead.sign("headset", on=headset)
    lead.sign("playback", on=True)
    for frame in speech():
        lead.raw(frame)
    lead.sign("playback", on=False)
    level = lead.until("level")
    assert (level["open"], level["why"]) == ((True, "") if headset else (False, "reply"))
    lead.touch("where are we")  # by then the sound before it was dealt with
    assert len(events(jobs, job_id, "confirm")) == headset


def test_without_a_recogniser_the_ear_is_shut_and_says_so(
    job_id: str, tmp_path: Path, device: Device
) -> None:
    deaf = Jobs(tmp_path)
    with listen(create_app(deaf, job_id)) as served:
        client = device()
        client.server = served
        client.connect()
        for frame in speech():
            client.raw(frame)
        level = client.until("level")
        assert (level["open"], level["why"]) == (False, "touch-only")
        client.touch("done")
        assert not [m for m in client.got if m["type"] == "error"]
        client.drop()
    deaf.store.close()


def test_an_ear_that_fails_says_so_aloud(lead: Any, jobs: Jobs, job_id: str) -> None:
    def broken(*_: Any) -> None:
        raise RuntimeError("the recogniser's memory is gone")

    jobs.open(job_id).recogniser.hear = broken  # type: ignore[union-attr,method-assign]
    for frame in speech():
        lead.raw(frame)
    said = lead.until("say", turn=0, again=False)
    assert said["text"] == "That was not taken. Say it again, or use the buttons."
    assert any(m["type"] == "error" for m in lead.got)
    assert events(jobs, job_id, "confirm") == []


def test_too_much_speech_at_once_is_told_aloud_and_once(
    device: Device, jobs: Jobs, job_id: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, "WAITING_MAX", 1)
    goes_on = threading.Event()

    def slow(*_: Any) -> Transcript:
        goes_on.wait(20)
        return Transcript("", 0.0, rejected="noise")

    jobs.open(job_id).recogniser.hear = slow  # type: ignore[union-attr,method-assign]
    with listen(create_app(jobs, job_id)) as served:
        client = device()
        client.server = served
        client.connect()
        client.until("say")
        for frame in speech() * 4:  # one is worked on, one waits, two are too much
            client.raw(frame)
            time.sleep(0.01)
        said = client.until("say", turn=0, again=False)
        assert said["text"].startswith("Too much was said at once.")
        goes_on.set()
        client.touch("done")
        assert sum("Too much" in m.get("text", "") for m in client.got) == 1
        client.drop()


def test_a_job_whose_record_is_damaged_is_not_called_missing(
    device: Device, jobs: Jobs, job_id: str, tmp_path: Path
) -> None:
    again = Jobs(tmp_path)
    with contextlib.closing(sqlite3.connect(tmp_path / "records.sqlite")) as file:
        guards = file.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for (name,) in guards:
            file.execute(f'DROP TRIGGER "{name}"')
        file.execute("UPDATE entries SET body = '{}' WHERE seq = 1")
        file.commit()
    with listen(create_app(again, job_id)) as served:
        client = device()
        client.server, client.patience_s = served, 0.5
        with pytest.raises(WebSocketTimeoutException):
            client.connect()
        assert "can't be opened" in client.got[0]["what"]
        assert "no such job" not in client.got[0]["what"]
        client.drop()
    again.store.close()


def test_a_short_absence_is_no_departure(lead: Any, jobs: Jobs, job_id: str) -> None:
    left: list[str] = []
    jobs.open(job_id).leave = left.append  # type: ignore[method-assign,assignment]
    lead.drop()
    time.sleep(1.5)
    assert lead.connect()["resumed"]
    assert left == []


def test_a_call_rings_on_the_other_device_and_on_no_other(lead: Any, device: Device) -> None:
    helper = device("phone-2", role="helper")
    helper.connect()
    helper.until("say")
    lead.touch("call helper")
    assert helper.until("ring")["who"] == "lead"
    assert not [m for m in lead.got if m["type"] == "ring"]


def test_a_server_in_the_network_lets_a_device_in_by_the_key_of_its_role(
    jobs: Jobs, job_id: str, device: Device
) -> None:
    pairing = Pairing()
    code = pairing.codes["lead"]
    keys = {role: f"key of the {role} {'0' * 32}" for role in ("lead", "helper")}
    for role, key in keys.items():
        assert pairing.redeem(pairing.codes[role], key) == role
    with listen(create_app(jobs, job_id, pairing=pairing)) as served:
        for key in ("", code, pairing.codes["lead"], keys["helper"]):
            client = device(key=key)
            client.server = served
            with pytest.raises(AssertionError):
                client.connect()
            assert "not joined as lead" in client.got[0]["what"]
            client.drop()
        client = device(key=keys["lead"])
        client.server = served
        assert client.connect()["role"] == "lead"
        client.drop()


@pytest.fixture
def certificate(tmp_path: Path) -> Path:
    """A certificate of this machine's own with its key, in one file."""
    openssl = shutil.which("openssl")
    if not openssl:
        pytest.skip("openssl makes the certificate; it isn't installed")
    file = tmp_path / "own.pem"
    command = [openssl, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"]
    command += ["-subj", "/CN=localhost", "-keyout", str(file), "-out", str(tmp_path / "c.pem")]
    subprocess.run(command, check=True, capture_output=True)
    file.write_bytes(file.read_bytes() + (tmp_path / "c.pem").read_bytes())
    return file


def test_over_tls_a_stalled_device_keeps_nobody_waiting(
    jobs: Jobs, job_id: str, device: Device, certificate: Path
) -> None:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate)
    with (
        listen(create_app(jobs, job_id), ssl_context=context) as served,
        socket.create_connection(("127.0.0.1", served.port)),  # says nothing at all
    ):
        client = device()
        client.server, client.tls = served, {"cert_reqs": ssl.CERT_NONE}
        client.connect()
        client.until("say")
        for frame in speech() * 2:
            client.raw(frame)
        for _ in range(5):
            client.touch("done")
        assert len(events(jobs, job_id, "confirm")) == 5
        client.drop()


def test_a_crowd_of_devices_is_bounded(device: Device, lead: Any) -> None:
    from assistant.server.room import DEVICES_MAX

    for number in range(DEVICES_MAX - 1):
        device(f"extra-{number}").connect()
    one_more = device("one-more")
    one_more.hello |= {"role": "helper"}
    one_more.patience_s = 0.5
    with pytest.raises(WebSocketTimeoutException):
        one_more.connect()
    assert "devices" in one_more.got[0]["what"]


def test_each_device_gets_the_state_of_its_own_role(device: Device, lead: Any) -> None:
    helper = device("phone-2", role="helper")
    helper.connect()
    helper.until("say")
    phrases = {b["phrase"] for b in helper.view["buttons"]}
    assert (helper.view["role"], helper.view["step"]["mine"]) == ("helper", False)
    assert "done" not in phrases
    assert "stop work" in phrases
    lead.touch("hello")  # what came since is read
    assert (lead.view["role"], lead.view["step"]["mine"]) == ("lead", True)
    assert "done" in {b["phrase"] for b in lead.view["buttons"]}


def test_a_plain_noise_is_followed_by_nothing_at_all(lead: Any, ear: Any) -> None:
    ear.lines = []
    before = lead.last
    for frame in speech():
        lead.raw(frame)
    lead.touch("hello")
    heard = [m for m in lead.got if m["type"] == "heard" and m["n"] > before]
    assert [m["text"] for m in heard] == ["hello"]


def test_a_device_that_never_joined_is_no_lead(lead: Any, jobs: Jobs, job_id: str) -> None:
    turn = jobs.open(job_id).say("stranger", "done", "text")
    assert (turn.who, turn.tone) == ("helper", "refused")
