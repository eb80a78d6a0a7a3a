"""Jobs for the printed record, each played by text through the real job; and how a PDF is read."""

from __future__ import annotations

import io
import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pypdf
import pypdfium2
from PIL import Image
from ruamel.yaml import YAML

from assistant import rehearse, resources
from assistant.clock import SetClock
from assistant.job import Jobs
from assistant.plans import plan_of
from assistant.procedure.model import Plan
from assistant.records.store import Store

POINTS_PER_MM = 72 / 25.4


@dataclass(frozen=True)
class Kept:
    """A job's store, id and plan."""

    store: Store
    job: str
    plan: Plan


def kept(store: Store) -> Kept:
    """The newest job of a store."""
    job = store.jobs()[0]["id"]
    return Kept(store, job, plan_of(store.head(job)["texts"]))


def play(folder: Path, job: str, lines: Iterable[rehearse.Line], pack: str = "power-entry") -> Kept:
    """Play lines from the start of a job."""
    clock, digits = SetClock(), itertools.cycle(("47", "62", "76", "24"))
    jobs = Jobs(folder, clock=clock, challenge=lambda: next(digits))
    session = jobs.new(job, pack)
    for _ in rehearse.play_text(session, clock, lines):
        pass
    return kept(jobs.store)


def script(job: str, *, until: str = "", then: str = "") -> list[rehearse.Line]:
    """The rehearsal of a job, or its lines up to the first `until`, and then further ones."""
    file = resources.steps_dir() / "jobs" / f"{job}.rehearsal.txt"
    lines = rehearse.read_script(file.read_text(encoding="utf-8"), str(file))
    if until:
        last = next(i for i, line in enumerate(lines) if until in line.text)
        lines = lines[: last + 2]  # the phrase and its affirm
    return [*lines, *rehearse.read_script(then)]


def case(pack: str, name: str) -> list[rehearse.Line]:
    """The spoken lines of a case that comes with a pack."""
    file = resources.steps_dir() / pack / "cases" / f"{name}.yaml"
    turns = YAML(typ="safe").load(file.read_text(encoding="utf-8"))["turns"]
    return list(_lines(turns))


def _lines(turns: Iterable[dict[str, Any]]) -> Iterator[rehearse.Line]:
    for turn in turns:
        for who in ("lead", "helper", "both", "wait"):
            if who not in turn:
                continue
            for _ in range(turn.get("times", 1)):
                if who == "wait":
                    yield from rehearse.read_script(f"wait {turn[who]}")
                for each in ("lead", "helper") if who == "both" else (who,):
                    if each != "wait":
                        yield rehearse.Line(0, who=each, text=str(turn[who]))


# --- reading a PDF -----------------------------------------------------------------------------


def texts(pdf: bytes) -> list[str]:
    """Text of each page in the order in which it was drawn, without white space."""
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return ["".join(page.extract_text().split()) for page in pages]


def whole(pdf: bytes) -> str:
    """Text of all pages but their heads and feet, without white space."""
    return "".join(texts(pdf))


def tight(text: str) -> str:
    """Text without white space."""
    return "".join(text.split())


def pictures(pdf: bytes, scale: float = 2.0) -> list[Image.Image]:
    """Each page as a grey picture."""
    with pypdfium2.PdfDocument(pdf) as document:
        return [page.render(scale=scale, grayscale=True).to_pil() for page in document]


@dataclass(frozen=True)
class Box:
    """A glyph on a page, in points from its upper left corner."""

    char: str
    left: float
    top: float
    right: float
    bottom: float


def glyphs(pdf: bytes) -> list[tuple[tuple[float, float], list[Box]]]:
    """Size of each page, and every glyph with its inked box."""
    found = []
    with pypdfium2.PdfDocument(pdf) as document:
        for page in document:
            width, height = page.get_size()
            text = page.get_textpage()
            boxes = []
            for index in range(text.count_chars()):
                left, bottom, right, top = text.get_charbox(index)
                char = text.get_text_range(index, 1)
                if char.strip() and right > left and top > bottom:
                    boxes.append(Box(char, left, height - top, right, height - bottom))
            found.append(((width, height), boxes))
    return found


def overlaps(boxes: list[Box], slack: float = 0.35) -> list[tuple[Box, Box]]:
    """Pairs of glyphs whose ink boxes share more than `slack` points both ways.

    Neighbours of a word may touch (kerning, an f before a t), so they may share more in width.
    """
    found = []
    cells: dict[tuple[int, int], list[tuple[int, Box]]] = {}
    for place, box in enumerate(boxes):
        spots = {
            (x, y)
            for x in range(int(box.left // 12), int(box.right // 12) + 1)
            for y in range(int(box.top // 12), int(box.bottom // 12) + 1)
        }
        others = {number: other for spot in spots for number, other in cells.get(spot, ())}
        for number, other in others.items():
            wide = min(box.right, other.right) - max(box.left, other.left)
            high = min(box.bottom, other.bottom) - max(box.top, other.top)
            one = (box.left, box.top, box.right) == (other.left, other.top, other.right)
            if one and box.char == other.char == ".":
                continue  # an ellipsis is one glyph that reads as three dots
            neighbours = place - number == 1
            if high > slack and wide > (1.2 if neighbours else slack):
                found.append((other, box))
        for spot in spots:
            cells.setdefault(spot, []).append((place, box))
    return found
