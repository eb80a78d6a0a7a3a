"""How well each engine hears people; prints one table.

    python -m tests.benchmarks.bench_hearing --engine whisper --stride 4 --speakers aside
    python -m tests.benchmarks.bench_hearing --set strings-fsdd --snr 20 --snr 10 --snr 5

The recordings lie outside the repository: in the folder that THIRDHAND_SPEECH names, by default
`../shared/speech` beside it. The recorded digits of Asterisk are used where they are installed,
and values and gate phrases are said by the voices of the tests. Noise is that of the recordings
and what `site_noise` makes; what was mixed is kept in a folder, so that each run hears the same.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from assistant.dialogue.numbers import parse_value
from assistant.quantity import spoken_units
from assistant.speech.audio import mix, read_sound
from assistant.speech.engines import load
from assistant.speech.hear import hear, kept_aside
from assistant.speech.recogniser import RATE_HZ, Recogniser
from tests.benchmarks.site_noise import MADE
from tests.speech.voices import FLITE_VOICES, PIPER_VOICES, say

ROOT = Path(__file__).resolve().parents[2]
SPEECH = Path(os.environ.get("THIRDHAND_SPEECH", ROOT.parent / "shared" / "speech"))
ASTERISK = Path("/usr/share/asterisk/sounds/en/digits")
TEENS = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen twenty"
DIGITS = "zero one two three four five six seven eight nine"
COMMANDS = "yes no up down left right on off stop go"
STEP = "{value}|done|say again|unable|correction {value}|stop work|where are we"
GATE = "lockout confirmed {digits:2}|clear to energize {digits:2}|negative|say again|stop work"
SAID_VALUES = (
    "four sixty two volts|two point five ohms|eleven point four amps|one hundred twenty volts|"
    "zero point three ohms|twenty four volts|five hundred megohms|four seven nine volts|"
    "thirty newtons|nine point eight amps|six fifteen volts|forty millimetres"
)
SAID_GATES = (
    "lockout confirmed four seven|clear to energize two nine|lockout confirmed three eight|"
    "clear to energize six one|lockout confirmed five zero|clear to energize seven four"
)
# Near misses: what says the contrary must never pass.
SAID_DENIED = (
    "lockout not confirmed four seven|lockout unconfirmed two nine|not clear to energize six one|"
    "lockout confirmed not three eight|unclear to energize five zero|lockout is confirmed by no one"
)
#: Units as an engine has to be told to say them.
_TOLD = {"megohms": "meg ohms", "megohm": "meg ohm", "kilohms": "kilo ohms", "kilohm": "kilo ohm"}
#: Name of a set -> what voices say in it, and of which kind that is.
MADE_SETS = {
    "values-made": (SAID_VALUES, "value"),
    "gates-made": (SAID_GATES, "gate"),
    "denied-made": (SAID_DENIED, "non_command"),
}

#: Name of a set -> phrases of a step, and which entries of the manifest belong to it.
SETS: dict[str, tuple[list[str], Any]] = {
    "commands": (COMMANDS.split(), lambda e: e["kind"] == "command"),
    "digit": (DIGITS.split(), lambda e: e["kind"] == "digit"),
    "strings-fsdd": (["{digits}"], lambda e: e["file"].startswith("digits_fsdd/")),
    "strings-natural": (["{digits}"], lambda e: e["file"].startswith("digits_natural/")),
    "other/commands": (COMMANDS.split(), lambda e: e["kind"] == "non_command"),
    "other/step": (STEP.split("|"), lambda e: e["kind"] == "non_command"),
    "other/gate": (GATE.split("|"), lambda e: e["kind"] == "non_command"),
    "asterisk": (["{value}"], None),
    "values-made": (STEP.split("|"), None),
    "gates-made": (GATE.split("|"), None),
    "denied-made": (GATE.split("|"), None),
}
UNITS = "volts, amps, ohms, megohms, newtons, millimetres"


def told(words: str) -> str:
    """Words as a voice has to be told to say them."""
    return " ".join(_TOLD.get(word, word) for word in words.split())


def asterisk_entries() -> list[dict[str, str]]:
    """The numbers from 0 to 20 as Asterisk's voice says them."""
    words = [*DIGITS.split(), *TEENS.split()]
    return [
        {"file": str(ASTERISK / f"{number}.g722"), "text": word, "kind": "value"}
        for number, word in enumerate(words)
        if (ASTERISK / f"{number}.g722").is_file()
    ]


def made_entries(texts: str, kind: str, folder: Path) -> list[dict[str, str]]:
    """The texts as said by each natural voice that is on this machine."""
    entries = []
    for voice in (*PIPER_VOICES, *FLITE_VOICES):
        for text in texts.split("|"):
            try:
                samples = say(text, voice)
            except pytest.skip.Exception as missing:
                print(f"without the voice {voice}: {missing}", file=sys.stderr)
                break
            file = folder / f"{voice}-{text.replace(' ', '-')}.flac"
            soundfile.write(file, samples, RATE_HZ)
            entries.append({"file": str(file), "text": text, "kind": kind, "speaker": voice})
    return entries


def same_value(words: str) -> str:
    """Number words brought to one form, as `thirdhand hear` does."""
    found = parse_value(words.split(), tuple(spoken_units()))
    if len(found) != 1 or found[0].value is None:
        return words
    return f"{found[0].value} {found[0].unit or ''}".strip()


def in_noise(
    entry: dict[str, str], snr: str, noises: list[np.ndarray], cache: Path
) -> dict[str, str]:
    """The entry with noise under it; mixed once, then read from the cache."""
    if snr == "clean":
        return entry
    digest = hashlib.sha256(f"{entry['file']} at {snr} of {len(noises)}".encode()).digest()
    file = cache / f"{digest.hex()[:24]}.flac"
    if not file.is_file():
        rng = np.random.default_rng(list(digest))
        noise = noises[int(rng.integers(len(noises)))]
        samples = mix(read_sound(entry["file"]), noise, float(snr), rng)
        soundfile.write(file, samples, RATE_HZ)
    return {**entry, "file": str(file)}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--engine", action="append", help="whisper, sphinx, vosk; may be repeated")
    parser.add_argument("--set", action="append", dest="sets", choices=[*SETS])
    parser.add_argument("--snr", action="append", help="clean or a ratio in dB; may be repeated")
    parser.add_argument("--stride", type=int, default=1, help="take every n-th recording")
    parser.add_argument(
        "--speakers", choices=("all", "tuned", "aside"), default="all",
        help="aside: the third that nothing is tuned on; made voices and Asterisk's always count",
    )  # fmt: skip
    parser.add_argument("--cache", type=Path, help="folder that keeps what was mixed")
    parser.add_argument("--details", type=Path, help="folder for one line an utterance")
    parser.add_argument("--confusions", action="store_true", help="list what was taken for what")
    options = parser.parse_args()
    manifest = SPEECH / "manifest.jsonl"
    if not manifest.is_file():
        print(f"{manifest} is missing; set THIRDHAND_SPEECH to the recordings", file=sys.stderr)
        return 2
    entries = [json.loads(line) for line in manifest.read_text(encoding="utf-8").splitlines()]
    entries = [{**e, "folder": e["file"], "file": str(SPEECH / e["file"])} for e in entries]
    if options.speakers != "all":
        entries = [e for e in entries if kept_aside(e["speaker"]) is (options.speakers == "aside")]
    noises = [read_sound(file) for file in sorted((SPEECH / "noise").glob("*.flac"))]
    noises += [make() for make in MADE.values()]
    print("engine  | set             | noise | n    | exact (95 %)        | wrong | rejected "
          "| asked e/w | false accepts | p50 ms | p95 ms | rtf")  # fmt: skip
    with tempfile.TemporaryDirectory() as scratch:
        cache = options.cache or Path(scratch)
        cache.mkdir(parents=True, exist_ok=True)
        for engine in options.engine or ["whisper"]:
            recogniser = load(engine, ROOT / "models")
            for name in options.sets or SETS:
                chosen = _entries(name, entries, cache, options.stride)
                for snr in options.snr or ["clean", "20", "10", "5"]:
                    if chosen:
                        mixed = [in_noise(e, snr, noises, cache) for e in chosen]
                        row(recogniser, name, mixed, snr, options)
    return 0


def _entries(
    name: str, entries: list[dict[str, str]], cache: Path, stride: int
) -> list[dict[str, str]]:
    if name == "asterisk":
        return asterisk_entries()
    if name in MADE_SETS:
        return made_entries(*MADE_SETS[name], cache)
    belongs = SETS[name][1]
    return [e for e in entries if belongs({**e, "file": e["folder"]})][::stride]


def row(
    recogniser: Recogniser,
    name: str,
    entries: list[dict[str, str]],
    snr: str,
    options: argparse.Namespace,
) -> None:
    """Hear one set and print its line of the table."""
    with tempfile.TemporaryDirectory() as folder:
        manifest, phrase_file = Path(folder) / "manifest.jsonl", Path(folder) / "phrases.txt"
        kept = [{k: e[k] for k in ("file", "text", "kind")} for e in entries]
        manifest.write_text("\n".join(json.dumps(e) for e in kept), encoding="utf-8")
        weights = [
            ("gate: " if "{digits:" in p else "value: " if "{" in p else "") + p
            for p in SETS[name][0]
        ]
        phrase_file.write_text(f"units: {UNITS}\n" + "\n".join(weights), encoding="utf-8")
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
                details=details,
                normalise=same_value,
                progress=nowhere,
            )
    low, high = result["accuracy_95"]
    asked = "{exact} / {wrong}".format(**result["asked"])
    share = f"{result['accuracy']:5.3f} ({low:.3f}-{high:.3f})" if result["n"] else "–".center(19)
    low, high = result["false_accepts_95"]
    others = result["non_command_n"]
    accepts = f"{result['false_accepts']} of {others} (to {high:.3f})" if others else "–"
    print(
        f"{result['engine']:7} | {name:15} | {snr:>5} | {result['n'] or others:4} | {share} | "
        f"{result['wrong']:5} | {result['rejected']:8} | {asked:>9} | {accepts:>13} | "
        f"{result['latency_ms']['p50']:6} | {result['latency_ms']['p95']:6} | {result['rtf']}",
        flush=True,
    )
    if options.confusions:
        for said, heard, count in result["confusions"]:
            print(f"    {said!r} taken for {heard!r}: {count}")


if __name__ == "__main__":
    sys.exit(main())
