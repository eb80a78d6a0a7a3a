"""Shared by the calculator tests: run a sum with values as they are written in a command."""

from collections.abc import Callable

import pytest

from assistant.calc import Result, calculate
from assistant.quantity import quantity


@pytest.fixture
def work() -> Callable[..., Result]:
    """work("voltage-unbalance", volts=["480 V", ...]): lists become tuples of quantities."""

    def run(name: str, **given: object) -> Result:
        ready = {
            key.replace("_", "-"): tuple(quantity(v) for v in value)
            if isinstance(value, list)
            else value
            for key, value in given.items()
        }
        return calculate(name, ready)

    return run
