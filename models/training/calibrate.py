"""Choose by consequence what an answer must reach, on people who were kept out of training.

    python calibrate.py score --bundle BUNDLE --kept KEPT --noise NOISE --base MODEL \
        --model NAME=WEIGHTS.pt --out scores.jsonl --workers 16
    python calibrate.py choose --scores scores.jsonl --model NAME --like untuned --out demands.json

`score` searches every clip once; `choose` needs seconds and prints the whole curve. The people
are the quarter that `train.py --hold-out` leaves out (`held_out`); the synthetic voices are those
of `gather.py --part kept`. `judge.py --demands` then judges on the evaluation third.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parents[1]), str(HERE.parents[1] / "tests" / "benchmarks")]

from bench_hearing import COMMANDS, DIGITS, STEP  # noqa: E402
from facts import accepted, facts  # noqa: E402
from judge import recogniser  # noqa: E402
from train import held_out  # noqa: E402

from assistant.speech import whisper_engine as engine  # noqa: E402
from assistant.speech.audio import mix, read_sound  # noqa: E402
from assistant.speech.recogniser import RATE_HZ, Expected  # noqa: E402
from assistant.speech.templates import canonical  # noqa: E402

NOISES_DB = (None, 10.0, 5.0)
DRAWS = 1
UNITS = ("volts", "amps")


def expected(phrases: list[str]) -> Expected:
    """Weights as in bench_hearing."""
    return Expected(tuple(phrases), UNITS, {p: "value" for p in phrases if "{" in p})


PHRASES = {
    "commands": expected(COMMANDS.split()),
    "digit": expected(DIGITS.split()),
    "strings": expected(["{digits}"]),
    "other/commands": expected(COMMANDS.split()),
    "other/step": expected(STEP.split("|")),
}


def clips(bundle: Path, kept: Path | None) -> list[tuple[str, str, np.ndarray]]:
    """(kind, words, sound) of everyone held out, digits also joined into strings."""
    found, digits = [], {}
    for index in [bundle / "recordings.jsonl", *([kept / "kept.jsonl"] if kept else [])]:
        sound = _read(index.with_suffix(".ogg"))
        for line in index.read_text(encoding="utf-8").splitlines():
            entry = json.loads(line)
            voice, kind = entry["voice"], entry["kind"]
            if not (held_out(voice) or voice.startswith("kept-")) or kind == "babble":
                continue
            part = sound[entry["at"] : entry["at"] + entry["length"]]
            found.append((kind, entry["words"], part))
            if kind == "digits" and " " not in entry["words"]:
                digits.setdefault(voice, []).append((entry["words"], part))
    pick = random.Random(5)
    singles = [d for said in digits.values() for d in said]
    for _ in range(60):
        joined = [pick.choice(singles) for _ in range(pick.choice((2, 3, 4)))]
        quiet = np.zeros(RATE_HZ // 20, np.int16)
        sounds = [s for _, d in joined for s in (d, quiet)]
        found.append(("digits", " ".join(w for w, _ in joined), np.concatenate(sounds)))
    return found


def _read(path: Path) -> np.ndarray:
    sound, rate = soundfile.read(path, dtype="int16")
    return np.ascontiguousarray(sound[:: rate // RATE_HZ])


def groups(kind: str, words: str) -> list[str]:
    if kind == "command":
        return ["commands"] if words in COMMANDS.split() else []
    if kind == "digits":
        single = words in DIGITS.split()
        return ["digit"] if single else ["strings"] if set(words.split()) <= {*_SAID} else []
    return ["other/commands", "other/step"] if kind == "other" else []


_SAID = (*DIGITS.split(), "oh")


def score(job: tuple) -> list[dict[str, object]]:
    """Facts of one part of the clips with one model."""
    name, what, base, bundle, kept, noise, part, of = job
    noises = [read_sound(p) for p in sorted(Path(noise).glob("*.flac"))]
    ear, rows = recogniser(what, base), []
    for number, (kind, words, sound) in enumerate(clips(Path(bundle), kept and Path(kept))):
        if number % of != part:
            continue
        rng = np.random.default_rng(number)
        for snr_db in NOISES_DB:
            for _ in range(1 if snr_db is None else DRAWS):
                laid = sound
                if snr_db is not None:
                    laid = mix(sound, noises[int(rng.integers(len(noises)))], snr_db, rng)
                for group in groups(kind, words):
                    rows.append(_row(ear, laid, group, words))
                    rows[-1] |= {"model": name, "snr": snr_db, "clip": number}
    return rows


def _row(
    ear: engine.WhisperRecogniser, sound: np.ndarray, group: str, words: str
) -> dict[str, object]:
    wanted = PHRASES[group]
    search = ear.search(sound, wanted)
    row = {"set": group, "text": words} | (facts(search, wanted) or {})
    if "heard" in row:
        demand = engine._DEMANDS[str(row["weight"])]
        said = engine.judge(search, wanted, len(sound) / RATE_HZ)
        row["same"] = bool(said.text) == accepted(row, demand, engine._NO_SPEECH)
        row["right"] = canonical(str(row["heard"])) == canonical(words)
    return row


def count(rows: list[dict], demand: engine._Demand, no_speech: float) -> tuple[int, int, int]:
    """Right answers, wrong answers, and answers to other speech."""
    right = wrong = false = 0
    for row in rows:
        if accepted(row, demand, no_speech):
            other = row["set"].startswith("other")
            false += other
            right += not other and row["right"]
            wrong += not other and not row["right"]
    return right, wrong, false


#: Sets that tell about an answer of some consequence. No gate was recorded: its demand is the
#: command's, made stricter.
SETS = {
    "command": ("commands", "digit", "other/commands"),
    "value": ("strings", "other/step"),
}


def choose(options: argparse.Namespace) -> int:
    rows = [json.loads(line) for line in options.scores.read_text().splitlines()]
    odd = sum(not r.get("same", True) for r in rows)
    print(f"{len(rows)} searches; {odd} where the facts and the engine disagree")
    chosen: dict[str, dict[str, float]] = {}
    for weight, sets in SETS.items():
        mine = [r for r in rows if r["set"] in sets and r.get("weight", weight) == weight]
        now = engine._DEMANDS[weight]
        before = count([r for r in mine if r["model"] == options.like], now, engine._NO_SPEECH)
        of = sum(not r["set"].startswith("other") for r in rows_of(rows, options.like, sets))
        others = len(rows_of(rows, options.like, sets)) - of
        print(f"\n{weight}: {options.like} {before} of {of}, {others} of other speech")
        ours = [r for r in mine if r["model"] == options.model]
        tried = []
        for ratio in (-3.0, -2.0, -1.5, -1.0, -0.7, -0.4, -0.2, 0.0, 0.2, 0.5):
            for least in (-7.0, -5.5, -4.5, -3.5, -3.0, -2.5, -2.0, -1.6, -1.2, -0.9, -0.6):
                for margin in (-9.0, 0.3, 0.7, 1.0, 1.5, 2.0, 2.5, 3.0):
                    rivals = max(now.rivals, margin + 0.5)
                    demand = replace(now, ratio=ratio, score=least, margin=margin, rivals=rivals)
                    tried.append((count(ours, demand, engine._NO_SPEECH), demand))
        print(
            "| right | wrong | false | ratio | score | margin |\n"
            "| --- | --- | --- | --- | --- | --- |"
        )
        best: dict[int, tuple] = {}
        for (right, wrong, false), demand in tried:
            bad = wrong + false
            if bad not in best or right > best[bad][0][0]:
                best[bad] = ((right, wrong, false), demand)
        most = -1
        for bad in sorted(best):
            (right, wrong, false), demand = best[bad]
            if right > most:
                most = right
                print(f"| {right} | {wrong} | {false} | {demand.ratio} | {demand.score} "
                      f"| {demand.margin} |")  # fmt: skip

        # A share of the untuned model's wrong answers and false accepts, or as near as can be.
        def excess(found: tuple[int, int, int], before: tuple = before) -> float:
            return sum(max(0.0, found[i] - before[i] / options.fewer) for i in (1, 2))

        bound = [t for t in tried if t[0][0] >= options.least * before[0]]

        # Among equals the strictest: it costs nothing that was seen.
        def order(each: tuple) -> tuple:
            counts, demand = each
            strict = (-demand.ratio, -demand.score, -demand.margin)
            return (excess(counts), -counts[0], *strict)

        found, demand = min(bound or tried, key=order)
        print(f"chosen: {found} {demand}")
        chosen[weight] = vars(demand)
    strict = chosen["command"]
    gate = engine._DEMANDS["gate"]
    for name, step in (("ratio", 1.3), ("score", 1.5), ("margin", 1.2)):
        strict = strict | {name: max(vars(gate)[name], strict[name] + step * 0.5)}
    strict = strict | {"a_word": gate.a_word, "rivals": max(gate.rivals, strict["margin"] + 1.0)}
    chosen["gate"] = strict
    options.out.write_text(json.dumps(chosen, indent=1) + "\n", encoding="utf-8")
    return 0


def rows_of(rows: list[dict], model: str, sets: tuple[str, ...]) -> list[dict]:
    return [r for r in rows if r["model"] == model and r["set"] in sets]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    actions = parser.add_subparsers(dest="action", required=True)
    scoring = actions.add_parser("score")
    scoring.add_argument("--bundle", type=Path, required=True)
    scoring.add_argument("--kept", type=Path)
    scoring.add_argument("--noise", type=Path, required=True)
    scoring.add_argument("--base", type=Path, required=True, help="folder of the untuned model")
    scoring.add_argument("--model", action="append", required=True, help="NAME=X.pt or NAME=FOLDER")
    scoring.add_argument("--workers", type=int, default=1)
    scoring.add_argument("--out", type=Path, required=True)
    choosing = actions.add_parser("choose")
    choosing.add_argument("--scores", type=Path, required=True)
    choosing.add_argument("--model", required=True)
    choosing.add_argument("--like", default="untuned", help="model whose errors are the bounds")
    choosing.add_argument("--least", type=float, default=1.0, help="right answers over its own")
    choosing.add_argument(
        "--fewer", type=float, default=5.0, help="times fewer errors of each kind"
    )
    choosing.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    if options.action == "choose":
        return choose(options)
    models = [m.partition("=")[::2] for m in options.model]
    parts = options.workers * 3 if options.workers > 1 else 1
    places = [str(options.base), str(options.bundle), options.kept and str(options.kept)]
    jobs = [(n, w, *places, str(options.noise), p, parts) for n, w in models for p in range(parts)]
    rows: list[dict[str, object]] = []
    if options.workers > 1:
        with ProcessPoolExecutor(options.workers) as pool:
            for found in pool.map(score, jobs):
                rows += found
    else:
        for job in jobs:
            rows += score(job)
    options.out.write_text("\n".join(json.dumps(r) for r in rows) + "\n", encoding="utf-8")
    print(f"{len(rows)} searches")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
