"""Where time comes from, so that a rehearsal or a test can bring its own."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta


class Clock:
    """The machine's clock."""

    def mono_s(self) -> float:
        """Seconds that never go back. [s]"""
        return time.monotonic()

    def wall(self) -> str:
        """Date and time with offset, ISO 8601."""
        return datetime.now().astimezone().isoformat(timespec="seconds")


class SetClock(Clock):
    """A clock that moves only when told, for rehearsals and tests."""

    def __init__(self, start: str = "2026-03-02T08:00:00+00:00"):
        self._start = datetime.fromisoformat(start).astimezone(UTC)
        self._passed_s = 0.0

    def mono_s(self) -> float:
        """Seconds that were let pass. [s]"""
        return self._passed_s

    def wall(self) -> str:
        """The start plus what was let pass."""
        return (self._start + timedelta(seconds=self._passed_s)).isoformat(timespec="seconds")

    def pass_s(self, seconds: float) -> None:
        """Let time pass. [s]"""
        self._passed_s += seconds
