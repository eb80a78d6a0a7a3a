"""What was said becomes the input that was meant, or is asked again."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.calc.base import Result
from assistant.dialogue.grammar import accepted, universal_phrases
from assistant.dialogue.interpret import interpret, interpret_text
from assistant.dialogue.phrases import template
from assistant.procedure import inputs
from assistant.procedure.run import TakenReading
from assistant.procedure.sums import Sum
from assistant.quantity import Quantity
from assistant.speech.recogniser import Transcript

RESULT = Result({}, (), "a book", "published")
HELD = ("stop-work", "stand-by", "emergency")
YES = inputs.Affirm | inputs.Confirm | inputs.Challenge | inputs.Choice


def heard(text: str, *alternatives: str, rejected: str | None = None) -> Transcript:
    return Transcript(text, 0.9, rejected=rejected, alternatives=alternatives)


def example(text: str) -> str:
    parts = template(text)
    slots = {"value": "four six two volts", "digits": "four seven", "free": "no meter", None: ""}
    return " ".join((*parts.fixed, slots[parts.slot])).strip()


def states_for(key: str, pending, at):
    """States in which a phrase of the language file is accepted."""
    reading = TakenReading("supply", Quantity(Decimal(5), "volt"), "", "none", None, False, 0.0)
    return [
        pending("supply"),
        pending("lock"),
        at("supply", readings={"supply": reading}, last_reading="supply"),
        at("prove"),
        at("survey", held="stop-work"),
        at("supply"),
        at("edge"),
        at("survey", sum=Sum("line-to-earth", given=(("system", "x"),), result=RESULT)),
    ]


@pytest.mark.parametrize("phrase", universal_phrases(), ids=lambda phrase: phrase.template)
def test_every_phrase_of_the_language_file_is_understood_as_its_input(phrase, plan, pending, at):
    found = [
        interpret(heard(example(phrase.template)), plan, run)
        for run in states_for(phrase.key, pending, at)
        if phrase.template in {each.template for each in accepted(plan, run)}
    ]
    assert found, "accepted in no state"
    for what in found:
        assert what.kind == phrase.kind
        for name, value in phrase.fields:
            assert getattr(what, name) == value


@pytest.mark.parametrize(
    ("step", "text", "what"),
    [
        ("survey", "done", inputs.Confirm(word="done")),
        ("switch-off", "Switched off.", inputs.Confirm(word="switched off")),
        ("power-up", "power is on", inputs.PowerOn()),  # said too early it voids the proof
        ("survey", "power is on", inputs.PowerOn()),
        ("survey", "lock off", inputs.LockOff()),
        ("lock-off", "lock off", inputs.LockOff()),
        ("lock-off", "lock off 47", inputs.Tag(digits="47")),
        ("lock", "tag 12", inputs.Tag(digits="12")),
        ("lock", "lock one two four", inputs.Tag(digits="124")),
        ("lock", "number forty seven", inputs.Tag(digits="47")),
        ("stored", "done", inputs.Confirm(word="done")),
        ("beam", "beam one blocked", inputs.Choice(answer="Beam-1 blocked")),
        ("beam", "beam 1 blocked", inputs.Choice(answer="Beam-1 blocked")),
        (
            "prove",
            "lockout confirmed, 47",
            inputs.Challenge(phrase="lockout-confirmed", digits="47"),
        ),
        ("prove", "lockout confirmed", inputs.Challenge(phrase="lockout-confirmed")),
        (
            "clear",
            "clear to energise zero seven",
            inputs.Challenge(phrase="clear-to-energise", digits="07"),
        ),
        (
            "clear",
            "clear to energize zero seven",
            inputs.Challenge(phrase="clear-to-energise", digits="07"),
        ),
        ("survey", "go to safety devices", inputs.GoTo(section="safety devices")),
        ("survey", "unable no meter", inputs.Unable(reason="no meter")),
        ("survey", "Unable: no key for panel D1", inputs.Unable(reason="no key for panel D1")),
        ("survey", "unable", inputs.Unable()),
        ("survey", "note hinge is bent", inputs.Note(text="hinge is bent")),
        ("survey", "say again", inputs.Command(name="say-again")),
        ("survey", "Stop, stop, stop!", inputs.Command(name="stop-work")),
    ],
)
def test_a_line_is_understood_at_its_step(step, text, what, plan, at):
    assert interpret_text(text, plan, at(step)) == what


@pytest.mark.parametrize(
    ("step", "text", "value", "unit", "special"),
    [
        ("insulation", "24.1", "24.1", None, None),
        ("insulation", "twenty four point one", "24.1", None, None),
        ("insulation", "five hundred k", "500", "kilohm", None),
        ("insulation", "2 GΩ", None, "gigohm", None),
        ("insulation", "over range", None, None, "over-range"),
        ("insulation", "overload", None, None, "over-range"),
        ("supply", "462 volts", "462", "volt", None),
        ("supply", "four sixty two", "462", None, None),
        ("supply", "462 ohms", "462", "ohm", None),  # the machine says which unit it wants
        ("supply", "one two decimal five zero", "12.50", None, None),
    ],
)
def test_a_number_on_a_reading_step_is_a_reading(step, text, value, unit, special, plan, at):
    what = interpret_text(text, plan, at(step))
    assert isinstance(what, inputs.Reading)
    if value is not None:
        assert format(what.value, "f") == value
    assert (what.unit, what.special) == (unit, special)
    assert what.said


def test_a_number_where_none_is_asked_for_is_not_understood(plan, at):
    for step in ("survey", "prove", "beam", "stored"):
        what = interpret_text("four seven", plan, at(step))
        assert what == inputs.NotUnderstood(why="unsure")


def test_words_with_two_readings_are_asked_and_not_guessed(plan, at):
    what = interpret_text("twenty four sixty volts", plan, at("supply"))
    assert what == inputs.NotUnderstood(
        why="ambiguous",
        candidates=("two four six zero volts", "two four decimal six zero volts"),
    )


@pytest.mark.parametrize("ones", range(3, 10))
def test_a_teen_with_a_ten_as_rival_is_never_guessed(ones, plan, at):
    from num2words import num2words

    teen, ten = num2words(10 + ones), num2words(10 * ones)
    for first, second in ((teen, ten), (ten, teen)):
        for step, form in (("supply", "{} volts"), ("lock", "tag {}")):
            what = interpret(heard(form.format(first), form.format(second)), plan, at(step))
            assert isinstance(what, inputs.NotUnderstood)
            assert what.why == "ambiguous"
            assert len(what.candidates) == 2


def test_the_same_value_said_in_another_way_is_no_rival(plan, at):
    transcript = heard(
        "four sixty two volts", "four six two", "four six two decimal zero", "point four six two k"
    )
    what = interpret(transcript, plan, at("supply"))
    assert isinstance(what, inputs.Reading)
    assert what.value == 462


def test_a_rival_that_the_step_cannot_mean_is_none_whichever_was_heard_better(plan, at, pending):
    low, high = plan.step("supply").expects.reading.plausible
    assert low <= 482 <= high < 4820
    for run in (at("supply"), pending("supply")):
        for first, rival in (
            ("four eight two volts", "four eight two oh"),
            ("four eight two oh volts", "four eight two volts"),
        ):
            for head in ("", "correction "):
                what = interpret(heard(head + first, head + rival), plan, run)
                reading = what.reading if head else what
                assert (what.kind, reading.value) == ("correction" if head else "reading", 482)
        what = interpret(heard("four eight two oh", "four eight oh oh"), plan, run)
        assert what.why == "ambiguous"
        what = interpret(heard("four eight two oh", "four eight two", "four eight"), plan, run)
        assert what.candidates == ("four eight two", "four eight")
        what = interpret(heard("twenty four sixty volts"), plan, run)  # 2460 or 24.60
        assert what.why == "ambiguous"
        what = interpret(heard("four eight two oh", "affirm"), plan, pending("supply"))
        assert what == inputs.NotUnderstood(
            why="ambiguous", candidates=("four eight two zero", "affirm")
        )


def test_an_answer_with_a_rival_that_means_something_else_is_asked(plan, at, pending):
    for run, text, rival in (
        (pending("supply"), "affirm", "negative"),
        (at("survey"), "done", "go back"),
        (at("beam"), "no change", "beam one blocked"),
        (at("prove"), "lockout confirmed four seven", "lockout confirmed four six"),
        (at("supply"), "correction", "four six two"),
    ):
        if interpret(heard(text), plan, run).kind == "not-understood":
            raise AssertionError(f"'{text}' is not accepted here")
        what = interpret(heard(text, rival), plan, run)
        assert isinstance(what, inputs.NotUnderstood)
        assert what.why == "ambiguous"


def test_stop_work_is_taken_in_spite_of_a_rival(plan, at, pending):
    for run in (at("supply"), pending("supply"), pending("prove"), at("survey", held="stand-by")):
        what = interpret(heard("stop work", "affirm", "four six two", "go ahead"), plan, run)
        assert what == inputs.Command(name="stop-work")


def test_doubt_between_wordings_of_one_meaning_is_none(plan, at, pending):
    for others in (("affirm", "affirmative"), ("that is correct", "affirm")):
        what = interpret(heard("", *others, rejected="unsure"), plan, pending("supply"))
        assert what == inputs.Affirm()
    what = interpret(
        heard("", "4 6 2 volts", "four sixty two", rejected="unsure"), plan, at("supply")
    )
    assert (what.kind, what.value) == ("reading", 462)
    for others in (
        ("affirm", "yes"),  # a plain yes doesn't count where much hangs on it
        ("affirm", "negative"),
        ("affirm", "no such words"),
        ("stop work", "affirm"),
    ):
        what = interpret(heard("", *others, rejected="unsure"), plan, pending("prove"))
        assert what == inputs.NotUnderstood(why="unsure")
    none = interpret(heard("", rejected="unsure"), plan, pending("supply"))
    assert none == inputs.NotUnderstood(why="unsure")


def test_digits_behind_a_zero_have_lost_their_point_and_that_is_said(plan, at, pending):
    for text in ("zero six", "oh six ohms", "zero six two", "correction zero six volts"):
        for run in (at("supply"), pending("supply")):
            assert interpret(heard(text), plan, run).why == "no-point", text
    assert interpret(heard("zero decimal zero oh"), plan, at("supply")).kind == "reading"
    assert interpret(heard("zero six"), plan, at("survey")).why == "unsure"


def test_silence_and_noise_are_not_understood_for_their_reason(plan, at):
    for why in ("noise", "other speech", "too short", "unsure"):
        what = interpret(heard("", rejected=why), plan, at("survey"))
        assert what == inputs.NotUnderstood(why=why)
    assert interpret(heard(""), plan, at("survey")).kind == "not-understood"


def test_a_phrase_of_another_state_is_not_taken_here(plan, at, pending):
    assert interpret_text("affirm", plan, at("survey")) == inputs.NotUnderstood(why="not here")
    assert interpret_text("go ahead", plan, at("survey")) == inputs.NotUnderstood(why="not here")
    held = at("supply", held="stop-work")
    for text in ("affirm", "prove again", "lockout confirmed 47", "462 volts", "done"):
        assert interpret_text(text, plan, held).kind == "not-understood"


@pytest.mark.parametrize("text", ["roger", "okay", "wilco", "correct", "yeah", "affirm affirm"])
def test_chatter_is_no_yes(text, plan, pending):
    for step in ("supply", "lock", "prove"):
        assert interpret_text(text, plan, pending(step)).kind == "not-understood"


def test_a_plain_yes_is_marked_as_such(plan, pending):
    assert interpret_text("yes", plan, pending("supply")) == inputs.Affirm(plain=True)
    assert interpret_text("affirm", plan, pending("supply")) == inputs.Affirm()


def test_a_fresh_value_of_the_same_kind_is_taken_while_one_is_pending(plan, pending):
    value = interpret_text("four six three volts", plan, pending("supply"))
    assert (value.kind, value.value) == ("reading", 463)
    assert interpret_text("tag 48", plan, pending("lock")) == inputs.Tag(digits="48")
    again = interpret_text("lockout confirmed 47", plan, pending("prove"))
    assert again == inputs.Challenge(phrase="lockout-confirmed", digits="47")


def test_a_correction_carries_its_value_or_tag(plan, pending, at):
    what = interpret_text("correction 463", plan, pending("supply"))
    assert what.reading.value == 463
    what = interpret_text("correction tag 48", plan, pending("lock"))
    assert what == inputs.Correction(tag=inputs.Tag(digits="48"))
    assert interpret_text("correction", plan, pending("supply")) == inputs.Correction()


def test_a_later_correction_is_in_the_unit_of_the_reading_it_changes(plan, at):
    taken = TakenReading("insulation", Quantity(Decimal(5), "megohm"), "", "pass", None, False, 0)
    run = at("survey", readings={"insulation": taken}, last_reading="insulation")
    what = interpret_text("correction five hundred k", plan, run)
    assert (what.reading.value, what.reading.unit) == (500, "kilohm")


def test_the_transcripts_template_is_not_trusted(plan, at):
    """The state may have changed since the recogniser listened."""
    late = Transcript("affirm", 1.0, template="affirm")
    assert interpret(late, plan, at("survey")).kind == "not-understood"


WORDS = sorted(
    {word for phrase in universal_phrases() for word in template(phrase.template).fixed}
    | {"four", "seven", "forty", "sixteen", "oh", "volts", "point", "done", "tag"}
)


@settings(max_examples=300)
@given(words=st.lists(st.sampled_from(WORDS), min_size=1, max_size=4), held=st.sampled_from(HELD))
def test_no_row_of_words_is_a_yes_unless_it_is_an_accepted_phrase(words, held, plan, at, pending):
    text = " ".join(words)
    for run in (at("survey"), pending("supply"), at("prove"), at("survey", held=held)):
        what = interpret(heard(text), plan, run)
        literals = {template(each.template).fixed for each in accepted(plan, run)}
        if isinstance(what, YES):
            fixed = tuple(words[: len(words)])
            assert fixed in literals or isinstance(what, inputs.Challenge)
        if run.held:
            assert not isinstance(what, YES | inputs.Reading | inputs.Tag)


def test_nothing_that_is_not_understood_carries_an_answer(plan, at):
    what = interpret(heard("sixteen volts", "sixty volts"), plan, at("supply"))
    assert set(type(what).model_fields) == {"kind", "why", "candidates"}
    assert replace(at("supply")) == at("supply")
