"""Stores with a job in them."""

from __future__ import annotations

import pytest

from assistant.clock import SetClock
from assistant.records.store import Store
from tests.records.pinewharf import fill


@pytest.fixture
def filled(store: Store, clock: SetClock) -> Store:
    """A store with one job of eight entries."""
    fill(store, clock)
    return store
