"""A served job, a wire that can be cut, and a real browser on a phone's screen."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.clock import SetClock
from assistant.job import Jobs, JobSession
from assistant.server.addresses import Names, local_names
from assistant.server.app import create_app
from assistant.server.lan import Lan
from assistant.server.serve import Server, listen
from assistant.speech.recogniser import Expected, Transcript

CHROMIUM = Path("/usr/bin/chromium")
PATIENCE_MS = 60_000  # a busy machine is slow, and that is no fault of the page
PHONE = {"width": 360, "height": 740}
FLAGS = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--use-fake-device-for-media-stream",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    "--autoplay-policy=no-user-gesture-required",
]
ALLOWED = "--use-fake-ui-for-media-stream"


class Wire:
    """A TCP way to the server that can be cut and mended, as a phone's network can.

    While it is stalled nothing gets through and nobody is told, as in a hole of the radio.
    """

    def __init__(self, port: int):
        self._to, self._joined = port, True
        self._flows = threading.Event()
        self._flows.set()
        self._ends: list[socket.socket] = []
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port = self._listening.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self._threads = [threading.Thread(target=self._accept, daemon=True)]
        self._threads[0].start()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listening.accept()
            except OSError:
                return
            if not self._joined:
                near.close()
                continue
            try:
                far = socket.create_connection(("127.0.0.1", self._to))
            except OSError:
                near.close()
                continue
            self._ends += [near, far]
            for one, other in ((near, far), (far, near)):
                thread = threading.Thread(target=self._carry, args=(one, other), daemon=True)
                self._threads.append(thread)
                thread.start()

    def _carry(self, one: socket.socket, other: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := one.recv(65_536):
                self._flows.wait()
                other.sendall(data)
        for end in (one, other):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def cut(self) -> None:
        self._joined = False
        for end in self._ends:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def stall(self) -> None:
        self._flows.clear()

    def mend(self) -> None:
        self._joined = True
        self._flows.set()

    def close(self) -> None:
        self._flows.set()
        self.cut()
        with contextlib.suppress(OSError):
            self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()
        for thread in self._threads:
            thread.join(timeout=5)
        for end in self._ends:
            end.close()


class Unmoved:
    """A recogniser that takes every sound for noise."""

    name, model = "unmoved", "none"

    def hear(self, samples: np.ndarray, expected: Expected) -> Transcript:
        return Transcript("", 0.0, rejected="noise")

    def unknown_words(self, words: set[str]) -> set[str]:
        return set()


@pytest.fixture
def jobs(tmp_path: Path, clock: SetClock) -> Iterator[Jobs]:
    found = Jobs(tmp_path, Unmoved(), clock=clock, challenge=lambda: "47")
    yield found
    found.store.close()


@pytest.fixture
def job(jobs: Jobs) -> JobSession:
    """Power entry at door D1 of the Pinewharf Cold Store."""
    return jobs.new("pinewharf-d1", "power-entry")


@pytest.fixture
def server(jobs: Jobs, job: JobSession) -> Iterator[Server]:
    with listen(create_app(jobs, job.job_id)) as served:
        yield served


@pytest.fixture
def wire(server: Server) -> Iterator[Wire]:
    found = Wire(server.port)
    yield found
    found.close()


@pytest.fixture
def lan(jobs: Jobs, job: JobSession, tmp_path: Path) -> Iterator[Lan]:
    """The job served in the local network."""
    with Lan(jobs, job.job_id, tmp_path / "lan", say=lambda text: None, names=reached_at) as served:
        yield served


def reached_at() -> Names:
    """This machine's own names; in a place without network, itself."""
    found = local_names()
    return found if found.addresses else Names(found.hosts, ("127.0.0.1",))


@pytest.fixture(scope="session")
def playwright() -> Iterator[Any]:
    if not CHROMIUM.is_file():
        pytest.skip(f"no browser: {CHROMIUM} is missing")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as found:
        yield found


@pytest.fixture
def browser(playwright: Any) -> Iterator[Callable[..., Any]]:
    """Start a browser: browser("--flag", ...)."""
    started: list[Any] = []

    def start(*flags: str) -> Any:
        found = playwright.chromium.launch(
            executable_path=str(CHROMIUM), args=[*FLAGS, *flags], chromium_sandbox=False
        )
        started.append(found)
        return found

    yield start
    for found in started:
        found.close()


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A home folder of its own, so that no test trusts what another one was told to trust."""
    found = tmp_path / "home"
    found.mkdir()
    return found


def trust(home: Path, lan: Lan) -> None:
    """Tell the browsers of this home to trust the authority, as a person does in the settings."""
    certutil = shutil.which("certutil")
    if certutil is None:
        pytest.skip("certutil (Debian: libnss3-tools) tells Chromium whom to trust; it is missing")
    store = home / ".pki" / "nssdb"
    store.mkdir(parents=True)
    (home / "authority.pem").write_bytes(lan.authority.pem)
    for more in (["-N", "--empty-password"],
                 ["-A", "-t", "C,,", "-n", "site", "-i", str(home / "authority.pem")]):  # fmt: skip
        subprocess.run([certutil, "-d", f"sql:{store}", *more], check=True, capture_output=True)


@pytest.fixture
def resident(playwright: Any, home: Path) -> Iterator[Callable[..., Any]]:
    """A page in a browser that keeps what it is told, as a phone's does: resident("--flag")."""
    started: list[Any] = []

    def start(*flags: str) -> Any:
        context = playwright.chromium.launch_persistent_context(
            str(home / f"profile-{len(started)}"),
            executable_path=str(CHROMIUM),
            args=[*FLAGS, *(flags or (ALLOWED,))],
            chromium_sandbox=False,
            env={**os.environ, "HOME": str(home)},
            viewport=PHONE,
            has_touch=True,
        )
        started.append(context)
        page = context.pages[0]
        page.set_default_timeout(PATIENCE_MS)
        return page

    yield start
    for context in started:
        context.close()


@pytest.fixture
def phone(browser: Callable[..., Any]) -> Iterator[Callable[..., Any]]:
    """Open the page on a phone; what the console said of errors is a failure of the test.

    `phone.silent` lists what may be said: a refused connection while the wire is cut.
    """
    said: list[str] = []
    expected: list[str] = []

    def opened(url: str, *flags: str, **context: Any) -> Any:
        context = {"viewport": PHONE, "device_scale_factor": 1, "has_touch": True} | context
        page = browser(*(flags or (ALLOWED,))).new_context(**context).new_page()
        page.on("console", lambda m: said.append(m.text) if m.type in ("error", "warning") else 0)
        page.on("pageerror", lambda error: said.append(str(error)))
        page.set_default_timeout(PATIENCE_MS)
        page.goto(url)
        page.wait_for_selector("[data-act=start]")
        page.wait_for_timeout(450)  # buttons are inert for a moment after they appear
        return page

    opened.expected = expected  # type: ignore[attr-defined]
    yield opened
    assert [s for s in said if not any(part in s for part in expected)] == []
