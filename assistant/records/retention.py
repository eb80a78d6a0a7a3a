"""What a job keeps of people, and taking it out so that the chain still holds.

A redaction entry says who took what out of which entries, when and why; what was there can't be
found in the file or guessed from the digests that stay. Backups and exports made before still have
it: they are for whoever holds them to delete.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Literal

from assistant.errors import RecordError
from assistant.records import chain
from assistant.records.entries import Row
from assistant.records.store import Store

What = Literal["words", "clips", "photos", "everything"]
WHATS: tuple[What, ...] = ("words", "clips", "photos", "everything")


@dataclass(frozen=True)
class Kept:
    """What a job keeps of people.

    words: texts that may be personal (heard, dictated, names, devices), and how many bytes they
    are; names: names of people other than roles; clips, photos: (entry, bytes) each; gone: entries
    from which something was taken out; old: entries of format 1, from which nothing can be.
    """

    job: str
    entries: int
    words: int
    words_bytes: int
    names: tuple[str, ...]
    clips: tuple[tuple[int, int], ...]
    photos: tuple[tuple[int, int], ...]
    gone: tuple[int, ...]
    old: int
    keep_clips: bool


@dataclass(frozen=True)
class Redaction:
    """What a redaction took out. clean: the file holds no trace any more (see `Store.redact`)."""

    entries: tuple[int, ...]
    texts: int
    files: int
    clean: bool


def kept(store: Store, job_id: str) -> Kept:
    """What a job keeps of people, counted from its log."""
    words = words_bytes = old = 0
    gone: list[int] = []
    names: set[str] = set()
    entries = list(store.entries(job_id, raw=True))
    for entry in entries:
        old += entry.seal is None
        if chain.redacted(entry.body):
            gone.append(entry.seq)
        names |= set(_names(entry.body))
        for path in chain.private_paths(entry.body):
            words += 1
            words_bytes += len(_at(entry.body, path).encode())
    files: dict[str, list[tuple[int, int]]] = {"clip": [], "photo": []}
    for entry in entries:
        about = entry.body.get("attachment")
        if about:
            data = store.attachment(job_id, entry.seq)
            if data is not None:
                files.setdefault(about["kind"], []).append((entry.seq, len(data)))
    job = entries[0].body.get("start", {}).get("job", {}) if entries else {}
    return Kept(
        job=job_id,
        entries=len(entries),
        words=words,
        words_bytes=words_bytes,
        names=tuple(sorted(names)),
        clips=tuple(files["clip"]),
        photos=tuple(files["photo"]),
        gone=tuple(gone),
        old=old,
        keep_clips=bool(job.get("keep_clips")),
    )


def _names(body: dict[str, Any]) -> Iterator[str]:
    """Names of people; roles are none."""
    people = list((body.get("start", {}).get("job") or {}).get("people") or ())
    told = body.get("event", {}).get("input", {}) if isinstance(body.get("event"), dict) else {}
    people += [told.get("person"), *(told.get("people") or ())]
    people += [each.get("person") for each in body.get("effects") or ()]
    roles = chain.ROLES
    yield from (name for name in people if isinstance(name, str) and name and name not in roles)


def _at(body: Any, path: str) -> str:
    for key in path.split("/")[1:]:
        body = body[int(key) if isinstance(body, list) else key]
    return str(body)


def redact(
    store: Store,
    job_id: str,
    what: What,
    *,
    who: str,
    why: str,
    wall: str,
    only: frozenset[int] | None = None,
) -> Redaction:
    """Take something out of a job's log for good, and write down that it was.

    Parameters
    ----------
    what : "words", "clips", "photos", "everything"
        Texts that may be personal (what was heard, notes, reasons, names, devices); sound; photos;
        or every body whole, with all files. Of "everything" no reading stays, only that there were
        entries, when, and of what kind.
    who, why : str
        Who decided it and for what reason. They stay in the log for ever, so a role and a rule are
        better than a name and a story.
    wall : str
        Wall time. [ISO 8601]
    only : set of ints
        Entries to take it from; all, if None.

    Returns
    -------
    Redaction
        Empty, and nothing is written, if nothing of the kind is there.

    Raises
    ------
    RecordError
        If who or why is missing, an entry is of format 1, or the file can't be written.
    """
    if not who.strip() or not why.strip():
        raise RecordError("a redaction says who took something out, and why; give both")
    job = store.job(job_id)
    less: list[Row] = []
    texts = 0
    rows = {row.seq: row for row in store.rows(job_id)}
    if only is not None and not only <= rows.keys():
        missing = ", ".join(map(str, sorted(only - rows.keys())))
        raise RecordError(f"job '{job_id}' has no entry {missing}; nothing was taken out")
    chosen = [row for row in rows.values() if only is None or row.seq in only]
    kinds = {"clips": ("clip",), "photos": ("photo",), "everything": None}
    files = [row.seq for row in chosen if _has_file(store, job_id, row, kinds.get(what, ()))]
    # Only where something is to go does the format matter.
    for row in chosen:
        body = json.loads(row.body)
        if row.kind == "redaction" or chain.redacted(body) == "everything":
            continue
        smaller, count = _less(row, body, what, with_file=row.seq in files)
        if smaller is None:
            continue
        if row.seal is None:
            raise RecordError(
                f"entry {row.seq} of job '{job_id}' was written by the first version of the "
                "record, whose chain breaks if anything is taken out; keep the job, or delete the "
                "whole file once its time is over"
            )
        less.append(smaller)
        texts += count
    entries = sorted({row.seq for row in less} | set(files))
    if not entries:
        return Redaction((), 0, 0, True)
    told: dict[str, Any] = {"what": what, "who": who.strip(), "why": why.strip()}
    told |= {"entries": entries}
    if what == "everything" and 1 in entries:
        told["title"] = job["title"]  # entry 1 vouched for it
    clean = store.redact(job_id, {"redaction": told}, less, files, wall)
    return Redaction(tuple(entries), texts, len(files), clean)


def _less(row: Row, body: dict[str, Any], what: What, *, with_file: bool) -> tuple[Row | None, int]:
    """The row with less in it, and how many texts went; None if nothing of the kind is there.

    A file takes its name along.
    """
    if what == "everything":
        return replace(row, body=chain.canonical({chain.MARK: row.seal}), salts=None), 1
    if what == "words" or with_file:
        paths = list(chain.private_paths(body))
        if not paths:
            return None, 0
        if row.seal is None:
            return row, 0
        salts = json.loads(row.salts)
        paths = [path for path in paths if path in salts]
        if not paths:
            return None, 0
        smaller = chain.without(body, salts, paths)
        left = {path: salt for path, salt in salts.items() if path not in paths}
        return replace(row, body=chain.canonical(smaller), salts=chain.canonical(left)), len(paths)
    return None, 0


def _has_file(store: Store, job_id: str, row: Row, kinds: tuple[str, ...] | None) -> bool:
    """Is there a file with this entry, of one of these kinds (None: of any)?"""
    if row.kind != "attachment" or kinds == ():
        return False
    about = json.loads(row.body).get("attachment") or {}
    fits = kinds is None or about.get("kind") in kinds
    return fits and store.attachment(job_id, row.seq) is not None


def older_than(store: Store, before: str) -> list[str]:
    """Jobs whose last entry is from before a date (ISO 8601), the oldest first.

    Entries that tell of redactions don't count: they come after the work.
    """
    rows = store.query(
        "SELECT job, max(wall) AS last FROM entries WHERE kind <> 'redaction' GROUP BY job "
        "HAVING last < ? ORDER BY last",
        [before],
    )
    return [row["job"] for row in rows]
