"""A calculation asked for in the middle of a job: what it is, what is there, what is missing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from assistant.calc.base import CALCULATORS, Calculator, Input, Result
from assistant.procedure.model import Job
from assistant.quantity import quantity

# Where a calculator's input is the supply's own voltage.
_SUPPLY_INPUTS = ("nominal", "line")
_FED_BY_SUPPLY = ("voltage-drop", "longest-run", "motor-current", "motor-current-table")


@dataclass(frozen=True)
class Sum:
    """Where a calculation stands.

    given: (input, text) as taken, in order; a list's values one by one. known: what the job
    sheet says. ended: lists that are complete. result: set once nothing is missing.
    """

    name: str
    given: tuple[tuple[str, str], ...] = ()
    known: tuple[tuple[str, str], ...] = ()
    ended: frozenset[str] = frozenset()
    result: Result | None = None

    @property
    def calculator(self) -> Calculator:
        return CALCULATORS[self.name]

    def asked(self) -> Input | None:
        """The input that is asked for now, None when none is missing."""
        have = {name for name, _ in (*self.given, *self.known)}
        for each in self.calculator.inputs:
            if each.many and each.name not in self.ended:
                return each
            if not each.many and each.name not in have and not each.default:
                return each
        return None

    def values(self) -> dict[str, Any]:
        """What the calculator is given."""
        found: dict[str, Any] = dict(self.known)
        for each in self.calculator.inputs:
            texts = [text for name, text in self.given if name == each.name]
            if texts:
                many = each.many and each.unit
                found[each.name] = tuple(quantity(t) for t in texts) if many else texts[-1]
        return found


def _is_supply(calculator: Calculator, wanted: Input) -> bool:
    fed = wanted.name == "volts" and calculator.name in _FED_BY_SUPPLY
    return wanted.unit == "volt" and not wanted.many and (fed or wanted.name in _SUPPLY_INPUTS)


def known(calculator: Calculator, job: Job) -> tuple[tuple[str, str], ...]:
    """What the job sheet says of a calculator's inputs: facts of that name, supply, code set."""
    found: dict[str, str] = {}
    for each in calculator.inputs:
        if each.name in job.facts:
            found[each.name] = job.facts[each.name]
        elif _is_supply(calculator, each):
            found[each.name] = job.supply.nominal
        elif job.code_set in each.choices and each.name == "code-set":
            found[each.name] = job.code_set
        elif each.name in ("system", "phases") and job.supply.system in each.choices:
            found[each.name] = job.supply.system
    return tuple(found.items())
