"""A search by typed lines: a line to an input, and a whole script through the machine.

Nothing here proves an energy state. What is typed ("energy is proven-dead") is taken as told, so
that a search can be rehearsed at a desk; in a job the state comes from the ledger alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from typing import Any, cast, get_args

from assistant.dialogue.numbers import parse_value
from assistant.dialogue.phrases import words_of
from assistant.errors import UnitError
from assistant.faults import inputs, machine
from assistant.faults.door import Door
from assistant.faults.listening import PLAIN, accepted
from assistant.faults.symptoms import words as stems
from assistant.faults.wording import speak, words
from assistant.procedure.model import EnergyState
from assistant.quantity import quantity


@dataclass(frozen=True)
class Turn:
    """One line, what it was taken for ("" for nothing), and what is said to it."""

    line: str
    kind: str
    replies: tuple[str, ...]


def play(door: Door, lines: Iterable[str], symptom: str = "") -> Iterator[Turn]:
    """A search by lines. A `symptom` that is given is the first; blank lines and # are skipped."""
    search = machine.start()
    if symptom:
        lines = _first(symptom, lines)
    else:
        yield Turn("", "", speak(machine.begin(door, search).effects, door))
    for line in lines:
        said = line.strip()
        if not said or said.startswith("#"):
            continue
        heard = understood(door, search, said)
        if heard is None:
            out = machine.repeat(door, search)
            yield Turn(said, "", (*speak(out.effects, door),))
            continue
        out = machine.advance(door, search, heard)
        search = out.search
        yield Turn(said, heard.kind, speak(out.effects, door))
        if search.phase == "over":
            return


def _first(symptom: str, lines: Iterable[str]) -> Iterator[str]:
    yield symptom
    yield from lines


def understood(door: Door, search: machine.Search, line: str) -> inputs.Input | None:
    """The input that a typed line means here; None if it means nothing, or more than one thing."""
    plain = _plain(line)
    for phrase, meaning in accepted(door, search).items():
        if _plain(phrase) == plain or stems(phrase) == stems(line) != ():
            return meaning
    key, rest = _phrase(line)
    if search.phase == "symptom" and key not in ("what-else", "give-up", "stop-work", "go-ahead"):
        return inputs.Seen(words=line)
    if key == "unable":
        return inputs.Unable(reason=rest)
    if key == "found-it":
        return _found(door, rest)
    if key in ("passed", "failed"):
        ref = next((r for r in search.retests if stems(r) == stems(rest)), rest)
        return inputs.Retested(ref=ref, passed=key == "passed")
    if key == "energy":
        state = rest.replace(" ", "-")
        if state in get_args(EnergyState):
            return inputs.EnergyIs(state=cast(EnergyState, state))
        return None
    if key in ("stop-work", "go-ahead", "say-again"):
        return inputs.Command(name=cast(Any, key))
    if key:
        return PLAIN[key]
    return _reading(line) if search.asked else None


def _reading(line: str) -> inputs.Reading | None:
    with suppress(UnitError):
        value = quantity(line)
        unit = None if value.unit == "one" else value.unit
        return inputs.Reading(value=value.value, unit=unit, said=line)
    found = parse_value(words_of(line))
    if len(found) != 1:
        return None
    return inputs.Reading(
        value=found[0].value, unit=found[0].unit, special=cast(Any, found[0].special), said=line
    )


def _found(door: Door, rest: str) -> inputs.FoundIt | None:
    if not rest:
        return inputs.FoundIt()
    wanted = set(stems(rest))
    fitting = [c.id for c in door.guide.causes.values() if wanted and wanted <= set(stems(c.name))]
    exact = [each for each in fitting if set(stems(door.guide.causes[each].name)) == wanted]
    fitting = exact or fitting
    return inputs.FoundIt(cause=fitting[0]) if len(fitting) == 1 else None


@cache
def _phrases() -> tuple[tuple[str, str], ...]:
    tables = (words()["hear"], words()["typed"])
    return tuple(
        (str(phrase).lower(), str(key))
        for table in tables
        for key in table
        for phrase in table[key]
    )


def _plain(line: str) -> str:
    return " ".join(line.lower().replace(",", " ").strip(" .!?").split())


def _phrase(line: str) -> tuple[str, str]:
    """(key, rest of the line) of a phrase that holds everywhere, or ("", "")."""
    plain = _plain(line)
    for phrase, key in _phrases():
        start, dots, _ = phrase.partition("...")
        if not dots and plain == phrase:
            return key, ""
        if dots and plain.startswith(start) and plain != start.strip():
            return key, plain.removeprefix(start).strip()
    return "", ""
