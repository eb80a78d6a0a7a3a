"""What can be said to the search. Answers, numbers and "unable" are the procedure's own inputs."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

from assistant.procedure.inputs import Affirm, Choice, Command, Negative, Reading, Unable
from assistant.procedure.model import EnergyState

__all__ = ["INPUT", "Affirm", "Choice", "Command", "Input", "Negative", "Reading", "Unable"]


class _Input(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Open(_Input):
    """The guide is asked for. texts: the guide's files; record: see `door`.

    Both are kept with the job's log, so that the search can be followed from the log alone.
    """

    kind: Literal["open"] = "open"
    texts: dict[str, str] = Field(default_factory=dict)
    record: dict[str, Any] = Field(default_factory=dict)


class Seen(_Input):
    """What the door does, in the technician's words, or a symptom's id."""

    kind: Literal["seen"] = "seen"
    words: str


class Safe(_Input):
    """Nobody is in the opening and the door rests or is blocked."""

    kind: Literal["safe"] = "safe"


class EnergyIs(_Input):
    """The ledger's state, told by the job whenever it changes. Nobody says this by voice.

    shut: the panel was found live and stays shut until its isolation.
    """

    kind: Literal["energy-is"] = "energy-is"
    state: EnergyState
    shut: bool = False


class DontKnow(_Input):
    """The person can't tell what the check asks."""

    kind: Literal["dont-know"] = "dont-know"


class GoThere(_Input):
    """Yes, change the energy state: the job goes through its gate steps and tells `EnergyIs`."""

    kind: Literal["go-there"] = "go-there"


class ToSteps(_Input):
    """Back to the job's steps; the search waits until the guide is asked for again."""

    kind: Literal["to-steps"] = "to-steps"


class SomethingElse(_Input):
    """Not this change of the energy state now: what else can be looked at as things stand?"""

    kind: Literal["something-else"] = "something-else"


class Why(_Input):
    """Why this check, or why this cause."""

    kind: Literal["why"] = "why"


class WhatElse(_Input):
    """What else it may be; without a symptom, the next step of the general order of search."""

    kind: Literal["what-else"] = "what-else"


class CorrectLast(_Input):
    """The last answer was wrong: ask it again."""

    kind: Literal["correct-last"] = "correct-last"


class FoundIt(_Input):
    """The cause was found: the one that is named, or another of the guide's."""

    kind: Literal["found-it"] = "found-it"
    cause: str = ""


class Repaired(_Input):
    """The repair is carried out."""

    kind: Literal["repaired"] = "repaired"


class Retested(_Input):
    """A pack that had to be done again is through; `passed` False: a reading or test failed."""

    kind: Literal["retested"] = "retested"
    ref: str
    passed: bool


class GiveUp(_Input):
    """Stop looking for now."""

    kind: Literal["give-up"] = "give-up"


Input = Annotated[
    Open
    | Seen
    | Safe
    | EnergyIs
    | Choice
    | Reading
    | Affirm
    | Negative
    | Unable
    | Command
    | DontKnow
    | GoThere
    | ToSteps
    | SomethingElse
    | Why
    | WhatElse
    | CorrectLast
    | FoundIt
    | Repaired
    | Retested
    | GiveUp,
    Field(discriminator="kind"),
]
INPUT: TypeAdapter[Input] = TypeAdapter(Input)
