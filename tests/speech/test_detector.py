"""The voice detector works on the thread that calls it, and leaves the surroundings alone."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

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
