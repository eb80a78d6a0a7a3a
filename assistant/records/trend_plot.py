"""A reading over the visits as a plot (SVG 1.1). The same visits give the same text."""

from __future__ import annotations

from datetime import UTC, datetime
from html import escape
from math import ceil, floor, log10
from textwrap import wrap

from assistant.records.history import Trend

WIDTH, HEIGHT = 720, 380
LEFT, RIGHT, TOP, BOTTOM = 76, 48, 96, 44
_INK, _LINE, _LIMIT, _FAIL = "#1a1a1a", "#0b5394", "#b45f06", "#c00000"


def svg(trend: Trend) -> str:
    """The plot: a dot a visit, a square where it failed, dashed limits, the sentence as caption.

    Visits stand at their dates; the value axis begins at zero unless that would hide the change.
    """
    dots = [(days(visit.wall), visit.value, visit) for visit in trend.visits]
    numbers = [value for _, value, _ in dots if value is not None]
    edges = [e for _, _, v in dots for e in (v.at_least, v.at_most) if e is not None]
    near = [e for e in edges if numbers and e <= 3 * max(numbers)]  # a far limit flattens all
    low, high, step = scale([*numbers, *near] or [0.0, 1.0])
    first, last = (min(d for d, _, _ in dots), max(d for d, _, _ in dots)) if dots else (0, 1)

    def x(day: float) -> float:
        share = (day - first) / (last - first) if last > first else 0.5
        return round(LEFT + share * (WIDTH - LEFT - RIGHT), 1)

    def y(value: float) -> float:
        return round(HEIGHT - BOTTOM - (value - low) / (high - low) * (HEIGHT - TOP - BOTTOM), 1)

    title = f"{trend.reading}, door {trend.door}, {trend.site}"
    parts = [_text(LEFT, 24, title, size=16, weight="bold")]
    for place, line_of_words in enumerate(wrap(trend.sentence, 100)[:3]):
        parts.append(_text(LEFT, 43 + 14 * place, line_of_words, size=11))
    ticks = floor((high - low) / step + 0.5)
    for place in range(ticks + 1):
        value = low + place * step
        parts.append(_rule(LEFT, y(value), WIDTH - RIGHT, y(value), "#d0d0d0"))
        parts.append(_text(LEFT - 8, y(value) + 4, f"{value:.6g}", anchor="end"))
    parts.append(_text(LEFT - 8, TOP - 14, trend.unit, anchor="end"))
    for name in ("at_least", "at_most"):
        at = [(d, getattr(v, name)) for d, _, v in dots if getattr(v, name) is not None]
        shown = [(d, e) for d, e in at if low <= e <= high]
        if shown:
            ends = [(LEFT, y(shown[0][1])), *((x(d), y(e)) for d, e in shown)]
            ends.append((WIDTH - RIGHT, y(shown[-1][1])))
            parts.append(_path(ends, _LIMIT, dash="6 4"))
            words = name.replace("_", " ")
            parts.append(_text(WIDTH - RIGHT + 6, ends[-1][1] + 4, words, fill=_LIMIT, size=10))
    line = [(x(d), y(value)) for d, value, _ in dots if value is not None]
    if len(line) > 1:
        parts.append(_path(line, _LINE))
    end = -1e9
    for day, number, visit in dots:
        if number is not None:
            parts.append(_dot(x(day), y(number), visit.verdict == "fail"))
        else:
            parts.append(_text(x(day), TOP + 12, visit.said, anchor="middle", size=11))
        if x(day) - end >= 74:  # dates that would run into one another are left out
            parts.append(_text(x(day), HEIGHT - BOTTOM + 20, visit.wall[:10], anchor="middle"))
            end = x(day)
    parts.append(_rule(LEFT, HEIGHT - BOTTOM, WIDTH - RIGHT, HEIGHT - BOTTOM, _INK))
    body = "\n".join(parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
        f'width="{WIDTH}" height="{HEIGHT}" role="img" font-family="sans-serif" font-size="12">\n'
        f"<title>{escape(title)}</title>\n<desc>{escape(trend.sentence)}</desc>\n"
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>\n{body}\n</svg>\n'
    )


def days(wall: str) -> float:
    """Days since 1970 of a wall time; a bare date is midnight UTC, whatever the machine's zone."""
    found = datetime.fromisoformat(wall)
    return (found if found.tzinfo else found.replace(tzinfo=UTC)).timestamp() / 86_400


def scale(values: list[float]) -> tuple[float, float, float]:
    """Ends and step of an axis with four to eight round steps that holds the values."""
    low, high = min(values), max(values)
    if low > 0 and low < 0.7 * high:
        low = 0.0
    if high == low:
        low, high = (min(0.0, low), max(0.0, high)) if low else (0.0, 1.0)
    raw = (high - low) / 5
    power = 10.0 ** floor(log10(raw))
    step = next(each * power for each in (1, 2, 2.5, 5, 10) if each * power >= raw * 0.999)
    return floor(low / step) * step, ceil(high / step - 1e-9) * step, step


def _text(
    x: float, y: float, words: str, *, anchor: str = "start", size: int = 12, fill: str = _INK,
    weight: str = "normal",
) -> str:  # fmt: skip
    return (
        f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" font-size="{size}" fill="{fill}" '
        f'font-weight="{weight}">{escape(words)}</text>'
    )


def _rule(x1: float, y1: float, x2: float, y2: float, stroke: str) -> str:
    return f'<line x1="{x1:g}" y1="{y1:g}" x2="{x2:g}" y2="{y2:g}" stroke="{stroke}"/>'


def _path(points: list[tuple[float, float]], stroke: str, dash: str = "") -> str:
    at = " ".join(f"{x:g},{y:g}" for x, y in points)
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<polyline points="{at}" fill="none" stroke="{stroke}" stroke-width="2"{dashed}/>'


def _dot(x: float, y: float, fails: bool) -> str:
    if fails:
        return f'<rect x="{x - 5:g}" y="{y - 5:g}" width="10" height="10" fill="{_FAIL}"/>'
    return f'<circle cx="{x:g}" cy="{y:g}" r="5" fill="{_LINE}"/>'
