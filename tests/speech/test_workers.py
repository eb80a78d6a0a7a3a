from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator
from functools import partial

import numpy as np
import pytest

from assistant.errors import AudioError, HearingError, ModelMissing
from assistant.speech.engines import load
from assistant.speech.recogniser import Eager, Expected, Recogniser, Transcript, whole
from assistant.speech.workers import Workers
from tests.speech.voices import say

EXPECTED = Expected(("done", "say again", "stop work", "unable", "unable {free}"))
PHRASES = ("say again", "stop work", "done")


@pytest.fixture(scope="module")
def two() -> Iterator[Workers]:
    try:
        workers = Workers(partial(load, "whisper"), 2)
    except ModelMissing as error:
        pytest.skip(str(error))
    yield workers
    workers.close()


def test_each_of_many_threads_gets_what_the_engine_itself_hears(two: Workers, whisper: Recogniser):
    sounds = [say(phrase) for phrase in PHRASES] * 2
    heard: list[Transcript | None] = [None] * len(sounds)

    def hear(place: int) -> None:
        heard[place] = two.hear(sounds[place], EXPECTED)

    threads = [threading.Thread(target=hear, args=(place,)) for place in range(len(sounds))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    alone = [whisper.hear(sound, EXPECTED) for sound in sounds]
    assert [h and h.text for h in heard] == [a.text for a in alone] == list(PHRASES) * 2
    assert (two.name, two.model) == (whisper.name, whisper.model)
    assert two.unknown_words({"volts", "Ωmega"}) == whisper.unknown_words({"volts", "Ωmega"})


def test_what_was_begun_ahead_is_not_done_twice(two: Workers):
    assert isinstance(two, Eager)
    sound = say("stop work")
    begun = two.ahead(sound, EXPECTED)
    assert begun
    assert two.hear(sound.copy(), EXPECTED) is begun.result()


def test_other_phrases_by_then_are_heard_anew(two: Workers):
    sound = say("stop work")
    begun = two.ahead(sound, Expected(("go ahead",)))
    assert begun
    assert two.hear(sound, EXPECTED).text == "stop work"
    assert begun.result().text == ""


def test_what_was_dropped_is_forgotten(two: Workers):
    sound = say("stop work")
    begun = two.ahead(sound, EXPECTED)
    assert begun
    two.drop(begun)
    again = two.hear(sound, EXPECTED)
    assert again.text == "stop work"
    assert begun.cancelled() or begun.result() is not again


def test_nothing_is_begun_ahead_while_all_are_at_work(two: Workers):
    sound = say("stop work")
    begun = [two.ahead(sound[place:], EXPECTED) for place in range(5)]
    assert begun[0]
    assert None in begun
    assert two.hear(sound, EXPECTED).text == "stop work"


def test_who_asked_first_is_heard_first_and_who_waits_too_long_is_told() -> None:
    workers = Workers(partial(load, "whisper"), 1, late_s=0.4)
    sound, outcome, lock = say("stop work"), [], threading.Lock()

    def hear(place: int) -> None:
        try:
            found = workers.hear(sound, EXPECTED).text
        except HearingError as error:
            found = str(error)
        with lock:
            outcome.append((place, found))

    threads = [threading.Thread(target=hear, args=(place,)) for place in range(40)]
    for thread in threads:
        thread.start()
        time.sleep(0.002)
    for thread in threads:
        thread.join()
    heard = [place for place, found in outcome if found == "stop work"]
    told = {found for place, found in outcome if place not in heard}
    assert heard == sorted(heard)
    assert 1 < len(heard) < 30
    assert told == {"I am behind. Say it again in a moment."}
    assert workers.hear(sound, EXPECTED).text == "stop work", "the crowd is over"
    workers.close()


def test_a_process_that_ends_is_told_and_another_takes_its_place() -> None:
    workers = Workers(partial(load, "whisper"), 1)
    (process,) = workers._processes
    process._process.kill()
    with pytest.raises(HearingError, match="started again"):
        workers.hear(say("stop work"), EXPECTED)
    assert workers.hear(say("stop work"), EXPECTED).text == "stop work"
    last = process._process.pid
    workers.close()
    assert last
    with pytest.raises(ProcessLookupError):
        os.kill(last, 0)


def test_no_model_no_processes():
    with pytest.raises(ModelMissing, match="no engine 'none'"):
        Workers(partial(load, "none"), 2)


def test_sound_of_a_wrong_kind_is_refused_before_it_is_sent(two: Workers):
    with pytest.raises(AudioError):
        two.hear(np.zeros(10), EXPECTED)


@pytest.mark.parametrize(
    ("text", "template", "is_whole"),
    [
        ("done", "done", True),
        ("", None, False),
        ("unable", "unable", False),  # a reason may follow
        ("lockout confirmed", "lockout confirmed", False),  # the digits
        ("lockout confirmed four seven", "lockout confirmed {digits:2}", False),
        ("two oh eight", "{value}", False),  # "decimal five" may follow
        ("it reversed", "it reversed", False),  # weighs as much as a value
    ],
)
def test_only_a_plain_command_that_nothing_follows_is_whole(text, template, is_whole):
    expected = Expected(
        (
            *("done", "unable", "unable {free}", "lockout confirmed", "it reversed", "{value}"),
            "lockout confirmed {digits:2}",
        ),
        weights={"it reversed": "value", "{value}": "value"},
    )
    assert whole(Transcript(text, 0.9, template=template), expected) is is_whole
    rival = Transcript(text, 0.9, template=template, alternatives=("down",))
    assert not whole(rival, expected)
