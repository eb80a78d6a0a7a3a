"""The fault guide as frozen data: symptoms, causes, checks, repairs. No rules live here.

`load` reads `steps/faults/`, `door` makes it ready for one job, `machine` moves.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from assistant.procedure.model import KEBAB, Caution, ReadingSpec, Source

DoorType = Literal["high-speed-roll-up", "sectional", "rolling-shutter", "sliding-gate"]
DOOR_TYPES: tuple[DoorType, ...] = (
    "high-speed-roll-up",
    "sectional",
    "rolling-shutter",
    "sliding-gate",
)
# What a check or a repair needs of the energy ledger; "unknown" means from outside, hands off,
# with everything taken as live.
Need = Literal["unknown", "isolated", "locked", "proven-dead", "energised"]
Leave = Literal["out-of-service", "hold-to-run", "watch"]
Kind = Literal["published", "from-memory", "common-practice", "estimate, ours"]
BY_LIMITS = ("below", "within", "above")
BY_LIGHT = ("acting", "clear", "flickers")


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class GuideSource(_Model):
    """Where facts of the guide come from. `kind` says how far it was verified."""

    title: str
    kind: Kind
    note: str = ""


class Estimate(_Model):
    """Figures that nobody has published: says so, and in which spirit they were chosen."""

    kind: Literal["estimate, ours"]
    note: str


class Applies(_Model):
    """On which doors something is found: any of `door_types`, any of `options`, none of `unless`.

    Empty lists don't restrict.
    """

    door_types: tuple[DoorType, ...] = ()
    options: tuple[str, ...] = ()
    unless: tuple[str, ...] = ()

    def fits(self, door_type: str, options: frozenset[str]) -> bool:
        """True on a door of that type with those options."""
        if self.door_types and door_type not in self.door_types:
            return False
        if self.options and not options & set(self.options):
            return False
        return not options & set(self.unless)


class _Named(Applies):
    id: str

    @field_validator("id")
    @classmethod
    def _kebab(cls, value: str) -> str:
        if not re.match(KEBAB, value):
            raise ValueError(f"id '{value}' must be kebab-case, for example 'beam-dirty'")
        return value


class Hint(_Model):
    """Something in the job's own record that speaks for a cause.

    reading: name pattern ("opening.*") with `verdict` or `trend`; open_point: pattern of a step id;
    setting: its name, compared by `is`; device: one on the device list; cycles_above: of the door's
    counter. factor: how much more often the record shows this with the cause than without
    it (a Bayes factor). says: the clause that is spoken.
    """

    reading: str | None = None
    verdict: Literal["pass", "fail"] | None = None
    trend: Literal["rising", "falling"] | None = None
    open_point: str | None = None
    setting: str | None = None
    is_: str | None = Field(None, alias="is")
    device: str | None = None
    cycles_above: int | None = None
    factor: float = Field(gt=0, le=100)
    says: str

    @model_validator(mode="after")
    def _one_kind(self) -> Hint:
        kinds = (self.reading, self.open_point, self.setting, self.device, self.cycles_above)
        if sum(kind is not None for kind in kinds) != 1:
            raise ValueError(
                "a hint has exactly one of reading, open_point, setting, device, cycles_above"
            )
        if (self.reading is not None) != (self.verdict is not None or self.trend is not None):
            raise ValueError("a reading's hint, and no other, compares with 'verdict' or 'trend'")
        if (self.setting is not None) != (self.is_ is not None):
            raise ValueError("a setting's hint, and no other, compares with 'is'")
        return self


class Cause(_Named):
    """What may be wrong.

    name: as spoken, with its article ("a dirty or blocked beam"). weight: how often it is met
    beside the others, on any door; more: factors on that for door types and options. danger: it
    endangers people, so it is looked at first. repair: a kind of `Guide.repairs`. fix: what is done
    about it. leave: what may happen to the door until it is repaired and tested.
    """

    name: str
    weight: float = Field(gt=0)
    more: dict[str, float] = Field(default_factory=dict)
    danger: bool = False
    repair: str
    fix: str
    leave: Leave = "watch"
    hints: tuple[Hint, ...] = ()

    def prior(self, door_type: str, options: frozenset[str]) -> float:
        """Weight on a door of that type with those options."""
        found = self.weight
        for key, factor in self.more.items():
            if key == door_type or key in options:
                found *= factor
        return found


class Repair(_Model):
    """A kind of repair: the energy state it needs and the packs that test it afterwards.

    retests: pack names, or "pack:section of it". changed: the steps of the pack of tests after a
    repair that ask for this part; they are answered by the repair itself. setting: no part was
    opened or moved, so nothing has to be seen at the dead panel for it.
    """

    needs: Need
    retests: tuple[str, ...] = Field(min_length=1)
    changed: tuple[str, ...] = ()
    setting: bool = False
    why: str = ""


class Check(_Named):
    """One thing to look at, measure or try, and what each answer says.

    say: the instruction, a question at its end. needs: the energy state without which it is not
    entered. powered: it tells nothing while the panel is dead. minutes: its time, without any
    change of the energy state. risk: 0 looking from outside, 1 the door moves, 2 hands inside a
    dead panel or up a ladder, 3 live measurement, 4 beside springs or a raised load. answers:
    outcome -> the clause that is spoken of it ("the light stays on"); for a choice the keys are
    the answers. reading: a value instead of a choice; outcomes are "below", "within", "above" its
    limits, or `bands`, the edges between outcomes in the reading's unit, rising. indicator: a
    device whose panel light is asked for; outcomes are "acting", "clear" and, if wanted,
    "flickers". normal: the outcome on a sound door. tells: cause -> outcome -> probability; what a
    row leaves is spread evenly over the outcomes that it doesn't name. sound: the row of every
    cause that isn't named. only: the symptoms that it is asked for; empty for every symptom whose
    causes it names. hearsay: answered from memory, so it tells of a cause without anybody looking.
    """

    say: str
    why: str
    needs: Need
    powered: bool = False
    minutes: float = Field(gt=0, le=120)
    risk: int = Field(ge=0, le=4)
    caution: Caution | None = None
    live: bool = False
    answers: dict[str, str] = Field(min_length=2)
    reading: ReadingSpec | None = None
    bands: tuple[Decimal, ...] = ()
    at_least: Decimal | None = None
    at_most: Decimal | None = None
    calc: str | None = None
    given: dict[str, str] = Field(default_factory=dict, alias="with")
    indicator: str | None = None
    normal: str
    sound: dict[str, float]
    tells: dict[str, dict[str, float]]
    wrong: float | None = Field(None, ge=0, lt=1)
    only: tuple[str, ...] = ()
    hearsay: bool = False
    source: Source

    @model_validator(mode="after")
    def _shape(self) -> Check:
        limits = self.at_least is not None or self.at_most is not None
        ways = [bool(self.bands), limits, self.calc is not None]
        if self.reading is None:
            if any(ways):
                raise ValueError("bands and limits need a reading")
        elif sum(ways) != 1:
            raise ValueError(
                "a reading has exactly one of bands, written limits (at_least, at_most) or calc"
            )
        if self.bands and list(self.bands) != sorted(set(self.bands)):
            raise ValueError(f"bands {[str(b) for b in self.bands]} must rise")
        if self.bands and len(self.answers) != len(self.bands) + 1:
            raise ValueError(f"{len(self.bands)} edges make {len(self.bands) + 1} answers")
        if self.reading and not self.bands and not set(self.answers) <= set(BY_LIMITS):
            raise ValueError(f"with limits the answers are {', '.join(BY_LIMITS)}")
        if self.indicator and not {"acting", "clear"} <= set(self.answers) <= set(BY_LIGHT):
            raise ValueError(f"of a light the answers are {', '.join(BY_LIGHT)}")
        return self

    @property
    def outcomes(self) -> tuple[str, ...]:
        """Names of the outcomes, in the order written."""
        return tuple(self.answers)


class Symptom(_Named):
    """What the technician sees.

    number: of the trade list. group: under which a screen lists it. name: as spoken. phrases: other
    ways to say it. first: what is said
    before anything is looked at. causes: cause -> how often it shows in this way (0 to 1). order:
    checks in the fixed order of the trade list, kept as the yardstick. leave: what may happen to
    the door until the cause is found. still: the door isn't run to look for it, and nothing is
    measured live while a look at the dead door is left.
    """

    number: int = Field(ge=1)
    group: str = ""
    name: str
    phrases: tuple[str, ...] = Field(min_length=1)
    first: str = ""
    causes: dict[str, float] = Field(min_length=2)
    order: tuple[str, ...] = Field(min_length=1)
    leave: Leave = "watch"
    still: bool = False
    source: Source

    @field_validator("causes")
    @classmethod
    def _share(cls, value: dict[str, float]) -> dict[str, float]:
        for cause, share in value.items():
            if not 0 < share <= 1:
                raise ValueError(f"share of cause '{cause}' is {share}; it must be in (0, 1]")
        return value


class Left(_Model):
    """What steps leave set in the panel. answer: only if that was answered; "": once it is done."""

    setting: str
    is_: str = Field(alias="is")
    after: tuple[str, ...] = Field(min_length=1)
    answer: str = ""


class Costs(_Model):
    """What a change of the energy state takes. [min]; risk_weight: see `choose.cost_min`."""

    to: dict[Need, float]
    asking: float = Field(gt=0)
    risk_weight: float = Field(ge=0)


class Guide(_Model):
    """The whole guide. Thresholds are probabilities; `unlisted` is the prior of "none of these"."""

    title: str
    version: str
    language: str
    options: tuple[str, ...]
    sources: dict[str, GuideSource]
    likelihoods: Estimate
    wrong: float = Field(gt=0, lt=0.5)
    unlisted: float = Field(gt=0, lt=0.5)
    sure: float = Field(gt=0.5, lt=1)
    costs: Costs
    cautions: dict[str, Caution]
    safe: str
    general_order: tuple[str, ...] = Field(min_length=3)
    leave: dict[Leave, str]
    settings: tuple[Left, ...] = ()
    always_retest: tuple[str, ...]
    repairs: dict[str, Repair]
    symptoms: dict[str, Symptom]
    causes: dict[str, Cause]
    checks: dict[str, Check]
