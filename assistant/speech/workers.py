"""Recognisers in processes of their own: many devices use all cores.

In the server's process one thread at a time runs Python, and the threads that read the devices'
sound would wait for the recogniser's, whose every step gives the turn away and queues for it again.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import queue
import signal
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import Any

import numpy as np

from assistant.errors import HearingError, ThirdhandError
from assistant.speech.audio import check_samples
from assistant.speech.recogniser import Expected, Recogniser, Transcript

#: An utterance that waited so long for a process isn't heard any more: its reply would come when
#: the person has gone on.
LATE_S = 1.5
STUCK_S = 20.0  # the longest utterance takes less than a tenth of it
MOST = 4
_BEGUN_MOST = 64


def count() -> int:
    """Processes that this machine can keep at work."""
    return min(MOST, os.cpu_count() or 1)


@dataclass(eq=False)
class _Begun:
    samples: np.ndarray
    expected: Expected
    future: Future[Transcript]


class Workers:
    """A recogniser whose `hear` works in the next free process; call it from as many threads.

    Who asked first is heard first. Call `close` at the end; the processes end with this one.
    """

    def __init__(self, load: Callable[[], Recogniser], processes: int, late_s: float = LATE_S):
        """Start the processes and wait until they are ready.

        Parameters
        ----------
        load : callable
            Makes the engine, in each process; a function of a module or a partial of one.
        processes : int
            How many.
        late_s : float
            Waiting time after which an utterance is given up. [s]

        Raises
        ------
        ModelMissing
            If the engine or its model is not on this machine.
        """
        self._late_s = late_s
        self._threads = ThreadPoolExecutor(processes, thread_name_prefix="recogniser")
        self._processes = [_Process(load) for _ in range(processes)]
        self._free: queue.SimpleQueue[_Process] = queue.SimpleQueue()
        try:
            for process in self._processes:
                self.name, self.model = process.ready()
                self._free.put(process)
        except BaseException:
            self.close()
            raise
        self._lock = threading.Lock()
        self._asked = 0  # utterances that wait or are being heard
        self._begun: deque[_Begun] = deque(maxlen=_BEGUN_MOST)

    def hear(self, samples: np.ndarray, expected: Expected) -> Transcript:
        """Recognise one utterance; see `Recogniser.hear`.

        Raises
        ------
        HearingError
            If too many wait, or the process ended; another is started in its place.
        """
        check_samples(samples)
        with self._lock:
            begun = next((b for b in self._begun if np.array_equal(b.samples, samples)), None)
            if begun:
                self._begun.remove(begun)
        if begun and begun.expected == expected:
            return begun.future.result()
        return self._ask(samples, expected).result()

    def ahead(self, samples: np.ndarray, expected: Expected) -> Future[Transcript] | None:
        """See `Eager.ahead`."""
        with self._lock:
            if self._asked >= len(self._processes):
                return None
        future = self._ask(samples, expected)
        with self._lock:
            self._begun.append(_Begun(samples, expected, future))
        return future

    def drop(self, begun: Future[Transcript]) -> None:
        """See `Eager.drop`."""
        with self._lock:
            found = next((b for b in self._begun if b.future is begun), None)
            if found:
                self._begun.remove(found)
        if found:
            begun.cancel()

    def unknown_words(self, words: set[str]) -> set[str]:
        """See `Recogniser.unknown_words`."""
        process = self._free.get()
        try:
            found: set[str] = process.ask("unknown_words", words)
        finally:
            self._free.put(process)
        return found

    def close(self) -> None:
        """End the processes."""
        for process in self._processes:
            process.end()
        self._threads.shutdown(wait=False, cancel_futures=True)

    def _ask(self, samples: np.ndarray, expected: Expected) -> Future[Transcript]:
        with self._lock:
            self._asked += 1
        future = self._threads.submit(self._hear, samples, expected, time.monotonic())
        future.add_done_callback(self._count_down)
        return future

    def _count_down(self, _future: Future[Transcript]) -> None:
        with self._lock:
            self._asked -= 1

    def _hear(self, samples: np.ndarray, expected: Expected, asked_at_s: float) -> Transcript:
        if time.monotonic() - asked_at_s > self._late_s:
            raise HearingError("I am behind.", "Say it again in a moment.")
        process = self._free.get()
        try:
            found: Transcript = process.ask("hear", samples, expected)
        finally:
            self._free.put(process)
        return found


class _Process:
    """One process with an engine; whoever has it asks it alone."""

    def __init__(self, load: Callable[[], Recogniser]):
        self._load = load
        self._start()

    def _start(self) -> None:
        self._ended = False
        # A fork would copy the server's threads' locks as they happen to stand.
        context = multiprocessing.get_context("spawn")
        self._line, theirs = context.Pipe()
        self._process = context.Process(
            target=_work, args=(theirs, self._load), name="recogniser", daemon=True
        )
        self._process.start()
        theirs.close()

    def ready(self) -> tuple[str, str]:
        """Name and model of the engine, once it is loaded."""
        name, model = self._answer()
        return name, model

    def ask(self, method: str, *arguments: Any) -> Any:
        """What the engine's method gives."""
        try:
            self._line.send((method, arguments))
            return self._answer()
        except (EOFError, OSError) as error:  # a TimeoutError is one
            if self._ended:
                raise
            self.end()
            self._start()
            self.ready()
            raise HearingError("Hearing stopped and was started again.", "Say it again.") from error

    def _answer(self) -> Any:
        if not self._line.poll(STUCK_S):
            raise TimeoutError(f"the recogniser gave no answer in {STUCK_S} s")
        worked, found = self._line.recv()
        if not worked:
            raise found
        return found

    def end(self) -> None:
        """End the process; one that is being asked gives no answer."""
        self._ended = True
        self._process.kill()
        self._process.join()


def _work(line: Connection, load: Callable[[], Recogniser]) -> None:
    """What a process does until the line is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the server ends, and with it the line
    with contextlib.suppress(EOFError, OSError):
        try:
            engine = load()
        except ThirdhandError as error:
            line.send((False, error))
            return
        line.send((True, (engine.name, engine.model)))
        while True:
            method, arguments = line.recv()
            try:
                line.send((True, getattr(engine, method)(*arguments)))
            except Exception as error:
                line.send((False, error))
