"""How soon the page is there on a slow phone, and what it weighs; prints one table.

    python tests/benchmarks/bench_page.py --slower 4 --runs 9

A real server on this machine and a real Chromium whose processor is slowed down (DevTools protocol,
Emulation.setCPUThrottlingRate), seen by a phone of 412 x 915. "New" is a phone that has never been
here, "again" one that has the service worker and its files.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
CHROMIUM = "/usr/bin/chromium"
FLAGS = ["--headless=new", "--no-sandbox", "--disable-gpu"]
Seen = tuple[float, float, float, int]
LIMIT_MS, LIMIT_BYTES = 1000, 250_000
# Since the navigation began [ms]: the first text, and the Start button with the state above it.
VIEW = """() => {
  const paint = performance.getEntriesByName("first-contentful-paint")[0];
  return [paint ? paint.startTime : null, window.there ?? null];
}"""
WATCH = """new MutationObserver((_, me) => {
  if (!document.querySelector("[data-act=start]") || !document.querySelector(".energy")) return;
  me.disconnect();
  requestAnimationFrame(() => requestAnimationFrame(() => { window.there = performance.now(); }));
}).observe(document, { childList: true, subtree: true });"""


def view(context: Any, url: str, slower: float) -> Seen:
    """First paint and whole view [ms], the page's own computing [ms], bytes that came."""
    page = context.new_page()
    page.add_init_script(WATCH)
    tools = context.new_cdp_session(page)
    tools.send("Network.enable")
    tools.send("Performance.enable", {"timeDomain": "threadTicks"})
    tools.send("Emulation.setCPUThrottlingRate", {"rate": slower})
    came: list[int] = []
    tools.on("Network.loadingFinished", lambda what: came.append(int(what["encodedDataLength"])))
    page.goto(url)
    page.wait_for_function("() => window.there")
    busy = {m["name"]: m["value"] for m in tools.send("Performance.getMetrics")["metrics"]}
    page.wait_for_timeout(300)
    paint_ms, there_ms = page.evaluate(VIEW)
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    page.close()
    return paint_ms, there_ms, 1000 * busy["TaskDuration"], sum(came)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--slower", type=float, default=4.0, help="times slower than this machine")
    parser.add_argument("--runs", type=int, default=9)
    chosen = parser.parse_args()
    from assistant.job import Jobs
    from assistant.server.app import create_app
    from assistant.server.serve import listen

    found: dict[str, list[Seen]] = {"new": [], "again": []}
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        jobs = Jobs(Path(folder))
        job = jobs.new("pinewharf-d1", "power-entry")
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        with listen(create_app(jobs, job.job_id)) as served:
            for _ in range(chosen.runs):
                look = {"viewport": {"width": 412, "height": 915}, "has_touch": True}
                context = browser.new_context(**look)
                for which in found:
                    found[which].append(view(context, served.url, chosen.slower))
                context.close()
            browser.close()
        jobs.store.close()
    print(
        "| phone | runs | first text, median [ms] | whole view, median / worst [ms] "
        "| of that computing [ms] | wire [kB] |"
    )
    print("|---|---|---|---|---|---|")
    for which, rows in found.items():
        paints, theres, busy, wires = zip(*rows, strict=True)
        print(
            f"| {which} | {len(rows)} | {statistics.median(paints):.0f} | "
            f"{statistics.median(theres):.0f} / {max(theres):.0f} | "
            f"{statistics.median(busy):.0f} | {max(wires) / 1000:.0f} |"
        )
    web = ROOT / "web"
    files = [f for f in web.rglob("*") if f.is_file() and "icons" not in f.relative_to(web).parts]
    weight = sum(file.stat().st_size for file in files)
    print(f"{len(files)} files without pictures: {weight / 1000:.1f} kB")
    slowest = max(there for rows in found.values() for _, there, *_ in rows)
    return 0 if slowest < LIMIT_MS and weight < LIMIT_BYTES else 1


if __name__ == "__main__":
    raise SystemExit(main())
