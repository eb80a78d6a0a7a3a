"""How often an open job takes speech that isn't meant for it, and noise, for an answer.

    python -m tests.benchmarks.bench_false_accepts
    python -m tests.benchmarks.bench_false_accepts --sound FOLDER --only-sound --passes 2
    python -m tests.benchmarks.bench_false_accepts --near-misses

Recordings of other people's speech (`non_command` of the manifest that bench_hearing.py reads, and
the sound files of every folder given) are joined, with gaps, to stretches of some minutes, each in
one noise of the noise folder or of `site_noise` at one level; some are noise alone. A stretch goes,
in frames of 40 ms, through a `Room` of the server with its endpointer, for several states of real
jobs at once, and each utterance is heard against what that state accepts, with the hearing begun in
the silence that ends a plain command early (here its answer is there in the next frame). The job
stands still: every accept is noted, and what the procedure would have made of it.

A state-hour is an hour of sound at one state; one utterance heard at several states isn't several
independent ones. A name of a speaker is a file's folder in a folder given by `--sound`.
"""

from __future__ import annotations

import argparse
import dataclasses
import hashlib
import itertools
import json
import multiprocessing
import os
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import Future
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import chi2

from assistant import rehearse
from assistant.clock import SetClock
from assistant.dialogue import grammar
from assistant.dialogue.interpret import interpret
from assistant.job import Jobs
from assistant.procedure import effects as fx
from assistant.procedure import inputs, machine
from assistant.procedure.gates import addressed
from assistant.procedure.model import Plan
from assistant.procedure.run import Run
from assistant.server.ear import Ear
from assistant.server.link import Link
from assistant.server.messages import Hello
from assistant.server.room import Room, Seat
from assistant.speech.audio import active_level_dbfs, level_dbfs, read_sound, to_int16
from assistant.speech.detector import voice_detector
from assistant.speech.endpoint import Endpointer, Utterance
from assistant.speech.engines import load
from assistant.speech.hear import kept_aside
from assistant.speech.recogniser import RATE_HZ, Expected, Transcript
from tests.benchmarks.bench_hearing import ROOT, SPEECH
from tests.benchmarks.site_noise import MADE
from tests.packs import helpful
from tests.packs.test_whole_jobs import said_at
from tests.speech.voices import FLITE_VOICES, PIPER_VOICES, say

FRAME = RATE_HZ // 25
JUDGED = 512  # samples that the voice detector judges at a time
STRETCH_S = 180.0
LEVEL_DBFS = -26.0
LEVELS = ("clean", "20", "10", "5", "noise")
NOISE_ALONE = 8  # one stretch of noise alone for so many of speech
JOBS = ("pinewharf-d1", "pinewharf-d3", "pinewharf-d2-service")
SOUNDS = (".wav", ".flac", ".ogg", ".g722", ".mp3")
DOES = ("opens a gate", "moves on", "keeps a remark", "holds the work")
HARMS = (*DOES, "takes back", "reads back first", "changes nothing", "asks again")
# What people at a door say to one another in the words of the assistant.
NEAR_MISSES = (
    "is it done yet|don't say stop work|the lockout is not confirmed|I can't confirm the lockout|"
    "he said the power is on over there|we are not done here|that one was done yesterday|"
    "do you want to go ahead with lunch|he told me to go back to the van|can you say that again|"
    "I would say the limits are wrong|what is the reason for that|it isn't locked off|"
    "don't go ahead yet|they cannot clear it to energize before three|"
    "it won't be clear to energize|"
    "yes I know what you mean|no no that is the other door|I never said affirm|"
    "lockout can't be confirmed four seven|I was unable to get the part|"
    "could you call the helper on your phone|take a photo of it for the customer|"
    "the beam was blocked all morning|it reversed twice and then it stopped|"
    "about twenty four volts I think|one two three lift|three of them are missing|"
    "number four is the bad one|the lock is off the gate at the back|"
    "stand by the door and hold the ladder|stop working on that and come over here|"
    "did you measure again|the correction came by mail|lockout confirmed my foot|"
    "I asked whether lockout was confirmed|we're nearly clear to energize|dead slow and stop|"
    "slower please you are driving too fast|all clear on the road|hand over the screwdriver|"
    "the door is open|it's closed now|is the cover closed|go to the motor and look|"
    "calculate how much we owe them|read it back to the office|the customer is wrong"
)


# --- what the job stands at ----------------------------------------------------------------------


@dataclasses.dataclass(frozen=True)
class State:
    """Where a job stands, and what it accepts there."""

    kind: str
    job: str
    plan: Plan
    run: Run
    expected: Expected


def states_of(job: str) -> Iterator[State]:
    """The states that a job passes through when all is answered as it should be."""
    with tempfile.TemporaryDirectory() as folder:
        digits = itertools.cycle(("47", "62", "76", "24", "39", "58"))
        clock = SetClock()
        jobs = Jobs(Path(folder), clock=clock, challenge=lambda: next(digits))
        session = jobs.new(job)
        for person in session.plan.job.people:
            session.join(person, person)
        for line in helpful.lines(session, said_at(job)):
            plan, run = session.plan, session.run
            if not line.startswith("wait "):
                yield State(kind_of(plan, run), job, plan, run, session.expected())
            for _ in rehearse.play_text(session, clock, rehearse.read_script(line)):
                pass
        for cause in ("stop-work", "stand-by"):
            at = machine.advance(plan, run, event(plan, run, inputs.Command(name=cause))).run
            yield State("work held", job, plan, at, grammar.expected(plan, at))
        jobs.store.close()


def kind_of(plan: Plan, run: Run) -> str:
    """The kind of state, by which the table is broken down."""
    step = plan.step(run.at or "")
    if run.pending:
        gate = run.pending.kind == "challenge" or plan.step(run.pending.step).gate
        return "gate read back" if gate else "value read back"
    if step.expects.challenge:
        return str(step.expects.challenge)
    if step.gate:
        return "gate step"
    if step.pack == "safety-tests":
        return "safety test"
    if step.expects.reading or step.expects.tag:
        return "value"
    return "choice" if step.expects.choice else "command"


def event(plan: Plan, run: Run, what: inputs.Input) -> inputs.Event:
    """What was heard, said by who may answer."""
    step = plan.step(run.at or "")
    who = run.pending.who if run.pending else addressed(run, step)[0]
    return inputs.Event(input=what, at_s=run.last_s + 4, who=who, via="voice")


def harm(state: State, heard: Transcript) -> str:
    """What the procedure would have made of it."""
    plan, run = state.plan, state.run
    what = interpret(heard, plan, run)
    if isinstance(what, inputs.NotUnderstood):
        return "asks again"
    if isinstance(what, inputs.Guide):
        return "moves on"
    out = machine.advance(plan, run, event(plan, run, what))
    after = out.run
    kinds = {type(effect) for effect in out.effects}
    if after.ledger.state != run.ledger.state and fx.Voided not in kinds:
        return "opens a gate"
    if fx.Voided in kinds or (after.held and not run.held):
        return "holds the work"
    if after.pending and after.pending != run.pending:
        return "reads back first"
    if fx.Noted in kinds:
        return "keeps a remark"
    if isinstance(what, inputs.Negative) and run.pending and not after.pending:
        return "takes back"  # what was read back is asked for again, nothing is recorded
    moved = ("at", "marks", "readings", "sum", "pending", "held", "failing", "clear", "instrument")
    if any(getattr(after, name) != getattr(run, name) for name in moved):
        return "moves on"
    return "asks again" if fx.AskAgain in kinds else "changes nothing"


# --- the room ------------------------------------------------------------------------------------


class Heard:
    """The engine as a room asks it: begins ahead, answers at once, hears nothing twice."""

    def __init__(self, engine: Any):
        self.name, self.model, self._engine = engine.name, engine.model, engine
        self._last: tuple[bytes, Transcript] = (b"", Transcript("", 0.0))

    def hear(self, samples: np.ndarray, expected: Expected) -> Transcript:
        digest = hashlib.sha256(samples.tobytes()).digest()
        if self._last[0] != digest:
            self._last = digest, self._engine.hear(samples, expected)
        return self._last[1]

    def ahead(self, samples: np.ndarray, expected: Expected) -> Future[Transcript]:
        future: Future[Transcript] = Future()
        future.set_result(self.hear(samples, expected))
        return future

    def drop(self, begun: Future[Transcript]) -> None:
        pass

    def unknown_words(self, words: set[str]) -> set[str]:
        found: set[str] = self._engine.unknown_words(words)
        return found


class StandingJob:
    """A job at one state that notes what it hears and never moves."""

    def __init__(self, state: State, engine: Any):
        self.state, self.recogniser = state, Heard(engine)

    def expected(self) -> Expected:
        return self.state.expected


class OpenRoom(Room):
    """A room that listens all the time; what goes to the job is heard and noted in `taken`."""

    def __init__(self, state: State, engine: Any, probabilities: np.ndarray):
        self.session = StandingJob(state, engine)  # type: ignore[assignment]
        self._eager = self.session.recogniser  # type: ignore[assignment]
        self.at_s = 0.0
        self._clock = lambda: self.at_s
        self.view = {"listening": "open"}
        self.utterances = 0
        self.taken: list[tuple[Utterance, Transcript]] = []
        ear = Ear(lambda: judged_endpointer(probabilities), self._clock)
        hello = Hello(device="phone", role="lead", headset=True)
        self.seat = Seat(Link("phone", "lead"), ear, hello, 0.0)

    def frame(self, data: bytes) -> None:
        """Take 40 ms of sound."""
        self.at_s += FRAME / RATE_HZ
        self.hear(self.seat, data)

    def _pass_on(self, seat: Seat, found: list[Utterance]) -> None:
        for one in found:
            self.utterances += 1
            heard = self.session.recogniser.hear(one.samples, self.session.expected())
            if heard.text:
                self.taken.append((one, heard))


class _Judged:
    """A detector that has judged the stream already, for all rooms that hear it."""

    def __init__(self, probabilities: np.ndarray):
        self._left = iter(probabilities)

    def process_chunk(self, audio: bytes) -> float:
        return float(next(self._left))


def judged_endpointer(probabilities: np.ndarray) -> Endpointer:
    ear = Endpointer()
    ear._detector = _Judged(probabilities)
    return ear


def judge_stream(sound: np.ndarray) -> np.ndarray:
    """Probability of speech for each 32 ms. [1]"""
    detector = voice_detector()
    starts = range(0, len(sound) // JUDGED * JUDGED, JUDGED)
    return np.array([detector.process_chunk(sound[s : s + JUDGED].tobytes()) for s in starts])


# --- the sound -----------------------------------------------------------------------------------


@dataclasses.dataclass(frozen=True)
class Clip:
    """Somebody's speech. text: what is said, "" if nobody wrote it down."""

    file: Path
    speaker: str
    text: str


@dataclasses.dataclass(frozen=True)
class Stretch:
    """A piece of the stream: its clips, its noise, and which states hear it."""

    number: int
    group: str
    clips: tuple[Clip, ...]
    level: str
    noise: int
    states: tuple[int, ...]


def clips_of(options: argparse.Namespace, scratch: Path) -> list[Clip]:
    """Everything that is to be heard once."""
    clips = []
    if not (options.only_sound or options.near_misses):
        lines = (SPEECH / "manifest.jsonl").read_text(encoding="utf-8").splitlines()
        for entry in map(json.loads, lines):
            if entry["kind"] == "non_command":
                clips.append(Clip(SPEECH / entry["file"], entry["speaker"], entry["text"] or ""))
    for folder in options.sound:
        files = sorted(p for p in folder.rglob("*") if p.suffix.lower() in SOUNDS)
        clips += [Clip(f, f.parent.name, f"({f.stem})") for f in files]
    if options.near_misses:
        clips += near_misses(scratch)
    return clips


def near_misses(scratch: Path) -> list[Clip]:
    """Talk on a site as said by each natural voice that is on this machine."""
    clips = []
    for voice, text in itertools.product((*PIPER_VOICES, *FLITE_VOICES), NEAR_MISSES.split("|")):
        file = scratch / f"{voice}-{len(clips):03}.npy"
        try:
            np.save(file, say(text, voice))
        except pytest.skip.Exception as missing:
            print(f"without the voice {voice}: {missing}", file=sys.stderr)
            continue
        clips.append(Clip(file, voice, text))
    return clips


def stretches(
    clips: list[Clip], options: argparse.Namespace, kinds: list[list[int]], noises: int
) -> list[Stretch]:
    """The stream in pieces. kinds: numbers of the states of each kind."""
    chance = random.Random(options.seed)
    turns = itertools.cycle(range(len(kinds)))
    found: list[Stretch] = []

    def add(group: str, chosen: list[Clip], level: str) -> None:
        states = tuple(chance.choice(kinds[next(turns)]) for _ in range(options.states))
        noise = chance.randrange(noises)
        found.append(Stretch(len(found), group, tuple(chosen), level, noise, states))

    for number in range(options.passes):
        for aside in (False, True):
            some = [c for c in clips if kept_aside(c.speaker) is aside]
            chance.shuffle(some)
            group = "speakers kept aside" if aside else "other speakers"
            levels = itertools.cycle(LEVELS[:4])
            for _ in range(number):
                next(levels)
            chosen: list[Clip] = []
            length_s = 0.0
            for clip in some:
                chosen.append(clip)
                length_s += length_of(clip) + 1.65
                if length_s >= STRETCH_S:
                    add(group, chosen, next(levels))
                    chosen, length_s = [], 0.0
            if chosen:
                add(group, chosen, next(levels))
    for _ in range(max(1, len(found) // NOISE_ALONE) if not options.near_misses else 0):
        add("noise alone", [], "noise")
    return found


def length_of(clip: Clip) -> float:
    return len(sound_of(clip)) / RATE_HZ


def sound_of(clip: Clip) -> np.ndarray:
    return np.load(clip.file) if clip.file.suffix == ".npy" else read_sound(clip.file)


def at_level(samples: np.ndarray, by_db: float) -> np.ndarray:
    return samples / 32768.0 * 10 ** (by_db / 20)


def make(stretch: Stretch, noises: list[np.ndarray], seed: int) -> tuple[np.ndarray, list[Any]]:
    """Sound of a stretch, and (start, end, text) of its clips. [s]"""
    rng = np.random.default_rng([seed, stretch.number])
    parts: list[np.ndarray] = []
    said: list[Any] = []
    count = 0
    for clip in stretch.clips:
        gap = np.zeros(int(rng.uniform(0.3, 3.0) * RATE_HZ))
        sound = sound_of(clip)
        level_by = LEVEL_DBFS - active_level_dbfs(sound) if len(sound) else 0.0
        parts += [gap, at_level(sound, level_by + float(rng.uniform(-3, 3)))]
        start = count + len(gap)
        count = start + len(sound)
        said.append((start / RATE_HZ, count / RATE_HZ, clip.text))
    parts.append(np.zeros(RATE_HZ if stretch.clips else int(STRETCH_S * RATE_HZ)))
    wave = np.concatenate(parts)
    noise = noises[stretch.noise]
    if stretch.level == "clean":
        return to_int16(wave + rng.normal(0, 10 ** (-75 / 20), len(wave))), said
    under = 0.0 if stretch.level == "noise" else float(stretch.level)
    first = int(rng.integers(len(noise)))
    loop = np.take(noise, np.arange(first, first + len(wave)), mode="wrap")
    return to_int16(wave + at_level(loop, LEVEL_DBFS - under - level_dbfs(noise))), said


# --- one stretch ---------------------------------------------------------------------------------

_shared: dict[str, Any] = {}  # of a process


def begin(engine: str) -> None:
    """Load the engine in this process; one sound is encoded once for all states."""
    found = load(engine, ROOT / "models")
    encode = getattr(found, "_encode", None)
    if encode:

        @lru_cache(maxsize=4)
        def once(mel: bytes, shape: tuple[int, ...]) -> Any:
            return encode(np.frombuffer(bytearray(mel), np.float32).reshape(shape))

        found._encode = lambda mel: once(mel.tobytes(), mel.shape)  # type: ignore[attr-defined]
    _shared["engine"] = found


def listen(stretch: Stretch) -> dict[str, Any]:
    """What became of one stretch."""
    states: list[State] = _shared["states"]
    sound, said = make(stretch, _shared["noises"], _shared["seed"])
    chances = judge_stream(sound)
    rooms = [OpenRoom(states[each], _shared["engine"], chances) for each in stretch.states]
    for at in range(0, len(sound) // FRAME * FRAME, FRAME):
        for room in rooms:
            room.frame(sound[at : at + FRAME].tobytes())
    taken = []
    for room in rooms:
        state = room.session.state  # type: ignore[attr-defined]
        for one, heard in room.taken:
            weight = state.expected.weights.get(heard.template or "", "command")
            words = " / ".join(t for a, b, t in said if a < one.end_s and b > one.start_s)
            taken.append({
                "stretch": stretch.number, "group": stretch.group, "level": stretch.level,
                "at_s": round(one.start_s, 2), "kind": state.kind, "job": state.job,
                "step": state.run.at, "weight": weight, "taken": heard.text,
                "template": heard.template, "harm": harm(state, heard),
                "heard": heard.heard, "said": words, "confidence": round(heard.confidence, 3),
                "digest": hashlib.sha256(one.samples.tobytes()).hexdigest()[:12],
            })  # fmt: skip
    return {
        "number": stretch.number,
        "group": stretch.group,
        "level": stretch.level,
        "kinds": [room.session.state.kind for room in rooms],  # type: ignore[attr-defined]
        "hours": len(sound) / RATE_HZ / 3600,
        "utterances": rooms[0].utterances,
        "taken": taken,
    }


# --- the table -----------------------------------------------------------------------------------


def interval(count: int, hours: float) -> str:
    """How often in 10 hours, with the exact 95 % interval of a Poisson count.

    References
    ----------
    .. [1] Garwood, F., Fiducial limits for the Poisson distribution, Biometrika 28 (1936), 437-442.
    """
    if not hours:
        return "–"
    low = chi2.ppf(0.025, 2 * count) / 2 if count else 0.0
    high = chi2.ppf(0.975, 2 * count + 2) / 2
    return f"{10 * count / hours:.2f} ({10 * low / hours:.2f} to {10 * high / hours:.2f})"


def rows(results: list[dict[str, Any]]) -> Iterator[tuple[str, float, list[dict[str, Any]]]]:
    """Name, state-hours and what was taken: all, each group, each level, each kind of state."""
    every = [each for result in results for each in result["taken"]]
    yield "all", sum(r["hours"] * len(r["kinds"]) for r in results), every
    for key in ("group", "level"):
        for name in dict.fromkeys(r[key] for r in results):
            hours = sum(r["hours"] * len(r["kinds"]) for r in results if r[key] == name)
            yield f"{key}: {name}", hours, [t for t in every if t[key] == name]
    kinds: Counter[str] = Counter()
    for result in results:
        for kind in result["kinds"]:
            kinds[kind] += result["hours"]
    for kind, hours in sorted(kinds.items()):
        yield f"state: {kind}", hours, [t for t in every if t["kind"] == kind]


def report(results: list[dict[str, Any]]) -> None:
    """Print the tables."""
    hours = sum(r["hours"] for r in results)
    utterances = sum(r["utterances"] for r in results)
    states = sum(r["hours"] * len(r["kinds"]) for r in results)
    print(f"{hours:.2f} h of sound, {utterances} utterances, {states:.1f} state-hours")
    print("rows | state-hours | " + " | ".join(HARMS) + " | command, value, gate | "
          "does something, in 10 state-hours (95 %)")  # fmt: skip
    for name, row_hours, taken in rows(results):
        harms = Counter(each["harm"] for each in taken)
        weights = Counter(each["weight"] for each in taken)
        does = sum(harms[each] for each in DOES)
        print(f"{name} | {row_hours:.2f} | " + " | ".join(str(harms[each]) for each in HARMS)
              + f" | {weights['command']}, {weights['value']}, {weights['gate']}"
              + f" | {interval(does, row_hours)}")  # fmt: skip
    every = [each for result in results for each in result["taken"]]
    apart = Counter((t["group"], t["harm"]) for t in {t["digest"]: t for t in every}.values())
    print("utterances that were taken in any state:", dict(sorted(apart.items())))
    for (words, what, heard), count in Counter(
        (t["taken"], t["harm"], t["heard"]) for t in every if t["group"] != "speakers kept aside"
    ).most_common():
        print(f"    {count} x {words!r} ({what}), free text {heard!r}")


def progress(results: Iterable[dict[str, Any]], count: int) -> Iterator[dict[str, Any]]:
    """The same, with a bar and the time left on standard error."""
    began = time.monotonic()
    for number, result in enumerate(results, 1):
        yield result
        left_s = (time.monotonic() - began) / number * (count - number)
        bar = "#" * (30 * number // count)
        print(f"\r[{bar:30}] {number} of {count}, {left_s / 60:.0f} min left ",
              end="" if number < count else "\n", file=sys.stderr, flush=True)  # fmt: skip


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sound", type=Path, action="append", default=[], help="folder of sound")
    parser.add_argument("--only-sound", action="store_true", help="leave the manifest out")
    parser.add_argument("--near-misses", action="store_true", help="made voices, talk of a site")
    parser.add_argument("--passes", type=int, default=1, help="each recording so often, other "
                        "order and noise; repeated speech is not independent")  # fmt: skip
    parser.add_argument("--states", type=int, default=4, help="states that hear each stretch")
    parser.add_argument("--engine", default="whisper")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--stride", type=int, default=1, help="take every n-th stretch only")
    parser.add_argument("--details", type=Path, help="file for one line a stretch")
    options = parser.parse_args()
    if not (SPEECH / "manifest.jsonl").is_file():
        print(f"{SPEECH}/manifest.jsonl is missing; set THIRDHAND_SPEECH", file=sys.stderr)
        return 2
    noises = [read_sound(file) for file in sorted((SPEECH / "noise").glob("*.flac"))]
    noises += [each() for each in MADE.values()]
    states = [state for job in JOBS for state in states_of(job)]
    kinds: dict[str, list[int]] = {}
    for number, state in enumerate(states):
        kinds.setdefault(state.kind, []).append(number)
    print("states: " + ", ".join(f"{len(v)} {k}" for k, v in sorted(kinds.items())))
    with tempfile.TemporaryDirectory() as scratch:
        clips = clips_of(options, Path(scratch))
        numbers = [kinds[kind] for kind in sorted(kinds)]
        plan = stretches(clips, options, numbers, len(noises))[:: options.stride]
        _shared.update(states=states, noises=noises, seed=options.seed)
        # A fork: plans and runs needn't travel.
        context = multiprocessing.get_context("fork")
        with context.Pool(options.processes, begin, (options.engine,)) as pool:
            found = list(progress(pool.imap_unordered(listen, plan), len(plan)))
    found.sort(key=lambda result: result["number"])
    if options.details:
        lines = [json.dumps(result, ensure_ascii=False) for result in found]
        options.details.write_text("\n".join(lines) + "\n", encoding="utf-8")
    report(found)
    return 0


if __name__ == "__main__":
    sys.exit(main())
