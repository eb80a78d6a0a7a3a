"""What is the same in every test of a screen: how a person presses, and what holds of any view."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import TimeoutError

SCREENS = os.environ.get("THIRDHAND_SCREENS", "")  # a folder keeps the screens that were seen
INERT_MS = 450

# Each button is 64 px or more and 10 px or more from any other, nothing runs out of the screen,
# and each text that is drawn has a contrast of 7 to 1 against what it is drawn on.
FAULTS = """() => {
  const faults = [];
  const shown = (e) => e.checkVisibility({ visibilityProperty: true }) && e.getClientRects().length;
  const boxes = [...document.querySelectorAll("button, input")].filter(shown).map((e) => ({
    name: e.textContent || e.ariaLabel, box: e.getBoundingClientRect(),
    part: e.closest("footer, main, #banners"),
  }));
  for (const { name, box } of boxes) {
    if (box.width < 64 || box.height < 64) faults.push(`${name}: ${box.width} x ${box.height}`);
    if (box.left < 0 || box.right > innerWidth) faults.push(`${name}: out of the screen`);
  }
  for (const [i, a] of boxes.entries()) for (const b of boxes.slice(i + 1)) {
    if (a.part !== b.part) continue;  // banners and foot lie over what scrolls in main
    const across = Math.max(a.box.left - b.box.right, b.box.left - a.box.right);
    const along = Math.max(a.box.top - b.box.bottom, b.box.top - a.box.bottom);
    if (Math.max(across, along) < 10) faults.push(`${a.name} and ${b.name} are too close`);
  }
  if (document.documentElement.scrollWidth > innerWidth) faults.push("wider than the screen");
  const main = document.querySelector("main");
  if (main.scrollWidth > main.clientWidth) faults.push("main is wider than the screen");
  const rgb = (text) => text.match(/[\\d.]+/g).map(Number);
  const light = ([r, g, b]) => [r, g, b].map((c) => c / 255)
    .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4))
    .reduce((sum, c, i) => sum + c * [0.2126, 0.7152, 0.0722][i], 0);
  const ground = (e) => {
    for (; e; e = e.parentElement) {
      const colour = rgb(getComputedStyle(e).backgroundColor);
      if (colour.length < 4 || colour[3] > 0) return colour;
    }
    return [255, 255, 255];
  };
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const e = walker.currentNode.parentElement;
    if (!walker.currentNode.textContent.trim() || !shown(e)) continue;
    const style = getComputedStyle(e), words = walker.currentNode.textContent;
    const [low, high] = [light(rgb(style.color)), light(ground(e))].sort((a, b) => a - b);
    const ratio = (high + 0.05) / (low + 0.05);
    if (ratio < 7) faults.push(`${words}: contrast ${ratio.toFixed(2)}`);
    if (parseFloat(style.fontSize) < 17) faults.push(`${words}: small`);
  }
  return faults;
}"""


def press(page: Any, selector: str) -> None:
    """Press as a person does: not before the button has been there for a moment."""
    page.wait_for_selector(selector)
    page.wait_for_timeout(INERT_MS)
    page.click(selector)


def begin(page: Any) -> None:
    """Press Start until it takes: a page that used up the code in its address loads anew, and on a
    slow machine the button is younger than it looks.
    """
    for _ in range(40):
        press(page, "[data-act=start]")
        with contextlib.suppress(TimeoutError):
            page.wait_for_selector("[data-page=step]", timeout=1_000)
            return
    raise AssertionError("Start does nothing")


def start(page: Any) -> None:
    begin(page)
    page.wait_for_selector(".number")


def keep(page: Any, name: str) -> None:
    """The screen as it is, for whoever asked for it."""
    if SCREENS:
        page.wait_for_timeout(150)
        page.screenshot(path=str(Path(SCREENS) / f"{name}.png"))


def faults(page: Any) -> list[str]:
    """What breaks the rules of this page on the screen as it is."""
    return list(page.evaluate(FAULTS))


def grave(page: Any) -> list[str]:
    """What axe-core calls serious or critical on the screen as it is."""
    found = Axe().run(page).response["violations"]
    return [
        f"{each['id']} at {node['target']}: {node['failureSummary']}"
        for each in found
        if each["impact"] in ("serious", "critical")
        for node in each["nodes"]
    ]


def seen(page: Any, name: str) -> None:
    """Keep the screen, and see that it breaks no rule."""
    keep(page, name)
    found = faults(page)
    assert found == [], f"{name}: {found}"
