"""What a person, a device or the clock can tell the machine.

Every input is a frozen model with a `kind`, so that the log can keep it and `replay` can read
it again. An `Event` is an input with who, where and when.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter


class _Input(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


# --- answers to a step -----------------------------------------------------------------------


class Confirm(_Input):
    """The step's own word was said ("done", "no movement", "power is on")."""

    kind: Literal["confirm"] = "confirm"
    word: str


class Affirm(_Input):
    """AFFIRM. `plain` marks a plain "yes", which is enough only where no gate hangs on it."""

    kind: Literal["affirm"] = "affirm"
    plain: bool = False


class Negative(_Input):
    """NEGATIVE: the read-back was wrong, or no."""

    kind: Literal["negative"] = "negative"


class Reading(_Input):
    """A measured value as said.

    value: the number, None with a `special`. unit: canonical unit name; None if no unit was
    said (the step's unit holds). special: what the meter showed instead of a number.
    said: the words.
    """

    kind: Literal["reading"] = "reading"
    value: Decimal | None = None
    unit: str | None = None
    special: Literal["over-range", "open-line", "no-reading"] | None = None
    said: str = ""


class Tag(_Input):
    """A lock's tag number, as digits."""

    kind: Literal["tag"] = "tag"
    digits: str


class Choice(_Input):
    """One of the answers a step offers."""

    kind: Literal["choice"] = "choice"
    answer: str


class Landed(_Input):
    """The conductor of the step sits at another terminal than the plan says.

    strip: designation of the terminal strip ("X3"). point: the terminal's number on it.
    """

    kind: Literal["landed"] = "landed"
    strip: str
    point: str


class Challenge(_Input):
    """A gate phrase with the digits that were said with it ("" if none were).

    phrase: "lockout-confirmed" or "clear-to-energise".
    """

    kind: Literal["challenge"] = "challenge"
    phrase: Literal["lockout-confirmed", "clear-to-energise"]
    digits: str = ""


class Correction(_Input):
    """CORRECTION, with the right value where it was said in the same breath."""

    kind: Literal["correction"] = "correction"
    reading: Reading | None = None
    tag: Tag | None = None


class Unable(_Input):
    """UNABLE with the reason, if one was said."""

    kind: Literal["unable"] = "unable"
    reason: str = ""


# --- phrases that hold in every step -----------------------------------------------------------


class Command(_Input):
    """A phrase that asks for something and carries nothing else."""

    kind: Literal["command"] = "command"
    name: Literal[
        "say-again",
        "read-back",
        "stand-by",
        "go-ahead",
        "stop-work",
        "where-are-we",
        "reason",
        "limits",
        "call-helper",
        "take-photo",
        "brief",
        "full",
        "slower",
        "faster",
        "louder",
        "quieter",
        "go-back",
        "prove-again",
        "disregard",
        "measure-again",
        "emergency",
        "hand-over",
        "all-clear",
        "working",  # of a calculation's result, line by line
        "use-result",  # as the limit of the present step
        "lead-all-clear",  # said at another's device, so with the role in front
        "helper-all-clear",
    ]


class GoTo(_Input):
    """Go to a section of the pack by its name."""

    kind: Literal["go-to"] = "go-to"
    section: str


class Note(_Input):
    """A dictated remark; `text` is the best transcript, `clip` the kept sound, if any."""

    kind: Literal["note"] = "note"
    text: str
    clip: str = ""


class UseInstrument(_Input):
    """The next values are measured with another instrument of the job. name: as it was called."""

    kind: Literal["instrument"] = "instrument"
    id: str
    name: str = ""


class Guide(_Input):
    """Something said to the fault guide, in its own terms (`faults.inputs`); the steps wait."""

    kind: Literal["guide"] = "guide"
    said: dict[str, Any]

    def __hash__(self) -> int:
        return hash(self.model_dump_json())


class BackToSteps(_Input):
    """The fault guide gives the floor back: the present step is spoken again."""

    kind: Literal["back-to-steps"] = "back-to-steps"


class Changed(_Input):
    """A repair changed something, so what was tested before counts no more.

    again: packs, or "pack:section of it", that are done anew. answers: step -> answer that follows
    from the repair; it can only bring tests, never leave one out. shut: no part was opened, so what
    was done at the dead panel stands.
    """

    kind: Literal["changed"] = "changed"
    again: tuple[str, ...]
    answers: dict[str, str] = Field(default_factory=dict)
    shut: bool = False

    def __hash__(self) -> int:
        return hash(self.model_dump_json())


class Calculate(_Input):
    """A calculation is asked for. name: the calculator's."""

    kind: Literal["calculate"] = "calculate"
    name: str


class LockOff(_Input):
    """Somebody says that a lock is off. Outside the release step it voids the proof."""

    kind: Literal["lock-off"] = "lock-off"


class PowerOn(_Input):
    """Somebody says that the power is on. Anywhere but after the release it voids the proof."""

    kind: Literal["power-on"] = "power-on"


class NotUnderstood(_Input):
    """Nothing that is accepted here was heard, or two readings of it are possible.

    why: "noise", "other speech", "too short", "unsure", "ambiguous", "not here",
        "too soon" (said before what is asked now was asked), "no-point" (digits that begin with
        a zero, and no point).
    candidates: the possible readings of an ambiguous utterance, in words.
    """

    kind: Literal["not-understood"] = "not-understood"
    why: str
    candidates: tuple[str, ...] = ()


# --- from the job itself -----------------------------------------------------------------------


class Started(_Input):
    """The job begins: the plan's first step is entered. on: the day, ISO 8601, "" if not known."""

    kind: Literal["started"] = "started"
    on: str = ""


class Restarted(_Input):
    """The program was started again: nothing is known of the energy state. on: as `Started`."""

    kind: Literal["restarted"] = "restarted"
    on: str = ""


class ChallengeIssued(_Input):
    """The digits of a fresh challenge, drawn outside the pure core and kept in the log."""

    kind: Literal["challenge-issued"] = "challenge-issued"
    digits: str


class PersonJoined(_Input):
    """Somebody joins the crew, without a lock as yet."""

    kind: Literal["person-joined"] = "person-joined"
    person: str


class DeviceJoined(_Input):
    """A role has a device of its own now. Somebody who isn't on the job joins it by that."""

    kind: Literal["device-joined"] = "device-joined"
    role: Literal["lead", "helper"]


class DeviceLost(_Input):
    """The last device of a role dropped: steps that need the role wait."""

    kind: Literal["device-lost"] = "device-lost"
    role: Literal["lead", "helper"]


class CrewChanged(_Input):
    """A new crew takes over: locks and proof are taken anew."""

    kind: Literal["crew-changed"] = "crew-changed"
    people: tuple[str, ...]


class Tick(_Input):
    """Time has passed; counts down waits and interruptions."""

    kind: Literal["tick"] = "tick"


Input = Annotated[
    Confirm
    | Affirm
    | Negative
    | Reading
    | Tag
    | Choice
    | Landed
    | Challenge
    | Correction
    | Unable
    | Command
    | GoTo
    | Note
    | UseInstrument
    | Calculate
    | Guide
    | BackToSteps
    | Changed
    | LockOff
    | PowerOn
    | NotUnderstood
    | Started
    | Restarted
    | ChallengeIssued
    | PersonJoined
    | CrewChanged
    | DeviceJoined
    | DeviceLost
    | Tick,
    Field(discriminator="kind"),
]
INPUT: TypeAdapter[Input] = TypeAdapter(Input)


class Event(BaseModel):
    """An input with who, where and when.

    at_s: monotonic time since the job's log began, never going back. [s]
    who: "lead", "helper" or "system". via: how it came in.
    heard, confidence: the recogniser's words and certainty, for the log.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    input: Input
    at_s: float
    who: str = "lead"
    device: str = ""
    via: Literal["voice", "touch", "text", "system"] = "voice"
    heard: str = ""
    confidence: float = 1.0
