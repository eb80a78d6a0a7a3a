"""What is told by tone is felt too, and each signal is told from every other."""

from __future__ import annotations

import itertools
import json
from typing import Any

import numpy as np
import pytest

from assistant.clock import SetClock
from assistant.job import JobSession
from assistant.server.serve import Server
from tests.web.screens import start

pytestmark = pytest.mark.browser
SIGNALS = ("heard", "done", "not-understood", "refused", "fail", "link-lost", "link-back", "deaf")
# No motor is in this machine; what it is asked for is noted.
FELT = """() => {
  window.felt = [];
  Navigator.prototype.vibrate = (pulses) => window.felt.push(pulses.join()) > 0;
}"""


def test_no_two_signals_sound_or_feel_alike(phone: Any, server: Server) -> None:
    """Tones are rendered by the browser's own audio; alike is a correlation of their loudness over
    time, or of their spectra, of 0.9 or more in both (common practice, no source).
    """
    page = phone(server.url)
    rendered = json.loads(
        page.evaluate(
            """async (names) => {
              const { sound, SOFT } = await import("/audio/tones.js");
              const out = {};
              for (const name of [...names, "soft"]) {
                const context = new OfflineAudioContext(1, 16000, 16000);
                // It is made before it runs, and a tone is for a running context.
                Object.defineProperty(context, "state", { value: "running" });
                name === "soft" ? sound(context, "link-lost", SOFT) : sound(context, name);
                out[name] = Array.from((await context.startRendering()).getChannelData(0));
              }
              return JSON.stringify(out);
            }""",
            list(SIGNALS),
        )
    )
    shapes, spectra = {}, {}
    soft, loud = (np.abs(rendered[name]).max() for name in ("soft", "link-lost"))
    assert 0.05 < soft < loud / 2  # turned down, and still a tone
    del rendered["soft"]
    for name, samples in rendered.items():
        wave = np.asarray(samples)
        assert np.abs(wave).max() > 0.2, name
        shapes[name] = np.sqrt((wave.reshape(-1, 320) ** 2).mean(axis=1))  # 20 ms each
        spectra[name] = np.abs(np.fft.rfft(wave))[:4000].reshape(-1, 20).sum(axis=1)
    for one, other in itertools.combinations(SIGNALS, 2):
        alike = [np.corrcoef(kind[one], kind[other])[0, 1] for kind in (shapes, spectra)]
        assert min(alike) < 0.9, (one, other, alike)
    felt = page.evaluate(
        """async (names) => {
          const felt = [];
          Navigator.prototype.vibrate = (pulses) => felt.push(pulses.join()) > 0;
          const { feel } = await import("/audio/tones.js");
          names.forEach(feel);
          return felt;
        }""",
        list(SIGNALS),
    )
    assert len(set(felt)) == len(SIGNALS)


def test_what_happens_is_felt(
    phone: Any, server: Server, wire: Any, job: JobSession, clock: SetClock
) -> None:
    phone.expected += ["WebSocket connection", "ERR_"]
    page = phone(wire.url)
    page.evaluate(FELT)

    def felt() -> str:
        page.wait_for_function("() => window.felt.length")
        return str(page.evaluate("window.felt.splice(0)[0]"))

    start(page)
    page.wait_for_timeout(900)
    page.click("main [data-phrase=done]")
    done = felt()
    job.join("other-lead", "lead")
    job.say("other-lead", "no such phrase at all", "text")
    not_understood = felt()
    job.say("other-lead", "power is on", "text")
    page.wait_for_timeout(300)
    page.evaluate("window.felt.splice(0)")
    wire.cut()
    lost = felt()
    wire.mend()
    page.wait_for_selector("[data-banner=link]", state="detached")
    page.wait_for_function("() => window.felt.length")
    assert len({done, not_understood, lost, *page.evaluate("window.felt")}) >= 4


def test_a_microphone_that_is_taken_away_is_told_at_once(phone: Any, server: Server) -> None:
    page = phone(server.url)
    page.evaluate(FELT)
    page.evaluate(
        """() => {
          const ask = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
          navigator.mediaDevices.getUserMedia = async (what) => (window.stream = await ask(what));
        }"""
    )
    start(page)
    page.wait_for_selector(".ear[data-open=true]")
    page.evaluate(
        """() => {
          const [track] = window.stream.getAudioTracks();
          track.dispatchEvent(new Event("ended"));  // as when a headset is pulled out
        }"""
    )
    page.wait_for_selector("[data-banner=mic]")
    assert "no microphone" in page.inner_text("#ear")
    page.wait_for_function("() => window.felt.includes('300,150,300')")
