"""Stores with a job in them."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from assistant import rehearse, resources
from assistant.clock import SetClock
from assistant.job import Jobs
from assistant.records.store import Store
from tests.records.pinewharf import fill


@pytest.fixture
def filled(store: Store, clock: SetClock) -> Store:
    """A store with one job of eight entries."""
    fill(store, clock)
    return store


@pytest.fixture(scope="session")
def played(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """File and id of power entry at door D2, played by text through the real job; read only."""
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
