"""How long devices wait for a reply, and what a stream costs: real sound through the real server.

    python -m tests.benchmarks.bench_streams --devices 1 --devices 8 --devices 50

Each device works on a job of its own at one server with one recogniser, sends its microphone's
sound in real time by WebSocket from a second process, and says a phrase every six seconds. The
latency runs from the last sample of speech to the first word of the reply; the silence that the
endpointer waits for is part of it and is printed beside it.
"""

from __future__ import annotations

import argparse
import inspect
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
from websocket import WebSocket, WebSocketException, create_connection

from assistant.job import Jobs
from assistant.server.app import create_app
from assistant.server.serve import listen
from assistant.speech.audio import to_int16
from assistant.speech.endpoint import Endpointer
from assistant.speech.engines import load
from assistant.speech.espeak_voice import EspeakVoice, make_speech
from assistant.speech.recogniser import RATE_HZ

ROOT = Path(__file__).resolve().parents[2]
BENCH = ROOT / "tests" / "server" / "bench"
PHRASES = ("say again", "where are we", "limits", "reason")
FRAME = RATE_HZ // 25
TURN_S = 6.0
LATE_S = 20.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--devices", type=int, action="append", help="how many; may be repeated")
    parser.add_argument("--turns", type=int, default=4, help="of each device")
    parser.add_argument("--engine", default="whisper")
    parser.add_argument("--clients", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.clients:
        print(json.dumps(speak_at_all(json.loads(options.clients), options.turns)))
        return
    silence_s = inspect.signature(Endpointer).parameters["silence_s"].default
    print(f"engine {options.engine}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} before; "
          f"{silence_s} s of silence end an utterance")  # fmt: skip
    print("devices | turns | replies | p50 [ms] | p95 [ms] | p50 without silence [ms] "
          "| cpu [s/turn] | server [MB] | a stream [MB]")  # fmt: skip
    recogniser = load(options.engine)
    for count in options.devices or [1, 4, 8]:
        with tempfile.TemporaryDirectory() as folder:
            row(count, options.turns, recogniser, Path(folder), silence_s)


def row(count: int, turns: int, recogniser, folder: Path, silence_s: float) -> None:  # type: ignore[no-untyped-def]
    """One server, so many devices, one line of the table."""
    voice = EspeakVoice(folder / "speech")
    jobs = Jobs(folder, recogniser=recogniser, voice=voice)
    try:
        ids = [jobs.new(BENCH / "job.yaml", BENCH).job_id for _ in range(count)]
        with listen(create_app(jobs, ids[0])) as server:
            url = server.url.replace("http", "ws") + "/api/socket"
            before, used = memory_mb(), time.process_time()
            command = [sys.executable, "-m", __spec__.name, "--turns", str(turns)]
            command += ["--clients", json.dumps({"url": url, "jobs": ids})]
            done = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True)
            after, used = memory_mb(), time.process_time() - used
    finally:
        jobs.store.close()
    waits = 1000 * np.array(json.loads(done.stdout.splitlines()[-1]))
    p50, p95 = np.percentile(waits, (50, 95)) if len(waits) else (np.nan, np.nan)
    print(f"{count:7} | {count * turns:5} | {len(waits):7} | {p50:8.0f} | {p95:8.0f} "
          f"| {p50 - 1000 * silence_s:24.0f} | {used / (count * turns):12.2f} | {after:11.0f} "
          f"| {(after - before) / count:13.1f}", flush=True)  # fmt: skip


def memory_mb() -> float:
    """What the process holds in memory. [MB]"""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


# --- the devices, in a process of their own -------------------------------------------------------


def speak_at_all(where: dict, turns: int) -> list[float]:  # type: ignore[type-arg]
    """Waits of all devices, in no order; a reply that never came is left out. [s]"""
    said = [make_speech(phrase) for phrase in PHRASES]
    waits: list[float] = []
    count = len(where["jobs"])
    threads = [
        threading.Thread(
            target=device,
            args=(where["url"], job, number, TURN_S * number / count, said, turns, waits),
        )
        for number, job in enumerate(where["jobs"])
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return waits


def device(url, job, number, later_s, said, turns, waits) -> None:  # type: ignore[no-untyped-def]
    socket = create_connection(url, timeout=LATE_S, suppress_origin=True)
    hello = {"type": "hello", "n": 0, "device": f"phone-{number}", "role": "lead", "job": job}
    socket.send(json.dumps({**hello, "headset": True, "session": "", "last": 0, "key": ""}))
    replies: list[float] = []
    reader = threading.Thread(target=note_replies, args=(socket, replies), daemon=True)
    reader.start()
    rng = np.random.default_rng(number)
    starts = time.monotonic() + 3.0 + later_s
    stream(socket, starts, np.zeros(0, np.int16), 0, rng)
    for turn in range(turns):
        speech = said[(number + turn) % len(said)]
        silence = np.zeros(int(TURN_S * RATE_HZ) - len(speech), np.int16)
        begun = starts + turn * TURN_S
        stream(socket, begun + TURN_S, np.concatenate([speech, silence]), begun, rng)
        ended = begun + voiced(speech) / RATE_HZ
        # A reply that comes after the next turn has begun is too late to count.
        waits += [at - ended for at in replies if ended < at < begun + TURN_S][:1]
    socket.close()


def voiced(speech: np.ndarray) -> int:
    """Number of samples up to the last one that can be heard."""
    return int(np.flatnonzero(np.abs(speech) > 300)[-1]) + 1


def stream(socket: WebSocket, until: float, sound: np.ndarray, begun: float, rng) -> None:  # type: ignore[no-untyped-def]
    """Send sound as a microphone would: each frame when its last sample is there."""
    begun = begun or time.monotonic()
    frames = int((until - begun) * RATE_HZ) // FRAME
    padded = np.zeros(frames * FRAME)
    padded[: len(sound)] = sound[: len(padded)]
    noisy = to_int16((padded + rng.normal(0, 20, len(padded))) / 32768.0)
    for place in range(frames):
        time.sleep(max(0.0, begun + (place + 1) * FRAME / RATE_HZ - time.monotonic()))
        socket.send_binary(noisy[place * FRAME : (place + 1) * FRAME].tobytes())


def note_replies(socket: WebSocket, replies: list[float]) -> None:
    """The time of each reply's first words, until the connection ends."""
    while True:
        try:
            message = json.loads(socket.recv() or "{}")
        except (OSError, ValueError, WebSocketException):
            return
        if message.get("type") == "say" and message.get("part") == 1:
            replies.append(time.monotonic())


if __name__ == "__main__":
    main()
