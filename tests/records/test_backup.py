"""Backups while a job runs; full, limited and read-only disks and lost power lose nothing."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from assistant.clock import SetClock
from assistant.errors import RecordError
from assistant.records.backup import back_up
from assistant.records.log import verify
from assistant.records.store import Store
from tests.records.pinewharf import HEAD, JOB, fill, turn

ROOT = Path(__file__).parents[2]


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """A record with one job, and enough in it that a copy takes several steps."""
    path = tmp_path / "records.sqlite"
    with Store.open(path) as store:
        fill(store, SetClock())
        bodies = [turn("note", {"kind": "noted", "text": f"{n} " + "x" * 2000}) for n in range(400)]
        store.append_all(JOB, bodies, wall="2026-03-02T08:10:00+00:00", mono_s=600)
    return path


def test_a_backup_is_one_file_that_verifies_and_opens_as_a_record(record: Path, tmp_path: Path):
    target = tmp_path / "out" / "backup.sqlite"
    target.parent.mkdir()
    told: list[tuple[int, int]] = []
    done = back_up(record, target, lambda *at: told.append(at), pages=32)
    assert (done.jobs, done.entries, done.damaged) == (1, 408, ())
    assert [each.name for each in target.parent.iterdir()] == ["backup.sqlite"]
    assert len(told) > 5 and told[-1][0] == told[-1][1]
    assert [at for at, _ in told] == sorted(at for at, _ in told)
    with Store.open(record) as one, Store.open(target) as two:
        assert one.rows(JOB) == two.rows(JOB)
        assert two.append(JOB, turn(), wall="", mono_s=601).seq == 409


def test_a_job_goes_on_while_it_is_backed_up_and_the_copy_is_of_one_moment(
    record: Path, tmp_path: Path
):
    """Another program writes as fast as it can; the copy ends all the same and is whole."""
    target = tmp_path / "backup.sqlite"
    code = (
        "import sys; from pathlib import Path; from assistant.records.store import Store\n"
        "with Store.open(Path(sys.argv[1])) as store:\n"
        "    while True:\n"
        f"        print(store.append('{JOB}', {{'n': 'x' * 400}}, wall='', mono_s=601).seq,"
        " flush=True)\n"
    )
    writer = subprocess.Popen(
        [sys.executable, "-c", code, str(record)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    )
    assert writer.stdout is not None
    first = int(writer.stdout.readline())
    done = back_up(record, target, lambda *_: time.sleep(0.02), pages=16)
    last = first
    stop = threading.Timer(0.1, writer.kill)
    stop.start()
    for line in writer.stdout:
        last = int(line)
    writer.wait()
    writer.stdout.close()
    assert first <= done.entries < last - 5  # it was held up by nobody
    with Store.open(target) as store:
        verdict = verify(store, JOB)
        assert (verdict.ok, verdict.count) == (True, done.entries)
    with Store.open(record) as store:
        assert verify(store, JOB).count >= last


def test_an_earlier_backup_is_replaced_and_anything_else_is_not(record: Path, tmp_path: Path):
    target = tmp_path / "backup.sqlite"
    back_up(record, target)
    with Store.open(record) as store:
        store.append(JOB, turn(), wall="", mono_s=601)
    assert back_up(record, target).entries == 409
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear customer")
    with pytest.raises(RecordError, match="no backup of a record; it is left as it is"):
        back_up(record, letter)
    assert letter.read_text() == "Dear customer"
    songs = tmp_path / "songs.sqlite"
    with sqlite3.connect(songs) as other:
        other.execute("CREATE TABLE songs (title)")
    other.close()
    with pytest.raises(RecordError, match="no backup of a record"):
        back_up(record, songs)
    with pytest.raises(RecordError, match="the record itself"):
        back_up(record, record)
    with pytest.raises(RecordError, match="name a file in it"):
        back_up(record, tmp_path)
    with pytest.raises(RecordError, match="no such folder"):
        back_up(record, tmp_path / "nowhere" / "backup.sqlite")


def test_a_damaged_job_is_copied_and_named(record: Path, tmp_path: Path):
    """Just then a copy is wanted most; the damage came with the record, so it is told."""
    with sqlite3.connect(record) as other:
        other.execute("DROP TRIGGER entries_no_update")
        other.execute("UPDATE entries SET wall = 'x' WHERE seq = 5")
    other.close()
    done = back_up(record, tmp_path / "backup.sqlite")
    assert done.damaged == ((JOB, "entry 5 was changed: its hash doesn't fit"),)


# --- power lost ----------------------------------------------------------------------------------

SLOW = """
import sys, time
from pathlib import Path
from assistant.records.backup import back_up

def tell(done, total):
    print(done, flush=True)
    time.sleep(0.01)

back_up(Path(sys.argv[1]), Path(sys.argv[2]), tell, pages=8)
print("made", flush=True)
"""


def test_a_backup_cut_off_leaves_the_earlier_one_and_the_next_one_is_whole(
    record: Path, tmp_path: Path
):
    """Killed at five moments of the copy; kill -9 leaves what a lost supply leaves of files."""
    target = tmp_path / "backup.sqlite"
    back_up(record, target)
    before = target.read_bytes()
    with Store.open(record) as store:
        store.append(JOB, turn(), wall="", mono_s=601)
    for place in (1, 5, 10, 15, 20):
        program = subprocess.Popen(
            [sys.executable, "-c", SLOW, str(record), str(target)],
            cwd=ROOT, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        assert program.stdout is not None
        for _ in range(place):
            program.stdout.readline()
        program.kill()
        rest = program.stdout.read()
        program.wait()
        program.stdout.close()
        assert "made" not in rest
        assert target.read_bytes() == before
        assert target.with_name("backup.sqlite.part").exists()
    assert back_up(record, target).entries == 409
    assert not target.with_name("backup.sqlite.part").exists()
    with Store.open(record) as store:
        assert verify(store, JOB).count == 409


# --- disks that are full, limited or read-only ---------------------------------------------------


def limited(code: str, *arguments: object, most_bytes: int) -> subprocess.CompletedProcess:
    """A program that may write no file longer than so many bytes (RLIMIT_FSIZE)."""
    import resource

    def limit() -> None:
        import signal

        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, most_bytes))

    return subprocess.run(
        [sys.executable, "-c", code, *map(str, arguments)],
        cwd=ROOT, capture_output=True, text=True, preexec_fn=limit,
    )  # fmt: skip


APPEND = f"""
import sys
from pathlib import Path
from assistant.errors import RecordError
from assistant.records.store import Store

store = Store.open(Path(sys.argv[1]))
try:
    while True:
        print(store.append({JOB!r}, {{"said": "x" * 500}}, wall="", mono_s=700).seq, flush=True)
except RecordError as problem:
    print(problem, file=sys.stderr)
"""


def test_a_file_that_may_not_grow_loses_nothing_confirmed_and_says_what_to_do(record: Path):
    size = record.stat().st_size
    ran = limited(APPEND, record, most_bytes=size + 100_000)
    confirmed = [int(line) for line in ran.stdout.split()]
    assert len(confirmed) > 10
    assert "the disk" in ran.stderr and "all that was confirmed before is kept" in ran.stderr
    with Store.open(record) as store:
        verdict = verify(store, JOB)
        assert verdict.ok and verdict.count == confirmed[-1]
        assert store.append(JOB, turn(), wall="", mono_s=701).seq == confirmed[-1] + 1


def test_a_backup_that_may_not_grow_is_no_backup_and_is_said(record: Path, tmp_path: Path):
    target = tmp_path / "backup.sqlite"
    back_up(record, target)
    before = target.read_bytes()
    ran = limited(SLOW, record, target, most_bytes=300_000)
    assert "the disk didn't take the copy" in ran.stderr
    assert "an earlier one stays" in ran.stderr and "name another disk" in ran.stderr
    assert target.read_bytes() == before
    assert not target.with_name("backup.sqlite.part").exists()


def mounted(folder: Path, script: str, size: str = "700k") -> subprocess.CompletedProcess:
    """A shell script with a small disk of its own at `folder` (a tmpfs in its own namespace)."""
    setup = f"mount -t tmpfs -o size={size} tmpfs '{folder}' && {script}"
    command = ["unshare", "--mount", "--map-root-user", "sh", "-c", setup]
    if os.geteuid() == 0:
        command.remove("--map-root-user")
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True)


def can_mount(folder: Path) -> bool:
    return shutil.which("unshare") is not None and mounted(folder, "true").returncode == 0


FILL = f"""
import sys
from pathlib import Path
from assistant.errors import RecordError
from assistant.records.log import verify
from assistant.records.store import Store

path = Path(sys.argv[1]) / "records.sqlite"
store = Store.open(path)
store.create_job({JOB!r}, {HEAD!r}, "2026-03-02T08:00:00+00:00")
last = 1
try:
    while True:
        last = store.append({JOB!r}, {{"said": "x" * 500}}, wall="", mono_s=700).seq
except RecordError as problem:
    print(problem)
print("verified", verify(store, {JOB!r}).ok, verify(store, {JOB!r}).count == last, last > 20)
store.close()
Path(sys.argv[1], "ballast").unlink()  # room again
with Store.open(path) as store:
    print("goes on", store.append({JOB!r}, {{"said": "x"}}, wall="", mono_s=700).seq == last + 1)
    print("whole", verify(store, {JOB!r}).count == last + 1)
"""


def test_a_disk_that_is_really_full_loses_nothing_and_the_job_goes_on_once_there_is_room(
    tmp_path: Path,
):
    """A real file system of 700 kB, filled by the record itself."""
    disk = tmp_path / "disk"
    disk.mkdir()
    if not can_mount(disk):
        pytest.skip("this machine lets nobody mount a small disk")
    (tmp_path / "fill.py").write_text(FILL)
    ran = mounted(
        disk,
        f"head -c 60000 /dev/zero > '{disk}/ballast' && "
        f"PYTHONPATH='{ROOT}' '{sys.executable}' '{tmp_path}/fill.py' '{disk}'",
    )
    assert "the disk is full, so this was not written" in ran.stdout, ran.stdout + ran.stderr
    assert "Free some space, then say it again" in ran.stdout
    assert "verified True True True" in ran.stdout
    assert "goes on True\nwhole True" in ran.stdout


def test_a_backup_to_a_full_or_read_only_disk_says_so_and_the_record_goes_on(
    record: Path, tmp_path: Path
):
    disk = tmp_path / "disk"
    disk.mkdir()
    if not can_mount(disk):
        pytest.skip("this machine lets nobody mount a small disk")
    (tmp_path / "slow.py").write_text(SLOW)
    run = (
        f"PYTHONPATH='{ROOT}' '{sys.executable}' '{tmp_path}/slow.py' '{record}' '{disk}/b.sqlite'"
    )
    assert record.stat().st_size > 700_000
    full = mounted(disk, run)
    assert "MB free and the copy needs" in full.stderr
    read_only = mounted(disk, f"mount -o remount,ro '{disk}' && {run}", size="20m")
    assert "the copy can't be made" in read_only.stderr
    assert "Ask for the right to write there" in read_only.stderr
    with Store.open(record) as store:
        assert verify(store, JOB).ok


READ_ONLY = f"""
import sys
from pathlib import Path
from assistant.errors import RecordError
from assistant.records.store import Store

try:
    with Store.open(Path(sys.argv[1])) as store:
        store.append({JOB!r}, {{"said": "x"}}, wall="", mono_s=700)
except RecordError as problem:
    print(problem)
"""


def test_a_disk_that_turned_read_only_is_said_with_what_to_do(tmp_path: Path):
    disk = tmp_path / "disk"
    disk.mkdir()
    if not can_mount(disk):
        pytest.skip("this machine lets nobody mount a small disk")
    with Store.open(tmp_path / "records.sqlite") as store:
        fill(store, SetClock())
    (tmp_path / "ro.py").write_text(READ_ONLY)
    ran = mounted(
        disk,
        f"cp '{tmp_path}/records.sqlite' '{disk}/' && mount -o remount,ro '{disk}' && "
        f"PYTHONPATH='{ROOT}' '{sys.executable}' '{tmp_path}/ro.py' '{disk}/records.sqlite'",
    )
    assert "can't be written" in ran.stdout, ran.stdout + ran.stderr
    assert "what is there is kept" in ran.stdout and "--data" in ran.stdout
