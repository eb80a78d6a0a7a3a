"""Ten answers, spoken into the page's microphone, come to stand in the log."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from assistant.job import Jobs
from assistant.records.log import verify
from assistant.server.app import create_app
from assistant.server.serve import listen
from assistant.speech import engines
from assistant.speech.espeak_voice import EspeakVoice, make_speech
from tests.web.screens import begin

# The first ten turns of power entry at door D1 of the Pinewharf Cold Store.
TURNS = ["done"] * 5 + ["calibration is good", "list is complete"] + ["done"] * 3
LEAD_IN_S, GAP_S = 4.0, 2.5
RATE_HZ = 16_000


@pytest.fixture
def jobs(tmp_path: Path) -> Iterator[Jobs]:
    found = Jobs(tmp_path, engines.load("whisper"), EspeakVoice(tmp_path / "speech"))
    yield found
    found.store.close()


@pytest.fixture
def spoken(tmp_path: Path) -> tuple[Path, float]:
    """The ten answers in one file, with silence between them, and its length. [s]

    Utterances are taken in their order however long the machine takes, so the silence need be
    no longer than what tells one from the next.
    """
    quiet = np.random.default_rng(7)

    def silence(seconds: float) -> np.ndarray:
        return quiet.integers(-12, 12, int(seconds * RATE_HZ)).astype(np.int16)

    parts = [silence(LEAD_IN_S)]
    for words in TURNS:
        parts += [make_speech(words), silence(GAP_S)]
    samples = np.concatenate(parts)
    soundfile.write(tmp_path / "spoken.wav", samples, RATE_HZ, subtype="PCM_16")
    return tmp_path / "spoken.wav", len(samples) / RATE_HZ


@pytest.mark.browser
@pytest.mark.slow
def test_the_first_ten_turns_spoken_into_the_page_land_in_the_log(
    phone: Any, jobs: Jobs, spoken: tuple[Path, float]
) -> None:
    file, length_s = spoken
    job = jobs.new("pinewharf-d1", "power-entry")
    with listen(create_app(jobs, job.job_id)) as served:
        page = phone(
            # With a headset, answers are taken while a reply is spoken.
            f"{served.url}/?headset=1",
            "--use-fake-ui-for-media-stream",
            f"--use-file-for-fake-audio-capture={file}%noloop",
        )
        replies: list[int] = []
        page.on("response", lambda r: replies.append(r.status) if "/api/audio/" in r.url else None)
        begin(page)
        page.wait_for_selector(".ear[data-open=true]")
        number = len(TURNS) + 1
        page.wait_for_selector(
            f".number:text-matches('^Step {number} of')",
            timeout=(length_s + 60) * 1000,
        )
        page.wait_for_timeout(2_000)  # nothing more may come
        events = [e.body["event"] for e in job.store.entries(job.job_id) if "event" in e.body]
        answers = [e for e in events if e["via"] == "voice"]
        assert [e["heard"] for e in answers] == TURNS
        assert {e["who"] for e in answers} == {"lead"}
        assert len({e["device"] for e in answers}) == 1
        assert all(e["input"]["kind"] == "confirm" for e in answers)
        assert verify(job.store, job.job_id).ok
        assert replies
        assert set(replies) == {200}
        assert "done" in page.inner_text("#heard")
        page.close()
