"""One device's microphone stream on its way to utterances: when it counts, and when it doesn't."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from assistant.server.messages import RATE_HZ, Level, MessageError
from assistant.speech.audio import frames_to_samples, level_dbfs

if TYPE_CHECKING:
    from assistant.speech.endpoint import Endpointer, Utterance

ECHO_TAIL_S = 0.3  # a loudspeaker's last word is still on its way through the microphone
LEVEL_EVERY_S = 0.25
BURST_S = 5.0  # sound that may arrive at once, after a stall of the link
FLOOD_RATE = 1.25  # times real time that is taken in the long run


class Ear:
    """Frames in, utterances out. Used by the one thread that reads the device's connection."""

    def __init__(
        self,
        make_endpointer: Callable[[], Endpointer],
        clock: Callable[[], float] = time.monotonic,
    ):
        self._make, self._clock = make_endpointer, clock
        self._endpointer = make_endpointer()
        self._closed_why = ""
        self._shut_until_s = 0.0
        self._level_at_s, self._latest = -math.inf, b""
        self._credit_s, self._credit_at_s = BURST_S, clock()
        self._heard_s = 0.0  # stream time before the present endpointer's
        self._fed_s = 0.0

    def shut(self, tail_s: float = 0.0) -> None:
        """Forget what was begun, and take nothing for `tail_s`."""
        self._heard_s += self._fed_s
        self._fed_s = 0.0
        self._endpointer = self._make()
        self._shut_until_s = max(self._shut_until_s, self._clock() + tail_s)

    def feed(self, data: bytes, why_not: str) -> list[Utterance]:
        """Utterances that end in these bytes; none while `why_not` says why answers don't count.

        Raises
        ------
        MessageError
            If sound comes faster than it can have been spoken.
        """
        now = self._clock()
        self._credit_s += (now - self._credit_at_s) * FLOOD_RATE
        self._credit_s, self._credit_at_s = min(self._credit_s, BURST_S), now
        length_s = len(data) / 2 / RATE_HZ
        if length_s > self._credit_s:
            raise MessageError(
                "sound comes faster than it can be spoken", "send frames as they are captured"
            )
        self._credit_s -= length_s
        if not why_not and now < self._shut_until_s:
            why_not = "reply"
        if why_not != self._closed_why:
            self._level_at_s = -math.inf  # a change is shown at once
            if why_not:
                self.shut()
        self._closed_why = why_not
        self._fed_s += length_s
        if why_not:
            # Measured only: to look for speech that doesn't count would cost the most of all.
            self._latest = data
            return []
        return self._endpointer.feed(data)

    @property
    def offset_s(self) -> float:
        """Stream time at which the endpointer's own time is zero. [s]"""
        return self._heard_s

    def finish(self) -> list[Utterance]:
        """What was being said when the person let go of the talk button."""
        return [] if self._closed_why else list(self._endpointer.flush() or [])

    @property
    def paused(self) -> Utterance | None:
        """What ends if nothing more is said, see `Endpointer.paused`."""
        return None if self._closed_why else self._endpointer.paused

    def end(self) -> list[Utterance]:
        """End what is paused."""
        return list(self._endpointer.end())

    def level(self) -> Level | None:
        """What to show of the sound, or None if that was shown just now."""
        now = self._clock()
        if now < self._level_at_s + LEVEL_EVERY_S:
            return None
        self._level_at_s = now
        dbfs = (
            level_dbfs(frames_to_samples(self._latest))
            if self._closed_why
            else self._endpointer.level_dbfs
        )
        return Level(
            dbfs=round(max(-99.0, dbfs), 1),
            speaking=bool(self._endpointer.speaking) and not self._closed_why,
            open=not self._closed_why,
            why=self._closed_why,
        )
