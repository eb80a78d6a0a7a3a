"""A picture that can't be sent waits for the link, and comes into the record once."""

from __future__ import annotations

from typing import Any

import pytest

from assistant.job import JobSession
from tests.web.screens import begin, press

pytestmark = pytest.mark.browser


def opened(phone: Any, wire: Any, job: JobSession) -> Any:
    """The page with its camera open, asked for by voice or touch at another device's side."""
    phone.expected += ["WebSocket connection", "ERR_"]
    page = phone(wire.url)
    begin(page)
    page.wait_for_selector(".number")
    press(page, "[data-act=more]")
    page.fill("[data-page=more] input", "take photo")
    press(page, "[data-act=send]")
    page.wait_for_selector("[data-page=photo] video")
    page.wait_for_function("() => document.querySelector('video')?.videoWidth > 0")
    return page


def kept(job: JobSession) -> list[Any]:
    return [e for e in job.store.entries(job.job_id) if "attachment" in e.body]


def test_a_picture_taken_without_a_link_is_sent_when_it_is_back(
    phone: Any, wire: Any, job: JobSession
) -> None:
    page = opened(phone, wire, job)
    wire.cut()
    page.wait_for_selector("[data-page=step]")  # the count ends, the picture is taken
    page.wait_for_selector("text=The photo waits for the link")
    assert kept(job) == []
    wire.mend()
    page.wait_for_selector("[data-banner=link]", state="detached")
    for _ in range(300):
        if kept(job):
            break
        page.wait_for_timeout(100)
    (entry,) = kept(job)
    assert entry.body["attachment"]["step"] == job.view()["step"]["id"]


def test_nobody_has_to_take_the_picture_that_was_asked_for(
    phone: Any, wire: Any, job: JobSession
) -> None:
    page = opened(phone, wire, job)
    page.evaluate("window.tracks = document.querySelector('video').srcObject.getTracks()")
    press(page, "[data-act=no-photo]")
    page.wait_for_selector("[data-page=step]")
    assert page.evaluate("window.tracks.map((track) => track.readyState)") == ["ended"]
    page.wait_for_timeout(5_000)  # longer than the count
    assert kept(job) == []
