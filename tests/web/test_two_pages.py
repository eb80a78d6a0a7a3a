"""Lead and helper, each at a page of their own, test a door's edge together by touch."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from assistant.job import Jobs, JobSession
from assistant.records.log import verify
from assistant.server.serve import Server
from tests.web.screens import begin, keep, press, start

pytestmark = pytest.mark.browser

# From the door's release to its edge. The lead's lines but where "helper: " stands before them.
CLEAR = ("all clear", "helper: all clear")
BEFORE = [
    *["done"] * 5,
    *("calibration is good", "panel is closed", "handles are free"),
    *("done", "people are clear", "done", "clear to energise four seven", "affirm"),
    *("power is on", "affirm", "all roles are clear", "we agree", "done"),
    *[*CLEAR, "the door stopped", *CLEAR, "nothing moved"] * 4,
    *("four", "affirm"),
]


# What is cut off in the row of people, and whether the first answer is hidden by the foot.
OUT_OF_SIGHT = """() => {
  const wide = [...document.querySelectorAll(".person")].filter((e) =>
    e.scrollWidth > e.clientWidth || e.getBoundingClientRect().right > innerWidth);
  const main = document.querySelector("main").getBoundingClientRect();
  const first = document.querySelector(".task ~ .grid .wide")?.getBoundingClientRect();
  const hidden = first && first.top + 64 > main.bottom ? ["the first answer is hidden"] : [];
  return [...wide.map((e) => e.textContent), ...hidden];
}"""


def say_all(job: JobSession, lines: list[str]) -> None:
    """Come as far as the lines lead, by two more devices that leave again."""
    for role in ("lead", "helper"):
        job.join(f"other-{role}", role)
    for line in lines:
        who, _, words = line.rpartition(": ")
        job.say(f"other-{who or 'lead'}", words, "text")
    for role in ("lead", "helper"):
        job.leave(f"other-{role}")


@pytest.fixture
def job(jobs: Jobs) -> JobSession:
    """The safety tests of door D1 at the Pinewharf Cold Store."""
    return jobs.new("pinewharf-d1", "safety-tests")


@pytest.fixture
def pages(phone: Callable[..., Any], server: Server, wire: Any) -> Iterator[tuple[Any, Any, Any]]:
    """Lead's page, helper's page, and the wire of the helper's."""
    phone.expected += ["WebSocket connection", "ERR_"]  # type: ignore[attr-defined]
    lead = phone(f"{server.url}/#role=lead")
    helper = phone(f"{wire.url}/#role=helper")
    for page in (lead, helper):
        start(page)
    yield lead, helper, wire
    lead.close()
    helper.close()


def marked(lead: Any, helper: Any) -> None:
    """Both call all clear, each on the own page, and both see the mark."""
    for page in (lead, helper):
        page.wait_for_selector("main [data-phrase='all clear']")
        assert page.evaluate(OUT_OF_SIGHT) == []
    press(lead, "main [data-phrase='all clear']")
    lead.wait_for_selector("[data-mark=waits]")
    assert not helper.query_selector("[data-mark=given]")
    press(helper, "main [data-phrase='all clear']")
    for page in (lead, helper):
        page.wait_for_selector("[data-mark=given]")


def answer(page: Any, words: str) -> None:
    """An answer that passes a test: it is read back on the own page and affirmed there."""
    press(page, f"main [data-phrase='{words}']")
    page.wait_for_selector(f"[data-pending='{words}']")
    press(page, "main [data-phrase=affirm]")


def at(page: Any, job: JobSession, step: str) -> None:
    """Wait until the page is where the job is to be."""
    number = None
    for _ in range(600):
        view = job.view()
        if view["step"]["id"] == step:
            number = view["step"]["number"]
            break
        page.wait_for_timeout(100)
    assert number, f"at {job.view()['step']['id']}, not at {step}"
    page.wait_for_selector(f".number:text-matches('^Step {number} of')")


def test_two_pages_complete_the_edge_test_and_outlast_a_lost_link(
    pages: tuple[Any, Any, Any], job: JobSession
) -> None:
    lead, helper, wire = pages
    say_all(job, BEFORE)
    at(lead, job, "edge-ready")
    assert helper.inner_text("[data-wait]") == "Wait. The lead is working."
    assert not helper.query_selector("main [data-phrase=done]")
    keep(helper, "helper-waits")
    press(lead, "main [data-phrase=done]")
    at(lead, job, "edge-look")
    press(lead, "main [data-phrase=done]")
    for step in ("edge-rest-left", "edge-rest-middle", "edge-rest-right"):
        at(lead, job, step)
        helper.wait_for_selector(f"[data-task={step}]")
        answer(lead, "light came on")
    at(lead, job, "edge-blocks")
    helper.wait_for_selector("[data-task=edge-blocks]")
    marked(lead, helper)
    answer(lead, "it stayed open")

    for place in ("50-left", "50-middle", "50-right", "300-left"):
        at(helper, job, f"edge-{place}")
        task = helper.inner_text("[data-task]")
        assert task.startswith("Piece")
        assert "gap" in task
        assert task != lead.inner_text("h1.say")
        keep(helper, f"helper-{place}")
        marked(lead, helper)
        keep(lead, f"lead-marked-{place}")
        keep(helper, f"helper-marked-{place}")
        press(helper, "main [data-phrase='it reversed']")

    # In the middle of a closing the helper's phone drops out of the network.
    at(lead, job, "edge-300-middle")
    marked(lead, helper)
    wire.cut()
    helper.wait_for_selector("[data-banner=link]")
    assert helper.get_attribute(".energy", "data-state") == "unknown"
    lead.wait_for_selector("[data-person=helper][data-device=lost]")
    lead.wait_for_selector("[data-waits]")
    assert "helper is lost" in lead.inner_text("[data-waits]")
    assert not lead.query_selector("main [data-phrase='it reversed']")
    assert not lead.query_selector("main [data-phrase='prove again']")
    keep(lead, "lead-helper-lost")
    wire.mend()
    helper.wait_for_selector("[data-banner=link]", state="detached")
    lead.wait_for_selector("[data-person=helper][data-device=true]")
    lead.wait_for_selector("[data-waits]", state="detached")
    assert job.view()["energy"]["state"] == "energised"
    # What was said meanwhile was not heard: that stands where no answer is covered by it.
    helper.wait_for_selector("#heard :text('The link is back')")
    keep(helper, "helper-link-back")
    marked(lead, helper)  # anew: nobody knows who walked where meanwhile
    press(helper, "main [data-phrase='it reversed']")

    for place in ("300-right", "500-left", "500-middle", "500-right"):
        at(helper, job, f"edge-{place}")
        marked(lead, helper)
        press(helper, "main [data-phrase='it reversed']")
    at(lead, job, "edge-count")
    press(lead, "[data-act=keypad]")
    press(lead, "[data-key='9']")
    lead.click("[data-act=enter]")
    lead.wait_for_selector("main [data-phrase=affirm]")
    helper.wait_for_selector("text=The lead answers")
    assert not helper.query_selector("main [data-phrase=affirm]")
    press(lead, "main [data-phrase=affirm]")
    at(helper, job, "edge-away")
    press(helper, "main [data-phrase=done]")
    at(lead, job, "beam-ready")

    (count,) = (r for r in job.view()["readings"] if r["name"] == "edge-reversals")
    assert count["verdict"] == "pass"
    bodies = [e.body["event"] for e in job.store.entries(job.job_id) if "event" in e.body]
    seen = [(e["who"], e["input"].get("answer")) for e in bodies if e["via"] == "touch"]
    assert seen.count(("helper", "it reversed")) == 9
    kinds = [(e["input"]["kind"], e["input"].get("role")) for e in bodies]
    dropped = kinds.index(("device-lost", "helper"))
    assert ("device-joined", "helper") in kinds[dropped:]
    assert verify(job.store, job.job_id).ok


def test_stop_work_from_the_helpers_page_holds_both_until_the_lead_goes_ahead(
    pages: tuple[Any, Any, Any], job: JobSession
) -> None:
    lead, helper, _ = pages
    say_all(job, BEFORE)
    at(lead, job, "edge-ready")
    press(helper, "footer [data-phrase='stop work']")
    for page in (lead, helper):
        page.wait_for_selector("[data-banner=held]")
        assert page.get_attribute(".energy", "data-state") == "unknown"
        assert "until the lead says go ahead" in page.inner_text("[data-banner=held]")
    keep(helper, "helper-held")
    assert not helper.query_selector("main [data-phrase='go ahead']")
    press(lead, "main [data-phrase='go ahead']")
    for page in (lead, helper):
        page.wait_for_selector("[data-banner=held]", state="detached")
    assert job.view()["energy"]["state"] == "unknown"  # it has to be released anew


def test_the_lead_asks_the_helper_in_and_they_change_over(
    pages: tuple[Any, Any, Any], job: JobSession
) -> None:
    lead, helper, _ = pages
    press(lead, "[data-act=more]")
    press(lead, "[data-go=people]")
    lead.wait_for_selector("svg.qr")
    assert "role=helper" in lead.inner_text("[data-url]")
    assert lead.get_by_text("This server answers on this machine only").is_visible()
    keep(lead, "people")
    press(helper, "[data-act=more]")
    press(helper, "[data-go=people]")
    helper.wait_for_selector("[data-phrase='call helper']")
    assert not helper.query_selector("svg.qr")
    assert not helper.query_selector("[data-phrase='hand over']")
    press(helper, "[data-act=more]")
    press(lead, "main [data-phrase='hand over']")
    helper.wait_for_selector("text=The lead answers")
    press(lead, "main [data-phrase=affirm]")
    lead.wait_for_selector(".task")  # the lead is the helper from now on
    helper.wait_for_selector("main [data-phrase=done]")
    assert not helper.query_selector(".task")
    press(helper, "main [data-phrase=done]")
    at(lead, job, "notify")
    (last,) = [e.body["event"] for e in job.store.entries(job.job_id) if "event" in e.body][-1:]
    assert last["who"] == "lead"
    lead.reload()  # the same phone keeps the role that it has by now
    begin(lead)
    lead.wait_for_selector(".task")
