"""Where a job stands: frozen data that `machine.advance` replaces and nothing else touches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from types import MappingProxyType
from typing import Literal

from assistant.procedure.effects import Bounds, ReadBack
from assistant.procedure.energy import Ledger
from assistant.procedure.sums import Sum
from assistant.quantity import Quantity

Mark = Literal["done", "unable", "passed-over"]
EMPTY: Mapping = MappingProxyType({})


@dataclass(frozen=True)
class TakenReading:
    """A reading that was affirmed (or computed). `quantity` is None with a `special`."""

    step: str
    quantity: Quantity | None
    special: str
    verdict: Literal["pass", "fail", "none"]
    bounds: Bounds | None
    derived: bool
    at_s: float


@dataclass(frozen=True)
class Pending:
    """What was read back and waits for AFFIRM. `kind` tells which of the payloads is set."""

    step: str
    kind: Literal["reading", "tag", "confirm", "choice", "challenge", "hand-over", "landed"]
    at_s: float
    who: str = "lead"  # who said it; nobody else can affirm it
    quantity: Quantity | None = None
    special: str = ""
    said: str = ""
    tag: str = ""
    word: str = ""
    digits: str = ""
    person: str = ""
    corrects: bool = False  # it supersedes the step's recorded reading

    def read_back(self) -> ReadBack:
        """What is spoken so that it can be affirmed."""
        return ReadBack(
            step=self.step,
            value=self.quantity.value if self.quantity else None,
            unit=self.quantity.unit if self.quantity else "",
            special=self.special,
            tag=self.tag,
            word=self.word,
            challenge=self.digits,
            person=self.person,
        )


@dataclass(frozen=True)
class IssuedChallenge:
    """The digits that the assistant has just spoken for a gate."""

    step: str
    phrase: str
    digits: str
    at_s: float


@dataclass(frozen=True)
class OpenItem:
    """A line of the open-points list."""

    step: str
    cause: str
    reason: str


@dataclass(frozen=True)
class Run:
    """Where a job stands.

    at: id of the current step, None before the start and after the end. marks: step id -> how
    it was settled. spoken: steps already spoken in full once. failing: id of the step that
    holds because its value is outside limits. retaking: id of the step whose value was heard and
    not taken, so that a CORRECTION is about it. times: answers not understood in a row.
    """

    ledger: Ledger
    at: str | None = None
    finished: bool = False
    marks: Mapping[str, Mark] = field(default_factory=lambda: EMPTY)
    readings: Mapping[str, TakenReading] = field(default_factory=lambda: EMPTY)
    answers: Mapping[str, str] = field(default_factory=lambda: EMPTY)  # step id -> choice said last
    limits: Mapping[str, Bounds] = field(default_factory=lambda: EMPTY)  # by calculation
    sum: Sum | None = None  # the calculation that is being asked for
    pending: Pending | None = None
    challenge: IssuedChallenge | None = None
    held: Literal["stop-work", "stand-by", "emergency"] | None = None
    failing: str | None = None
    retaking: str | None = None
    refused: tuple[str, ...] = ()  # why the current step may not be entered, () if it may
    open_points: tuple[OpenItem, ...] = ()
    spoken: frozenset[str] = frozenset()
    devices: frozenset[str] = frozenset()  # roles with a device of their own
    lost: frozenset[str] = frozenset()  # roles whose last device dropped
    clear: frozenset[str] = frozenset()  # who has said all clear for the current step
    marked: bool = False  # the count for the current step has been given
    brief: bool = False
    times: int = 0
    entered_s: float = 0.0
    last_s: float = 0.0
    instrument: str = ""  # id of the one chosen last; "": the job's first
    on: str = ""  # the day of the last start, ISO 8601, for dates that pass
    last_reading: str | None = None  # name of the reading a CORRECTION would supersede

    def value(self, name: str) -> Decimal | None:
        """A reading's number in the unit it was taken in, or None."""
        taken = self.readings.get(name)
        return taken.quantity.value if taken and taken.quantity else None
