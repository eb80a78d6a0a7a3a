"""Words to an input, by the phrases accepted now.

No path leads from doubt to a yes: what has two readings, or a close rival that means something
else, is `NotUnderstood`, and the run stays where it was.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any

from assistant.dialogue.grammar import Phrase, accepted, correctable, current, universal_phrases
from assistant.dialogue.numbers import (
    SpokenNumber,
    all_unit_words,
    digit_words,
    lost_point,
    parse_digits,
    parse_value,
    speak_digits,
    speak_value,
    spell,
    unit_words,
)
from assistant.dialogue.phrases import template, words_of
from assistant.procedure import inputs
from assistant.procedure.inputs import Input, NotUnderstood
from assistant.procedure.model import Plan, Step
from assistant.procedure.run import Run
from assistant.quantity import Quantity, same_dimension, unit
from assistant.speech.recogniser import Transcript

# Taken even with a close rival: they change nothing, or only towards the safe side.
_HARMLESS = frozenset(
    {
        *("say-again", "read-back", "where-are-we", "reason", "limits", "call-helper"),
        *("brief", "full", "slower", "faster", "louder", "quieter"),
        *("stop-work", "emergency", "stand-by"),
    }
)


def interpret(transcript: Transcript, plan: Plan, run: Run) -> Input:
    """The input that was heard.

    Parameters
    ----------
    transcript : Transcript
        What the recogniser heard. Its `template` is not trusted: the state may have changed
        since it listened.
    plan, run
        Where the job stands.

    Returns
    -------
    Input
        `NotUnderstood` unless the words, and every close rival of theirs, mean one thing.
    """
    if not transcript.text.strip():
        return _all_mean(transcript, plan, run)
    found = _readings(transcript.text, plan, run)
    if len(found) == 1 and _harmless(found[0], plan, run):
        return found[0]
    rivals: list[Input] = list(found)
    for other in transcript.alternatives:
        rivals += _readings(other, plan, run)
    # Words that can be two numbers are asked about all the same, and no AFFIRM gains by this.
    if len(found) == 1 and {each.kind for each in rivals} in ({"reading"}, {"correction"}):
        possible = [each for each in rivals if not _impossible(each, plan, run)]
        found, rivals = (possible[:1], possible) if possible else (found, rivals)
    return _only(found, rivals, transcript.text, plan, run)


def _impossible(what: Input, plan: Plan, run: Run) -> bool:
    """True for a value outside what the step can mean: 4820 V is no rival of 482 V."""
    reading = what.reading if isinstance(what, inputs.Correction) else what
    step = _answered(what, plan, run)
    if not isinstance(reading, inputs.Reading) or reading.value is None or run.sum or not step:
        return False
    spec = step.expects.reading
    if spec is None or not same_dimension(reading.unit or spec.unit, spec.unit):
        return False
    low, high = spec.plausible
    return not low <= Quantity(reading.value, reading.unit or spec.unit).to(spec.unit).value <= high


def _answered(what: Input, plan: Plan, run: Run) -> Step | None:
    """The step whose answer it is, or whose value it corrects."""
    if isinstance(what, inputs.Correction):
        return correctable(plan, run)
    return plan.step(run.pending.step) if run.pending else current(plan, run)


def _all_mean(transcript: Transcript, plan: Plan, run: Run) -> Input:
    """What the engine couldn't tell apart ("affirm", "affirmative"), if it all means one thing."""
    rivals = [_readings(each, plan, run) for each in transcript.alternatives]
    every = [what for readings in rivals for what in readings]
    if rivals and all(rivals) and len({_meaning(what, plan, run) for what in every}) == 1:
        return every[0]
    return NotUnderstood(why=transcript.rejected or "unsure")


def interpret_text(text: str, plan: Plan, run: Run) -> Input:
    """The input of a typed line, a touch or a script: figures are read as digit words."""
    found = _readings(text, plan, run)
    return _only(found, found, text, plan, run)


def _only(found: list[Input], rivals: list[Input], text: str, plan: Plan, run: Run) -> Input:
    if not found:
        if _without_point(text, plan, run):
            return NotUnderstood(why="no-point")
        return NotUnderstood(why="not here" if _elsewhere(text) else "unsure")
    distinct: dict[object, Input] = {}
    for each in rivals:
        distinct.setdefault(_meaning(each, plan, run), each)
    if len(distinct) == 1:
        return found[0]
    words = tuple(dict.fromkeys(_in_words(each, plan, run) for each in distinct.values()))
    return NotUnderstood(why="ambiguous", candidates=words)


def _harmless(what: Input, plan: Plan, run: Run) -> bool:
    if isinstance(what, inputs.Command):
        return what.name in _HARMLESS
    if isinstance(what, inputs.PowerOn):  # the safe side, but where it is the step's own answer
        step = current(plan, run)
        return not (step and step.sets and step.sets.energy == "energised")
    return isinstance(what, inputs.Negative | inputs.Note | inputs.LockOff)


def _without_point(text: str, plan: Plan, run: Run) -> bool:
    """True if it would be a value if its digits didn't begin with a zero."""
    forms = (template(phrase.template) for phrase in accepted(plan, run))
    values = (form.fills(words_of(text)) for form in forms if form.slot == "value")
    return any(rest and lost_point(rest) for rest in values)


def _elsewhere(text: str) -> bool:
    """True if the words are a phrase that is accepted in another state."""
    words = words_of(text)
    return any(_fill(phrase, words, text, {}) for phrase in universal_phrases())


# --- from words to inputs ------------------------------------------------------------------------


def _readings(text: str, plan: Plan, run: Run) -> list[Input]:
    return meanings(text, accepted(plan, run), _units(plan, run))


def meanings(text: str, phrases: Sequence[Phrase], units: dict[str, str]) -> list[Input]:
    """Every input that the words can be: of the first kind of phrase that they fit."""
    words = words_of(text)
    # A literal is surer than a number, and a number than "anything at all".
    for slots in ((None,), ("value", "digits"), ("free",)):
        found: list[Input] = []
        for phrase in phrases:
            if template(phrase.template).slot in slots:
                found += _fill(phrase, words, text, units)
        if found:
            return found
    return []


def _units(plan: Plan, run: Run) -> dict[str, str]:
    """Unit forms: every unit is understood, so that a wrong one can be named; the step's win."""
    table = dict(all_unit_words())
    if run.sum:
        asked = run.sum.asked()
        return {**table, **(unit_words(asked.unit) if asked and asked.unit else {})}
    step = plan.step(run.pending.step) if run.pending else current(plan, run)
    for each in (correctable(plan, run), step):
        if each and each.expects.reading:
            table |= unit_words(each.expects.reading.unit)
    return table


def _fill(phrase: Phrase, words: Sequence[str], text: str, units: dict[str, str]) -> list[Input]:
    """The inputs that a phrase makes of the words; none if they don't fit, several if unclear."""
    parts = template(phrase.template)
    rest = parts.fills(words)
    if rest is None:
        return []
    fields = dict(phrase.fields)
    if parts.slot is None:
        if phrase.kind == "reading":
            fields["said"] = " ".join(words)
        return [_BUILD[phrase.kind](fields)]
    if parts.slot == "free":
        fields[{"unable": "reason", "note": "text"}[phrase.kind]] = _as_typed(text, parts.fixed)
        return [_BUILD[phrase.kind](fields)]
    if parts.slot == "digits":
        digits = parse_digits(rest, parts.count)
        if digits is None:
            return []
        if phrase.kind == "correction":
            return [inputs.Correction(tag=inputs.Tag(digits=digits))]
        if phrase.kind == "landed":
            return [inputs.Landed(point=digits.lstrip("0") or "0", **fields)]
        return [_BUILD[phrase.kind]({**fields, "digits": digits})]
    values = [_reading(number) for number in parse_value(rest, units or None)]
    if phrase.kind == "correction":
        return [inputs.Correction(reading=value) for value in values]
    return list(values)


def _as_typed(text: str, fixed: tuple[str, ...]) -> str:
    """What follows the fixed words, with its capitals and figures as they came."""
    pattern = r"\W*" + r"\W+".join(re.escape(word) for word in fixed) + r"\W*"
    match = re.match(pattern, text, re.IGNORECASE)
    return text[match.end() :].strip() if match else text.strip()


def _reading(number: SpokenNumber) -> inputs.Reading:
    return inputs.Reading(
        value=number.value,
        unit=number.unit,
        special=number.special,
        said=number.said,
    )


_BUILD: dict[str, Callable[[dict[str, Any]], Input]] = {
    "confirm": lambda fields: inputs.Confirm(**fields),
    "affirm": lambda fields: inputs.Affirm(**fields),
    "negative": lambda fields: inputs.Negative(**fields),
    "reading": lambda fields: inputs.Reading(**fields),
    "tag": lambda fields: inputs.Tag(**fields),
    "choice": lambda fields: inputs.Choice(**fields),
    "challenge": lambda fields: inputs.Challenge(**fields),
    "correction": lambda fields: inputs.Correction(**fields),
    "unable": lambda fields: inputs.Unable(**fields),
    "command": lambda fields: inputs.Command(**fields),
    "calculate": lambda fields: inputs.Calculate(**fields),
    "guide": lambda fields: inputs.Guide(**fields),
    "go-to": lambda fields: inputs.GoTo(**fields),
    "note": lambda fields: inputs.Note(**fields),
    "instrument": lambda fields: inputs.UseInstrument(**fields),
    "lock-off": lambda fields: inputs.LockOff(),
    "power-on": lambda fields: inputs.PowerOn(**fields),
}


# --- when two readings are the same, and how one is named -----------------------------------------


def _meaning(what: Input, plan: Plan, run: Run) -> object:
    """What must be equal for two readings to be one: the quantity, not the words or its unit."""
    if isinstance(what, inputs.Unable | inputs.Note):
        return what.kind
    reading = what.reading if isinstance(what, inputs.Correction) else what
    if not isinstance(reading, inputs.Reading):
        return what
    if reading.value is None:
        return (what.kind, reading.special)
    step = _answered(what, plan, run)
    own = step.expects.reading.unit if step and step.expects.reading else "one"
    if run.sum:
        asked_for = run.sum.asked()
        own = (asked_for.unit if asked_for else "") or "one"
    quantity = Quantity(reading.value, reading.unit or own)
    if same_dimension(quantity.unit, own):
        quantity = quantity.to(own)
    return (what.kind, quantity.value.normalize(), unit(quantity.unit).name)


def _in_words(what: Input, plan: Plan, run: Run) -> str:
    """A candidate as it is offered: values digit by digit, for the ear to tell them apart."""
    if isinstance(what, inputs.Correction):
        inner = what.reading or what.tag
        return f"correction {_in_words(inner, plan, run)}" if inner else "correction"
    if isinstance(what, inputs.Reading):
        if what.value is None:
            return (what.special or "no-reading").replace("-", " ")
        if what.unit is None:
            return speak_digits(what.value)
        return speak_value(what.value, what.unit)
    if isinstance(what, inputs.Tag):
        return f"tag {digit_words(what.digits)}"
    if isinstance(what, inputs.Landed):
        return f"{spell(what.strip)} terminal {digit_words(what.point)}"
    if isinstance(what, inputs.Challenge):  # never the phrase and the digits in one breath
        return digit_words(what.digits) if what.digits else "no challenge"
    return _name(what)


def _name(what: Input) -> str:
    for name in ("word", "answer", "name", "section"):
        found = getattr(what, name, None)
        if isinstance(found, str):
            return found.replace("-", " ")
    return what.kind.replace("-", " ")


def understands(text: str, plan: Plan, run: Run) -> Iterable[Input]:
    """Every reading of a text here; for the check and the rehearsal's explanation."""
    return tuple(_readings(text, plan, run))
