"""Phrase templates as a grammar over words: the form of what may be said, never its meaning.

One reading of the templates has three uses: the engines constrain their search with it, what
was heard is checked against it, and grammar files for other decoders are written from it.
There is no engine, no sound and no arithmetic on quantities in here.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

from assistant.speech.recogniser import Expected

DIGITS = {
    "zero": "0",
    "oh": "0",
    "one": "1",
    "two": "2",
    "three": "3",
    "tree": "3",
    "four": "4",
    "fower": "4",
    "five": "5",
    "fife": "5",
    "six": "6",
    "seven": "7",
    "eight": "8",
    "nine": "9",
    "niner": "9",
}
TEENS = {
    "ten": "10",
    "eleven": "11",
    "twelve": "12",
    "thirteen": "13",
    "fourteen": "14",
    "fifteen": "15",
    "sixteen": "16",
    "seventeen": "17",
    "eighteen": "18",
    "nineteen": "19",
}
TENS = {
    "twenty": "2",
    "thirty": "3",
    "forty": "4",
    "fifty": "5",
    "sixty": "6",
    "seventy": "7",
    "eighty": "8",
    "ninety": "9",
}
POINTS = ("point", "decimal")
MINUS = ("minus", "negative")
#: Fraction words and the figure below the line.
FRACTIONS = {
    "half": "2",
    "halves": "2",
    "third": "3",
    "thirds": "3",
    "quarter": "4",
    "quarters": "4",
    "eighth": "8",
    "eighths": "8",
    "sixteenth": "16",
    "sixteenths": "16",
}
PREFIXES = ("k", "kilo", "mega", "milli", "micro")
LENGTHS = ("feet", "foot", "inches", "inch")
#: Said instead of a number: above the meter's range, or nothing to read.
METER_WORDS = (("over", "range"), ("open", "line"), ("no", "reading"))
FIGURE_WORDS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
MOST_DIGITS = 8

_SLOT = re.compile(r"\{(value|digits|free)(?::(\d+))?\}")
_WORD = re.compile(r"[^\W\d_](?:[^\W\d_]|['.])*$")


@dataclass(frozen=True)
class Seq:
    """One thing after the other."""

    parts: tuple[Node, ...]


@dataclass(frozen=True)
class Alt:
    """One of several."""

    parts: tuple[Node, ...]


@dataclass(frozen=True)
class Rep:
    """The same thing `least` to `most` times."""

    part: Node
    least: int
    most: int


Node = str | Seq | Alt | Rep


@dataclass(frozen=True)
class Template:
    """A phrase template taken apart.

    text: as written in the pack.
    before, after: the words around the slot; a template without a slot has all in `before`.
    slot: "value", "digits", "free" or None.
    count: exact number of digits, or None.
    """

    text: str
    before: tuple[str, ...]
    slot: str | None
    count: int | None
    after: tuple[str, ...]


def parse(text: str) -> Template:
    """Template of one line of text.

    Raises
    ------
    ValueError
        If the line is empty, has two slots, an unknown slot or a character that no word has.
    """
    slots = list(_SLOT.finditer(text))
    rest = _SLOT.sub(" ", text)
    if "{" in rest or "}" in rest:
        raise ValueError(
            f"template '{text}': the slots are {{value}}, {{digits}}, {{digits:n}} and {{free}}"
        )
    if len(slots) > 1:
        raise ValueError(f"template '{text}' has {len(slots)} slots; at most one is allowed")
    for word in rest.split():
        if not _WORD.match(word) or word != word.lower():
            raise ValueError(f"template '{text}': '{word}' is not a lower-case word")
    if not slots:
        if not rest.split():
            raise ValueError("a template is empty")
        return Template(text, tuple(rest.split()), None, None, ())
    slot = slots[0]
    count = int(slot[2]) if slot[2] else None
    if count is not None and (slot[1] != "digits" or not 1 <= count <= MOST_DIGITS):
        raise ValueError(
            f"template '{text}': only {{digits:n}} takes a number, from 1 to {MOST_DIGITS}"
        )
    after = tuple(text[slot.end() :].split())
    if slot[1] == "free" and after:
        raise ValueError(f"template '{text}': nothing may follow {{free}}")
    return Template(text, tuple(text[: slot.start()].split()), slot[1], count, after)


# --- the shape of numbers ----------------------------------------------------------------------


def _seq(*parts: Node) -> Node:
    return parts[0] if len(parts) == 1 else Seq(parts)


def _alt(parts: Iterable[Node]) -> Node:
    return Alt(tuple(parts))


def _opt(part: Node) -> Node:
    return Rep(part, 0, 1)


_DIGIT = _alt(DIGITS)
_ONE_TO_NINE = _alt(w for w, figure in DIGITS.items() if figure != "0")
_TWO = _alt([_alt(TEENS), _seq(_alt(TENS), _opt(_ONE_TO_NINE))])
_BELOW_THOUSAND = _alt(
    [
        _seq(
            _alt([_ONE_TO_NINE, _TWO, "a"]),
            "hundred",
            _opt(_seq(_opt("and"), _alt([_ONE_TO_NINE, _TWO]))),
        ),
        _TWO,
        _ONE_TO_NINE,
    ]
)
_WHOLE = _alt(
    [
        Rep(_DIGIT, 1, MOST_DIGITS),
        # Trade short forms: four sixty (two), thirteen twenty, twelve oh eight.
        _seq(_ONE_TO_NINE, _TWO),
        _seq(_TWO, _TWO),
        _seq(_TWO, _alt(["oh", "zero"]), _ONE_TO_NINE),
        _BELOW_THOUSAND,
        _seq(
            _alt([_BELOW_THOUSAND, "a"]),
            "thousand",
            _opt(_seq(_opt("and"), _BELOW_THOUSAND)),
        ),
    ]
)
_AFTER_POINT = _seq(_alt(POINTS), _alt([Rep(_DIGIT, 1, 6), _TWO]))


def _number(fractions: Iterable[str]) -> Node:
    fraction = _alt([_seq(_alt([_ONE_TO_NINE, _alt(TEENS), "a"]), _alt(fractions)), "half"])
    mixed = _seq(_WHOLE, _opt("and"), fraction)
    return _alt([_seq(_WHOLE, _opt(_AFTER_POINT)), _AFTER_POINT, mixed, fraction])


_NUMBER = _number(FRACTIONS)
#: Nobody reads an eighth of a degree or volt off a meter, and "eight" sounds much like it.
_METER_NUMBER = _number(word for word, below in FRACTIONS.items() if int(below) < 8)
_INCHES = _seq(_NUMBER, _alt(["inches", "inch"]))
_FEET_AND_INCHES = _seq(
    _WHOLE,
    _alt(["feet", "foot"]),
    _opt("and"),
    _alt([_INCHES, _WHOLE]),
)


def value_node(unit_words: Sequence[str]) -> Node:
    """The grammar of a {value} with or without one of `unit_words` after it."""
    units = [_seq(*u.split()) for u in unit_words]
    unit_or_length = _alt([*units, *LENGTHS])
    # "five k", "five kilo", "five kilo ohms"
    tail = _alt([unit_or_length, _seq(_alt(PREFIXES), _opt(unit_or_length))])
    lengths = not unit_words or not set(LENGTHS).isdisjoint(unit_words)
    number = _NUMBER if lengths else _METER_NUMBER
    return _alt(
        [
            _seq(_opt(_alt(MINUS)), number, _opt(tail)),
            _FEET_AND_INCHES,
            *(_seq(*words) for words in METER_WORDS),
        ]
    )


def template_node(template: Template, unit_words: Sequence[str]) -> Node:
    """The grammar of one template; for {free} only of the words before it.

    Raises
    ------
    ValueError
        If nothing but {free} is in it: there is no grammar of anything at all.
    """
    parts: list[Node] = list(template.before)
    if template.slot == "value":
        parts.append(value_node(unit_words))
    elif template.slot == "digits":
        least, most = (template.count,) * 2 if template.count else (1, MOST_DIGITS)
        parts.append(Rep(_DIGIT, least, most))
    parts.extend(template.after)
    if not parts:
        raise ValueError("a bare {free} has no words")
    return _seq(*parts)


def vocabulary(expected: Expected) -> set[str]:
    """Every word that an engine must know to hear `expected`."""
    return Grammar(expected).vocabulary()


# --- the automaton -----------------------------------------------------------------------------


class Grammar:
    """A deterministic automaton over words for everything that `expected` allows.

    States are small integers; they are made when first reached and kept, so that one grammar
    can serve many utterances. `start` is the first state.
    """

    def __init__(self, expected: Expected):
        self.expected = expected
        self.templates = tuple(parse(text) for text in expected.templates)
        self._edges: list[dict[str, list[int]]] = []
        self._empty: list[list[int]] = []
        self._final: dict[int, tuple[str, bool]] = {}
        first = self._new()
        for template in self.templates:
            if template.slot == "free" and not template.before:
                self._empty[first].append(self._end(template.text, True))
                continue
            last = self._build(template_node(template, expected.unit_words), first)
            self._empty[last].append(self._end(template.text, template.slot == "free"))
        self._ids: dict[frozenset[int], int] = {}
        self._sets: list[frozenset[int]] = []
        self._moves: list[dict[str, int | None]] = []
        self.start = self._state({first})

    def vocabulary(self) -> set[str]:
        """Every word of it."""
        return set().union(*self._edges)

    def step(self, state: int, word: str) -> int | None:
        """The state after `word`, or None where the word is not allowed."""
        moves = self._moves[state]
        if word not in moves:
            targets = {t for s in self._sets[state] for t in self._edges[s].get(word, ())}
            moves[word] = self._state(targets) if targets else None
        return moves[word]

    def words(self, state: int) -> frozenset[str]:
        """The words allowed next."""
        return frozenset(w for s in self._sets[state] for w in self._edges[s])

    def accepted(self, state: int) -> str | None:
        """The first template that is complete here (any {free} left open), or None."""
        ends = [self._final[s] for s in self._sets[state] if s in self._final]
        full = [text for text, free in ends if not free]
        return min(full, key=self.expected.templates.index) if full else None

    def free(self, state: int) -> str | None:
        """The template whose {free} starts here, or None."""
        ends = [self._final[s] for s in self._sets[state] if s in self._final]
        return next((text for text, free in ends if free), None)

    def match(self, words: Sequence[str]) -> str | None:
        """The template that the words fill completely, or None."""
        state: int | None = self.start
        for position, word in enumerate(words):
            if state is None:
                return None
            open_template = self.free(state)
            following = self.step(state, word)
            if open_template and following is None and position < len(words):
                return open_template
            state = following
        return None if state is None else self.accepted(state)

    def _new(self) -> int:
        self._edges.append({})
        self._empty.append([])
        return len(self._edges) - 1

    def _end(self, text: str, free: bool) -> int:
        state = self._new()
        self._final[state] = (text, free)
        return state

    def _build(self, node: Node, at: int) -> int:
        if isinstance(node, str):
            after = self._new()
            self._edges[at].setdefault(node, []).append(after)
            return after
        if isinstance(node, Seq):
            for part in node.parts:
                at = self._build(part, at)
            return at
        after = self._new()
        if isinstance(node, Alt):
            for part in node.parts:
                if isinstance(part, str):  # a state of its own for each would be most of them
                    self._edges[at].setdefault(part, []).append(after)
                else:
                    self._empty[self._build(part, at)].append(after)
            return after
        for done in range(node.most + 1):
            if done >= node.least:
                self._empty[at].append(after)
            if done < node.most:
                at = self._build(node.part, at)
        return after

    def _state(self, seeds: set[int]) -> int:
        closed, todo = set(seeds), list(seeds)
        while todo:
            for target in self._empty[todo.pop()]:
                if target not in closed:
                    closed.add(target)
                    todo.append(target)
        key = frozenset(s for s in closed if self._edges[s] or s in self._final)
        if key not in self._ids:
            self._ids[key] = len(self._sets)
            self._sets.append(key)
            self._moves.append({})
        return self._ids[key]


def to_arpa(grammar: Grammar, other: Sequence[str] = (), other_share: float = 0.0) -> str:
    """The grammar as a bigram model in ARPA text, for decoders that want one.

    Pairs of words that never follow each other in the grammar are as good as forbidden; but
    pairs are all it knows, so what is heard must still be checked with `Grammar.match`.

    Parameters
    ----------
    grammar : Grammar
        What may be said; any {free} is left out.
    other : sequence of str
        Units of other speech (phones as words), in any order, apart from the grammar.
    other_share : float
        Probability that other speech is heard. [1]
    """
    after = _followers(grammar)
    pairs = []
    for word, followers in after.items():
        share = 1.0 - other_share if word == "<s>" else 1.0
        pairs += [(word, f, share / len(followers)) for f in sorted(followers)]
    if other:
        pairs += [("<s>", unit, other_share / len(other)) for unit in other]
        for unit in other:
            pairs += [(unit, f, 0.8 / len(other)) for f in other] + [(unit, "</s>", 0.2)]
    words = dict.fromkeys(["<s>", "</s>", *sorted(after), *other])
    order = {word: number for number, word in enumerate(words)}
    pairs.sort(key=lambda pair: (order[pair[0]], order[pair[1]]))
    lines = ["\\data\\", f"ngram 1={len(words)}", f"ngram 2={len(pairs)}", "", "\\1-grams:"]
    lines += [f"{-99 if word == '<s>' else -6:.1f} {word} -6.0" for word in words]
    lines += ["", "\\2-grams:", *(f"{math.log10(p):.4f} {a} {b}" for a, b, p in pairs)]
    return "\n".join([*lines, "", "\\end\\", ""])


def _followers(grammar: Grammar) -> dict[str, set[str]]:
    """Every word (and <s>) -> the words that may follow it (and </s>)."""
    after: dict[str, set[str]] = {}
    todo = [(grammar.start, "<s>")]
    seen = set(todo)
    while todo:
        state, word = todo.pop()
        followers = after.setdefault(word, set())
        if grammar.accepted(state):
            followers.add("</s>")
        for following in grammar.words(state):
            followers.add(following)
            target = grammar.step(state, following)
            if target is not None and (target, following) not in seen:
                seen.add((target, following))
                todo.append((target, following))
    # A word before a {free} leads nowhere here.
    return {word: followers or {"</s>"} for word, followers in after.items()}


@lru_cache(maxsize=8)
def _slot_grammar(slot: str, unit_words: tuple[str, ...]) -> Grammar:
    return Grammar(Expected((slot,), unit_words))


def is_value(words: Sequence[str], unit_words: Sequence[str] = ()) -> bool:
    """True if the words have the form of a {value}."""
    return _slot_grammar("{value}", tuple(unit_words)).match(words) is not None


def is_digits(words: Sequence[str], count: int | None = None) -> bool:
    """True if the words are one to eight spoken digits (or exactly `count`)."""
    slot = f"{{digits:{count}}}" if count else "{digits}"
    return _slot_grammar(slot, ()).match(words) is not None


# --- one spelling for the same thing -----------------------------------------------------------


def canonical(text: str) -> str:
    """Text with every number in figures, so that two ways to say a number compare equal.

    "four sixty volts", "four six zero volts" and "460 volts" all give "460 volts". It is for
    comparing transcripts; what a value means to a step is decided elsewhere.

    Examples
    --------
    >>> canonical("correction one and a half inches")
    'correction 1 1/2 inches'
    >>> canonical("minus two decimal oh five")
    '-2.05'
    """
    text = re.sub(r"(?<=\d),(?=\d{3}\b)", "", text.lower())
    text = re.sub(r"(?<=\d)\.(?=\d)", " point ", text)
    text = re.sub(r"(?<!\w)\.(?=\d)", " point ", text)
    words = re.findall(r"\d|[^\W\d_]+(?:'[^\W\d_]+)?", text)
    return " ".join(_render(words))


def _render(words: Sequence[str]) -> Iterator[str]:
    at = 0
    while at < len(words):
        end, shown = _read_number(words, at)
        if end > at:
            yield shown
            at = end
        else:
            yield words[at]
            at += 1


def _read_number(words: Sequence[str], at: int) -> tuple[int, str]:
    """End of the number that starts at `at`, and its figures; the end is `at` if none does."""
    sign, start = "", at
    if words[at] in MINUS:
        sign, at = "-", at + 1
    at, whole = _read_whole(words, at)
    if at < len(words) and words[at] in POINTS:
        end, decimals = _read_groups(words, at + 1)
        if decimals:
            return end, f"{sign}{whole or '0'}.{decimals}"
    end, fraction = _read_fraction(words, at)
    if whole and fraction:
        return end, f"{sign}{whole} {fraction}"
    # "five eighths": the five was taken for a whole number.
    if whole and at < len(words) and words[at] in FRACTIONS:
        return at + 1, f"{sign}{whole}/{FRACTIONS[words[at]]}"
    if fraction:
        return end, sign + fraction
    return (at, sign + whole) if whole else (start, "")


def _read_fraction(words: Sequence[str], at: int) -> tuple[int, str]:
    start = at
    if at < len(words) and words[at] == "and":
        at += 1
    if at < len(words) and words[at] == "half":
        return at + 1, "1/2"
    if at + 1 < len(words) and words[at + 1] in FRACTIONS:
        upper = "1" if words[at] == "a" else (DIGITS | TEENS).get(words[at])
        if upper:
            return at + 2, f"{upper}/{FRACTIONS[words[at + 1]]}"
    return start, ""


def _read_groups(words: Sequence[str], at: int) -> tuple[int, str]:
    """Digits, teens and tens written one after the other: "four sixty two" gives "462"."""
    shown = ""
    while at < len(words):
        word = words[at]
        following = words[at + 1] if at + 1 < len(words) else ""
        if word.isdigit():
            shown += word
        elif word in TENS:
            if DIGITS.get(following, "0") != "0":
                shown += TENS[word] + DIGITS[following]
                at += 1
            else:
                shown += TENS[word] + "0"
        elif word in TEENS:
            shown += TEENS[word]
        elif word in DIGITS:
            if shown and following in FRACTIONS:
                break  # "two three quarters" is two and three quarters
            shown += DIGITS[word]
        else:
            break
        at += 1
    return at, shown


def _read_whole(words: Sequence[str], at: int) -> tuple[int, str]:
    end, shown = _read_groups(words, at)
    if not shown and at + 1 < len(words) and words[at] == "a":
        if words[at + 1] not in ("hundred", "thousand"):
            return at, ""
        end, shown = at + 1, "1"
    if end >= len(words) or words[end] not in ("hundred", "thousand") or not shown:
        return end, shown
    total = group = 0
    value: int | None = int(shown)
    while True:
        if value is not None:
            group += value
            value = None
        word = words[end] if end < len(words) else ""
        if word == "hundred" and group:
            group, end = group * 100, end + 1
        elif word == "thousand" and group:
            total, group, end = total + group * 1000, 0, end + 1
        else:
            break
        skip = end + 1 if end < len(words) and words[end] == "and" else end
        after, more = _read_groups(words, skip)
        # "one hundred and a half", "one hundred and three quarters": no part of the whole
        if more and not (after < len(words) and words[after] in FRACTIONS):
            end, value = after, int(more)
    return end, str(total + group)
