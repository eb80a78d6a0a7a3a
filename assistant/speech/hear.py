"""Recognise the files of a manifest and count: behind `thirdhand hear`."""

from __future__ import annotations

import hashlib
import json
import math
import sys
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, TextIO

import numpy as np

from assistant.errors import AudioError, FileError
from assistant.speech.audio import mix, read_sound
from assistant.speech.recogniser import RATE_HZ, Expected, Recogniser
from assistant.speech.templates import canonical, parse

_SOUNDS = (".wav", ".flac", ".ogg", ".g722")
_WEIGHTS = ("command", "value", "gate")


@dataclass(frozen=True)
class Entry:
    """One line of a manifest: a sound file, the words in it, what kind they are, and who speaks."""

    file: Path
    text: str | None
    kind: str
    speaker: str | None = None


@dataclass(frozen=True)
class Heard:
    """What became of one entry; `outcome` is "exact", "wrong", "rejected" or "quiet".

    A non-command is "wrong" (a false accept) or "quiet", as it should be.
    """

    file: str
    kind: str
    text: str | None
    heard: str
    outcome: str
    template: str | None
    confidence: float
    rejected: str | None
    alternatives: tuple[str, ...]
    free: str
    latency_ms: float
    duration_s: float


def read_manifest(path: Path) -> list[Entry]:
    """The entries of a manifest in JSON lines.

    Raises
    ------
    FileError
        If a line isn't as it should be; says which.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise FileError(str(path), None, f"can't be read ({error})") from error
    entries = []
    for number, line in enumerate(lines, 1):
        if line.strip():
            entries.append(_entry(path, number, line))
    if not entries:
        raise FileError(str(path), None, "has no entries; a line is a JSON object with 'file'")
    return entries


def _entry(path: Path, number: int, line: str) -> Entry:
    try:
        fields = json.loads(line)
    except json.JSONDecodeError as error:
        raise FileError(str(path), number, f"is not JSON ({error.msg})") from error
    if not isinstance(fields, dict):
        raise FileError(str(path), number, "is not a JSON object")
    file, text, kind = fields.get("file"), fields.get("text"), fields.get("kind", "command")
    if not isinstance(file, str) or not file:
        raise FileError(str(path), number, "has no 'file': a path relative to the manifest")
    if not isinstance(kind, str):
        raise FileError(str(path), number, "'kind' must be text: command or non_command")
    if text is not None and not isinstance(text, str):
        raise FileError(str(path), number, "'text' must be the words spoken, or null")
    if text is None and kind != "non_command":
        raise FileError(str(path), number, f"'text' is null; only a non_command may be, not {kind}")
    speaker = fields.get("speaker")
    if speaker is not None and not isinstance(speaker, str):
        raise FileError(str(path), number, "'speaker' must be a name, or left out")
    return Entry(path.parent / file, text, kind, speaker)


def kept_aside(speaker: str) -> bool:
    """True for the third of the speakers on whom results are reported and nothing is tuned.

    The first byte of the SHA-256 of the name decides, so that the split is the same everywhere.
    """
    return hashlib.sha256(speaker.encode()).digest()[0] % 3 == 0


def of_speakers(entries: list[Entry], which: str) -> list[Entry]:
    """The entries of "all" speakers, or of those "tuned" on or "aside" (see `kept_aside`).

    Entries that name no speaker are on neither side.
    """
    if which == "all":
        return entries
    aside = which == "aside"
    return [e for e in entries if e.speaker is not None and kept_aside(e.speaker) is aside]


def read_phrases(path: Path) -> Expected:
    """Phrase templates, one a line.

    `# comment`, `units: volts, amps` and a weight before a template (`gate: lockout confirmed
    {digits:2}`) are understood.

    Raises
    ------
    FileError
        If a template is wrong; says in which line.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise FileError(str(path), None, f"can't be read ({error})") from error
    templates: list[str] = []
    units: list[str] = []
    weights: dict[str, str] = {}
    for number, line in enumerate(lines, 1):
        text = " ".join(line.partition("#")[0].split())
        if not text:
            continue
        before, colon, after = text.partition(":")
        if colon and before == "units":
            units += [unit.strip() for unit in after.split(",") if unit.strip()]
            continue
        if colon and before in _WEIGHTS:
            text = after.strip()
            weights[text] = before
        try:
            templates.append(parse(text).text)
        except ValueError as error:
            raise FileError(str(path), number, str(error)) from error
    if not templates:
        raise FileError(str(path), None, "has no phrase; write one template a line")
    return Expected(tuple(templates), tuple(units), weights)


def hear(
    manifest: Path,
    phrases: Path,
    recogniser: Recogniser,
    noise_dir: Path | None = None,
    snr_db: float | None = None,
    details: Path | None = None,
    normalise: Callable[[str], str] = canonical,
    progress: TextIO | None = None,
    stride: int = 1,
    speakers: str = "all",
) -> dict[str, Any]:
    """Recognise every entry and count.

    Parameters
    ----------
    manifest : Path
        JSON lines with "file", "text" and "kind"; a kind other than "non_command" is a command.
    phrases : Path
        What may be said: see `read_phrases`.
    recogniser : Recogniser
        The engine to measure.
    noise_dir : Path, optional
        Folder of sound files; a random stretch of one is laid under each entry.
    snr_db : float, optional
        Level of the speech over that noise; needed with `noise_dir`. [dB]
    details : Path, optional
        Where to write one JSON line an entry.
    normalise : callable
        Applied to both texts before they are compared; numbers in figures by default.
    progress : file, optional
        Where to report progress; standard error by default.
    stride : int
        Take every n-th entry only.
    speakers : str
        "all", "tuned" or "aside": see `of_speakers`.

    Returns
    -------
    dict
        engine, n, exact, wrong, rejected, accuracy and accuracy_95 (of the commands),
        asked {exact, wrong: those with a close rival, which the dialogue asks about},
        false_accepts, false_accepts_95 (share of the other speech), non_command_s,
        kinds {kind: the counts of that kind}, confusions [[said, heard, how often]],
        latency_ms {p50, p95}, rtf (processing time over sound time).
        An interval is Wilson's, of 95 %.

    Raises
    ------
    FileError, AudioError
        If an input can't be used.
    """
    out = progress or sys.stderr
    expected = read_phrases(phrases)
    entries = of_speakers(read_manifest(manifest), speakers)[:: max(1, stride)]
    if not entries:
        raise FileError(str(manifest), None, f"has no entries of the speakers '{speakers}'")
    noises = _noises(noise_dir, snr_db)
    rng = np.random.default_rng(20)
    results: list[Heard] = []
    for number, entry in enumerate(entries, 1):
        samples = read_sound(entry.file)
        if noises and snr_db is not None:
            samples = mix(samples, noises[int(rng.integers(len(noises)))], snr_db, rng)
        results.append(_hear_one(entry, samples, recogniser, expected, normalise))
        if number % 50 == 0 or number == len(entries):
            print(f"{number} of {len(entries)} heard", file=out, flush=True)
    if details:
        lines = (json.dumps(asdict(result), ensure_ascii=False) for result in results)
        details.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return summary(recogniser.name, results, normalise)


def _noises(folder: Path | None, snr_db: float | None) -> list[np.ndarray]:
    if folder is None:
        if snr_db is not None:
            raise AudioError("a speech-to-noise ratio needs a folder of noise: --noise DIR")
        return []
    if snr_db is None:
        raise AudioError("noise needs its speech-to-noise ratio: --snr DB")
    files = sorted(p for p in folder.rglob("*") if p.suffix.lower() in _SOUNDS)
    if not files:
        raise AudioError(f"{folder}: has no sound files ({', '.join(_SOUNDS)})")
    return [read_sound(file) for file in files]


def _hear_one(
    entry: Entry,
    samples: np.ndarray,
    recogniser: Recogniser,
    expected: Expected,
    normalise: Callable[[str], str],
) -> Heard:
    started = time.perf_counter()
    said = recogniser.hear(samples, expected)
    latency_ms = (time.perf_counter() - started) * 1000
    if entry.kind == "non_command":
        outcome = "wrong" if said.text else "quiet"
    elif not said.text:
        outcome = "rejected"
    else:
        outcome = "exact" if normalise(said.text) == normalise(entry.text or "") else "wrong"
    return Heard(
        str(entry.file),
        entry.kind,
        entry.text,
        said.text,
        outcome,
        said.template,
        round(said.confidence, 4),
        said.rejected,
        said.alternatives,
        said.heard,
        round(latency_ms, 2),
        len(samples) / RATE_HZ,
    )


def wilson(count: int, n: int) -> tuple[float, float]:
    """95 % interval of a share of which `count` in `n` were seen. [1]

    References
    ----------
    .. [1] Wilson, E. B., Probable inference, the law of succession, and statistical inference,
       Journal of the American Statistical Association 22 (1927), 209-212.
    """
    if n == 0:
        return 0.0, 1.0
    z = 1.959964
    share = count / n
    middle = share + z * z / (2 * n)
    half = z * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    low, high = ((middle + sign * half) / (1 + z * z / n) for sign in (-1, 1))
    return round(max(0.0, low), 4), round(min(1.0, high), 4)


def _counts(results: list[Heard]) -> dict[str, Any]:
    n = len(results)
    taken = ("exact", "wrong")
    count = {o: sum(r.outcome == o for r in results) for o in (*taken, "rejected")}
    share = round(count["exact"] / n, 4) if n else None
    asked = {o: sum(r.outcome == o and bool(r.alternatives) for r in results) for o in taken}
    return {
        "n": n,
        **count,
        "asked": asked,
        "accuracy": share,
        "accuracy_95": wilson(count["exact"], n),
    }


def summary(
    engine: str, results: list[Heard], normalise: Callable[[str], str] = canonical
) -> dict[str, Any]:
    """Counts over the results, as `thirdhand hear --json` prints them."""
    commands = [r for r in results if r.kind != "non_command"]
    others = [r for r in results if r.kind == "non_command"]
    accepted = sum(r.outcome == "wrong" for r in others)
    latencies = [r.latency_ms for r in results] or [0.0]
    total_s = sum(r.duration_s for r in results)
    confused = Counter(
        (normalise(r.text or ""), normalise(r.heard)) for r in commands if r.outcome == "wrong"
    )
    return {
        "engine": engine,
        **_counts(commands),
        "false_accepts": accepted,
        "false_accepts_95": wilson(accepted, len(others)),
        "non_command_n": len(others),
        "non_command_s": round(sum(r.duration_s for r in others), 1),
        "kinds": {
            kind: _counts([r for r in commands if r.kind == kind])
            for kind in sorted({r.kind for r in commands})
        },
        "confusions": [[said, heard, n] for (said, heard), n in confused.most_common()],
        "latency_ms": {
            "p50": round(float(np.percentile(latencies, 50)), 1),
            "p95": round(float(np.percentile(latencies, 95)), 1),
        },
        "rtf": round(sum(latencies) / 1000 / total_s, 4) if total_s else None,
    }


def as_text(result: dict[str, Any]) -> str:
    """The counts for people."""
    share = "–" if result["accuracy"] is None else f"{result['accuracy']:.1%}"
    latency = result["latency_ms"]
    return (
        f"{result['engine']}: {result['exact']} of {result['n']} exact ({share}), "
        f"{result['wrong']} wrong, {result['rejected']} rejected\n"
        f"with a close rival, so asked about: {result['asked']['exact']} of the exact, "
        f"{result['asked']['wrong']} of the wrong\n"
        f"false accepts: {result['false_accepts']} in {result['non_command_s']} s of other speech\n"
        f"latency: {latency['p50']} ms median, {latency['p95']} ms p95; "
        f"real-time factor {result['rtf']}"
    )
