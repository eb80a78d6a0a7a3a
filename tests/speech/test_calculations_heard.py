"""A calculation asked for aloud: real voices through the real recogniser, in noise."""

from __future__ import annotations

import pytest

from assistant import rehearse
from assistant.dialogue.grammar import expected
from assistant.dialogue.interpret import interpret
from assistant.dialogue.language import language
from assistant.procedure import inputs
from tests.packs.cases import Played
from tests.speech.voices import say

# The answers to each question in turn, and what they come to.
LINES = (
    ("calculate voltage loss", None),
    ("twelve amps", "current 12 A"),
    ("eighty five feet", "length 85 ft"),
    ("twelve gauge", "section 12 AWG"),
)


def put(job: Played, words: str, voice: str, recogniser, seed: int):
    sound = rehearse.add_noise(say(words, voice), 20, seed=seed)
    heard = recogniser.hear(sound, expected(job.plan, job.run))
    what = interpret(heard, job.plan, job.run)
    job.put(what, "lead", "voice")
    return what


@pytest.mark.parametrize("voice", ["joe", "rms"])
def test_a_calculation_is_asked_for_and_answered_by_voice(voice, whisper):
    """Each line within three tries, as a person repeats what was asked again."""
    job = Played.start("power-entry", "pinewharf-d1")
    seed = 0
    for words, wanted in LINES:
        for _ in range(3):
            seed += 1
            what = put(job, words, voice, whisper, seed)
            if not isinstance(what, inputs.NotUnderstood):
                break
        assert job.run.sum is not None, words
        if wanted:
            assert " ".join(job.run.sum.given[-1]) == wanted, what
    assert job.run.sum.result is not None


def test_the_names_of_the_calculations_are_told_apart_by_ear(whisper):
    """Every name in one voice at 20 dB: none is taken for another, eight of ten calculations are
    taken by one of their names."""
    job = Played.start("power-entry", "pinewharf-d1")
    names = language().texts["sums"]["names"]
    taken = {}
    spoken = [(name, said) for name, forms in names.items() for said in forms]
    for seed, (name, said) in enumerate(spoken):
        sound = rehearse.add_noise(say(f"calculate {said}", "slt"), 20, seed=seed)
        heard = whisper.hear(sound, expected(job.plan, job.run))
        what = interpret(heard, job.plan, job.run)
        if isinstance(what, inputs.Calculate):
            taken[name] = what.name
    assert {name: got for name, got in taken.items() if got != name} == {}
    assert len(taken) >= 0.8 * len(names), sorted(set(names) - set(taken))
