"""Paper, type and flow: what every page of a printed record is made of. Knows nothing of jobs.

fpdf2 writes the file, embeds the fonts, keeps outline and tags. Lines are broken here, because
a table of the record must be able to break anywhere, also inside a row, and because two fonts
share a line: what the text font lacks is drawn with one of very wide coverage.

Tags: fpdf2's structure tree is flat, so headings, paragraphs, table rows and figures follow each
other under the document in reading order; cells have no tags of their own.
"""

from __future__ import annotations

import unicodedata
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Literal

from fontTools.ttLib import TTFont
from fpdf import FPDF, ViewerPreferences
from fpdf.bidi import BidiParagraph
from fpdf.fonts import TTFFont

Paper = Literal["A4", "Letter"]
Colour = tuple[int, int, int]

INK: Colour = (28, 33, 40)
GREY: Colour = (84, 94, 107)
RULE: Colour = (196, 203, 211)
TINT: Colour = (238, 241, 245)
ACCENT: Colour = (30, 62, 98)
GOOD: Colour = (28, 100, 58)
BAD: Colour = (172, 32, 28)
WARN: Colour = (134, 82, 0)

MARGIN = 18.0  # [mm], left and right
TOP = 24.0  # where the text begins on a page with a running head [mm]
BOTTOM = 21.0  # free of text, for the foot [mm]
MM_PER_PT = 25.4 / 72

_FONTS = Path(__file__).with_name("fonts")
_FILES = {
    ("text", ""): "SourceSansPro-Regular.ttf",
    ("text", "B"): "SourceSansPro-Semibold.ttf",
    ("wide", ""): "DejaVuSansCondensed.ttf",
}
_RTL = ("R", "AL", "AN")


@dataclass(frozen=True)
class Text:
    """Words in one size, weight and colour; "\\n" begins a new line. size in [pt]."""

    words: str
    size: float = 9.5
    bold: bool = False
    colour: Colour = INK


@dataclass(frozen=True)
class Line:
    """One line as it is drawn."""

    words: str
    size: float
    bold: bool
    colour: Colour

    @property
    def height(self) -> float:
        """From baseline to baseline. [mm]"""
        return self.size * 1.32 * MM_PER_PT


@cache
def _advances(family: str, style: str) -> dict[int, float]:
    """Code point -> width of its glyph. [em]"""
    with TTFont(_FONTS / _FILES[family, style]) as font:
        per_em, widths = font["head"].unitsPerEm, font["hmtx"]
        return {code: widths[name][0] / per_em for code, name in font.getBestCmap().items()}


@cache
def _face(char: str, bold: bool) -> tuple[str, str] | None:
    """Family and style that have a glyph for a character."""
    for key in (("text", "B" if bold else ""), ("wide", "")):
        if ord(char) in _advances(*key):
            return key
    return None


@cache
def _shown(char: str) -> str:
    """A character as it is printed: what steers, hides or has no glyph becomes its code point."""
    if char in "\n ":
        return char
    if char in "\t\r\v\f\u2028\u2029" or unicodedata.category(char) == "Zs":
        return " "
    hidden = unicodedata.category(char) in ("Cc", "Cf", "Cs", "Co", "Cn")
    if char == "\N{SOFT HYPHEN}":
        return ""
    if hidden or _face(char, False) is None:
        return f"[U+{ord(char):04X}]"
    return char


def clean(text: str) -> str:
    """Text as the fonts can draw it; nothing is lost without a trace."""
    return "".join(map(_shown, text))


def width_of(text: str, size: float, bold: bool = False) -> float:
    """Width of one line. [mm]"""
    return sum(map(_width[bold].__getitem__, text)) * size * MM_PER_PT


class _Widths(dict[str, float]):
    """Character -> width [em], worked out at its first use."""

    def __init__(self, bold: bool):
        super().__init__()
        self._bold = bold

    def __missing__(self, char: str) -> float:
        face = _face(char, self._bold)
        self[char] = _advances(*face)[ord(char)] if face else 0.0
        return self[char]


_width = (_Widths(False), _Widths(True))


def broken(text: Text, width: float) -> list[Line]:
    """Text in lines no wider than `width` [mm], broken at spaces, else wherever it must."""
    found: list[Line] = []
    for paragraph in clean(text.words).split("\n"):
        row = ""
        for word in paragraph.split(" "):
            joined = f"{row} {word}" if row else word
            if width_of(joined, text.size, text.bold) <= width:
                row = joined
                continue
            if row:
                found.append(_line(row, text))
            *full, row = _chopped(word, text, width)
            found += [_line(each, text) for each in full]
        found.append(_line(row, text))
    return found


def _line(words: str, like: Text) -> Line:
    return Line(words, like.size, like.bold, like.colour)


def _chopped(word: str, like: Text, width: float) -> list[str]:
    """A word in pieces that fit; one piece if it fits as it is."""
    pieces, room = [""], width / (like.size * MM_PER_PT)
    used = 0.0
    for char in word:
        wide = _width[like.bold][char]
        if used + wide > room and pieces[-1]:
            pieces.append("")
            used = 0.0
        pieces[-1] += char
        used += wide
    return pieces


class Sheet(FPDF):
    """A document of pages with running head and foot. `y` is where the flow goes on. [mm]"""

    def __init__(self, paper: Paper, title: str, date: datetime, running: str, foot: str):
        super().__init__(unit="mm", format=paper)
        self.running, self.foot, self.bare = clean(running), clean(foot), False
        self._mcids: Counter[int] = Counter()
        for (family, style), file in _FILES.items():
            self.add_font(family, style, _FONTS / file)
        self.set_margins(MARGIN, TOP, MARGIN)
        self.set_auto_page_break(False)
        self.set_creation_date(date)
        self.set_title(clean(title))
        self.set_lang("en")
        self.viewer_preferences = ViewerPreferences(display_doc_title=True)

    # --- room ------------------------------------------------------------------------------

    @property
    def bottom(self) -> float:
        """Where the text area ends. [mm]"""
        return self.h - BOTTOM

    @property
    def left(self) -> float:
        """Room from here to the end of the text area. [mm]"""
        return self.bottom - self.y

    @property
    def room(self) -> float:
        """Height of an empty text area. [mm]"""
        return self.bottom - TOP

    def need(self, height: float) -> None:
        """Begin a page unless `height` is left on this one. [mm]"""
        if self.left < min(height, self.room):
            self.next_page()

    def next_page(self) -> None:
        """Begin a page."""
        self.add_page()
        self.y = TOP

    def skip(self, height: float) -> None:
        """Leave a gap, none at the top of a page. [mm]"""
        if self.y > TOP:
            self.y += height

    def header(self) -> None:
        """Running head, drawn by fpdf2 at the start of each page."""
        if self.bare:
            return
        with self.unread():
            self.put(MARGIN, 14.5, Line(self.fitting(self.running, 8.5), 8.5, False, GREY))
            self.rule(16.8)

    def finish(self) -> bytes:
        """Draw the foot of every page, now that their number is known, and give the file."""
        count, y = self.page_no(), self.h - 10.2
        foot = Line(self.fitting(self.foot, 8, self.epw - 30), 8, False, GREY)
        for number in range(1, count + 1):
            self.page = number
            # fpdf2 knows the state of the last page alone: font, line and colour are set anew.
            self.current_font_is_set_on_page = False
            self.set_draw_color(*INK)
            self.set_line_width(1)
            with self.unread():
                self.rule(self.h - 14.5)
                self.put(MARGIN, y, foot)
                page = Line(f"Page {number} of {count}", 8, False, GREY)
                self.put(MARGIN, y, page, "right", self.epw)
        made = bytes(self.output())
        self.close_fonts()
        return made

    def close_fonts(self) -> None:
        """Close the font files, which fpdf2 leaves open."""
        for font in self.fonts.values():
            if isinstance(font, TTFFont):
                font.ttfont.close()

    # --- drawing ---------------------------------------------------------------------------

    def fitting(self, words: str, size: float, width: float | None = None) -> str:
        """One line of words, cut with an ellipsis where it is too long: for head and foot only."""
        room = width or self.epw
        if width_of(words[:1000], size) <= room:
            return words
        room -= width_of("…", size)
        for place, char in enumerate(words):
            room -= width_of(char, size)
            if room < 0:
                return f"{words[:place].rstrip()}…"
        return words

    def put(self, x: float, y: float, line: Line, align: str = "left", width: float = 0) -> None:
        """Draw a line with its baseline at `y`; "right" ends it at `x + width`."""
        words = line.words
        if any(unicodedata.bidirectional(c) in _RTL for c in words):
            words = BidiParagraph(words).get_reordered_string()
        if align != "left":
            spare = width - width_of(words, line.size, line.bold)
            x += spare if align == "right" else spare / 2
        self.set_text_color(*line.colour)
        for (family, style), run in _runs(words, line.bold):
            self.set_font(family, style, line.size)
            self.text(x, y, run)
            x += width_of(run, line.size, line.bold)

    def rule(self, y: float, colour: Colour = RULE, width: float = 0.2) -> None:
        """A line across the text area."""
        self.set_draw_color(*colour)
        self.set_line_width(width)
        self.line(MARGIN, y, self.w - MARGIN, y)

    def box(self, x: float, y: float, w: float, h: float, colour: Colour) -> None:
        """A filled rectangle."""
        self.set_fill_color(*colour)
        self.rect(x, y, w, h, style="F")

    # --- tags ------------------------------------------------------------------------------

    @contextmanager
    def tagged(self, kind: str, title: str = "", alt: str = "") -> Iterator[None]:
        """Draw within as one element of the document: "P", "H1", "Figure"."""
        number = self._mcids[self.page]
        self._mcids[self.page] += 1
        self._add_marked_content(
            struct_type=f"/{kind}", mcid=number, title=title or None, alt_text=alt or None
        )
        self._out(f"/{kind} <</MCID {number}>> BDC")
        yield
        self._out("EMC")

    @contextmanager
    def unread(self) -> Iterator[None]:
        """Draw within what a reader aloud leaves out: head, foot, rules, shading."""
        self._out("/Artifact BMC")
        yield
        self._out("EMC")

    # --- flow ------------------------------------------------------------------------------

    def heading(self, words: str, level: int = 1, keep: float = 22) -> None:
        """A heading, in the outline too; `keep` [mm] of what follows stay with it."""
        size = {1: 15.0, 2: 11.5}[level]
        lines = broken(Text(words, size, True, ACCENT), self.epw)
        self.skip(7.5 if level == 1 else 4.5)
        self.need(sum(line.height for line in lines) + keep)
        self.start_section(clean(words), level - 1, strict=False)
        with self.tagged(f"H{level}", title=clean(words)):
            self._flow(lines, MARGIN)
        if level == 1:
            with self.unread():
                self.rule(self.y + 0.9, ACCENT, 0.35)
            self.y += 3.4
        else:
            self.y += 1.0

    def paragraph(self, text: Text | str, gap: float = 2.0, indent: float = 0) -> None:
        """Words across the page, broken over pages where they must be."""
        text = Text(text) if isinstance(text, str) else text
        lines = broken(text, self.epw - indent)
        self.need(sum(line.height for line in lines[: 3 if len(lines) < 4 else 2]))
        while lines:
            fit = max(1, int((self.left + 0.01) // lines[0].height))
            with self.tagged("P"):
                self._flow(lines[:fit], MARGIN + indent)
            lines = lines[fit:]
            if lines:
                self.next_page()
        self.y += gap

    def item(self, text: Text | str, gap: float = 1.1) -> None:
        """A paragraph with a dash in front."""
        text = Text(text) if isinstance(text, str) else text
        self.need(broken(text, self.epw - 4.5)[0].height * 2)
        with self.unread():
            dash = Line("–", text.size, text.bold, text.colour)
            self.put(MARGIN + 0.5, self.y + dash.height * 0.74, dash)
        self.paragraph(text, gap, indent=4.5)

    def _flow(self, lines: list[Line], x: float) -> None:
        for line in lines:
            self.put(x, self.y + line.height * 0.74, line)
            self.y += line.height


def _runs(words: str, bold: bool) -> Iterator[tuple[tuple[str, str], str]]:
    """Words cut where the font changes."""
    start, last = 0, None
    for place, char in enumerate(words):
        face = _face(char, bold)
        if face != last:
            if last is not None:
                yield last, words[start:place]
            start, last = place, face
    if last is not None:
        yield last, words[start:]
