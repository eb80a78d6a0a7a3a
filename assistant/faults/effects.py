"""What the search says happened; `wording` has the words. Probabilities are 0 to 1."""

from __future__ import annotations

from decimal import Decimal
from typing import Literal

from pydantic import BaseModel, ConfigDict

from assistant.faults.model import Leave
from assistant.procedure.model import EnergyState


class Effect(BaseModel):
    """Any of them."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class AskSymptom(Effect):
    """What does the door do?"""

    kind: Literal["ask-symptom"] = "ask-symptom"


class SymptomTaken(Effect):
    """A symptom was recognised. missing: devices it needs that the job doesn't list."""

    kind: Literal["symptom-taken"] = "symptom-taken"
    symptom: str
    missing: tuple[str, ...] = ()


class SeveralSymptoms(Effect):
    """Words that fit more than one symptom: which?"""

    kind: Literal["several-symptoms"] = "several-symptoms"
    symptoms: tuple[str, ...]


class UnknownSymptom(Effect):
    """The guide has nothing of the kind."""

    kind: Literal["unknown-symptom"] = "unknown-symptom"
    words: str


class OrderStep(Effect):
    """One step of the general order of search, counted from 0; last: there is none after it."""

    kind: Literal["order-step"] = "order-step"
    step: int
    last: bool


class MakeSafe(Effect):
    """Before anything is looked at: people, and the door itself."""

    kind: Literal["make-safe"] = "make-safe"
    symptom: str


class AskCheck(Effect):
    """A check is entered: speak its caution and its question. again: it was spoken before."""

    kind: Literal["ask-check"] = "ask-check"
    check: str
    for_danger: bool = False
    again: bool = False


class NeedsEnergy(Effect):
    """What comes next needs another energy state and isn't entered; `check` "": the repair."""

    kind: Literal["needs-energy"] = "needs-energy"
    check: str
    state: EnergyState
    now: EnergyState


class ChangeEnergy(Effect):
    """The person agreed: the job's gate steps to this state come now."""

    kind: Literal["change-energy"] = "change-energy"
    state: EnergyState


class Dropped(Effect):
    """The energy state changed under a check or repair, so it no longer holds: hands out."""

    kind: Literal["dropped"] = "dropped"
    check: str
    state: EnergyState


class Taken(Effect):
    """An answer was taken; outcome None: not known or not done."""

    kind: Literal["taken"] = "taken"
    check: str
    outcome: str | None
    value: Decimal | None = None
    unit: str = ""
    reason: str = ""


class Implausible(Effect):
    """A value was probably misheard."""

    kind: Literal["implausible"] = "implausible"
    check: str
    value: Decimal
    unit: str


class AskAgain(Effect):
    """That is no answer here."""

    kind: Literal["ask-again"] = "ask-again"
    check: str = ""


class Leading(Effect):
    """The most likely cause now, and the finding that speaks most for it ("" if none does)."""

    kind: Literal["leading"] = "leading"
    cause: str
    chance: float
    because: str = ""


class Named(Effect):
    """Look there. sure: likely enough; last: no check is left that tells more, so a best guess."""

    kind: Literal["named"] = "named"
    cause: str
    chance: float
    sure: bool
    last: bool = False
    because: str = ""


class WhyCheck(Effect):
    """Why this check: its own reason and the causes it is about, likeliest first."""

    kind: Literal["why-check"] = "why-check"
    check: str
    causes: tuple[str, ...]
    for_danger: bool = False


class Others(Effect):
    """What else it may be, likeliest first, with their chances; `than` the cause that was named."""

    kind: Literal["others"] = "others"
    causes: tuple[tuple[str, float], ...]
    than: str = ""


class Stuck(Effect):
    """Nothing in the guide fits or tells more; "what else" gives the general order of search."""

    kind: Literal["stuck"] = "stuck"
    causes: tuple[tuple[str, float], ...]


class NotRuledOut(Effect):
    """Causes that endanger people and that nobody could look at."""

    kind: Literal["not-ruled-out"] = "not-ruled-out"
    causes: tuple[str, ...]


class Found(Effect):
    """The cause that was found."""

    kind: Literal["found"] = "found"
    cause: str


class RepairNow(Effect):
    """The energy state is right: carry out the repair. told: what is to be done was just told."""

    kind: Literal["repair-now"] = "repair-now"
    cause: str
    told: bool = False


class RetestNow(Effect):
    """These tests are done again, in this order; each is a pack, or "pack:section"."""

    kind: Literal["retest-now"] = "retest-now"
    refs: tuple[str, ...]
    why: str = ""


class RetestFailed(Effect):
    """A test that was done again failed."""

    kind: Literal["retest-failed"] = "retest-failed"
    ref: str


class LeaveDoor(Effect):
    """What may happen to the door until it is repaired and tested."""

    kind: Literal["leave-door"] = "leave-door"
    rule: Leave


class Held(Effect):
    """Stop work: nothing goes on until the lead says go ahead."""

    kind: Literal["held"] = "held"


class ReadBack(Effect):
    """A value was heard and waits for AFFIRM."""

    kind: Literal["read-back"] = "read-back"
    check: str
    value: Decimal | None = None
    unit: str = ""
    special: str = ""


class Withdrawn(Effect):
    """What was read back was wrong: nothing was taken."""

    kind: Literal["withdrawn"] = "withdrawn"
    check: str


class LeadOnly(Effect):
    """Only the lead opens the guide, changes the energy state, or says that it is repaired."""

    kind: Literal["lead-only"] = "lead-only"


class NoWay(Effect):
    """The visit's plan has no steps that lead to this energy state."""

    kind: Literal["no-way"] = "no-way"
    state: EnergyState


class NotInPlan(Effect):
    """Tests that have to be done again and that this visit's plan doesn't have."""

    kind: Literal["not-in-plan"] = "not-in-plan"
    refs: tuple[str, ...]


class Over(Effect):
    """Found, repaired and tested, or given up."""

    kind: Literal["over"] = "over"
    solved: bool
