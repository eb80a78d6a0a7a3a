"""Packs, steps and jobs as frozen data. No rules live here; `load` reads them, `machine` moves.

A pack is written for every door; `load.bind` makes a `Plan` of it for one job: `for_each` is
spread out, placeholders are filled, steps whose job conditions don't hold are left out.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

EnergyState = Literal["unknown", "isolated", "locked", "proven-dead", "released", "energised"]
SignalWord = Literal["DANGER", "WARNING", "CAUTION", "NOTICE"]
Who = Literal["lead", "helper", "both"]
# What a step's answer proves to the energy ledger (see energy.py).
Proof = Literal[
    "lock",
    "try-start",
    "tester-before",
    "dead",
    "stored-wait",
    "stored",
    "tester-after",
    "restrained",
    "grounds-on",
    "grounds-off",
    "lock-off",
]
# The packs that are put around others when these are strung together (see plan.py).
FRAMES = ("getting-ready", "isolation", "release", "in-service")
KEBAB = r"^[a-z0-9]+(-[a-z0-9]+)*$"


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)


class PackSource(_Model):
    """Where a pack's facts come from. `kind` says how far it was verified."""

    title: str
    edition: str = ""
    kind: Literal["published", "from-memory", "common-practice"] = "published"
    licence: str = ""
    note: str = ""


class Source(_Model):
    """A place in one of the pack's sources."""

    ref: str
    section: str = ""


class Caution(_Model):
    """A safety message in the words of the open standards (ANSI Z535.4, ISO 3864-2)."""

    word: SignalWord = "WARNING"
    text: str


class Need(_Model):
    """The energy state a step needs before it may be entered."""

    energy: EnergyState


class Sets(_Model):
    """The energy state that a step's confirmation sets: makes the step a gate."""

    energy: EnergyState


class ReadingSpec(_Model):
    """A value to be measured. `plausible` is in `unit`; outside it was probably misheard."""

    name: str = Field(pattern=r"^[a-z0-9.-]+$")
    unit: str
    plausible: tuple[Decimal, Decimal]
    instrument: Literal["required", "optional", "none"] = "optional"


class TagSpec(_Model):
    """A lock's tag number, one to eight digits."""

    name: str = "lock"


class Derived(_Model):
    """A value the tool works out itself: calculator `calc` fed by `with`.

    The values of `with` are "job.supply.nominal", "reading.NAME", "reading.NAME.*" (every
    item of a for_each step) or written quantities ("480 V").
    """

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)
    name: str
    calc: str
    unit: str
    given: dict[str, str] = Field(alias="with")


class Expects(_Model):
    """Exactly one kind of answer.

    confirmation: the phrase that confirms. choice: spoken answer -> "next", "end" or a step id.
    challenge: a gate phrase. wait: "stored-energy" (the job's waiting time, from the moment
    the disconnect was off) or a duration such as "60 s" from entering the step.
    """

    confirmation: str | None = None
    reading: ReadingSpec | None = None
    choice: dict[str, str] | None = None
    tag: TagSpec | None = None
    challenge: Literal["lockout-confirmed", "clear-to-energise"] | None = None
    wait: str | None = None
    derived: Derived | None = None

    @model_validator(mode="after")
    def _one_kind(self) -> Expects:
        given = [name for name in type(self).model_fields if getattr(self, name) is not None]
        if len(given) != 1:
            raise ValueError(
                f"a step expects exactly one kind of answer, found {given or 'none'}; "
                "use one of confirmation, reading, choice, tag, challenge, wait, derived"
            )
        return self

    @property
    def kind(self) -> str:
        """Name of the kind that is set."""
        return next(n for n in type(self).model_fields if getattr(self, n) is not None)


class LimitSpec(_Model):
    """What a value must meet: written bounds in the reading's unit, or a calculator's.

    outside: "stop" (hold here until measured again, corrected or unable), "repeat" (ask again
    at once), "note" (open point, go on). safety: can't be waived by voice, and while it is
    failed or not measured the release gate stays shut.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)
    at_least: Decimal | None = None
    at_most: Decimal | None = None
    calc: str | None = None
    given: dict[str, str] = Field(default_factory=dict, alias="with")
    outside: Literal["stop", "repeat", "note"] = "stop"
    safety: bool = False

    @model_validator(mode="after")
    def _written_or_computed(self) -> LimitSpec:
        written = self.at_least is not None or self.at_most is not None
        if written == (self.calc is not None):
            raise ValueError("limits are either written (at_least, at_most) or computed (calc)")
        return self


class When(_Model):
    """A named comparison, or `all` / `any` / `not` of some. No expressions are evaluated.

    job: dotted path into the job, compared by `is` or `in`. option: a door option that must be
    present. fact: a fact that the job must know. reading: a reading's name, compared by `below`,
    `above` (in the reading's unit) or `verdict`. passed: a reading that was taken and met its
    limits; one not taken has not passed.
    answer: id of a step with a choice, compared by `is` or `in` with what was answered
    last.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)
    job: str | None = None
    is_: Any = Field(None, alias="is")
    in_: tuple[Any, ...] | None = Field(None, alias="in")
    option: str | None = None
    fact: str | None = None
    reading: str | None = None
    answer: str | None = None
    passed: str | None = None
    below: Decimal | None = None
    above: Decimal | None = None
    verdict: Literal["pass", "fail"] | None = None
    all_: tuple[When, ...] | None = Field(None, alias="all")
    any_: tuple[When, ...] | None = Field(None, alias="any")
    not_: When | None = Field(None, alias="not")

    @model_validator(mode="after")
    def _one_kind(self) -> When:
        single = (self.job, self.option, self.fact, self.reading, self.answer, self.passed)
        kinds = (*single, self.all_, self.any_, self.not_)
        if sum(kind is not None for kind in kinds) != 1:
            raise ValueError(
                "a condition has exactly one of job, option, fact, reading, answer, passed, all, "
                "any, not"
            )
        compares = self.job is not None or self.answer is not None
        if compares and self.is_ is None and self.in_ is None:
            raise ValueError("a job or answer condition compares with 'is' or 'in'")
        compared = (self.below, self.above, self.verdict)
        if self.reading is not None and compared == (None, None, None):
            raise ValueError("a reading condition compares with 'below', 'above' or 'verdict'")
        return self


class Step(_Model):
    """One instruction and the answer it expects.

    say: what is spoken, one instruction, the value last, under about 12 seconds. brief: its
    short form. reason: why, for "reason". section: where it belongs, for "go to".
    for_each: "pair", "line-pair", "earth-pair", "conductor", "bonded-part", "energy-source",
    "hazard", "terminal:DEVICE" (conductors and earths of a device in the terminal plan) or
    "shield:DEVICE" (its shields, none is no fault), "carried-point" (open points that earlier jobs
    at the door left, none is no fault); the step is repeated for each, with {item}, {conductor},
    {terminal}, {torque}, {core}, {cable}, {earthed_at}, {restraint}, {since}.
    mark: what happens on a count of three once everybody addressed has said "all clear"; the
    step's answer is taken only after the mark. helper: the helper's part of a step for both.
    affirm: the choice is read back and affirmed, as it is at every mark; not so where `counted`
    names the later step whose count, read back itself, passes or fails this try.
    keeps_open: the answer of a choice that makes the step an open point.
    crew: how many people the step takes.
    """

    id: str
    section: str
    say: str
    expects: Expects
    brief: str = ""
    caution: Caution | None = None
    reason: str = ""
    who: Who = "lead"
    needs: Need | None = None
    limits: LimitSpec | None = None
    sets: Sets | None = None
    proves: Proof | None = None
    when: When | None = None
    source: Source | None = None
    for_each: str | None = None
    affirm: bool = False
    counted: str = ""
    keeps_open: str = ""
    crew: int = Field(1, ge=1, le=2)
    mark: str = ""
    helper: str = ""
    # Filled by `bind`: the base id and item of a spread-out step; `pack`: the pack it is from.
    base: str = ""
    item: str = ""
    pack: str = ""

    @field_validator("id")
    @classmethod
    def _kebab(cls, value: str) -> str:
        import re

        if not all(re.match(KEBAB, part) for part in value.split(".")):
            raise ValueError(f"id '{value}' must be kebab-case, for example 'prove-dead'")
        return value

    @property
    def gate(self) -> bool:
        """True if the answer changes the energy ledger, so it is read back and affirmed."""
        return self.sets is not None or self.proves is not None

    @property
    def judged_by_choice(self) -> bool:
        """True if one of several answers passes a test by itself, so it is affirmed as well."""
        several = len(self.expects.choice or ()) > 1
        return several and not self.counted and (self.affirm or bool(self.mark))


class Beside(_Model):
    """How a reading is set beside that of the door's last visit.

    by: calculator with the inputs `now` and `last` that bounds a usual change; unusual: what the
    trade makes of a change beyond it, spoken. fact: the fact of the job's sheet whose place the
    reading on record takes; the steps tell it, so it isn't told again. left: a reading of the last
    visit that counts before it (the value as the door was left). otherwise: the fact where neither
    record nor sheet has one.
    """

    by: str = ""
    unusual: str = ""
    fact: str = ""
    left: str = ""
    otherwise: str = ""


class Part(_Model):
    """A pack as a part of a strung plan. minutes: what it takes at one door, by our estimate."""

    name: str
    title: str
    version: str
    minutes: int = 0


class Pack(_Model):
    """A procedure for every door.

    found: "in-service" for work on a closed, live panel that puts no hands inside: its way from
    unknown to energised is the warning and `clear to energise`, without an isolation before.
    at_door: its work needs barriers, ladder and protective gear, so getting ready comes first.
    takes: readings of earlier packs that its sums use, with their units. retakes: readings of its
    own that an earlier pack of the plan may have taken already; the later value holds. beside:
    readings that are set beside those of earlier visits; a plan with any begins by telling what
    these left. crew: how many people it takes. parts: the packs that a strung pack is made of.
    """

    name: str
    title: str
    version: str
    language: str
    energy: tuple[EnergyState, ...]
    sources: dict[str, PackSource]
    steps: tuple[Step, ...]
    found: Literal["unknown", "in-service"] = "unknown"
    at_door: bool = True
    minutes: int = 0
    takes: dict[str, str] = Field(default_factory=dict)
    retakes: tuple[str, ...] = ()
    beside: dict[str, Beside] = Field(default_factory=dict)
    crew: int = 1
    parts: tuple[Part, ...] = ()

    @property
    def framed(self) -> bool:
        """True if it moves the ledger nowhere itself: isolation and release are put around it."""
        return not any(step.gate for step in self.steps)


# --- the job -----------------------------------------------------------------------------------


class Supply(_Model):
    """The mains at the panel. `nominal` is line to line, for single-phase line to neutral."""

    system: Literal["three-phase", "three-phase-neutral", "single-phase", "two-phase-lines"]
    nominal: str  # "480 V"
    frequency: str = "60 Hz"


class StoredEnergy(_Model):
    """What stays charged after switching off. `wait` is the maker's own figure on the label."""

    present: bool = True
    wait: str = "5 min"


class Hazard(_Model):
    """A source of energy that isn't electric: it is held, blocked or let go, and that is proven.

    name: as spoken ("raised curtain"). restraint: how it is held ("prop it with the two posts").
    """

    name: str
    kind: Literal["gravity", "spring", "counterweight", "pneumatic", "hydraulic", "rolling"]
    restraint: str


class Terminal(_Model):
    """One line of the terminal plan, from the maker's own sheet.

    role: what the line is; a spare core is insulated and tied back, or parked in a terminal that
    nothing else uses. core: the core as the sheet names it (colour, number). earthed_at: where a
    shield is earthed. shared: the terminal takes further lines that say so too (a common).
    """

    device: str
    conductor: str
    terminal: str = ""  # "-X1:3" in the manner of IEC 81346; "" where nothing is clamped
    role: Literal["conductor", "earth", "shield", "spare"] = "conductor"
    voltage_class: Literal["mains", "motor", "safety", "control", ""] = ""
    torque: str = ""  # "0.6 N.m", from the maker's sheet
    core: str = ""
    cable: str = ""
    earthed_at: Literal["panel", "device", "both", "none", ""] = ""
    shared: bool = False

    @model_validator(mode="after")
    def _whole(self) -> Terminal:
        if self.role in ("conductor", "earth") and not self.terminal:
            raise ValueError(f"a line of role {self.role} needs a terminal, for example '-X1:3'")
        if self.role == "conductor" and not self.voltage_class:
            raise ValueError("a conductor needs a voltage_class: mains, motor, safety or control")
        if self.role == "shield" and not (self.cable and self.earthed_at):
            raise ValueError("a shield needs its cable and earthed_at: panel, device, both or none")
        if self.role != "shield" and self.earthed_at:
            raise ValueError("earthed_at is for a shield: give the line role: shield")
        return self


class Indicator(_Model):
    """A light of the panel, as the maker prints it; the user enters it from the maker's sheet.

    label: the print beside the light ("IN 3"). device: what it belongs to, named as in the
    terminal plan ("safety-edge"). lit: what the light says while it is on: the device is
    "acting" (pressed, blocked, called) or "clear" (at rest and healthy).
    """

    label: str
    device: str
    lit: Literal["acting", "clear"]


class Instrument(_Model):
    """A meter or tool with its calibration date (ISO 8601)."""

    id: str
    kind: str
    calibration_due: str = ""


class PastVisit(_Model):
    """An earlier job at the same door. on: the day it began, ISO 8601."""

    job: str
    on: str
    title: str = ""


class PastReading(_Model):
    """What a reading was at an earlier job. value: as it was said, None with a `special`."""

    job: str
    on: str
    value: Decimal | None = None
    unit: str = "one"
    special: str = ""
    verdict: str = "none"
    at_least: Decimal | None = None
    at_most: Decimal | None = None
    limit_unit: str = ""


class CarriedPoint(_Model):
    """An open point that an earlier job left. on: the day it was opened; reason: as dictated."""

    job: str
    on: str
    step: str
    cause: str
    label: str
    reason: str = ""

    def told(self, *, reason: bool = False) -> str:
        """The point in words, with or without what somebody said of it."""
        causes = {"unable": "not done", "failed": "outside its limits", "misplaced": "misplaced"}
        cause = causes.get(self.cause, "")
        said = f": {self.reason}" if reason and self.reason else ""
        return f"{self.label}{', ' if cause else ''}{cause}{said}."


class History(_Model):
    """What the record has of a door before a job, oldest first."""

    visits: tuple[PastVisit, ...] = ()
    readings: dict[str, tuple[PastReading, ...]] = Field(default_factory=dict)
    points: tuple[CarriedPoint, ...] = ()


class Job(_Model):
    """One door's job. Everything a maker prints on a label or sheet is data in here."""

    job: str
    site: str
    door: str
    door_type: Literal["high-speed-roll-up", "sectional", "rolling-shutter", "sliding-gate"]
    supply: Supply
    options: tuple[str, ...] = ()
    code_set: Literal["american", "metric"] = "american"
    stored_energy: StoredEnergy = StoredEnergy()
    control_voltage: str = "24 V"
    # What sheets and labels say about door, motor and traffic: "door-height": "4.2 m".
    facts: dict[str, str] = Field(default_factory=dict)
    earth_conductor: dict[str, str] = Field(default_factory=dict)  # length, section, lead_null
    energy_sources: tuple[str, ...] = ("mains disconnect",)
    also_dead: tuple[str, ...] = ()  # points of second sources: "control feed to PE"
    hazards: tuple[Hazard, ...] = ()
    bonded_parts: tuple[str, ...] = ("panel door", "mounting plate")
    re_prove: str = "30 min"
    people: tuple[str, ...] = ("lead",)
    instruments: tuple[Instrument, ...] = ()
    terminals: tuple[Terminal, ...] = ()
    indicators: tuple[Indicator, ...] = ()
    packs: tuple[str, ...] = ("power-entry",)
    listening: Literal["open", "attention-word", "push-to-talk"] = "open"
    keep_clips: bool = False
    # From the record, not from the sheet; None where no pack of the job asks for it.
    history: History | None = Field(None, exclude=True)


class Plan(_Model):
    """A pack made ready for one job; `steps` are in order, ids unique."""

    pack: Pack
    job: Job
    steps: tuple[Step, ...]

    def index(self, step_id: str) -> int:
        """Place of a step; KeyError if the plan has no such step."""
        for place, step in enumerate(self.steps):
            if step.id == step_id:
                return place
        raise KeyError(step_id)

    def step(self, step_id: str) -> Step:
        """The step of an id."""
        return self.steps[self.index(step_id)]
