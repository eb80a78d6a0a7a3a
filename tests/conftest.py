"""Fixtures that every part shares; they are few and small."""

from __future__ import annotations

import itertools
import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from assistant.clock import SetClock
from assistant.records.store import Store

# A busy machine must not fail a property; a failure in CI must come again at the desk.
settings.register_profile("desk", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "desk")


# These run at the pace of speech, of a browser or of a killed program. With two workers they follow
# each other on one, while the other one does the sums: side by side they would wait for each other.
AT_THEIR_PACE = (
    "tests/web",
    "tests/speech",
    "tests/server/test_two_voices.py",
    "tests/server/test_whole_job_by_two.py",
    "tests/test_rehearse.py",
)


@pytest.hookimpl(tryfirst=True)  # before pytest-xdist, which reads the groups in the same hook
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if item.nodeid.startswith(AT_THEIR_PACE):
            item.add_marker(pytest.mark.xdist_group("at-their-pace"))


def pytest_collection_finish(session: pytest.Session) -> None:
    """Side by side they fail now and then on a slow machine, and nothing would say why."""
    if not getattr(session.config.option, "loadgroup", False):
        return
    alone = [i.nodeid for i in session.items if i.nodeid.startswith(AT_THEIR_PACE)]
    if any("@at-their-pace" not in each for each in alone):
        raise pytest.UsageError(
            "this pytest and this pytest-xdist do not keep the tests of a group on one worker: "
            "install the versions of pyproject.toml, or run without -n"
        )


@pytest.fixture(scope="session", autouse=True)
def _interrupts_reach_programs() -> None:
    """A run that was started in the background ignores SIGINT and hands that on to programs."""
    if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture
def clock() -> SetClock:
    """A clock that moves only when told."""
    return SetClock()


@pytest.fixture
def store() -> Iterator[Store]:
    """A record in memory."""
    with Store.memory() as opened:
        yield opened


@pytest.fixture(autouse=True)
def _own_data_folder(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory):
    """No test writes to the person's own data folder, or reads a model from it."""
    monkeypatch.setenv("THIRDHAND_DATA", str(tmp_path_factory.getbasetemp() / "data"))


@pytest.fixture(scope="session")
def played(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """File and id of power entry at door D2, played by text through the real job; read only."""
    from assistant import rehearse, resources
    from assistant.job import Jobs

    folder = tmp_path_factory.mktemp("played")
    clock, digits = SetClock(), itertools.cycle(("47", "62", "76", "24"))
    jobs = Jobs(folder, clock=clock, challenge=lambda: next(digits))
    session = jobs.new("pinewharf-d2", "power-entry")
    script = resources.steps_dir() / "jobs" / "pinewharf-d2.rehearsal.txt"
    lines = rehearse.read_script(script.read_text(encoding="utf-8"), str(script))
    for _ in rehearse.play_text(session, clock, lines):
        pass
    assert len(jobs.store.readings(session.job_id)) > 10
    jobs.store.close()
    return folder / "records.sqlite", session.job_id
