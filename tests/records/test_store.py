"""Confirmed means on disk; nothing is changed or removed; trouble is said in plain words."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlite_utils import Database

from assistant.clock import SetClock
from assistant.errors import RecordError
from assistant.records.log import verify
from assistant.records.migrations import migrations
from assistant.records.store import Store
from tests.records import old_format
from tests.records.pinewharf import HEAD, JOB, fill, turn


def test_folder_and_file_are_made(tmp_path: Path):
    path = tmp_path / "new" / "folder" / "record.db"
    with Store.open(path):
        assert path.is_file()


def test_a_job_begins_with_its_head_as_entry_1(store: Store, clock: SetClock):
    store.create_job(JOB, HEAD, clock.wall())
    (first,) = store.entries(JOB)
    assert (first.seq, first.kind, first.body, first.mono_s) == (1, "start", {"start": HEAD}, 0.0)
    assert store.head(JOB) == HEAD


def test_what_was_appended_is_read_back_as_it_was(tmp_path: Path, clock: SetClock):
    path = tmp_path / "record.db"
    body = turn("note", {"kind": "noted", "text": "Ω “quoted”, line\nbreak 😀"})
    with Store.open(path) as store:
        store.create_job(JOB, HEAD, clock.wall())
        written = store.append(JOB, body, wall=clock.wall(), mono_s=1.25)
    with Store.open(path) as store:
        assert list(store.entries(JOB))[1] == written
        assert (written.seq, written.kind, written.mono_s) == (2, "note", 1.25)


def test_minus_zero_seconds_verifies(store: Store, clock: SetClock):
    store.create_job(JOB, HEAD, clock.wall())
    store.append(JOB, turn(), wall=clock.wall(), mono_s=-0.0)
    assert verify(store, JOB).ok


def test_jobs_are_listed_latest_first(store: Store):
    store.create_job("d1", {}, "2025-01-06T08:00:00Z")
    store.create_job("d2", {"title": "Dock"}, "2025-01-07T08:00:00Z")
    assert [(j["id"], j["title"], j["count"]) for j in store.jobs()] == [
        ("d2", "Dock", 1),
        ("d1", "d1", 1),
    ]


def test_a_job_is_begun_once(filled: Store, clock: SetClock):
    with pytest.raises(RecordError, match="there is a job 'pinewharf-d1' already"):
        filled.create_job(JOB, {}, clock.wall())
    assert verify(filled, JOB).count == 8


def test_an_unknown_job_is_named_with_the_known_ones(filled: Store):
    with pytest.raises(RecordError, match="no job 'd9'; jobs here: pinewharf-d1"):
        filled.entries("d9")
    with pytest.raises(RecordError, match="no job 'd9' to write to"):
        filled.append("d9", turn(), wall="", mono_s=0)


def test_a_refused_body_leaves_no_trace(filled: Store):
    with pytest.raises(RecordError):
        filled.append(JOB, {"event": float("nan")}, wall="", mono_s=0)
    with pytest.raises(RecordError, match="finite"):
        filled.append(JOB, {}, wall="", mono_s=float("inf"))
    with pytest.raises(RecordError):
        filled.create_job("d2", {"title": "\ud800"}, "")
    assert [j["id"] for j in filled.jobs()] == [JOB]
    assert verify(filled, JOB).count == 8


def test_entries_of_one_moment_are_written_together_or_not_at_all(filled: Store):
    with pytest.raises(RecordError):
        filled.append_all(JOB, [turn(), {"event": float("nan")}], wall="", mono_s=30)
    assert verify(filled, JOB).count == 8
    written = filled.append_all(JOB, [turn(), turn("note")], wall="", mono_s=30)
    assert [(e.seq, e.kind) for e in written] == [(9, "affirm"), (10, "note")]
    assert verify(filled, JOB).count == 10


# --- append-only ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entries SET body = '{}' WHERE seq = 3",
        "UPDATE entries SET seq = 99 WHERE seq = 3",
        "DELETE FROM entries WHERE seq = 8",
        "INSERT OR REPLACE INTO entries SELECT * FROM entries WHERE seq = 8",
        "INSERT INTO entries SELECT job, 9, wall, mono_s, kind, body, prev_hash, hash, seal, salts "
        "FROM entries WHERE seq = 8",
        "UPDATE entries SET salts = NULL WHERE seq = 3",
        'UPDATE entries SET body = \'{"~sealed":"x"}\', salts = NULL WHERE seq = 3',
        "UPDATE tips SET count = 7",
        "DELETE FROM tips",
        "UPDATE jobs SET title = 'x'",
        "DELETE FROM jobs",
    ],
)
def test_the_file_itself_refuses_changes_and_says_why(
    tmp_path: Path, clock: SetClock, statement: str
):
    """Another program with the file open meets the same refusal."""
    path = tmp_path / "record.db"
    with Store.open(path) as store:
        fill(store, clock)
    other = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match="the record is append-only"):
        other.execute(statement)
    other.close()
    with Store.open(path) as store:
        assert verify(store, JOB).ok


# --- several at once ------------------------------------------------------------------------------


def test_two_threads_append_to_one_job(tmp_path: Path, clock: SetClock):
    with Store.open(tmp_path / "record.db") as store:
        store.create_job(JOB, HEAD, clock.wall())
        start = threading.Barrier(2)

        def write(who: str) -> list[int]:
            start.wait()
            return [
                store.append(JOB, {"who": who, "n": n}, wall="", mono_s=n).seq for n in range(60)
            ]

        with ThreadPoolExecutor(2) as pool:
            seqs = [seq for part in pool.map(write, "ab") for seq in part]
        assert sorted(seqs) == list(range(2, 122))
        assert verify(store, JOB).count == 121


def test_two_programs_open_a_new_file_and_append(tmp_path: Path, clock: SetClock):
    """Each has its own connection, as two processes have."""
    path = tmp_path / "record.db"
    start = threading.Barrier(4)

    def write(n: int) -> None:
        start.wait()
        with Store.open(path) as store:
            store.create_job(f"d{n}", {}, clock.wall())
            for _ in range(10):
                store.append(f"d{n}", turn(), wall="", mono_s=0)

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(write, range(4)))
    with Store.open(path) as store:
        assert [verify(store, f"d{n}").count for n in range(4)] == [11] * 4


# --- trouble --------------------------------------------------------------------------------------


@contextmanager
def _ordinary_user() -> Iterator[None]:
    """root may write anywhere: for the time of a test be somebody else."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that every user can reach; pytest's own is for its user alone."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


def test_a_read_only_folder_is_said(open_folder: Path):
    open_folder.chmod(0o555)
    with _ordinary_user(), pytest.raises(RecordError) as raised:
        Store.open(open_folder / "record.db")
    assert str(open_folder / "record.db") in str(raised.value)
    assert "can't be written" in str(raised.value)
    assert "--data" in str(raised.value)


def test_a_folder_that_cannot_be_made_is_said(open_folder: Path):
    open_folder.chmod(0o555)
    with _ordinary_user(), pytest.raises(RecordError, match="folder for the record can't be made"):
        Store.open(open_folder / "new" / "record.db")


def test_a_read_only_file_is_said_and_kept(open_folder: Path, clock: SetClock):
    path = open_folder / "record.db"
    with Store.open(path) as store:
        fill(store, clock)
    path.chmod(0o444)
    open_folder.chmod(0o555)
    before = path.read_bytes()
    with _ordinary_user(), pytest.raises(RecordError, match="can't be written"):
        Store.open(path).create_job("d2", {}, "")
    assert path.read_bytes() == before


def test_a_full_disk_is_said_and_nothing_confirmed_is_lost(tmp_path: Path, clock: SetClock):
    """SQLite's own limit on pages fails the same way as a full disk (SQLITE_FULL)."""
    path = tmp_path / "record.db"
    with Store.open(path) as store:
        fill(store, clock)
        pages = store._conn.execute("PRAGMA page_count").fetchone()[0]
        store._conn.execute(f"PRAGMA max_page_count = {pages + 1}")
        confirmed = 8
        with pytest.raises(RecordError, match="the disk is full"):
            for _ in range(50):
                store.append(JOB, turn(heard="x" * 500), wall="", mono_s=0)
                confirmed += 1
        assert verify(store, JOB).count == confirmed
        store._conn.execute(f"PRAGMA max_page_count = {pages + 100}")
        assert store.append(JOB, turn(heard="x" * 500), wall="", mono_s=0).seq == confirmed + 1
    with Store.open(path) as store:
        assert verify(store, JOB).count == confirmed + 1


def test_a_full_disk_at_the_first_start_leaves_a_file_that_can_be_used_later(tmp_path: Path):
    path = tmp_path / "record.db"
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA max_page_count = 4")
    with pytest.raises(RecordError, match="the disk is full"):
        Store(connection, str(path))
    connection.close()
    with Store.open(path) as store:
        store.create_job(JOB, HEAD, "")


@pytest.mark.parametrize("content", [b"not a database, " * 100, b"SQLite format 3\0" + b"x" * 4096])
def test_a_file_that_is_no_database_is_said_and_left_as_it_is(tmp_path: Path, content: bytes):
    path = tmp_path / "record.db"
    path.write_bytes(content)
    with pytest.raises(RecordError, match=r"this file is (not a Thirdhand record|damaged)"):
        Store.open(path)
    assert path.read_bytes() == content


def test_the_database_of_another_program_is_left_as_it_is(tmp_path: Path):
    path = tmp_path / "record.db"
    with Database(path) as other:
        other.table("songs").insert({"title": "x"})
    before = path.read_bytes()
    with pytest.raises(RecordError, match="not a Thirdhand record"):
        Store.open(path)
    assert path.read_bytes() == before


def test_a_folder_in_place_of_the_file_is_said(tmp_path: Path):
    with pytest.raises(RecordError, match="can't be written"):
        Store.open(tmp_path)


def test_a_file_held_by_another_program_is_said(
    tmp_path: Path, clock: SetClock, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("assistant.records.store._BUSY_S", 0.05)
    path = tmp_path / "record.db"
    with Store.open(path) as store:
        fill(store, clock)
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(RecordError, match="another program holds this file"):
            store.append(JOB, turn(), wall="", mono_s=0)
        other.execute("ROLLBACK")
        other.close()
        assert store.append(JOB, turn(), wall="", mono_s=0).seq == 9


def test_a_closed_store_says_so():
    store = Store.memory()
    store.close()
    with pytest.raises(RecordError, match="can't be read: Cannot operate on a closed database"):
        store.jobs()


# --- migrations -----------------------------------------------------------------------------------


def test_a_file_of_an_older_version_gets_what_it_lacks(tmp_path: Path, clock: SetClock):
    path = tmp_path / "record.db"
    with Database(path) as db:
        migrations.apply(db, stop_before="m002_append_only")
    with Store.open(path) as store:
        fill(store, clock)
        assert verify(store, JOB).ok


def test_a_record_of_the_first_format_verifies_and_goes_on_in_the_new_one(tmp_path: Path):
    """Its entries keep their hashes; what is appended is sealed, and one chain holds both."""
    path = tmp_path / "record.db"
    old_format.write(path)
    with Database(path) as db:
        before = list(db.query("SELECT seq, body, hash FROM entries"))
    with Store.open(path) as store:
        assert verify(store, JOB).count == 4
        assert [(r.seq, r.body, r.hash) for r in store.rows(JOB)] == [
            (row["seq"], row["body"], row["hash"]) for row in before
        ]
        assert [row.seal for row in store.rows(JOB)] == [None] * 4
        assert len(store.append(JOB, turn(), wall="", mono_s=9).seal or "") == 64
        verdict = verify(store, JOB)
        assert (verdict.ok, verdict.count) == (True, 5)
        store._conn.execute("DROP TRIGGER entries_no_update")
        store._conn.execute("UPDATE entries SET body = replace(body, '0.2', '0.1') WHERE seq = 3")
        assert verify(store, JOB).first_bad_seq == 3


def test_migrations_that_fail_leave_the_file_as_it_was(
    tmp_path: Path, clock: SetClock, monkeypatch: pytest.MonkeyPatch
):
    path = tmp_path / "record.db"
    with Database(path) as db:
        migrations.apply(db, stop_before="m002_append_only")
        before = db.schema

    def fails(db: Database) -> None:
        raise sqlite3.OperationalError("lost power")

    with monkeypatch.context() as patch:
        patch.setattr(migrations._migrations[-1], "fn", fails)
        with pytest.raises(RecordError, match="lost power"):
            Store.open(path)
    with Database(path) as db:
        assert db.schema == before
    with Store.open(path) as store:
        fill(store, clock)


def test_a_record_of_a_newer_version_is_not_written_to(tmp_path: Path):
    path = tmp_path / "record.db"
    Store.open(path).close()
    with Database(path) as db:
        db.table("_sqlite_migrations").insert(
            {"migration_set": "records", "name": "m999_future", "applied_at": ""}
        )
    with pytest.raises(RecordError, match=r"newer Thirdhand \(m999_future\)"):
        Store.open(path)


# --- lost power -----------------------------------------------------------------------------------

WRITER = """
import sys
from pathlib import Path
from assistant.records.store import Store

store = Store.open(Path(sys.argv[1]))
if not store.jobs():
    store.create_job("d1", {"title": "D1"}, "")
while True:
    entry = store.append("d1", {"said": "x" * 300}, wall="", mono_s=0)
    print(entry.seq, entry.hash, flush=True)
"""


def test_full_sync_is_on(tmp_path: Path):
    """2 is FULL: the write-ahead log is synced at each commit."""
    with Store.open(tmp_path / "record.db") as store:
        assert store._conn.execute("PRAGMA synchronous").fetchone() == (2,)
        assert store._conn.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert store._conn.execute("PRAGMA foreign_keys").fetchone() == (1,)


def test_what_was_acknowledged_survives_kill_9(tmp_path: Path):
    """Twenty writers killed at moments all over a write, one after another on the same file."""
    path = tmp_path / "record.db"
    acknowledged: dict[int, str] = {}
    for turn_no in range(20):
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, text=True
        )
        assert writer.stdout is not None
        lines = [writer.stdout.readline()]  # it is under way
        stop = threading.Timer(0.002 + 0.0007 * turn_no, writer.kill)
        stop.start()
        lines += writer.stdout.read().splitlines()
        stop.join()
        writer.wait()
        writer.stdout.close()
        for line in lines:
            if len(parts := line.split()) == 2 and len(parts[1]) == 64:  # the last may be cut
                acknowledged[int(parts[0])] = parts[1]
        with Store.open(path) as store:
            verdict = verify(store, "d1")
            assert verdict.ok, verdict.why
            assert verdict.count >= max(acknowledged)
            kept = {row.seq: row.hash for row in store.rows("d1")}
            assert acknowledged.items() <= kept.items()
    assert len(acknowledged) > 20
