"""Over https with this machine's own certificate the page is what phones call secure."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

import pytest

from assistant.job import JobSession
from assistant.server.lan import Lan
from tests.web.conftest import reached_at, trust
from tests.web.screens import begin, press

pytestmark = pytest.mark.browser

# Counts what the page itself asks of the phone, and lets it have it.
WATCH = """
  window.asked = { locks: [], pulses: [] };
  const request = WakeLock.prototype.request;
  WakeLock.prototype.request = async function (...how) {
    const lock = await request.apply(this, how);
    window.asked.locks.push(lock);
    return lock;
  };
"""


def joined(page: Any, lan: Lan) -> None:
    """Scan the code on the terminal."""
    page.goto(lan.join_url())
    page.wait_for_url(lambda url: "code=" not in url)
    page.wait_for_selector("[data-act=start]")


def ready_worker(page: Any) -> None:
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")


def test_a_phone_that_does_not_trust_the_authority_is_kept_away(resident: Any, lan: Lan) -> None:
    page = resident()
    with pytest.raises(Exception, match="ERR_CERT_AUTHORITY_INVALID"):
        page.goto(lan.url)


def test_microphone_service_worker_and_wake_lock_work_with_the_certificate(
    resident: Any, home: Any, lan: Lan, job: JobSession
) -> None:
    trust(home, lan)
    page = resident()
    said: list[str] = []
    page.on("console", lambda m: said.append(m.text) if m.type in ("error", "warning") else 0)
    page.on("pageerror", lambda error: said.append(str(error)))
    page.add_init_script(WATCH)
    joined(page, lan)
    assert page.evaluate("isSecureContext")
    begin(page)
    page.wait_for_selector(".number")
    page.wait_for_selector(".ear[data-open=true]")  # sound comes in and counts
    ready_worker(page)
    page.wait_for_function("() => window.asked.locks.length === 1")
    assert page.evaluate("window.asked.locks[0].released") is False
    # The system takes it back, as it does when a call comes in: it is asked for anew.
    page.evaluate("window.asked.locks[0].release()")
    page.wait_for_function("() => window.asked.locks[1]?.released === false")
    press(page, "main [data-phrase=done]")
    page.wait_for_selector(".number:text-matches('^Step 2 of')")
    assert said == []


def test_every_name_and_address_that_is_shown_opens_the_page(
    resident: Any, home: Any, lan: Lan
) -> None:
    trust(home, lan)
    page = resident()
    for address in (*reached_at().addresses, "localhost"):
        page.goto(f"https://{address}:{lan.port}/")
        page.wait_for_selector("h1")
        assert page.evaluate("isSecureContext")


def test_a_used_code_lets_nobody_in_and_a_typed_one_does(
    resident: Any, home: Any, lan: Lan
) -> None:
    trust(home, lan)
    used = lan.join_url()
    joined(resident(), lan)
    other = resident()
    other.goto(used)
    other.wait_for_selector("[data-page=join]")
    other.fill("[data-field=code]", "AAAAA-AAAAA")
    press(other, "[data-act=join]")
    other.wait_for_selector("text=That code is not valid")
    code = lan.pairing.codes["helper"]
    other.fill("[data-field=code]", f"{code[:5].lower()} {code[5:]}")
    press(other, "[data-act=join]")
    begin(other)
    other.wait_for_selector(".number")
    assert "role=helper" in other.url
    other.reload()  # a phone that is in stays in
    begin(other)
    other.wait_for_selector(".number")


def test_the_app_can_be_installed(resident: Any, home: Any, lan: Lan) -> None:
    """Judged by Chromium itself (DevTools protocol, Page.getInstallabilityErrors)."""
    trust(home, lan)
    page = resident()
    joined(page, lan)
    ready_worker(page)
    tools = page.context.new_cdp_session(page)
    assert tools.send("Page.getInstallabilityErrors")["installabilityErrors"] == []
    found = tools.send("Page.getAppManifest")
    assert found["errors"] == []
    manifest = json.loads(found["data"])
    assert manifest["display"] == "standalone"
    assert {"192x192", "512x512"} <= {icon["sizes"] for icon in manifest["icons"]}
    assert any("maskable" in icon.get("purpose", "") for icon in manifest["icons"])


def test_with_the_server_gone_the_app_starts_says_so_and_shows_the_plan(
    resident: Any, home: Any, lan: Lan, job: JobSession
) -> None:
    trust(home, lan)
    page = resident()
    joined(page, lan)
    ready_worker(page)
    begin(page)
    page.wait_for_selector(".number")
    page.wait_for_function("async () => (await caches.open('plans').then((c) => c.keys())).length")
    lan.stop()
    page.wait_for_selector("[data-banner=link]")
    assert re.match(r"Step 1 of", page.inner_text(".number"))  # the last state stays readable
    page.goto(f"{lan.url}#job={job.job_id}&role=lead")
    page.reload()
    page.wait_for_selector("[data-act=start]")
    page.wait_for_selector("[data-banner=link]")
    assert page.get_attribute(".energy", "data-state") == "unknown"
    read: Callable[[str], Any] = page.evaluate
    found = read(
        f"""async () => {{
          const {{ readPlan, keptJobs }} = await import("/net/plans.js");
          const {{ plan, keptAt }} = await readPlan({json.dumps(job.job_id)}, "");
          const steps = plan.sections.flatMap((section) => section.steps);
          return {{ kept: keptAt instanceof Date, jobs: await keptJobs(), door: plan.job.door,
            ids: steps.map((s) => s.id), cautions: steps.filter((s) => s.caution).length }};
        }}"""
    )
    assert (found["kept"], found["jobs"], found["door"]) == (True, [job.job_id], "D1")
    assert set(found["ids"]) <= {step.id for step in job.plan.steps}
    assert found["cautions"] > 10
    # What the server answered of the job's state is not kept: it must not look like the present.
    names = read(
        "async () => (await Promise.all((await caches.keys()).map(async (name) => "
        "(await (await caches.open(name)).keys()).map((r) => new URL(r.url).pathname)))).flat()"
    )
    assert [name for name in names if "/api/" in name] == [f"/api/jobs/{job.job_id}/plan"]


def test_a_phone_that_leaves_the_network_says_so_at_once_and_comes_back_by_itself(
    resident: Any, home: Any, lan: Lan
) -> None:
    trust(home, lan)
    page = resident()
    joined(page, lan)
    begin(page)
    page.wait_for_selector(".ear[data-open=true]")
    page.context.set_offline(True)
    # Told by the phone itself: without that it would take 4 s to miss the server's answers.
    page.wait_for_selector("[data-banner=link]", timeout=3_500)
    assert page.get_attribute(".ear", "data-open") == "false"
    page.wait_for_timeout(2_500)
    page.context.set_offline(False)
    page.wait_for_selector("[data-banner=link]", state="detached")
    page.wait_for_selector(".ear[data-open=true]")
    page.wait_for_selector("text=What was said meanwhile was not heard")


def test_the_leads_page_leads_the_helpers_phone_through_trust_and_in(
    resident: Any, home: Any, lan: Lan
) -> None:
    trust(home, lan)
    page = resident()
    joined(page, lan)
    begin(page)
    press(page, "[data-act=more]")
    press(page, "[data-go=people]")
    landing = page.get_attribute("[data-trust]", "data-trust")
    invited = page.get_attribute("[data-url]", "data-url")
    assert page.locator("[data-invite] svg.qr").count() == 2
    helper = resident()
    helper.goto(landing)
    assert lan.authority.fingerprint[:23] in helper.inner_text(".print")
    helper.goto(invited)
    begin(helper)
    helper.wait_for_selector(".number")
    assert lan.pairing.codes["helper"] not in invited  # that one is used up
    page.reload()
    begin(page)
    press(page, "[data-act=more]")
    press(page, "[data-go=people]")
    page.wait_for_selector(f"[data-code='{lan.pairing.codes['helper']}']")
