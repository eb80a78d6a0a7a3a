"""The page in a real browser: shown, touched, cut off and back again."""

from __future__ import annotations

import json
import shutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from assistant.clock import SetClock
from assistant.job import Jobs, JobSession
from assistant.server.app import create_app
from assistant.server.serve import Server, listen
from tests.web.screens import INERT_MS, press, seen, start

pytestmark = pytest.mark.browser


def at_step(page: Any, number: int) -> None:
    """Wait until the page shows the step of this number."""
    page.wait_for_selector(f".number:text-matches('^Step {number} of')")


def inputs_of(job: JobSession, kind: str) -> list[dict[str, Any]]:
    """Events of a kind in the job's log."""
    bodies = (entry.body for entry in job.store.entries(job.job_id))
    return [b["event"] for b in bodies if "event" in b and b["event"]["input"]["kind"] == kind]


def rehearse(job: JobSession, clock: SetClock, until: Callable[[dict[str, Any]], bool]) -> None:
    """Answer as the rehearsal of this door does, until the job stands where it is wanted."""
    job.join("other-helper", "helper")
    job.join("other-lead", "lead")
    script = Path(__file__).parents[2] / "steps" / "jobs" / "pinewharf-d1.rehearsal.txt"
    for line in script.read_text(encoding="utf-8").splitlines():
        if until(job.view()):
            return
        if line.startswith("wait "):
            clock.pass_s(60 * int(line.split()[1]))
            job.tick()
        who, _, words = line.partition(": ")
        if who in ("lead", "helper"):
            view = job.view()["challenge"] or {"digits": ""}
            words = words.partition(" | ")[0].replace("{challenge}", " ".join(view["digits"]))
            job.say(f"other-{who}", words.replace("{wrong}", "zero zero"), "text")
    raise AssertionError("the rehearsal never came there")


def test_a_phone_without_microphone_works_by_touch_and_says_what_to_do(
    phone: Any, server: Server, job: JobSession
) -> None:
    page = phone(server.url, "--deny-permission-prompts")
    seen(page, "start")
    start(page)
    page.wait_for_selector("[data-banner=mic]")
    assert "Allow it" in page.inner_text("[data-banner=mic]")
    assert "no microphone" in page.inner_text("#ear")
    seen(page, "microphone-refused")
    assert page.get_attribute(".energy", "data-state") == "unknown"
    assert "Treat everything as live" in page.inner_text("#energy")
    assert page.inner_text(".number").startswith("Step 1 of ")
    press(page, "main [data-phrase=done]")
    at_step(page, 2)
    assert "done" in page.inner_text("#heard")
    (event,) = inputs_of(job, "confirm")
    assert event["via"] == "touch"


def test_a_double_tap_answers_one_question(phone: Any, server: Server, job: JobSession) -> None:
    page = phone(server.url)
    start(page)
    page.wait_for_selector("#ear :text('istening')")
    page.wait_for_timeout(2 * INERT_MS)
    box = page.locator("main [data-phrase=done]").bounding_box()
    for _ in range(3):
        page.mouse.click(box["x"] + 40, box["y"] + 30)
    page.wait_for_timeout(300)
    assert len(inputs_of(job, "confirm")) == 1


def test_a_value_is_entered_read_back_and_affirmed_by_touch(
    phone: Any, server: Server, job: JobSession, clock: SetClock
) -> None:
    page = phone(server.url)
    start(page)
    page.wait_for_selector("#ear :text('Listening')")
    rehearse(job, clock, lambda view: view["step"]["kind"] == "reading")
    page.wait_for_selector("[data-act=keypad]")
    seen(page, "reading")
    press(page, "[data-act=keypad]")
    page.wait_for_timeout(INERT_MS)
    for key in "234":
        page.click(f"[data-key='{key}']")
    seen(page, "keypad")
    page.click("[data-act=enter]")
    page.wait_for_selector("[data-pending]")
    assert page.inner_text(".value b") == "234 V"
    seen(page, "read-back")
    apart = page.evaluate("""() => {
      const box = (p) => document.querySelector(`main [data-phrase=${p}]`).getBoundingClientRect();
      return box("affirm").top - box("negative").bottom;
    }""")
    assert apart >= 150  # a glove that misses one doesn't meet the other
    press(page, "main [data-phrase=negative]")
    page.wait_for_selector("[data-act=keypad]")
    press(page, "[data-act=keypad]")
    page.wait_for_timeout(INERT_MS)
    for key in "234":
        page.click(f"[data-key='{key}']")
    page.click("[data-act=enter]")
    press(page, "main [data-phrase=affirm]")
    page.wait_for_selector("[data-pending]", state="detached")
    press(page, "[data-act=more]")
    press(page, "[data-go=readings]")
    page.wait_for_selector("[data-reading]")
    assert "234 V" in page.inner_text("[data-page=readings]")
    seen(page, "readings")
    # What corrects an earlier step stands beside that step's words, not beside those in hand.
    taken, here = next(iter(job.run.readings.values())).step, job.view()["step"]["brief"]
    assert job.run.at != taken
    clock.pass_s(2)
    job.say("other-lead", "correction two three six volts", "text")
    press(page, "footer [data-act=more]")
    page.wait_for_selector("[data-pending='236 V']")
    asked = page.inner_text(".asked")
    assert asked.startswith("Correction of: ") and here not in asked
    seen(page, "read-back-correction")


def test_a_gate_opens_by_press_and_hold_with_the_digits_and_not_by_a_tap(
    phone: Any, server: Server, job: JobSession, clock: SetClock
) -> None:
    page = phone(server.url)
    start(page)
    rehearse(job, clock, lambda view: bool(view["challenge"]))
    energy = job.view()["energy"]["state"]
    page.wait_for_selector("[data-gate]")
    assert page.inner_text(".digits").split() == ["4", "7"]
    seen(page, "gate")

    def hold(digits: str, seconds: float) -> None:
        if not page.query_selector("[data-act=hold]"):
            press(page, "[data-act=gate-touch]")
        else:
            press(page, "text=Enter again")
        page.wait_for_timeout(INERT_MS)
        seen(page, "gate-keys")
        for digit in digits:
            page.click(f"[data-key='{digit}']")
        seen(page, "gate-hold")
        box = page.locator("[data-act=hold]").bounding_box()
        page.mouse.move(box["x"] + 90, box["y"] + 90)
        page.mouse.down()
        page.wait_for_timeout(seconds * 1000)
        page.mouse.up()

    hold("47", 0.3)
    page.wait_for_selector("#heard [data-tone=not-understood]")
    assert not page.query_selector("[data-pending]")
    hold("47", 1.9)
    page.wait_for_selector("[data-pending]")
    assert job.view()["energy"]["state"] == energy != "proven-dead"
    press(page, "main [data-phrase=affirm]")
    page.wait_for_selector(".energy[data-state=proven-dead]")
    seen(page, "proven-dead")
    (event,) = inputs_of(job, "challenge")[-1:]
    assert event["via"] == "touch"
    press(page, "footer [data-phrase='stop work']")
    page.wait_for_selector("[data-banner=held]")
    assert page.get_attribute(".energy", "data-state") != "proven-dead"
    seen(page, "held")
    press(page, "main [data-phrase='go ahead']")
    page.wait_for_selector("[data-banner=held]", state="detached")


def test_a_lost_link_is_shown_and_what_was_missed_comes_once(
    phone: Any, wire: Any, job: JobSession
) -> None:
    phone.expected += ["WebSocket connection", "ERR_"]
    page = phone(wire.url)
    start(page)
    press(page, "main [data-phrase=done]")
    at_step(page, 2)
    wire.cut()
    page.wait_for_selector("[data-banner=link]")
    assert page.get_attribute(".ear", "data-open") == "false"
    assert "no link" in page.inner_text("#ear")
    seen(page, "link-lost")
    page.wait_for_timeout(INERT_MS)
    page.click("main [data-phrase=done]")
    page.wait_for_selector("[data-banner=error]")
    assert "not sent" in page.inner_text("[data-banner=error]")
    job.join("other-lead", "lead")
    for _ in range(3):
        job.say("other-lead", "done", "text")
    wire.mend()
    page.wait_for_selector("[data-banner=link]", state="detached")
    at_step(page, 5)
    assert len(inputs_of(job, "confirm")) == 4  # the press without a link acted never
    press(page, "main [data-phrase=done]")
    at_step(page, 6)
    assert len(inputs_of(job, "confirm")) == 5


def test_a_proof_is_not_shown_as_valid_without_a_link(
    phone: Any, wire: Any, job: JobSession, clock: SetClock
) -> None:
    phone.expected += ["WebSocket connection", "ERR_"]
    page = phone(wire.url)
    start(page)
    rehearse(job, clock, lambda view: view["energy"]["state"] == "proven-dead")
    page.wait_for_selector(".energy.safe")
    wire.cut()
    page.wait_for_selector(".energy.danger[data-state=unknown]")
    assert "Was: proven dead" in page.inner_text("#energy")  # as the last known, and no more
    seen(page, "link-lost-in-proof")


def test_a_server_that_was_started_again_goes_on_in_place(
    phone: Any, server: Server, jobs: Jobs, job: JobSession, tmp_path: Path
) -> None:
    phone.expected += ["WebSocket connection", "ERR_"]
    page = phone(server.url)
    start(page)
    press(page, "main [data-phrase=done]")
    at_step(page, 2)
    server.stop()
    page.wait_for_selector("[data-banner=link]")
    again = Jobs(tmp_path)
    with listen(create_app(again, job.job_id), port=server.port):
        page.wait_for_selector("[data-banner=link]", state="detached")
        press(page, "main [data-phrase=done]")
        at_step(page, 3)
        session = again.open(job.job_id)
        assert len(inputs_of(session, "confirm")) == 2
        page.close()
    again.store.close()


def test_push_to_talk_listens_while_a_finger_is_down(
    phone: Any, jobs: Jobs, tmp_path: Path
) -> None:
    sheet = Path(__file__).parents[2] / "steps" / "jobs" / "pinewharf-d1.yaml"
    text = sheet.read_text(encoding="utf-8").replace("listening: open", "listening: push-to-talk")
    (tmp_path / "talk.yaml").write_text(text, encoding="utf-8")
    shutil.copytree(sheet.parent / "plans", tmp_path / "plans")
    job = jobs.new(tmp_path / "talk.yaml", "power-entry")
    with listen(create_app(jobs, job.job_id)) as served:
        page = phone(served.url)
        start(page)
        page.wait_for_selector(".ear[data-open=false]")
        page.wait_for_selector("#ear :text('Hold to talk')")
        seen(page, "push-to-talk")
        page.mouse.move(180, 160)
        page.mouse.down()
        page.wait_for_selector(".ear[data-open=true]")
        page.mouse.up()
        page.wait_for_selector(".ear[data-open=false]")
        page.close()


def test_sound_is_resampled_without_folding(phone: Any, server: Server) -> None:
    page = phone(server.url)
    found = json.loads(
        page.evaluate("""async () => {
      const { Resampler } = await import("/audio/resampler.js");
      const power = (from, hz) => {
        const resampler = new Resampler(from, 16000);
        const out = [];
        for (let block = 0; block < 200; block += 1) {
          const input = Float32Array.from({ length: 128 },
            (_, i) => Math.sin(2 * Math.PI * hz * (block * 128 + i) / from));
          out.push(...resampler.push(input));
        }
        const middle = out.slice(500);
        const squares = middle.reduce((sum, x) => sum + x * x, 0);
        return [out.length / (200 * 128 / from), Math.sqrt(squares / middle.length)];
      };
      const rates = [16000, 22050, 44100, 48000, 96000];
      return JSON.stringify(rates.map((from) => [
        from, power(from, 1000), power(from, 6000),
        from > 20000 ? power(from, 10000) : [16000, 0]]));
    }""")
    )
    for rate, low, high, beyond in found:
        assert low[0] == pytest.approx(16_000, rel=0.01), rate
        assert low[1] == pytest.approx(0.7071, rel=0.01), rate
        assert high[1] == pytest.approx(0.7071, rel=0.05), rate
        assert beyond[1] < 0.003, rate  # 47 dB down or more


def test_frames_come_as_agreed(phone: Any, server: Server) -> None:
    page = phone(server.url)
    page.add_init_script("""
      const send = WebSocket.prototype.send;
      window.sizes = [];
      WebSocket.prototype.send = function (data) {
        if (typeof data !== "string") window.sizes.push(data.byteLength);
        return send.call(this, data);
      };
    """)
    page.reload()
    start(page)
    began = time.monotonic()
    while len(sizes := page.evaluate("() => window.sizes")) < 60:
        page.wait_for_timeout(100)
    assert set(sizes) <= {1280, 2560, 3840, 5120}  # 40 ms at 16 kHz, up to four of them
    assert time.monotonic() - began < sum(sizes) / 32_000 * 3


def test_sound_is_sent_at_once_unless_it_is_quiet(phone: Any, server: Server) -> None:
    page = phone(server.url)
    frames = page.evaluate("""async () => {
      const { Bundler } = await import("/audio/bundler.js");
      const bundler = new Bundler();
      let seed = 1, number = 0;
      const noise = () => { seed = (seed * 16807) % 2147483647; return seed / 1073741823.5 - 1; };
      // What is sent after each frame: its number of frames, and if its samples are the next ones.
      const hear = (count, loudness) => Array.from({ length: count }, () => {
        const sent = bundler.push(Int16Array.from({ length: 640 },
          (_, i) => i === 0 ? number++ : loudness * noise()));
        if (!sent) return [0, true];
        const size = sent.length / 640;
        const first = Array.from({ length: size }, (_, i) => sent[i * 640] - number + size);
        return [size, first.every((at, i) => at === i)];
      });
      // Quiet, a word 9 dB above it, the silence after it; a compressor that starts and goes on.
      return [hear(40, 300), hear(10, 900), hear(49, 300), hear(41, 300), hear(500, 3000)];
    }""")
    quiet, word, after, later, compressor = frames
    assert all(whole for part in frames for _, whole in part)
    assert [size for size, _ in quiet] == [0, 0, 0, 4] * 10
    assert all(size == 1 for size, _ in word + after)
    assert {size for size, _ in later} == {0, 4}
    assert compressor[0][0] >= 1
    assert {size for size, _ in compressor[1:200]} == {1}
    assert {size for size, _ in compressor[-41:]} == {0, 4}
