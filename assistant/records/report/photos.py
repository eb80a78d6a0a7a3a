"""Photos in print: four a page, made small, with nothing kept but the picture."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from PIL import Image, ImageOps

from assistant.records.entries import Entry
from assistant.records.report import words
from assistant.records.report.facts import Facts
from assistant.records.report.page import (
    GREY,
    INK,
    MARGIN,
    TINT,
    Line,
    Sheet,
    Text,
    broken,
    clean,
)
from assistant.records.store import Store

LONGEST_PX = 1400  # 84 mm at 420 dots an inch
MOST_PX = 120_000_000  # more is no photo of a phone, and would fill the memory
QUALITY = 82
GAP = 6.0  # [mm]
CAPTION_LINES = 3


Image_ = Path | bytes | Callable[[], bytes | None]


@dataclass(frozen=True)
class Photo:
    """A photo of a job.

    step: id of the step it belongs to, or "". wall: when it was kept (ISO 8601). image: a JPEG,
    PNG or WebP file: its path, its bytes, or a function that gives them (None: they are gone), so
    that only one lies in memory. caption: what it shows.
    """

    step: str
    wall: str
    image: Image_
    caption: str = ""


def photos(sheet: Sheet, facts: Facts, pictures: Sequence[Photo]) -> None:
    """Draw all photos; none, no section."""
    if not pictures:
        return
    caption = CAPTION_LINES * 8.6 * 1.32 * 25.4 / 72 + 2
    width = (sheet.epw - GAP) / 2
    for place, photo in enumerate(pictures):
        column, row = place % 2, place // 2 % 2
        if place % 4 == 0:
            sheet.next_page()
            if place == 0:
                sheet.heading("Photos", keep=0)
            top = sheet.y
            height = (sheet.bottom - top - GAP) / 2
        x, y = MARGIN + column * (width + GAP), top + row * (height + GAP)
        _one(sheet, facts, photo, (x, y, width, height - caption))
    sheet.y = sheet.bottom


def kept_photos(store: Store, facts: Facts, entries: Iterable[Entry]) -> list[Photo]:
    """The photos that the record itself holds; the remark that one belongs to is its caption."""
    notes = {note.at.seq: note.text for note in facts.of("note")}
    found = []
    for entry in entries:
        told = entry.body.get("attachment")
        if isinstance(told, dict) and told.get("kind") == "photo":
            caption = notes.get(told.get("about") or 0, "")
            image = partial(store.attachment, entry.job, entry.seq)
            found.append(Photo(str(told.get("step") or ""), entry.wall, image, caption))
    return found


def _one(
    sheet: Sheet, facts: Facts, photo: Photo, frame: tuple[float, float, float, float]
) -> None:
    x, y, w, h = frame
    label = facts.label(photo.step) if photo.step else ""
    told = photo.caption or label or "Photo"
    small = _small(photo.image)
    with sheet.unread():
        sheet.box(x, y, w, h, TINT)
    if small is None:
        line = Line("This photo is gone or can't be read.", 9, False, GREY)
        with sheet.tagged("P"):
            sheet.put(x, y + h / 2, line, "centre", w)
    else:
        jpeg, (wide, high) = small
        scale = min(w / wide, h / high)
        size = wide * scale, high * scale
        left, top = x + (w - size[0]) / 2, y + (h - size[1]) / 2
        with sheet.tagged("Figure", alt=clean(told)):
            sheet.image(io.BytesIO(jpeg), left, top, *size)
    where = " · ".join(
        filter(None, (label if photo.caption else "", words.day_and_time(photo.wall)))
    )
    lines = broken(Text(told, 8.6, colour=INK), w)
    if len(lines) >= CAPTION_LINES:  # the log has the whole of it
        cut = sheet.fitting(" ".join(each.words for each in lines[CAPTION_LINES - 2 :]), 8.6, w)
        lines = [*lines[: CAPTION_LINES - 2], Line(cut, 8.6, False, INK)]
    lines.append(Line(sheet.fitting(clean(where), 8, w), 8, False, GREY))
    with sheet.tagged("P"):
        y += h + 1.2
        for line in lines:
            sheet.put(x, y + line.height * 0.74, line)
            y += line.height


def _small(image: Image_) -> tuple[bytes, tuple[int, int]] | None:
    """A JPEG small enough for print and its size in pixels; None if it is no picture.

    Place and time that a phone writes into its photos do not come along.
    """
    try:
        found = image() if callable(image) else image
        if found is None:
            return None
        source = io.BytesIO(found) if isinstance(found, bytes) else found
        with Image.open(source, formats=("JPEG", "PNG", "WEBP")) as opened:
            if opened.width * opened.height > MOST_PX:
                return None
            opened.draft("RGB", (LONGEST_PX, LONGEST_PX))  # a JPEG is decoded small at once
            turned = ImageOps.exif_transpose(opened)
            turned.thumbnail((LONGEST_PX, LONGEST_PX))
            plain = Image.new("RGB", turned.size, "white")
            alpha = turned.convert("RGBA") if turned.mode in ("RGBA", "LA", "P", "PA") else None
            plain.paste(alpha or turned.convert("RGB"), mask=alpha)
            out = io.BytesIO()
            plain.save(out, "JPEG", quality=QUALITY, optimize=True)
            return out.getvalue(), plain.size
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return None
