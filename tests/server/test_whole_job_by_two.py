"""From isolation to release, and the edge and beam tests, by two voices at two devices.

Everything on the real path: sound files, WebSocket, endpointer, recogniser, job, record.
"""

from __future__ import annotations

import itertools
import os
import queue
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from ruamel.yaml import YAML

from assistant import rehearse, resources
from assistant.clock import SetClock
from assistant.job import Jobs, JobSession, Turn
from assistant.records.log import verify
from assistant.server import ear, room
from assistant.server.app import create_app
from assistant.server.serve import Server, listen
from assistant.speech import engines
from tests.speech.voices import say

FRAME_BYTES = 1280
VOICES = {"lead": "joe", "helper": "rms"}
SILENT_S = 10.0  # what an utterance may take to be answered on a busy machine


@pytest.fixture
def clock() -> SetClock:
    return SetClock()


@pytest.fixture
def jobs(tmp_path: Path, clock: SetClock) -> Iterator[Jobs]:
    digits = itertools.cycle(("47", "62", "76", "24"))
    recogniser = engines.load("whisper")
    found = Jobs(tmp_path, recogniser, clock=clock, challenge=lambda: next(digits))
    yield found
    found.store.close()


@pytest.fixture
def job_id(jobs: Jobs) -> str:
    return jobs.new("pinewharf-d1", "power-entry").job_id


@pytest.fixture
def server(jobs: Jobs, job_id: str) -> Iterator[Server]:
    with listen(create_app(jobs, job_id)) as served:
        yield served


class Crew:
    """Lead and helper, each with a device that streams what they say."""

    def __init__(self, device: Callable[..., Any], session: JobSession, clock: SetClock):
        self.session, self.clock = session, clock
        self.device = device
        self.turns: queue.Queue[Turn] = queue.Queue()
        self.clients: dict[str, Any] = {}
        self.ended: list[Callable[[], None]] = [session.subscribe(self.turns.put)]
        for role in VOICES:
            self.join(role)

    def join(self, role: str) -> None:
        client = self.device(f"phone-{role}", role=role, headset=True, job=self.session.job_id)
        client.connect()
        threading.Thread(target=_drain, args=(client.socket,), daemon=True).start()
        self.clients[role] = client
        self.until(lambda: role in self.session.run.devices)

    def drop(self, role: str) -> None:
        wire, self.clients[role].socket = self.clients[role].socket, None
        wire.sock.shutdown(socket.SHUT_RDWR)  # closing alone waits for the reader
        self.until(lambda: role in self.session.run.lost)

    @staticmethod
    def until(true: Callable[[], bool]) -> None:
        ends = time.monotonic() + 20
        while not true() and time.monotonic() < ends:
            time.sleep(0.05)
        assert true()

    def hear(self, who: str, samples: np.ndarray) -> Turn:
        """Stream the sound faster than it was spoken and wait for what came of it."""
        self.clock.pass_s(rehearse.TURN_S)
        with suppress(queue.Empty):
            while True:
                self.turns.get_nowait()
        data = samples.astype("<i2").tobytes()
        for at in range(0, len(data) - FRAME_BYTES + 1, FRAME_BYTES):
            self.clients[who].raw(data[at : at + FRAME_BYTES])
            time.sleep(0.006)
        # A device goes on streaming the room; by that silence the ear finds the end.
        quiet = np.random.default_rng(1).integers(-12, 12, FRAME_BYTES // 2).astype("<i2").tobytes()
        own: list[Turn] = []
        ends = time.monotonic() + SILENT_S
        while time.monotonic() < ends:
            self.clients[who].raw(quiet)
            with suppress(queue.Empty):
                turn = self.turns.get(timeout=0.02)
                if turn.device == f"phone-{who}":
                    own.append(turn)
                    ends = time.monotonic() + 0.4
        taken = [t for t in own if t.input and t.input.kind != "not-understood"]
        silence = Turn(0, f"phone-{who}", who, "", "", (), "not-understood")
        return (taken or own or [silence])[-1]

    def play(self, lines: list[rehearse.Line]) -> list[rehearse.Played]:
        seeds = itertools.count()

        def sound(words: str, who: str) -> np.ndarray:
            return rehearse.add_noise(say(words, VOICES[who]), 25, seed=next(seeds))

        played = []
        for each in rehearse.play_spoken(self.session, self.clock, lines, sound, self.hear):
            played.append(each)
            print("\n".join(rehearse.as_lines(each)))  # for the report of a failure
        return played


def _drain(wire: Any) -> None:
    with suppress(Exception):
        while wire.recv():
            pass


def case_lines(name: str, last: str) -> list[rehearse.Line]:
    """The spoken turns of a case until the check that a step is reached."""
    file = resources.steps_dir() / "safety-tests" / "cases" / f"{name}.yaml"
    lines: list[rehearse.Line] = []
    for number, turn in enumerate(YAML(typ="safe").load(file)["turns"]):
        if turn.get("expect", {}).get("at") == last:
            return lines
        for who in ("lead", "helper", "both"):
            if who in turn:
                text = str(turn[who]).replace("affirm", "affirm | that is correct")
                text = text.replace("thousand and fifty", "thousand and fifty | one zero five zero")
                roles = ("lead", "helper") if who == "both" else (who,)
                for _ in range(turn.get("times", 1)):
                    lines += [rehearse.Line(number, role, text) for role in roles]
    raise AssertionError(f"case {name} has no check at {last}")


@pytest.mark.slow
@pytest.mark.skipif("THIRDHAND_LONG" not in os.environ, reason="four minutes: THIRDHAND_LONG=1")
def test_two_voices_take_door_d1_from_isolation_to_release_and_through_edge_and_beams(
    device: Callable[..., Any],
    jobs: Jobs,
    job_id: str,
    clock: SetClock,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(room, "GRACE_S", 0.3)
    monkeypatch.setattr(ear, "FLOOD_RATE", 100.0)  # two hundred turns in minutes
    monkeypatch.setattr(ear, "BURST_S", 100.0)
    for voice in VOICES.values():
        say("affirm", voice)  # skips here if the voice is missing
    crew = Crew(device, jobs.open(job_id), clock)
    script = resources.steps_dir() / "jobs" / "pinewharf-d1.rehearsal.txt"
    crew.play(rehearse.read_script(script.read_text()))
    assert crew.session.run.finished, crew.session.run.at
    assert verify(jobs.store, job_id).ok

    tests = jobs.new("pinewharf-d1", "safety-tests")
    crew = Crew(device, tests, clock)
    lines = case_lines("d1-full", last="sensor-opens")
    middle = next(i for i, line in enumerate(lines) if line.text == "it reversed") + 6
    while lines[middle].text != "all clear" or lines[middle].who != "lead":
        middle += 1
    crew.play(lines[:middle])
    here = tests.run.at
    crew.drop("helper")
    assert tests.run.refused == ("device-lost:helper",)
    crew.join("helper")
    assert (tests.run.at, tests.run.refused) == (here, ())
    crew.play(lines[middle:])
    assert tests.run.at == "sensor-opens", (tests.run.at, tests.run.refused)
    counts = {
        n: t.verdict for n, t in tests.run.readings.items() if "count" in n or "reversals" in n
    }
    assert counts and set(counts.values()) == {"pass"}
    assert verify(jobs.store, tests.job_id).ok
