"""The next service of a door as an iCalendar file (RFC 5545)."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from icalendar import Alarm, Calendar, Event

from assistant.errors import RecordError
from assistant.records.history import SERVICE_DAYS, due_of
from assistant.records.store import Store

REMIND_DAYS = 14


def export_ics(store: Store, job_id: str, *, days: int = SERVICE_DAYS) -> bytes:
    """One all-day event on the day the job's door is due, with a reminder two weeks before.

    The same log gives the same bytes: the stamp is the time of the last entry.

    Raises
    ------
    RecordError
        If there is no such job, or its first entry was redacted, so that it has no door.
    """
    store.head(job_id)
    (job,) = store.query("SELECT * FROM jobs_of_door WHERE job = ?", [job_id])
    stamp = datetime.fromisoformat(job["ended"])
    found = due_of(store, job, stamp.date(), days)
    if not found.door:
        raise RecordError(f"job '{job_id}' says no door, so there is nothing to put in a calendar")
    day = date.fromisoformat(found.due)
    about = [
        f"Door {found.door} at {found.site}. {found.reason[:1].upper()}{found.reason[1:]}.",
        f"Last job: {job_id}, {found.last}, {found.open_points} open points.",
        f"Chain head of its record: {job['hash']}",
    ]
    event = Event()
    event.add("uid", f"{job_id}@thirdhand")
    event.add("dtstamp", stamp)
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("summary", f"Service due: door {found.door}, {found.site}")
    event.add("location", found.site)
    event.add("description", "\n".join(about))
    event.add("transp", "TRANSPARENT")
    reminder = Alarm()
    reminder.add("action", "DISPLAY")
    reminder.add("description", f"Service of door {found.door} is due on {found.due}")
    reminder.add("trigger", timedelta(days=-REMIND_DAYS))
    event.add_component(reminder)
    calendar = Calendar()
    calendar.add("prodid", "-//Thirdhand//Record//EN")
    calendar.add("version", "2.0")
    calendar.add_component(event)
    made: bytes = calendar.to_ical()
    return made
