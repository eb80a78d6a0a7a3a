"""A copy of the whole record while jobs run, verified before it counts.

SQLite's own backup copies one moment of the file; whoever writes meanwhile isn't kept waiting and
isn't in the copy. The copy grows under another name and takes its own only when every job in it was
verified and it is on disk, so an earlier backup stays until then, and a cut leaves no half one.
"""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from assistant.errors import RecordError
from assistant.records.migrations import APPLICATION_ID
from assistant.records.store import Store
from assistant.records.verify import verify

PAGES = 256  # copied at a time: one MB
_NO_ROOM = (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR)
_NO_ROOM_OS = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


@dataclass(frozen=True)
class Backup:
    """What was copied. damaged: jobs that don't hold, with why; they are in the copy all the same.

    The damage was in the record before: a copy that differs from it is no backup and is not kept.
    """

    path: Path
    size: int
    jobs: int
    entries: int
    damaged: tuple[tuple[str, str], ...] = ()


def back_up(
    record: Path,
    target: Path,
    progress: Callable[[int, int], None] = lambda done, total: None,
    *,
    pages: int = PAGES,
) -> Backup:
    """Copy a record to `target`, verify the copy, and put it in its place.

    Parameters
    ----------
    record : Path
        The record's file; programs may be writing to it.
    target : Path
        Where to; an earlier backup there is replaced, anything else is left as it is.
    progress : function of two ints
        Told how many pages are copied, of how many.
    pages : int
        How many pages are copied between two tellings.

    Raises
    ------
    RecordError
        If there is no whole copy in the end. The record isn't touched, an earlier backup stays, and
        the message says what to do.
    """
    _may_replace(record, target)
    draft = target.with_name(f"{target.name}.part")
    try:
        _room(record, target)
        _clear(draft)
        _copy(record, draft, progress, pages)
        found = _checked(draft)
        with draft.open("rb+") as file:
            os.fsync(file.fileno())
        draft.replace(target)
        _settle(target.parent)
    except (sqlite3.Error, OSError) as error:
        raise RecordError(_why(error, target)) from error
    finally:
        with suppress(OSError):
            _clear(draft)
    jobs, entries, damaged = found
    return Backup(target, target.stat().st_size, jobs, entries, damaged)


def _may_replace(record: Path, target: Path) -> None:
    if not target.parent.is_dir():
        raise RecordError(f"{target.parent}: there is no such folder; make it, then back up again")
    if not target.exists():
        return
    if target.is_dir():
        raise RecordError(f"{target}: this is a folder; name a file in it")
    if target.samefile(record):
        raise RecordError(f"{target}: this is the record itself; name another file")
    with target.open("rb") as file:
        start = file.read(72)
    ours = start[:15] == b"SQLite format 3" and start[68:72] == APPLICATION_ID.to_bytes(4, "big")
    if not ours:
        raise RecordError(
            f"{target}: there is a file that is no backup of a record; it is left as it is. Name "
            "another one"
        )


def _room(record: Path, target: Path) -> None:
    """Say at once what would fail after minutes."""
    log = record.with_name(f"{record.name}-wal")
    need = record.stat().st_size + (log.stat().st_size if log.exists() else 0)
    free = shutil.disk_usage(target.parent).free
    if free < need:
        raise RecordError(
            f"{target}: the disk has {free / 1e6:.0f} MB free and the copy needs {need / 1e6:.0f}; "
            "nothing was copied, and the record goes on. Free some space or name another disk"
        )


def _copy(record: Path, draft: Path, progress: Callable[[int, int], None], pages: int) -> None:
    with (
        closing(_reading(record)) as source,
        closing(sqlite3.connect(draft, isolation_level=None)) as copy,
    ):
        # One moment is read throughout: without this, each write elsewhere would start it anew.
        source.execute("BEGIN")
        source.execute("SELECT count(*) FROM jobs").fetchone()
        source.backup(
            copy, pages=pages, progress=lambda _, left, total: progress(total - left, total)
        )


def _reading(record: Path) -> sqlite3.Connection:
    uri = f"{record.absolute().as_uri()}?mode=ro"
    return sqlite3.connect(uri, uri=True, isolation_level=None, timeout=5.0)


def _checked(draft: Path) -> tuple[int, int, tuple[tuple[str, str], ...]]:
    """Jobs, entries and damaged jobs of the copy, whose file itself must be sound."""
    with Store.open(draft) as store:
        problem = store.query("PRAGMA integrity_check(1)")[0]["integrity_check"]
        if problem != "ok":
            raise RecordError(
                f"{draft}: the copy isn't sound ({problem}); it is not kept. See whether the disk "
                "is failing, and 'thirdhand record verify' for the record itself"
            )
        jobs = store.jobs()
        verdicts = [(job["id"], verify(store, job["id"])) for job in jobs]
    with closing(sqlite3.connect(draft, isolation_level=None)) as copy:
        copy.execute("PRAGMA journal_mode = DELETE")  # one file, for whoever carries it away
    damaged = tuple((job, verdict.why) for job, verdict in verdicts if not verdict.ok)
    return len(jobs), sum(job["count"] for job in jobs), damaged


def _clear(draft: Path) -> None:
    for end in ("", "-wal", "-shm", "-journal"):
        draft.with_name(f"{draft.name}{end}").unlink(missing_ok=True)


def _settle(folder: Path) -> None:
    """The new name on disk too, where folders can be synced."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _why(error: sqlite3.Error | OSError, target: Path) -> str:
    said = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    kept = "no new backup was made, an earlier one stays, and the record goes on"
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code in _NO_ROOM or getattr(error, "errno", 0) in _NO_ROOM_OS:
        todo = "Free some space there, or name another disk"
        return f"{target}: the disk didn't take the copy ({said}); {kept}. {todo}"
    todo = "Ask for the right to write there, or name another place"
    return f"{target}: the copy can't be made ({said}); {kept}. {todo}"
