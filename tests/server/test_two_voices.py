"""Two people with two voices at two devices, through the real WebSocket and the real recogniser.

Locks each by its own person on the own device, overlapping turns, a device that drops out and
comes back, and stop work by the second person.
"""

from __future__ import annotations

import contextlib
import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.job import Jobs
from assistant.records.log import verify
from assistant.server import room
from assistant.server.app import create_app
from assistant.server.serve import Server, listen
from assistant.speech import engines
from tests.speech.voices import say

PACK = """
pack: two-voices
title: Two voices
version: "1.0"
language: en
energy: [unknown, isolated, locked]
sources:
  trade: {title: Made up for a test, kind: common-practice}
"""
STEPS = """
- {id: disconnect, section: isolation, say: Switch off., sets: {energy: isolated},
   expects: {confirmation: disconnect is off}}
- {id: lock, section: isolation, say: "{person}: fit your lock.", needs: {energy: isolated},
   expects: {tag: {}}, proves: lock}
- {id: try-start, section: isolation, say: Try to start., sets: {energy: locked},
   needs: {energy: isolated}, expects: {confirmation: no movement}}
- {id: left, section: edge, say: What did the door do?, helper: "Piece left.", who: both,
   mark: close the door, needs: {energy: locked},
   expects: {choice: {it reversed: next, it kept closing: next}}}
- {id: right, section: edge, say: What did the door do?, helper: "Piece right.", who: both,
   mark: close the door, needs: {energy: locked},
   expects: {choice: {it reversed: next, it kept closing: next}}}
- {id: away, section: edge, say: Take the piece away., who: helper, needs: {energy: locked},
   expects: {confirmation: done}}
- {id: last, section: edge, say: Sign the log book., expects: {confirmation: done}}
"""
JOB = """
job: two-voices
site: Pinewharf Cold Store
door: D2
door_type: sectional
supply: {system: single-phase, nominal: 230 V, frequency: 50 Hz}
people: [lead, helper]
packs: [two-voices]
"""
FRAME_BYTES = 1280  # 40 ms
TRIES = 4
PATIENCE_S = 15.0


class Person:
    """Somebody with a device and a voice. What the device gets is read all the time."""

    def __init__(self, client: Any, voice: str):
        self.client, self.voice = client, voice
        self.got: list[dict[str, Any]] = []
        self._came = threading.Condition()
        self._ends = False

    def connect(self) -> dict[str, Any]:
        welcome: dict[str, Any] = self.client.connect()
        with self._came:
            self.got += self.client.got[:]
        self.client.got.clear()
        self._ends = False
        threading.Thread(target=self._read, args=(self.client.socket,), daemon=True).start()
        return welcome

    def _read(self, wire: Any) -> None:
        with contextlib.suppress(Exception):  # the link was dropped
            while text := wire.recv():
                message = json.loads(text)
                with self._came:
                    if message["n"]:
                        assert message["n"] > self.client.last
                        self.client.last = message["n"]
                    self.got.append(message)
                    self._came.notify_all()

    def wait(self, wanted: Callable[[], Any], timeout_s: float = PATIENCE_S) -> Any:
        """What `wanted` finds among what came; None if it doesn't come."""
        with self._came:
            return self._came.wait_for(wanted, timeout_s) or None

    def drop(self) -> None:
        # Closing alone says nothing to the server while the reader waits in it.
        wire, self.client.socket = self.client.socket, None
        wire.sock.shutdown(socket.SHUT_RDWR)

    @property
    def view(self) -> dict[str, Any]:
        return next(m["view"] for m in reversed(self.got) if m["type"] == "state")

    def speak(self, words: str) -> None:
        """The words as sound, frame after frame, somewhat faster than they are spoken."""
        quiet = np.random.default_rng(1).integers(-12, 12, 16_000).astype(np.int16)
        sound = np.concatenate([quiet[:4_000], say(words, self.voice), quiet])
        data = sound.astype("<i2").tobytes()
        for at in range(0, len(data) - FRAME_BYTES + 1, FRAME_BYTES):
            self.client.raw(data[at : at + FRAME_BYTES])
            time.sleep(0.033)

    def says(self, words: str, done: Callable[[], Any], tries: int = TRIES) -> None:
        """Say it until it has had its effect, as a person does who isn't understood."""
        for _ in range(tries):
            before = self.turns()
            self.speak(words)
            self.wait(lambda before=before: self.turns() > before, 4.0)
            if self.wait(done, 1.0):
                return
        heard = [(m["who"], m["text"], m["understood"]) for m in self.got if m["type"] == "heard"]
        raise AssertionError(f"'{words}' had no effect in {tries} tries; heard {heard}")

    def turns(self) -> int:
        """How many turns of this person's own were taken."""
        me = self.client.hello["device"]
        return sum(m["type"] == "heard" and m["device"] == me for m in self.got)

    def said(self) -> list[tuple[int, int, str]]:
        """The replies that this device was given, in their order."""
        return [
            (m["turn"], m["part"], m["text"])
            for m in self.got
            if m["type"] == "say" and not m["again"]
        ]


@pytest.fixture
def jobs(tmp_path: Path) -> Iterator[Jobs]:
    try:
        recogniser = engines.load("whisper")
    except Exception as error:
        pytest.skip(f"no recogniser here: {error}")
    found = Jobs(tmp_path, recogniser, challenge=lambda: "47")
    yield found
    found.store.close()


@pytest.fixture
def job_id(jobs: Jobs, tmp_path: Path) -> str:
    folder = tmp_path / "two-voices"
    folder.mkdir()
    (folder / "pack.yaml").write_text(PACK, encoding="utf-8")
    (folder / "steps.yaml").write_text(STEPS, encoding="utf-8")
    (folder / "job.yaml").write_text(JOB, encoding="utf-8")
    return jobs.new(folder / "job.yaml", str(folder)).job_id


@pytest.fixture
def server(jobs: Jobs, job_id: str) -> Iterator[Server]:
    with listen(create_app(jobs, job_id)) as served:
        yield served


@pytest.mark.slow
def test_two_voices_at_two_devices_lock_test_and_stop(
    device: Callable[..., Any], jobs: Jobs, job_id: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, "GRACE_S", 1.0)
    lead = Person(device("phone-lead", role="lead", headset=True), "joe")
    helper = Person(device("phone-helper", role="helper", headset=True), "rms")
    for each in (lead, helper):
        say("affirm", each.voice)  # skips here if the voice is missing
        each.connect()
        assert each.wait(lambda each=each: any(m["type"] == "say" for m in each.got))
    session = jobs.open(job_id)

    def at(step: str) -> Callable[[], bool]:
        return lambda: session.view()["step"]["id"] == step

    def pending(text: str) -> Callable[[], bool]:
        return lambda: (session.view()["pending"] or {}).get("written") == text

    def tag_of(person: str) -> str:
        found: str = session.run.ledger.lock_of(person) or ""
        return found

    lead.says("disconnect is off", pending("disconnect is off"))
    lead.says("affirm", at("lock"))
    lead.says("tag one four", pending("tag 14"))
    helper.speak("affirm")  # a lock is affirmed by whose it is
    time.sleep(1.5)
    assert not tag_of("lead")
    lead.says("affirm", lambda: tag_of("lead") == "14")
    helper.says("tag two seven", pending("tag 27"))
    helper.says("affirm", lambda: tag_of("helper") == "27")
    lead.says("no movement", pending("no movement"))
    lead.says("affirm", at("left"))
    assert session.view()["energy"]["state"] == "locked"

    def both(words: str, done: Callable[[], Any]) -> None:
        """Both at once: the turns overlap, and are taken one after the other."""
        for _ in range(TRIES):
            talk = [threading.Thread(target=p.speak, args=(words,)) for p in (lead, helper)]
            for each in talk:
                each.start()
            for each in talk:
                each.join()
            if lead.wait(done, 5.0):
                return
        raise AssertionError(f"'{words}' by both had no effect: {session.view()}")

    both("all clear", lambda: session.run.marked)
    helper.says("it reversed", pending("it reversed"))
    helper.says("that is correct", at("right"))

    both("all clear", lambda: session.run.marked)
    helper.drop()
    assert lead.wait(lambda: lead.view["refused"] == ["device-lost:helper"])
    assert lead.wait(lambda: any("lost" in text for _, _, text in lead.said()[-3:]))
    lead.speak("it reversed")
    time.sleep(2.0)
    assert at("right")()
    assert helper.connect()["resumed"]
    assert helper.wait(lambda: not helper.view["refused"])
    assert not session.run.marked  # nobody knows who walked where meanwhile
    both("all clear", lambda: session.run.marked)
    helper.says("it reversed", pending("it reversed"))
    helper.says("that is correct", at("away"))
    helper.says("stop work", lambda: session.run.held == "stop-work")
    for each in (lead, helper):
        assert each.wait(lambda each=each: each.view["held"] == "stop-work")

    # Each device was told everything, in one order; the helper's what it had missed as well.
    time.sleep(0.5)
    first, second = lead.said(), helper.said()
    common = first[first.index(second[0]) :]
    assert second == common
    assert [turn for turn, _, _ in first] == sorted(turn for turn, _, _ in first)

    bodies = [e.body["event"] for e in jobs.store.entries(job_id) if "event" in e.body]
    spoken = [e for e in bodies if e["via"] == "voice"]
    assert {e["device"] for e in spoken} == {"phone-lead", "phone-helper"}
    assert all(e["device"] == f"phone-{e['who']}" for e in spoken)
    tags = [(e["who"], e["input"]["digits"]) for e in spoken if e["input"]["kind"] == "tag"]
    assert {("lead", "14"), ("helper", "27")} <= set(tags)
    answers = [e["who"] for e in spoken if e["input"].get("answer") == "it reversed"]
    assert answers.count("helper") >= 2
    kinds = [(e["input"]["kind"], e["input"].get("role")) for e in bodies]
    assert ("device-joined", "helper") in kinds[kinds.index(("device-lost", "helper")) :]
    assert bodies[-1]["input"] == {"kind": "command", "name": "stop-work"}
    assert verify(jobs.store, job_id).ok
