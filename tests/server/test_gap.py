"""A hole in the sound is not bridged: what was said on its two sides is no utterance."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.job import Jobs
from assistant.speech.espeak_voice import make_speech
from assistant.speech.recogniser import Expected, Transcript

FRAME_BYTES = 1280
RATE_HZ = 16_000


class Lengths:
    """A recogniser that notes how long each utterance is and takes it for noise."""

    name, model = "lengths", "none"

    def __init__(self) -> None:
        self.heard_s: list[float] = []

    def hear(self, samples: np.ndarray, expected: Expected) -> Transcript:
        self.heard_s.append(len(samples) / RATE_HZ)
        return Transcript("", 0.0, rejected="noise")

    def unknown_words(self, words: set[str]) -> set[str]:
        return set()


@pytest.fixture
def ear() -> Lengths:
    return Lengths()


@pytest.fixture
def jobs(tmp_path: Path, ear: Lengths) -> Iterator[Jobs]:
    found = Jobs(tmp_path, ear)
    yield found
    found.store.close()


def speak(lead: Any, *parts: np.ndarray | str) -> None:
    """Send sound, and signs where a part is the name of one."""
    for part in parts:
        if isinstance(part, str):
            lead.sign(part)
            continue
        data = part.astype("<i2").tobytes()
        for at in range(0, len(data) - FRAME_BYTES + 1, FRAME_BYTES):
            lead.raw(data[at : at + FRAME_BYTES])


def heard(ear: Lengths, count: int = 1) -> list[float]:
    deadline = time.monotonic() + 10
    while len(ear.heard_s) < count and time.monotonic() < deadline:
        time.sleep(0.05)
    return ear.heard_s


@pytest.fixture
def halves() -> list[np.ndarray]:
    """ "four six two volts" cut in the middle, with a silence before and after it."""
    quiet = np.random.default_rng(1).integers(-20, 20, RATE_HZ).astype(np.int16)
    sound = np.concatenate([quiet[:8_000], make_speech("four six two volts"), quiet])
    middle = (8_000 + (len(sound) - 8_000 - RATE_HZ) // 2) // 640 * 640
    return [sound[:middle], sound[middle:]]


def test_without_a_hole_the_whole_is_one_utterance(
    lead: Any, ear: Lengths, halves: list[np.ndarray]
) -> None:
    speak(lead, *halves)
    (whole_s,) = heard(ear)
    assert whole_s > 1.2


def test_what_came_before_a_hole_is_dropped_and_what_comes_after_stands_alone(
    lead: Any, ear: Lengths, halves: list[np.ndarray]
) -> None:
    """ "four ... two" pieced together would be a value that nobody said."""
    speak(lead, halves[0], "gap", halves[1])
    (rest_s,) = heard(ear)
    assert rest_s < 1.4  # half of the words, and the silence around an utterance


def test_a_half_that_nothing_follows_is_no_utterance(
    lead: Any, ear: Lengths, halves: list[np.ndarray]
) -> None:
    speak(lead, halves[0], "gap", np.zeros(RATE_HZ * 2, np.int16))
    time.sleep(1.0)
    assert ear.heard_s == []


def test_a_device_that_connects_anew_in_the_middle_of_a_word_begins_afresh(
    lead: Any, ear: Lengths, halves: list[np.ndarray]
) -> None:
    speak(lead, halves[0])
    lead.until("level")
    lead.drop()
    lead.connect()
    speak(lead, np.zeros(RATE_HZ * 2, np.int16))
    time.sleep(1.0)
    assert ear.heard_s == []


class Done:
    """A recogniser that hears "done" in whatever sounds."""

    name, model = "done", "none"

    def hear(self, samples: np.ndarray, expected: Expected) -> Transcript:
        return Transcript("done", 0.99)

    def unknown_words(self, words: set[str]) -> set[str]:
        return set()


@pytest.mark.parametrize("ear", [Done()], ids=["done"])
def test_words_that_were_stuck_in_the_network_answer_no_question_that_was_not_shown(
    lead: Any,
) -> None:
    """Said twice into a stalled network, "done" arrives twice at once: the second one was said to
    the same question as the first, not to the next.
    """
    quiet = np.random.default_rng(1).integers(-20, 20, RATE_HZ).astype(np.int16)
    word = np.concatenate([quiet[:8_000], make_speech("done"), quiet])
    lead.sign("ack", last=lead.last)  # it shows the first question, and says so
    speak(lead, word)
    assert lead.until("heard")["understood"] == "done"
    second = lead.until("state")["view"]["step"]["id"]
    speak(lead, word)  # the device has not said that it shows the second one
    heard = lead.until("heard")
    assert (heard["understood"], heard["tone"]) == ("not understood: too soon", "not-understood")
    assert lead.view["step"]["id"] == second
    lead.until("say")
    lead.sign("ack", last=lead.last)
    time.sleep(2.0)  # no faster than it can be spoken
    speak(lead, word)
    assert lead.until("heard")["understood"] == "done"
    assert lead.until("state")["view"]["step"]["id"] != second
