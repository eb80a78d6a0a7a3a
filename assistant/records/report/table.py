"""Tables that run over pages: the head is drawn again, and a row too long for a page is cut
between its lines, so that no text is lost."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from assistant.records.report.page import (
    ACCENT,
    GREY,
    INK,
    MARGIN,
    RULE,
    TINT,
    Colour,
    Line,
    Sheet,
    Text,
    broken,
)

PAD_X, PAD_Y = 1.6, 1.15  # [mm]
SIZE = 8.8  # of a cell's words [pt]


@dataclass(frozen=True)
class Column:
    """share: of the table's width, in parts of the sum of all shares."""

    title: str
    share: float
    right: bool = False


@dataclass(frozen=True)
class Cell:
    """Words, and smaller grey words below them."""

    words: str
    below: str = ""
    bold: bool = False
    colour: Colour = INK

    def lines(self, width: float) -> list[Line]:
        """As drawn in `width` [mm]."""
        found = broken(Text(self.words, SIZE, self.bold, self.colour), width) if self.words else []
        if self.below:
            found += broken(Text(self.below, SIZE - 1.5, False, GREY), width)
        return found


@dataclass(frozen=True)
class Row:
    """Cells of one row; `group` is a row of its own across the table that heads those below."""

    cells: Sequence[Cell | str] = field(default_factory=tuple)
    group: str | None = None


def table(sheet: Sheet, columns: Sequence[Column], rows: Iterable[Row], gap: float = 3.0) -> None:
    """Draw a table at the sheet's place and leave the place below it."""
    _Table(sheet, columns).draw(list(rows))
    sheet.y += gap


def pairs(sheet: Sheet, rows: Sequence[tuple[str, str]], label: float = 46, gap: float = 3) -> None:
    """Draw label and value, one pair a row, without a head. label: its width [mm]."""
    columns = (Column("", label), Column("", sheet.epw - label))
    drawn = _Table(sheet, columns, headless=True)
    drawn.draw([Row((Cell(name, colour=GREY), value)) for name, value in rows if value])
    sheet.y += gap


class _Table:
    def __init__(self, sheet: Sheet, columns: Sequence[Column], headless: bool = False):
        self.sheet, self.columns, self.headless = sheet, columns, headless
        whole = sum(column.share for column in columns)
        self.widths = [sheet.epw * column.share / whole for column in columns]
        titles = [Text(c.title, SIZE - 0.9, True, ACCENT) for c in columns]
        self.titles = [
            broken(title, width - 2 * PAD_X)
            for title, width in zip(titles, self.widths, strict=True)
        ]
        self.head_height = 0.0 if headless else _height(self.titles)

    def draw(self, rows: list[Row]) -> None:
        cut = [self._cut(row) for row in rows]
        first = _height(cut[0]) if cut else 0
        second = _height(cut[1]) if rows and rows[0].group is not None and len(cut) > 1 else 0
        self.sheet.need(min(self.head_height + first + second, 60))
        self._head()
        for place, (row, cells) in enumerate(zip(rows, cut, strict=True)):
            after = _height(cut[place + 1]) if row.group is not None and place + 1 < len(cut) else 0
            self._row(row, cells, after)
        self._rule()

    def _cut(self, row: Row) -> list[list[Line]]:
        if row.group is not None:
            width = self.sheet.epw - 2 * PAD_X
            return [broken(Text(row.group, SIZE, True, ACCENT), width)]
        cells = [Cell(each) if isinstance(each, str) else each for each in row.cells]
        return [
            cell.lines(width - 2 * PAD_X) for cell, width in zip(cells, self.widths, strict=True)
        ]

    def _head(self) -> None:
        if self.headless:
            return
        with self.sheet.unread():
            self.sheet.box(MARGIN, self.sheet.y, self.sheet.epw, self.head_height, TINT)
        self._cells(self.titles, self.head_height)

    def _row(self, row: Row, cells: list[list[Line]], after: float) -> None:
        sheet, height = self.sheet, _height(cells)
        whole = sheet.room - self.head_height
        if sheet.left < min(height + min(after, 40), whole if height <= whole else 4 * 4.1):
            self._break()
        while height > sheet.left + 0.01:  # taller than a page: as many lines as there is room for
            fit = [_fitting(lines, sheet.left - 2 * PAD_Y) for lines in cells]
            self._one(row, [lines[:n] for lines, n in zip(cells, fit, strict=True)])
            cells = [lines[n:] for lines, n in zip(cells, fit, strict=True)]
            height = _height(cells)
            self._break()
        self._one(row, cells)

    def _break(self) -> None:
        self._rule()
        self.sheet.next_page()
        self._head()

    def _one(self, row: Row, cells: list[list[Line]]) -> None:
        self._rule()
        height = _height(cells)
        if row.group is not None:
            with self.sheet.unread():
                self.sheet.box(MARGIN, self.sheet.y, self.sheet.epw, height, (249, 250, 252))
        self._cells(cells, height)

    def _cells(self, cells: list[list[Line]], height: float) -> None:
        sheet, x = self.sheet, MARGIN
        widths = self.widths if len(cells) > 1 else [sheet.epw]
        with sheet.tagged("P"):
            for lines, width, column in zip(cells, widths, self.columns, strict=False):
                y = sheet.y + PAD_Y
                for line in lines:
                    align = "right" if column.right and len(cells) > 1 else "left"
                    sheet.put(x + PAD_X, y + line.height * 0.74, line, align, width - 2 * PAD_X)
                    y += line.height
                x += width
        sheet.y += height

    def _rule(self) -> None:
        with self.sheet.unread():
            self.sheet.rule(self.sheet.y, RULE, 0.15)


def _height(cells: Sequence[Sequence[Line]]) -> float:
    return max((sum(line.height for line in lines) for lines in cells), default=0) + 2 * PAD_Y


def _fitting(lines: list[Line], height: float) -> int:
    """How many lines fit; at least one, so that a table always gets on."""
    used = 0.0
    for count, line in enumerate(lines):
        used += line.height
        if used > height and count:
            return count
    return len(lines)
