"""The commissioning record and the customer's page as PDF, from the log alone.

The same log gives the same bytes: the file's date is the last entry's wall time unless another is
given, and there is no clock, no path and no chance in here. Knows nothing of files but its fonts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from pydantic import ValidationError

from assistant.errors import RecordError, ThirdhandError
from assistant.procedure import gates, inputs, machine
from assistant.procedure.model import Plan
from assistant.records.report import back, customer, front, sums, visits, words, work
from assistant.records.report.facts import Facts, gather
from assistant.records.report.page import Paper, Sheet
from assistant.records.report.photos import Photo, kept_photos, photos
from assistant.records.report.searches import Search, searches
from assistant.records.store import Store
from assistant.records.verify import clock_jumps, verify

__all__ = ["Photo", "commissioning_record", "customer_page"]

PAPERS: tuple[Paper, ...] = ("A4", "Letter")


def commissioning_record(
    store: Store,
    job_id: str,
    plan: Plan | None = None,
    *,
    paper: Paper = "A4",
    date: datetime | None = None,
    pictures: Sequence[Photo] | None = None,
    names: Mapping[str, str] | None = None,
    faults: Sequence[Search] = (),
) -> bytes:
    """The record of a job as a PDF file.

    Parameters
    ----------
    store : Store
    job_id : str
    plan : Plan, optional
        What the texts of the job's head bind to; without it steps go by their ids.
    paper : "A4" or "Letter"
    date : datetime, optional
        Date of the file; the last entry's wall time if left out.
    pictures : sequence of Photo
        In the order in which they are to be printed; those kept in the record if left out.
    names : mapping, optional
        Role -> name, only as the crew entered it.
    faults : sequence of searches.Search
        Faults that were looked for; `finding.searches` reads them from the log.

    Raises
    ------
    RecordError
        If there is no such job, or an entry can't be read.
    """
    entries = list(store.entries(job_id))
    facts = gather(job_id, store.head(job_id), entries, plan)
    verdict = verify(store, job_id)
    named = {words.plain(role): words.plain(name) for role, name in (names or {}).items() if name}
    facts.passed_over, facts.unsettled = _left(plan, entries)
    title = f"{facts.title}, {_where(facts)}"
    sheet = _sheet(paper, title, facts, date, f"Chain head {verdict.head_hash[:8]}")
    front.cover(sheet, facts, verdict, named)
    front.summary(sheet, facts, verdict)
    visits.visit(sheet, facts)
    searches(sheet, faults)
    front.labels(sheet, facts)
    front.readings(sheet, facts)
    sums.figures(sheet, facts)
    sums.sums(sheet, facts)
    work.lockout(sheet, facts)
    work.wiring(sheet, facts)
    work.settings(sheet, facts)
    work.deviations(sheet, facts)
    work.remarks(sheet, facts)
    kept = kept_photos(store, facts, entries) if pictures is None else pictures
    photos(sheet, facts, kept)
    work.training(sheet, facts)
    back.instruments(sheet, facts)
    jumps = [jump.why for jump in clock_jumps(store, job_id)]
    back.ground(sheet, facts, verdict, store.signatures(job_id), jumps)
    back.sign_off(sheet, facts, named, verdict.head_hash)
    return sheet.finish()


def customer_page(
    store: Store,
    job_id: str,
    plan: Plan | None = None,
    *,
    paper: Paper = "A4",
    date: datetime | None = None,
) -> bytes:
    """One page for the customer in plain words, by what the door has. As above otherwise."""
    facts = gather(job_id, store.head(job_id), store.entries(job_id), plan)
    title = f"Your door, {_where(facts)}"
    foot = "Customer's page"
    return customer.draw(lambda: _sheet(paper, title, facts, date, foot), facts).finish()


def _where(facts: Facts) -> str:
    return f"{facts.job.get('site') or facts.job_id}, door {facts.job.get('door') or '–'}"


def _sheet(paper: Paper, title: str, facts: Facts, date: datetime | None, foot: str) -> Sheet:
    if paper not in PAPERS:
        raise RecordError(f"paper '{paper}' is not known; use {' or '.join(PAPERS)}")
    made = date or (words.when(facts.last.wall) if facts.last else None)
    made = made or datetime(2000, 1, 1, tzinfo=UTC)
    version = str(facts.head.get("thirdhand") or "")
    sheet = Sheet(paper, title, made, title, f"{foot} · {facts.job_id} · Thirdhand {version}")
    sheet.set_subject("Readings, lockout history and settings of a powered door's control panel")
    sheet.set_author("Thirdhand")
    sheet.set_creator(f"Thirdhand {version}".strip())
    sheet.set_producer("Thirdhand, fpdf2")
    sheet.set_keywords(f"{facts.job_id}, {facts.job.get('door') or ''}")
    return sheet


def _left(plan: Plan | None, entries: Iterable[Any]) -> tuple[list[str], list[str]]:
    """Steps that were passed over, and steps that aren't settled at the log's end."""
    if plan is None:
        return [], []
    try:
        events = [
            inputs.Event.model_validate(entry.body["event"])
            for entry in entries
            if "event" in entry.body
        ]
        run = machine.replay(plan, events)
    except (ValidationError, ThirdhandError, KeyError, TypeError, ValueError):
        return [], []  # texts were taken out, or another version wrote it: the rest still prints
    over = [step.id for step in plan.steps if run.marks.get(step.id) == "passed-over"]
    open_ = [step.id for step in plan.steps if not gates.settled(plan, run, step)]
    return over, open_
