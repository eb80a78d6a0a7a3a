"""Does it help to shift the thresholds to a person's own scores? Prints one line a shift.

    python tests/benchmarks/bench_adaptation.py --snr clean --snr 10

Each person's first half of single digits is the sound check: the middle of their right scores less
everybody's is their shift. The other half is judged with none, half or all of it. Every second
digit is accepted, so that the others are speech that must not be taken.
"""

from __future__ import annotations

import argparse
import json
import os
from collections import defaultdict
from pathlib import Path

import numpy as np

from assistant.speech.audio import mix, read_sound
from assistant.speech.recogniser import Expected
from assistant.speech.whisper_engine import WhisperRecogniser

ROOT = Path(__file__).resolve().parents[2]
SPEECH = Path(os.environ.get("THIRDHAND_SPEECH", ROOT.parent / "shared" / "speech"))
DIGITS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
SCORE, RATIO = -5.5, -2.0  # what a command must reach
FEWEST, MOST = 10, 24


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--snr", action="append", help="clean or a ratio in dB; may be repeated")
    parser.add_argument("--people", type=int, help="only the first so many")
    options = parser.parse_args()
    lines = (SPEECH / "manifest.jsonl").read_text(encoding="utf-8").splitlines()
    by_person = defaultdict(list)
    for entry in map(json.loads, lines):
        if entry["kind"] in ("digit", "command") and entry.get("speaker"):
            by_person[entry["speaker"]].append(entry)
    people = [each[:MOST] for each in by_person.values() if len(each) >= FEWEST]
    recogniser, rng = WhisperRecogniser(), np.random.default_rng(3)
    for snr in options.snr or ["clean", "10"]:
        scored = [heard(recogniser, each, snr, rng) for each in people[: options.people]]
        report(snr, [each for each in scored if len(checked(each)) >= 2])


def heard(recogniser, entries, snr, rng) -> list[tuple[bool, float, float]]:  # type: ignore[no-untyped-def]
    """(right?, score, ratio) of each recording, in order."""
    noises = sorted((SPEECH / "noise").glob("*.flac"))
    out = []
    for number, entry in enumerate(entries):
        samples = read_sound(SPEECH / entry["file"])
        if snr != "clean":
            noise = read_sound(noises[int(rng.integers(len(noises)))])
            samples = mix(samples, noise, float(snr), rng)
        found = recogniser.search(samples, Expected(tuple(DIGITS[number % 2 :: 2])))
        if found.candidates:
            best = found.candidates[0]
            out.append((best.words == entry["text"], best.score, found.ratio))
    return out


def checked(rows: list[tuple[bool, float, float]]) -> np.ndarray:
    """Score and ratio of what was heard rightly in the sound check."""
    return np.array([row[1:] for row in rows[: len(rows) // 2] if row[0]])


def report(snr: str, people: list[list[tuple[bool, float, float]]]) -> None:
    everybody = np.median(np.concatenate([checked(each) for each in people]), axis=0)
    for share in (0.0, 0.5, 1.0):
        taken: dict[bool, list[bool]] = {True: [], False: []}
        for rows in people:
            shift = share * (np.median(checked(rows), axis=0) - everybody)
            for right, score, ratio in rows[len(rows) // 2 :]:
                taken[right].append(score >= SCORE + shift[0] and ratio >= RATIO + shift[1])
        print(f"{snr:>5}, {len(people)} people, {share:.0%} of the shift: "
              f"{sum(taken[True])} of {len(taken[True])} right ones taken, "
              f"{sum(taken[False])} of {len(taken[False])} others", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
