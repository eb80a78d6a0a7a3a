"""How well each engine hears real people; prints one table.

    python tests/benchmarks/bench_hearing.py --engine whisper --stride 4
    python tests/benchmarks/bench_hearing.py --set strings --snr 20 --snr 10

The recordings lie outside the repository: in the folder that THIRDHAND_SPEECH names, by default
`../shared/speech` beside it. The recorded digits of Asterisk are used where they are installed.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
from pathlib import Path

from assistant.speech.engines import load
from assistant.speech.hear import hear

ROOT = Path(__file__).resolve().parents[2]
SPEECH = Path(os.environ.get("THIRDHAND_SPEECH", ROOT.parent / "shared" / "speech"))
ASTERISK = Path("/usr/share/asterisk/sounds/en/digits")
TEENS = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen twenty"
DIGITS = "zero one two three four five six seven eight nine"
COMMANDS = "yes no up down left right on off stop go"
STEP = "{value}|done|say again|unable|correction {value}|stop work|where are we"

#: Name of a set -> phrases of a step, and which entries of the manifest belong to it.
SETS = {
    "commands": (COMMANDS.split(), lambda e: e["kind"] == "command"),
    "digit": (DIGITS.split(), lambda e: e["kind"] == "digit"),
    "strings-fsdd": (["{digits}"], lambda e: e["file"].startswith("digits_fsdd/")),
    "strings-natural": (["{digits}"], lambda e: e["file"].startswith("digits_natural/")),
    "other/commands": (COMMANDS.split(), lambda e: e["kind"] == "non_command"),
    "other/step": (STEP.split("|"), lambda e: e["kind"] == "non_command"),
    "asterisk": (["{value}"], None),
}


def asterisk_entries() -> list[dict[str, str]]:
    """The numbers from 0 to 20 as Asterisk's voice says them."""
    words = [*DIGITS.split(), *TEENS.split()]
    return [
        {"file": str(ASTERISK / f"{number}.g722"), "text": word, "kind": "value"}
        for number, word in enumerate(words)
        if (ASTERISK / f"{number}.g722").is_file()
    ]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--engine", action="append", help="whisper, sphinx, vosk; may be repeated")
    parser.add_argument("--set", action="append", dest="sets", choices=[*SETS])
    parser.add_argument("--snr", action="append", help="clean or a ratio in dB; may be repeated")
    parser.add_argument("--stride", type=int, default=1, help="take every n-th recording")
    parser.add_argument("--details", type=Path, help="folder for one line an utterance")
    options = parser.parse_args()
    manifest = SPEECH / "manifest.jsonl"
    if not manifest.is_file():
        print(f"{manifest} is missing; set THIRDHAND_SPEECH to the recordings", file=sys.stderr)
        return 2
    entries = [json.loads(line) for line in manifest.read_text(encoding="utf-8").splitlines()]
    for entry in entries:
        entry["path"] = str(SPEECH / entry["file"])
    print("engine  | set             | noise | n    | exact | wrong | rejected | false accepts "
          "| p50 ms | p95 ms | rtf")  # fmt: skip
    for engine in options.engine or ["whisper"]:
        recogniser = load(engine, ROOT / "models")
        for name in options.sets or SETS:
            phrases, belongs = SETS[name]
            if belongs is None:
                chosen = asterisk_entries()
            else:
                chosen = [{**e, "file": e["path"]} for e in entries if belongs(e)]
            for snr in options.snr or ["clean", "20", "10"]:
                if chosen:
                    row(recogniser, name, phrases, chosen, snr, options)
    return 0


def row(recogniser, name, phrases, entries, snr, options) -> None:  # type: ignore[no-untyped-def]
    """Hear one set and print its line of the table."""
    with tempfile.TemporaryDirectory() as folder:
        manifest, phrase_file = Path(folder) / "manifest.jsonl", Path(folder) / "phrases.txt"
        kept = [{k: e[k] for k in ("file", "text", "kind")} for e in entries]
        manifest.write_text("\n".join(json.dumps(e) for e in kept), encoding="utf-8")
        weights = ["value: " + p if "{" in p else p for p in phrases]
        phrase_file.write_text("units: volts, amps\n" + "\n".join(weights), encoding="utf-8")
        details = None
        if options.details:
            options.details.mkdir(parents=True, exist_ok=True)
            label = f"{recogniser.name}-{name.replace('/', '-')}-{snr}.jsonl"
            details = options.details / label
        with open(os.devnull, "w", encoding="utf-8") as nowhere:
            result = hear(
                manifest,
                phrase_file,
                recogniser,
                noise_dir=None if snr == "clean" else SPEECH / "noise",
                snr_db=None if snr == "clean" else float(snr),
                details=details,
                progress=nowhere,
                stride=1 if name == "asterisk" else options.stride,
            )
    share = "    –" if result["accuracy"] is None else f"{result['accuracy']:5.3f}"
    count = result["n"] or result["non_command_n"]
    accepts = f"{result['false_accepts']} of {result['non_command_n']}"
    print(
        f"{result['engine']:7} | {name:15} | {snr:>5} | {count:4} | {share} | "
        f"{result['wrong']:5} | {result['rejected']:8} | {accepts:>13} | "
        f"{result['latency_ms']['p50']:6} | {result['latency_ms']['p95']:6} | {result['rtf']}",
        flush=True,
    )


if __name__ == "__main__":
    sys.exit(main())
