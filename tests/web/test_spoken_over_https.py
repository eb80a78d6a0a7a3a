"""Real sound through the page's microphone: over https, through a hole in the network, into a
reply, from headsets of other sample rates.
"""

from __future__ import annotations

import io
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from PIL import Image

from assistant.job import Jobs, JobSession
from assistant.records.log import verify
from assistant.server.lan import Lan
from assistant.speech import engines
from assistant.speech.espeak_voice import EspeakVoice, make_speech
from tests.web.conftest import Wire, trust
from tests.web.screens import start

pytestmark = [pytest.mark.browser, pytest.mark.slow]
RATE_HZ = 16_000
WORDS = "calibration is good"
STEPS = 16
LONG = (
    "Read the maker's sheet for this door from its first page to its last one, note what is said "
    "of the motor, of the brake and of the edge, and keep the sheet where you can reach it."
)
SHEET = """
job: {pack}
site: Pinewharf Cold Store
door: D2
door_type: sectional
supply: {{system: single-phase, nominal: 230 V, frequency: 50 Hz}}
people: [lead]
packs: [{pack}]
listening: {listening}
"""
PACK = """
pack: {pack}
title: Steps for the tests of the page
version: "1.0"
language: en
at_door: false
sources:
  trade: {{title: Made up for a test, kind: common-practice}}
"""
# Tells when the page speaks, by what it tells the server.
WATCH = """
  window.playback = [];
  const send = WebSocket.prototype.send;
  WebSocket.prototype.send = function (data) {
    if (typeof data === "string") {
      const message = JSON.parse(data);
      if (message.type === "playback") window.playback.push([message.on, performance.now() / 1000]);
    }
    return send.call(this, data);
  };
"""


@pytest.fixture
def jobs(tmp_path: Path) -> Iterator[Jobs]:
    found = Jobs(tmp_path / "data", engines.load("whisper"), EspeakVoice(tmp_path / "speech"))
    yield found
    found.store.close()


Begin = Callable[..., JobSession]


@pytest.fixture
def begin(jobs: Jobs, tmp_path: Path) -> Begin:
    """Begin a job of steps that are all confirmed by the same words."""

    def made(says: list[str], words: str = WORDS, listening: str = "open") -> JobSession:
        folder = tmp_path / "page-steps"
        folder.mkdir()
        how = {"pack": folder.name, "listening": listening}
        (folder / "pack.yaml").write_text(PACK.format(**how))
        (folder / "job.yaml").write_text(SHEET.format(**how))
        (folder / "steps.yaml").write_text(
            "".join(
                f'- {{id: part-{n}, section: parts, say: "{say}", '
                f"expects: {{confirmation: {words}}}}}\n"
                for n, say in enumerate(says, start=1)
            )
        )
        session = jobs.new(folder / "job.yaml", folder)
        # Shown where a test fails.
        session.subscribe(lambda t: print(t.who, repr(t.heard), t.understood, t.replies))
        return session

    return made


@pytest.fixture
def job(begin: Begin) -> JobSession:
    return begin([f"Check meter {n}." for n in range(1, STEPS + 1)])


def microphone(folder: Path, *parts: str | float, rate_hz: int = RATE_HZ) -> str:
    """The flag for a microphone that gives these words and silences [s], once."""
    quiet = np.random.default_rng(7)
    sound = [
        make_speech(part)
        if isinstance(part, str)
        else quiet.integers(-12, 12, int(part * RATE_HZ)).astype(np.int16)
        for part in parts
    ]
    file = folder / "microphone.wav"
    soundfile.write(file, np.concatenate(sound), RATE_HZ, subtype="PCM_16")
    return f"--use-file-for-fake-audio-capture={file}%noloop"


def begun(page: Any, url: str) -> None:
    page.goto(url)
    start(page)


def answers(job: JobSession) -> list[str]:
    events = [e.body["event"] for e in job.store.entries(job.job_id) if "event" in e.body]
    return [e["heard"] for e in events if e["input"]["kind"] == "confirm"]


def number(page: Any) -> int:
    return int(page.inner_text(".number").split()[1])


def reached(page: Any, step: int) -> None:
    """Wait until the page is at this step or beyond: words go on while the machine is busy."""
    page.wait_for_function(
        "(step) => parseInt(document.querySelector('.number')?.innerText.slice(5)) >= step",
        arg=step,
        timeout=120_000,
    )


ALLOWED = "--use-fake-ui-for-media-stream"


def test_ten_turns_go_on_through_ten_seconds_without_a_network(
    resident: Any, home: Path, lan: Lan, job: JobSession, tmp_path: Path
) -> None:
    """The network goes in the middle of a word and says nothing of it: no answer is made of the
    half that came, none is lost that was taken, and none comes twice.
    """
    trust(home, lan)
    wire = Wire(lan.port)
    before, after = 3, 10
    parts: list[str | float] = [4.0]
    for _ in range(before + 12 + after):  # some go into the hole; one may have to be said again
        parts += [WORDS, 2.5]
    page = resident(ALLOWED, microphone(tmp_path, *parts))
    url = f"https://127.0.0.1:{wire.port}/#{lan.join_url().partition('#')[2]}&headset=1"
    begun(page, url)
    reached(page, before + 1)
    page.wait_for_selector("#ear :text('Hearing you')")
    page.evaluate(
        """() => {
          window.lines = [];
          const line = document.getElementById("heard");
          new MutationObserver(() => window.lines.push(line.innerText))
            .observe(line, { childList: true, subtree: true });
        }"""
    )
    wire.stall()
    stalled = time.monotonic()
    page.wait_for_selector("[data-banner=link]")
    seen_after_s = time.monotonic() - stalled
    assert "Nothing you say" in page.inner_text("[data-banner=link]")
    assert "no link" in page.inner_text("#ear")
    assert seen_after_s < 6  # at the latest; a network that says it is gone is told at once
    taken = answers(job)
    step = number(page)
    page.wait_for_timeout(1000 * (10 - seen_after_s))
    assert answers(job) == taken  # what is said into the hole is heard by nobody
    assert number(page) == step  # and the last state stays readable
    wire.mend()
    page.wait_for_selector("[data-banner=link]", state="detached")
    # Shown until the next words are heard, which may be soon.
    assert any("meanwhile was not heard" in each for each in page.evaluate("window.lines"))
    goal = len(taken) + 10 - before
    reached(page, goal + 1)
    heard = answers(job)
    assert set(heard) == {WORDS}
    assert len(heard) >= 10
    page.wait_for_timeout(300)
    # One answer a step, in order: none is counted twice, none is missing.
    events = [e.body["event"] for e in job.store.entries(job.job_id) if "event" in e.body]
    voices = [e for e in events if e["via"] == "voice"]
    assert len({e["device"] for e in voices}) == 1
    done = [
        effect["step"]
        for e in job.store.entries(job.job_id)
        for effect in e.body.get("effects", ())
        if effect["kind"] == "taken"
    ]
    assert done == [f"part-{n}" for n in range(1, len(done) + 1)]
    assert verify(job.store, job.job_id).ok
    wire.close()


def spoken_into(
    resident: Any, home: Path, lan: Lan, folder: Path, headset: bool, *parts: str | float
) -> Any:
    """The page while the person speaks into the long first reply; all that was said is over."""
    trust(home, lan)
    page = resident(ALLOWED, microphone(folder, *parts))
    page.add_init_script(WATCH)
    begun(page, lan.join_url() + ("&headset=1" if headset else ""))
    return page


def first_reply_s(page: Any) -> float:
    """How long the first reply sounded. [s]"""
    page.wait_for_function("() => window.playback.some(([on]) => !on)", timeout=90_000)
    (_, began), (_, ended) = page.evaluate("window.playback.slice(0, 2)")
    return float(ended - began)


def test_with_a_headset_speech_ends_the_reply_and_is_the_answer(
    resident: Any, home: Path, begin: Begin, jobs: Jobs, tmp_path: Path
) -> None:
    job = begin([LONG, "Check meter 2.", "Check meter 3."])
    whole_s = soundfile.info(jobs.open(job.job_id).prompt().audio[-1]).duration
    assert whole_s > 8
    with Lan(jobs, job.job_id, tmp_path / "lan", say=lambda text: None) as lan:
        said = [3.0, WORDS, 4.0, WORDS, 60.0]  # once more, should it not be understood
        page = spoken_into(resident, home, lan, tmp_path, True, *said)
        assert first_reply_s(page) < whole_s - 2
        reached(page, 2)
        assert set(answers(job)) == {WORDS}
        page.close()


def test_on_a_loudspeaker_the_assistant_does_not_hear_itself_nor_what_is_said_into_it(
    resident: Any, home: Path, begin: Begin, jobs: Jobs, tmp_path: Path
) -> None:
    """What comes in while it speaks is its own voice with the very words that would answer."""
    job = begin([LONG + f" Say: {WORDS}.", "Check meter 2.", "Check meter 3."])
    prompt = jobs.open(job.job_id).prompt().audio[-1]
    whole_s = soundfile.info(prompt).duration
    with Lan(jobs, job.job_id, tmp_path / "lan", say=lambda text: None) as lan:
        late = whole_s + 4
        said = [2.0, WORDS, late, WORDS, 4.0, WORDS, 60.0]
        page = spoken_into(resident, home, lan, tmp_path, False, *said)
        assert first_reply_s(page) > whole_s - 0.5
        assert answers(job) == []
        reached(page, 2)
        page.wait_for_timeout(2_000)
        assert answers(job) in ([WORDS], [WORDS] * 2)  # what was said afterwards, and no more
        page.close()


@pytest.mark.parametrize("rate_hz", [8_000, 44_100])
def test_a_headset_of_another_sample_rate_is_understood(
    rate_hz: int, resident: Any, home: Path, lan: Lan, job: JobSession, tmp_path: Path
) -> None:
    """Wired headsets mostly give 44.1 kHz; over Bluetooth many give telephone sound of 8 kHz."""
    trust(home, lan)
    # As a person does, they are said again until two steps are through.
    page = resident(ALLOWED, microphone(tmp_path, 4.0, *[WORDS, 3.0] * 6, 60.0))
    page.add_init_script(
        f"""const Whole = AudioContext;
        window.rates = [];
        window.AudioContext = class extends Whole {{
          constructor(how) {{
            super({{ ...how, sampleRate: {rate_hz} }});
            rates.push(this.sampleRate);
          }}
        }};"""
    )
    begun(page, lan.join_url() + "&headset=1")
    reached(page, 3)
    assert page.evaluate("window.rates") == [rate_hz]
    assert set(answers(job)) == {WORDS}


def test_the_headsets_button_begins_and_ends_talking(
    resident: Any, home: Path, begin: Begin, jobs: Jobs, tmp_path: Path
) -> None:
    job = begin(["Check meter 1.", "Check meter 2."], listening="push-to-talk")
    with Lan(jobs, job.job_id, tmp_path / "lan", say=lambda text: None) as lan:
        trust(home, lan)
        page = resident(ALLOWED, microphone(tmp_path, *[2.0, WORDS] * 12))
        page.add_init_script(
            """window.button = {};
            const set = MediaSession.prototype.setActionHandler;
            MediaSession.prototype.setActionHandler = function (name, handler) {
              window.button[name] = handler;
              return set.call(this, name, handler);
            };"""
        )
        begun(page, lan.join_url() + "&headset=1")
        page.wait_for_function("() => navigator.mediaSession.playbackState === 'playing'")
        page.wait_for_selector("#ear :text('Hold to talk')")
        page.wait_for_timeout(5_000)
        assert answers(job) == []  # it speaks, but nobody pressed
        page.evaluate("window.button.pause()")
        page.wait_for_selector(".ear[data-open=true]")
        page.evaluate("window.button.play()")
        page.wait_for_selector(".ear[data-open=false]")
        page.evaluate("window.button.pause()")
        reached(page, 2)
        page.wait_for_selector(".ear[data-open=false]")  # one press, one answer
        assert answers(job) == [WORDS]
        page.close()


def test_take_photo_said_aloud_puts_a_picture_of_the_step_on_record(
    resident: Any, home: Path, lan: Lan, job: JobSession, tmp_path: Path
) -> None:
    trust(home, lan)
    said = [4.0, WORDS, 3.0, *["take photo", 9.0] * 3, 60.0]
    page = resident(ALLOWED, microphone(tmp_path, *said))
    begun(page, lan.join_url() + "&headset=1")
    page.wait_for_selector("[data-page=photo] video")
    page.wait_for_function("() => document.querySelector('video')?.videoWidth > 0")
    page.wait_for_selector("[data-page=step] .number")
    at = number(page)
    deadline = time.monotonic() + 60
    kept: list[Any] = []
    while not kept and time.monotonic() < deadline:
        page.wait_for_timeout(200)
        kept = [e for e in job.store.entries(job.job_id) if "attachment" in e.body]
    entry = kept[0]
    assert entry.body["attachment"]["step"] == f"part-{at}"
    jpeg = job.store.attachment(job.job_id, entry.seq)
    assert jpeg
    with Image.open(io.BytesIO(jpeg)) as shot:
        assert (shot.format, shot.getexif()) == ("JPEG", {})
        levels = shot.convert("L").getextrema()
        assert levels[1] - levels[0] > 50  # something is on it
    assert verify(job.store, job.job_id).ok
    page.wait_for_selector("#heard :text('Photo kept')")
    # The camera is let go of: its light goes out.
    page.wait_for_function("() => document.querySelector('video') === null")
