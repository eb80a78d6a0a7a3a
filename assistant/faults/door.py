"""The guide made ready for one door: what applies, words and limits filled in, the record read.

The job's own record comes in as a summary, a mapping that the shell makes from the log:

    {"readings": [{"name": "opening.1", "verdict": "pass", "trend": "rising"}, ...],
     "open_points": [{"step": "edge-left", "cause": "unable"}, ...],
     "settings": {"auto-close": "off", ...},
     "devices": ["wireless-edge", ...],
     "cycles": 120000}

Each key may be missing. What fits a cause's hint multiplies its weight by the hint's factor.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fnmatch import fnmatchcase
from typing import Any

from assistant.calc import calculate
from assistant.errors import GuideError, RangeError, UnitError
from assistant.faults.bayes import UNLISTED, likelihood, posterior
from assistant.faults.load import PLACEHOLDER
from assistant.faults.model import Cause, Check, Guide, Hint, Symptom
from assistant.procedure.load import line_pairs, resolve
from assistant.procedure.model import Job
from assistant.quantity import Quantity, unit


@dataclass(frozen=True)
class DoorCheck:
    """A check at this door.

    say: with the maker's label and the job's values. spoken: answer word -> outcome; empty for a
    reading. at_least, at_most: limits in the reading's unit.
    """

    check: Check
    say: str
    spoken: Mapping[str, str]
    at_least: Decimal | None = None
    at_most: Decimal | None = None
    limits_source: str = ""

    def outcome(self, value: Quantity | None) -> str | None:
        """The outcome of a value, None if it isn't plausible; `value` None means over range.

        Raises
        ------
        UnitError
            If the value is in a unit of another dimension.
        """
        spec = self.check.reading
        if spec is None:
            return None
        names = self.check.outcomes
        if value is None:
            return names[-1] if self.check.bands or "above" in names else names[0]
        number = value.to(unit(spec.unit).name).value
        if not spec.plausible[0] <= number <= spec.plausible[1]:
            return None
        if self.check.bands:
            return names[sum(number >= edge for edge in self.check.bands)]
        if self.at_least is not None and number < self.at_least:
            return "below" if "below" in names else None
        if self.at_most is not None and number > self.at_most:
            return "above" if "above" in names else None
        return "within"


THREE_PHASE = "three-phase"  # an option that the job's supply tells


@dataclass(frozen=True)
class Door:
    """A guide for one job. hints: cause -> what the record says for it."""

    guide: Guide
    job: Job
    options: frozenset[str]
    checks: Mapping[str, DoorCheck]
    hints: Mapping[str, tuple[Hint, ...]] = field(default_factory=dict)

    def symptoms(self) -> tuple[Symptom, ...]:
        """The symptoms that this door can show, in the order of the trade list."""
        found = (s for s in self.guide.symptoms.values() if self.fits(s))
        return tuple(sorted(found, key=lambda each: each.number))

    def fits(self, row: Symptom | Cause | Check, also: frozenset[str] = frozenset()) -> bool:
        """True if it applies here; `also` are options that somebody says the door has."""
        return row.fits(self.job.door_type, self.options | also)

    def prior(self, symptom: Symptom) -> dict[str, float]:
        """Cause -> probability before any answer, "none of these" among them.

        P(c) is the cause's weight at this door times how often it shows as this symptom, brought
        to 1 - `guide.unlisted`. Options that the symptom needs count as being there: whoever
        sees it, sees the device.
        """
        also = frozenset() if self.fits(symptom) else frozenset(symptom.options)
        weights = {}
        for name, share in symptom.causes.items():
            cause = self.guide.causes[name]
            if self.fits(cause, also):
                weights[name] = share * cause.prior(self.job.door_type, self.options | also)
        total = sum(weights.values())
        if not total:
            return {UNLISTED: 1.0}
        scale = (1 - self.guide.unlisted) / total
        known = {name: weight * scale for name, weight in weights.items()}
        return {**known, UNLISTED: self.guide.unlisted}

    def checks_for(self, symptom: Symptom, chances: Mapping[str, float]) -> tuple[Check, ...]:
        """The checks that tell something of these causes here, as the guide lists them."""
        also = frozenset() if self.fits(symptom) else frozenset(symptom.options)
        return tuple(
            check
            for check in self.guide.checks.values()
            if (not check.only or symptom.id in check.only)
            and self.fits(check, also)
            and check.tells.keys() & chances.keys()
        )

    def record_evidence(self) -> list[dict[str, float]]:
        """What the job's record says, each hint as cause -> factor."""
        return [{name: hint.factor} for name, hints in self.hints.items() for hint in hints]

    def chances(
        self,
        symptom: Symptom,
        answers: tuple[tuple[str, str], ...] = (),
        refuted: tuple[str, ...] = (),
    ) -> dict[str, float]:
        """Cause -> probability after (check, outcome) answers; `refuted`: looked at, not it."""
        found = [self.evidence(symptom, check, outcome) for check, outcome in answers]
        # Whoever looked at the part itself is wrong as seldom as with any other answer.
        denied = [{cause: self.guide.wrong} for cause in refuted]
        return posterior(self.prior(symptom), [*self.record_evidence(), *found, *denied])

    def evidence(self, symptom: Symptom, check: str, outcome: str) -> dict[str, float]:
        """Cause -> likelihood of an answer."""
        row, wrong = self.guide.checks[check], self.guide.wrong
        return {
            cause: likelihood(row, cause, outcome, wrong) for cause in (*symptom.causes, UNLISTED)
        }


def for_job(guide: Guide, job: Job, record: Mapping[str, Any] | None = None) -> Door:
    """The guide for one job and its record.

    Raises
    ------
    GuideError
        If a calculator can't work out a limit from the job; names the check.
    """
    record = record or {}
    options = frozenset(job.options) | {
        device for device in record.get("devices", ()) if device in guide.options
    }
    if job.supply.system.startswith("three-phase"):
        options |= {THREE_PHASE}
    hints = {
        name: met
        for name, cause in guide.causes.items()
        if (met := tuple(hint for hint in cause.hints if _met(hint, record)))
    }
    checks = {name: _at_door(check, job) for name, check in guide.checks.items()}
    return Door(guide=guide, job=job, options=options, checks=checks, hints=hints)


def _met(hint: Hint, record: Mapping[str, Any]) -> bool:
    if hint.reading:
        wanted = {"verdict": hint.verdict, "trend": hint.trend}
        return any(
            fnmatchcase(str(row["name"]), hint.reading)
            and all(row.get(key) == value for key, value in wanted.items() if value)
            for row in record.get("readings", ())
        )
    if hint.open_point:
        rows = record.get("open_points", ())
        return any(fnmatchcase(str(row["step"]), hint.open_point) for row in rows)
    if hint.setting:
        return str(record.get("settings", {}).get(hint.setting)) == hint.is_
    if hint.device:
        return hint.device in record.get("devices", ())
    return int(record.get("cycles", 0)) > (hint.cycles_above or 0)


def _at_door(check: Check, job: Job) -> DoorCheck:
    lines = [f"{one} to {two}" for one, two in line_pairs(job.supply)]
    values = {
        "door": job.door,
        "site": job.site,
        "nominal": job.supply.nominal,
        "control_voltage": job.control_voltage,
        "lines": ", ".join(lines),
        "light": f"the panel's light for the {(check.indicator or '').replace('-', ' ')}",
    }
    say = PLACEHOLDER.sub(lambda match: values[match[1]], check.say)
    spoken = {} if check.reading else {answer: answer for answer in check.outcomes}
    if check.indicator:
        light = next((each for each in job.indicators if each.device == check.indicator), None)
        on, off = ("acting", "clear")
        if light:
            say = f"Look at the panel. Is the light marked {light.label} on?"
            on, off = ("acting", "clear") if light.lit == "acting" else ("clear", "acting")
        spoken = {"yes": on, "no": off}
        if "flickers" in check.answers:
            spoken["flickers"] = "flickers"
    low, high, source = check.at_least, check.at_most, check.source.ref
    if check.calc and check.reading:
        try:
            result = calculate(check.calc, resolve(check.given, job))
            name = unit(check.reading.unit).name
            low = result.at_least.to(name).value if result.at_least else None
            high = result.at_most.to(name).value if result.at_most else None
            source = result.source
        except (KeyError, UnitError, RangeError) as problem:
            where = f"calculator '{check.calc}' for job '{job.job}': {problem}"
            raise GuideError("steps/faults", None, where, check.id) from problem
    return DoorCheck(check, say, spoken, low, high, source)
