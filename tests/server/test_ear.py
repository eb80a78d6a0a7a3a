"""Sound counts when it should, and not while a loudspeaker speaks or comes too fast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from assistant.server.ear import BURST_S, ECHO_TAIL_S, Ear
from assistant.server.messages import MessageError

FRAME = b"\0\0" * 640  # 40 ms
FRAME_S = 0.04


@dataclass(frozen=True)
class Piece:
    samples: np.ndarray
    start_s: float
    end_s: float


class EveryTenFrames:
    """An endpointer that finds an utterance in every ten frames."""

    level_dbfs, speaking = -20.0, True

    def __init__(self) -> None:
        self.frames = 0

    def feed(self, data: bytes) -> list[Piece]:
        self.frames += 1
        return [Piece(np.zeros(0, np.int16), 0, 0)] if self.frames % 10 == 0 else []

    def flush(self) -> list[Piece]:
        return [Piece(np.zeros(0, np.int16), 0, 0)] if self.frames % 10 else []


class Bench:
    def __init__(self) -> None:
        self.now_s = 0.0
        self.ear = Ear(EveryTenFrames, lambda: self.now_s)  # type: ignore[arg-type]

    def frames(self, count: int, why_not: str = "") -> int:
        found = 0
        for _ in range(count):
            self.now_s += FRAME_S
            found += len(self.ear.feed(FRAME, why_not))
        return found


def test_an_open_ear_hears() -> None:
    assert Bench().frames(30) == 3


def test_what_was_begun_before_a_reply_is_not_pieced_together_after_it() -> None:
    bench = Bench()
    assert bench.frames(9) == 0
    assert bench.frames(20, "reply") == 0
    bench.ear.shut(ECHO_TAIL_S)
    assert bench.frames(7) == 0  # the tail
    level = bench.ear.level()
    assert level is not None
    assert (level.open, level.why, level.speaking) == (False, "reply", False)
    bench.now_s += 0.1
    bench.ear.shut()
    assert bench.frames(9) == 0
    assert bench.frames(1) == 1


def test_letting_go_of_the_talk_button_ends_the_utterance() -> None:
    bench = Bench()
    bench.frames(5)
    assert len(bench.ear.finish()) == 1
    bench.frames(5, "push-to-talk")
    assert bench.ear.finish() == []


def test_a_change_is_shown_at_once_and_the_rest_four_times_a_second() -> None:
    bench = Bench()
    shown = []
    for why in [""] * 25 + ["reply"] * 2:
        bench.frames(1, why)
        shown.append(bench.ear.level())
    assert sum(level is not None for level in shown[:25]) in (4, 5)
    assert shown[25] is not None
    assert not shown[25].open


def test_sound_faster_than_speech_is_refused_and_a_stall_is_not() -> None:
    bench = Bench()
    for _ in range(int(BURST_S / FRAME_S) - 1):
        bench.ear.feed(FRAME, "")
    bench.ear.feed(FRAME[: len(FRAME) // 2], "")
    with pytest.raises(MessageError, match="faster"):
        bench.ear.feed(FRAME, "")
    bench.now_s += 3.0
    bench.frames(100)
