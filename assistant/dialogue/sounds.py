"""How alike two phrases sound: a distance between their phones.

Phones that differ in one feature (voicing, place) are nearer than others, because noise and
a cheap microphone take that feature away first.
"""

from __future__ import annotations

import importlib.util
import itertools
import math
import re
from functools import cache, lru_cache
from pathlib import Path

from assistant.dialogue.language import language
from assistant.dialogue.phones import PHONES, lost, swaps

# Phrases nearer than this are refused. The pairs that site practice blocks lie below it
# (off/on 0.9, fifteen/fifty 1.0, close/clear 1.8, open/over 1.98). Set between open/over and say
# again/shaking (1.995: 4 of 16 rejected, none wrong). Farther isn't safe: yes/wrong at 2.25 was
# heard wrongly twice of 16.
NEAR = 1.99
# A phrase is also refused if it is what is left of another one when the tail of its last word
# is lost: "correct" in "correction". The end of a word is its quietest part.
CUT = 1.0

_ENDINGS = {
    "s": "Z", "es": "AH Z", "ed": "D", "d": "D", "er": "ER", "r": "ER", "ing": "IH NG",
    "less": "L AH S",
}  # fmt: skip
_BEGINNINGS = {"de": "D IY", "re": "R IY", "un": "AH N", "pre": "P R IY"}
_LETTERS = {
    "a": "AE", "b": "B", "c": "K", "d": "D", "e": "EH", "f": "F", "g": "G", "h": "HH", "i": "IH",
    "j": "JH", "k": "K", "l": "L", "m": "M", "n": "N", "o": "AA", "p": "P", "q": "K", "r": "R",
    "s": "S", "t": "T", "u": "AH", "v": "V", "w": "W", "x": "K S", "y": "IY", "z": "Z",
    "ch": "CH", "ck": "K", "ee": "IY", "ng": "NG", "oo": "UW", "ou": "AW", "ph": "F", "qu": "K W",
    "sh": "SH", "th": "TH",
}  # fmt: skip


@lru_cache(maxsize=65536)
def distance(a: tuple[str, ...], b: tuple[str, ...]) -> float:
    """Least cost of turning one row of phones into the other."""
    return _rows(a, b, math.inf)[-1]


def _rows(a: tuple[str, ...], b: tuple[str, ...], most: float) -> list[float]:
    """Cost of turning `a` into each beginning of `b`; all infinite if each is over `most`."""
    dropped = [lost(other) for other in b]
    row = [0.0, *itertools.accumulate(dropped)]
    for phone in a:
        price, costs = lost(phone), swaps(phone)
        last, here = row, row[0] + price
        row = [here]
        for j, other in enumerate(b):
            swapped, gone, come = last[j] + costs[other], last[j + 1] + price, here + dropped[j]
            here = swapped if swapped < gone else gone
            here = come if come < here else here
            row.append(here)
        if min(row) > most:
            return [math.inf] * len(row)
    return row


@lru_cache(maxsize=262144)
def alike(a: str, b: str) -> bool:
    """True if two phrases could be taken for one another."""
    same_count = len(a.split()) == len(b.split())
    return any(
        _near(one, other) or (same_count and _cut(one, other))
        for one in phones(a)
        for other in phones(b)
    )


def _near(a: tuple[str, ...], b: tuple[str, ...]) -> bool:
    if abs(len(a) - len(b)) > 2 * NEAR:  # each phone more is a phone lost
        return False
    return _rows(a, b, NEAR)[-1] < NEAR


def _cut(a: tuple[str, ...], b: tuple[str, ...]) -> bool:
    short, long = sorted((a, b), key=len)
    if len(long) - len(short) > 4:
        return False
    return min(_rows(short, long, CUT)[len(short) - 1 :]) < CUT


@lru_cache(maxsize=4096)
def phones(phrase: str) -> tuple[tuple[str, ...], ...]:
    """The ways a phrase is pronounced; at most two ways a word are looked at."""
    ways: list[tuple[str, ...]] = [()]
    for word in phrase.split():
        ways = [way + each for way in ways for each in pronounced(word)][:8]
    return tuple(ways)


@lru_cache(maxsize=4096)
def pronounced(word: str) -> tuple[tuple[str, ...], ...]:
    """Pronunciations of a word: the language file's, the dictionary's, or made of its parts.

    "interlocks" is inter and locks, "encoder" encode and an ending; failing that, letters as they
    are mostly said.
    """
    return _known(word) or _of_parts(word) or (_by_letters(word),)


def _known(word: str) -> tuple[tuple[str, ...], ...]:
    own = language().pronunciations.get(word)
    if own:
        return (tuple(own.split()),)
    return _dictionary().get(word, ())[:2]


def _of_parts(word: str) -> tuple[tuple[str, ...], ...]:
    for cut in range(len(word) - 1, 0, -1):
        head, tail = word[:cut], word[cut:]
        if found := _with_ending(head, tail):
            return found
        if head in _BEGINNINGS and (found := _known(tail)):
            return tuple((*_BEGINNINGS[head].split(), *way) for way in found)
        if min(len(head), len(tail)) > 2 and (first := _known(head)) and (rest := _known(tail)):
            return ((*first[0], *rest[0]),)
    return ()


def _with_ending(head: str, tail: str) -> tuple[tuple[str, ...], ...]:
    ending, stems = _ENDINGS.get(tail), [head, head + "e"]
    if head.endswith("i") and tail == "es":
        ending, stems = "Z", [head[:-1] + "y"]  # henries, of henry
    for stem in stems if ending else ():
        if found := _known(stem):
            return tuple((*way, *(ending or "").split()) for way in found)
    return ()


def _by_letters(word: str) -> tuple[str, ...]:
    sounds = re.findall("|".join(sorted(_LETTERS, key=len, reverse=True)), word)
    return tuple(phone for each in sounds for phone in _LETTERS[each].split())


@cache
def _dictionary() -> dict[str, tuple[tuple[str, ...], ...]]:
    """The pronouncing dictionary that comes in the PocketSphinx wheel, read as data.

    Without the wheel only the language file's own pronunciations are known.
    """
    spec = importlib.util.find_spec("pocketsphinx")
    if spec is None or not spec.origin:
        return {}
    file = Path(spec.origin).parent / "model" / "en-us" / "cmudict-en-us.dict"
    table: dict[str, tuple[tuple[str, ...], ...]] = {}
    try:
        lines = file.read_text(encoding="utf-8").splitlines()
    except OSError:
        return {}
    for line in lines:
        word, _, rest = line.partition(" ")
        word = re.sub(r"\(\d+\)$", "", word)
        way = tuple(rest.split())
        if PHONES.issuperset(way):
            table[word] = (*table.get(word, ()), way)
    return table
