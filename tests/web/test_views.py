"""Every view in a real Chromium: what axe finds, what the keyboard reaches, what it does."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from assistant.clock import SetClock
from assistant.job import Jobs, JobSession
from assistant.server.serve import Server
from tests.web.screens import INERT_MS, SCREENS, faults, grave, keep, press, start

pytestmark = pytest.mark.browser
SIZES = {"360": (360, 740), "412": (412, 915), "1280": (1280, 800)}
# Where axe looks: each size and either theme. All six are kept as pictures, if they are asked for.
LOOKS = [("360", "light"), ("412", "dark"), ("1280", "light")]
MORE = [("360", "dark"), ("412", "light"), ("1280", "dark")] if SCREENS else []
# The pages behind "More", and what shows that one is there.
PAGES = {
    "more": "[data-go=people]",
    "progress": "[data-part]",
    "plan": "[data-section]",
    "readings": "[data-reading]",
    "record": "[data-chain]",
    "people": "svg.qr",
    "jobs": "[data-job]",
    "settings": "[data-tell=slower]",
    "sound": ".limits",
}
FORM = ("supply", "options", "instruments", "terminals", "parts")
UNNAMED = """() => {
  document.querySelector("main").append(document.createElement("button"));
}"""


def go(page: Any, name: str) -> None:
    """From the step to a page behind "More"."""
    press(page, "[data-act=more]")
    if name != "more":
        press(page, f"[data-go={name}]")
    page.wait_for_selector(f"[data-page={name}] {PAGES[name]}")


def back(page: Any) -> None:
    press(page, "[data-act=more]")
    page.wait_for_selector(".number")


@pytest.fixture
def measured(job: JobSession, clock: SetClock) -> JobSession:
    """Power entry of door D1 by the answers of its rehearsal, up to four readings."""
    script = Path(__file__).parents[2] / "steps" / "jobs" / "pinewharf-d1.rehearsal.txt"
    for who in ("helper", "lead"):
        job.join(f"other-{who}", who)
    for line in script.read_text(encoding="utf-8").splitlines():
        if len(job.view()["readings"]) >= 4:
            break
        who, _, words = line.partition(": ")
        if line.startswith("wait "):
            clock.pass_s(60 * int(line.split()[1]))
            job.tick()
        elif who in ("lead", "helper"):
            job.say(f"other-{who}", words.partition(" | ")[0], "text")
    for who in ("helper", "lead"):
        job.leave(f"other-{who}")
    return job


def test_axe_and_the_rules_of_this_page_find_nothing_on_any_view(
    phone: Any, server: Server, measured: JobSession
) -> None:
    # axe is put into the page by the test; the page itself allows no script but its own.
    page = phone(server.url, reduced_motion="reduce", bypass_csp=True)
    found: dict[str, list[str]] = {}

    def look_at(name: str, below: str = "") -> None:
        for size, theme in LOOKS + MORE:
            width, height = SIZES[size]
            page.set_viewport_size({"width": width, "height": height})
            page.emulate_media(color_scheme=theme)
            if below:
                page.locator(below).evaluate("e => e.scrollIntoView({ block: 'start' })")
            keep(page, f"{name}-{size}-{theme}")
            if not below and (size, theme) in LOOKS:
                found[f"{name} {size} {theme}"] = faults(page) + grave(page)

    look_at("start")
    start(page)
    look_at("step")
    for name in PAGES:
        go(page, name)
        if name == "plan":
            page.click("summary >> nth=0")
        look_at(name)
        if name == "record":
            look_at("plots", ".plot >> nth=0")
        back(page)
    go(page, "jobs")
    press(page, "[data-go=set-up]")
    press(page, "[data-sheet=pinewharf-d1]")
    page.wait_for_selector("[data-act=begin]")
    for name in FORM:
        page.click(f"[data-of={name}] summary")
    look_at("set-up")
    for name in FORM if SCREENS else ():
        look_at(f"set-up-{name}", f"[data-of={name}] summary")
    assert {name: each for name, each in found.items() if each} == {}
    assert len(found) == (len(PAGES) + 3) * len(LOOKS)
    page.evaluate(UNNAMED)  # a fault that is there is found
    assert any(each.startswith("button-name") for each in grave(page))


# Where the focus is; each element that can be reached is numbered when it is met.
FOCUSED = """() => {
  const e = document.activeElement;
  if (!e || e === document.body) return null;
  const box = e.getBoundingClientRect();
  const outlined = getComputedStyle(e).outlineStyle !== "none" || e.id === "main";
  if (!e.dataset.met) e.dataset.met = document.querySelectorAll("[data-met]").length + 1;
  return { met: e.dataset.met, outlined, high: box.height };
}"""
CONTROLS = """() => [...document.querySelectorAll("button, input, summary")]
  .filter((e) => e.checkVisibility() && !e.disabled && e.closest("main, footer"))
  .filter((e) => !e.dataset.met).map((e) => e.textContent || e.ariaLabel)"""


def test_the_keyboard_alone_reaches_every_control_and_sees_where_it_is(
    phone: Any, server: Server, measured: JobSession
) -> None:
    page = phone(server.url)
    page.keyboard.press("Tab")
    for _ in range(10):
        if page.evaluate("document.activeElement.dataset.act") == "start":
            break
        page.keyboard.press("Tab")
    page.wait_for_timeout(INERT_MS)
    page.keyboard.press("Enter")
    page.wait_for_selector(".number")
    for name in ("more", "settings", "plan", "record", "jobs", "people"):
        go(page, name)
        for _ in range(60):
            page.keyboard.press("Tab")
            focus = page.evaluate(FOCUSED)
            assert focus is None or focus["outlined"], f"{name}: the focus is not seen"
            if not (left := page.evaluate(CONTROLS)):
                break
        assert left == [], name
        back(page)


def test_parts_and_people_are_chosen_and_the_job_begins_with_them(
    phone: Any, server: Server, jobs: Jobs
) -> None:
    page = phone(server.url)
    start(page)
    go(page, "jobs")
    press(page, "[data-go=set-up]")
    press(page, "[data-sheet=pinewharf-d1]")
    press(page, "[data-of=parts] summary")
    page.wait_for_selector("[data-part=safety-tests]")
    assert page.inner_text("[data-sum]").startswith("20 of 20 parts")
    press(page, "[data-crew=alone]")
    assert page.is_disabled("[data-part=safety-tests]")
    assert "Takes two people" in page.inner_text("[data-part=safety-tests]")
    page.click("[data-act=no-parts]")
    assert page.is_disabled("[data-act=begin]")
    page.click("[data-part=motor]")
    page.click("[data-part=mounting]")
    assert page.inner_text("[data-sum]").startswith("2 of 20 parts")
    press(page, "[data-act=begin]")
    page.wait_for_url(re.compile("job=pinewharf-d1"))
    page.wait_for_function("location.hash.includes('role=lead')")
    start(page)
    newest = jobs.open(jobs.list()[0]["id"])
    assert newest.plan.job.people == ("lead",)
    bodies = (entry.body for entry in jobs.store.entries(newest.job_id))
    assert next(b["event"]["input"]["kind"] for b in bodies if "event" in b) == "started"
    named = {part.name for part in newest.plan.pack.parts}
    assert {"motor", "mounting"} <= named
    assert not named & {"light-beams", "safety-tests", "power-entry"}


def test_what_stands_at_the_door_is_set_by_choice_and_a_plan_is_taken_from_a_file(
    phone: Any, server: Server, jobs: Jobs, tmp_path: Path
) -> None:
    phone.expected += ["409"]  # the console tells of the plan that is refused
    page = phone(server.url)
    start(page)
    go(page, "jobs")
    press(page, "[data-go=set-up]")
    press(page, "[data-sheet=pinewharf-d2]")
    page.wait_for_selector("[data-of=supply]")
    for name in ("supply", "options", "instruments", "terminals"):
        page.click(f"[data-of={name}] summary")
    press(page, "[data-listening=push-to-talk]")
    page.click("[data-volts='240 V']")
    page.click("[data-hertz='60 Hz']")
    assert "240\u00a0V, 60\u00a0Hz" in page.inner_text("[data-of=supply] summary")
    page.click("[data-option=traffic-light]")
    page.click("[data-instrument=M-2]")
    page.click("[data-add='clamp meter']")
    page.fill("[data-due=M-3]", "2027-05-01")
    assert "M-1, M-3" in page.inner_text("[data-of=instruments] summary")

    kept = Path(__file__).parents[2] / "steps" / "jobs" / "plans" / "d2.csv"
    lines = kept.read_text(encoding="utf-8").splitlines(keepends=True)
    plan = tmp_path / "sheet.csv"
    plan.write_text("".join(lines).replace("voltage_class", "voltage", 1), encoding="utf-8")
    page.set_input_files("[data-file]", plan)
    page.wait_for_selector("[data-told]:text('voltage_class')")  # not taken, and why
    lamps = [n for n, line in enumerate(lines, 1) if line.startswith("traffic-light")]
    plan.write_text("".join(lines), encoding="utf-8")
    page.set_input_files("[data-file]", plan)
    page.wait_for_selector(f"[data-of=terminals] li:text('Line {lamps[0]}: ')")
    plan.write_text("".join(each for each in lines if "traffic-light" not in each), "utf-8")
    page.set_input_files("[data-file]", plan)
    page.wait_for_selector("[data-told]:text('no fault found')")

    press(page, "[data-act=begin]")
    page.wait_for_url(re.compile("job=pinewharf-d2"))
    begun = jobs.open(jobs.list()[0]["id"]).plan.job
    assert begun.supply.model_dump() == {
        "system": "single-phase", "nominal": "240 V", "frequency": "60 Hz"}  # fmt: skip
    assert begun.listening == "push-to-talk"
    assert "traffic-light" not in begun.options
    assert "brake" in begun.options
    assert [(i.id, i.kind, i.calibration_due) for i in begun.instruments] == [
        ("M-1", "multimeter and contact tester", "2027-03-31"),
        ("M-3", "clamp meter", "2027-05-01"),
    ]
    assert not any(row.device == "traffic-light" for row in begun.terminals)
    assert any(row.device == "mains" for row in begun.terminals)


def test_a_job_that_could_not_be_begun_is_said_and_can_be_begun_after_all(
    phone: Any, server: Server, wire: Any, jobs: Jobs
) -> None:
    phone.expected += ["ERR_", "WebSocket"]
    page = phone(wire.url)
    start(page)
    go(page, "jobs")
    press(page, "[data-go=set-up]")
    press(page, "[data-sheet=pinewharf-d2]")
    page.wait_for_selector("[data-act=begin]")
    before = len(jobs.list())
    wire.cut()
    page.wait_for_selector("[data-banner=link]")
    press(page, "[data-act=begin]")
    page.wait_for_selector("[data-banner=error] :text('reached')")
    assert len(jobs.list()) == before
    wire.mend()
    page.wait_for_selector("[data-banner=link]", state="detached", timeout=20_000)
    press(page, "[data-act=begin]")
    page.wait_for_url(re.compile("job=pinewharf-d2"))
    assert len(jobs.list()) == before + 1


def test_rate_and_volume_are_set_and_the_page_stays(
    phone: Any, server: Server, job: JobSession
) -> None:
    page = phone(server.url)
    start(page)
    go(page, "settings")
    was = job.speaking.rate_wpm
    press(page, "[data-tell=slower]")
    page.wait_for_selector(f"text={was - 20} words a minute")
    press(page, "[data-tell=quieter]")
    page.wait_for_selector("text=80 %")
    assert (job.speaking.rate_wpm, job.speaking.volume) == (was - 20, 0.8)
    assert page.is_visible("[data-page=settings]")


def test_settings_are_kept_on_the_phone(phone: Any, server: Server, job: JobSession) -> None:
    page = phone(server.url, color_scheme="light")
    start(page)
    go(page, "settings")
    ground = "getComputedStyle(document.body).backgroundColor"
    day = page.evaluate(ground)
    press(page, "[data-set=theme][data-value=night]")
    night = page.evaluate(ground)
    assert night != day
    press(page, "[data-set=headset][data-value='1']")
    press(page, "[data-set=tones][data-value=soft]")
    press(page, "[data-set=hand][data-value=left]")
    page.reload()
    page.wait_for_selector("[data-act=headset][aria-pressed=true]")
    assert page.evaluate(ground) == night
    assert page.evaluate("document.querySelector('#foot').lastChild.textContent") == "Stop work"
    assert page.evaluate("localStorage.getItem('tones')") == "soft"
    page.evaluate("localStorage.removeItem('theme'); dispatchEvent(new Event('theme'))")
    assert page.evaluate(ground) == day
    page.emulate_media(color_scheme="dark")
    page.wait_for_function(f"() => {ground} === '{night}'")


def test_the_plan_is_read_with_the_server_gone_and_says_when_it_was_kept(
    phone: Any, server: Server, wire: Any, job: JobSession
) -> None:
    phone.expected += ["ERR_", "WebSocket"]
    page = phone(wire.url)
    start(page)
    go(page, "plan")
    assert page.get_attribute("[data-kept]", "data-kept") == "now"
    sections = page.locator("[data-section]").count()
    back(page)
    wire.cut()
    page.wait_for_selector("[data-banner=link]")
    go(page, "plan")
    assert "No server. Kept on this phone" in page.inner_text("[data-kept]")
    assert page.locator("[data-section]").count() == sections
    page.click("summary >> nth=1")
    page.wait_for_selector("details[open] .signal")
    assert page.get_attribute(".energy", "data-state") == "unknown"


def test_progress_tells_the_parts_as_the_job_has_them(
    phone: Any, server: Server, measured: JobSession
) -> None:
    page = phone(server.url)
    start(page)
    go(page, "progress")
    parts = measured.view()["parts"]
    assert page.locator("[data-part]").count() == len(parts) > 1
    for part in parts:
        row = page.locator(f"[data-part='{part['name']}']")
        bar = row.locator("[role=progressbar]")
        shares = bar.evaluate("e => e.firstChild.clientWidth / e.clientWidth")
        assert shares == pytest.approx(part["done"] / part["steps"], abs=0.02)
        assert (row.get_attribute("aria-current") == "step") is part["now"]
    assert any(part["done"] for part in parts)


def test_printed_pages_are_saved_from_the_record(
    phone: Any, server: Server, measured: JobSession, tmp_path: Path
) -> None:
    page = phone(server.url)
    start(page)
    go(page, "record")
    for name in ("record", "customer"):
        with page.expect_download() as given:
            press(page, f"[data-pdf={name}]")
        assert given.value.suggested_filename == f"{measured.job_id}-{name}.pdf"
        kept = tmp_path / f"{name}.pdf"
        given.value.save_as(kept)
        assert "Pinewharf" in PdfReader(kept).pages[0].extract_text()
    page.wait_for_selector("text=Saved on this device.")


def test_a_reading_lies_in_the_drawing_where_it_lies_among_its_limits(
    phone: Any, server: Server
) -> None:
    page = phone(server.url)
    drawn = page.evaluate("""async () => {
      const { limitPlot, scale } = await import("./view/plot.js");
      const at = (plot, passed) => {
        const svg = limitPlot(plot, passed, "words");
        document.body.append(svg);
        const box = (name) => svg.querySelector(name)?.getBBox();
        const band = box(".band"), mark = box(".mark-in, .mark-out");
        const middle = mark.x + mark.width / 2;
        return {
          inside: middle >= band.x && middle <= band.x + band.width,
          limits: svg.querySelectorAll(".limit").length, cross: Boolean(box(".mark-out")),
          told: svg.getAttribute("aria-label"), fits: mark.x >= 0 && mark.x + mark.width <= 320,
        };
      };
      return {
        within: at({ value: 480, at_least: 432, at_most: 528 }, true),
        above: at({ value: 560, at_least: 432, at_most: 528 }, false),
        high: at({ value: 500e6, at_least: 1e6, at_most: null }, true),
        low: at({ value: 2e5, at_least: 1e6, at_most: null }, false),
        zero: at({ value: 0, at_least: null, at_most: 3 }, true),
        equal: at({ value: 0, at_least: null, at_most: 0 }, true),
        none: limitPlot({ value: 3, at_least: null, at_most: null }, true, "") === null
          && limitPlot(null, true, "") === null,
        // 100 lies in the middle of 10 and 1000 on a scale of decades.
        decade: scale([10, 100, 1000])(100),
      };
    }""")
    inside = {name: drawn[name]["inside"] for name in ("within", "high", "zero", "equal")}
    assert all(inside.values()), inside
    assert not drawn["above"]["inside"]
    assert not drawn["low"]["inside"]
    assert drawn["above"]["cross"]
    assert not drawn["within"]["cross"]
    assert drawn["within"]["limits"] == 2
    assert all(
        each["fits"] and each["told"] == "words" for each in drawn.values() if type(each) is dict
    )
    assert drawn["none"]
    assert drawn["decade"] == pytest.approx(0.5)


def test_nothing_moves_where_less_motion_is_wished(phone: Any, server: Server) -> None:
    page = phone(server.url, reduced_motion="reduce")
    moving = """() => {
      const probe = Object.assign(document.createElement("button"), { className: "hold down" });
      probe.append(document.createElement("i"));
      document.body.append(probe);
      return getComputedStyle(probe.firstChild).transitionProperty;
    }"""
    assert page.evaluate(moving) == "none"
    page.emulate_media(reduced_motion="no-preference")
    assert page.evaluate(moving) == "width"


def test_the_page_weighs_less_than_250_kilobytes() -> None:
    web = Path(__file__).parents[2] / "web"
    files = [f for f in web.rglob("*") if f.is_file() and "icons" not in f.relative_to(web).parts]
    assert sum(file.stat().st_size for file in files) < 250_000
