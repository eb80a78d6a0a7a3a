"""Plots as vectors: values against what they must meet, and how well the job was heard."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import floor, log10

from assistant.records.report import words
from assistant.records.report.facts import Facts, Measure
from assistant.records.report.page import (
    ACCENT,
    BAD,
    GREY,
    INK,
    MARGIN,
    RULE,
    Colour,
    Line,
    Sheet,
    Text,
    broken,
    clean,
    width_of,
)

Place = Callable[[float], float]  # value -> x [mm]
BAND: Colour = (218, 232, 222)
LABELS_MM = 58.0
VALUES_MM = 30.0
ROW_MM = 5.6


@dataclass(frozen=True)
class Strip:
    """One row of a plot: values on a line, with the band they must lie in (None: no edge).

    limit: the line is a setting and the band is what it may be. written: what stands at its end.
    """

    label: str
    values: tuple[float, ...]
    low: float | None
    high: float | None
    written: str
    good: bool = True
    step: str = ""


@dataclass(frozen=True)
class Plot:
    """A plot of strips over one axis. unit: printed sign."""

    title: str
    unit: str
    strips: tuple[Strip, ...]


def plots_of(facts: Facts) -> list[Plot]:
    """The plots that a job has data for."""
    found = [
        _voltages(facts, "supply", "Supply voltages against their limits"),
        _voltages(facts, "line-earth", "Voltages to earth against their limits"),
        *_singles(facts),
        *_timers(facts),
        _forces(facts),
        _left(facts),
    ]
    return [_told_apart(facts, plot) for plot in found if plot is not None]


def _told_apart(facts: Facts, plot: Plot) -> Plot:
    """Rows of one label get the section in front."""
    labels = Counter(strip.label for strip in plot.strips)
    strips = tuple(
        replace(s, label=f"{words.first_up(step.section)}: {s.label}")
        if labels[s.label] > 1 and (step := facts.step(s.step))
        else s
        for s in plot.strips
    )
    return replace(plot, strips=strips)


def _strip(facts: Facts, each: Measure, values: tuple[float, ...] = ()) -> Strip:
    bounds = each.bounds or {}
    return Strip(
        facts.label(each.step),
        values or ((float(each.value),) if each.value else ()),
        _edge(bounds.get("at_least")),
        _edge(bounds.get("at_most")),
        words.quantity(each.value, each.unit, 4),
        each.verdict != "fail",
        each.step,
    )


def _edge(value: object) -> float | None:
    return None if value is None else float(str(value))


def _numbers(facts: Facts, *prefixes: str) -> list[Measure]:
    """Standing readings with a number, named by one of some prefixes."""
    return [m for m in facts.standing if m.value and m.name.startswith(prefixes)]


def _voltages(facts: Facts, name: str, title: str) -> Plot | None:
    rows = [m for m in _numbers(facts, name) if words.sign(m.unit) == "V"]
    return Plot(title, "V", tuple(_strip(facts, m) for m in rows)) if rows else None


def _singles(facts: Facts) -> list[Plot]:
    """Unbalance has an axis of its own."""
    rows = _numbers(facts, "unbalance")
    return [Plot("Unbalance of the voltages", "%", (_strip(facts, rows[0]),))] if rows else []


def _timers(facts: Facts) -> list[Plot]:
    """Each direction's runs, and the guard's setting within what it may be."""
    strips: list[Strip] = []
    for way in ("opening", "closing"):
        runs = [m for m in _numbers(facts, f"{way}.") if words.sign(m.unit) == "s"]
        guards = _numbers(facts, f"{way}-guard")
        if runs:
            times = tuple(float(m.value or 0) for m in runs)
            span = f"{min(times):g} to {max(times):g} s"
            name = f"{words.first_up(way)}, {len(runs)} runs"
            strips.append(Strip(name, times, None, None, span))
            strips += [_strip(facts, guard) for guard in guards]
    return [Plot("Timers against travel times", "s", tuple(strips))] if strips else []


def _forces(facts: Facts) -> Plot | None:
    strips = []
    for force in _numbers(facts, "force."):
        point = force.name.removeprefix("force.")
        peaks = _numbers(facts, f"peak.{point}.")
        values = tuple(float(m.value or 0) for m in peaks) or (float(force.value or 0),)
        strips.append(_strip(facts, force, values))
    return Plot("Closing forces against their limits", "N", tuple(strips)) if strips else None


def _left(facts: Facts) -> Plot | None:
    rows = [_strip(facts, m) for m in _numbers(facts, "residual")]
    return Plot("Force left after closing on something", "N", tuple(rows)) if rows else None


# --- drawing -----------------------------------------------------------------------------------


def draw(sheet: Sheet, plot: Plot) -> None:
    """Draw a plot; one with very many strips goes on over pages."""
    most = max(4, int((sheet.room - 32) // ROW_MM))
    strips = plot.strips
    for start in range(0, len(strips), most):
        part = strips[start : start + most]
        again = " (continued)" if start else ""
        _draw(sheet, Plot(plot.title + again, plot.unit, part), _span(plot))


def _span(plot: Plot) -> tuple[float, float]:
    """Ends of the axis: all values and edges, with some air."""
    every = [v for s in plot.strips for v in (*s.values, s.low, s.high) if v is not None]
    low, high = min(every, default=0.0), max(every, default=1.0)
    if low > 0 and low < 0.5 * high:
        low = 0.0
    air = (high - low) * 0.06 or abs(high) * 0.1 or 1.0
    return (low if low == 0 else low - air), high + air


def _draw(sheet: Sheet, plot: Plot, span: tuple[float, float]) -> None:
    height = ROW_MM * len(plot.strips)
    sheet.need(height + 20)
    spoken = "; ".join(
        f"{s.label} {s.written}, limits "
        + words.limits({"at_least": s.low, "at_most": s.high, "unit": plot.unit})
        for s in plot.strips
    )
    with sheet.tagged("P"):
        title = Line(f"{plot.title} [{plot.unit}]", 9.5, True, INK)
        sheet.put(MARGIN, sheet.y + 4, title)
    sheet.y += 6.5
    x, width = MARGIN + LABELS_MM, sheet.epw - LABELS_MM - VALUES_MM

    def place(value: float) -> float:
        return x + (value - span[0]) / (span[1] - span[0]) * width

    with sheet.tagged("Figure", title=plot.title, alt=clean(f"{plot.title}: {spoken}")):
        _axis(sheet, span, place, height)
        for count, strip in enumerate(plot.strips):
            _one(sheet, strip, sheet.y + ROW_MM * count, x, width, place)
    sheet.y += height + 8


def _axis(sheet: Sheet, span: tuple[float, float], place: Place, height: float) -> None:
    sheet.set_line_width(0.12)
    for tick in _ticks(*span):
        sheet.set_draw_color(*RULE)
        sheet.line(place(tick), sheet.y, place(tick), sheet.y + height)
        text = Line(words.number(tick, 6), 7.5, False, GREY)
        sheet.put(place(tick), sheet.y + height + 3.4, text, "centre")


def _ticks(low: float, high: float) -> list[float]:
    """Five or so round numbers between two ends."""
    raw = (high - low) / 5
    scale = 10.0 ** floor(log10(raw))
    step = next(scale * m for m in (1, 2, 2.5, 5, 10) if scale * m >= raw)
    first = -floor(-low / step)
    return [round(i * step, 10) for i in range(first, floor(high / step) + 1)]


def _one(sheet: Sheet, strip: Strip, y: float, x: float, width: float, place: Place) -> None:
    mid = y + ROW_MM / 2
    label = broken(Text(strip.label, 8.2), LABELS_MM - 3)
    words_ = label[0].words if len(label) == 1 else sheet.fitting(strip.label, 8.2, LABELS_MM - 3)
    sheet.put(MARGIN, mid + 1.0, Line(clean(words_), 8.2, False, INK))
    if strip.low is not None or strip.high is not None:
        left = x if strip.low is None else place(strip.low)
        right = x + width if strip.high is None else place(strip.high)
        sheet.box(left, y + 0.9, max(0.3, right - left), ROW_MM - 1.8, BAND)
    sheet.set_draw_color(*RULE)
    sheet.set_line_width(0.12)
    sheet.line(x, mid, x + width, mid)
    colour = ACCENT if strip.good else BAD
    for value in strip.values:
        sheet.set_fill_color(*colour)
        sheet.set_draw_color(255, 255, 255)
        if strip.good:
            sheet.ellipse(place(value) - 0.9, mid - 0.9, 1.8, 1.8, style="FD")
        else:  # told by its shape too
            sheet.rect(place(value) - 0.9, mid - 0.9, 1.8, 1.8, style="FD")
    text = Line(strip.written + ("" if strip.good else " fail"), 8.2, not strip.good, colour)
    if strip.good:
        text = Line(strip.written, 8.2, False, INK)
    sheet.put(x + width + 2, mid + 1.0, text)


def hearing(sheet: Sheet, heard: Sequence[tuple[float, float, bool]]) -> None:
    """Confidence of the recogniser for each utterance over the job; hollow: not understood."""
    height = 32.0
    sheet.need(height + 22)
    share = sum(taken for _, _, taken in heard) / len(heard)
    note = f"{len(heard)} utterances, {share:.0%} understood"
    with sheet.tagged("P"):
        sheet.put(MARGIN, sheet.y + 4, Line("How the job was heard", 9.5, True, INK))
        after = MARGIN + width_of("How the job was heard", 9.5, True) + 2
        sheet.put(after, sheet.y + 4, Line(f"recogniser's confidence; {note}", 8.2, False, GREY))
    sheet.y += 7
    x, width = MARGIN + 9, sheet.epw - 17
    begin, end = heard[0][0], max(heard[-1][0], heard[0][0] + 60)
    with sheet.tagged("Figure", title="How the job was heard", alt=note):
        sheet.set_line_width(0.12)
        for part in (0.0, 0.5, 1.0):
            y = sheet.y + height * (1 - part)
            sheet.set_draw_color(*RULE)
            sheet.line(x, y, x + width, y)
            sheet.put(MARGIN, y + 1, Line(f"{part:.1f}", 7.5, False, GREY))
        for minute in _ticks(0, (end - begin) / 60):
            place = x + minute * 60 / (end - begin) * width
            text = Line(f"{words.number(minute, 4)} min", 7.5, False, GREY)
            sheet.put(place, sheet.y + height + 3.6, text, "centre")
        for at_s, confidence, taken in heard:
            place = x + (at_s - begin) / (end - begin) * width
            y = sheet.y + height * (1 - min(1.0, max(0.0, confidence)))
            sheet.set_draw_color(*(ACCENT if taken else BAD))
            sheet.set_fill_color(*(ACCENT if taken else (255, 255, 255)))
            sheet.ellipse(place - 0.6, y - 0.6, 1.2, 1.2, style="FD")
    sheet.y += height + 8
