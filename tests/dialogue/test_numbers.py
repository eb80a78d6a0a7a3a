"""Number words are read to the value that was meant, or not at all."""

from __future__ import annotations

from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from num2words import num2words
from text_to_num import text2num

from assistant.dialogue.numbers import (
    all_unit_words,
    cardinal,
    digit_words,
    parse_digits,
    parse_value,
    speak_digits,
    speak_value,
    spell,
    unit_words,
)
from assistant.dialogue.phrases import words_of
from assistant.quantity import UNITS, Quantity, same_dimension


def values(text: str, step_unit: str | None = None) -> list[str]:
    units = unit_words(step_unit) if step_unit else None
    return [format(each.value, "f") for each in parse_value(words_of(text), units)]


def test_natural_number_words_of_0_to_2000_give_the_number():
    for number in range(2001):
        said = num2words(number).replace(",", "")
        assert values(said) == [str(number)], said


def test_natural_number_words_without_and_give_the_number():
    for number in range(2001):
        said = num2words(number).replace(",", "").replace(" and ", " ")
        assert values(said) == [str(number)], said


def test_an_independent_reader_of_natural_numbers_agrees():
    for number in range(2001):
        said = num2words(number).replace(",", "").replace("-", " ").replace(" and ", " ")
        assert values(said) == [str(text2num(said, "en"))], said


def test_decimals_to_two_places_give_the_number_as_said():
    for whole in range(0, 700, 7):
        for cents in range(0, 100, 3):
            number = Decimal(f"{whole}.{cents:02d}")
            said = f"{num2words(whole)} point {digit_words(f'{cents:02d}')}"
            assert values(said) == [str(number)], said
            assert values(speak_digits(number)) == [str(number)]


def test_digit_by_digit_gives_the_number():
    for number in range(2001):
        assert values(digit_words(str(number))) == [str(number)]


@pytest.mark.parametrize(
    ("said", "value"),
    [
        ("four six two decimal five", "462.5"),
        ("point five", "0.5"),
        ("oh point five", "0.5"),
        ("zero decimal eight two", "0.82"),
        ("niner", "9"),
        ("fife tree fower", "534"),
        ("four hundred and sixty two", "462"),
        ("four hundred sixty two", "462"),
        ("one thousand two hundred", "1200"),
        ("twelve hundred", "1200"),
        ("twenty four hundred and ten", "2410"),
        ("a hundred", "100"),
        ("a hundred and five", "105"),
        ("four sixty", "460"),
        ("four sixty two", "462"),
        ("two oh eight", "208"),
        ("two zero eight", "208"),
        ("four eighty", "480"),
        ("one fifteen", "115"),
        ("two forty", "240"),
        ("six hundred", "600"),
        ("twenty four point one", "24.1"),
        ("twenty-four point one", "24.1"),
        ("four eighty point five", "480.5"),
        ("one two decimal five zero", "12.50"),
        ("one point twenty five", "1.25"),
        ("one point oh five", "1.05"),
        ("point two fifty", "0.250"),
        ("double four", "44"),
        ("triple two point double zero", "222.00"),
        ("half", "0.5"),
        ("a half", "0.5"),
        ("one and a half", "1.5"),
        ("four and one half", "4.5"),
        ("three quarters", "0.75"),
        ("two and a quarter", "2.25"),
        ("five sixteenths", "0.3125"),
        ("two and three eighths", "2.375"),
        ("eleven sixteenths", "0.6875"),
        ("five sixty fourths", "0.078125"),
        ("one hundred and three quarters", "100.75"),
        ("one hundred and one and a half", "101.5"),
        ("minus three", "-3"),
        ("minus point five", "-0.5"),
        ("minus twenty two", "-22"),
        ("one million", "1000000"),
    ],
)
def test_trade_forms_are_read(said, value):
    assert values(said) == [value]


@pytest.mark.parametrize(
    "said",
    [
        "",
        "volts",
        "a",
        "and",
        "oh",  # said alone it is no number
        "oh five",  # the point was lost: 0.5 or 5?
        "zero zero five",
        "twenty forty",
        "twenty fifteen",
        "fifteen hundred hundred",
        "hundred",
        "hundred hundred",
        "one hundred hundred",
        "one hundred one hundred",
        "one hundred oh five",
        "four point five point six",
        "four point",
        "one hundred point",
        "point",
        "point five hundred",
        "minus",
        "minus minus five",
        "five minus",
        "negative five",  # "negative" refuses a read-back
        "five and",
        "five and six",
        "sixty and two",
        "and five",
        "four hundred and",
        "two hundred four sixty",
        "thousand",
        "two thousand thousand",
        "nine eighths",
        "four quarters",
        "half half",
        "two halves and a half",
        "point five and a half",
        "two and half",
        "one third",
        "eighths",
        "double",
        "double twenty",
        "twenty double",
        "four to two",
        "four for two",
        "one two three four five six seven eight nine one two",
        "five volts volts",
        "volts five",
        "five meg meg",
        "six feet fourteen inches",
        "six feet and a half",
        "six inches four feet",
        "ten four good buddy",
        "affirm",
    ],
)
def test_nonsense_is_refused(said):
    assert parse_value(words_of(said), unit_words("volt")) == ()
    assert parse_value(words_of(said)) == ()


@pytest.mark.parametrize(
    ("said", "readings"),
    [
        ("twenty four sixty", ["2460", "24.60"]),
        ("twelve fifty", ["1250", "12.50"]),
        ("twenty four oh five", ["2405", "24.05"]),
        ("twenty four one", ["241", "24.1"]),
        ("sixty two five", ["625", "62.5"]),
        ("four sixty two five", ["4625", "462.5"]),
        ("one fifteen five", ["1155", "115.5"]),
    ],
)
def test_words_with_two_readings_give_both(said, readings):
    assert values(said) == readings


@pytest.mark.parametrize("ones", range(3, 10))
def test_teens_and_tens_are_never_the_same_value(ones):
    teen, ten = num2words(10 + ones), num2words(10 * ones)
    assert values(teen) == [str(10 + ones)]
    assert values(ten) == [str(10 * ones)]
    assert parse_digits([teen]) == str(10 + ones)
    assert parse_digits([ten]) == str(10 * ones)


@pytest.mark.parametrize(
    ("said", "step_unit", "value", "unit"),
    [
        ("four six two volts", "volt", "462", "volt"),
        ("two hundred millivolts", "volt", "200", "millivolt"),
        ("two hundred milli volts", "volt", "200", "millivolt"),
        ("point four six two kilovolts", "volt", "0.462", "kilovolt"),
        ("five k", "ohm", "5", "kilohm"),
        ("eight point two k ohms", "kilohm", "8.2", "kilohm"),
        ("eight point two kilo ohms", "ohm", "8.2", "kilohm"),
        ("five meg", "megohm", "5", "megohm"),
        ("five mega ohms", "megohm", "5", "megohm"),
        ("five mega", "ohm", "5", "megohm"),
        ("one and a half gig ohms", "megohm", "1.5", "gigohm"),
        ("twenty milli", "ampere", "20", "milliampere"),
        ("half an inch", "millimetre", "0.5", "inch"),
        ("three quarters of an inch", "millimetre", "0.75", "inch"),
        ("six feet four and one half inches", "inch", "76.5", "inch"),
        ("six foot four", "metre", "76", "inch"),
        ("six feet and four inches", "metre", "76", "inch"),
        ("six and a half feet", "metre", "6.5", "foot"),
        ("two minutes thirty seconds", "second", "150", "second"),
        ("two metres ten centimetres", "metre", "210", "centimetre"),
        ("thirty seconds", "second", "30", "second"),
        ("seventy degrees", "fahrenheit", "70", "fahrenheit"),
        ("minus ten degrees", "celsius", "-10", "celsius"),
        ("five newton meters", "newton-metre", "5", "newton-metre"),
        ("forty inch pounds", "newton-metre", "40", "pound-inch"),
        ("two point five percent", "percent", "2.5", "percent"),
        ("fifty hertz", "hertz", "50", "hertz"),
        ("five k", "hertz", "5", "kilohertz"),
    ],
)
def test_units_are_understood_as_said(said, step_unit, value, unit):
    (found,) = parse_value(words_of(said), unit_words(step_unit))
    assert (format(found.value, "f"), found.unit) == (value, unit)


def test_a_unit_that_is_not_expected_is_no_value():
    assert parse_value(words_of("five ohms"), unit_words("volt")) == ()
    assert parse_value(words_of("five volts"), ("ohms", "kilohms")) == ()
    assert parse_value(words_of("five ohms"), ("ohms", "kilohms"))[0].unit == "ohm"


def test_conversions_agree_with_pint():
    ureg = pint.UnitRegistry(non_int_type=Decimal)
    for form, name in all_unit_words().items():
        (found,) = parse_value(("two", "decimal", "five", *form.split()))
        assert found.unit == name
        direct = ureg.Quantity(found.value, UNITS[name].pint)
        for other in UNITS.values():
            if same_dimension(name, other.name):
                ours = Quantity(found.value, name).to(other.name).value
                theirs = direct.to(other.pint).magnitude
                assert abs(ours - theirs) <= abs(theirs) * Decimal("1e-20") + Decimal("1e-20")


@pytest.mark.parametrize(
    ("said", "special"),
    [
        ("over range", "over-range"),
        ("overload", "over-range"),
        ("open line", "open-line"),
        ("no reading", "no-reading"),
    ],
)
def test_meter_words_are_no_number_but_an_answer(said, special):
    (found,) = parse_value(words_of(said))
    assert (found.value, found.special) == (None, special)


@given(st.decimals(min_value=-9999, max_value=9999, places=3, allow_nan=False))
def test_what_is_spoken_digit_by_digit_is_read_as_the_same_value(value):
    (found,) = parse_value(words_of(speak_digits(value)))
    assert found.value == value
    assert format(abs(found.value), "f") == format(abs(value), "f")


@given(
    st.decimals(min_value=0, max_value=9999, places=2, allow_nan=False),
    st.sampled_from([name for name in UNITS if name != "one"]),
)
def test_a_spoken_value_is_read_with_its_unit(value, name):
    (found,) = parse_value(words_of(speak_value(value, name)))
    assert (found.value, found.unit) == (value, name)


@given(
    st.lists(
        st.sampled_from(
            sorted(
                [
                    "one",
                    "two",
                    "twenty",
                    "fifteen",
                    "hundred",
                    "and",
                    "point",
                    "half",
                    "a",
                    "minus",
                    "thousand",
                    "oh",
                    "volts",
                    "k",
                    "double",
                ]
            )
        ),
        max_size=8,
    )
)
def test_any_row_of_number_words_is_read_or_refused_without_an_error(words):
    for found in parse_value(tuple(words), unit_words("volt")):
        assert found.special or found.value.is_finite()


@pytest.mark.parametrize(
    ("said", "digits"),
    [
        ("four seven", "47"),
        ("forty seven", "47"),
        ("one two four", "124"),
        ("double four", "44"),
        ("double oh seven", "007"),
        ("twelve", "12"),
        ("sixty", "60"),
        ("sixteen", "16"),
        ("twelve thirty four", "1234"),
        ("zero four seven", "047"),
        ("047", "047"),
    ],
)
def test_digits_of_tags_are_read(said, digits):
    assert parse_digits(words_of(said)) == digits


@pytest.mark.parametrize(
    "said",
    ["", "oh", "tag", "four hundred", "four and seven", "four point seven", "double", "minus four",
     "one two three four five six seven eight nine"],
)  # fmt: skip
def test_other_words_are_no_digits(said):
    assert parse_digits(words_of(said)) is None


def test_digits_of_a_challenge_are_exactly_as_many_as_asked():
    assert parse_digits(words_of("four seven"), 2) == "47"
    assert parse_digits(words_of("forty seven"), 2) == "47"
    assert parse_digits(words_of("four seven one"), 2) is None
    assert parse_digits(words_of("seven"), 2) is None


def test_values_are_spoken_digit_by_digit_with_their_unit():
    assert speak_value(Decimal("24.1"), "volt") == "two four decimal one volts"
    assert speak_value(Decimal("1"), "volt") == "one volt"
    assert speak_value(Decimal("462")) == "four six two"
    assert speak_value(Decimal("-0.50"), "ampere") == "minus zero decimal five zero amps"
    assert speak_digits(Decimal("1E+3")) == "one zero zero zero"


def test_counts_are_spoken_as_plain_words():
    for number in range(100):
        assert cardinal(number) == num2words(number).replace("-", " ")


@pytest.mark.parametrize(
    ("written", "spoken"),
    [("-X1:3", "X 1, terminal 3"), ("-X3:24V", "X 3, terminal 24 V"), ("L1", "L 1"), ("PE", "P E")],
)
def test_terminal_designations_are_spelled_for_the_ear(written, spoken):
    assert spell(written) == spoken


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("462 volts", "four six two volts"),
        ("462V", "four six two volts"),
        ("24.1", "two four decimal one"),
        (".5 MΩ", "decimal five megohms"),
        ("1,200 V", "one two zero zero volts"),
        ("-3 °C", "minus three degrees"),
        ("3/4 in", "three quarter inches"),
        ("1 1/2 in", "one and one half inches"),
        ("20 mA.", "two zero milliamps"),
        ("lockout confirmed, 47", "lockout confirmed four seven"),
        ("Clear to energise 07", "clear to energize zero seven"),
        ("twenty-four", "twenty four"),
        ("Beam-1 blocked", "beam one blocked"),
    ],
)
def test_figures_become_the_words_that_would_be_said(written, words):
    assert " ".join(words_of(written)) == words


def test_written_fractions_are_read():
    assert values("3/4 in", "inch") == ["0.75"]
    assert values("1 1/2 in", "inch") == ["1.5"]
    assert values("9/7 in", "inch") == []
