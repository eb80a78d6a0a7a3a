"""What a guide refers to outside itself: packs, their sections and readings, jobs; words alike."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from fnmatch import fnmatchcase
from itertools import combinations, product

from assistant.dialogue.grammar import universal
from assistant.dialogue.sounds import alike
from assistant.errors import GuideError
from assistant.faults.door import for_job
from assistant.faults.listening import ALWAYS, PLACES, phrases
from assistant.faults.load import retest_refs
from assistant.faults.model import Check, Guide
from assistant.procedure.model import Job, Pack

_ALIKE = "'{}' and '{}' sound alike; choose other words for one of them"
Told = tuple[str, str]  # (id, what is wrong)


def missing(guide: Guide, packs: Mapping[str, Pack]) -> list[Told]:
    """Packs, sections, steps and readings that the guide names and nobody has.

    Parameters
    ----------
    guide : Guide
    packs : mapping
        Pack name -> pack, all that are here.
    """
    faults: list[Told] = []
    lacking: dict[str, list[str]] = {}
    for who, ref in dict.fromkeys(retest_refs(guide)):
        name, _, section = ref.partition(":")
        if name not in packs:
            lacking.setdefault(name, []).append(who)
        elif section and section not in {step.section for step in packs[name].steps}:
            faults.append((who, f"retest '{ref}': pack '{name}' has no section '{section}'"))
    for name, asking in lacking.items():
        told = (asking[0], f"retest '{name}' is no pack; asked for by {', '.join(asking)}")
        faults.append(told)
    ids = {step.id for pack in packs.values() for step in pack.steps}
    for name, repair in guide.repairs.items():
        faults += [(name, f"no pack asks '{s}'") for s in repair.changed if s not in ids]
        if repair.setting and repair.needs != "energised":
            faults.append((name, "is a setting, so it needs the panel energised"))
    answers = {
        step.id: tuple(step.expects.choice or ()) for pack in packs.values() for step in pack.steps
    }
    for row in guide.settings:
        for step_id in row.after:
            if step_id not in answers:
                faults.append((row.setting, f"settings: no pack has a step '{step_id}'"))
            elif row.answer and row.answer not in answers[step_id]:
                faults.append((row.setting, f"settings: '{row.answer}' is no answer of {step_id}"))
    return [*faults, *_unmet_hints(guide, packs)]


def _unmet_hints(guide: Guide, packs: Mapping[str, Pack]) -> Iterator[Told]:
    steps = [step for pack in packs.values() for step in pack.steps]
    names = {spec.name for step in steps if (spec := step.expects.reading or step.expects.derived)}
    ids = {step.id for step in steps}
    for cause in guide.causes.values():
        for hint in cause.hints:
            if hint.reading and not _any(hint.reading, names):
                yield cause.id, f"hint: no pack takes a reading '{hint.reading}'"
            left = {(row.setting, row.is_) for row in guide.settings}
            if hint.setting and (hint.setting, hint.is_ or "") not in left:
                yield cause.id, f"hint: no step leaves '{hint.setting}' at '{hint.is_}'"
            if hint.open_point and not _any(hint.open_point, ids):
                yield cause.id, f"hint: no pack has a step '{hint.open_point}'"


def _any(pattern: str, names: Iterable[str]) -> bool:
    # "opening.*" also stands for a repeated step's "opening", spread out when a pack is bound.
    short = pattern.removesuffix(".*").removesuffix("*")
    return any(fnmatchcase(name, pattern) or name == short for name in names)


def sounding_alike(guide: Guide) -> list[Told]:
    """Phrases that a recogniser may take for each other while a check or question is open."""
    told: list[Told] = []
    for check in guide.checks.values():
        here = _spoken(check)
        pairs = [*combinations(here, 2), *product(here, (phrase for phrase, _ in phrases("asked")))]
        told += [(check.id, _ALIKE.format(*pair)) for pair in pairs if alike(*pair)]
    always = [each.template for each in universal(*ALWAYS) if "{" not in each.template]
    for check in guide.checks.values():
        told += [
            (check.id, _ALIKE.format(*p)) for p in product(_spoken(check), always) if alike(*p)
        ]
    for place in PLACES:
        told += [
            (place, _ALIKE.format(one, other))
            for (one, _), other in product(phrases(place), always)
            if alike(one, other)
        ]
        pairs = [
            (one, other)
            for (one, means), (other, also) in combinations(phrases(place), 2)
            if means != also
        ]
        told += [(place, _ALIKE.format(*pair)) for pair in pairs if alike(*pair)]
    return told


def _spoken(check: Check) -> tuple[str, ...]:
    if check.reading:
        return ()
    return ("yes", "no", "flickers")[: len(check.outcomes)] if check.indicator else check.outcomes


def at_jobs(guide: Guide, jobs: Iterable[Job]) -> list[Told]:
    """What doesn't fit a job: a limit that can't be worked out, an indicator nobody asks for."""
    told: list[Told] = []
    asked = {check.indicator for check in guide.checks.values() if check.indicator}
    for job in jobs:
        try:
            for_job(guide, job)
        except GuideError as problem:
            told.append((problem.step or job.job, problem.problem))
        for light in job.indicators:
            if light.device not in asked and light.device not in guide.options:
                known = ", ".join(sorted(asked))
                told.append((job.job, f"indicator '{light.label}': no check asks for device "
                             f"'{light.device}'; they ask for {known}"))  # fmt: skip
    return told
