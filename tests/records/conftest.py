"""A store with a job in it."""

from __future__ import annotations

import pytest

from assistant.records.store import Store
from tests.conftest import FixedClock
from tests.records.pinewharf import fill


@pytest.fixture
def filled(store: Store, clock: FixedClock) -> Store:
    """A store with one job of eight entries."""
    fill(store, clock)
    return store
