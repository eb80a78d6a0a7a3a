"""How long devices wait for a reply, and what a stream costs: real sound through the real server.

    python -m tests.benchmarks.bench_streams --devices 1 --devices 4 --devices 16 --devices 50

Each device works on a job of its own at one server, sends its microphone's sound in real time by
WebSocket from a second process, and says a phrase every six seconds. The wait runs from the last
sample of speech to the first word of the reply; computing is the part of it after the end of the
utterance was found. Processor time is told apart: server with its recognisers, the devices (here
they share the machine's cores), and all other programs, since those make a row slower too.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import subprocess
import sys
import tempfile
import threading
import time
from functools import partial
from pathlib import Path

import numpy as np
from websocket import WebSocket, WebSocketException, create_connection

from assistant.job import Jobs
from assistant.server.app import create_app
from assistant.server.serve import listen
from assistant.speech.audio import to_int16
from assistant.speech.engines import load
from assistant.speech.espeak_voice import EspeakVoice, make_speech
from assistant.speech.recogniser import RATE_HZ
from assistant.speech.workers import Workers, count

ROOT = Path(__file__).resolve().parents[2]
BENCH = ROOT / "tests" / "server" / "bench"
PHRASES = ("say again", "where are we", "read back", "reason")
FRAME = RATE_HZ // 25
NOISE = 20.0
TOGETHER, STAYS = 4, 50
TURN_S = 6.0
LATE_S = 20.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--devices", type=int, action="append", help="how many; may be repeated")
    parser.add_argument("--turns", type=int, default=4, help="of each device")
    parser.add_argument("--engine", default="whisper")
    parser.add_argument("--processes", type=int, default=count(), help="0: in the server's own")
    parser.add_argument("--clients", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.clients:
        waits = speak_at_all(json.loads(options.clients), options.turns)
        print(json.dumps({"waits": waits, "cpu_s": time.process_time()}))
        return
    print(f"engine {options.engine} in {options.processes or 'no'} processes of its own; "
          f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f} before")  # fmt: skip
    print("devices | answered, told to wait | wait p50 / p95 [ms] | computing p50 / p95 [ms] "
          "| cpu a turn: server, recognisers, device [ms] "
          "| cores: ours, devices, others | memory [MB] "
          "| a stream [MB]")  # fmt: skip
    make = partial(load, options.engine)
    recogniser = Workers(make, options.processes) if options.processes else make()
    for devices in options.devices or [1, 4, 16, 50]:
        with tempfile.TemporaryDirectory() as folder:
            row(devices, options.turns, recogniser, Path(folder))


def row(devices: int, turns: int, recogniser, folder: Path) -> None:  # type: ignore[no-untyped-def]
    """One server, so many devices, one line of the table."""
    voice = EspeakVoice(folder / "speech")
    jobs = Jobs(folder, recogniser=recogniser, voice=voice)
    computing: list[float] = []
    try:
        sessions = [jobs.new(BENCH / "job.yaml", BENCH) for _ in range(devices)]
        ids = [session.job_id for session in sessions]
        recogniser.hear(make_speech(PHRASES[0]), sessions[0].expected())  # its first is slow
        for session in sessions:
            session.hear = timed(session.hear, computing)
        with listen(create_app(jobs, ids[0])) as server:
            url = server.url.replace("http", "ws") + "/api/socket"
            before, began, all_began, own_began = memory_mb(), time.monotonic(), busy_s(), cpu_s()
            alone = time.process_time()
            command = [sys.executable, "-m", __spec__.name, "--turns", str(turns)]
            command += ["--clients", json.dumps({"url": url, "jobs": ids})]
            done = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True)
            lasted, after = time.monotonic() - began, memory_mb()
            all_busy, own = busy_s() - all_began, cpu_s() - own_began
            alone = time.process_time() - alone
    finally:
        jobs.store.close()
    found = json.loads(done.stdout.splitlines()[-1])
    each = 1000 / (devices * turns)
    waits = [wait for wait in found["waits"] if wait is not None]
    others = all_busy - own - found["cpu_s"]
    print(f"{devices:7} | {len(waits)}, {len(found['waits']) - len(waits)} of {devices * turns} "
          f"| {percentiles(waits)} | {percentiles(computing)} "
          f"| {alone * each:.0f}, {(own - alone) * each:.0f}, {found['cpu_s'] * each:.0f} "
          f"| {own / lasted:.2f}, {found['cpu_s'] / lasted:.2f}, {others / lasted:.2f} "
          f"| {after:.0f} | {(after - before) / devices:.1f}", flush=True)  # fmt: skip


def timed(hear, computing: list[float]):  # type: ignore[no-untyped-def]
    """The same, noting how long each turn took. [s]"""

    def hear_timed(*args, **named):  # type: ignore[no-untyped-def]
        began = time.monotonic()
        try:
            return hear(*args, **named)
        finally:
            computing.append(time.monotonic() - began)

    return hear_timed


def percentiles(times: list[float]) -> str:
    """Half and 95 of 100 are at most that. [ms]"""
    if not times:
        return "–"
    p50, p95 = np.percentile(1000 * np.array(times), (50, 95))
    return f"{p50:.0f} / {p95:.0f}"


def family() -> list[int]:
    """This process and those it started, but for the devices."""
    return [os.getpid(), *(each.pid for each in multiprocessing.active_children() if each.pid)]


def memory_mb() -> float:
    """What server and recognisers hold, shared memory split among those who share it. [MB]"""
    kilobytes = 0
    for process in family():
        text = Path(f"/proc/{process}/smaps_rollup").read_text(encoding="ascii")
        kilobytes += int(text.split("\nPss:")[1].split()[0])
    return kilobytes / 1000


def cpu_s() -> float:
    """Processor time of server and recognisers so far. [s]"""
    ticks = 0
    for process in family():
        fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2]
        ticks += sum(map(int, fields.split()[11:13]))
    return ticks / os.sysconf("SC_CLK_TCK")


def busy_s() -> float:
    """Processor time of all programs of this machine so far. [s]"""
    first = Path("/proc/stat").read_text(encoding="ascii").splitlines()[0].split()
    ticks = list(map(int, first[1:9]))
    return (sum(ticks) - ticks[3] - ticks[4]) / os.sysconf("SC_CLK_TCK")


# --- the devices, in a process of their own -------------------------------------------------------


def speak_at_all(where: dict, turns: int) -> list[float | None]:  # type: ignore[type-arg]
    """Waits of all devices, in no order: None where the server said that it is behind, nothing
    where no reply came. [s]"""
    said = [make_speech(phrase) for phrase in PHRASES]
    waits: list[float | None] = []
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
    replies: list[tuple[float, bool]] = []
    reader = threading.Thread(target=note_replies, args=(socket, replies), daemon=True)
    reader.start()
    rng = np.random.default_rng(number)
    starts = time.monotonic() + 3.0 + later_s
    time.sleep(3.0 + later_s)
    for turn in range(turns):
        speech = said[(number + turn) % len(said)]
        lead = np.zeros(RATE_HZ // 2, np.int16)
        begun = starts + turn * TURN_S
        stream(socket, begun + TURN_S, np.concatenate([lead, speech]), begun, rng)
        ended = begun + (len(lead) + voiced(speech)) / RATE_HZ
        # A reply that comes after the next turn has begun is too late to count.
        came = [(at, heard) for at, heard in replies if ended < at < begun + TURN_S][:1]
        waits += [at - ended if heard else None for at, heard in came]
    socket.close()


def voiced(speech: np.ndarray) -> int:
    """Number of samples up to the last one that can be heard."""
    return int(np.flatnonzero(np.abs(speech) > 300)[-1]) + 1


def stream(socket: WebSocket, until: float, sound: np.ndarray, begun: float, rng) -> None:  # type: ignore[no-untyped-def]
    """Send sound as the page would: each frame when its last sample is there, and four at once
    when it has been quiet for two seconds (web/audio/bundler.js)."""
    frames = int((until - begun) * RATE_HZ) // FRAME
    padded = np.zeros(frames * FRAME)
    padded[: len(sound)] = sound[: len(padded)]
    noisy = to_int16((padded + rng.normal(0, NOISE, len(padded))) / 32768.0)
    levels = noisy.reshape(frames, FRAME).astype(float).std(1)
    sent = 0
    for place in range(1, frames + 1):
        time.sleep(max(0.0, begun + place * FRAME / RATE_HZ - time.monotonic()))
        quiet = (levels[max(0, place - STAYS) : place] < 2 * NOISE).all()
        if not quiet or place - sent == TOGETHER or place == frames:
            socket.send_binary(noisy[sent * FRAME : place * FRAME].tobytes())
            sent = place


def note_replies(socket: WebSocket, replies: list[tuple[float, bool]]) -> None:
    """The time of each reply's first words, and False if it says that the server is behind."""
    while True:
        try:
            message = json.loads(socket.recv() or "{}")
        except (OSError, ValueError, WebSocketException):
            return
        if message.get("type") == "say" and message.get("part") == 1:
            replies.append((time.monotonic(), not message["text"].startswith("I am behind")))


if __name__ == "__main__":
    main()
