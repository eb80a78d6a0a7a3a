"""A whole job spoken by several voices in noise: is the record that of the typed script?

    python -m tests.benchmarks.bench_job_by_voices --snr 10 --snr 5
    python -m tests.benchmarks.bench_job_by_voices --snr 10 --job pinewharf-d2 --voice rms
    python -m tests.benchmarks.bench_job_by_voices --snr 10 --kokoro FOLDER  # none trained

The script of a demo job goes through endpointer, recogniser and job, once with each voice as the
lead and the next one as the helper, and once with another voice each turn. Under each turn lies
another stretch of noise, drawn by the seed: machines, saw, blows and wind as recorded (in the
folder that THIRDHAND_SPEECH names) and those of `site_noise`. What isn't understood is said again,
what is read back wrong is met with NEGATIVE, and what isn't understood in six tries is typed, as
on site it would be touched.

A value, tag or answer that was taken though it wasn't said counts as logged wrong, and so does any
difference to the record of the typed script. Of the voices only rms is not in the training of the
default model; FOLDER is Kokoro's (models/training/README.md), whose voices kept for judging lead
then. eSpeak's are no people's and count apart. Progress goes to stderr.
"""

from __future__ import annotations

import argparse
import difflib
import functools
import importlib
import itertools
import json
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np

from assistant import rehearse, resources
from assistant.clock import SetClock
from assistant.job import Jobs, JobSession
from assistant.procedure import inputs
from assistant.records.log import verify
from assistant.speech.audio import mix, read_sound, resample, to_int16
from assistant.speech.engines import load
from assistant.speech.hear import wilson
from assistant.speech.recogniser import RATE_HZ, Recogniser
from tests.benchmarks.bench_hearing import ROOT, SPEECH, told
from tests.benchmarks.site_noise import MADE
from tests.speech.voices import say

VOICES = ("joe", "rms", "slt", "awb")
ESPEAK = ("en-us", "en-gb")
#: Of `KOKORO_KEPT` in models/training/gather.py those of people from America and Britain.
KOKORO = ("am_eric", "af_nova", "bf_lily", "bm_lewis", "am_onyx")
SITE = ("engine", "saw", "impact", "wind")  # categories of the recorded noise; never people
_LEAD_IN, _LEAD_OUT = int(0.3 * RATE_HZ), int(0.8 * RATE_HZ)


@dataclass
class Result:
    """What came of a job.

    lines: numbers of the script's lines that were said; first: how many of them were right the
    first time. logged, caught, harmless: heard wrong and taken, read back or refused, and without
    an effect on the record. given_up: typed in the end. unheard: (said, heard) -> how often.
    """

    lines: set[int] = field(default_factory=set)
    turns: int = 0
    first: int = 0
    logged: list[str] = field(default_factory=list)
    caught: list[str] = field(default_factory=list)
    harmless: list[str] = field(default_factory=list)
    given_up: list[str] = field(default_factory=list)
    whole: bool = False
    unheard: Counter[tuple[str, str]] = field(default_factory=Counter)


def site_noises(recorded: bool = True) -> list[np.ndarray]:
    """Noise of a site, int16 at 16 kHz; without the recorded ones what sums can make."""
    made = [make() for make in MADE.values()]
    if not recorded:
        return made
    lines = (SPEECH / "noise" / "manifest.jsonl").read_text(encoding="utf-8").splitlines()
    rows = [json.loads(line) for line in lines]
    return made + [read_sound(SPEECH / "noise" / r["file"]) for r in rows if r["category"] in SITE]


class Crew:
    """Lead and helper in noise: `lead` and the voice after it, or with "in turn" the next voice for
    each new thing that is said."""

    def __init__(
        self,
        lead: str,
        noises: list[np.ndarray],
        snr_db: float,
        seed: int,
        voices: tuple[str, ...] = VOICES,
        speak: Callable[[str, str], np.ndarray] = say,
    ):
        group, self._say = (ESPEAK, say) if lead in ESPEAK else (voices, speak)
        at = group.index(lead) if lead in group else 0
        self._voices = group[at:] + group[:at]
        self._in_turn, self._turn, self._last = lead == "in turn", -1, ""
        self._noises, self._snr_db, self._seed = noises, snr_db, seed
        self._times: Counter[str] = Counter()

    def __call__(self, words: str, who: str) -> np.ndarray:
        """The sound of a turn, noise before, under and after it; int16 at 16 kHz."""
        self._turn += words != self._last
        self._last = words
        at = self._turn if self._in_turn else int(who == "helper")
        voice = self._voices[at % len(self._voices)]
        # By what is said the how-manieth time: a turn more elsewhere changes no other turn's noise.
        said = f"{voice} {words}"
        self._times[said] += 1
        rng = np.random.default_rng([self._seed, self._times[said], *said.encode()])
        speech = np.pad(self._say(words, voice), (_LEAD_IN, _LEAD_OUT))
        noise = self._noises[int(rng.integers(len(self._noises)))]
        return mix(speech, noise, self._snr_db, rng)


def kokoro(folder: Path) -> Callable[[str, str], np.ndarray]:
    """Kokoro's voices: words and the name of one to int16 at 16 kHz."""
    try:
        found = importlib.import_module("kokoro_onnx")  # of training, not of the tests
    except ImportError as missing:
        raise SystemExit(f"{missing}; install models/training/requirements.txt") from missing
    engine = found.Kokoro(str(folder / "model.onnx"), str(folder / "voices.npz"))

    @functools.cache
    def speak(words: str, voice: str) -> np.ndarray:
        lang = "en-gb" if voice[0] == "b" else "en-us"
        wave, rate_hz = engine.create(told(words), voice, lang=lang)
        return to_int16(resample(wave, rate_hz))

    return speak


def begin(folder: Path, job: str, recogniser: Recogniser | None = None) -> tuple[Any, ...]:
    """A job with a clock of its own and challenges that are the same each time."""
    clock, digits = SetClock(), itertools.cycle(("47", "62", "76", "24"))
    jobs = Jobs(folder, recogniser, clock=clock, challenge=lambda: next(digits))
    return jobs, jobs.new(job, "power-entry"), clock


def taken(session: JobSession) -> list[str]:
    """What the log holds as taken, in order: readings, tags, confirmations, answers, states."""
    out = []
    for entry in session.store.entries(session.job_id):
        for effect in entry.body.get("effects", ()):
            keys = _KEPT.get(effect["kind"])
            if keys:
                shown = {k: effect.get(k) for k in ("kind", "step", *keys)}
                if shown.get("value") is not None:  # 0.30 is 0.3
                    shown["value"] = f"{Decimal(shown['value']).normalize():f}"
                out.append(" ".join(str(each) for each in shown.values() if each not in ("", None)))
    return out


_KEPT = {
    "taken": ("word", "tag", "person", "answer"),
    "judged": ("name", "value", "unit", "special", "verdict"),
    "open-point": ("cause", "reason"),
    "energy-now": ("state",),
    "voided": (),
}


def play(
    session: JobSession,
    clock: SetClock,
    lines: list[rehearse.Line],
    sound: rehearse.Say,
    tell: Callable[[Result], None] = lambda so_far: None,
) -> Result:
    """Play all lines; what isn't understood in the end is typed."""
    result = Result()
    left, done = list(lines), [rehearse.Line(0)]

    def fed() -> Iterator[rehearse.Line]:
        while left:
            done.append(left.pop(0))
            yield done[-1]

    while left:
        right = True
        for played in rehearse.play_spoken(session, clock, fed(), sound):
            right = played.right
            if not played.line.wait_s:
                _count(result, played)
                tell(result)
        if right:
            break
        result.given_up.append(done[-1].text)
        asked_for = isinstance(session.meaning(done[-1].wording(1)), inputs.Affirm)
        gone = asked_for and not session.run.pending
        list(rehearse.play_text(session, clock, done[-2:] if gone else done[-1:]))
    return result


def _count(result: Result, played: rehearse.Played) -> None:
    turn = played.turn
    result.turns += 1
    if played.line.number not in result.lines:
        result.lines.add(played.line.number)
        result.first += played.right
    if played.right:
        return
    result.unheard[played.said, turn.heard or "-"] += 1
    kinds = {effect.kind for effect in turn.effects}
    row = f"said '{played.said}', heard '{turn.heard}': {' '.join(turn.replies)}"
    if kinds & {"taken", "judged", "marked", "open-point"}:
        result.logged.append(row)
    elif kinds & {"read-back", "implausible", "wrong-unit"}:
        result.caught.append(row)
    elif turn.input is not None and turn.input.kind != "not-understood":
        result.harmless.append(row)


class Progress:
    """A line on stderr with the time that is left."""

    def __init__(self, lines: int):
        self._lines, self._done, self._began = lines, 0, time.monotonic()
        self.name = ""

    def __call__(self, so_far: Result) -> None:
        done = self._done + len(so_far.lines)
        left_s = (time.monotonic() - self._began) * (self._lines / done - 1)
        shown = f"\r{self.name:20} line {done} of {self._lines}, {left_s:4.0f} s left"
        print(shown, end="", file=sys.stderr, flush=True)

    def ended(self, result: Result) -> None:
        self._done += len(result.lines)


def compared(typed: list[str], spoken: list[str]) -> list[str]:
    """What one record has and the other doesn't, "+" for what only the spoken one has."""
    rows = difflib.ndiff(typed, spoken)
    return [row for row in rows if row[0] in "+-"]


def run_one(
    recogniser: Recogniser, job: str, sound: rehearse.Say, progress: Progress
) -> tuple[Result, list[str]]:
    """Play a job's script typed and spoken; what came of it, and where the records differ."""
    script = resources.steps_dir() / "jobs" / f"{job}.rehearsal.txt"
    lines = rehearse.read_script(script.read_text(encoding="utf-8"), str(script))
    with tempfile.TemporaryDirectory() as folder:
        typed_jobs, typed, clock = begin(Path(folder) / "typed", job)
        list(rehearse.play_text(typed, clock, lines))
        jobs, session, clock = begin(Path(folder) / "spoken", job, recogniser)
        result = play(session, clock, lines, sound, progress)
        progress.ended(result)
        result.whole = session.run.finished and verify(jobs.store, session.job_id).ok
        differs = compared(taken(typed), taken(session))
        typed_jobs.store.close()
        jobs.store.close()
    return result, differs


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--snr", action="append", type=float, help="in dB; may be repeated")
    parser.add_argument("--job", action="append", help="pinewharf-d1, pinewharf-d2; repeatable")
    parser.add_argument("--voice", action="append", help="of the lead; without: all, one a job")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kokoro", type=Path, help="folder with Kokoro's model.onnx, voices.npz")
    parser.add_argument("--espeak", action="store_true", help="eSpeak's voices too")
    parser.add_argument("--engine", default="whisper")
    parser.add_argument("--show", action="store_true", help="each wrong hearing with its answer")
    options = parser.parse_args()
    noises, recogniser = site_noises(), load(options.engine, ROOT / "models")
    group, speak = (KOKORO, kokoro(options.kokoro)) if options.kokoro else (VOICES, say)
    voices = [*(options.voice or [*group, "in turn"]), *(ESPEAK if options.espeak else ())]
    plays = list(itertools.product(options.job or ["pinewharf-d1"], options.snr or [10.0], voices))
    progress = Progress(sum(_lines_of(job) for job, _, _ in plays))
    unheard: Counter[tuple[str, str]] = Counter()
    print("job          | dB | lead    | lines | turns | first time (95 %)   | caught | harmless "
          "| logged wrong | typed | record")  # fmt: skip
    for job, snr_db, voice in plays:
        progress.name = f"{job} {voice}"
        crew = Crew(voice, noises, snr_db, options.seed, group, speak)
        result, differs = run_one(recogniser, job, crew, progress)
        print(file=sys.stderr)
        print(_row(job, snr_db, voice, result, differs), flush=True)
        for row in (*result.logged, *differs):
            print(f"    WRONG {row}")
        if options.show:
            for kind in ("caught", "harmless", "given_up"):
                for row in getattr(result, kind):
                    print(f"    {kind}: {row}")
        unheard += result.unheard
    print("\nMisheard most often (said -> heard):")
    for (said, heard), count in unheard.most_common(25):
        print(f"    {count:3} x {said} -> {heard}")
    return 0


def _lines_of(job: str) -> int:
    script = resources.steps_dir() / "jobs" / f"{job}.rehearsal.txt"
    return sum(not line.wait_s for line in rehearse.read_script(script.read_text("utf-8")))


def _row(job: str, snr_db: float, voice: str, result: Result, differs: list[str]) -> str:
    n = len(result.lines)
    low, high = wilson(result.first, n)
    share = f"{result.first / n:.3f} ({low:.3f}-{high:.3f})"
    record = "whole" if result.whole else "NOT WHOLE"
    wrong = len(result.logged) or ("differs" if differs else 0)
    return (
        f"{job:12} | {snr_db:2.0f} | {voice:7} | {n:5} | {result.turns:5} | {share} | "
        f"{len(result.caught):6} | {len(result.harmless):8} | {wrong!s:12} | "
        f"{len(result.given_up):5} | {record}"
    )


if __name__ == "__main__":
    sys.exit(main())
