"""How accepted sentences are written down, letter by letter, and which text pieces spell them.

A recogniser that was trained on written text prefers figures ("462.5") and writes capitals and
full stops. This module walks a word grammar through any such spelling: "Four, six two." and
"462" both step through the words four, six, two. It knows letters and pieces, no model.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

import numpy as np

from assistant.speech.templates import DIGITS, FIGURE_WORDS, FRACTIONS, Grammar

#: Other spellings of a word. Single letters are how meters and people write units; the others
#: sound exactly like the word, and only the grammar tells them apart.
_SPELLINGS: dict[str, tuple[str, ...]] = {
    "oh": ("o",),
    "two": ("to", "too"),
    "four": ("for",),
    "eight": ("ate",),
    "one": ("won",),
    "tree": ("three",),
    "fower": ("four",),
    "fife": ("five",),
    "niner": ("nine or", "niners"),
    "affirm": ("a firm", "affirmed", "at firm", "the firm"),
    "tag": ("tack", "tank", "tagged"),
    "say": ("see",),
    "percent": ("%",),
    "volts": ("v", "volt", "votes", "bolts", "vaults"),
    "millivolts": ("mv",),
    "kilovolts": ("kv",),
    "amps": ("a", "amp"),
    "milliamps": ("ma",),
    "hertz": ("hz",),
    "millimetres": ("mm", "millimeters", "millimeter"),
    "centimetres": ("cm", "centimeters", "centimeter"),
    "metres": ("m", "meters", "meter"),
    "newtons": ("n", "newton", "newton's"),
    "ohms": ("ohm", "homes", "oms", "ums", "ons", "owns"),
    "milliohms": ("milli ohms", "millioms", "milliums", "million ohms"),
    "kilohms": ("kilo ohms", "kiloohms", "kilo-ohms"),
    "megohms": (
        *("meg ohms", "mega ohms", "megaohms", "mega-ohms", "megoms", "mego ohms", "mega oms"),
        *("megums", "megons", "megames", "make ohms", "mig ohms", "mg"),
    ),
    "seconds": ("s",),
    "feet": ("ft",),
    "inches": ("in",),
} | {w: (f"/{f}",) for w, f in FRACTIONS.items() if w in ("half", "quarters", "sixteenths")}
_SPELLINGS["eighths"] = ("/8",)
_END = ".!?"
_ALPHABET = frozenset("abcdefghijklmnopqrstuvwxyz0123456789 .,!?%/'-")


class Place(NamedTuple):
    """Where in a spelling we are.

    state: of the word grammar, all finished words taken.
    partial: letters of the word that is being written.
    mode: "start", "gap" (after a space), "comma", "word", "figure", "dot" (a full stop or a
        decimal point after a figure), "stop" (a full stop after a word), "free".
    figures: True once a figure was written.
    words: the words so far.
    """

    state: int
    partial: str
    mode: str
    figures: bool
    words: tuple[str, ...]


class Pieces:
    """The text pieces of a model that can occur in a spelling, as a tree of letters."""

    def __init__(self, pieces: Iterable[str]):
        """`pieces` are all pieces of the model in the order of their numbers."""
        self.root: dict[str, Any] = {}
        for number, piece in enumerate(pieces):
            if piece.strip() and len(piece) <= 16 and _ALPHABET.issuperset(piece.lower()):
                node = self.root
                for letter in piece.lower():
                    node = node.setdefault(letter, {})
                node.setdefault("", []).append(number)


class Spelling:
    """A grammar walked letter by letter; what was worked out for a place is kept."""

    def __init__(self, grammar: Grammar, pieces: Pieces, common: int):
        """Pieces numbered from `common` upwards are used only where they begin a word."""
        self.grammar = grammar
        self._pieces = pieces
        self._common = common
        #: True if a number can be said.
        self.numbers = any(t.slot in ("value", "digits") for t in grammar.templates)
        self.rare = np.array(sorted(self._rare_pieces()), np.int64)
        self._kept = frozenset(self.rare.tolist())
        self._spelled: dict[int, dict[str, list[str]]] = {}
        self._allowed: dict[tuple[int, str, str], tuple[np.ndarray, list[Place]]] = {}

    def start(self) -> Place:
        """The place before anything is written."""
        return Place(self.grammar.start, "", "start", False, ())

    def allowed(self, place: Place) -> tuple[np.ndarray, list[Place]]:
        """Numbers of the pieces that may come next, and for each the place to `join`."""
        key = (place.state, place.partial, place.mode)
        if key not in self._allowed:
            numbers: list[int] = []
            after: list[Place] = []
            bare = Place(place.state, place.partial, place.mode, False, ())
            self._walk(self._pieces.root, bare, numbers, after)
            self._allowed[key] = (np.array(numbers, np.int64), after)
        return self._allowed[key]

    @staticmethod
    def join(place: Place, following: Place) -> Place:
        """`following`, as `allowed` gave it, with what was written up to `place`."""
        return following._replace(
            figures=place.figures or following.figures,
            words=place.words + following.words,
        )

    def finished(self, place: Place) -> tuple[str, tuple[str, ...]] | None:
        """Template and words if the sentence may end here."""
        if place.mode == "word":
            for word in self._whole_words(place):
                state = self.grammar.step(place.state, word)
                template = None if state is None else self.grammar.accepted(state)
                if template:
                    return template, (*place.words, word)
            return None
        if place.mode in ("figure", "dot", "stop"):
            template = self.grammar.accepted(place.state)
            return (template, place.words) if template else None
        return None

    def free(self, place: Place) -> tuple[str, tuple[str, ...]] | None:
        """Template whose {free} begins after this place and the words before it, or None."""
        if place.mode == "start":
            template = self.grammar.free(place.state)
            return (template, ()) if template else None
        if place.mode == "word":
            for word in self._whole_words(place):
                state = self.grammar.step(place.state, word)
                template = None if state is None else self.grammar.free(state)
                if template:
                    return template, (*place.words, word)
        return None

    def _rare_pieces(self) -> set[int]:
        found: set[int] = set()
        words = self.grammar.vocabulary()
        for word in words | {s for w in words for s in _SPELLINGS.get(w, ())}:
            for spelled in (word, " " + word):
                node = self._pieces.root
                for letter in spelled:
                    node = node.get(letter, {})
                    found.update(n for n in node.get("", ()) if n >= self._common)
        return found

    def _walk(
        self, node: dict[str, Any], place: Place, numbers: list[int], after: list[Place]
    ) -> None:
        for number in node.get("", ()):
            if number < self._common or number in self._kept:
                numbers.append(number)
                after.append(place)
        state, in_number = place.state, place.mode in ("gap", "figure")
        for letter, following in node.items():
            if not letter:
                continue
            if in_number and letter.isdigit():  # most pieces are figures
                word = FIGURE_WORDS[int(letter)]
                then = self.grammar.step(state, word)
                if then is not None:
                    further = Place(then, "", "figure", True, (*place.words, word))
                    self._walk(following, further, numbers, after)
                continue
            for step in self._letter(place, letter):
                self._walk(following, step, numbers, after)

    def _letter(self, place: Place, letter: str) -> list[Place]:
        mode, state, words = place.mode, place.state, place.words
        if mode == "start":
            # A sentence begins with a space, in the piece of its first letter.
            if letter == " " and not place.partial:
                return [Place(state, " ", "gap", False, words)]
            return []
        if mode == "gap" and place.partial == " " and letter == " ":
            return []
        if letter.isdigit():
            if mode == "dot":
                return self._take(place, ("point", FIGURE_WORDS[int(letter)]), "figure")
            if mode == "word" and place.partial == ".":
                return self._take(place, ("point", FIGURE_WORDS[int(letter)]), "figure")
            if not (mode == "word" and place.partial.startswith("/")):
                return []
        if mode == "word" and letter in " ,-" + _END:
            # Some spellings have a gap inside: "a firm".
            inside = place.partial + letter
            longer = [place._replace(partial=inside)] if inside in self._prefixes(state) else []
            return longer + self._after_word(place, letter)
        if mode == "figure":
            if letter in " -":
                return [Place(state, "", "gap", place.figures, words)]
            if letter == ",":
                return [Place(state, "", "comma", place.figures, words)]
            if letter == ".":
                return [Place(state, "", "dot", place.figures, words)]
        if mode == "comma":
            return [Place(state, "", "gap", place.figures, words)] if letter == " " else []
        if mode == "stop" and letter == " ":
            return [Place(state, "", "gap", place.figures, words)]
        if mode in ("dot", "stop"):
            more = letter == "." and self.grammar.accepted(state)
            return [Place(state, "", "stop", place.figures, words)] if more else []
        if mode == "gap" and letter == ".":
            return [Place(state, ".", "word", place.figures, words)]
        if mode == "gap" and letter in " ,-!?":
            return []
        partial = place.partial.lstrip() + letter
        known = self._prefixes(state)
        return [Place(state, partial, "word", place.figures, words)] if partial in known else []

    def _after_word(self, place: Place, letter: str) -> list[Place]:
        found = []
        for word in self._whole_words(place):
            state = self.grammar.step(place.state, word)
            if state is None:
                continue
            words = (*place.words, word)
            if letter in " -":
                found.append(Place(state, "", "gap", place.figures, words))
            elif letter == ",":
                found.append(Place(state, "", "comma", place.figures, words))
            elif letter == "." or self.grammar.accepted(state):
                found.append(Place(state, "", "stop", place.figures, words))
        return found[:1]

    def _take(self, place: Place, words: tuple[str, ...], mode: str) -> list[Place]:
        state: int | None = place.state
        for word in words:
            state = None if state is None else self.grammar.step(state, word)
        if state is None:
            return []
        return [Place(state, "", mode, True, place.words + words)]

    def _whole_words(self, place: Place) -> list[str]:
        return self._prefixes(place.state).get(place.partial, [])

    def _prefixes(self, state: int) -> dict[str, list[str]]:
        """Every beginning of an allowed spelling -> the words it spells in full."""
        if state not in self._spelled:
            table: dict[str, list[str]] = {}
            # Plain spellings first: "for" is the word for before it is a four.
            words = sorted(self.grammar.words(state), key=lambda w: (w in DIGITS, w))
            for plain in (True, False):
                for word in words:
                    for spelled in (word,) if plain else _SPELLINGS.get(word, ()):
                        for end in range(1, len(spelled) + 1):
                            table.setdefault(spelled[:end], [])
                        if word not in table[spelled]:
                            table[spelled].append(word)
            self._spelled[state] = table
        return self._spelled[state]
