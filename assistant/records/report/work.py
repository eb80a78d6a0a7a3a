"""The record's middle part: lockout, wiring, settings, deviations, remarks, training."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from typing import Any

from assistant.procedure.model import Step
from assistant.records.report import words
from assistant.records.report.facts import Answer, Facts, Measure
from assistant.records.report.front import VERDICTS, value_of
from assistant.records.report.page import GREY, INK, Sheet
from assistant.records.report.table import Cell, Column, Row, table

PROOFS = ("tester-before", "dead", "stored", "tester-after")
# Readings that are a setting of the panel and not a property of the door: it is what they are
# called. (common practice, no source)
_SETTING = re.compile(
    r"guard|timer|dwell|auto-?close|delay|disable|limit|position|setting|speed|ramp|threshold"
)
_SET = re.compile(r"limits?-set|positions?-set|auto-?close|dwell|timer|speed")
_TAUGHT = re.compile(r"train|hand(ing|ed)?-?over|shown|instruct|customer")


def lockout(sheet: Sheet, facts: Facts) -> None:
    """Who was locked on, how it was proven dead, what voided it, what the gates refused."""
    sheet.heading("Lockout history", keep=40)
    if not (facts.locks or facts.of("state", "void")):
        sheet.paragraph("No isolation was part of this job.")
        return
    _locks(sheet, facts)
    _states(sheet, facts)
    _proofs(sheet, facts)
    _voids(sheet, facts)
    refused = facts.of("refused")
    sheet.heading("What the gates refused", 2)
    if not refused:
        sheet.paragraph("Nothing.")
        return
    columns = (Column("Entry", 11), Column("Time", 17), Column("Said by", 17))
    rows = [
        Row((str(r.at.seq), words.clock(r.at.wall), r.at.who, facts.label(r.step), r.text))
        for r in refused
    ]
    table(sheet, (*columns, Column("At step", 50), Column("What was missing", 85)), rows)


def _locks(sheet: Sheet, facts: Facts) -> None:
    sheet.heading("Locks", 2)
    if not facts.locks:
        sheet.paragraph("No lock was put on.")
        return
    rows = []
    for lock in facts.locks:
        ended = lock.ended or "still on at the last entry"
        rows.append(
            Row(
                (
                    words.first_up(lock.person),
                    Cell(lock.tag, bold=True),
                    Cell(words.day_and_time(lock.on.wall), f"entry {lock.on.seq}"),
                    Cell(
                        words.day_and_time(lock.off.wall) if lock.off else "–",
                        f"entry {lock.off.seq}" if lock.off else "",
                    ),
                    ended,
                )
            )
        )
    columns = (Column("Who", 22), Column("Tag", 18), Column("From", 40), Column("To", 40))
    table(sheet, (*columns, Column("How it ended", 54)), rows)


def _states(sheet: Sheet, facts: Facts) -> None:
    sheet.heading("Energy state", 2)
    rows = [
        Row(
            (
                str(t.at.seq),
                words.day_and_time(t.at.wall),
                Cell(words.STATES.get(t.text, t.text), bold=t.text == "proven-dead"),
                t.at.who,
            )
        )
        for t in facts.of("state")
    ]
    if not rows:
        sheet.paragraph("Unknown, taken as live, from the first entry to the last.")
        return
    columns = (Column("Entry", 11), Column("When", 50), Column("State from then on", 60))
    table(sheet, (*columns, Column("Said by", 53)), rows)


def _proofs(sheet: Sheet, facts: Facts) -> None:
    def proves(each: Measure) -> bool:
        step = facts.step(each.step)
        kind = step.proves if step else each.name.partition(".")[0]
        return kind in (*PROOFS, "bus")

    sheet.heading("Proof readings", 2)
    rows = [
        Row(
            (
                str(m.at.seq),
                words.clock(m.at.wall),
                Cell(facts.label(m.step), m.name),
                Cell(value_of(m), bold=True),
                words.limits(m.bounds),
                Cell(
                    VERDICTS.get(m.verdict, ("", INK))[0],
                    bold=m.verdict == "fail",
                    colour=VERDICTS.get(m.verdict, ("", INK))[1],
                ),
                m.instrument or "–",
            )
        )
        for m in facts.measures
        if proves(m)
    ]
    if not rows:
        sheet.paragraph("None.")
        return
    columns = (Column("Entry", 11), Column("Time", 17), Column("Between", 60))
    more = (Column("Value", 24, True), Column("Limit", 24), Column("Verdict", 18))
    table(sheet, (*columns, *more, Column("Instrument", 24)), rows)


def _voids(sheet: Sheet, facts: Facts) -> None:
    sheet.heading("Proofs that were lost", 2)
    rows = []
    for each in facts.of("void"):
        text, _, was = each.text.partition("|")
        rows.append(
            Row(
                (
                    str(each.at.seq),
                    words.day_and_time(each.at.wall),
                    Cell(words.first_up(text), bold=True),
                    words.STATES.get(was, was),
                    each.at.who,
                )
            )
        )
    if not rows:
        sheet.paragraph("None.")
        return
    columns = (Column("Entry", 11), Column("When", 42), Column("Cause", 66))
    table(sheet, (*columns, Column("State that was lost", 36), Column("Said by", 19)), rows)


# --- wiring and settings -----------------------------------------------------------------------


def wiring(sheet: Sheet, facts: Facts) -> None:
    """The terminal plan, and what was answered for each of its lines."""
    terminals = [t for t in facts.job.get("terminals") or () if isinstance(t, Mapping)]
    if not terminals:
        return
    sheet.heading("As wired", keep=40)
    sheet.paragraph(
        "From the terminal plan of the job, with the steps that were answered for each line. "
        "Where nothing was answered the line is planned and not confirmed."
    )
    answers: dict[str, Answer] = {each.step: each for each in facts.answers}
    more = [k for k in ("core", "cable") if any(t.get(k) for t in terminals)]
    rows: list[Row] = []
    device = None
    for each in terminals:
        if each.get("device") != device:
            device = each.get("device")
            rows.append(Row(group=words.first_up(words.spaced(device))))
        rows.append(_terminal(facts, each, more, answers))
    columns = [Column("Conductor", 27), Column("Terminal", 20)]
    columns += [Column(words.first_up(name), 20) for name in more]
    columns += [Column("Class", 17), Column("Torque", 18), Column("Confirmed by", 88)]
    table(sheet, columns, rows)


def _terminal(
    facts: Facts, line: Mapping[str, Any], more: list[str], answers: Mapping[str, Answer]
) -> Row:
    done = [
        f"{facts.label(s.id)} (entry {answers[s.id].at.seq})"
        for s in (facts.plan.steps if facts.plan else ())
        if _about(s, line) and s.id in answers
    ]
    role = str(line.get("role") or "conductor")
    below = "" if role == "conductor" else role
    if line.get("earthed_at"):
        below += f", earthed at {line['earthed_at']}"
    cells: list[Cell | str] = [
        Cell(str(line.get("conductor") or ""), below, bold=True),
        str(line.get("terminal") or "–"),
    ]
    cells += [str(line.get(name) or "–") for name in more]
    cells += [str(line.get("voltage_class") or "–"), words.written(line.get("torque")) or "–"]
    cells.append(Cell("; ".join(done) or "not confirmed", colour=INK if done else GREY))
    return Row(cells)


def _about(step: Step, line: Mapping[str, Any]) -> bool:
    kind, _, device = (step.for_each or "").partition(":")
    if kind not in ("terminal", "shield") or device != line.get("device"):
        return False
    return step.item == line.get("conductor")


def settings(sheet: Sheet, facts: Facts) -> None:
    """What is left in the panel, for the next visit."""
    found = [m for m in facts.standing if not m.derived and _SETTING.search(m.name)]
    kept = [a for a in facts.answers if _SET.search(a.step) and not a.tag]
    sheet.heading("Settings left in the panel", keep=30)
    if not (found or kept):
        sheet.paragraph("No setting was read out in this job.")
    columns = (Column("Entry", 11), Column("Setting", 80), Column("Left at", 30, True))
    rows = [
        Row((str(m.at.seq), Cell(facts.label(m.step), m.name), Cell(value_of(m), bold=True),
             words.limits(m.bounds)))
        for m in found
    ]  # fmt: skip
    rows += [
        Row((str(a.at.seq), Cell(facts.label(a.step), a.step), Cell(a.text, bold=True), "–"))
        for a in kept
    ]
    if rows:
        table(sheet, (*columns, Column("May be", 50)), rows)
    told = any("close" in m.name or "dwell" in m.name for m in found)
    if "auto-close" in (facts.job.get("options") or ()) and not told:
        sheet.paragraph("Automatic closing is fitted; its time was not read out in this job.")


# --- deviations, remarks, training -------------------------------------------------------------


def deviations(sheet: Sheet, facts: Facts) -> None:
    """What went another way than planned, with the reason."""
    sheet.heading("Deviations", keep=30)
    rows = [*_points(facts), *_outside(facts), *_holds(facts)]
    rows.sort(key=lambda row: row[0])
    rows += [
        (0, "–", facts.label(s), "passed over: an answer led past it") for s in facts.passed_over
    ]
    if rows:
        columns = (Column("Entry", 12), Column("Who", 18), Column("Step", 62))
        table(
            sheet,
            (*columns, Column("What, and why", 80)),
            [Row((str(seq or "–"), who, step, what)) for seq, who, step, what in rows],
        )
    else:
        sheet.paragraph("None.")
    unsettled = facts.unsettled
    if unsettled:
        sheet.heading("Not reached", 2)
        sheet.paragraph(f"{len(unsettled)} steps are not settled:", gap=1)
        sections = Counter(facts.section(each) for each in unsettled)
        for section, count in sections.items():
            first = next(each for each in unsettled if facts.section(each) == section)
            rest = f" and {count - 1} more" if count > 1 else ""
            sheet.item(f"{section}: {facts.label(first)}{rest}")


_CAUSES = {
    "unable": "unable: ",
    "failed": "outside limits, noted: ",
    "carried": "left open by an earlier visit, carried on: ",
}
_Row = tuple[int, str, str, str]


def _points(facts: Facts) -> list[_Row]:
    rows = []
    for p in facts.points:
        what = _CAUSES.get(p.cause, f"{words.spaced(p.cause)}: ")
        what += p.reason or "no reason was given"
        what += f"; settled by entry {p.closed.seq}" if p.closed else "; open"
        rows.append((p.at.seq, p.at.who, facts.label(p.step), what))
    return rows


def _outside(facts: Facts) -> list[_Row]:
    rows = []
    for m in facts.measures:
        if m.verdict != "fail" and m.replaced is None:
            continue
        what = value_of(m)
        if m.verdict == "fail":
            what += f", limit {words.limits(m.bounds)}, outside"
        what += f"; replaced by entry {m.replaced}" if m.replaced else "; stands"
        rows.append((m.at.seq, m.at.who, facts.label(m.step), what))
    return rows


def _holds(facts: Facts) -> list[_Row]:
    names = {"stop-work": "stop work", "stand-by": "stand by"}
    rows = []
    for t in facts.of("held", "handed-over", "restarted", "person-joined", "crew-changed"):
        if t.kind == "held":
            what = f"{names.get(t.text, t.text)} was called: everything waited"
        elif t.kind == "restarted":
            what = "the program was started again"
        elif t.kind == "handed-over":
            what = t.text
        else:
            what = f"{words.spaced(t.kind)}: {t.text}"
        if t.text != "stand-by":
            rows.append((t.at.seq, t.at.who, "–", what))
    return rows


def remarks(sheet: Sheet, facts: Facts) -> None:
    """Dictated notes, as the best transcript has them."""
    notes = facts.of("note")
    if not notes:
        return
    sheet.heading("Remarks", keep=30)
    columns = (Column("Entry", 12), Column("Time", 18), Column("Who", 18))
    rows = [
        Row((str(n.at.seq), words.clock(n.at.wall), n.at.who, n.text or "(no words)"))
        for n in notes
    ]
    table(sheet, (*columns, Column("Remark", 126)), rows)


def _said(facts: Facts, step_id: str) -> str:
    step = facts.step(step_id)
    return step.say if step else facts.label(step_id)


def training(sheet: Sheet, facts: Facts) -> None:
    """What was shown to whom, by the steps that say so."""
    sheet.heading("Training given", keep=30)
    taught = []
    for each in facts.answers:
        step = facts.step(each.step)
        where = f"{step.section} {step.id}" if step else each.step
        if _TAUGHT.search(where.replace(" ", "-")):
            taught.append(each)
    if not taught:
        sheet.paragraph("No step of this job was about training; nothing was recorded.")
        return
    columns = (Column("Entry", 12), Column("When", 36), Column("Said by", 18))
    rows = [
        Row(
            (
                str(a.at.seq),
                words.day_and_time(a.at.wall),
                a.at.who,
                _said(facts, a.step),
                a.text,
            )
        )
        for a in taught
    ]
    table(sheet, (*columns, Column("What", 78), Column("Answer", 30)), rows)
