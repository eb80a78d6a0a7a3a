"""What the recogniser is asked for is what the state accepts, and no two phrases sound alike."""

from __future__ import annotations

import pytest

from assistant.dialogue.grammar import (
    accepted,
    alike_in_plan,
    expected,
    sentences,
    sound_alike,
    words_needed,
)
from assistant.dialogue.interpret import interpret_text
from assistant.dialogue.language import language
from assistant.dialogue.phones import swap
from assistant.dialogue.phrases import template
from assistant.dialogue.sounds import NEAR, alike, distance, phones

SAFETY = {"stop work", "stop stop stop", "emergency", "lock off", "power is on"}


def test_a_reading_step_listens_for_a_value_in_every_unit_of_its_dimension(plan, at):
    asked = expected(plan, at("supply"))
    assert "{value}" in asked.templates
    assert {"volts", "volt", "millivolts", "kilovolts"} <= set(asked.unit_words)
    assert "ohms" not in asked.unit_words
    assert asked.weights["{value}"] == "value"


def test_a_tag_step_listens_for_digits_and_no_unit(plan, at):
    asked = expected(plan, at("lock"))
    assert {"tag {digits}", "lock {digits}"} <= set(asked.templates)
    assert "{digits}" not in asked.templates  # a number needs a word that tells where it starts
    assert asked.unit_words == ()
    assert asked.weights["tag {digits}"] == "value"


def test_gate_phrases_weigh_most_and_are_heard_everywhere_to_be_refused_with_a_reason(plan, at):
    for step in plan.steps:
        asked = expected(plan, at(step.id))
        for phrase in ("lockout confirmed {digits:2}", "clear to energize {digits:2}"):
            assert asked.weights[phrase] == "gate"


def test_affirm_weighs_as_much_as_what_hangs_on_it(plan, pending):
    assert expected(plan, pending("supply")).weights["affirm"] == "value"
    for step in ("prove", "lock", "switch-off", "dead.l1-l2"):
        assert expected(plan, pending(step)).weights["affirm"] == "gate"


def test_affirm_is_only_listened_for_when_something_waits_for_it(plan, at, pending):
    for step in plan.steps:
        assert not {"affirm", "yes", "negative"} & set(expected(plan, at(step.id)).templates)
    assert {"affirm", "yes", "negative"} <= set(expected(plan, pending("lock")).templates)


def test_while_held_only_what_changes_nothing_and_go_ahead_are_accepted(plan, at):
    templates = set(expected(plan, at("supply", held="stop-work")).templates)
    assert {"go ahead", "say again", "where are we", "reason", "limits", "note {free}"} <= templates
    assert not {"{value}", "affirm", "done", "prove again", "go back", "unable"} & templates
    assert not any("confirmed" in text or "energize" in text for text in templates)


def test_what_makes_the_job_safe_is_heard_in_every_state(plan, at, pending):
    runs = [at(step.id) for step in plan.steps]
    runs += [pending(step) for step in ("supply", "lock", "prove", "switch-off")]
    runs += [at("supply", held=cause) for cause in ("stop-work", "stand-by", "emergency")]
    runs += [at(None), at("supply", failing="supply"), at("prove", refused=("state:locked",))]
    for run in runs:
        assert set(expected(plan, run).templates) >= SAFETY


def test_templates_are_lower_case_words_with_one_slot_at_the_end(plan, at, pending):
    for run in (at("beam"), at("supply"), pending("prove")):
        for phrase in accepted(plan, run):
            head, brace, slot = phrase.template.partition("{")
            assert all(word.isalpha() and word == word.lower() for word in head.split())
            assert not brace or slot.endswith("}")


def test_the_recogniser_reads_every_template_in_the_same_way(plan, at, pending):
    from assistant.speech import templates

    for run in (at("beam"), at("lock-off"), pending("supply"), at("survey", held="stop-work")):
        for text in expected(plan, run).templates:
            theirs, ours = templates.parse(text), template(text)
            assert (theirs.before, theirs.slot, theirs.count) == (ours.fixed, ours.slot, ours.count)


def test_no_template_comes_twice(plan, at, pending):
    runs = [at(step.id) for step in plan.steps] + [pending("prove"), at("lock", held="stand-by")]
    for run in runs:
        templates = expected(plan, run).templates
        assert len(set(templates)) == len(templates)


def test_every_printed_sentence_is_understood(plan, at, pending):
    runs = [at(step.id) for step in plan.steps]
    runs += [pending(step) for step in ("insulation", "lock", "prove", "switch-off")]
    runs += [at("survey", held="stop-work")]
    for run in runs:
        for sentence in sentences(plan, run):
            said = sentence.replace("...", "anything at all")
            assert interpret_text(said, plan, run).kind != "not-understood", said


@pytest.mark.parametrize(
    "pair",
    ["on/off", "close/clear", "open/over", "fifteen/fifty", "sixteen/sixty", "blocked/locked",
     "power is on/power is off", "correct/correction", "done/down",
     "go to power run/go to power up", "go to first gap/go to third gap"],
)  # fmt: skip
def test_pairs_that_site_practice_blocks_sound_alike(pair):
    first, second = pair.split("/")
    assert alike(first, second)
    assert sound_alike([first, second]) == [(first, second)]


@pytest.mark.parametrize(
    "pair", ["affirm/negative", "say again/measure again", "go back/read back"]
)
def test_phrases_that_are_far_apart_do_not_sound_alike(pair):
    assert not alike(*pair.split("/"))


@pytest.mark.parametrize(
    "word, sounds",
    [
        ("interlocks", "IH N T ER L AA K S"),
        ("encoder", "EH N K OW D ER"),
        ("chocked", "CH AA K T"),
        ("henries", "HH EH N R IY Z"),
        ("derating", "D IY R EY T IH NG"),
    ],
)
def test_a_word_that_no_dictionary_has_is_said_as_its_parts_are(word, sounds):
    """Merriam-Webster's pronunciations, from memory; nearer than any two words may be."""
    assert phones(word) and min(distance(way, tuple(sounds.split())) for way in phones(word)) < 1


def test_distance_orders_pairs_as_real_voices_confuse_them():
    """Measured (bench_phones): S is taken for Z, T for D, AE for EH far more often than chance;
    S for M, T for L, AE for OW hardly ever."""
    for phone, near, far in map(str.split, ("S Z M", "T D L", "B P L", "AE EH OW")):
        assert swap(phone, near) < swap(phone, far)


def test_no_two_phrases_of_the_language_file_sound_alike():
    assert sound_alike(language().phrases) == []


def test_no_phrase_of_any_step_state_sounds_like_another(plan):
    assert alike_in_plan(plan) == []


def test_aliases_of_one_meaning_may_sound_alike():
    assert sound_alike(["lock off", "lock is off"]) == []


def test_the_distance_is_symmetric_and_zero_for_the_same_phrase():
    words = ["affirm", "negative", "lock off", "read back"]
    for first in words:
        for second in words:
            (a, *_), (b, *_) = phones(first), phones(second)
            assert distance(a, b) == pytest.approx(distance(b, a))
            assert (distance(a, b) == 0) == (first == second)
    assert NEAR > 0


def test_the_check_knows_every_word_that_must_be_heard(plan):
    words = words_needed(plan)
    assert {"affirm", "lockout", "switched", "beam", "megohms", "emergency"} <= words
    for phrase in language().phrases:
        assert set(template(phrase).fixed) <= words
