"""The append-only log in one SQLite file: confirmed means on disk.

Every entry is one transaction with full sync (write-ahead log, `synchronous=FULL`), so an entry
whose `append` returned survives a killed program and a lost supply, and one that was cut off
leaves no trace. Nothing is changed or removed: triggers in the file refuse it, and the chain
(`chain.py`) shows it where somebody did it all the same.

What goes in is what the caller hands over, so this holds for every caller: access codes, pairing
codes, passwords and keys never enter an event, an effect or a job's head.
"""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import RLock
from types import TracebackType
from typing import Any, TypedDict

from sqlite_utils import Database

from assistant.errors import RecordError
from assistant.records import chain
from assistant.records.migrations import APPLICATION_ID, migrations, step_names

_BUSY_S = 5.0  # how long another process may hold the file before it is an error


@dataclass(frozen=True)
class Entry:
    """One entry of a job's log.

    seq: 1, 2, 3 ... wall: wall time as the caller gave it (ISO 8601). mono_s: monotonic time since
    the job's log began. [s] kind: see `chain.kind_of`. body: the event, its effects and the energy
    state after it, or the job's head. hash: ties it to `prev_hash`, see `chain`.
    """

    job: str
    seq: int
    wall: str
    mono_s: float
    kind: str
    body: dict[str, Any]
    prev_hash: str
    hash: str


@dataclass(frozen=True)
class Row:
    """An entry as it stands in the file, unread: what `verify` looks at."""

    seq: Any
    wall: Any
    mono_s: Any
    kind: Any
    body: Any
    prev_hash: Any
    hash: Any


class JobRow(TypedDict):
    """One job of the store, with the length and last hash of its chain; plain data for JSON."""

    id: str
    title: str
    started_wall: str
    count: int
    hash: str


class Store:
    """All jobs of one data folder. Usable from several threads; one lock, one connection."""

    def __init__(self, connection: sqlite3.Connection, name: str):
        """For `open` and `memory`; `name` is what messages call the file."""
        self._name = name
        self._lock = RLock()
        self._conn = connection
        # A damaged file may hold bytes that aren't UTF-8; they must reach `verify` as they are.
        connection.text_factory = lambda data: data.decode(errors="surrogateescape")
        with self._failing("opened"):
            self._db = Database(connection, execute_plugins=False)
            with self._db.atomic():  # one view of the file, while another program makes it
                self._ours_or_new()
            connection.execute("PRAGMA foreign_keys = ON")
            self._write_ahead()
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA fullfsync = ON")  # macOS: fsync alone stops at the drive
            if migrations.pending(self._db):
                with self._immediately():
                    migrations.apply(self._db)

    @classmethod
    def open(cls, path: Path) -> Store:
        """The store in the file `path`; folder and file are made where there are none.

        Raises
        ------
        RecordError
            If the folder or file can't be written, the disk is full, or the file is something
            else than a record. The file is left as it was.
        """
        path = Path(path)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise RecordError(
                f"{path.parent}: the folder for the record can't be made: {error.strerror}; "
                "choose another with --data or THIRDHAND_DATA, or ask for the right to write there"
            ) from error
        try:
            connection = sqlite3.connect(
                path, timeout=_BUSY_S, isolation_level=None, check_same_thread=False
            )
        except sqlite3.Error as error:
            raise _said(error, str(path), "opened") from error
        return cls._with(connection, str(path))

    @classmethod
    def memory(cls) -> Store:
        """A store that is gone when it is closed, for tests and rehearsals."""
        connection = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
        return cls._with(connection, "the record in memory")

    @classmethod
    def _with(cls, connection: sqlite3.Connection, name: str) -> Store:
        try:
            return cls(connection, name)
        except BaseException:
            connection.close()
            raise

    def close(self) -> None:
        """Close the file. The store can't be used afterwards."""
        with self._lock:
            self._conn.close()

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    # --- writing ---------------------------------------------------------------------------

    def create_job(self, job_id: str, head: dict[str, Any], wall: str) -> None:
        """Begin a job's log: entry 1 is `{"start": head}`, at monotonic time 0.

        Parameters
        ----------
        job_id : str
            Name of the job, unique in this store.
        head : dict
            All that the log needs to be read again later: the job, the packs' text, versions.
            "title" names the job in lists (else `job_id` does); "job" is the job as in
            `procedure.model.Job`, from whose instruments the readings take calibration dates.
        wall : str
            Wall time. [ISO 8601]

        Raises
        ------
        RecordError
            If there is such a job already, or the file can't be written.
        """
        title = title_of(head, job_id)
        chain.canonical([job_id, head, wall])  # refused before anything is written
        with self._writing():
            if self._conn.execute("SELECT 1 FROM jobs WHERE id = ?", [job_id]).fetchone():
                raise RecordError(
                    f"{self._name}: there is a job '{job_id}' already; resume it, or take "
                    "another name"
                )
            self._db.table("jobs").insert({"id": job_id, "title": title, "started_wall": wall})
            self._db.table("tips").insert({"job": job_id, "count": 0, "hash": chain.FIRST})
            self._append(job_id, {"start": head}, wall, 0.0)

    def append(self, job_id: str, body: dict[str, Any], *, wall: str, mono_s: float) -> Entry:
        """Write one entry; it is on disk when this returns.

        Parameters
        ----------
        job_id : str
            A job of this store.
        body : dict
            Plain JSON data: {"event": ..., "effects": [...], "energy": ...}.
        wall : str
            Wall time. [ISO 8601]
        mono_s : float
            Monotonic time since the job's log began. [s]

        Returns
        -------
        Entry
            The entry with its place and hash.

        Raises
        ------
        RecordError
            If it isn't on disk; then nothing of it is, and all earlier entries are.
        """
        return self.append_all(job_id, [body], wall=wall, mono_s=mono_s)[0]

    def append_all(
        self, job_id: str, bodies: Iterable[dict[str, Any]], *, wall: str, mono_s: float
    ) -> list[Entry]:
        """Write several entries of one moment in one transaction: all of them or none.

        As `append` otherwise.
        """
        with self._writing():
            return [self._append(job_id, body, wall, mono_s) for body in bodies]

    def _append(self, job_id: str, body: dict[str, Any], wall: str, mono_s: float) -> Entry:
        count, previous = self._tip(job_id)
        seq, kind, text = count + 1, chain.kind_of(body), chain.canonical(body)
        mono_s = float(mono_s) + 0.0  # SQLite keeps no minus zero, so the hash may not see one
        hashed = chain.entry_text(
            job=job_id, seq=seq, wall=wall, mono_s=mono_s, kind=kind, body=text
        )
        digest = chain.link(previous, hashed)
        entry = Entry(job_id, seq, wall, mono_s, kind, body, previous, digest)
        self._db.table("entries").insert({**vars(entry), "body": text})
        return entry

    # --- reading ---------------------------------------------------------------------------

    def jobs(self) -> list[JobRow]:
        """All jobs, the latest first."""
        # SQLite keeps any type in any column, and somebody may have written to this one.
        rows = self._read(
            "SELECT id, title, started_wall, "
            "CASE typeof(count) WHEN 'integer' THEN count ELSE 0 END, coalesce(hash, '') FROM jobs "
            "LEFT JOIN tips ON tips.job = jobs.id ORDER BY started_wall DESC, jobs.rowid DESC"
        )
        return [
            JobRow(id=id_, title=title, started_wall=wall, count=count, hash=digest)
            for id_, title, wall, count, digest in rows
        ]

    def job(self, job_id: str) -> JobRow:
        """One job; RecordError that names the ones there are, if there is no such job."""
        jobs = self.jobs()
        for job in jobs:
            if job["id"] == job_id:
                return job
        known = ", ".join(job["id"] for job in jobs[:10]) or "none yet"
        raise RecordError(f"{self._name}: there is no job '{job_id}'; jobs here: {known}")

    def entries(self, job_id: str) -> Iterator[Entry]:
        """A job's entries in order, as they stood when this was called.

        Raises
        ------
        RecordError
            If there is no such job, or an entry was damaged so that it can't be read.
        """
        self.job(job_id)
        return (self._entry(job_id, row) for row in self.rows(job_id))

    def head(self, job_id: str) -> dict[str, Any]:
        """The head that `create_job` was given."""
        first = next(self.entries(job_id), None)
        if first is None or not isinstance(first.body.get("start"), dict):
            raise RecordError(
                f"{self._name}: job '{job_id}' has lost its first entry; "
                f"see 'thirdhand record verify {job_id}'"
            )
        head: dict[str, Any] = first.body["start"]
        return head

    def rows(self, job_id: str) -> list[Row]:
        """A job's entries as they stand in the file, in order, unread and unjudged."""
        found = self._read(
            "SELECT seq, wall, mono_s, kind, body, prev_hash, hash FROM entries "
            "WHERE job = ? ORDER BY seq",
            [job_id],
        )
        return [Row(*row) for row in found]

    def readings(self, job_id: str) -> list[dict[str, Any]]:
        """A job's readings in order, one dict each, with the columns of the view `readings`."""
        self.job(job_id)
        with self._failing("read"):
            query = "SELECT * FROM readings WHERE job = ? ORDER BY seq"
            return list(self._db.query(query, [job_id]))

    # --- within ----------------------------------------------------------------------------

    def _entry(self, job_id: str, row: Row) -> Entry:
        try:
            body = json.loads(row.body)
            if not isinstance(body, dict):
                raise ValueError("not an object")
        except (TypeError, ValueError) as error:
            raise RecordError(
                f"{self._name}: entry {row.seq} of job '{job_id}' can't be read ({error}); "
                f"see 'thirdhand record verify {job_id}'"
            ) from error
        return Entry(job_id, row.seq, row.wall, row.mono_s, row.kind, body, row.prev_hash, row.hash)

    def _tip(self, job_id: str) -> tuple[int, str]:
        row = self._conn.execute("SELECT count, hash FROM tips WHERE job = ?", [job_id]).fetchone()
        if row is None:
            raise RecordError(f"{self._name}: there is no job '{job_id}' to write to")
        count, digest = row
        return count, digest

    def _read(self, sql: str, given: list[Any] | None = None) -> list[tuple[Any, ...]]:
        with self._failing("read"):
            return self._conn.execute(sql, given or []).fetchall()

    @contextmanager
    def _failing(self, done: str) -> Iterator[None]:
        """One thread at a time; SQLite's errors become ours."""
        with self._lock:
            try:
                yield
            except sqlite3.Error as error:
                raise _said(error, self._name, done) from error

    @contextmanager
    def _writing(self) -> Iterator[None]:
        with self._failing("written"), self._immediately():
            yield

    @contextmanager
    def _immediately(self) -> Iterator[None]:
        """One transaction, all or nothing, that no other program can come between."""
        # Not `atomic`: its plain BEGIN takes the write lock only at the first write, after
        # the tip was read, and fails at once if another process wrote in between.
        self._conn.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._conn.execute("COMMIT")
        except BaseException:
            self._db.rollback()
            raise

    def _write_ahead(self) -> None:
        """Switch to the write-ahead log; the file remembers it."""
        # SQLite doesn't always wait for the lock that the switch needs: two programs that make
        # the same new file meet here.
        until = time.monotonic() + _BUSY_S
        while True:
            try:
                self._conn.execute("PRAGMA journal_mode = WAL")
                return
            except sqlite3.OperationalError as error:
                busy = error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY
                if not busy or time.monotonic() > until:
                    raise
            time.sleep(0.01)

    def _ours_or_new(self) -> None:
        ours = self._conn.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
        # A first start that was cut off leaves at most the migrations' own table.
        if not ours and set(self._db.table_names()) - {migrations.migrations_table}:
            raise RecordError(
                f"{self._name}: this is a database, but not a Thirdhand record; it is left as it "
                "is. Choose another folder with --data or THIRDHAND_DATA"
            )
        newer = {step.name for step in migrations.applied(self._db)} - step_names()
        if newer:
            raise RecordError(
                f"{self._name}: this record was written by a newer Thirdhand "
                f"({', '.join(sorted(newer))}); install that version to go on with it"
            )


def title_of(head: dict[str, Any], job_id: str) -> str:
    """What a job is called in lists."""
    return str(head.get("title") or job_id)


def _said(error: sqlite3.Error, name: str, done: str) -> RecordError:
    """What went wrong, where, and what to do, in place of SQLite's own words."""
    # Extended codes carry the primary one in the low byte; Python's own errors have none.
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if code == sqlite3.SQLITE_FULL:
        return RecordError(
            f"{name}: the disk is full, so this was not {done}; all that was confirmed before is "
            "kept. Free some space, then say it again"
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return RecordError(
            f"{name}: this file or its folder can't be written ({error}), so nothing new can be "
            "recorded; what is there is kept. Ask for the right to write there, or choose another "
            "folder with --data or THIRDHAND_DATA"
        )
    if code == sqlite3.SQLITE_NOTADB:
        return RecordError(
            f"{name}: this file is not a Thirdhand record; it is left as it is. Move it away, or "
            "choose another folder with --data or THIRDHAND_DATA"
        )
    if code == sqlite3.SQLITE_CORRUPT:
        return RecordError(
            f"{name}: this file is damaged ({error}). Before anything else copy it, and the file "
            "with -wal at the end of its name, to a safe place; then take the last export"
        )
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return RecordError(
            f"{name}: another program holds this file, so it can't be {done}; close that one, "
            "then try again"
        )
    return RecordError(f"{name}: the record can't be {done}: {error}")
