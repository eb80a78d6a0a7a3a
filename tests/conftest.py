"""Fixtures that every part shares; they are few and small."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import settings

from assistant.records.store import Store

# A busy machine must not fail a property; a failure in CI must come again at the desk.
settings.register_profile("desk", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("ci" if os.environ.get("CI") else "desk")


@dataclass
class FixedClock:
    """A clock that moves only when told: `wall()` is ISO 8601, `mono_s()` seconds."""

    passed_s: float = 0.0

    def wall(self) -> str:
        start = datetime(2025, 1, 6, 8, 0, tzinfo=UTC)
        return (start + timedelta(seconds=self.passed_s)).isoformat(timespec="milliseconds")

    def mono_s(self) -> float:
        return self.passed_s

    def wait(self, seconds: float) -> None:
        self.passed_s += seconds


@pytest.fixture
def clock() -> FixedClock:
    return FixedClock()


@pytest.fixture
def store() -> Iterator[Store]:
    with Store.memory() as opened:
        yield opened


@pytest.fixture(autouse=True)
def _own_data_folder(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory):
    """No test writes to the person's own data folder, or reads a model from it."""
    monkeypatch.setenv("THIRDHAND_DATA", str(tmp_path_factory.getbasetemp() / "data"))
