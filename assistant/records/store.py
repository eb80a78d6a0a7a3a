"""The append-only log in one SQLite file: confirmed means on disk.

Every entry is one transaction with full sync (write-ahead log, `synchronous=FULL`), so an entry
whose `append` returned survives a killed program and a lost supply, and one that was cut off
leaves no trace. Nothing is changed or removed: triggers in the file refuse it, and the chain
(`chain.py`) shows it where somebody did it all the same. The one exception is a redaction: texts or
files go, what they were sealed by stays, and an entry says so (`retention.py`).

What goes in is what the caller hands over, so this holds for every caller: access codes, pairing
codes, passwords and keys never enter an event, an effect or a job's head.
"""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import RLock
from types import TracebackType
from typing import Any

from sqlite_utils import Database

from assistant.errors import RecordError
from assistant.records import chain
from assistant.records.entries import Entry, JobRow, Row, Signature
from assistant.records.migrations import APPLICATION_ID, migrations, step_names
from assistant.records.trouble import said

_BUSY_S = 5.0  # how long another process may hold the file before it is an error


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
            connection.execute("PRAGMA secure_delete = ON")  # what is redacted leaves no trace
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
            raise said(error, str(path), "opened") from error
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

    def attach(
        self, job_id: str, body: dict[str, Any], data: bytes, *, wall: str, mono_s: float | None
    ) -> Entry:
        """Write an entry with the file that it tells of, in one transaction.

        `mono_s` None, for whoever has no clock of the job's, is that of the last entry. As `append`
        otherwise.
        """
        with self._writing():
            at_s = self._last_s(job_id) if mono_s is None else mono_s
            entry = self._append(job_id, body, wall, at_s)
            row = {"job": job_id, "seq": entry.seq, "data": data}
            self._db.table("attachments").insert(row)
            return entry

    def sign(self, job_id: str, signature: Signature) -> None:
        """Keep a signature beside the chain; one that is there already stays as it is."""
        with self._writing():
            told = [job_id, signature["count"], signature["public_key"]]
            there = "SELECT 1 FROM signatures WHERE job = ? AND count = ? AND public_key = ?"
            if not self._conn.execute(there, told).fetchone():
                self._db.table("signatures").insert({"job": job_id, **signature})

    def redact(
        self,
        job_id: str,
        body: dict[str, Any],
        less: Iterable[Row],
        files: Iterable[int],
        wall: str,
    ) -> bool:
        """Write a redaction entry and take out what it names, in one transaction.

        Parameters
        ----------
        body : dict
            The redaction entry, see `retention`.
        less : rows
            Entries with less in `body` and `salts`, the rest unchanged.
        files : ints
            Entries whose file goes.

        Returns
        -------
        bool
            False if another program still holds the file, so that what was taken out stays in the
            write-ahead log until that program is closed.
        """
        with self._writing():
            self._append(job_id, body, wall, self._last_s(job_id))
            for row in less:
                self._conn.execute(
                    "UPDATE entries SET body = ?, salts = ? WHERE job = ? AND seq = ?",
                    [row.body, row.salts, job_id, row.seq],
                )
            for seq in files:
                self._conn.execute(
                    "UPDATE attachments SET data = NULL WHERE job = ? AND seq = ?", [job_id, seq]
                )
        with self._failing("written"):
            busy: int = self._conn.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        return not busy

    def take_in(
        self,
        job: JobRow,
        rows: Iterable[Row],
        files: Iterable[tuple[int, bytes | None]],
        signatures: Iterable[Signature],
    ) -> None:
        """Write a whole job from another record, in one transaction; `bundle` has checked it."""
        with self._writing():
            table = {"id": job["id"], "title": job["title"], "started_wall": job["started_wall"]}
            self._db.table("jobs").insert(table)
            self._db.table("tips").insert({"job": job["id"], "count": 0, "hash": chain.FIRST})
            for row in rows:
                self._db.table("entries").insert({"job": job["id"], **vars(row)})
            for seq, data in files:
                self._db.table("attachments").insert({"job": job["id"], "seq": seq, "data": data})
            for signature in signatures:
                self._db.table("signatures").insert({"job": job["id"], **signature})

    def _append(self, job_id: str, body: dict[str, Any], wall: str, mono_s: float) -> Entry:
        count, previous = self._tip(job_id)
        seq, kind, text = count + 1, chain.kind_of(body), chain.canonical(body)
        mono_s = float(mono_s) + 0.0  # SQLite keeps no minus zero, so the hash may not see one
        salts = chain.new_salts(body)
        seal = chain.seal_of(body, salts)
        hashed = chain.sealed_text(
            job=job_id, seq=seq, wall=wall, mono_s=mono_s, kind=kind, seal=seal
        )
        digest = chain.link(previous, hashed)
        entry = Entry(job_id, seq, wall, mono_s, kind, body, previous, digest, seal, salts)
        row = {**vars(entry), "body": text, "salts": chain.canonical(salts)}
        self._db.table("entries").insert(row)
        return entry

    def _last_s(self, job_id: str) -> float:
        last = "SELECT mono_s FROM entries WHERE job = ? ORDER BY seq DESC LIMIT 1"
        found = self._conn.execute(last, [job_id]).fetchone()
        return float(found[0]) if found else 0.0

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

    def entries(self, job_id: str, *, raw: bool = False) -> Iterator[Entry]:
        """A job's entries in order, as they stood when this was called.

        Bodies are for readers: `chain.REDACTED` in place of what was taken out, {} for a whole
        body; `raw` gives them as they are kept.

        Raises
        ------
        RecordError
            If there is no such job, or an entry was damaged so that it can't be read.
        """
        self.job(job_id)
        return (self._entry(job_id, row, raw) for row in self.rows(job_id))

    def head(self, job_id: str) -> dict[str, Any]:
        """The head that `create_job` was given."""
        first = next(self.entries(job_id), None)
        if first is not None and first.seal and not first.body:
            raise RecordError(
                f"{self._name}: all that job '{job_id}' held was redacted; only its chain and "
                f"'thirdhand record show {job_id}' are left"
            )
        if first is None or not isinstance(first.body.get("start"), dict):
            raise RecordError(
                f"{self._name}: job '{job_id}' has lost its first entry; "
                f"see 'thirdhand record verify {job_id}'"
            )
        head: dict[str, Any] = first.body["start"]
        return head

    def rows(self, job_id: str, *, distrust: bool = False) -> list[Row]:
        """A job's entries as they stand in the file, in order, unread and unjudged.

        `distrust` has each row itself say that it is the job's: the index that finds it may say so
        when the row no longer does.
        """
        columns = "seq, wall, mono_s, kind, body, prev_hash, hash, seal, salts"
        sql, given = f"SELECT {columns} FROM entries WHERE job = ? ORDER BY seq", [job_id]  # noqa: S608
        if distrust:
            found = "rowid IN (SELECT rowid FROM entries WHERE job = ?) AND +job = ?"
            sql = f"SELECT {columns} FROM entries WHERE {found} ORDER BY seq"  # noqa: S608
            given = [job_id, job_id]
        return [Row(*row) for row in self._read(sql, given)]

    def readings(self, job_id: str) -> list[dict[str, Any]]:
        """A job's readings in order, one dict each, with the columns of the view `readings`."""
        self.job(job_id)
        return self.query("SELECT * FROM readings WHERE job = ? ORDER BY seq", [job_id])

    def query(self, sql: str, given: list[Any] | None = None) -> list[dict[str, Any]]:
        """Rows of a SELECT over the tables and views, one dict each."""
        with self._failing("read"):
            return list(self._db.query(sql, given or []))

    def signatures(self, job_id: str) -> list[Signature]:
        """A job's signatures, the longest chain first; whether they are good says `signing`."""
        found = self._read(
            "SELECT count, head, public_key, signature, wall FROM signatures WHERE job = ? "
            "ORDER BY typeof(count), count DESC, public_key",
            [job_id],
        )
        return [
            Signature(count=row[0], head=row[1], public_key=row[2], signature=row[3], wall=row[4])
            for row in found
        ]

    def attached(self, job_id: str) -> list[int]:
        """Places of the entries for which a file is kept, or was until it was redacted."""
        sql = "SELECT seq FROM attachments WHERE job = ? ORDER BY seq"
        return [row[0] for row in self._read(sql, [job_id])]

    def attachment(self, job_id: str, seq: int) -> bytes | None:
        """The file that belongs to an entry; None if there is none, or none any more."""
        sql = "SELECT CAST(data AS BLOB) FROM attachments WHERE job = ? AND seq = ?"
        found = self._read(sql, [job_id, seq])
        return found[0][0] if found else None

    @contextmanager
    def one_moment(self) -> Iterator[None]:
        """All that is read within is of one moment, whoever writes meanwhile.

        Other threads wait for this store until it ends; other programs don't.
        """
        with self._failing("read"):
            if self._conn.in_transaction:
                yield
                return
            self._conn.execute("BEGIN")
            try:
                yield
            finally:
                self._db.rollback()

    # --- within ----------------------------------------------------------------------------

    def _entry(self, job_id: str, row: Row, raw: bool = True) -> Entry:
        try:
            body = json.loads(row.body)
            salts = json.loads(row.salts) if row.salts is not None else {}
            if not isinstance(body, dict) or not isinstance(salts, dict):
                raise ValueError("not an object")
            if not raw and chain.MARK in row.body:
                body = chain.readable(body)
        except (TypeError, ValueError) as error:
            raise RecordError(
                f"{self._name}: entry {row.seq} of job '{job_id}' can't be read ({error}); "
                f"see 'thirdhand record verify {job_id}'"
            ) from error
        return Entry(job_id, **{**vars(row), "body": body, "salts": salts})

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
                raise said(error, self._name, done) from error

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
