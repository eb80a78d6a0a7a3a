"""The customer's page: one page in plain words, by what the door has. Common practice, no source,
but where a standard is named."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from assistant.records.report.facts import Facts
from assistant.records.report.front import door_type
from assistant.records.report.page import (
    ACCENT,
    GREY,
    INK,
    MARGIN,
    Colour,
    Line,
    Sheet,
    Text,
    broken,
    clean,
)

SAFETY_RED: Colour = (155, 36, 35)  # the red of ISO 3864-4, near enough for an office printer
SIZES = (11.5, 11.0, 10.5, 10.0, 9.5, 9.0, 8.5, 8.0, 7.5)  # the largest that fits a page is taken
PARTS = {
    "high-speed-roll-up": "guides and curtain",
    "sectional": "tracks, panels, springs and cables",
    "rolling-shutter": "guides and curtain",
    "sliding-gate": "track, rollers and gate leaf",
}
LONGEST = 90  # characters of a text from the job file


def draw(make: Callable[[], Sheet], facts: Facts) -> Sheet:
    """The page in the largest type that fits."""
    for size in SIZES:
        sheet = make()
        _page(sheet, facts, size)
        if sheet.page_no() == 1 or size == SIZES[-1]:
            break
        sheet.close_fonts()
    return sheet


def _short(text: Any) -> str:
    found = str(text or "").strip()
    return found if len(found) <= LONGEST else f"{found[:LONGEST].rstrip()}…"


def _page(sheet: Sheet, facts: Facts, size: float) -> None:
    sheet.bare = True
    sheet.add_page()
    sheet.y = 15
    job = facts.job
    title = f"Your door {_short(job.get('door'))}".strip()
    with sheet.tagged("H1", title=clean(title)):
        title_line = broken(Text(title, size + 11, True, ACCENT), sheet.epw)[0]
        sheet.put(MARGIN, sheet.y + title_line.height * 0.74, title_line)
    sheet.start_section(clean(title), strict=False)
    sheet.y += title_line.height
    kind = door_type(job)
    where = ", ".join(filter(None, (_short(job.get("site")), kind)))
    sheet.paragraph(Text(where, size, colour=GREY), 1.5)
    options = frozenset(map(str, job.get("options") or ()))
    for heading, lines, numbered in (
        ("To stop it", to_stop(options), False),
        ("To switch it off and lock it", to_lock(job), True),
        ("To start it again after a stop", to_reset(options), True),
        ("What to check", to_check(options, str(job.get("door_type") or "")), False),
    ):
        _part(sheet, heading, lines, size, numbered)
    _never(sheet, never(options), size)
    _ask(sheet, size)


# --- what it says ------------------------------------------------------------------------------


def to_stop(options: frozenset[str]) -> list[str]:
    """How to stop the door."""
    lines = []
    if "emergency-stop" in options:
        lines.append("Press the red emergency-stop button. It stays in, and the door stays still.")
    lines.append(
        "Press STOP on the panel."
        if "emergency-stop" in options
        else "Press STOP on the panel, or switch off at the main switch."
    )
    if options & {"loop", "motion-sensor", "auto-close"}:
        lines.append("This door can move by itself. Standing still doesn't mean that it is off.")
    return lines


def to_lock(job: Mapping[str, Any]) -> list[str]:
    """How to isolate and lock it: by one's own lock, as 29 CFR 1910.147 and EN 50110-1 have it."""
    sources = [_short(each) for each in (job.get("energy_sources") or ("main switch",))[:4]]
    stored = job.get("stored_energy") or {}
    lines = [
        "Bring the door to rest, closed if you can. Tell everybody who uses it.",
        f"Switch off: {'; '.join(sources)}.",
        "Put your own padlock on each switch and keep the key. Each person puts on their own.",
        "Press the open button. Nothing may move.",
    ]
    hazards = (job.get("hazards") or ())[:3]
    held = [_short(each.get("restraint")) for each in hazards if each.get("restraint")]
    if held:
        told = "; ".join(text[:1].lower() + text[1:] for text in held)
        lines.append(f"It can still move by its own weight or spring, so hold it: {told}.")
    stays = f" Parts stay charged for at least {_short(stored.get('wait'))} after switching off."
    lines.append(
        "Leave the panel shut. Only a qualified person opens it, and proves it dead first: "
        "switched off is not dead." + (stays if stored.get("present") else "")
    )
    return lines


def to_reset(options: frozenset[str]) -> list[str]:
    """How to bring it back after a stop; a reset is no start (ISO 13850)."""
    lines = [
        "Find out why it stopped, and put that right.",
        "Look at both sides. Nobody may be in its path.",
    ]
    if "emergency-stop" in options:
        lines.append(
            "Turn or pull the emergency-stop button until it comes out. The door must not move."
        )
    lines.append("Press OPEN, and watch a whole run both ways from the side.")
    lines.append("If it stops again, leave it off, lock it and call.")
    return lines


def to_check(options: frozenset[str], kind: str) -> list[str]:
    """What the users look at, how often."""
    looked_at = PARTS.get(kind, "the door and what it runs in")
    daily = f"Every day: look at {looked_at}. Listen. Nothing bent, loose or in the way."
    if "freezer" in options:
        daily += " No ice on guides, floor and sensors."
    tests = []
    if "safety-edge" in options:
        where = "against" if kind == "sliding-gate" else "under"
        tests.append(f"hold a soft block {where} the edge: the door must turn back")
    if options & {"light-beam", "second-light-beam"}:
        tests.append("hold a board in the beam: the door must not close, or must turn back")
    if "emergency-stop" in options:
        tests.append("press the emergency stop during a run: the door must stop at once")
    if "auto-close" in options:
        tests.append("let the door close by itself: it must wait its full time first")
    lines = [daily]
    if tests:
        how = "Every month, nobody in the path, with a test piece and never with a hand or foot"
        lines.append(f"{how}: {'; '.join(tests)}.")
    if "battery-backup" in options:
        lines.append("Every six months: mains off: the battery must still open the door.")
    lines.append(
        "Every year, or more often in heavy use: a full test by a qualified firm. Local law may "
        "ask for more."
    )
    return lines


def never(options: frozenset[str]) -> list[str]:
    """What nobody does."""
    lines = [
        "Never go, stand or drive into the path of a moving door.",
        "Never bridge, tape over or remove a sensor, an edge, a guard or a lock.",
        "Never take off somebody else's lock.",
        "Never reach into the panel or turn settings in it.",
    ]
    if "brake" in options or "slack-cable" in options:
        lines.append("Never loosen brake, springs or cables: the door can fall.")
    lines.append("Never use a door that failed a check. Switch off, lock, put up a barrier, call.")
    return lines


# --- how it looks ------------------------------------------------------------------------------


def _part(sheet: Sheet, heading: str, lines: list[str], size: float, numbered: bool) -> None:
    sheet.y += size * 0.16
    sheet.start_section(heading, 1, strict=False)
    with sheet.tagged("H2", title=heading):
        line = Line(heading, size + 2.5, True, ACCENT)
        sheet.put(MARGIN, sheet.y + line.height * 0.74, line)
    sheet.y += line.height + 0.4
    for count, each in enumerate(lines, 1):
        mark = f"{count}." if numbered else "–"
        _point(sheet, mark, each, size)


def _point(sheet: Sheet, mark: str, words_: str, size: float, colour: Colour = INK) -> None:
    height = size * 1.32 * 25.4 / 72
    sheet.need(height)
    with sheet.tagged("P"):
        sheet.put(MARGIN + 1, sheet.y + height * 0.74, Line(mark, size, True, colour))
    sheet.paragraph(Text(words_, size, colour=INK), gap=size * 0.045, indent=7)


def _never(sheet: Sheet, lines: list[str], size: float) -> None:
    sheet.y += size * 0.25
    height = 8.0
    sheet.need(height + 10)
    with sheet.unread():
        sheet.box(MARGIN, sheet.y, sheet.epw, height, SAFETY_RED)
    sheet.start_section("Never", 1, strict=False)
    with sheet.tagged("H2", title="Danger"):
        white = (255, 255, 255)
        sheet.put(MARGIN + 3, sheet.y + 5.7, Line("DANGER", 13, True, white))
        after = "A moving door can crush. A panel can kill, also when it is switched off."
        sheet.put(
            MARGIN + 28,
            sheet.y + 5.5,
            Line(sheet.fitting(after, 10, sheet.epw - 31), 10, False, white),
        )
    sheet.y += height + 1.2
    for each in lines:
        _point(sheet, "×", each, size, SAFETY_RED)


def _ask(sheet: Sheet, size: float) -> None:
    _part(sheet, "Whom to ask", [], size, False)
    x, y = MARGIN, sheet.y + 8
    sheet.need(14)
    for title, share in (("Firm that installed it", 0.5), ("Telephone, day and night", 0.5)):
        end = x + sheet.epw * share - 5
        with sheet.tagged("P"):
            sheet.set_draw_color(*INK)
            sheet.set_line_width(0.2)
            sheet.line(x, y, end, y)
            sheet.put(x, y + 4, Line(title, 8.5, False, GREY))
        x += sheet.epw * share
    sheet.y = y + 5.5
    sheet.paragraph(
        Text(
            "Have door number and panel number ready. The manual, the log book and local law come "
            "before this page.",
            8.5,
            colour=GREY,
        ),
        gap=0,
    )
