"""Where speech ends beside running machines, other people, a bad microphone, hours of silence."""

from __future__ import annotations

import gc
from pathlib import Path

import numpy as np
import pytest

from assistant.speech.audio import mix, read_sound, to_int16
from assistant.speech.endpoint import Endpointer, Utterance
from tests.speech.voices import say

WORDS = ("lockout confirmed four seven", "done", "two oh eight volts", "where are we")
LONGEST_WAIT_S = 1.2  # after the last sound; 0.6 of it are the silence that ends a turn


def spoken(words: str) -> np.ndarray:
    sound = say(words)
    loud = np.flatnonzero(np.abs(sound) > 300)
    return sound[loud[0] : loud[-1]]


@pytest.fixture(scope="module")
def turns() -> tuple[np.ndarray, list[tuple[float, float]]]:
    """Four things said, three seconds apart, and where each lies. [s]"""
    parts, spans, at_s = [], [], 0.0
    for words in WORDS:
        speech = spoken(words)
        parts += [np.zeros(48_000, np.int16), speech]
        spans.append((at_s + 3.0, at_s + 3.0 + len(speech) / 16_000))
        at_s = spans[-1][1]
    return np.concatenate([*parts, np.zeros(48_000, np.int16)]), spans


def cut_out(sound: np.ndarray) -> list[tuple[Utterance, float]]:
    """Each utterance and when it was known to have ended. [s]"""
    endpointer, found = Endpointer(), []
    for at in range(0, len(sound), 640):
        now_s = min(at + 640, len(sound)) / 16_000
        found += [(each, now_s) for each in endpointer.feed(sound[at : at + 640])]
    return found


def check(sound: np.ndarray, spans: list[tuple[float, float]]) -> list[str]:
    """What is wrong with each turn."""
    faults, found = [], cut_out(sound)
    for start_s, end_s in spans:
        hit = [(u, at) for u, at in found if u.start_s < end_s and u.end_s > start_s]
        if len(hit) != 1:
            faults.append(f"{start_s:.1f} s: {len(hit)} utterances")
            continue
        ((utterance, known_s),) = hit
        if utterance.start_s > start_s + 0.05 or utterance.end_s < end_s - 0.05:
            faults.append(f"{start_s:.1f} s: a part is missing")
        if known_s > end_s + LONGEST_WAIT_S:
            faults.append(f"{start_s:.1f} s: open for {known_s - end_s:.1f} s more")
    return faults


def machines() -> dict[str, np.ndarray]:
    """A compressor that hums and beats, a hammer drill, an angle grinder, made by formula."""
    rng = np.random.default_rng(5)
    t = np.arange(8 * 16_000) / 16_000
    hum = sum(np.sin(2 * np.pi * 50 * k * t) / k for k in (1, 2, 3, 4, 6))
    hiss = rng.normal(0, 1, len(t))
    beat = 1 + 0.6 * np.sign(np.sin(2 * np.pi * 11 * t))
    drill = hiss * (np.sin(2 * np.pi * 45 * t) > 0.6) * (np.sin(2 * np.pi * 0.3 * t) > -0.5)
    whine = np.sin(2 * np.pi * 1900 * t + 3 * np.sin(2 * np.pi * 0.7 * t)) + 0.5 * hiss
    return {
        name: to_int16(0.1 * sound / np.abs(sound).max())
        for name, sound in (("compressor", hum * beat), ("drill", drill), ("grinder", whine))
    }


@pytest.mark.parametrize("name", ["compressor", "grinder"])
@pytest.mark.parametrize("snr_db", [10.0, 5.0])
def test_a_running_machine_neither_holds_a_turn_open_nor_cuts_it(turns, name, snr_db):
    sound, spans = turns
    assert check(mix(sound, machines()[name], snr_db, np.random.default_rng(0)), spans) == []


def test_a_hammer_drill_may_hide_a_word_but_holds_no_turn_open(turns):
    sound, spans = turns
    drill = machines()["drill"]
    assert check(mix(sound, drill, 20.0, np.random.default_rng(0)), spans) == []
    for snr_db in (10.0, 5.0):
        found = cut_out(mix(sound, drill, snr_db, np.random.default_rng(0)))
        for start_s, end_s in spans:
            hit = [(u, at) for u, at in found if u.start_s < end_s and u.end_s > start_s]
            assert all(u.end_s > end_s - 0.05 and at < end_s + 2.0 for u, at in hit)
        assert len(found) >= 3


@pytest.mark.parametrize("snr_db", [10.0, 5.0])
def test_recorded_noise_of_a_site_spoils_hardly_a_turn(turns, speech_dir: Path, snr_db):
    sound, spans = turns
    clips = [p for p in sorted((speech_dir / "noise").glob("*.flac")) if "babble" not in p.stem]
    faults = {
        clip.stem: check(mix(sound, read_sound(clip), snr_db, np.random.default_rng(0)), spans)
        for clip in clips
    }
    count = sum(map(len, faults.values()))
    assert count <= 0.1 * len(clips) * len(spans), faults


def test_other_people_in_the_background_do_not_hold_a_turn_open(turns, speech_dir: Path):
    sound, spans = turns
    faults = [
        check(mix(sound, read_sound(clip), 20.0, np.random.default_rng(0)), spans)
        for clip in sorted((speech_dir / "noise").glob("babble*.flac"))
    ]
    assert faults == [[], []]


def test_a_bang_while_somebody_speaks_does_not_end_the_turn():
    speech = spoken("lockout confirmed four seven")
    bang = np.random.default_rng(2).normal(0, 1, 2400) * np.exp(-np.arange(2400) / 600)
    sound = np.concatenate([np.zeros(16_000), speech / 4, np.zeros(16_000)])
    sound[26_000:28_400] += bang * 20_000
    spans = [(1.0, 1.0 + len(speech) / 16_000)]
    assert check(to_int16(sound / 32768), spans) == []


def test_a_microphone_that_clips_is_cut_out_as_well_as_a_good_one(turns):
    sound, spans = turns
    loud = np.clip(sound.astype(np.int32) * 8, -32768, 32767).astype(np.int16)
    assert np.mean(np.abs(loud[loud != 0]) > 32_000) > 0.2
    assert check(loud, spans) == []


def test_an_hour_of_silence_takes_no_memory():
    endpointer = Endpointer()
    minute = np.random.default_rng(1).integers(-12, 12, 60 * 16_000).astype(np.int16)

    def held_mb() -> float:
        gc.collect()
        status = Path("/proc/self/statm")
        if not status.exists():
            pytest.skip("the system tells no memory")
        return int(status.read_text(encoding="ascii").split()[1]) * 4096 / 1e6

    for _ in range(2):
        assert endpointer.feed(minute) == []
    before = held_mb()
    for _ in range(58):
        assert endpointer.feed(minute) == []
    assert endpointer.position_s == pytest.approx(3600)
    assert held_mb() - before < 5
