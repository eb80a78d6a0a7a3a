"""What was worked out: plots, and calculated values with formula, inputs and source."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from assistant.records.report import plots, words
from assistant.records.report.facts import Facts, Measure
from assistant.records.report.front import step_source, value_of
from assistant.records.report.page import GREY, WARN, Sheet, Text


def figures(sheet: Sheet, facts: Facts) -> None:
    """Plots of what there is data for; none, no section."""
    found = plots.plots_of(facts)
    if not found and len(facts.heard) < 2:
        return
    sheet.heading("Plots", keep=45)
    if found:
        sheet.paragraph(
            Text("Green: what the value must lie in. Square and red: outside.", 8.6, colour=GREY)
        )
    for plot in found:
        plots.draw(sheet, plot)
    if len(facts.heard) > 1:
        plots.hearing(sheet, facts.heard)


def sums(sheet: Sheet, facts: Facts) -> None:
    """What the tool worked out: values and limits, with formula, inputs and source."""
    derived = [m for m in facts.measures if m.derived]
    limits: dict[tuple[str, ...], list[Measure]] = {}
    for each in facts.measures:
        bounds = each.bounds or {}
        if bounds.get("working"):
            key = (*map(str, bounds["working"]), str(bounds.get("source") or ""))
            limits.setdefault(key, []).append(each)
    if not derived and not limits:
        return
    sheet.heading("Calculated values", keep=40)
    for each in derived:
        step = facts.step(each.step)
        spec = step.expects.derived if step else None
        title = f"{facts.label(each.step)}: {value_of(each)}"
        given = spec.given if spec else {}
        made = [f"{k} = {_input(facts, v, each.at.seq)}" for k, v in given.items()]
        source = [step_source(facts, each.step)]
        _sum(sheet, title, f"entry {each.at.seq}", each.working, made, source, each.warnings)
    for key, users in limits.items():
        bounds = users[0].bounds or {}
        title = f"Limit {words.limits(bounds)}"
        names = "; ".join(dict.fromkeys(facts.label(m.step) for m in users))
        step = facts.step(users[0].step)
        given = step.limits.given if step and step.limits else {}
        made = [f"{k} = {_input(facts, v, users[0].at.seq)}" for k, v in given.items()]
        _sum(sheet, title, f"for {names}", key[:-1], made, [key[-1]], bounds.get("warnings") or ())


def _input(facts: Facts, given: str, seq: int) -> str:
    """What a sum was fed at an entry: the job's own value, the readings, or a written quantity."""
    kind, _, path = given.partition(".")
    if kind == "job":
        value: Any = facts.job
        for part in path.split("."):
            value = value.get(part) if isinstance(value, Mapping) else None
        return words.written(value)
    if kind == "reading":
        prefix = path.removesuffix("*")
        many = prefix != path
        stood = [m for m in facts.measures if m.at.seq <= seq < (m.replaced or seq + 1)]
        found = [m for m in stood if m.name == path or (many and m.name.startswith(prefix))]
        return ", ".join(value_of(m) for m in found) or "no reading"
    return words.written(given)


def _sum(
    sheet: Sheet,
    title: str,
    what: str,
    working: Iterable[str],
    inputs: list[str],
    sources: list[str],
    warnings: Iterable[str],
) -> None:
    lines = [words.signed(each) for each in working]
    warnings = [str(each) for each in warnings]
    sheet.need(15 + 4.4 * min(len(lines) + len(warnings), 12) + 4.4 * bool(inputs))
    sheet.paragraph(Text(title, 9.8, bold=True), gap=0.2)
    sheet.paragraph(Text(what, 8.6, colour=GREY), gap=0.4)
    for line in lines:
        sheet.paragraph(Text(line, 9.2), gap=0, indent=5)
    sheet.y += 0.6
    if inputs:
        sheet.paragraph(Text(f"Inputs: {'; '.join(inputs)}", 8.6, colour=GREY), gap=0.2, indent=5)
    if any(sources):
        named = words.signed("; ".join(filter(None, sources)))
        sheet.paragraph(Text(f"Source: {named}", 8.6, colour=GREY), gap=0.2, indent=5)
    for warning in warnings:
        mark = "† " if "unverified" in warning else ""
        text = f"{mark}{words.first_up(warning)}."
        sheet.paragraph(Text(text, 8.6, colour=WARN), 0.2, indent=5)
    sheet.y += 2.6
