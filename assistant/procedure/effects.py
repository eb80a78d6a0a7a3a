"""What the machine says happened. Words for it are found in `dialogue.replies`.

Effects are data: the log keeps them beside the event that caused them.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field


class _Effect(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Bounds(_Effect):
    """Limits in one unit, with where they come from; None is unbounded."""

    at_least: Decimal | None = None
    at_most: Decimal | None = None
    unit: str
    source: str = ""  # title and section, as it is spoken and printed
    safety: bool = False
    working: tuple[str, ...] = ()  # step by step, when a calculator gave the limits
    warnings: tuple[str, ...] = ()


class Entered(_Effect):
    """A step is now the current one: speak it. `again` if it was spoken before."""

    kind: Literal["entered"] = "entered"
    step: str
    again: bool = False


class Finished(_Effect):
    """No step is left."""

    kind: Literal["finished"] = "finished"
    open_points: int


class ReadBack(_Effect):
    """Something is pending and waits for AFFIRM. Exactly one of the payloads is set."""

    kind: Literal["read-back"] = "read-back"
    step: str
    value: Decimal | None = None
    unit: str = ""
    special: str = ""
    tag: str = ""
    word: str = ""
    challenge: str = ""
    person: str = ""


class Taken(_Effect):
    """An answer was affirmed (or needed no read-back) and stands in the log."""

    kind: Literal["taken"] = "taken"
    step: str
    word: str = ""
    tag: str = ""
    person: str = ""
    answer: str = ""


class Judged(_Effect):
    """A reading was taken and held against its limits.

    verdict: "pass", "fail", or "none" where the step has no limits. supersedes: log position
    of the reading that this one corrects, or None. derived: it was computed, not measured.
    """

    kind: Literal["judged"] = "judged"
    step: str
    name: str
    value: Decimal | None
    unit: str
    special: str = ""
    said: str = ""
    si_value: float | None = None
    si_unit: str = ""
    bounds: Bounds | None = None
    verdict: Literal["pass", "fail", "none"]
    then: Literal["", "stop", "repeat", "note"] = ""  # what a fail does
    derived: bool = False
    corrects: bool = False
    working: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    instrument: str = ""


class Beside(_Effect):
    """The same reading at the door's last visit. value: None with a `special`.

    told: it is spoken (else the steps tell it). change: since then [%], None where no calculator
    judges it. unusual: what the trade makes of a change that is more than usual, else "". trend:
    how it went over `visits` visits with this one ("fell by 60 %"), where that is more than chance.
    """

    kind: Literal["beside"] = "beside"
    step: str
    name: str
    job: str
    on: str
    value: Decimal | None
    unit: str
    special: str = ""
    told: bool = True
    change: Decimal | None = None
    unusual: str = ""
    trend: str = ""
    visits: int = 0


class CarriedOver(_Effect):
    """What earlier jobs at the door left. last: day of the last one, "" if none is on record."""

    kind: Literal["carried-over"] = "carried-over"
    last: str
    points: tuple[str, ...] = ()


class Implausible(_Effect):
    """The value lies outside what the step can mean: probably misheard. Nothing is taken."""

    kind: Literal["implausible"] = "implausible"
    step: str
    value: Decimal
    unit: str
    low: Decimal
    high: Decimal
    plausible_unit: str


class WrongUnit(_Effect):
    """The unit that was said can't measure what the step asks for."""

    kind: Literal["wrong-unit"] = "wrong-unit"
    step: str
    said: str
    expected: str


class Withdrawn(_Effect):
    """What was pending was refused by the person (NEGATIVE, DISREGARD): ask again.

    again: no value of the step was taken the time before, either.
    """

    kind: Literal["withdrawn"] = "withdrawn"
    step: str
    again: bool = False


class Refused(_Effect):
    """A gate holds. `missing` lists codes, `offer` the step that supplies the first of them.

    Codes: "state:proven-dead" (energy state needed), "isolated", "lock:lead", "try-start",
    "tester-before", "dead:l1-l2", "wait:120" (seconds left), "stored", "tester-after",
    "challenge-wrong", "challenge-old", "challenge-missing", "affirm-needed",
    "restrained:<hazard>", "answer-from:helper", "affirm-from:helper" (who has to say it),
    "all-clear:helper" (still to be said), "device-lost:helper", "alone" (nobody to hand over to),
    "grounds" (temporary ones are due), "grounds-on" (they are still on),
    "locks-on:lead", "unsettled:<step>", "failed:<reading>", "same-tag", "wrong-tag", "lead-only".
    """

    kind: Literal["refused"] = "refused"
    step: str
    missing: tuple[str, ...]
    offer: str = ""


class Voided(_Effect):
    """The energy proof is gone; everything that needs it waits until it is taken anew.

    cause: "lock-off", "power-on", "person-joined", "crew-changed", "stop-work", "restart",
    "interruption", "voltage-found", "tester-failed", "prove-again". was: the state that was lost.
    """

    kind: Literal["voided"] = "voided"
    cause: str
    was: str


class EnergyNow(_Effect):
    """The energy ledger has a new state."""

    kind: Literal["energy-now"] = "energy-now"
    state: str


class ChallengeNeeded(_Effect):
    """The shell must draw two digits and feed them back as `ChallengeIssued`."""

    kind: Literal["challenge-needed"] = "challenge-needed"
    step: str


class ChallengeGiven(_Effect):
    """Speak the challenge. The whole gate phrase is never spoken, so no echo can satisfy it."""

    kind: Literal["challenge-given"] = "challenge-given"
    step: str
    phrase: str
    digits: str


class Waiting(_Effect):
    """A waiting time runs."""

    kind: Literal["waiting"] = "waiting"
    step: str
    left_s: float


class AskAgain(_Effect):
    """Nothing was taken. After the second time in a row the reply lists what can be said.

    why: a reason of `inputs.NotUnderstood`, or "tag-needed", "no-reading", "nothing-to-correct",
    "nothing-before", or "no-limits: PROBLEM" where a limit can't be computed.
    """

    kind: Literal["ask-again"] = "ask-again"
    step: str
    why: str
    candidates: tuple[str, ...] = ()
    times: int = 1


class OpenPoint(_Effect):
    """An item for the open-points list.

    cause: "unable", "failed", "misplaced" (a core at a terminal where it can hurt), or "carried"
    (an earlier job's point that stays open).
    """

    kind: Literal["open-point"] = "open-point"
    step: str
    cause: str
    reason: str = ""
    stays: bool = False  # the step can't be passed over: it stays the current one


class Explained(_Effect):
    """An answer to "reason", "limits" or "where are we"; the reply looks the content up."""

    kind: Literal["explained"] = "explained"
    step: str
    what: Literal["reason", "limits", "where-are-we", "read-back", "options"]
    bounds: Bounds | None = None


class SumAsked(_Effect):
    """A calculation wants an input. last: what was taken just now; known: from the job sheet."""

    kind: Literal["sum-asked"] = "sum-asked"
    name: str
    input: str
    help: str = ""
    unit: str = ""
    choices: tuple[str, ...] = ()
    last: tuple[str, str] | None = None
    known: tuple[tuple[str, str], ...] = ()


class SumRefused(_Effect):
    """An input can't be calculated with; it is asked again. why: a sentence with what is valid."""

    kind: Literal["sum-refused"] = "sum-refused"
    name: str
    input: str
    why: str


class SumDone(_Effect):
    """A calculation came out. Limits and values as (number, unit). how: kind of its source."""

    kind: Literal["sum-done"] = "sum-done"
    name: str
    given: dict[str, str]
    values: tuple[tuple[str, Decimal, str], ...]
    words: dict[str, str] = Field(default_factory=dict)
    at_least: tuple[Decimal, str] | None = None
    at_most: tuple[Decimal, str] | None = None
    source: str
    how: str
    working: tuple[str, ...]
    assumptions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


class SumWorking(_Effect):
    """The working of a calculation, to be spoken."""

    kind: Literal["sum-working"] = "sum-working"
    name: str
    lines: tuple[str, ...]


class SumEnded(_Effect):
    """The calculation is closed; the job goes on where it stood."""

    kind: Literal["sum-ended"] = "sum-ended"


class LimitSet(_Effect):
    """A calculation's result is the limit of a step that has none of its own."""

    kind: Literal["limit-set"] = "limit-set"
    step: str
    bounds: Bounds


class Held(_Effect):
    """Everything waits. cause: "stop-work", "stand-by" or "emergency"."""

    kind: Literal["held"] = "held"
    cause: str
    who: str


class Resumed(_Effect):
    """Work goes on."""

    kind: Literal["resumed"] = "resumed"


class Noted(_Effect):
    """A remark was kept."""

    kind: Literal["noted"] = "noted"
    text: str


class InstrumentChosen(_Effect):
    """The next values are measured with this one. state: of its calibration on the job's day."""

    kind: Literal["instrument-chosen"] = "instrument-chosen"
    id: str
    name: str  # as it is spoken, "meter 2"
    what: str  # its kind
    calibration_due: str
    state: Literal["in-date", "out-of-date", "not-known"]


class Setting(_Effect):
    """The way of speaking changes: "brief", "full", "slower", "faster", "louder", "quieter"."""

    kind: Literal["setting"] = "setting"
    name: str


class DeviceNotice(_Effect):
    """A role's device is there (again), or is lost. Both are told."""

    kind: Literal["device-notice"] = "device-notice"
    role: str
    present: bool


class Marked(_Effect):
    """Everybody addressed has said all clear: count down to the mark, then the step happens."""

    kind: Literal["marked"] = "marked"
    step: str


class HandedOver(_Effect):
    """Lead and helper change over: the shell swaps their devices, locks and proof start anew."""

    kind: Literal["handed-over"] = "handed-over"


class HelperCalled(_Effect):
    """The other person's device is to ring."""

    kind: Literal["helper-called"] = "helper-called"


class PhotoAsked(_Effect):
    """The camera of the device that asked is to take a picture of the step."""

    kind: Literal["photo-asked"] = "photo-asked"
    step: str


class Repeat(_Effect):
    """Speak the last reply again; nothing changes."""

    kind: Literal["repeat"] = "repeat"


Effect = Annotated[
    Entered
    | Finished
    | ReadBack
    | Taken
    | Judged
    | Beside
    | CarriedOver
    | Implausible
    | WrongUnit
    | Withdrawn
    | Refused
    | Voided
    | EnergyNow
    | ChallengeNeeded
    | ChallengeGiven
    | Waiting
    | AskAgain
    | OpenPoint
    | Explained
    | Held
    | Resumed
    | Noted
    | InstrumentChosen
    | Setting
    | DeviceNotice
    | Marked
    | HandedOver
    | HelperCalled
    | PhotoAsked
    | SumAsked
    | SumRefused
    | SumDone
    | SumWorking
    | SumEnded
    | LimitSet
    | Repeat,
    Field(discriminator="kind"),
]
