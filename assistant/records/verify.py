"""Does a job's log hold: chain, seals, files; and did the clock jump while it was written."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any

from assistant.errors import RecordError
from assistant.records import chain
from assistant.records.entries import JobRow, Row
from assistant.records.store import Store, title_of

# What has no clock of the job's own: its `mono_s` repeats the entry before.
_TIMELESS = ("attachment", "redaction")
JUMP_S = 5.0  # wall times are whole seconds, and a crystal drifts by about one in a day's work


@dataclass(frozen=True)
class Verdict:
    """Whether a job's log is whole.

    ok: every entry fits the one before, none is missing. first_bad_seq: the first that doesn't
    fit, or None. why: what is wrong with it, "" if nothing. head_hash: hash of the last entry that
    fits, for the signed report. count: how many entries fit. redacted: entries from which
    something was taken out, each named by a redaction entry.
    """

    ok: bool
    first_bad_seq: int | None
    why: str
    head_hash: str
    count: int
    redacted: tuple[int, ...] = ()


@dataclass(frozen=True)
class Jump:
    """The wall clock and the monotonic clock disagree about the time since the entry before.

    seq: the first entry with the new wall time. by_s: how far the wall clock went ahead (above
    zero) or was set back (below). [s] why: in words.
    """

    seq: int
    wall: str
    by_s: float
    why: str


def verify(store: Store, job_id: str, anchor: str = "") -> Verdict:
    """Check a job's chain from its first entry on, and the files that belong to it.

    Parameters
    ----------
    store : Store
    job_id : str
    anchor : str
        Hash from a signed report, or its first digits (8 or more): some entry must have it. Only
        this, or a signature, finds a chain that was rewritten as a whole.

    Returns
    -------
    Verdict
        Names the first entry that was changed, removed, moved or added, or from which something
        was taken out that no redaction entry names.

    Raises
    ------
    RecordError
        If there is no such job or the file can't be read at all.
    """
    with store.one_moment():
        return _verify(store, job_id, anchor)


def _verify(store: Store, job_id: str, anchor: str) -> Verdict:
    job = store.job(job_id)
    rows = store.rows(job_id, distrust=True)
    hashes: list[str] = []
    redacted: list[int] = []

    def bad(seq: int, why: str) -> Verdict:
        head = hashes[min(seq - 1, len(hashes)) - 1] if seq > 1 and hashes else chain.FIRST
        return Verdict(False, seq, why, head, min(seq - 1, len(hashes)))

    if job["count"] < 1:
        return bad(1, "the kept length of the chain was removed or changed")
    for seq, row in enumerate(rows, start=1):
        why = _misfit(job_id, seq, row, hashes[-1] if hashes else chain.FIRST)
        if why:
            return bad(seq, why)
        if seq > job["count"]:
            return bad(seq, f"entry {seq} was added outside Thirdhand")
        hashes.append(row.hash)
        body = json.loads(row.body)
        gone = chain.redacted(body) if chain.MARK in row.body else ""
        if seq == 1 and gone != "everything":
            head = body.get("start") or {}
            if (row.wall, title_of(head, job_id)) != (job["started_wall"], job["title"]):
                return bad(1, "the job's title or start time was changed")
        if gone:
            redacted.append(seq)
    if len(hashes) < job["count"]:
        first = len(hashes) + 1
        which = (
            f"entry {first} is"
            if first == job["count"]
            else f"entries {first} to {job['count']} are"
        )
        return bad(first, f"{which} missing at the end")
    if hashes[-1] != job["hash"]:
        why = f"entry {len(hashes)} is not the one that was written last"
        return Verdict(False, len(hashes), why, hashes[-1], len(hashes))
    found = _unexplained(job, rows, redacted) or _wrong_file(store, job_id, rows)
    if found:
        return bad(*found)
    if anchor and (len(anchor) < 8 or not any(h.startswith(anchor.lower()) for h in hashes)):
        why = f"no entry has the hash {anchor} (8 digits or more are needed)"
        return Verdict(False, None, why, hashes[-1], len(hashes))
    return Verdict(True, None, "", hashes[-1], len(hashes), tuple(redacted))


def _misfit(job_id: str, seq: int, row: Row, previous: str) -> str:
    """Why a row can't be entry `seq` after `previous`; "" if it can."""
    if row.seq != seq:
        return f"entry {seq} is missing (entry {row.seq} follows entry {seq - 1})"
    if row.prev_hash != previous:
        return f"entry {seq} doesn't follow entry {seq - 1}: one of them was changed or moved"
    changed = f"entry {seq} was changed"
    try:
        body = json.loads(row.body)
        if chain.canonical(body) != row.body:
            return f"{changed}: its text is not as it was written"
        gone = row.seal is not None and chain.redacted(body) == "everything"
        if not gone and chain.kind_of(body) != row.kind:
            return f"{changed}: its kind is {row.kind}"
        if row.seal is not None and _seal(row, body, gone) != row.seal:
            return f"{changed}: its body doesn't fit its seal"
        if row.seal is None and row.salts is not None:
            return f"{changed}: its seal is gone"
        common: dict[str, Any] = dict(
            job=job_id, seq=row.seq, wall=row.wall, mono_s=row.mono_s, kind=row.kind
        )
        if row.seal is None:
            text = chain.entry_text(**common, body=row.body)
        else:
            text = chain.sealed_text(**common, seal=row.seal)
    except (RecordError, TypeError, ValueError, LookupError, AttributeError, RecursionError):
        return f"{changed}: it can't be read any more"
    if chain.link(previous, text) != row.hash:
        return f"{changed}: its hash doesn't fit"
    return ""


def _seal(row: Row, body: dict[str, Any], gone: bool) -> str:
    """The seal that a row's body and salts come to; "" if they aren't as they were written."""
    if gone:
        return str(body[chain.MARK]) if row.salts is None else ""
    salts = json.loads(row.salts)
    if chain.canonical(salts) != row.salts:
        return ""
    return chain.seal_of(body, salts)


def _unexplained(job: JobRow, rows: list[Row], redacted: Iterable[int]) -> tuple[int, str] | None:
    """The first entry with something taken out that no redaction entry names."""
    named = redactions(rows)
    for seq in redacted:
        told = named.get(seq, {})
        whole = chain.redacted(json.loads(rows[seq - 1].body)) == "everything"
        if not told or (whole and "everything" not in told):
            return seq, f"something was taken out of entry {seq}, and no redaction entry says so"
        if whole and seq == 1:
            title = told["everything"].get("title")
            if (title, rows[0].wall) != (job["title"], job["started_wall"]):
                return 1, "the job's title or start time was changed"
    return None


def redactions(rows: Iterable[Row]) -> dict[int, dict[str, dict[str, Any]]]:
    """Place of an entry -> what was taken out ("words", ...) -> the redaction that says so."""
    named: dict[int, dict[str, dict[str, Any]]] = {}
    for row in rows:
        if row.kind == "redaction":
            told = json.loads(row.body).get("redaction") or {}
            for seq in told.get("entries") or ():
                if seq < row.seq:
                    named.setdefault(seq, {})[told["what"]] = told
    return named


def _wrong_file(store: Store, job_id: str, rows: list[Row]) -> tuple[int, str] | None:
    """The first entry whose file is missing, changed, or not the one it tells of."""
    kept = store.attached(job_id)
    told = {row.seq: row for row in rows if row.kind == "attachment"}
    named = redactions(rows)
    for seq in sorted({*kept, *told}, key=str):
        if seq not in told:
            return min(int(seq), len(rows)) if isinstance(seq, int) else 1, (
                f"a file was added outside Thirdhand (place {seq})"
            )
        if seq not in kept:
            return seq, f"the file of entry {seq} is missing"
        data = store.attachment(job_id, seq)
        if data is None:
            if not named.get(seq, {}).keys() & {"clips", "photos", "everything"}:
                return seq, f"the file of entry {seq} is gone, and no redaction entry says so"
            continue
        about = json.loads(told[seq].body).get("attachment") or {}
        if sha256(data).hexdigest() != about.get("sha256"):
            return seq, f"the file of entry {seq} was changed"
    return None


# --- the clock -----------------------------------------------------------------------------------


def clock_jumps(store: Store, job_id: str, least_s: float = JUMP_S) -> list[Jump]:
    """Where the wall clock left the monotonic one while a job ran, in order.

    A restart begins a new comparison, because the monotonic clock doesn't run while the program is
    closed; only a wall time before the last one counts there.

    Parameters
    ----------
    least_s : float
        Differences up to this are none. [s]
    """
    found: list[Jump] = []
    offset: float | None = None
    last: datetime | None = None
    for row in store.rows(job_id):
        try:
            if row.kind in _TIMELESS:
                continue
            wall = datetime.fromisoformat(row.wall)
            if wall.tzinfo is None:
                wall = wall.astimezone()
            now = wall.timestamp() - float(row.mono_s)
        except (TypeError, ValueError):  # damaged; that is `verify`'s business
            continue
        if row.kind == "restarted":
            if last and (wall - last).total_seconds() < -least_s:
                by_s = (wall - last).total_seconds()
                found.append(_jump(row, by_s, "while the program was closed"))
            offset = now
        elif offset is not None and abs(now - offset) > least_s:
            found.append(_jump(row, now - offset, "while the job ran"))
            offset = now
        elif offset is None:
            offset = now
        last = wall
    return found


def _jump(row: Row, by_s: float, when: str) -> Jump:
    way = "was set back" if by_s < 0 else "went ahead (set, or the machine slept)"
    why = f"the wall clock {way} by {abs(by_s):.0f} s {when}, before entry {row.seq}"
    return Jump(row.seq, row.wall, round(by_s, 3), why)
