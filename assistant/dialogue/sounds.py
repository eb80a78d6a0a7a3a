"""How alike two phrases sound: a distance between their phones.

Phones that differ in one feature (voicing, place) are nearer than others, because noise and
a cheap microphone take that feature away first.
"""

from __future__ import annotations

import importlib.util
import re
from functools import cache, lru_cache
from pathlib import Path

from assistant.dialogue.language import language

# Phrases nearer than this are refused. The pairs that site practice blocks lie below it
# (off/on 0.9, fifteen/fifty 1.0, close/clear 1.5, open/over 1.9); the nearest universal phrases
# that are heard in one state lie above it (yes/wrong 2.1, read back/go back 2.5).
NEAR = 2.0
# A phrase is also refused if it is what is left of another one when the tail of its last word
# is lost: "correct" in "correction". The end of a word is its quietest part.
CUT = 1.0

_GROUPS = (
    "P B", "T D", "K G", "F V", "TH DH", "S Z", "SH ZH", "CH JH",  # voicing
)  # fmt: skip
_NEAR = (
    "P T K", "B D G", "M N NG", "F TH S SH", "V DH Z ZH", "T CH", "D JH", "CH SH", "JH ZH",
    "L R W Y", "P B F V", "HH F",
)  # fmt: skip
_VOWELS = frozenset(
    ["AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"]
)
_NEAR_VOWELS = ("AA AO AH AW", "AH EH IH", "IH IY EY", "EH AE EY", "UH UW OW", "AO OW", "ER AH",
                "AY AA", "OY AO")  # fmt: skip


def _table() -> dict[frozenset[str], float]:
    cost: dict[frozenset[str], float] = {}
    for groups, price in ((_GROUPS, 0.4), (_NEAR, 0.6), (_NEAR_VOWELS, 0.3)):
        for group in groups:
            phones = group.split()
            for a in phones:
                for b in phones:
                    cost[frozenset((a, b))] = min(price, cost.get(frozenset((a, b)), 9.0))
    return cost


_COST = _table()


def _swap(a: str, b: str) -> float:
    if a == b:
        return 0.0
    near = _COST.get(frozenset((a, b)))
    if near is not None:
        return near
    both = (a in _VOWELS) + (b in _VOWELS)
    return {2: 0.6, 0: 0.9}.get(both, 1.2)  # a vowel is no consonant


@lru_cache(maxsize=65536)
def distance(a: tuple[str, ...], b: tuple[str, ...]) -> float:
    """Least cost of turning one row of phones into the other."""
    return _rows(a, b)[-1]


def _rows(a: tuple[str, ...], b: tuple[str, ...]) -> list[float]:
    """Cost of turning `a` into each beginning of `b`."""
    row = [float(i) for i in range(len(b) + 1)]
    for i, phone in enumerate(a):
        last, row = row, [float(i + 1)]
        for j, other in enumerate(b):
            row.append(min(last[j] + _swap(phone, other), last[j + 1] + 1, row[j] + 1))
    return row


@lru_cache(maxsize=65536)
def alike(a: str, b: str) -> bool:
    """True if two phrases could be taken for one another."""
    for phones_a in phones(a):
        for phones_b in phones(b):
            if distance(phones_a, phones_b) < NEAR:
                return True
            if len(a.split()) == len(b.split()):
                short, long = sorted((phones_a, phones_b), key=len)
                start = _rows(short, long)[len(short) - 1 :]
                if len(long) - len(short) <= 4 and min(start) < CUT:
                    return True
    return False


@lru_cache(maxsize=4096)
def phones(phrase: str) -> tuple[tuple[str, ...], ...]:
    """The ways a phrase is pronounced; at most two ways a word are looked at."""
    ways: list[tuple[str, ...]] = [()]
    for word in phrase.split():
        ways = [way + each for way in ways for each in pronounced(word)][:8]
    return tuple(ways)


@lru_cache(maxsize=4096)
def pronounced(word: str) -> tuple[tuple[str, ...], ...]:
    """Pronunciations of a word; its letters stand in where no dictionary has it."""
    own = language().pronunciations.get(word)
    if own:
        return (tuple(own.split()),)
    found = _dictionary().get(word)
    if found:
        return found[:2]
    return (tuple(word.upper()),)


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
        table[word] = (*table.get(word, ()), tuple(rest.split()))
    return table
