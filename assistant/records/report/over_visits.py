"""Small plots of readings over the visits to a door, two in a row."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from assistant.records.history import Trend, Visit
from assistant.records.report import words
from assistant.records.report.page import (
    ACCENT,
    BAD,
    GREY,
    INK,
    MARGIN,
    RULE,
    WARN,
    Line,
    Sheet,
    clean,
)
from assistant.records.trend_plot import days, scale

HEIGHT_MM = 46.0
GAP_MM = 8.0
_PLOT_MM, _LEFT_MM = 26.0, 13.0


def draw(sheet: Sheet, trends: Sequence[tuple[str, Trend]]) -> None:
    """Draw (label, trend) pairs; each has two visits with a number or more."""
    width = (sheet.epw - GAP_MM) / 2
    for place in range(0, len(trends), 2):
        sheet.need(HEIGHT_MM)
        for column, (label, trend) in enumerate(trends[place : place + 2]):
            _one(sheet, label, trend, MARGIN + column * (width + GAP_MM), width)
        sheet.y += HEIGHT_MM


def _one(sheet: Sheet, label: str, trend: Trend, x: float, width: float) -> None:
    sign = words.sign(trend.unit)
    top, left, wide = sheet.y + 8.5, x + _LEFT_MM, width - _LEFT_MM - 8
    dots = [(days(v.wall), v.value, v) for v in trend.visits if v.value is not None]
    numbers = [value for _, value, _ in dots]
    edges = _edges(trend.visits[-1], max(numbers))
    low, high, step = scale([*numbers, *edges.values()])
    first, last = dots[0][0], dots[-1][0]

    def across(day: float) -> float:
        return left + ((day - first) / (last - first) if last > first else 0.5) * wide

    def up(value: float) -> float:
        return top + _PLOT_MM * (1 - (value - low) / (high - low))

    with sheet.tagged("P"):
        title = f"{label} [{sign}]" if sign else label
        sheet.put(x, sheet.y + 4, Line(clean(sheet.fitting(title, 8.6, width)), 8.6, True, INK))
    with sheet.tagged("Figure", title=clean(label), alt=clean(trend.sentence)):
        sheet.set_line_width(0.12)
        for count in range(round((high - low) / step) + 1):
            y = up(low + count * step)
            sheet.set_draw_color(*RULE)
            sheet.line(left, y, left + wide, y)
            text = Line(words.number(round(low + count * step, 10), 5), 7, False, GREY)
            sheet.put(x, y + 0.9, text, "right", _LEFT_MM - 2)
        for name, edge in edges.items():
            sheet.set_draw_color(*WARN)
            sheet.set_dash_pattern(1.6, 1.2)
            sheet.line(left, up(edge), left + wide, up(edge))
            sheet.set_dash_pattern()
            sheet.put(left + 1, up(edge) - 0.8, Line(name, 6.6, False, WARN))
        sheet.set_draw_color(*ACCENT)
        sheet.set_line_width(0.45)
        for (day, value, _), (after, then, _) in pairwise(dots):
            sheet.line(across(day), up(value), across(after), up(then))
        for day, value, visit in dots:
            _dot(sheet, across(day), up(value), visit)
        _dates(sheet, [(across(day), visit) for day, _, visit in dots], top + _PLOT_MM + 4)


def _edges(now: Visit, most: float) -> dict[str, float]:
    """Limits of this visit that lie near enough not to flatten the values."""
    found = {"at least": now.at_least, "at most": now.at_most}
    return {name: e for name, e in found.items() if e is not None and 0 <= e <= 3 * most}


def _dot(sheet: Sheet, x: float, y: float, visit: Visit) -> None:
    fails = visit.verdict == "fail"
    sheet.set_fill_color(*(BAD if fails else ACCENT))
    if fails:  # told by its shape too
        sheet.rect(x - 0.9, y - 0.9, 1.8, 1.8, style="F")
    else:
        sheet.ellipse(x - 0.9, y - 0.9, 1.8, 1.8, style="F")


def _dates(sheet: Sheet, dots: Sequence[tuple[float, Visit]], y: float) -> None:
    """Days below the axis: the last one, and what has room before it."""
    free = 1e9
    for x, visit in reversed(dots):
        if free - x >= 16:
            text = Line(visit.wall[:10], 7, False, GREY)
            sheet.put(x - 20, y, text, "centre", 40)
            free = x
