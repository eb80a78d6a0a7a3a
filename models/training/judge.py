"""Compare models with the project's own held decoding, on voices that never train.

    python judge.py --speech SHARED_SPEECH --model NAME=FOLDER --model NAME=WEIGHTS.pt ...

A folder is a CTranslate2 model; `.pt` weights are run in PyTorch, rounded as int8 would round
them, so that a machine without CTranslate2 can judge. Sets and phrases are those of
tests/benchmarks/bench_hearing.py; speakers are those of the evaluation third, and of the sources
that never train at all (fsdd, wuw).
"""

from __future__ import annotations

import argparse
import hashlib
import io
import json
import os
import sys
import tempfile
import threading
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from functools import lru_cache
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parents[1]), str(HERE.parents[1] / "tests" / "benchmarks")]

from bench_hearing import DIGITS, MADE_SETS, SETS, UNITS  # noqa: E402
from facts import facts  # noqa: E402

from assistant.speech import whisper_engine  # noqa: E402
from assistant.speech.hear import hear  # noqa: E402
from assistant.speech.recogniser import Expected, Transcript  # noqa: E402

# Of `gather.py --part numbers`; --made names its folder `read`.
SETS = SETS | {"digit-read": (DIGITS.split(), None), "digits-read": (["{digits}"], None)}
JUDGE = whisper_engine.judge
DEMANDS = dict(whisper_engine._DEMANDS)


def judged(entry: dict) -> bool:
    """True for the evaluation third, and for sources of which nothing trains."""
    speaker = entry["speaker"]
    if speaker.split("-")[0] in ("fsdd", "wuw", "kept"):
        return True
    return hashlib.sha256(speaker.encode()).digest()[0] % 3 == 0


def rounded(array: np.ndarray) -> np.ndarray:
    """What is left of a matrix after int8, row by row."""
    rows = array.reshape(len(array), -1)
    scale = 127 / np.maximum(np.abs(rows).max(1, keepdims=True), 1e-9)
    return (np.rint(rows * scale) / scale).reshape(array.shape).astype(np.float32)


def torch_recogniser(tuned: Path, model: Path, share: float) -> whisper_engine.WhisperRecogniser:
    """The project's engine with an encoder in PyTorch; `share` of the way to the tuned weights."""
    import torch
    import weights
    from threadpoolctl import ThreadpoolController

    torch.set_num_threads(1)
    is_tuned = tuned.suffix == ".pt"
    network = weights.tuned(model, tuned, share) if is_tuned else weights.load(model / "model.bin")
    state = network.state_dict()
    for name, value in state.items():
        if value.ndim > 1 and "position" not in name:
            value.copy_(torch.from_numpy(rounded(value.numpy())))
    network.eval()

    class Engine(whisper_engine.WhisperRecogniser):
        def _encode(self, mel: np.ndarray) -> np.ndarray:
            with torch.inference_mode():
                return network.encoder(torch.from_numpy(mel))[0].numpy()

    engine = Engine.__new__(Engine)
    arrays = {
        weights._there(n).removeprefix("decoder/"): v.numpy()
        for n, v in state.items()
        if n.startswith("decoder.")
    }
    arrays["num_heads"] = np.float32(network.decoder.layer[0].self_attention.heads)
    engine._lock = threading.Lock()
    engine._decoder = whisper_engine.Decoder(arrays)
    pieces = (model / "vocabulary.txt").read_text(encoding="utf-8").split("\n")
    engine._pieces = [p.replace("Ġ", " ") for p in pieces[: whisper_engine.END + 1]]
    engine._tree = whisper_engine.Pieces(engine._pieces[: whisper_engine.END])
    engine._threads, engine._pools = 1, ThreadpoolController()
    engine._spelling = lru_cache(maxsize=64)(engine._make_spelling)
    return engine


@lru_cache(maxsize=8)
def recogniser(what: str, base: str) -> whisper_engine.WhisperRecogniser:
    path, _, share = what.partition("@")
    if path.endswith(".pt") or os.environ.get("JUDGE_TORCH"):
        return torch_recogniser(Path(path), Path(base), float(share or 1))
    folder = Path(path)
    whisper_engine.check_model = lambda _=None: folder
    return whisper_engine.WhisperRecogniser(folder)


class Noting:
    """A recogniser that notes what each answer was judged by."""

    def __init__(self, ear: whisper_engine.WhisperRecogniser):
        self.name, self._ear = ear.name, ear
        self.noted: list[dict | None] = []

    def hear(self, samples: np.ndarray, expected: Expected) -> Transcript:
        self.noted.append(None)

        def judge(search: whisper_engine.Search, wanted: Expected, duration_s: float) -> Transcript:
            self.noted[-1] = facts(search, wanted)
            return JUDGE(search, wanted, duration_s)

        whisper_engine.judge = judge
        return self._ear.hear(samples, expected)


def one(job: tuple) -> tuple:
    """Hear one part of one set with one model."""
    name, what, base, speech, made, group, snr, part, parts, stride, demands = job
    whisper_engine._DEMANDS = demands or DEMANDS
    phrases, wanted = SETS[group]
    folder, wanted = (speech, wanted) if wanted else (made, lambda e: e["set"] == group)
    entries = [
        {**e, "file": str(Path(folder) / e["file"])}
        for line in (Path(folder) / "manifest.jsonl").read_text().splitlines()
        if wanted(e := json.loads(line)) and judged(e)
    ][::stride][part::parts]
    if not entries:
        return name, group, snr, []
    with tempfile.TemporaryDirectory() as folder:
        manifest, lines = Path(folder) / "manifest.jsonl", Path(folder) / "phrases.txt"
        manifest.write_text("\n".join(json.dumps(e) for e in entries))
        # As in bench_hearing.
        weighed = [
            ("gate: " if "{digits:" in p else "value: " if "{" in p else "") + p for p in phrases
        ]
        lines.write_text(f"units: {UNITS}\n" + "\n".join(weighed))
        ear = Noting(recogniser(what, base))
        noise = None if snr == "clean" else Path(speech) / "noise"
        details = Path(folder) / "details.jsonl"
        hear(
            manifest,
            lines,
            ear,
            noise,
            None if snr == "clean" else float(snr),
            details,
            progress=io.StringIO(),
        )
        heard = [json.loads(line) for line in details.read_text().splitlines()]
        heard = [h | {"facts": f} for h, f in zip(heard, ear.noted, strict=True)]
    return name, group, snr, heard


def interval(hits: int, of: int) -> tuple[float, float]:
    """95 % confidence interval of a share, after Wilson (1927)."""
    if not of:
        return 0.0, 1.0
    z, p = 1.96, hits / of
    centre = (p + z * z / (2 * of)) / (1 + z * z / of)
    half = z * np.sqrt(p * (1 - p) / of + z * z / (4 * of * of)) / (1 + z * z / of)
    return max(0.0, centre - half), min(1.0, centre + half)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--speech", type=Path, required=True)
    parser.add_argument("--made", type=Path, help="folder of `gather.py --part judged`")
    parser.add_argument("--base", type=Path, required=True, help="folder of the untuned model")
    parser.add_argument("--model", action="append", required=True, help="NAME=FOLDER or NAME=X.pt")
    parser.add_argument("--demands", action="append", default=[], help="NAME=FILE of calibrate.py")
    parser.add_argument("--set", action="append", dest="sets", choices=[*SETS])
    parser.add_argument("--snr", action="append")
    parser.add_argument("--stride", type=int, default=1)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--details", type=Path)
    options = parser.parse_args()
    real = [name for name, (_, wanted) in SETS.items() if wanted]
    sets = options.sets or real + ([*MADE_SETS] if options.made else [])
    snrs = options.snr or ["clean", "10", "5"]
    models = [m.partition("=")[::2] for m in options.model]
    parts = 4 if options.workers > 2 else 1
    demands = {
        name: {k: whisper_engine._Demand(**v) for k, v in json.loads(Path(p).read_text()).items()}
        for name, _, p in (d.partition("=") for d in options.demands)
    }
    jobs = [
        (
            name,
            what,
            str(options.base),
            str(options.speech),
            str(options.made),
            s,
            snr,
            p,
            parts,
            options.stride,
            demands.get(name),
        )
        for s in sets
        for snr in snrs
        for name, what in models
        for p in range(parts)
    ]
    found: dict[tuple, list] = defaultdict(list)
    if options.workers > 1:
        with ProcessPoolExecutor(options.workers) as pool:
            for name, group, snr, heard in pool.map(one, jobs):
                found[group, snr, name] += heard
    else:
        for name, group, snr, heard in map(one, jobs):
            found[group, snr, name] += heard
    print("| set | snr | model | n | exact % (95 %) | wrong | rejected | false accepts |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for (group, snr, name), heard in found.items():
        commands = [h for h in heard if h["kind"] != "non_command"]
        count = {o: sum(h["outcome"] == o for h in commands) for o in ("exact", "wrong")}
        rejected = len(commands) - sum(count.values())
        accepted = sum(h["outcome"] == "wrong" for h in heard if h["kind"] == "non_command")
        low, high = interval(count["exact"], len(commands))
        share = f"{100 * count['exact'] / len(commands):.1f}" if commands else "-"
        span = f" ({100 * low:.0f} to {100 * high:.0f})" if commands else ""
        others = len(heard) - len(commands)
        print(
            f"| {group} | {snr} | {name} | {len(heard)} | {share}{span} | {count['wrong']} "
            f"| {rejected} | {accepted if others else '-'} |"
        )
    if options.details:
        lines = (
            json.dumps({"set": g, "snr": s, "model": n, **h, "file": Path(h["file"]).name})
            for (g, s, n), heard in found.items()
            for h in heard
        )
        options.details.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
