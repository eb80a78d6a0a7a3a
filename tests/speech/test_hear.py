from __future__ import annotations

import io
import json

import numpy as np
import pytest
import soundfile

from assistant.errors import AudioError, FileError
from assistant.speech.hear import (
    Entry,
    as_text,
    hear,
    kept_aside,
    of_speakers,
    read_manifest,
    read_phrases,
    wilson,
)
from assistant.speech.recogniser import Expected, Transcript


class Parrot:
    """An engine that says what it is told, one answer an utterance."""

    name = "parrot"
    model = "none"

    def __init__(self, *answers: str | tuple[str, ...]):
        self.answers = list(answers)
        self.levels: list[float] = []

    def hear(self, samples: np.ndarray, expected: Expected) -> Transcript:
        self.levels.append(float(np.abs(samples).mean()))
        answer = self.answers.pop(0)
        text, *rivals = [answer] if isinstance(answer, str) else answer
        return Transcript(text, 0.9, alternatives=tuple(rivals))

    def unknown_words(self, words: set[str]) -> set[str]:
        return set()


@pytest.fixture
def folder(tmp_path):
    tone = 0.3 * np.sin(np.arange(16_000) / 10)
    for name in ("a.wav", "b.flac", "c.wav", "d.wav", "e.wav"):
        soundfile.write(tmp_path / name, tone, 16_000)
    lines = [
        {"file": "a.wav", "text": "four sixty volts", "kind": "value"},
        {"file": "b.flac", "text": "done", "kind": "command"},
        {"file": "c.wav", "text": "done"},
        {"file": "d.wav", "text": None, "kind": "non_command"},
        {"file": "e.wav", "text": "hello", "kind": "non_command"},
    ]
    text = "\n".join(json.dumps(line) for line in lines)
    (tmp_path / "manifest.jsonl").write_text(text, encoding="utf-8")
    phrases = (
        "# of a step\nunits: volts, amps\n\ndone\ngate: affirm {digits:2}  # a gate\n{value}\n"
    )
    (tmp_path / "phrases.txt").write_text(phrases, encoding="utf-8")
    return tmp_path


def test_phrases_carry_units_and_weights(folder):
    expected = read_phrases(folder / "phrases.txt")
    assert expected.templates == ("done", "affirm {digits:2}", "{value}")
    assert expected.unit_words == ("volts", "amps")
    assert expected.weights == {"affirm {digits:2}": "gate"}


def test_every_outcome_is_counted(folder):
    parrot = Parrot("four six zero volts", ("stop work", "stop"), "", "done", "")
    progress = io.StringIO()
    result = hear(
        folder / "manifest.jsonl",
        folder / "phrases.txt",
        parrot,
        details=folder / "details.jsonl",
        progress=progress,
    )
    assert {k: result[k] for k in ("engine", "n", "exact", "wrong", "rejected")} == {
        "engine": "parrot",
        "n": 3,
        "exact": 1,
        "wrong": 1,
        "rejected": 1,
    }
    assert result["asked"] == {"exact": 0, "wrong": 1}
    assert result["accuracy"] == pytest.approx(1 / 3, abs=1e-3)
    assert result["false_accepts"] == 1
    assert result["non_command_s"] == 2.0
    assert set(result["latency_ms"]) == {"p50", "p95"}
    assert result["kinds"]["value"]["exact"] == 1
    assert result["kinds"]["command"]["wrong"] == result["kinds"]["command"]["rejected"] == 1
    assert result["confusions"] == [["done", "stop work", 1]]
    details = [json.loads(line) for line in (folder / "details.jsonl").read_text().splitlines()]
    assert [d["outcome"] for d in details] == ["exact", "wrong", "rejected", "wrong", "quiet"]
    assert "5 of 5" in progress.getvalue()
    assert "1 of 3 exact" in as_text(result)
    assert "0 of the exact, 1 of the wrong" in as_text(result)


def test_noise_is_laid_under_every_entry(folder, tmp_path):
    noise = tmp_path / "noise"
    noise.mkdir()
    soundfile.write(noise / "n.wav", np.random.default_rng(1).normal(0, 0.1, 8_000), 16_000)
    quiet, noisy = Parrot(*[""] * 5), Parrot(*[""] * 5)
    files = (folder / "manifest.jsonl", folder / "phrases.txt")
    hear(*files, quiet, progress=io.StringIO())
    hear(*files, noisy, noise_dir=noise, snr_db=0.0, progress=io.StringIO())
    assert all(n > q for n, q in zip(noisy.levels, quiet.levels, strict=True))
    with pytest.raises(AudioError, match="--snr"):
        hear(*files, quiet, noise_dir=noise, progress=io.StringIO())


def test_the_error_bars_of_a_share_are_those_of_the_published_table():
    # Newcombe, Two-sided confidence intervals for the single proportion, Statistics in Medicine
    # 17 (1998), table I, method 3 (values from memory).
    assert wilson(81, 263) == pytest.approx((0.2553, 0.3662), abs=1e-4)
    assert wilson(15, 148) == pytest.approx((0.0624, 0.1605), abs=1e-4)
    assert wilson(0, 20) == pytest.approx((0.0, 0.1611), abs=1e-4)
    assert wilson(1, 29) == pytest.approx((0.0061, 0.1718), abs=1e-4)


def test_a_speaker_is_wholly_on_one_side_and_a_third_are_kept_aside(tmp_path):
    entries = [Entry(tmp_path, "yes", "command", f"voice-{n % 300}") for n in range(600)]
    aside, tuned = of_speakers(entries, "aside"), of_speakers(entries, "tuned")
    assert len(aside) + len(tuned) == len(entries) == len(of_speakers(entries, "all"))
    assert not {e.speaker for e in aside} & {e.speaker for e in tuned}
    assert 160 < len(aside) < 240
    # printf abc | sha256sum: ba7816bf…; the first byte, 186, is divisible by three.
    assert kept_aside("abc")
    assert of_speakers([Entry(tmp_path, "yes", "command")], "aside") == []


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ("{not json", "is not JSON"),
        ("[1]", "not a JSON object"),
        ('{"text": "done"}', "no 'file'"),
        ('{"file": "a.wav", "text": 5}', "'text' must be"),
        ('{"file": "a.wav", "text": null}', "only a non_command may be"),
        ('{"file": "a.wav", "text": "a", "kind": 1}', "'kind' must be"),
    ],
)
def test_a_bad_line_is_named_with_its_number(tmp_path, line, problem):
    path = tmp_path / "manifest.jsonl"
    path.write_text('{"file": "a.wav", "text": "done"}\n\n' + line, encoding="utf-8")
    with pytest.raises(FileError, match=problem) as caught:
        read_manifest(path)
    assert caught.value.line == 3


def test_an_empty_or_wrong_phrase_file_is_refused(tmp_path):
    path = tmp_path / "phrases.txt"
    path.write_text("# nothing\n", encoding="utf-8")
    with pytest.raises(FileError, match="has no phrase"):
        read_phrases(path)
    path.write_text("done\nDone\n", encoding="utf-8")
    with pytest.raises(FileError, match="lower-case") as caught:
        read_phrases(path)
    assert caught.value.line == 2
