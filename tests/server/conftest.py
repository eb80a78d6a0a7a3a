"""A served job of a few steps, and a small client that speaks the protocol."""

from __future__ import annotations

import contextlib
import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from websocket import WebSocket, create_connection

from assistant.job import Jobs
from assistant.server.app import create_app
from assistant.server.serve import Server, listen
from assistant.speech.recogniser import Expected, Transcript

PATIENCE_S = 10.0


class Replaying:
    """A recogniser that hears the next line of a list in whatever sounds."""

    name, model = "replaying", "a list of lines"

    def __init__(self) -> None:
        self.lines: list[str] = []

    def hear(self, samples: np.ndarray, expected: Expected) -> Transcript:
        if not self.lines:
            return Transcript("", 0.0, rejected="noise")
        return Transcript(self.lines.pop(0), 0.99)

    def unknown_words(self, words: set[str]) -> set[str]:
        return set()


class Client:
    """One device. `got` holds every message in the order it came."""

    def __init__(self, server: Server, device: str = "phone-1", **hello: Any):
        self.server, self.hello = server, {"device": device} | hello
        self.got: list[dict[str, Any]] = []
        self.session, self.last, self.number = "", 0, 0
        self.socket: WebSocket | None = None
        self.patience_s = PATIENCE_S
        self.tls: dict[str, Any] = {}

    def connect(self) -> dict[str, Any]:
        """Say hello; the welcome."""
        url = self.server.url.replace("http", "ws") + "/api/socket"
        self.socket = create_connection(
            url, timeout=self.patience_s, suppress_origin=True, sslopt=self.tls
        )
        self.sign("hello", **self.hello, session=self.session, last=self.last)
        welcome = self.until("welcome")
        self.session = welcome["session"]
        if not welcome["resumed"]:
            self.last = self.number = 0
        return welcome

    def raw(self, data: str | bytes) -> None:
        assert self.socket
        if isinstance(data, bytes):
            self.socket.send_binary(data)
        else:
            self.socket.send(data)

    def sign(self, type: str, **fields: Any) -> None:
        self.raw(json.dumps({"type": type, "n": 0, **fields}))

    def input(self, type: str, **fields: Any) -> int:
        self.number += 1
        self.raw(json.dumps({"type": type, "n": self.number, **fields}))
        return self.number

    def receive(self) -> dict[str, Any]:
        assert self.socket
        text = self.socket.recv()
        assert text, "the server closed the connection"
        message = json.loads(text)
        if message["n"]:
            assert message["n"] > self.last, "a post came twice"
            self.last = message["n"]
        self.got.append(message)
        return message

    def until(self, type: str, **fields: Any) -> dict[str, Any]:
        """The next message of this type with these fields."""
        deadline = time.monotonic() + PATIENCE_S
        while time.monotonic() < deadline:
            message = self.receive()
            if message["type"] == type and fields.items() <= message.items():
                return message
        raise AssertionError(f"no {type} {fields} among {[m['type'] for m in self.got]}")

    def touch(self, phrase: str, seen: int = 0) -> None:
        self.until("taken", number=self.input("touch", phrase=phrase, seen=seen))

    @property
    def view(self) -> dict[str, Any]:
        """The newest state."""
        found: dict[str, Any] = next(m["view"] for m in reversed(self.got) if m["type"] == "state")
        return found

    def drop(self) -> None:
        """Lose the link without a word."""
        if self.socket:
            with contextlib.suppress(OSError, AttributeError):  # it may have been closed already
                self.socket.sock.close()
            self.socket = None

    def closed(self) -> tuple[int, str]:
        """Code and reason with which the server closes."""
        assert self.socket
        while True:
            opcode, data = self.socket.recv_data(control_frame=True)
            if opcode == 8:
                return int.from_bytes(data[:2], "big"), data[2:].decode()


@pytest.fixture
def ear() -> Replaying:
    return Replaying()


@pytest.fixture
def jobs(tmp_path: Path, ear: Replaying) -> Iterator[Jobs]:
    found = Jobs(tmp_path, recogniser=ear, challenge=lambda: "47")
    yield found
    found.store.close()


@pytest.fixture
def job_id(jobs: Jobs) -> str:
    bench = Path(__file__).parent / "bench"
    return jobs.new(bench / "job.yaml", bench).job_id


@pytest.fixture
def server(jobs: Jobs, job_id: str) -> Iterator[Server]:
    with listen(create_app(jobs, job_id)) as served:
        yield served


@pytest.fixture
def device(server: Server) -> Iterator[Callable[..., Client]]:
    """Make a device: device("phone-1", role="lead")."""
    made: list[Client] = []

    def make(*args: Any, **hello: Any) -> Client:
        made.append(Client(server, *args, **hello))
        return made[-1]

    yield make
    for client in made:
        client.drop()


@pytest.fixture
def lead(device: Callable[..., Client]) -> Client:
    """A device that is connected and has its first state."""
    client = device()
    client.connect()
    client.until("say")
    return client
