from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import AudioError, ModelMissing
from assistant.speech.audio import mix, read_sound, to_int16
from assistant.speech.recogniser import RATE_HZ, Expected
from assistant.speech.templates import canonical
from assistant.speech.whisper_engine import Candidate, Search, check_model, denied, judge
from tests.speech.voices import say

STEP = Expected(
    (
        "{value}",
        "done",
        "affirm",
        "negative",
        "stop work",
        "where are we",
        "no movement",
        "lockout confirmed {digits:2}",
        "correction {value}",
        "tag {digits}",
        "note {free}",
    ),
    ("volts", "millivolts", "amps", "inches"),
    {
        "{value}": "value",
        "correction {value}": "value",
        "tag {digits}": "value",
        "lockout confirmed {digits:2}": "gate",
    },
)
SAID = {
    "done": "done",
    "stop work": "stop work",
    "where are we": "where are we",
    "negative": "negative",
    "lockout confirmed four seven": "lockout confirmed {digits:2}",
    "tag three one four": "tag {digits}",
    "four hundred and sixty two": "{value}",
    "four six two decimal five volts": "{value}",
    "four sixty volts": "{value}",
    "minus three": "{value}",
    "over range": "{value}",
    "six feet four inches": "{value}",
}


@pytest.mark.parametrize(("said", "template"), SAID.items())
def test_each_kind_of_template_is_heard(whisper, said, template):
    heard = whisper.hear(say(said, "rms"), STEP)
    assert canonical(heard.text) == canonical(said)
    assert heard.template == template
    assert heard.rejected is None
    assert 0 < heard.confidence <= 1


def test_a_note_keeps_its_free_words(whisper):
    heard = whisper.hear(say("note the cover is open on the left side", "slt"), STEP)
    assert heard.template == "note {free}"
    assert heard.text.startswith("note the")
    assert heard.text.endswith("left side")


def test_a_bare_free_template_gives_the_plain_transcript(whisper):
    heard = whisper.hear(say("the belt is worn and must be replaced", "slt"), Expected(("{free}",)))
    assert heard.text.startswith("The bel")
    assert heard.text.endswith("is worn and must be replaced.")
    assert heard.template == "{free}"


def test_a_value_with_a_close_rival_names_it(whisper):
    heard = whisper.hear(say("two oh eight", "slt"), STEP)
    assert "208" in {canonical(text) for text in (heard.text, *heard.alternatives)}


@pytest.mark.parametrize(
    "said",
    [
        "the weather is nice today",
        "please hand me the big screwdriver",
        "did you see the game last night",
        "I will be back in a minute with some coffee",
    ],
)
@pytest.mark.parametrize("voice", ["slt", "en-gb"])
def test_chatter_is_no_answer(whisper, said, voice):
    heard = whisper.hear(say(said, voice), STEP_WITHOUT_FREE)
    assert heard.text == ""
    assert heard.rejected == "other speech"


STEP_WITHOUT_FREE = Expected(STEP.templates[:-1], STEP.unit_words, STEP.weights)


@pytest.mark.parametrize("level", [0.001, 0.03, 0.3])
def test_noise_is_no_answer(whisper, level):
    hiss = to_int16(np.random.default_rng(6).normal(0, level, 24_000))
    assert whisper.hear(hiss, STEP_WITHOUT_FREE).text == ""


def test_silence_and_scraps_are_no_answer(whisper):
    assert whisper.hear(np.zeros(0, np.int16), STEP).rejected == "too short"
    assert whisper.hear(np.zeros(800, np.int16), STEP).rejected == "too short"
    assert whisper.hear(np.zeros(32_000, np.int16), STEP).rejected == "noise"


def test_sound_of_another_kind_is_refused(whisper):
    with pytest.raises(AudioError, match="int16"):
        whisper.hear(np.zeros(16_000), STEP)


def test_real_people_are_heard_and_their_other_words_refused(whisper, speech_dir, recordings):
    words = ["yes", "no", "up", "down", "left", "right", "on", "off", "stop", "go"]
    expected = Expected(tuple(words))
    commands = [e for e in recordings if e["kind"] == "command"][::30]
    others = [e for e in recordings if e["kind"] == "non_command"][::30]
    right = wrong = 0
    for entry in commands:
        text = whisper.hear(read_sound(speech_dir / entry["file"]), expected).text
        right += text == entry["text"]
        wrong += text not in ("", entry["text"])
    accepted = sum(
        bool(whisper.hear(read_sound(speech_dir / e["file"]), expected).text) for e in others
    )
    assert right >= 0.8 * len(commands)
    assert wrong <= 1
    assert accepted <= 1


def test_digit_strings_of_real_people_are_mostly_heard_under_noise(whisper, speech_dir, recordings):
    rng = np.random.default_rng(7)
    noise = read_sound(speech_dir / "noise" / "old_bus.flac")
    chosen = [e for e in recordings if e["kind"] == "digits"][::15]
    right = 0
    for entry in chosen:
        sound = mix(read_sound(speech_dir / entry["file"]), noise, 20.0, rng)
        text = whisper.hear(sound, Expected(("{digits}",))).text
        right += canonical(text) == canonical(entry["text"])
    assert right >= 0.6 * len(chosen)


def _search(*candidates: Candidate, **fields: float) -> Search:
    figures = {"free_score": -1.5, "no_speech": 0.1, "active_s": 1.0, **fields}
    return Search(list(candidates), "free text", **figures)


def _candidate(words: str, score: float, template: str = "{value}") -> Candidate:
    return Candidate(words, template, score, score, score - 1.0)


def test_a_gate_asks_for_more_certainty_than_a_command():
    unsure = _search(
        Candidate("lockout confirmed", "lockout confirmed", -3.0, -np.inf, -3.0),
        free_score=-2.0,
        active_s=1.0,
    )
    unsure.free_text = "Lockout confirm"
    assert judge(unsure, Expected(("lockout confirmed",)), 1.0).text
    as_gate = Expected(("lockout confirmed",), weights={"lockout confirmed": "gate"})
    assert judge(unsure, as_gate, 1.0).rejected == "other speech"


@pytest.mark.parametrize(
    ("score", "free", "taken"),
    [(-0.4, -0.7, True), (-3.3, -3.0, True), (-4.6, -2.6, False), (-8.4, -8.8, False)],
)
def test_a_long_gate_phrase_may_be_blurred_by_noise_but_near_misses_stay_out(score, free, taken):
    # Figures measured: a right phrase at 5 dB, one worse than any of 144; "unclear to energize five
    # zero"; "lockout unconfirmed two nine", likelier than its free text.
    template = "lockout confirmed {digits:2}"
    candidate = Candidate("lockout confirmed four seven", template, score, -np.inf, score)
    search = _search(candidate, free_score=free, active_s=1.6)
    heard = judge(search, Expected((template,), weights={template: "gate"}), 2.0)
    assert bool(heard.text) is taken


@pytest.mark.parametrize(
    ("words", "score", "free_text", "taken"),
    [
        ("quieter", -2.29, "Why is it?", False),
        ("quieter", -1.69, '"Foyer', False),
        ("clear to energize", -3.7, "Play again.", False),
        ("quieter", -0.29, "Why death?", True),
        ("faster", -1.6, "Vasto", True),
        ("take a photo", -2.2, "Take a four two.", True),
        ("off", -1.67, "us.", True),
    ],
)
def test_a_long_command_is_not_taken_when_it_scores_little_and_is_written_otherwise(
    words, score, free_text, taken
):
    # Measured where strangers said "voyager", and where these were said; short ones are often
    # written down quite otherwise.
    search = _search(Candidate(words, words, score, -np.inf, score), free_score=score - 1.0)
    search.free_text = free_text
    assert bool(judge(search, Expected((words,)), 1.0).text) is taken


def test_a_not_in_a_gate_phrase_keeps_the_gate_shut(whisper):
    template = "lockout confirmed {digits:2}"
    expected = Expected((template,), weights={template: "gate"})
    assert whisper.hear(say("lockout confirmed four seven"), expected).text
    for said in (
        "lockout not confirmed four seven",
        "lockout unconfirmed four seven",
        "lockout can't be confirmed four seven",
        "lockout isn't confirmed four seven",
    ):
        assert not whisper.hear(say(said), expected).text, said


@pytest.mark.parametrize(
    ("free", "taken"),
    [
        ("Clear to energize 61.", True),
        ("Not clear to energize 61.", False),
        ("Uncleared to energize six one.", False),
        ("Clear to under eyes 61.", True),
        ("Don't clear to energize 61.", False),
        ("Dont clear to energize 61.", False),
        ("We cannot clear to energize 61.", False),
        ("Clear two to energize 61.", False),
    ],
)
def test_free_text_that_says_the_contrary_keeps_a_gate_shut(free, taken):
    template = "clear to energize {digits:2}"
    candidate = Candidate("clear to energize six one", template, -2.0, -np.inf, -2.0)
    search = _search(candidate, free_score=-2.0, active_s=1.6)
    search.free_text = free
    heard = judge(search, Expected((template,), weights={template: "gate"}), 2.0)
    assert bool(heard.text) is taken


@pytest.mark.parametrize(
    ("words", "score", "free", "taken"),
    [
        ("note belt is worn", -5.0, -1.0, True),
        ("note never work as a telephone operator", -19.6, -1.4, False),
        ("note to do is not love", -24.0, -5.2, False),
        ("notease application", -4.1, -3.4, False),
        ("note", -1.0, -1.0, False),
    ],
)
def test_speech_that_only_could_begin_like_a_note_is_none(words, score, free, taken):
    # Figures of people's other speech: "I never worked as a telephone operator", "what are you
    # today with my love", "this application".
    candidate = Candidate(words, "note {free}", score, -np.inf, score)
    search = Search([candidate], "", free_score=free, active_s=1.6)
    assert bool(judge(search, Expected(("note {free}",)), 2.0).text) is taken


def test_what_is_no_note_leaves_the_next_answer_its_chance():
    search = _search(
        Candidate("notease", "note {free}", -1.0, -np.inf, -1.0),
        Candidate("no", "no", -1.5, -np.inf, -1.5),
        free_score=-1.0,
        active_s=0.4,
    )
    assert judge(search, Expected(("no", "note {free}")), 1.0).text == "no"


def test_other_speech_of_real_people_is_no_note(whisper, speech_dir, recordings):
    """Sentences that were once kept as remarks, because anything can follow "note"."""
    expected = Expected(("done", "note {free}", "unable {free}"))
    said = ("but even that is part of the point", "there was no record of adoption")
    chosen = [e for e in recordings if e["text"] in said]
    assert chosen
    for entry in chosen:
        assert not whisper.hear(read_sound(speech_dir / entry["file"]), expected).text


@pytest.mark.parametrize(
    ("free_text", "taken"),
    [
        ("Note that is open.", True),
        ("No, that is open.", True),  # how a note is often written down
        ("Um, note that is open.", True),
        ("No, no, that is open.", False),
        ("No note that is open.", False),
        ("I know that is open.", False),
        ("No, no, that is closed.", True),  # other words: nothing to compare by
        ("Mode that is open.", True),
        ("Help the thing that is open.", False),
    ],
)
def test_a_note_begins_like_one_and_has_nothing_before_it_that_says_no(free_text: str, taken: bool):
    candidate = Candidate("note that is open", "note {free}", -3.0, -np.inf, -3.0)
    search = Search([candidate], free_text, free_score=-1.0, active_s=1.6)
    assert bool(judge(search, Expected(("note {free}",)), 2.0).text) is taken


def test_a_note_may_say_not():
    candidate = Candidate("note belt is worn", "note {free}", -1.0, -np.inf, -1.0)
    search = _search(candidate, free_score=-1.0, active_s=1.6)
    search.free_text = "Note belt is not worn."
    assert judge(search, Expected(("note {free}",)), 2.0).text


def test_a_not_that_belongs_to_the_answer_is_no_denial():
    assert not denied("It's not locked.", "it is not locked")
    assert not denied("Unable.", "unable")
    assert denied("Lockout un confirmed 29.", "lockout confirmed two nine")
    assert denied("Lockout unconform 29.", "lockout confirmed two nine")
    assert denied("Uncle it to energize.", "clear to energize")
    assert not denied("Under the cover.", "over the cover")
    assert denied("Don't go ahead.", "go ahead") and denied("dont go ahead", "go ahead")
    assert not denied("Done.", "done") and not denied("Distant.", "negative")


@pytest.mark.parametrize("words", ["lockout confirmed", "lockout country confirmed"])
def test_a_word_within_a_gate_phrase_shuts_the_gate_and_no_other_answer(words):
    # "Lockout can't be confirmed three eight" at 10 dB was written down like this.
    template = "lockout confirmed {digits:2}"
    candidate = Candidate("lockout confirmed three eight", template, -2.0, -np.inf, -2.0)
    search = _search(candidate, free_score=-2.0, active_s=1.6)
    search.free_text = f"{words.capitalize()} three eight."
    as_gate = judge(search, Expected((template,), weights={template: "gate"}), 2.0)
    assert bool(as_gate.text) is (words == "lockout confirmed")
    assert judge(search, Expected((template,), weights={template: "value"}), 2.0).text


def test_a_gate_with_a_close_rival_is_unsure_and_not_taken():
    template = "lockout confirmed {digits:2}"
    search = _search(
        _candidate("lockout confirmed four seven", -1.0, template),
        _candidate("lockout confirmed four eleven", -1.8, template),
        active_s=2.0,
    )
    heard = judge(search, Expected((template,), weights={template: "gate"}), 2.0)
    assert (heard.text, heard.rejected) == ("", "unsure")
    assert len(heard.alternatives) == 2


def test_a_reply_far_too_long_for_the_phrase_is_other_speech():
    done = Candidate("done", "done", -0.5, -np.inf, -0.5)
    assert judge(_search(done, active_s=0.5), STEP, 1.0).text == "done"
    assert judge(_search(done, active_s=4.0), STEP, 5.0).rejected == "other speech"


@pytest.mark.parametrize(
    ("words", "template", "free_text", "active_s", "taken"),
    [
        ("affirm", "affirm", "Affirm.", 1.9, True),
        ("affirm", "affirm", "Affirm that we said so.", 1.9, False),
        ("affirm", "affirm", "Affirm.", 4.0, False),
        ("two", "{value}", "Two.", 1.9, False),
    ],
)
def test_what_is_written_down_word_for_word_may_be_twice_as_long_but_for_numbers(
    words, template, free_text, active_s, taken
):
    # "two" of "two three four" ends early in both.
    search = _search(
        Candidate(words, template, -0.1, -np.inf, -0.1), free_score=-0.1, active_s=active_s
    )
    search.free_text = free_text
    expected = Expected((template,), weights={template: "gate" if words == "affirm" else "value"})
    assert bool(judge(search, expected, 4.5).text) is taken


def test_a_blow_after_the_answer_does_not_make_it_longer(whisper):
    rng, blow_s = np.random.default_rng(5), np.arange(2400) / RATE_HZ
    blow = rng.normal(0, 6000, 2400) * np.exp(-blow_s / 0.03)
    for voice in ("slt", "rms"):
        sound = np.pad(say("affirm", voice), (3200, 24_000)).astype(float)
        sound[-8000:-5600] += blow
        expected = Expected(("affirm", "negative"), weights={"affirm": "gate"})
        search = whisper.search(to_int16(sound / 32768), expected)
        assert search.active_s > 1.65, "else this shows nothing"
        assert whisper.hear(to_int16(sound / 32768), expected).text == "affirm"


def test_digits_that_nobody_could_say_in_the_time_lose():
    search = _search(
        _candidate("four seven four seven four seven", -1.0),
        _candidate("four seven", -1.8),
        active_s=0.5,
    )
    assert judge(search, Expected(("{value}",)), 1.0).text == "four seven"


def test_words_with_letters_beyond_its_alphabet_are_unknown(whisper):
    assert whisper.unknown_words({"volts", "시작", "megohms"}) == {"시작"}


def test_a_damaged_model_is_named_with_its_digest(tmp_path):
    good = check_model()
    for name in ("vocabulary.txt", "config.json"):
        shutil.copy(good / name, tmp_path / name)
    with pytest.raises(ModelMissing, match=r"model\.bin is missing; it comes with"):
        check_model(tmp_path)
    with (good / "model.bin").open("rb") as whole:
        (tmp_path / "model.bin").write_bytes(whole.read(100_000))
    with pytest.raises(ModelMissing, match=r"damaged or of another version \(SHA-256"):
        check_model(tmp_path)


def test_the_folder_of_the_model_is_a_folder():
    assert isinstance(check_model(), Path)


@pytest.mark.parametrize(
    ("best", "other", "is_rival"),
    [
        ("eight volts", "eight volt", False),
        ("point five megohms", "point five meg ohms", False),
        ("point five megohms", "point five mega ohms", False),
        ("eight inches", "eight inch", False),
        ("two point oh kilohms", "two point oh kilo ohms", False),
        ("five metres", "five meters", False),
        ("eight volts", "eight millivolts", True),
        ("eight volts", "eighteen volts", True),
        ("five megohms", "five milliohms", True),
    ],
)
def test_the_same_value_with_its_unit_said_otherwise_is_no_rival(best, other, is_rival):
    found = [
        Candidate(words, "{value}", -score, -99.0, -score)
        for words, score in ((best, 1.0), (other, 1.1))
    ]
    heard = judge(
        _search(*found, free_score=-1.5), Expected(("{value}",), weights={"{value}": "gate"}), 1.0
    )
    assert heard.text == ("" if is_rival else best)
    assert heard.alternatives == ((best, other) if is_rival else ())
