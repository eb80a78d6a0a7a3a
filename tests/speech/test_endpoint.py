from __future__ import annotations

import numpy as np
import pytest

from assistant.errors import AudioError
from assistant.speech.audio import mix, to_int16
from assistant.speech.endpoint import Endpointer
from tests.speech.voices import say

SENTENCES = ("yes", "lockout confirmed four seven", "two oh eight volts")


@pytest.fixture(scope="module")
def stream() -> tuple[np.ndarray, list[tuple[float, float]]]:
    """Three sentences with two seconds between them, and where each is spoken."""
    hiss = to_int16(np.random.default_rng(2).normal(0, 3e-4, 32_000))
    parts, spans, at = [hiss], [], len(hiss)
    for sentence in SENTENCES:
        speech = say(sentence, "en-us")
        spans.append(((at + 5000) / 16_000, (at + len(speech) - 5000) / 16_000))
        parts += [speech, hiss]
        at += len(speech) + len(hiss)
    return np.concatenate(parts), spans


@pytest.mark.parametrize("size", [160, 512, 777, 5000])
def test_each_sentence_is_one_utterance_whatever_the_size_of_the_chunks(stream, size):
    samples, spans = stream
    endpointer, found = Endpointer(), []
    for at in range(0, len(samples), size):
        found += endpointer.feed(samples[at : at + size].tobytes())
    assert len(found) == len(SENTENCES)
    for utterance, (start_s, end_s) in zip(found, spans, strict=True):
        assert utterance.start_s < start_s - 0.1, "some silence is kept before the first sound"
        assert utterance.end_s > end_s - 0.25
        length_s = utterance.end_s - utterance.start_s
        assert len(utterance.samples) == pytest.approx(length_s * 16_000)
        first = round(utterance.start_s * 16_000)
        assert (utterance.samples == samples[first : first + len(utterance.samples)]).all()
    assert not endpointer.speaking


def test_sentences_are_found_under_noise(stream):
    samples, _ = stream
    noise = to_int16(np.random.default_rng(3).normal(0, 0.05, 48_000))
    noisy = mix(samples, noise, 10.0, np.random.default_rng(4))
    endpointer = Endpointer()
    found = endpointer.feed(noisy) + endpointer.flush()
    assert len(found) == len(SENTENCES)


def test_noise_alone_is_no_utterance():
    endpointer = Endpointer()
    noise = to_int16(np.random.default_rng(3).normal(0, 0.1, 80_000))
    assert endpointer.feed(noise) == []
    assert endpointer.flush() == []
    assert endpointer.level_dbfs == pytest.approx(-20, abs=1)


def test_endless_speech_is_cut_at_the_longest_length():
    speech = np.concatenate([say("lockout confirmed four seven", "en-us")[5000:-5000]] * 4)
    found = Endpointer(longest_s=2.0).feed(speech)
    assert found
    assert found[0].cut
    assert len(found[0].samples) == pytest.approx(32_000, abs=600)


def test_letting_go_of_the_button_ends_the_utterance_at_once(stream):
    samples, spans = stream
    endpointer = Endpointer()
    inside = int((spans[1][0] + 0.8) * 16_000)
    assert len(endpointer.feed(samples[:inside])) == 1
    assert endpointer.speaking
    (utterance,) = endpointer.flush()
    assert utterance.end_s == pytest.approx(inside / 16_000, abs=0.05)
    assert not endpointer.speaking


def test_a_held_button_takes_what_no_detector_would():
    endpointer = Endpointer()
    quiet = np.zeros(16_000, np.int16)
    endpointer.feed(quiet)
    endpointer.hold()
    assert endpointer.speaking
    assert endpointer.feed(quiet) == []
    (utterance,) = endpointer.flush()
    assert len(utterance.samples) >= 16_000
    assert endpointer.flush() == []


def test_bad_chunks_are_refused():
    with pytest.raises(AudioError):
        Endpointer().feed(b"odd")
    with pytest.raises(AudioError):
        Endpointer().feed(np.zeros(10))


def test_what_is_paused_is_what_ends_if_the_silence_goes_on(stream):
    samples, _ = stream
    endpointer, found, paused = Endpointer(), [], []
    for at in range(0, len(samples), 512):
        found += endpointer.feed(samples[at : at + 512])
        if endpointer.paused and endpointer.paused is not (paused or [None])[-1]:
            paused.append(endpointer.paused)
    last = [[p for p in paused if p.start_s == u.start_s][-1] for u in found]
    assert len(found) == len(SENTENCES)
    for early, utterance in zip(last, found, strict=True):
        assert early.end_s == utterance.end_s
        assert (early.samples == utterance.samples).all()
    assert endpointer.paused is None


def test_what_is_paused_can_be_ended_at_once(stream):
    samples, spans = stream
    endpointer, at = Endpointer(), 0
    while not endpointer.paused:
        assert endpointer.feed(samples[at : at + 512]) == []
        at += 512
    assert at / 16_000 < spans[0][1] + 0.6
    paused = endpointer.paused
    (utterance,) = endpointer.end()
    assert (utterance.samples == paused.samples).all()
    assert endpointer.end() == []
    assert not endpointer.speaking
    rest = [u for place in range(at, len(samples), 512)
            for u in endpointer.feed(samples[place : place + 512])]  # fmt: skip
    assert len(rest) == len(SENTENCES) - 1
