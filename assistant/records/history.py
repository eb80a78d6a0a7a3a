"""A door over the years: its jobs, how a reading went, and when it is due again.

When a trend is named stands in `calc.trends`. A visit is a job; of values taken again in one job
the last counts, corrections included. A value over range is no number: it is counted, left out.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from assistant.calc.trends import FEWEST, changed, in_words
from assistant.errors import RecordError, UnitError
from assistant.quantity import Quantity, same_dimension, unit
from assistant.records.store import Store

# A powered door is looked at once a year or oftener: common practice, no source.
SERVICE_DAYS = 365
SERVICE_READING = "next-service"  # days to the next service, as the calculator of that name gives


@dataclass(frozen=True)
class Visit:
    """A reading at one job. value: in the trend's unit, None where the meter had no number."""

    job: str
    wall: str
    seq: int
    value: float | None
    said: str
    at_least: float | None
    at_most: float | None
    verdict: str
    instrument: str


@dataclass(frozen=True)
class Trend:
    """A reading over the visits, oldest first, and what can honestly be said of it.

    claimed: does the sentence name a change? See the module text for the rule.
    """

    site: str
    door: str
    reading: str
    unit: str
    visits: tuple[Visit, ...]
    sentence: str
    claimed: bool


@dataclass(frozen=True)
class Due:
    """When a door is due. reason: what the date comes from; days_left: below zero if overdue."""

    site: str
    door: str
    job: str
    last: str
    due: str
    days_left: int
    reason: str
    open_points: int


# Which job is of which door is in its first entry; the rest of the view costs reading all of them.
_HEADS = """
    SELECT e.job, json_extract(e.body, '$.start.site') AS site,
        json_extract(e.body, '$.start.door') AS door, jobs.started_wall AS started
    FROM (SELECT job, seq, CASE WHEN json_valid(body) THEN body END AS body FROM entries) AS e
    JOIN jobs ON jobs.id = e.job WHERE e.seq = 1
    ORDER BY jobs.started_wall, e.job
"""

# --- jobs ----------------------------------------------------------------------------------------


def jobs_of_door(store: Store, door: str, site: str = "") -> list[dict[str, Any]]:
    """All jobs of a door, oldest first: the columns of the view, and counts.

    Raises
    ------
    RecordError
        If no job is of this door, or doors of several sites have this name; names what there is.
    """
    rows = store.query(_HEADS)
    named = [row for row in rows if same(row["door"], door)]
    found = [row for row in named if not site or same(row["site"], site)]
    if not found:
        doors = sorted({f"{row['door']} at {row['site']}" for row in rows if row["door"]})
        known = "; ".join(doors[:12]) or "none yet"
        at = f" at {site}" if site else ""
        raise RecordError(f"there is no job of a door '{door}'{at}; doors on record: {known}")
    sites = sorted({row["site"] for row in found})
    if len(sites) > 1:
        raise RecordError(f"there is a door '{door}' at {'; '.join(sites)}; name one with --site")
    return [_whole(store, row["job"]) for row in found]


def _whole(store: Store, job_id: str) -> dict[str, Any]:
    """A job's row of the view, and counts."""
    (row,) = store.query("SELECT * FROM jobs_of_door WHERE job = ?", [job_id])
    readings = last_readings(store, row["job"])
    row["readings"] = len(readings)
    row["failed"] = [name for name, each in readings.items() if each["verdict"] == "fail"]
    points = store.query("SELECT step FROM open_points WHERE job = ?", [row["job"]])
    row["open_points"] = [point["step"] for point in points]
    return row


def work_of(store: Store) -> list[dict[str, Any]]:
    """Job, site, door and start of every job, oldest first."""
    return store.query(_HEADS)


def same(a: str | None, b: str) -> bool:
    """True if two names of a site or door are one."""
    return (a or "").strip().casefold() == b.strip().casefold()


def last_readings(store: Store, job_id: str) -> dict[str, dict[str, Any]]:
    """A job's readings by name, the last of each."""
    return {row["name"]: row for row in store.readings(job_id)}


def answers(store: Store, job_id: str, steps: Collection[str]) -> list[tuple[str, str]]:
    """(step, answer) of these steps in the order they were done; "" where a step has no choice."""
    rows = store.query(
        "SELECT json_extract(x.value, '$.step') AS step, json_extract(x.value, '$.answer') AS said "
        "FROM entries AS e, json_each(CASE WHEN json_valid(e.body) THEN e.body END, '$.effects') "
        "AS x WHERE e.job = ? AND json_extract(x.value, '$.kind') IN ('taken', 'judged') "
        "ORDER BY e.seq, x.key",
        [job_id],
    )
    return [(row["step"], row["said"] or "") for row in rows if row["step"] in steps]


def search(store: Store, words: str, most: int = 100) -> list[dict[str, Any]]:
    """Entries in which the words stand, the newest first: in what was heard, said, noted, read.

    Words match in any case and in the order given; what was taken out is not found.
    """
    sign = "\\"
    pattern = words.strip()
    for special in (sign, "%", "_"):
        pattern = pattern.replace(special, sign + special)
    rows = store.query(
        "SELECT e.job, e.seq, e.wall, e.kind, group_concat(x.atom, ' | ') AS found "
        "FROM entries AS e, json_tree(CASE WHEN json_valid(e.body) THEN e.body END) AS x "
        "WHERE e.kind <> 'start' AND x.type = 'text' AND x.key <> '~sealed' "
        "AND x.atom LIKE ? ESCAPE '\\' "
        "GROUP BY e.job, e.seq ORDER BY e.wall DESC, e.seq DESC LIMIT ?",
        [f"%{pattern}%", most],
    )
    return [{**row, "found": " | ".join(dict.fromkeys(row["found"].split(" | ")))} for row in rows]


# --- trends --------------------------------------------------------------------------------------


def trend(store: Store, door: str, reading: str, site: str = "") -> Trend:
    """A reading of a door over all its jobs.

    Raises
    ------
    RecordError
        If there is no such door, or it never had such a reading; names those that it had.
    """
    jobs = jobs_of_door(store, door, site)
    taken: list[dict[str, Any]] = []
    known: set[str] = set()
    for job in jobs:
        readings = last_readings(store, job["job"])
        known |= readings.keys()
        if reading in readings:
            taken.append(readings[reading])
    if not taken:
        names = ", ".join(sorted(known)) or "none yet"
        raise RecordError(f"door '{door}' has no reading '{reading}'; it has: {names}")
    return trend_of(taken, reading, jobs[0]["site"], jobs[0]["door"])


def trend_of(rows: list[dict[str, Any]], reading: str, site: str, door: str) -> Trend:
    """The trend of rows of the view `readings`, oldest first, in the unit of the last number.

    Raises
    ------
    RecordError
        If a unit or number in it can't be read.
    """
    shown = next((row["unit"] for row in reversed(rows) if row["value"] is not None), "one")
    visits = tuple(_visit(row, shown) for row in rows)
    sentence, claimed = sentence_of(reading, visits, unit(shown).symbol)
    return Trend(site, door, reading, unit(shown).symbol, visits, sentence, claimed)


def _visit(row: dict[str, Any], shown: str) -> Visit:
    def at(value: Any, of: str) -> float | None:
        if value is None or not same_dimension(of, shown):
            return None
        return float(Quantity(Decimal(str(value)), of).to(shown).value)

    limit_unit = row["limit_unit"] or row["unit"]
    try:
        return Visit(
            job=row["job"],
            wall=row["wall"],
            seq=row["seq"],
            value=at(row["value"], row["unit"]),
            said=row["special"] or f"{row['value']} {unit(row['unit']).symbol}".strip(),
            at_least=at(row["at_least"], limit_unit),
            at_most=at(row["at_most"], limit_unit),
            verdict=row["verdict"],
            instrument=row["instrument"] or "",
        )
    except (UnitError, ArithmeticError) as error:
        raise RecordError(
            f"entry {row['seq']} of job '{row['job']}' can't be compared: {error}"
        ) from error


def sentence_of(reading: str, visits: tuple[Visit, ...], symbol: str) -> tuple[str, bool]:
    """What can be said of the visits, and whether it names a change."""
    values = [visit.value for visit in visits if visit.value is not None]
    name = reading.replace("-", " ").replace(".", " ")
    out = len(visits) - len(values)
    left = f" {out} without a number {'is' if out == 1 else 'are'} left out." if out else ""
    if len(values) < FEWEST:
        few = f"{len(values)} visit{'s' * (len(values) != 1)} with a value"
        return f"{name}: {few}, too few for a trend ({FEWEST} are needed).{left}", False
    first, last = values[0], values[-1]
    span = f"from {_plain(first)} to {_plain(last)} {symbol}".rstrip()
    count = f"{len(values)} visits"
    if min(values) <= 0:
        return f"{name}: {count}, with values at or below zero; see the plot.{left}", False
    if not changed(values):
        low, high = min(values), max(values)
        spread = f"between {_plain(low)} and {_plain(high)} {symbol}".rstrip()
        if low == high:
            spread = f"each time {_plain(low)} {symbol}".rstrip()
        return f"{name}: no trend in {count}, {spread}.{left}", False
    return f"{name} {in_words(values)} in {count}, {span}.{_limit(visits[-1], symbol)}{left}", True


def _plain(value: float) -> str:
    """Four digits, and no power of ten where a cycle counter stands: "376400"."""
    return f"{value:.0f}" if abs(value) >= 10_000 else f"{value:.4g}"


def _limit(last: Visit, symbol: str) -> str:
    """Where the last value stands against its limits."""
    if last.value is None or (last.at_least is None and last.at_most is None):
        return ""
    edges = [f"at least {last.at_least:.4g}"] if last.at_least is not None else []
    edges += [f"at most {last.at_most:.4g}"] if last.at_most is not None else []
    holds = "within" if last.verdict == "pass" else "OUTSIDE"
    return f" The last is {holds} its limits ({' and '.join(edges)} {symbol})."


# --- due -----------------------------------------------------------------------------------------


def due(
    store: Store, today: date, *, days: int = SERVICE_DAYS, within: int | None = None
) -> list[Due]:
    """Doors with the date of their next service, the most urgent first.

    Parameters
    ----------
    days : int
        Interval where no job of the door says another. [d]
    within : int
        Only doors that are due in so many days or less; all, if None. [d]
    """
    latest: dict[tuple[str, str], str] = {}
    for row in store.query(_HEADS):
        if row["door"]:
            latest[(row["site"] or "", row["door"])] = row["job"]
    found = []
    for job in latest.values():
        (row,) = store.query("SELECT * FROM jobs_of_door WHERE job = ?", [job])
        found.append(due_of(store, row, today, days))
    found = [each for each in found if within is None or each.days_left <= within]
    return sorted(found, key=lambda each: (each.due, each.site, each.door))


def due_of(store: Store, job: dict[str, Any], today: date, days: int = SERVICE_DAYS) -> Due:
    """When the door of a job (a row of `jobs_of_door`) is due after it."""
    ended = str(job["ended"] or job["started"])
    reason, interval = f"{days} days after the last job; no job says another interval", days
    said = last_readings(store, job["job"]).get(SERVICE_READING)
    if said and said["si_value"] is not None and said["si_unit"] == "s":
        interval = int(said["si_value"] // 86_400)
        reason = f"{interval} days, as entry {said['seq']} of the job says"
    try:
        last = date.fromisoformat(ended[:10])
    except ValueError as error:
        raise RecordError(
            f"job '{job['job']}' ended at {ended!r}, which is no date; "
            f"see 'thirdhand record verify {job['job']}'"
        ) from error
    when = last + timedelta(days=interval)
    points = store.query("SELECT count(*) AS n FROM open_points WHERE job = ?", [job["job"]])
    return Due(
        site=job["site"] or "",
        door=job["door"] or "",
        job=job["job"],
        last=last.isoformat(),
        due=when.isoformat(),
        days_left=(when - today).days,
        reason=reason,
        open_points=points[0]["n"],
    )
