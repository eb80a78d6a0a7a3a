"""The fault guide on a phone: a search by touch, from what is seen to repaired and tested."""

from __future__ import annotations

from typing import Any

import pytest

from assistant.clock import SetClock
from assistant.job import Jobs, JobSession
from assistant.server.serve import Server
from tests.faults.test_live import floor, go_on, search
from tests.web.screens import INERT_MS, grave, press, seen, start

pytestmark = pytest.mark.browser
VIEWPORT = {"width": 390, "height": 844}


@pytest.fixture
def job(jobs: Jobs) -> JobSession:
    """A repair visit at door D2."""
    return jobs.new("pinewharf-d2-repair")


def touch(page: Any, phrase: str) -> None:
    press(page, f'main [data-phrase="{phrase}"]')


def on_screen(page: Any, selector: str) -> bool:
    """True if the whole of it lies above the foot, without scrolling."""
    return bool(
        page.evaluate(
            """(selector) => {
              const box = document.querySelector(selector).getBoundingClientRect();
              const main = document.querySelector("main").getBoundingClientRect();
              return box.top >= main.top && box.bottom <= main.bottom;
            }""",
            selector,
        )
    )


def test_a_search_by_touch_shows_state_caution_causes_repair_and_what_is_left_to_test(
    phone: Any, server: Server, job: JobSession, clock: SetClock
) -> None:
    page = phone(server.url, viewport=VIEWPORT)
    start(page)
    touch(page, "find the fault")
    page.wait_for_selector("[data-group]")
    assert page.locator("main button:visible").count() == 3  # the symptoms are folded
    seen(page, "fault-groups")
    press(page, '[data-group="power and panel"] summary')
    page.wait_for_timeout(INERT_MS)
    seen(page, "fault-symptoms")
    touch(page, "the breaker trips at switch-on")

    page.wait_for_selector('[data-phrase="it is safe"]')
    assert "each time feeds the fault" in page.inner_text("[data-told]")
    assert page.locator("[data-leave=out-of-service]").is_visible()
    assert on_screen(page, '[data-phrase="it is safe"]')
    seen(page, "fault-safe")
    touch(page, "it is safe")

    page.wait_for_selector('[data-phrase="go there"]')
    assert "proven dead" in page.inner_text("h1.say")
    shown = page.evaluate(
        """() => [...document.querySelectorAll(".causes li")].map((row) => [
          row.querySelector("b").textContent,
          row.querySelector("i").offsetWidth / row.querySelector(".bar").clientWidth,
          row.querySelector(".of-ten").textContent,
        ])"""
    )
    likely = job.view()["fault"]["causes"]
    assert [name for name, _, _ in shown] == [each["name"] for each in likely]
    for (_, width, words), each in zip(shown, likely, strict=True):
        assert width == pytest.approx(each["chance"], abs=0.02)
        assert words == f"{each['tenths']} in 10"
    seen(page, "fault-waits-for-energy")
    touch(page, "tell me why")
    page.wait_for_selector("[data-told]")
    assert "It is about" in page.inner_text("[data-told]")
    seen(page, "fault-why")
    touch(page, "go there")

    page.wait_for_selector("[data-fault=waits]")
    assert "proven dead" in page.inner_text("[data-fault=waits]")
    seen(page, "fault-on-the-way")
    go_on(job, clock, lambda: floor(job))
    page.wait_for_selector(".number:text-is('Check 1')")
    assert "Proven dead" in page.inner_text("#energy")
    while job.view()["step"]["kind"] != "reading":
        number = job.view()["step"]["number"]
        touch(page, "no")
        page.wait_for_selector(f".number:text-is('Check {number + 1}')")

    caution = page.inner_text(".signal")
    assert caution.startswith("CAUTION") and "insulation tester" in caution
    assert "Never use an insulation tester" not in page.inner_text("h1.say")
    assert on_screen(page, "h1.say")
    seen(page, "fault-reading")
    press(page, "[data-act=keypad]")
    page.wait_for_timeout(INERT_MS)
    for key in ("0", ".", "2"):
        page.click(f"[data-key='{key}']")
    page.click("[data-act=enter]")
    page.wait_for_selector("[data-pending]")
    assert page.inner_text(".value b") == "0.2 Mohm"
    seen(page, "fault-read-back")
    touch(page, "affirm")
    page.wait_for_selector("[data-pending]", state="detached")
    assert "because the insulation to earth is too low" in page.inner_text("[data-told]")
    touch(page, "I found it")
    page.wait_for_selector("main [data-phrase=yes]")
    seen(page, "fault-named")
    touch(page, "yes")

    page.wait_for_selector("[data-fix]")
    assert "Found: an earth fault in the motor cable" in page.inner_text(".seen")
    assert page.locator('[data-phrase="go there"]').count() == 0  # it is dead already
    assert grave(page) == []
    seen(page, "fault-repair")
    touch(page, "it is repaired")
    page.wait_for_selector("[data-fault=waits]:has-text('tests after the repair')")
    touch(page, "find the fault")
    page.wait_for_selector("h1.say:has-text('Do these again')")
    touch(page, "back to the steps")
    page.wait_for_selector("[data-fault=waits]")
    go_on(job, clock, lambda: job.run.finished)
    page.wait_for_selector("[data-fault=over]:has-text('an earth fault in the motor cable')")
    seen(page, "fault-over")
    assert job.finding.live and job.finding.live.over and search(job).retests == ()


def test_the_helper_sees_what_the_guide_asks_and_may_answer_it_but_opens_nothing(
    phone: Any, server: Server, job: JobSession, clock: SetClock
) -> None:
    page = phone(f"{server.url}#role=helper", viewport=VIEWPORT)
    start(page)
    assert page.locator('main [data-phrase="find the fault"]').count() == 0
    job.join("other-lead", "lead")
    for words in ("find the fault", "the door opens but will not close", "it is safe"):
        job.say("other-lead", words, "text")
    page.wait_for_selector(".number:text-is('Check 1')")
    asked = search(job).asked
    seen(page, "fault-helper")
    touch(page, "no")
    page.wait_for_selector(".number:text-is('Check 2')")
    assert search(job).answers[0].check == asked
    for phrase in ("leave the search", "I found it"):
        assert page.locator(f'main [data-phrase="{phrase}"]').count() == 0
