"""Where speech starts and ends in a stream of sound.

The voice detector (Silero, its weights come inside its package) judges 32 ms at a time. An
utterance keeps a little of what came before, so that a soft first sound isn't cut off.
"""

from __future__ import annotations

import heapq
from collections import deque
from dataclasses import dataclass

import numpy as np

from assistant.speech.audio import check_samples, frames_to_samples, level_dbfs
from assistant.speech.detector import voice_detector
from assistant.speech.recogniser import RATE_HZ

_FRAME = 512  # the only size that the detector takes
_FRAME_S = _FRAME / RATE_HZ
_TAIL_FRAMES = round(0.2 / _FRAME_S)
_LEVEL_FRAMES = 3
#: Somebody else in the background is so far below who speaks into the microphone; a soft end of a
#: word isn't, over this time. Of 60 strings of digits 12 dB cut one in two, 15 dB none.
_FAINT_DB, _LATELY_FRAMES = 15.0, 5
_LOUD_FRAMES = 6  # longer than a bang


@dataclass(frozen=True)
class Utterance:
    """One stretch of speech with a little silence at each end.

    samples: int16 array, mono at 16 kHz.
    start_s, end_s: where the samples lie in the stream. [s]
    cut: True if it was ended by its length and not by silence.
    """

    samples: np.ndarray
    start_s: float
    end_s: float
    cut: bool = False


class Endpointer:
    """Cuts a stream into utterances; one for each stream, chunks of any size."""

    def __init__(
        self,
        silence_s: float = 0.6,
        pre_roll_s: float = 0.3,
        longest_s: float = 12.0,
        threshold: float = 0.5,
    ):
        """Make an endpointer.

        Parameters
        ----------
        silence_s : float
            Silence that ends an utterance. [s]
        pre_roll_s : float
            Sound kept from before the speech. [s]
        longest_s : float
            An utterance is cut here; a voice in the background may go on for ever. [s]
        threshold : float
            Probability of speech that starts an utterance; less keeps it going. [1]

        Raises
        ------
        ModelMissing
            If the voice detector isn't installed.
        """
        self._detector = voice_detector()
        self._threshold = threshold
        self._quiet_frames = max(1, round(silence_s / _FRAME_S))
        self._longest_frames = max(1, round(longest_s / _FRAME_S))
        self._before: deque[np.ndarray] = deque(maxlen=max(2, round(pre_roll_s / _FRAME_S) + 2))
        self._pending = np.zeros(0, np.int16)
        self._recent: deque[np.ndarray] = deque(maxlen=_LEVEL_FRAMES)
        self._speech: list[np.ndarray] = []
        self._loudest: list[float] = []  # levels of the loudest frames of `_speech`, a heap [dBFS]
        self._lately: deque[float] = deque(maxlen=_LATELY_FRAMES)  # levels [dBFS]
        self._started = 0  # number of the frame that `_speech` begins with
        self._frame = 0
        self._rising = 0
        self._quiet = 0
        self._held = False
        self._paused: Utterance | None = None

    @property
    def paused(self) -> Utterance | None:
        """What ends if nothing more is said; the same object until it ends or speech goes on."""
        return self._paused

    @property
    def speaking(self) -> bool:
        """True between the start and the end of an utterance."""
        return bool(self._speech) or self._held

    @property
    def level_dbfs(self) -> float:
        """Level of the last tenth of a second. [dBFS]"""
        if not self._recent:
            return level_dbfs(self._pending)
        return level_dbfs(np.concatenate(self._recent))

    @property
    def position_s(self) -> float:
        """Length of the stream so far. [s]"""
        return self._frame * _FRAME_S + len(self._pending) / RATE_HZ

    def feed(self, chunk: bytes | bytearray | memoryview | np.ndarray) -> list[Utterance]:
        """Take more of the stream and give the utterances that ended in it.

        Parameters
        ----------
        chunk : bytes or int16 array, shape (n,)
            Mono sound at 16 kHz, of any length.

        Raises
        ------
        AudioError
            If the chunk isn't that.
        """
        if isinstance(chunk, np.ndarray):
            check_samples(chunk)
        else:
            chunk = frames_to_samples(chunk)
        self._pending = np.concatenate([self._pending, chunk])
        ended = []
        whole = len(self._pending) // _FRAME * _FRAME
        for at in range(0, whole, _FRAME):
            utterance = self._take(self._pending[at : at + _FRAME])
            if utterance:
                ended.append(utterance)
        self._pending = self._pending[whole:]
        return ended

    def hold(self) -> None:
        """Take everything from now on, speech or not, until `flush` (push to talk)."""
        if not self.speaking:
            self._begin()
        self._held = True

    def flush(self) -> list[Utterance]:
        """End what is being said now: the button was let go, or the stream is over."""
        if not self.speaking:
            return []
        rest = self._pending
        self._pending = np.zeros(0, np.int16)
        if len(rest):
            self._speech.append(rest)
        spoken = [self._end(cut=False, tail=len(self._speech))] if self._speech else []
        self._held = False
        # The stream goes on at a whole frame; the odd end belongs to the frame before.
        self._frame += 1 if len(rest) else 0
        return spoken

    def end(self) -> list[Utterance]:
        """End what is paused, without waiting for the rest of the silence."""
        return [self._end(cut=False, tail=_TAIL_FRAMES)] if self._paused else []

    def _take(self, frame: np.ndarray) -> Utterance | None:
        probability = self._detector.process_chunk(frame.tobytes())
        self._recent.append(frame)
        self._frame += 1
        if not self.speaking:
            self._before.append(frame)
            # Two frames in a row: a knock lasts only one.
            self._rising = self._rising + 1 if probability >= self._threshold else 0
            if self._rising >= 2:
                self._begin()
            return None
        self._speech.append(frame)
        keeps_on = probability >= self._threshold - 0.15 and not self._faint(frame)
        self._quiet = 0 if keeps_on else self._quiet + 1
        if not self._quiet:
            self._paused = None
        elif self._quiet == _TAIL_FRAMES and not self._held:
            self._paused = self._utterance(self._speech)
        if len(self._speech) >= self._longest_frames:
            return self._end(cut=True, tail=len(self._speech))
        if self._quiet >= self._quiet_frames and not self._held:
            return self._end(cut=False, tail=_TAIL_FRAMES)
        return None

    def _faint(self, frame: np.ndarray) -> bool:
        """True if this is far below who has been speaking: somebody else, further away."""
        level = level_dbfs(frame)
        self._lately.append(level)
        if len(self._loudest) < _LOUD_FRAMES:
            heapq.heappush(self._loudest, level)
            return False
        heapq.heappushpop(self._loudest, level)
        return max(self._lately) < self._loudest[0] - _FAINT_DB

    def _begin(self) -> None:
        self._speech = list(self._before)
        self._started = self._frame - len(self._speech)
        self._before.clear()
        self._lately.clear()
        self._loudest.clear()
        self._rising = self._quiet = 0

    def _end(self, cut: bool, tail: int) -> Utterance:
        kept = self._speech[: len(self._speech) - max(0, self._quiet - tail)]
        utterance = self._utterance(kept, cut)
        # What is left over may hold the first sound of the next utterance.
        self._before.extend(self._speech[len(kept) :])
        self._speech = []
        self._quiet = self._rising = 0
        self._paused = None
        return utterance

    def _utterance(self, frames: list[np.ndarray], cut: bool = False) -> Utterance:
        samples = np.concatenate(frames)
        start_s = self._started * _FRAME_S
        return Utterance(samples, start_s, start_s + len(samples) / RATE_HZ, cut)
