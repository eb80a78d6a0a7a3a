"""Words to a value and a value to words, as technicians say numbers.

The words are tables of the language file; one engine reads them. Each word has a class (one
letter), and the forms in which numbers are said are a table of patterns over those letters:
"four hundred and sixty two" is `dh&Td`. A form gives one reading or several; several that
differ are returned as such, and nobody guesses.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from assistant.dialogue.language import language
from assistant.quantity import UNITS, Quantity, same_dimension, spoken_units, unit

MOST_DIGITS = 10  # of a value; nothing that is measured here is said with more
MOST_TAG_DIGITS = 8
_BASES = ("volt", "ampere", "ohm", "metre", "hertz", "watt")


@dataclass(frozen=True)
class SpokenNumber:
    """A number as it was said.

    value: the digits as said, None with a `special`. unit: canonical name, None if none was
    said. special: what the meter showed instead of a number. said: the words.
    """

    value: Decimal | None
    unit: str | None = None
    special: str | None = None
    said: str = ""


@dataclass(frozen=True)
class _Word:
    """One word of a number: its class letter, its figure or digits, the word itself."""

    letter: str
    figure: int
    word: str


# Letters: d digit 1-9, z zero, t teen, T tens, h hundred, k thousand, m million, a article,
# & and, p point, - minus, D part (half, eighths); its figure is the number below the line.


@cache
def _lexicon() -> dict[str, _Word]:
    table = language().texts["numbers"]
    words: dict[str, _Word] = {}

    def put(forms: Iterable[str], letter: str, figure: int) -> None:
        for form in forms:
            words[form] = _Word(letter, figure, form)

    for digit, forms in table["digits"].items():
        put(forms, "z" if digit == "0" else "d", int(digit))
    for letter, name in (("t", "teens"), ("T", "tens"), ("D", "parts")):
        for form, figure in table[name].items():
            put([form], letter, figure)
    for letter, name, figure in (
        ("h", "hundred", 100),
        ("k", "thousand", 1000),
        ("m", "million", 1_000_000),
        ("a", "article", 1),
        ("&", "and", 0),
        ("p", "point", 0),
        ("-", "minus", 0),
    ):
        put(table[name], letter, figure)
    return words


def _classified(words: Sequence[str]) -> tuple[_Word, ...] | None:
    """The words with their classes, "double four" written out; None if one is no number word."""
    lexicon, double = _lexicon(), language().texts["numbers"]["double"]
    found: list[_Word] = []
    at = 0
    while at < len(words):
        pair = "-".join(words[at : at + 2])
        if pair in lexicon:
            found.append(lexicon[pair])
            at += 2
            continue
        if words[at] in double:
            following = lexicon.get(words[at + 1]) if at + 1 < len(words) else None
            if following is None or following.letter not in "dz":
                return None
            found += [following] * double[words[at]]
            at += 2
            continue
        if words[at] not in lexicon:
            return None
        found.append(lexicon[words[at]])
        at += 1
    return tuple(found)


# --- whole numbers -------------------------------------------------------------------------------


def _natural(words: Sequence[_Word]) -> list[str]:
    total = group = 0
    for word in words:
        if word.letter == "h":
            group *= 100
        elif word.letter in "km":
            total, group = total + group * word.figure, 0
        else:
            group += word.figure
    return [str(total + group)]


def _digits(words: Sequence[_Word]) -> list[str]:
    return ["".join(str(word.figure) for word in words)]


def _grouped(words: Sequence[_Word]) -> list[str]:
    """Digits, teens and tens written one after the other: "four sixty two" gives 462."""
    shown, at = "", 0
    while at < len(words):
        word = words[at]
        following = words[at + 1] if at + 1 < len(words) else None
        if word.letter == "T" and following and following.letter == "d":
            shown += str(word.figure + following.figure)
            at += 1
        else:
            shown += str(word.figure)
        at += 1
    return [shown]


def _pair_and_rest(words: Sequence[_Word]) -> list[str]:
    """ "Twenty four sixty" may be 2460 or 24.60: both readings."""
    first = 2 if words[0].letter == "T" else 1
    whole, rest = _grouped(words[:first])[0], _grouped(words[first:])[0]
    return [whole + rest, f"{whole}.{rest}"]


def _all_but_last(words: Sequence[_Word]) -> list[str]:
    """ "Four sixty two five" may be 4625 or 462.5: both readings."""
    whole, last = _grouped(words[:-1])[0], str(words[-1].figure)
    return [whole + last, f"{whole}.{last}"]


_B = "(?:Td?|t|d)"  # 1 to 99
_U = f"(?:[ad]h(?:&?{_B})?|{_B})"  # 1 to 999
_Form = tuple[re.Pattern[str], Callable[[Sequence[_Word]], list[str]]]
_WHOLE: tuple[_Form, ...] = tuple(
    (re.compile(pattern), reader)
    for pattern, reader in (
        ("z", _digits),
        # four hundred and sixty two; one thousand two hundred; a hundred; two million
        (f"(?=[dtTa])(?:[ad]m|{_U}m)?(?:&?(?:ak|{_U}k))?(?:&?{_U})?", _natural),
        (f"(?:t|Td)h(?:&?{_B})?", _natural),  # twelve hundred, twenty four hundred
        ("d[dz]+", _digits),  # four six two; no leading zero: "oh five" has lost its point
        ("d(?:Td?|t)", _grouped),  # four sixty, four sixty two, one fifteen
        ("(?:t|Td)(?:Td?|t|zd)", _pair_and_rest),  # twenty four sixty, twelve oh eight
        ("(?:t|Td)d", _all_but_last),  # twenty four one, sixty two five
        ("d(?:Td|t)d", _all_but_last),  # four sixty two five
    )
)
_AFTER_POINT: tuple[_Form, ...] = tuple(
    (re.compile(pattern), _grouped)
    for pattern in ("[dz]+", "Td?", "t", "d(?:Td?|t)")  # one, two five; twenty five; two fifty
)


def _letters(words: Sequence[_Word]) -> str:
    return "".join(word.letter for word in words)


def _read(forms: Iterable[_Form], words: Sequence[_Word]) -> list[str]:
    letters = _letters(words)
    found: list[str] = []
    for pattern, reader in forms:
        if letters and pattern.fullmatch(letters):
            found += reader(words)
    return found


def _whole(words: Sequence[_Word]) -> list[str]:
    return [reading for reading in _read(_WHOLE, words) if "." not in reading]


def _parts(words: Sequence[_Word]) -> list[str]:
    """ "Three quarters", "one and a half", "half": exact, smaller than one in the part."""
    letters = _letters(words)
    match = re.fullmatch(r"(?:(.+)&)?([adt]?)D", letters)
    if match is None:
        return []
    below = words[-1].figure
    alone = language().texts["numbers"]["alone"]
    if not match[2] and (match[1] or words[-1].word not in alone):
        return []
    above = words[-2].figure if match[2] else 1
    if above >= below:
        return []
    part = Decimal(above) / Decimal(below)
    if not match[1]:
        return [str(part)]
    return [str(Decimal(whole) + part) for whole in _whole(words[: len(match[1])])]


def _numbers(words: Sequence[_Word]) -> list[str]:
    """Every reading of words that are a number from the first to the last."""
    letters = _letters(words)
    if letters.startswith("-"):
        return [] if "-" in letters[1:] else [f"-{reading}" for reading in _numbers(words[1:])]
    if "p" in letters:
        at = letters.index("p")
        before = _whole(words[:at]) if at else ["0"]
        return [f"{w}.{f}" for w in before for f in _read(_AFTER_POINT, words[at + 1 :])]
    if letters.endswith("D"):
        return _parts(words)
    if len(words) == 1 and words[0].word in language().texts["numbers"]["interjections"]:
        return []
    return _read(_WHOLE, words)


@cache
def _number_of(words: tuple[str, ...]) -> tuple[Decimal, ...]:
    classified = _classified(words)
    if not classified:
        return ()
    found: dict[Decimal, None] = {}
    for reading in _numbers(classified):
        value = Decimal(reading)
        if len(value.as_tuple().digits) <= MOST_DIGITS:
            found.setdefault(value)
    return tuple(found)


# --- units ---------------------------------------------------------------------------------------


@cache
def _prefixed(base: str) -> dict[str, str]:
    """Word of a prefix -> canonical unit: {"k": "kilohm", "mega": "megohm"} for "ohm"."""
    found = {}
    for word, prefix in language().texts["numbers"]["prefixes"].items():
        for name in (prefix + base, prefix[:-1] + base):
            if name in UNITS:
                found[word] = name
    return found


@cache
def all_unit_words() -> Mapping[str, str]:
    """Every spoken form of every unit, prefixes said apart or together -> canonical name."""
    table = dict(spoken_units())
    for base in _BASES:
        forms = [form for form, name in spoken_units().items() if name == base]
        for prefix, name in _prefixed(base).items():
            for form in forms:
                table.setdefault(f"{prefix} {form}", name)
                if len(prefix) > 1:
                    table.setdefault(prefix + form, name)
    return table


@cache
def unit_words(name: str) -> Mapping[str, str]:
    """Spoken forms that a value of a step in unit `name` may end with -> canonical unit.

    "k" alone means thousands of the step's own base unit, and "degrees" the step's own degrees.
    """
    own = unit(name).name
    table = {form: each for form, each in all_unit_words().items() if same_dimension(each, own)}
    for base in _BASES:
        if same_dimension(base, own):
            table |= {word: each for word, each in _prefixed(base).items() if word not in table}
    if own == "fahrenheit":
        table |= {"degree": own, "degrees": own}
    return table


# --- values --------------------------------------------------------------------------------------


def parse_value(
    words: Sequence[str], units: Mapping[str, str] | Iterable[str] | None = None
) -> tuple[SpokenNumber, ...]:
    """Every reading of the words as a value.

    Parameters
    ----------
    words : sequence of str
        Lower-case words without figures, as `phrases.words_of` gives them.
    units : mapping or iterable, optional
        Spoken forms (-> canonical unit) that may follow the number; by default every unit.

    Returns
    -------
    tuple of SpokenNumber
        One: understood. Several: ambiguous, ask. None: not a number.
    """
    words = tuple(words)
    said = " ".join(words)
    special = _specials().get(said)
    if special:
        return (SpokenNumber(None, None, special, said),)
    if units is None:
        table: Mapping[str, str] = all_unit_words()
    elif isinstance(units, Mapping):
        table = units
    else:
        table = {form: all_unit_words()[form] for form in units if form in all_unit_words()}
    found: dict[tuple[Decimal, str | None], SpokenNumber] = {}
    for value in _number_of(words):
        found.setdefault((value, None), SpokenNumber(value, None, None, said))
    for number, name in _with_unit(words, table):
        for value in _number_of(number):
            found.setdefault((value, name), SpokenNumber(value, name, None, said))
    for value, name in _compound(words, table):
        found.setdefault((value, name), SpokenNumber(value, name, None, said))
    return tuple(found.values())


def lost_point(words: Sequence[str]) -> bool:
    """True for digits that begin with a zero, such as "zero six ohms": no value is said so, and
    what is missing is most likely a point in front of them or after the zero."""
    for number in (tuple(words), *(each for each, _ in _with_unit(tuple(words), all_unit_words()))):
        classified = _classified(number)
        if classified and re.fullmatch("z[dz]+", _letters(classified)):
            return True
    return False


@cache
def _specials() -> dict[str, str]:
    forms = language().texts["step"]["specials"]
    return {form: special for special, each in forms.items() for form in each}


def _with_unit(
    words: tuple[str, ...], table: Mapping[str, str]
) -> Iterable[tuple[tuple[str, ...], str]]:
    """The number's words and the unit, for every unit the words may end with."""
    links = [tuple(link.split()) for link in language().texts["numbers"]["link"]]
    for length in (1, 2, 3, 4):
        name = table.get(" ".join(words[-length:])) if len(words) > length else None
        if name is None:
            continue
        number = words[:-length]
        yield number, name
        for link in links:
            lexicon = _lexicon()
            last = number[-len(link) - 1] if len(number) > len(link) else ""
            if number[-len(link) :] == link and last in lexicon and lexicon[last].letter == "D":
                yield number[: -len(link)], name


def _compound(words: tuple[str, ...], table: Mapping[str, str]) -> Iterable[tuple[Decimal, str]]:
    """ "Six feet four and one half inches" as one value in the smaller unit."""
    for row in language().texts["numbers"]["compounds"]:
        large = {form for form, name in table.items() if name == row["large"]}
        small = {form for form, name in table.items() if name == row["small"]}
        if not large or not small:
            continue
        for at in range(1, len(words) - 1):
            if words[at] not in large:
                continue
            rest = words[at + 1 :]
            named = rest[-1] in small
            if not named and not row["bare"]:
                continue
            rest = rest[:-1] if named else rest
            if named and rest and _lexicon().get(rest[0], _Word("", 0, "")).letter == "&":
                rest = rest[1:]
            # "six feet and a half" means half a foot: a lone part needs its unit.
            classified = _classified(rest) if rest else None
            if not classified or (not named and not _whole_first(classified)):
                continue
            ratio = Quantity(Decimal(1), row["large"]).to(row["small"]).value
            for above in _whole_values(words[:at]):
                for below in _number_of(rest):
                    if 0 <= below < ratio:
                        yield _plain(above * ratio + below), row["small"]


def _whole_first(words: Sequence[_Word]) -> bool:
    letters = _letters(words)
    return bool(re.match("[dtTz]", letters)) and not re.fullmatch("[adt]?D", letters)


def _whole_values(words: tuple[str, ...]) -> list[Decimal]:
    classified = _classified(words)
    return [Decimal(reading) for reading in _whole(classified)] if classified else []


def _plain(value: Decimal) -> Decimal:
    """Without the zeros that a conversion adds: 76.500000 -> 76.5."""
    short = value.normalize()
    return short.quantize(Decimal(1)) if short == short.to_integral_value() else short


# --- digits --------------------------------------------------------------------------------------


def parse_digits(words: Sequence[str], count: int | None = None) -> str | None:
    """Digits of a tag or a challenge: "four seven", "forty seven", "double four", "twelve".

    None if the words aren't digits, are more than eight, or not exactly `count`.
    """
    classified = _classified(tuple(words))
    if not classified or not re.fullmatch("(?:Td?|t|d|z)+", _letters(classified)):
        return None
    if len(classified) == 1 and words[0] in language().texts["numbers"]["interjections"]:
        return None
    digits = _grouped(classified)[0]
    if len(digits) > MOST_TAG_DIGITS or (count is not None and len(digits) != count):
        return None
    return digits


# --- speaking ------------------------------------------------------------------------------------


def digit_words(figures: str) -> str:
    """Figures with their sign and point, one word each: "-0.5" -> "minus zero decimal five"."""
    table = language().texts["numbers"]
    signs = {"-": table["minus"][0], ".": table["point"][0]}
    return " ".join(signs.get(each) or table["digits"][each][0] for each in figures)


def speak_digits(value: Decimal) -> str:
    """A number digit by digit: "four six two decimal five"."""
    return digit_words(format(value, "f"))


def cardinal(number: int) -> str:
    """A count from 0 to 99 in plain words, for times and lists; larger ones digit by digit."""
    table = language().texts["numbers"]
    below = {int(digit): forms[0] for digit, forms in table["digits"].items()}
    below |= {figure: word for word, figure in table["teens"].items()}
    tens = {figure: word for word, figure in table["tens"].items()}
    if number in below:
        return str(below[number])
    if 20 <= number <= 99:
        ones = f" {below[number % 10]}" if number % 10 else ""
        return f"{tens[number - number % 10]}{ones}"
    return digit_words(str(number))


def unit_word(name: str, value: Decimal | None = None) -> str:
    """The spoken name of a unit, plural unless `value` is one; "" for bare numbers."""
    found = unit(name)
    return found.singular if value is not None and abs(value) == 1 else found.plural


def speak_value(value: Decimal, name: str = "one") -> str:
    """A value digit by digit with its unit: "two four decimal one volts"."""
    return f"{speak_digits(value)} {unit_word(name, value)}".strip()


def spell(text: str) -> str:
    """A terminal designation in words that can be spoken: "-X1:3" -> "X 1, terminal 3"."""
    strip, _, point = text.strip().lstrip("-=+").partition(":")

    def apart(part: str) -> str:
        return " ".join(re.findall(r"[A-Z](?![a-z])|[A-Za-z][a-z]+|[a-z]|\d+", part))

    if not point:
        return apart(strip)
    return language().text("replies", "terminal", strip=apart(strip), point=apart(point))
