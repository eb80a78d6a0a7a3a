"""`thirdhand record ...` as a person uses it: what is printed, and what bad use is told."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import icalendar
import pytest

from assistant import cli
from assistant.clock import SetClock
from assistant.records import signing
from assistant.records.store import Store
from tests.records.pinewharf import JOB, fill, judged, turn
from tests.test_cli import run

ROOT = Path(__file__).parents[1]
PHOTO = b"\xff\xd8\xff" + bytes(300)


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A data folder with two jobs of door D1, a year apart, and an old one of door D2."""
    folder = tmp_path / "data"
    with Store.open(folder / "records.sqlite") as store:
        fill(store, SetClock())
        for place, (year, door, value) in enumerate(
            ((2023, "D1", "12"), (2024, "D1", "8.5"), (2025, "D1", "6"), (2012, "D2", "3"))
        ):
            job, start = f"service-{year}", f"{year}-03-02T08:00:00+00:00"
            head = {"site": "Pinewharf Cold Store", "door": door, "title": "Service"}
            store.create_job(job, head, start)
            bounds = {"at_least": "1", "at_most": None, "unit": "megohm", "source": "IEC 60364-6"}
            told = judged("insulation", value, unit="megohm", bounds=bounds)
            end = {"kind": "finished", "open_points": 0}
            bodies = [turn("affirm", told, heard=f"caller {place}"), turn("done", end)]
            store.append_all(job, bodies, wall=f"{year}-03-02T08:00:05+00:00", mono_s=5.0)
    return folder


def record(capsys, data: Path, *words: object) -> tuple[int, str, str]:
    return run(capsys, "record", *words, "--data", data)


def test_a_job_is_signed_packed_and_taken_in_elsewhere_and_verifies_there(
    capsys, data: Path, tmp_path: Path
):
    status, out, _ = record(capsys, data, "sign", JOB)
    assert status == 0 and out.startswith("signed: entries 1 to 8, key ")
    name = out.strip().partition("key ")[2]
    packed = tmp_path / "d1.zip"
    assert record(capsys, data, "zip", JOB, packed)[0] == 0
    status, out, _ = run(capsys, "record", "verify", packed, "--signer", name)
    assert status == 0
    assert f"{JOB}: good: the chain holds" in out and f"signature: good, key {name}" in out
    elsewhere = tmp_path / "elsewhere"
    status, out, _ = record(capsys, elsewhere, "import", packed)
    assert (status, out) == (0, f"taken in: {JOB}, 8 entries\n")
    assert "here already" in record(capsys, elsewhere, "import", packed)[1]
    assert record(capsys, elsewhere, "verify", JOB, "--signer", name)[0] == 0
    status, out, _ = record(capsys, elsewhere, "verify", JOB, "--signer", "0000")
    assert status == 1 and "NOT by the key" in out
    assert not (elsewhere / signing.KEY_FILE).exists()


def test_the_pdf_of_a_job_taken_in_elsewhere_has_the_same_bytes(
    capsys, played: tuple[Path, str], tmp_path: Path
):
    here, there = tmp_path / "here", tmp_path / "there"
    here.mkdir()
    shutil.copy(played[0], here / "records.sqlite")
    job = played[1]
    assert record(capsys, here, "zip", job, tmp_path / "job.zip")[0] == 0
    assert record(capsys, there, "import", tmp_path / "job.zip")[0] == 0
    for folder in (here, there):
        command = [sys.executable, "-m", "assistant.cli", "record", "report", job]
        command += ["--data", str(folder), "--out", str(folder / "r.pdf")]
        subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    assert (here / "r.pdf").read_bytes() == (there / "r.pdf").read_bytes()
    assert (here / "r.pdf").read_bytes().startswith(b"%PDF")


def test_a_tampered_zip_and_another_job_of_that_name_are_refused(
    capsys, data: Path, tmp_path: Path
):
    packed = tmp_path / "d1.zip"
    record(capsys, data, "zip", JOB, packed)
    with Store.open(data / "records.sqlite") as store:
        store.append(JOB, turn(), wall="", mono_s=99)
    status, _, err = record(capsys, data, "import", packed)
    assert status == 1 and "its log is another one (9 entries here, 8 in the zip)" in err
    packed.write_bytes(packed.read_bytes().replace(b"proven-dead", b"proven-deaf", 1))
    status, _, err = run(capsys, "record", "verify", packed)
    assert status == 1 and re.search("isn't a whole record|no whole zip", err)


def test_all_jobs_are_verified_at_once_and_a_clock_that_jumped_is_shown(capsys, data: Path):
    with Store.open(data / "records.sqlite") as store:
        store.append("service-2025", turn(), wall="2025-03-02T09:00:10+00:00", mono_s=10.0)
    status, out, _ = record(capsys, data, "verify")
    assert status == 0 and out.count("good: the chain holds") == 5
    assert "clock: the wall clock went ahead (set, or the machine slept) by 3600 s" in out
    with Store.open(data / "records.sqlite") as store:
        store._conn.execute("DROP TRIGGER entries_no_update")
        store._conn.execute("UPDATE entries SET wall = 'x' WHERE job = ? AND seq = 2", [JOB])
    status, out, _ = record(capsys, data, "verify", "--json")
    found = json.loads(out)
    assert status == 1 and found[JOB]["first_bad_seq"] == 2 and found["service-2025"]["good"]


def test_a_door_over_the_years_is_told_in_plain_words(capsys, data: Path, tmp_path: Path):
    _, out, _ = record(capsys, data, "history", "D1")
    assert "2023-03-02  service-2023" in out and "1 readings; failed: none" in out
    status, out, _ = record(
        capsys, data, "trend", "d1", "insulation", "--svg", tmp_path / "plot.svg"
    )
    assert status == 0 and "insulation halved in 3 visits, from 12 to 6 Mohm" in out
    assert (tmp_path / "plot.svg").read_text().startswith("<svg")
    status, _, err = record(capsys, data, "trend", "d1", "closing")
    assert status == 1 and "it has: insulation" in err
    _, out, _ = record(capsys, data, "due")
    first = out.splitlines()[0]
    assert first.startswith("2013-03-02  door D2") and "OVERDUE" in first
    _, out, _ = record(capsys, data, "search", "CALLER 1")
    assert "service-2024  entry 2  caller 1" in out
    assert record(capsys, data, "search", "nothing like it")[0] == 1
    target = tmp_path / "due.ics"
    assert record(capsys, data, "ics", "service-2025", "--days", "30", "--out", target)[0] == 0
    (event,) = icalendar.Calendar.from_ical(target.read_bytes()).walk("VEVENT")
    assert event.decoded("dtstart").isoformat() == "2025-04-01"


def test_what_is_kept_of_people_is_shown_and_taken_out_only_on_yes(
    capsys, data: Path, tmp_path: Path
):
    photo = tmp_path / "panel.jpg"
    photo.write_bytes(PHOTO)
    assert "entry 9: photo panel.jpg" in record(capsys, data, "attach", JOB, photo)[1]
    _, out, _ = record(capsys, data, "privacy", JOB)
    assert "photos: 1, 303 bytes (entries 9)" in out
    assert "sound clips are not kept for this job" in out
    words = ("redact", JOB, "photos", "--who", "office", "--why", "asked for")
    status, _, err = record(capsys, data, *words)
    assert status == 2 and "add --yes" in err
    status, out, err = record(capsys, data, *words, "--yes")
    assert status == 0 and "taken out of 1 entries, 1 files; the chain holds" in out
    assert "Backups and exports made before still have it" in err
    status, out, _ = record(capsys, data, "verify", JOB)
    assert status == 0 and "redacted: 1 entries" in out
    assert "photos: 0, 0 bytes" in record(capsys, data, "privacy", JOB)[1]


def test_retention_names_the_old_jobs_first_and_takes_out_only_on_yes(capsys, data: Path):
    words = ("retention", "words", "--years", "10", "--who", "office")
    _, out, _ = record(capsys, data, *words)
    assert "service-2012" in out and "service-2025" not in out and "nothing was taken out" in out
    assert "service-2012: taken out" in record(capsys, data, *words, "--yes")[1]
    assert "service-2012: nothing of the kind" in record(capsys, data, *words, "--yes")[1]
    _, out, _ = record(capsys, data, "show", "service-2012")
    assert "kept for 10 years" in out and "[redacted]" in out and "caller 3" not in out
    assert record(capsys, data, "verify")[0] == 0


def test_a_backup_is_made_and_its_damage_told(capsys, data: Path, tmp_path: Path):
    target = tmp_path / "backup.sqlite"
    status, out, _ = record(capsys, data, "backup", target)
    assert status == 0 and "5 jobs, 20 entries" in out and "verified" in out
    shutil.move(target, tmp_path / "records.sqlite")  # a backup is a data folder's file
    assert record(capsys, tmp_path, "verify")[0] == 0
    with Store.open(data / "records.sqlite") as store:
        store._conn.execute("DROP TRIGGER entries_no_update")
        store._conn.execute("UPDATE entries SET wall = 'x' WHERE seq = 2")
    status, out, _ = record(capsys, data, "backup", target)
    assert status == 1 and "NOT GOOD in the record already" in out


def test_the_published_schema_is_printed(capsys, tmp_path: Path):
    _, out, _ = run(capsys, "record", "schema")
    assert json.loads(out)["$id"] == "urn:thirdhand:record:2"
    run(capsys, "record", "schema", "--out", tmp_path / "s.json")
    assert json.loads((tmp_path / "s.json").read_text()) == json.loads(out)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs Linux's device that is full")
@pytest.mark.parametrize(
    "what", [["export", JOB], ["export", JOB, "--csv"], ["ics", "service-2025"]]
)
def test_an_export_to_a_full_disk_says_what_to_do(capsys, data: Path, what: list[str]):
    status, _, err = record(capsys, data, *what, "--out", "/dev/full")
    assert status == 2
    assert "/dev/full: can't be written: No space left on device; the record is as it was" in err


def test_a_file_that_cant_be_written_leaves_no_part_of_it(capsys, data: Path, tmp_path: Path):
    blocked = tmp_path / "file"
    blocked.write_text("x")
    status, _, err = record(capsys, data, "export", JOB, "--out", blocked / "out.json")
    assert status == 2 and "name another place with --out" in err
    old = tmp_path / "old.json"
    old.write_text("kept until the new one is whole")
    assert record(capsys, data, "export", JOB, "--out", old)[0] == 0
    assert json.loads(old.read_text())["job"] == JOB
    assert not list(tmp_path.glob("*.part"))


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["redact", JOB, "words", "--why", "x", "--yes"], "--who"),
        (["retention", "words", "--years", "0", "--who", "x"], "no whole number"),
        (["show", "d9"], "there is no job 'd9'; jobs here:"),
        (["history", "D9"], "doors on record: D1 at Pinewharf Cold Store"),
        (["import", "nowhere.zip"], "can't be read"),
        (["verify", "nowhere.zip"], "can't be read"),
        (["attach", JOB, "nowhere.jpg"], "can't be read"),
        (["backup", "/nowhere/x.sqlite"], "no such folder"),
        (["nothing"], "invalid choice"),
    ],
)
def test_bad_use_of_the_record_is_told(capsys, data: Path, words: list[str], message: str):
    status, out, err = record(capsys, data, *words)
    assert status in (1, 2)
    assert message in err + out


def test_every_sub_command_helps_and_the_data_folder_may_be_named_before_it(capsys, data: Path):
    status, out, _ = run(capsys, "record", "--data", data, "list")
    assert status == 0 and JOB in out
    from assistant import cli_record

    for name in [*cli_record._RUN, "schema", "backup"]:
        with pytest.raises(SystemExit) as ended:
            cli.main(["record", name, "--help"])
        assert ended.value.code == 0
        assert capsys.readouterr().out.startswith(f"usage: thirdhand record {name}")


def test_a_job_at_work_in_another_program_is_backed_up_and_exported(data: Path, tmp_path: Path):
    """The real commands, beside a program that writes."""
    code = (
        "import sys, time; from pathlib import Path; from assistant.records.store import Store\n"
        "with Store.open(Path(sys.argv[1])) as store:\n"
        "    print('ready', flush=True)\n"
        "    while True:\n"
        f"        store.append('{JOB}', {{'n': 1}}, wall='', mono_s=99.0)\n"
        "        time.sleep(0.005)\n"
    )
    writer = subprocess.Popen(
        [sys.executable, "-c", code, str(data / "records.sqlite")],
        cwd=ROOT, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert writer.stdout is not None and writer.stdout.readline() == "ready\n"
        for what in (["backup", tmp_path / "b.sqlite"], ["zip", JOB, tmp_path / "j.zip"]):
            command = [sys.executable, "-m", "assistant.cli", "record", *map(str, what)]
            ran = subprocess.run(
                [*command, "--data", str(data)], cwd=ROOT, capture_output=True, text=True
            )
            assert ran.returncode == 0, ran.stderr
    finally:
        writer.kill()
        writer.communicate()
