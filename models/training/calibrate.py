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
from itertools import product
from pathlib import Path

import numpy as np
import soundfile

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parents[1]), str(HERE.parents[1] / "tests" / "benchmarks")]

from bench_hearing import COMMANDS, DIGITS, STEP, UNITS, same_value  # noqa: E402
from facts import accepted, facts  # noqa: E402
from judge import recogniser  # noqa: E402
from train import held_out  # noqa: E402

from assistant.dialogue.numbers import parse_value  # noqa: E402
from assistant.speech import whisper_engine as engine  # noqa: E402
from assistant.speech.audio import mix, read_sound  # noqa: E402
from assistant.speech.recogniser import RATE_HZ, Expected  # noqa: E402
from assistant.speech.templates import canonical  # noqa: E402

NOISES_DB = (None, 10.0, 5.0)
DRAWS = 1


def expected(phrases: list[str]) -> Expected:
    """Weights as in bench_hearing."""
    return Expected(
        tuple(phrases), tuple(UNITS.split(", ")), {p: "value" for p in phrases if "{" in p}
    )


PHRASES = {
    "commands": expected(COMMANDS.split()),
    "digit": expected(DIGITS.split()),
    "strings": expected(["{digits}"]),
    "values": expected(STEP.split("|")),
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
    if kind == "value":
        found = parse_value(words.split(), UNITS.split(", "))
        return ["values"] if len(found) == 1 and found[0].value is not None else []
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
        heard = str(row["heard"])
        row["right"] = canonical(heard) == canonical(words) or same_value(heard) == same_value(
            words
        )
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


#: Sets that tell about an answer of some consequence. No gate was recorded: its demand stays, and
#: is nowhere laxer than a command's.
SETS = {
    "command": ("commands", "digit", "other/commands"),
    "value": ("strings", "values", "other/step"),
}
#: Refusals that one wrong or false answer is worth.
COSTS = {"command": 1.0, "value": 2.0}
RATIOS = (-4.0, -3.0, -2.0, -1.5, -1.0, -0.7, -0.4, -0.2)
SCORES = (-5.5, -4.5, -3.5, -3.0, -2.5, -2.0, -1.6, -1.2, -0.9, -0.6, -0.4, -0.2)
MARGINS = (-9.0, 0.3, 0.7, 1.0, 1.5, 2.0, 2.5, 3.0)
A_WORD = (0.7, 1.0, 1.4)


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
        for ratio, least, margin, a_word in product(RATIOS, SCORES, MARGINS, A_WORD):
            rivals = max(now.rivals, margin + 0.5)
            demand = replace(
                now, ratio=ratio, score=least, margin=margin, rivals=rivals, a_word=a_word
            )
            tried.append((count(ours, demand, engine._NO_SPEECH), demand))

        # Among equals the strictest: it costs nothing that was seen.
        def worth(each: tuple, cost: float) -> tuple:
            (right, *bad), demand = each
            strict = (demand.ratio, demand.score, demand.margin, -demand.a_word)
            return (right - cost * sum(bad), *strict)

        print(
            "| an error costs | right | wrong | false | ratio | score | margin | a word |\n"
            "| --- | --- | --- | --- | --- | --- | --- | --- |"
        )
        for cost in (0.3, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 10.0, 20.0):
            found, demand = max(tried, key=lambda each: worth(each, cost))
            shown = (*found, demand.ratio, demand.score, demand.margin, demand.a_word)
            print("|", cost, "|", " | ".join(map(str, shown)), "|")
        found, demand = max(tried, key=lambda each: worth(each, COSTS[weight]))
        print(f"chosen: {found} {demand}")
        chosen[weight] = vars(demand)
    gate = vars(engine._DEMANDS["gate"])
    strict = {n: max(gate[n], chosen["command"][n]) for n in ("ratio", "score", "margin")}
    chosen["gate"] = gate | strict | {"rivals": strict["margin"] + 1.0}
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
    choosing.add_argument("--like", default="untuned", help="model to compare with")
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
