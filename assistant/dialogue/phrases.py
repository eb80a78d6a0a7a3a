"""Words out of text, and templates against words.

One template has three uses: the recogniser is fed with it, what was heard is understood by it,
and it is printed for people. Form of a template: see `speech/recogniser.py`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

from assistant.dialogue.language import language
from assistant.dialogue.numbers import digit_words
from assistant.quantity import UNITS

_SLOT = re.compile(r"\{(value|digits|free)(?::(\d+))?\}")
_NUMBER = re.compile(r"(?<![\w.])([-−+]?)(\d[\d,]*(?:\.\d+)?|\.\d+)(?:\s*/\s*(\d+))?(?![\d/])")
_TOKEN = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)?|\d+")


@dataclass(frozen=True)
class Template:
    """A template taken apart: fixed words, and at most one slot after them.

    slot: "value", "digits", "free" or None. count: exact number of digits, or None.
    """

    fixed: tuple[str, ...]
    slot: str | None = None
    count: int | None = None

    def fills(self, words: Sequence[str]) -> tuple[str, ...] | None:
        """The words in the slot (() for a literal), or None if the words don't fit."""
        head, rest = tuple(words[: len(self.fixed)]), tuple(words[len(self.fixed) :])
        if head != self.fixed or bool(rest) != bool(self.slot):
            return None
        return rest


@lru_cache(maxsize=4096)
def template(text: str) -> Template:
    """A template of its text, in words as they are heard."""
    slot = _SLOT.search(text)
    if slot is None:
        return Template(words_of(text))
    count = int(slot[2]) if slot[2] else None
    return Template(words_of(text[: slot.start()]), slot[1], count)


def spoken(text: str) -> str:
    """A phrase of a pack as it is spoken and heard: "Beam-1 clear" -> "beam one clear"."""
    return " ".join(words_of(text))


@lru_cache(maxsize=4096)
def words_of(text: str) -> tuple[str, ...]:
    """Lower-case words of a text; figures become digit words, symbols after them unit names.

    "24.1 V" -> ("two", "four", "decimal", "one", "volts").
    """
    out: list[str] = []
    at, whole = 0, False
    for number in _NUMBER.finditer(text):
        if number.start() < at:
            continue
        between = text[at : number.start()]
        out += _plain_words(between)
        if number[3] and at and whole and not between.strip():
            out.append(language().texts["numbers"]["and"][0])  # 1 1/2: one and one half
        whole = number[3] is None and number[2].isdecimal()
        out += _figures(number)
        at = number.end()
        symbol = re.match(r"\s*([^\s\d,;!?]+?)(?=[.,;!?]*(?:\s|$))", text[at:])
        name = _symbols().get(symbol[1]) if symbol else None
        if symbol and name:
            out += UNITS[name].plural.split()
            at += symbol.end()
    out += _plain_words(text[at:])
    return tuple(out)


def _figures(number: re.Match[str]) -> list[str]:
    sign = digit_words("-").split() if number[1] in ("-", "−") else []
    figures = number[2].replace(",", "")
    if number[3]:
        return [*sign, *_part(figures, number[3])]
    return [*sign, *digit_words(figures).split()]


def _part(above: str, below: str) -> list[str]:
    """ "3/4" in words; what has no word for its part stays unreadable and is asked again."""
    table = language().texts["numbers"]
    names = [word for word, figure in table["parts"].items() if str(figure) == below]
    top = {str(figure): word for word, figure in table["teens"].items()}
    top |= {digit: forms[0] for digit, forms in table["digits"].items()}
    if not names or above not in top:
        return [above, "/", below]
    return [top[above], *names[0].split("-")]


def _plain_words(text: str) -> list[str]:
    spellings = language().spellings
    out: list[str] = []
    for token in _TOKEN.findall(text.lower()):
        out += digit_words(token).split() if token.isdecimal() else [spellings.get(token, token)]
    return out


@cache
def _symbols() -> dict[str, str]:
    """Written unit -> canonical name; a lower-case form only where it can mean one thing."""
    table = {unit.symbol: unit.name for unit in UNITS.values() if unit.symbol}
    for symbol, name in tuple(table.items()):
        if symbol.endswith("ohm"):
            table |= {symbol.removesuffix("ohm") + sign: name for sign in "Ω\u2126"}  # Greek, ohm
    table |= {"Nm": "newton-metre", "°C": "celsius", "µH": "microhenry"}
    table |= {"°F": "fahrenheit", '"': "inch", "lbf-in": "pound-inch", "lb-in": "pound-inch"}
    lower: dict[str, set[str]] = {}
    for symbol, name in table.items():
        lower.setdefault(symbol.lower(), set()).add(name)
    single = {symbol: names.pop() for symbol, names in lower.items() if len(names) == 1}
    return {**single, **table}
