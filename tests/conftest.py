"""Fixtures that every part shares; they are few and small."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from hypothesis import settings

from assistant.clock import SetClock
from assistant.records.store import Store

# A busy machine must not fail a property; a failure in CI must come again at the desk.
settings.register_profile("desk", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "desk")


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
