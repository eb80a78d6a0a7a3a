"""The record's first part: cover, summary, readings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from assistant.records.report import words
from assistant.records.report.facts import Facts, Measure, duration_s
from assistant.records.report.page import (
    ACCENT,
    BAD,
    GOOD,
    GREY,
    INK,
    MARGIN,
    TINT,
    WARN,
    Colour,
    Line,
    Sheet,
    Text,
    broken,
)
from assistant.records.report.table import Cell, Column, Row, pairs, table
from assistant.records.verify import Verdict

CAUTION = (
    "This record says what was said and measured; it makes nothing safe and replaces no "
    "inspection. The adopted local code, the equipment's instructions and the employer's "
    "energy-control procedure come first; the work is for qualified persons."
)
VERDICTS = {"pass": ("within", GOOD), "fail": ("OUTSIDE", BAD), "none": ("–", GREY)}


def status(facts: Facts, verdict: Verdict) -> tuple[str, Colour, str]:
    """Where the job stands: a word, its colour, and a sentence for it.

    Complete is only what is finished, whole, within all limits and without an open point.
    """
    failed = [m for m in facts.standing if m.failed]
    judged = [m for m in facts.standing if m.verdict != "none"]
    if not verdict.ok:
        return "NOT VERIFIED", BAD, f"The record's chain does not hold: {verdict.why}."
    if failed:
        return (
            "LIMITS NOT MET",
            BAD,
            f"{_count(len(failed), 'reading')} outside the limits; "
            f"{_count(len(facts.open), 'open point')}.",
        )
    empty = [m for m in facts.standing if m.value is None and m.special == "no-reading"]
    if empty:
        told = f"{_count(len(empty), 'reading')} without a value; "
        told += f"{_count(len(facts.open), 'open point')}."
        return "INCOMPLETE", WARN, words.first_up(told)
    if not facts.finished or facts.open:
        left = "all steps are settled" if facts.finished else "not all steps are settled"
        if facts.unsettled:
            left = f"{_count(len(facts.unsettled), 'step')} not settled yet"
        told = f"{_count(len(facts.open), 'open point')}; {left}."
        return "INCOMPLETE", WARN, words.first_up(told)
    doubtful = sum(unverified(m) for m in facts.standing)
    rest = f" {_count(doubtful, 'reading')} rest on unverified defaults (†)." if doubtful else ""
    return (
        "COMPLETE",
        GOOD,
        f"All {len(judged)} readings with limits are within them; no open points.{rest}",
    )


def _count(number: int, noun: str) -> str:
    return f"{number or 'no'} {noun}{'' if number == 1 else 's'}"


# --- cover -------------------------------------------------------------------------------------


def cover(sheet: Sheet, facts: Facts, verdict: Verdict, names: Mapping[str, str]) -> None:
    """First page: which door, which panel, who, and where it stands."""
    job = facts.job
    sheet.bare = True
    sheet.add_page()
    sheet.bare = False
    with sheet.unread():
        sheet.box(MARGIN, 22, sheet.epw, 1.1, ACCENT)
    sheet.y = 29
    sheet.start_section("Cover", strict=False)
    with sheet.tagged("H1", title=facts.title):
        sheet.put(MARGIN, 37, Line(facts.title, 25, True, ACCENT))
    sheet.y = 41.5
    title = f"Door {job.get('door', '–')}, {door_type(job)}".rstrip(", ")
    sheet.paragraph(Text(title, 15), gap=0.5)
    sheet.paragraph(Text(str(job.get("site") or ""), 12, colour=GREY), gap=5)
    _box(sheet, *status(facts, verdict))
    first, last = facts.first, facts.last
    sheet.heading("Job", 2)
    pairs(
        sheet,
        [
            ("Job", facts.job_id),
            ("Work", "; ".join(_titles(facts))),
            ("Begun", words.day_and_time(first.wall) if first else "–"),
            ("Last entry", words.day_and_time(last.wall) if last else "–"),
            ("Length", _length(duration_s(facts))),
        ],
    )
    sheet.heading("Door and panel", 2)
    pairs(sheet, _identity(job))
    sheet.heading("People", 2)
    pairs(sheet, _people(facts, names))
    _caution(sheet)


def door_type(job: Mapping[str, Any]) -> str:
    """Kind of door in words."""
    kind = str(job.get("door_type") or "")
    return words.DOORS.get(kind, words.spaced(kind))


def _titles(facts: Facts) -> list[str]:
    pack = facts.plan.pack if facts.plan else None
    parts = getattr(pack, "parts", ())
    if parts:
        return [part.title for part in parts]
    return [pack.title if pack else str(facts.head.get("title") or facts.job_id)]


def _length(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60} min" if minutes >= 60 else f"{minutes} min"


def _identity(job: Mapping[str, Any]) -> list[tuple[str, str]]:
    supply, stored = job.get("supply") or {}, job.get("stored_energy") or {}
    earth = job.get("earth_conductor") or {}
    hazards = [f"{h.get('name')} ({h.get('kind')})" for h in job.get("hazards") or ()]
    options = [words.OPTIONS.get(o, words.spaced(o)) for o in job.get("options") or ()]
    mains = f"{words.spaced(supply.get('system'))}, {words.written(supply.get('nominal'))}"
    left = f"wait {stored.get('wait')} after switching off, by the label"
    return [
        ("Panel, type and serial no.", _labelled(job, "panel")),
        ("Motor or drive, serial no.", _labelled(job, "motor")),
        ("Supply", f"{mains}, {words.written(supply.get('frequency'))}"),
        ("Control voltage", words.written(job.get("control_voltage"))),
        ("Earth conductor", ", ".join(words.written(v) for v in earth.values())),
        ("Fitted", ", ".join(options)),
        ("Energy sources", ", ".join(job.get("energy_sources") or ())),
        ("Stored energy", left if stored.get("present") else "none"),
        ("Further hazards", ", ".join(hazards)),
        ("Rules taken", f"{job.get('code_set', '–')} code set"),
    ]


def _labelled(job: Mapping[str, Any], what: str) -> str:
    """Type and serial number if the job has them from the label, else a line to write on."""
    told = job.get("facts") or {}
    found = [str(told[key]) for key in (f"{what}-type", f"{what}-serial") if told.get(key)]
    return ", ".join(found) or "_" * 44


def labels(sheet: Sheet, facts: Facts) -> None:
    """What the job knows from sheets and labels."""
    told = [(k, v) for k, v in (facts.job.get("facts") or {}).items() if isinstance(v, str)]
    if not told:
        return
    sheet.heading("From sheets and labels", 2)
    cells = [
        (Cell(words.first_up(words.spaced(name)), colour=GREY), words.written(value))
        for name, value in told
    ]
    half = (len(cells) + 1) // 2
    rest = [*cells[half:], (Cell(""), "")]
    rows = [Row((*one, *other)) for one, other in zip(cells[:half], rest, strict=False)]
    columns = (Column("What", 46), Column("Value", 41), Column("What", 46), Column("Value", 41))
    table(sheet, columns, rows)


def _people(facts: Facts, names: Mapping[str, str]) -> list[tuple[str, str]]:
    rows = []
    for role in dict.fromkeys((*(facts.job.get("people") or ()), *names)):
        tags = dict.fromkeys(lock.tag for lock in facts.locks if lock.person == role)
        tagged = f"lock tag {', '.join(tags)}" if tags else ""
        said = ", ".join(filter(None, (names.get(role, ""), tagged)))
        rows.append((words.first_up(words.spaced(role)), said or "no name entered"))
    return rows


def _box(sheet: Sheet, word: str, colour: Colour, sentence: str) -> None:
    lines = broken(Text(sentence, 10.5), sheet.epw - 12)
    height = 12 + sum(line.height for line in lines)
    sheet.need(height)
    with sheet.unread():
        sheet.box(MARGIN, sheet.y, sheet.epw, height, TINT)
        sheet.box(MARGIN, sheet.y, 1.6, height, colour)
    with sheet.tagged("P"):
        sheet.put(MARGIN + 6, sheet.y + 7, Line(word, 14, True, colour))
        y = sheet.y + 8.5
        for line in lines:
            sheet.put(MARGIN + 6, y + line.height * 0.74, line)
            y += line.height
    sheet.y += height + 3


def _caution(sheet: Sheet) -> None:
    lines = broken(Text(CAUTION, 8.6, colour=GREY), sheet.epw)
    height = sum(line.height for line in lines)
    sheet.need(height + 4)
    sheet.y = max(sheet.y + 2, sheet.bottom - height - 1)
    with sheet.tagged("P"):
        for line in lines:
            sheet.put(MARGIN, sheet.y + line.height * 0.74, line)
            sheet.y += line.height


# --- summary -----------------------------------------------------------------------------------


def summary(sheet: Sheet, facts: Facts, verdict: Verdict) -> None:
    """Verdict in numbers, and what is open."""
    sheet.next_page()
    sheet.heading("Summary")
    _box(sheet, *status(facts, verdict))
    standing = facts.standing
    failed = [m for m in standing if m.failed]
    stale = [m for m in facts.measures if m.out_of_date]
    marked = [m for m in standing if unverified(m)]
    pairs(
        sheet,
        [
            ("Readings", f"{len(standing)} that stand, {len(facts.measures)} taken in all"),
            ("Within limits", str(sum(m.verdict == "pass" for m in standing))),
            ("Outside limits", str(len(failed)) if failed else "none"),
            ("Without a limit", str(sum(m.verdict == "none" for m in standing))),
            ("Open points", str(len(facts.open)) if facts.open else "none"),
            ("Isolation proofs lost", str(len(facts.of("void"))) if facts.of("void") else "none"),
            (
                "Instruments out of date",
                f"{len(stale)} readings with {', '.join(sorted({m.instrument for m in stale}))}"
                if stale
                else "none",
            ),
            ("Unverified defaults", f"{len(marked)} readings, marked †" if marked else "none"),
        ],
        label=54,
    )
    if failed:
        sheet.heading("Readings outside their limits", 2)
        rows = [
            Row(
                (
                    str(m.at.seq),
                    Cell(facts.label(m.step), m.name),
                    value_of(m),
                    words.limits(m.bounds),
                )
            )
            for m in failed
        ]
        columns = (Column("Entry", 12), Column("Reading", 80), Column("Value", 30, True))
        table(sheet, (*columns, Column("Limit", 40)), rows)
    sheet.heading("Open points", 2)
    if not facts.open:
        sheet.paragraph("None.")
        return
    causes = {"unable": "not carried out", "failed": "outside limits", "carried": "carried on"}
    table(
        sheet,
        (Column("Entry", 12), Column("Step", 70), Column("What", 28), Column("Reason", 60)),
        [
            Row(
                (
                    str(p.at.seq),
                    Cell(facts.label(p.step), p.step),
                    causes.get(p.cause, words.spaced(p.cause)),
                    p.reason or "no reason was given",
                )
            )
            for p in facts.open
        ],
    )


def unverified(measure: Measure) -> bool:
    """True if a default behind the value or its limit was never checked against its standard."""
    warnings = (*measure.warnings, *((measure.bounds or {}).get("warnings") or ()))
    return any("unverified" in str(each) for each in warnings)


def value_of(measure: Measure) -> str:
    """A reading's value in print; computed ones to four digits."""
    if measure.value is None:
        return words.spaced(measure.special) or "no value"
    return words.quantity(measure.value, measure.unit, 4 if measure.derived else 0)


# --- readings ----------------------------------------------------------------------------------

# Shares are millimetres on A4: none of "OUTSIDE", a date or a usual limit is broken.
COLUMNS = (
    Column("Entry", 10.5),
    Column("Reading", 39.5),
    Column("Value", 20.5, True),
    Column("Limit", 25),
    Column("Verdict", 15.5),
    Column("Source of the limit", 41.5),
    Column("Instrument", 21.5),
)


def readings(sheet: Sheet, facts: Facts) -> None:
    """Every value that was ever taken, in order, with what it had to meet."""
    sheet.heading("Readings", keep=40)
    if not facts.measures:
        sheet.paragraph("No reading was taken.")
        return
    sheet.paragraph(
        "Values as they were said. Computed values and limits are printed with four digits and "
        "judged unrounded. A dagger (†) marks a default that nobody has checked against its "
        "standard: confirm it with the adopted code."
    )
    rows: list[Row] = []
    section = None
    for each in facts.measures:
        if facts.section(each.step) != section:
            section = facts.section(each.step)
            rows.append(Row(group=section))
        rows.append(_reading(facts, each))
    table(sheet, COLUMNS, rows)


def _reading(facts: Facts, each: Measure) -> Row:
    word, colour = VERDICTS.get(each.verdict, (each.verdict, INK))
    stands = each.replaced is None
    instrument = each.instrument or ("computed" if each.derived else "–")
    due = f"due {words.day(each.due)}" if each.due else ""
    if each.instrument and not each.due:
        due = "no calibration date"
    below = f"{each.name}, {words.clock(each.at.wall)}"
    below += "" if stands else f", replaced by entry {each.replaced}"
    ink = INK if stands else GREY
    dagger = " †" if unverified(each) else ""
    source = (each.bounds or {}).get("source") or step_source(facts, each.step)
    return Row(
        (
            Cell(str(each.at.seq), colour=GREY),
            Cell(facts.label(each.step), below, colour=ink),
            Cell(value_of(each), bold=stands, colour=ink),
            Cell(words.limits(each.bounds) + dagger, colour=ink),
            Cell(word, bold=each.verdict == "fail", colour=colour if stands else GREY),
            Cell(words.signed(str(source)) or "–", colour=ink),
            Cell(f"{instrument}: OUT OF DATE" if each.out_of_date else instrument, due,
                 bold=each.out_of_date, colour=BAD if each.out_of_date else ink),
        )
    )  # fmt: skip


def step_source(facts: Facts, step_id: str) -> str:
    """A step's own source, "" if it has none."""
    step = facts.step(step_id)
    if step is None or step.source is None or facts.plan is None:
        return ""
    found = facts.plan.pack.sources.get(step.source.ref)
    title = found.title if found else step.source.ref
    return f"{title}, {step.source.section}" if step.source.section else title
