"""What is said and what is understood: for ears, one sentence a reason, by typed lines."""

import re
from typing import get_args

import pytest

from assistant import cli
from assistant.dialogue.replies import _gate_phrases
from assistant.faults import effects as fx
from assistant.faults import inputs, machine, text
from assistant.faults.listening import accepted
from assistant.faults.load import BRIDGE
from assistant.faults.symptoms import find
from assistant.faults.wording import chance_words, listed, speak, words
from tests.faults.cases import all_cases, by_guide, door_for, guide


@pytest.fixture(scope="module")
def spoken():
    """Everything that is said in all cases, and to some words besides."""
    told = []
    for case in all_cases()[::3]:
        door = door_for(case.door)
        lines = [
            case.says,
            "safe",
            "why",
            "what else",
            "don't know",
            "I found it",
            "yes",
            "repaired",
        ]
        for turn in text.play(door, lines):
            told += turn.replies
    return told


def test_every_effect_has_words():
    kinds = [each for each in vars(fx).values() if isinstance(each, type) and each is not fx.Effect]
    kinds = [each for each in kinds if issubclass(each, fx.Effect)]
    from assistant.faults import wording

    for kind in kinds:
        assert wording._say.dispatch(kind) is not wording._say.dispatch(object), kind


def test_the_leading_cause_is_told_in_one_sentence_with_its_reason():
    """'The beam is now the most likely, because ...'."""
    door = door_for("freezer")
    effect = fx.Leading(cause="beam-misaligned", chance=0.6, because="the receiver's lamp flickers")
    (said,) = speak([effect], door)
    assert said == (
        "A beam out of line is now the most likely, about six in ten, "
        "because the receiver's lamp flickers."
    )


@pytest.mark.parametrize(
    ("chance", "said"),
    [(0.05, "less than two in ten"), (0.62, "about six in ten"), (0.97, "almost certain"),
     (1.0, "almost certain")],
)  # fmt: skip
def test_chances_are_spoken_in_tenths(chance, said):
    assert chance_words(chance) == said


def test_lists_are_spoken_with_their_word():
    assert listed(["a", "b", "c"]) == "a, b or c"


def test_no_sentence_opens_a_gate_or_proposes_to_defeat_a_device(spoken):
    """An echo of the loudspeaker must not satisfy a gate; and nothing is ever bridged."""
    assert len(spoken) > 400
    for said in spoken:
        assert not any(pattern.search(said) for pattern, _ in _gate_phrases()), said
        for sentence in re.split(r"(?<=[.?!])\s+", said):
            assert not BRIDGE.search(sentence) or "never" in sentence.lower(), said


def test_no_sentence_is_longer_than_a_breath(spoken):
    """Under about twelve seconds: 45 words at four a second."""
    assert not [said for said in spoken if len(said.split()) > 45]


def test_no_placeholder_is_left_in_what_is_said(spoken):
    assert not [said for said in spoken if "{" in said or "  " in said]


@pytest.mark.parametrize("symptom", sorted(guide().symptoms))
def test_each_symptom_is_found_by_its_name_phrases_number_and_id(symptom):
    row = guide().symptoms[symptom]
    for said in (row.name, *row.phrases, str(row.number), row.id, f"the {row.phrases[0].upper()}!"):
        assert find(said, guide().symptoms.values()) == (row,), said


@pytest.mark.parametrize(
    ("said", "symptom"),
    [
        ("the door won't close any more", "opens-but-not-closes"),
        ("it touches the floor and then opens again", "reverses-at-floor"),
        ("the motor only hums", "hums"),
        ("door drifts down slowly", "drifts"),
        ("the photo eye trips in the sun", "beam-false-trips"),
        ("the overload trips", "overload-trips"),
        ("water inside the panel", "moisture"),
    ],
)
def test_a_symptom_in_other_words_is_found(said, symptom):
    found = find(said, guide().symptoms.values())
    assert [each.id for each in found] == [symptom]


@pytest.mark.parametrize("said", ["it smells of fish", "hello", "", "roof leaks", "loop", "beam"])
def test_what_fits_no_symptom_is_not_forced_into_one(said):
    assert find(said, guide().symptoms.values()) == ()


def test_an_unknown_symptom_gets_an_honest_answer_and_the_general_order_step_by_step():
    door = door_for("freezer")
    turns = list(text.play(door, ["it smells of fish", *["what else"] * 7]))
    assert "won't guess" in turns[1].replies[0]
    said = [reply for turn in turns[1:] for reply in turn.replies][1:]
    assert len(said) == len(guide().general_order) == 8
    for step, reply in zip(guide().general_order, said, strict=True):
        assert reply.startswith(step)


def test_typed_lines_lead_from_symptom_to_repaired_and_tested():
    """Every kind of line once; the energy state is typed, as nothing here proves one."""
    door = door_for("freezer")
    lines = [
        "# a comment", "", "edge shows pressed", "safe", "why", "don't know",
        "energy is proven-dead", "0.2 kohm", "yes", "what else", "yes", "repaired",
        "passed contact-edge", "passed force-tests", "passed safety tests",
    ]  # fmt: skip
    turns = list(text.play(door, lines))
    assert [turn.kind for turn in turns[1:4]] == ["seen", "safe", "why"]
    said = " ".join(reply for turn in turns for reply in turn.replies)
    assert "a shorted edge cord" in said.lower()
    assert turns[-1].replies[-1].startswith("Found, repaired and tested")


@pytest.mark.parametrize(
    ("line", "value", "unit"),
    [("0.2 kohm", "0.2", "kilohm"), ("8.2", "8.2", None),
     ("eight decimal two kilohms", "8.2", "kilohm"), ("point two", "0.2", None)],
)  # fmt: skip
def test_a_reading_may_be_typed_in_figures_or_in_words(line, value, unit):
    door = door_for("freezer")
    said = [inputs.EnergyIs(state="proven-dead"), inputs.Seen(words="32"), inputs.Safe()]
    found = text.understood(door, machine.replay(door, said), line)
    assert (str(found.value), found.unit) == (value, unit)


@pytest.mark.parametrize(
    ("line", "kind"),
    [("can't do that one", "unable"), ("unable, too high", "unable"), ("no idea", "dont-know"),
     ("what else could it be", "what-else"), ("I found it", "found-it"), ("reason", "why"),
     ("I found it a hold-open switch", "found-it"), ("correction", "correct-last"),
     ("stop work", "command"), ("leave the search", "give-up"), ("energy is locked", "energy-is")],
)  # fmt: skip
def test_phrases_that_hold_everywhere_are_understood(line, kind):
    door = door_for("freezer")
    search = machine.replay(door, [inputs.Seen(words="28"), inputs.Safe()])
    assert text.understood(door, search, line).kind == kind


@pytest.mark.parametrize("line", ["banana", "energy is fine", "I found it blue cheese", "four"])
def test_a_line_that_means_nothing_here_changes_nothing(line):
    door = door_for("freezer")
    search = machine.replay(door, [inputs.Seen(words="28"), inputs.Safe()])
    found = text.understood(door, search, line)
    if found is not None:  # a number where none is asked for
        assert machine.advance(door, search, found).search == search


def test_each_phrase_of_the_language_file_means_one_thing():
    phrases = [phrase for each in words()["hear"].values() for phrase in each]
    assert len(phrases) == len(set(phrases))


def test_the_command_plays_a_script_and_lists_symptoms(capsys, tmp_path):
    script = tmp_path / "lines.txt"
    script.write_text("safe\nno\nwhy\nleave the search\n", encoding="utf-8")
    line = ["fault", "door", "will", "not", "close", "--job", "pinewharf-d1", "--script"]
    assert cli.main([*line, str(script)]) == 0
    out = capsys.readouterr().out
    assert "First make it safe" in out
    assert "The search ends here" in out
    assert cli.main(["fault", "--list"]) == 0
    assert "opens but will not close" in capsys.readouterr().out
    assert cli.main([*line, str(tmp_path / "none.txt")]) == 2


def test_the_command_takes_a_summary_of_the_record(capsys, tmp_path):
    """Settings left in the panel: the automatic closing is off."""
    record, script = tmp_path / "record.json", tmp_path / "lines.txt"
    record.write_text('{"settings": {"auto-close": "off"}}', encoding="utf-8")
    script.write_text("safe\nwhat else\n", encoding="utf-8")
    line = ["fault", "40", "--script", str(script), "--record"]
    assert cli.main([*line, str(record)]) == 0
    assert "It may be an automatic closing time that is off" in capsys.readouterr().out
    record.write_text('{"settings": ', encoding="utf-8")
    assert cli.main([*line, str(record)]) == 2
    assert "record.json:1: is not JSON here" in capsys.readouterr().err


def test_all_that_may_be_said_is_offered_and_means_what_it_says():
    """Walked through a case: each phrase at each turn is taken by the machine as an answer."""
    for case in all_cases()[::12]:
        door = door_for(case.door)
        search = machine.start("energised")
        for _ in range(12):
            offered = accepted(door, search)
            for phrase, meaning in offered.items():
                assert text.understood(door, search, phrase) == meaning, phrase
                effects = machine.advance(door, search, meaning).effects
                assert effects
                if search.phase != "symptom":
                    assert not any(isinstance(each, fx.AskAgain) for each in effects), phrase
            if not offered:
                break
            answers = [m for m in offered.values() if isinstance(m, inputs.Choice)]
            said = case.symptom if search.phase == "symptom" else None
            taken = inputs.Seen(words=said) if said else (answers or [*offered.values()])[0]
            search = machine.advance(door, search, taken).search


def test_nobody_says_an_energy_state():
    """It comes from the ledger; no phrase stands for it."""
    door = door_for("freezer")
    for said in ([], ["28"], ["28", "safe"]):
        search = machine.start()
        for each in said:
            search = machine.advance(door, search, text.understood(door, search, each)).search
        kinds = {meaning.kind for meaning in accepted(door, search).values()}
        assert "energy-is" not in kinds
        assert "retested" not in kinds


def test_a_named_cause_always_comes_with_a_chance_and_a_question():
    case = all_cases()[0]
    assert by_guide(case).right
    door = door_for(case.door)
    named = fx.Named(cause=case.cause, chance=0.9, sure=True, because="both handles are open")
    assert speak([named], door)[0].endswith("Is it that?")


def test_every_input_of_the_search_can_be_kept_and_read_again():
    kinds = get_args(get_args(inputs.Input)[0])
    assert len(kinds) == 21
    for kind in kinds:
        assert "kind" in kind.model_fields
