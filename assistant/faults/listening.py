"""What may be said now, as phrases for a recogniser, and what each phrase means.

Values aren't in it: a check with a reading takes any number in its unit besides. Neither is the
energy state, which nobody says to the search: it comes from the ledger.
"""

from __future__ import annotations

from collections.abc import Mapping

from assistant.dialogue.grammar import SAFETY
from assistant.faults import inputs
from assistant.faults.door import Door
from assistant.faults.machine import Search, chances
from assistant.faults.wording import words

# What holds in every step of a job holds here too, and is no answer to a check: keys of the
# dialogue's language file.
ALWAYS = (
    *SAFETY,
    *("say-again", "stand-by", "note", "call-helper", "take-photo"),
)
# Phase -> keys of `en.yaml`'s phrases that mean something in it.
_IN_CHECK = ("to-steps", "why", "what-else", "correct-last", "found-it", "give-up")
_KEYS: dict[str, tuple[str, ...]] = {
    "symptom": ("to-steps", "dont-know", "what-else", "give-up"),
    "safe": ("to-steps", "safe", "yes", "no", "give-up"),
    "asked": ("dont-know", "unable", *_IN_CHECK),
    "waiting": ("go-there", "something-else", "unable", *_IN_CHECK),
    "named": ("yes", "no", *_IN_CHECK),
    "repair": ("to-steps", "repaired", "go-there", "what-else", "give-up"),
    "retest": ("to-steps", "give-up"),
    "over": (),
}
PLACES = tuple(_KEYS)
PLAIN: dict[str, inputs.Input] = {
    "safe": inputs.Safe(),
    "yes": inputs.Affirm(),
    "no": inputs.Negative(),
    "dont-know": inputs.DontKnow(),
    "unable": inputs.Unable(),
    "go-there": inputs.GoThere(),
    "to-steps": inputs.ToSteps(),
    "something-else": inputs.SomethingElse(),
    "why": inputs.Why(),
    "what-else": inputs.WhatElse(),
    "correct-last": inputs.CorrectLast(),
    "found-it": inputs.FoundIt(),
    "repaired": inputs.Repaired(),
    "give-up": inputs.GiveUp(),
}


def accepted(door: Door, search: Search) -> Mapping[str, inputs.Input]:
    """Phrase -> input of all that may be said as the search stands; a check's answers go first."""
    found: dict[str, inputs.Input] = {}
    if search.phase == "symptom":
        for symptom in door.symptoms():
            seen = inputs.Seen(words=symptom.id)
            found |= dict.fromkeys((symptom.name, *symptom.phrases), seen)
    if search.asked:
        found |= {word: inputs.Choice(answer=word) for word in door.checks[search.asked].spoken}
    for phrase, key in phrases(_place(search)):
        found.setdefault(phrase, PLAIN[key])
    if search.phase in ("check", "named"):
        for cause in chances(door, search):
            if cause in door.guide.causes:
                told = f"I found it, {door.guide.causes[cause].name}"
                found[told] = inputs.FoundIt(cause=cause)
    return found


def phrases(place: str) -> tuple[tuple[str, str], ...]:
    """(phrase, key) of all that holds in a place, one of `PLACES`, whatever is asked there."""
    table = words()["hear"]
    return tuple((str(phrase), key) for key in _KEYS[place] for phrase in table[key])


def _place(search: Search) -> str:
    if search.phase == "check":
        return "asked" if search.asked else "waiting"
    return search.phase
