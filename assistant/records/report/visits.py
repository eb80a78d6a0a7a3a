"""What makes the record of a visit: its readings beside those of earlier visits, points carried
over, wear by cycles and the next date, and what was found, changed and tested."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation
from typing import Any

from assistant.errors import RecordError, UnitError
from assistant.procedure.load import resolve
from assistant.procedure.model import CarriedPoint, History, Step
from assistant.quantity import Quantity, quantity
from assistant.records.history import SERVICE_READING, Trend, trend_of
from assistant.records.report import over_visits, words
from assistant.records.report.facts import Answer, Facts, Measure, Moment
from assistant.records.report.front import value_of
from assistant.records.report.page import BAD, GREY, INK, WARN, Sheet, Text
from assistant.records.report.table import Cell, Column, Row, table

SHOWN = 4  # earlier values that are printed; the plot has all
SAME = 0.02  # of the greatest value
LIFE = "next-service"  # calculator of whatever is due by cycles or by date


def visit(sheet: Sheet, facts: Facts) -> None:
    """The sections of a visit; nothing for a job that is none."""
    history = facts.history
    if history is None:
        return
    against(sheet, facts, history)
    carried(sheet, facts, history)
    wear(sheet, facts, history)
    done(sheet, facts)


# --- readings over the visits --------------------------------------------------------------------


def against(sheet: Sheet, facts: Facts, history: History) -> None:
    """Each reading beside those of earlier visits, with what can be said of it, and a plot."""
    sheet.heading("Against earlier visits", keep=30)
    if not history.visits:
        sheet.paragraph(
            "No earlier visit to this door is on record. The values of this one are what the next "
            "visit is held against."
        )
        return
    days = "; ".join(f"{each.on} ({each.job})" for each in history.visits)
    sheet.paragraph(Text(f"Earlier jobs at this door on record: {days}.", 9.2))
    now = {m.name: m for m in facts.standing}
    trends = [_trend(facts, history, m) for name, m in now.items() if name in history.readings]
    rows = [_beside(facts, now[each.reading], each) for each in trends]
    if rows:
        columns = (Column("Reading", 40), Column("Earlier visits", 38), Column("Now", 22, True))
        more = (Column("Since the last", 24, True), Column("Over the visits", 50))
        table(sheet, (*columns, *more), rows)
    else:
        sheet.paragraph("No reading of earlier visits was taken again.")
    gone = [name for name in history.readings if name not in now]
    if gone:
        told = [f"{words.spaced(n).replace('.', ' ')} ({_last(history, n)})" for n in gone]
        sheet.paragraph(Text(f"Not taken in this visit: {'; '.join(told)}.", 9.2, colour=WARN))
    plots = [each for each in trends if _moved(each)]
    if plots:
        sheet.heading("Readings over the visits", 2, keep=over_visits.HEIGHT_MM + 6)
        steady = f"Values that stayed within {100 * SAME:.0f} % of each other are not drawn."
        sheet.paragraph(Text(steady, 8.6, colour=GREY))
        over_visits.draw(sheet, [(facts.label(now[t.reading].step), t) for t in plots])


def _moved(trend: Trend) -> bool:
    values = [v.value for v in trend.visits if v.value is not None]
    return len(values) > 1 and max(values) - min(values) > SAME * max(map(abs, values))


def _last(history: History, name: str) -> str:
    found = history.readings[name][-1]
    value = found.special or words.quantity(found.value, found.unit)
    return f"{words.spaced(value)}, {found.on}"


def _trend(facts: Facts, history: History, now: Measure) -> Trend:
    rows: list[dict[str, Any]] = [
        {
            **each.model_dump(exclude={"on"}),
            "wall": each.on,
            "seq": 0,
            "instrument": "",
        }
        for each in history.readings[now.name]
    ]
    bounds = now.bounds or {}
    rows.append(
        {
            "job": facts.job_id,
            "wall": now.at.wall,
            "seq": now.at.seq,
            "value": now.value,
            "unit": now.unit,
            "special": now.special,
            "at_least": bounds.get("at_least"),
            "at_most": bounds.get("at_most"),
            "limit_unit": bounds.get("unit") or "",
            "verdict": now.verdict,
            "instrument": now.instrument,
        }
    )
    site, door = str(facts.job.get("site") or ""), str(facts.job.get("door") or "")
    try:
        return trend_of(rows, now.name, site, door)
    except RecordError:  # of another version: what was said is shown, nothing is compared
        plain = [{**row, "value": None, "special": row["special"] or "–"} for row in rows]
        return trend_of(plain, now.name, site, door)


def _beside(facts: Facts, now: Measure, trend: Trend) -> Row:
    *earlier, here = trend.visits
    more = f"and {len(earlier) - SHOWN} earlier" if len(earlier) > SHOWN else ""
    lines = [f"{v.wall[:10]}: {_written(v.value, v.said, trend.unit)}" for v in earlier[-SHOWN:]]
    steady = not _moved(replace(trend, visits=tuple(earlier)))
    if len(earlier) > 1 and steady and all(v.value is not None for v in earlier):
        value = _written(earlier[-1].value, earlier[-1].said, trend.unit)
        lines, more = [f"{value} at {len(earlier)} visits since {earlier[0].wall[:10]}"], ""
    before = earlier[-1].value
    change = "–"
    if before and here.value is not None:
        change = f"{words.number(round(Decimal((here.value - before) / before * 100)))} %"
        change = change if change[0] in "−0" else f"+{change}"
    unusual = str(facts.besides.get(now.name, {}).get("unusual") or "")
    sentence = trend.sentence.partition(": ")[2] if not trend.claimed else trend.sentence
    return Row(
        (
            Cell(facts.label(now.step), now.name),
            Cell("; ".join(lines), more),
            Cell(value_of(now), bold=True, colour=BAD if now.verdict == "fail" else INK),
            Cell(change, colour=WARN if unusual else INK, bold=bool(unusual)),
            Cell(words.signed(words.first_up(sentence)), unusual, bold=trend.claimed),
        )
    )


def _written(value: float | None, said: str, symbol: str) -> str:
    return words.quantity(value, symbol, 4) if value is not None else words.spaced(said)


# --- points, wear --------------------------------------------------------------------------------


def carried(sheet: Sheet, facts: Facts, history: History) -> None:
    """Points that earlier visits left, and what became of each."""
    sheet.heading("Open points of earlier visits", 2)
    if not history.points:
        sheet.paragraph("None was left.")
        return
    steps = [s for s in (facts.plan.steps if facts.plan else ()) if s.for_each == "carried-point"]
    by_number = {step.id.rpartition(".")[2]: step for step in steps}
    columns = (Column("Since", 20), Column("Point", 62), Column("Reason given", 46))
    rows = [
        Row((each.on, Cell(_point(each), each.job), each.reason or "–", _became(facts, step)))
        for number, each in enumerate(history.points, 1)
        for step in [by_number.get(str(number))]
    ]
    table(sheet, (*columns, Column("In this visit", 46)), rows)


def _point(each: CarriedPoint) -> str:
    return words.first_up(words.signed(each.told().rstrip(".")))


def _became(facts: Facts, step: Step | None) -> Cell:
    if step is not None:
        open_ = next((p for p in facts.open if p.step == step.id), None)
        if open_:
            return Cell("carried on", f"entry {open_.at.seq}", bold=True, colour=WARN)
        answer = next((a for a in reversed(facts.answers) if a.step == step.id), None)
        if answer:
            return Cell("settled", f"entry {answer.at.seq}")
    return Cell("not asked for: carried on", bold=True, colour=WARN)


def wear(sheet: Sheet, facts: Facts, history: History) -> None:
    """Cycle counter, what wears by cycles, and the date of the next service."""
    rows = [*_counter(facts, history), *_lives(facts)]
    sheet.heading("Wear by cycles, next service", 2)
    if not rows:
        sheet.paragraph("No cycles were read in this visit.")
        return
    columns = (Column("Entry", 12), Column("What", 58), Column("Value", 30, True))
    table(sheet, (*columns, Column("Comes to", 74)), rows)


def _counter(facts: Facts, history: History) -> Iterable[Row]:
    for m in facts.standing:
        if m.name == "cycle-count":
            before = [r for r in history.readings.get(m.name, ()) if r.value is not None]
            told = "first count on record"
            if before and before[-1].value is not None and m.value:
                run = Decimal(m.value) - before[-1].value
                told = f"{words.number(run)} since {before[-1].on}"
            yield _row(m, facts, told)
        elif m.name == "cycles-a-day":
            yield _row(m, facts, "mean since the last visit, every day counted")


def _row(m: Measure, facts: Facts, told: str) -> Row:
    below = m.name if m.verdict != "fail" else f"{m.name}, outside its limit"
    value = Cell(value_of(m), bold=True, colour=BAD if m.verdict == "fail" else INK)
    return Row((Cell(str(m.at.seq), colour=GREY), Cell(facts.label(m.step), below), value, told))


def _lives(facts: Facts) -> Iterable[Row]:
    for m in facts.standing:
        step = facts.step(m.step)
        spec = step.expects.derived if step else None
        if not (
            m.value and m.derived and (m.name == SERVICE_READING or (spec and spec.calc == LIFE))
        ):
            continue
        service = m.name == SERVICE_READING
        # As the list of due doors and the calendar file count: from the day the job was finished.
        told = f"due {_day(facts.ended or facts.last or m.at if service else m.at, m.value)}"
        if left := _cycles_left(facts, m, spec.given if spec else {}):
            told += f", {left}"
        yield _row(m, facts, told)


def _day(at: Moment, days: str) -> str:
    with suppress(ValueError, OverflowError, InvalidOperation):
        return (date.fromisoformat(at.wall[:10]) + timedelta(days=int(Decimal(days)))).isoformat()
    return "–"


def _cycles_left(facts: Facts, m: Measure, given: dict[str, str]) -> str:
    """Cycles to the interval or the end of life, from what the sum was given."""
    if facts.plan is None or "every-cycles" not in given:
        return ""
    readings = {each.name: Quantity(Decimal(each.value), each.unit)
                for each in facts.standing if each.value}  # fmt: skip
    with suppress(KeyError, UnitError, ArithmeticError):
        found = resolve(given, facts.plan.job, readings)
        every = quantity(found["every-cycles"]).value
        since = found.get("cycles-since")
        since = since.value if isinstance(since, Quantity) else Decimal(str(since or 0))
        left = max(every - since, Decimal(0))
        return f"{words.number(left)} cycles left of {words.number(every)}"
    return ""


# --- found, changed, tested ----------------------------------------------------------------------


def done(sheet: Sheet, facts: Facts) -> None:
    """What this visit found, changed and tested, from its answers, notes and readings."""
    for title, rows in (
        ("What was found", _found(facts)),
        ("What was changed", _changed(facts)),
        ("What was tested", _tested(facts)),
    ):
        sheet.heading(title, 2)
        if not rows:
            sheet.paragraph("Nothing is on record.")
            continue
        columns = (Column("Entry", 12), Column("At", 92))
        table(
            sheet,
            (*columns, Column("What", 70)),
            [Row((Cell(str(at.seq), colour=GREY), label, what)) for at, label, what in rows],
        )


_Rows = list[tuple[Moment, str, Cell]]
_PARTS = "svc-parts"  # the step that asks for what was changed


def _found(facts: Facts) -> _Rows:
    rows = [
        (n.at, facts.label(n.step) if n.step else "Note", Cell(n.text or "(no words)"))
        for n in facts.of("note")
        if n.step != _PARTS
    ]
    rows += [
        (
            m.at,
            facts.label(m.step),
            Cell(value_of(m), f"limit {words.limits(m.bounds)}", colour=BAD),
        )
        for m in facts.measures
        if m.verdict == "fail"
    ]
    rows += [
        (a.at, facts.label(a.step), Cell(a.text, bold=True))
        for a in facts.answers
        if _leads(facts, a, "-failed", "-fix")
    ]
    return sorted(rows, key=lambda row: row[0].seq)


def _leads(facts: Facts, answer: Answer, *ends: str) -> bool:
    """True if a choice was answered so that it led to a step whose id ends so."""
    step = facts.step(answer.step)
    targets = {words.spaced(k): v for k, v in ((step.expects.choice or {}) if step else {}).items()}
    return targets.get(answer.text, "").endswith(ends)


def _changed(facts: Facts) -> _Rows:
    rows = [
        (n.at, facts.label(n.step), Cell(n.text or "(no words)"))
        for n in facts.of("note")
        if n.step == _PARTS
    ]
    rows += [
        (a.at, facts.label(a.step), Cell(a.text))
        for a in facts.answers
        if a.text == "it was changed" or (a.step.endswith("-fix") and a.text != "start over")
    ]
    rows += [
        (m.at, facts.label(m.step), Cell(f"{value_of(was)}, then {value_of(m)}"))
        for m, was in _put_right(facts)
    ]
    return sorted(rows, key=lambda row: row[0].seq)


def _put_right(facts: Facts) -> Iterable[tuple[Measure, Measure]]:
    """Readings within limits that replaced one outside them."""
    for was in facts.measures:
        if was.verdict == "fail" and was.replaced:
            later = next((m for m in facts.measures if m.at.seq == was.replaced), None)
            if later and later.name == was.name and later.verdict == "pass":
                yield later, was


def _tested(facts: Facts) -> _Rows:
    """Each test that an answer passes, with its last answer, and readings counted by section."""
    last: dict[str, Answer] = {}
    for each in facts.answers:
        step = facts.step(each.step)
        # Talk and writing need no energy state; what is tried at the door does.
        if step and step.needs and step.expects.choice and (step.mark or step.judged_by_choice):
            last[each.step] = each
    rows = [
        (a.at, facts.label(a.step), Cell(a.text))
        for a in last.values()
        if a.text and not _leads(facts, a, "-failed", "-fix")
    ]
    within = [m for m in facts.standing if m.verdict == "pass"]
    if within:
        judged = sum(m.verdict != "none" for m in facts.standing)
        told = f"{len(within)} of {judged} within their limits"
        rows.append((within[-1].at, "Readings with limits", Cell(told)))
    return sorted(rows, key=lambda row: row[0].seq)
