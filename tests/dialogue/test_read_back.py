"""Numbers whose words could mean another number: what is read back can't."""

from __future__ import annotations

from decimal import Decimal

import pytest

from assistant.dialogue.numbers import parse_value, speak_value
from assistant.dialogue.phrases import words_of


@pytest.mark.parametrize(
    ("said", "value", "read_back"),
    [
        ("eight degrees celsius", "8", "eight degrees"),
        ("minus two degrees celsius", "-2", "minus two degrees"),
        ("a half", "0.5", "zero decimal five"),
        ("one and a half volts", "1.5", "one decimal five volts"),
        ("an eighth", "0.125", "zero decimal one two five"),
        ("one oh five volts", "105", "one zero five volts"),
        ("one hundred and five volts", "105", "one zero five volts"),
        ("point five volts", "0.5", "zero decimal five volts"),
        ("minus point five volts", "-0.5", "minus zero decimal five volts"),
        ("three hundred and eighty volts", "380", "three eight zero volts"),
        ("three eighty volts", "380", "three eight zero volts"),
        ("twenty two point oh volts", "22.0", "two two decimal zero volts"),
        ("two point five oh volts", "2.50", "two decimal five zero volts"),
        ("point oh five amps", "0.05", "zero decimal zero five amps"),
        ("twelve hundred volts", "1200", "one two zero zero volts"),
        ("one volt", "1", "one volt"),
    ],
)
def test_what_is_read_back_has_each_figure_and_the_point(said, value, read_back):
    (number,) = parse_value(words_of(said))
    assert number.value == Decimal(value)
    spoken = speak_value(number.value, number.unit or "one")
    assert spoken == read_back
    (again,) = parse_value(words_of(spoken))
    assert (again.value, again.unit) == (number.value, number.unit)


@pytest.mark.parametrize("said", ["eighth", "eights", "eight of", "one two and", "point", "minus"])
def test_half_a_number_is_none(said):
    assert parse_value(words_of(said)) == ()
