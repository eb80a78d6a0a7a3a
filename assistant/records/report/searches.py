"""Faults that were looked for in this job: what was seen, checked, found, repaired and tested."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from assistant.records.report import words
from assistant.records.report.page import Sheet
from assistant.records.report.table import Cell, Column, Row, table


class Looked(Protocol):
    """A check with its answer in words; outcome "": left out, with `reason`."""

    @property
    def outcome(self) -> str: ...
    @property
    def clause(self) -> str: ...
    @property
    def value(self) -> str: ...
    @property
    def check(self) -> str: ...
    @property
    def reason(self) -> str: ...


class Search(Protocol):
    """One search, as `assistant.faults.found` tells it; the record itself knows no fault guide."""

    @property
    def seq(self) -> tuple[int, int]: ...
    @property
    def symptom(self) -> str: ...
    @property
    def looked(self) -> Sequence[Looked]: ...
    @property
    def cause(self) -> str: ...
    @property
    def fix(self) -> str: ...
    @property
    def repaired(self) -> bool: ...
    @property
    def retests(self) -> Sequence[tuple[str, str]]: ...
    @property
    def not_ruled_out(self) -> Sequence[str]: ...
    @property
    def solved(self) -> bool: ...


def searches(sheet: Sheet, rows: Sequence[Search]) -> None:
    """A heading and a table for each search; without one, nothing."""
    if not rows:
        return
    sheet.heading("Faults looked for", keep=40)
    for each in rows:
        sheet.heading(words.first_up(each.symptom or "Nothing was said to be seen"), 2)
        if each.looked:
            table(sheet, (Column("Check", 60), Column("What was found", 114)), _looked(each))
        for line in _told(each):
            sheet.paragraph(line, gap=1)


def _looked(search: Search) -> list[Row]:
    return [
        Row((words.first_up(words.spaced(look.check)), Cell(_answer(look))))
        for look in search.looked
    ]


def _answer(look: Looked) -> str:
    if not look.outcome:
        return f"left out: {look.reason or 'no reason was given'}"
    found = words.first_up(look.clause)
    return f"{found} ({look.value})" if look.value else found


def _told(search: Search) -> list[str]:
    first, last = search.seq
    if not search.cause:
        return [f"No cause was found (entries {first} to {last})."]
    lines = [f"Cause: {search.cause}. Entries {first} to {last}."]
    lines.append(f"Repair: {search.fix}" if search.repaired else "Not said to be repaired.")
    tests = "; ".join(f"{words.spaced(ref)} {state}" for ref, state in search.retests)
    if tests:
        lines.append(f"Tests after it: {tests}.")
    if search.not_ruled_out:
        lines.append(f"Not ruled out: {'; '.join(search.not_ruled_out)}.")
    if not search.solved:
        lines.append("Not settled: the search did not end with every test passed.")
    return lines
