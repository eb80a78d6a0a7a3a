from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.speech.recogniser import Expected
from assistant.speech.templates import (
    Grammar,
    canonical,
    is_digits,
    is_value,
    parse,
    to_arpa,
    vocabulary,
)

UNITS = ("volts", "newton metres", "megohms", "inches")
WELL_SAID = {
    "four six two decimal five volts": "462.5 volts",
    "four sixty": "460",
    "two oh eight": "208",
    "minus three": "-3",
    "one and a half": "1 1/2",
    "five sixteenths": "5/16",
    "two and three quarters inches": "2 3/4 inches",
    "six feet four inches": "6 feet 4 inches",
    "four hundred and sixty two": "462",
    "twenty four point one": "24.1",
    "point five": "0.5",
    "niner": "9",
    "fower tree fife": "435",
    "thirteen twenty": "1320",
    "twelve oh eight": "1208",
    "a hundred and five": "105",
    "two thousand four hundred": "2400",
    "five k": "5 k",
    "two newton metres": "2 newton metres",
    "half": "1/2",
    "over range": "over range",
    "open line": "open line",
    "no reading": "no reading",
}
NOT_VALUES = (
    "",
    "volts",
    "and",
    "a",
    "point",
    "twenty thirty forty",
    "five five point",
    "five point point two",
    "one two three four five six seven eight nine",
    "four amps",
    "minus",
    "over",
    "no reading volts",
)


@pytest.mark.parametrize(("said", "figures"), WELL_SAID.items())
def test_a_number_in_any_clear_form_is_a_value_and_has_one_spelling(said, figures):
    assert is_value(said.split(), UNITS)
    assert canonical(said) == figures


@pytest.mark.parametrize("said", NOT_VALUES)
def test_what_is_no_number_is_no_value(said):
    assert not is_value(said.split(), UNITS)


def test_figures_and_words_of_one_number_compare_equal():
    assert canonical("correction 1,462.5 Volts") == canonical(
        "correction one four six two decimal five volts"
    )


@given(st.text("0123456789", min_size=1, max_size=7))
def test_digits_said_one_by_one_read_back_as_they_were(figures):
    words = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
    said = [words[int(figure)] for figure in figures]
    assert is_digits(said)
    assert is_digits(said, len(said))
    assert not is_digits(said, len(said) + 1)
    assert canonical(" ".join(said)) == figures


def test_each_kind_of_template_accepts_its_own_sentences_only():
    grammar = Grammar(
        Expected(
            (
                "done",
                "lockout confirmed {digits:2}",
                "tag {digits}",
                "correction {value}",
                "note {free}",
            ),
            ("volts",),
        )
    )
    accepted = {
        "done": "done",
        "lockout confirmed four seven": "lockout confirmed {digits:2}",
        "tag oh niner": "tag {digits}",
        "correction four sixty volts": "correction {value}",
        "note the cover is cracked": "note {free}",
    }
    for said, template in accepted.items():
        assert grammar.match(said.split()) == template
    for said in (
        "lockout confirmed four",
        "lockout confirmed four seven one",
        "lockout confirmed",
        "lockout",
        "tag",
        "four sixty",
        "done done",
        "note",
    ):
        assert grammar.match(said.split()) is None


@pytest.mark.parametrize(
    "text",
    [
        "",
        "Done",
        "{value} {digits}",
        "tag {number}",
        "tag {digits:0}",
        "{value:2}",
        "note {free} end",
        "2 volts",
    ],
)
def test_a_wrong_template_is_refused_with_a_reason(text):
    with pytest.raises(ValueError, match="template"):
        parse(text)


def test_words_of_other_languages_are_words():
    assert parse("시작").before == ("시작",)


def test_vocabulary_names_every_word_an_engine_must_know():
    words = vocabulary(Expected(("tag {digits:1}", "note {free}", "{value}"), ("volts",)))
    assert {"tag", "note", "niner", "hundred", "volts", "sixteenths"} <= words


def test_the_bigram_model_holds_only_pairs_of_the_grammar():
    text = to_arpa(Grammar(Expected(("go ahead", "stop work"))), ["xxaa"], 0.5)
    assert " go ahead" in text
    assert " <s> stop" in text
    assert " <s> xxaa" in text
    assert " go work" not in text


@pytest.mark.parametrize(
    ("said", "units", "is_one"),
    [
        ("three eighths", ("inches", "millimetres"), True),
        ("two and five sixteenths", ("inches",), True),
        ("one eighth", ("degrees",), False),
        ("a eighth degrees", ("degrees",), False),
        ("three sixteenths", ("volts", "millivolts"), False),
        ("eight degrees", ("degrees",), True),
        ("a half", ("volts",), True),
        ("one and three quarters", ("seconds",), True),
    ],
)
def test_eighths_are_of_an_inch_and_of_nothing_that_a_meter_shows(said, units, is_one):
    assert is_value(said.split(), units) is is_one
