"""A job in one zip: the same bytes each time, checked to the last one, taken in without change."""

from __future__ import annotations

import csv
import io
import json
import random
import shutil
import stat
import struct
import zipfile
from pathlib import Path

import jsonschema
import pandas
import pytest

from assistant.clock import SetClock
from assistant.errors import RecordError
from assistant.records import attachments, bundle, retention, signing
from assistant.records.log import COLUMNS, export_csv, export_json, verify
from assistant.records.store import Store
from tests.records import old_format
from tests.records.pinewharf import HEAD, JOB, fill, judged, turn

PHOTO = b"\xff\xd8\xff\xe0" + bytes(range(256)) * 4
CLIP = b"RIFF" + struct.pack("<I", 36) + b"WAVE" + bytes(32)
SCHEMA = json.loads(bundle.schema())


@pytest.fixture
def rich(filled: Store, tmp_path: Path) -> Store:
    """The job of eight entries with texts, a photo, a clip, a redaction and a signature."""
    wall = "2026-03-02T09:00:00+00:00"
    attachments.attach(filled, JOB, PHOTO, name="panel.jpg", wall=wall, step="guard-on")
    attachments.attach(filled, JOB, CLIP, name="note.wav", wall=wall, about=6)
    retention.redact(filled, JOB, "clips", who="lead", why="asked for", wall=wall)
    signing.sign(filled, JOB, signing.key_in(tmp_path), wall)
    return filled


def written(store: Store, path: Path, job: str = JOB) -> Path:
    with path.open("wb") as file:
        bundle.write(store, job, file)
    return path


def validate(document: object, name: str = "") -> None:
    schema = {**SCHEMA, "$ref": f"#/$defs/{name}"} if name else SCHEMA
    if name:
        schema = {"$schema": SCHEMA["$schema"], "$ref": f"#/$defs/{name}", "$defs": SCHEMA["$defs"]}
    jsonschema.Draft202012Validator(schema).validate(document)


# --- schema --------------------------------------------------------------------------------------


def test_the_schema_itself_is_valid_json_schema():
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_every_file_of_a_bundle_validates_against_the_published_schema(rich: Store, tmp_path: Path):
    archive = zipfile.ZipFile(written(rich, tmp_path / "job.zip"))
    validate(json.loads(archive.read("record.json")))
    validate(json.loads(archive.read("manifest.json")), "manifest")
    validate(json.loads(archive.read("signatures.json")), "signatures")
    rows = csv.DictReader(io.StringIO(archive.read("readings.csv").decode("utf-8-sig"), newline=""))
    found = list(rows)
    assert len(found) == 4
    for row in found:
        validate(row, "reading-row")


def test_a_whole_played_job_validates_against_the_published_schema(played: tuple[Path, str]):
    with Store.open(played[0]) as store:
        validate(json.loads(export_json(store, played[1])))
        rows = list(csv.DictReader(io.StringIO(export_csv(store, played[1]), newline="")))
    assert len(rows) > 10
    for row in rows:
        validate(row, "reading-row")


@pytest.mark.parametrize(
    "wrong",
    [
        {"format": "thirdhand-record/9"},
        {"entries": []},
        {"hash": "00"},
        {"extra": 1},
        {"entries": [{"seq": 1}]},
    ],
)
def test_the_schema_refuses_what_is_no_record(filled: Store, wrong: dict):
    document = json.loads(export_json(filled, JOB)) | wrong
    with pytest.raises(jsonschema.ValidationError):
        validate(document)


def test_csv_opens_in_pandas_with_the_same_values(filled: Store, tmp_path: Path):
    path = tmp_path / "readings.csv"
    path.write_text(export_csv(filled, JOB), encoding="utf-8-sig", newline="")
    table = pandas.read_csv(path, encoding="utf-8-sig", dtype={"value": str})
    assert list(table.columns) == list(COLUMNS.values())
    assert list(table["value"].fillna("")) == ["0.2", "0.10", "0.30", ""]
    assert list(table["SI value"])[:3] == [0.2, 0.2, 0.2]
    assert list(table["verdict"]) == ["pass"] * 4


# --- the same bytes ------------------------------------------------------------------------------


def test_the_same_record_gives_the_same_bytes(rich: Store, tmp_path: Path):
    one, two = written(rich, tmp_path / "1.zip"), written(rich, tmp_path / "2.zip")
    assert one.read_bytes() == two.read_bytes()


def test_a_bundle_taken_in_elsewhere_gives_the_same_bytes_again(rich: Store, tmp_path: Path):
    first = written(rich, tmp_path / "1.zip")
    with Store.open(tmp_path / "elsewhere" / "records.sqlite") as other:
        assert bundle.take_in(other, first) == (JOB, 11)
        assert written(other, tmp_path / "2.zip").read_bytes() == first.read_bytes()
        assert verify(other, JOB).ok
        assert signing.check(other, JOB).state == "good"
        assert other.attachment(JOB, 9) == PHOTO
        assert other.attachment(JOB, 10) is None  # redacted before, and so it stays
        assert other.append(JOB, turn(), wall="", mono_s=99).seq == 12


def test_a_whole_played_job_goes_to_another_machine_and_is_opened_there(
    played: tuple[Path, str], tmp_path: Path
):
    """The other machine resumes the job from the zip alone, with the same readings."""
    from assistant.job import Jobs

    with Store.open(played[0]) as store:
        path = written(store, tmp_path / "job.zip", played[1])
    jobs = Jobs(tmp_path / "other")
    bundle.take_in(jobs.store, path)
    with Store.open(played[0]) as store:
        assert store.readings(played[1]) == jobs.store.readings(played[1])
        there = {row["name"]: row["value"] for row in store.readings(played[1])}
    here = {row["name"]: row["written"] for row in jobs.open(played[1]).view()["readings"]}
    assert here.keys() == there.keys()
    assert here["supply.l-n"] == "231 V"
    jobs.store.close()


def test_it_holds_the_texts_the_photos_and_no_key(rich: Store, tmp_path: Path, clock: SetClock):
    rich.create_job("d2", HEAD | {"texts": {"job.yaml": "job: d2\n", "a/steps.yaml": "x"}}, "")
    names = zipfile.ZipFile(written(rich, tmp_path / "d2.zip", "d2")).namelist()
    assert {"texts/job.yaml", "texts/a/steps.yaml", "record.json", "manifest.json"} <= set(names)
    path = written(rich, tmp_path / "d1.zip")
    archive = zipfile.ZipFile(path)
    assert archive.read("attachments/000009.jpg") == PHOTO
    assert "attachments/000010.wav" not in archive.namelist()
    assert b"PRIVATE KEY" not in path.read_bytes()
    assert (tmp_path / signing.KEY_FILE).read_bytes().splitlines()[1] not in path.read_bytes()


def test_a_bundle_made_while_another_program_writes_is_of_one_moment(tmp_path: Path):
    """Each of its parts is read at another time; without one moment for all they don't fit."""
    path, out = tmp_path / "records.sqlite", tmp_path / "job.zip"
    with Store.open(path) as store, Store.open(path) as other:
        fill(store, SetClock())
        read = store.readings

        def readings(job: str) -> list:
            other.append(JOB, turn("affirm", judged("later", "1")), wall="", mono_s=99)
            return read(job)

        store.readings = readings  # type: ignore[method-assign]
        written(store, out)
        assert other.job(JOB)["count"] == 9
    found, _ = bundle.read(out)
    assert found.job(JOB)["count"] == 8
    found.close()


def test_a_job_of_the_first_format_goes_through_a_zip_as_it_is(tmp_path: Path):
    path = tmp_path / "old.sqlite"
    old_format.write(path)
    with Store.open(path) as store, Store.memory() as other:
        validate(json.loads(export_json(store, JOB)))
        bundle.take_in(other, written(store, tmp_path / "job.zip"))
        assert [row.hash for row in other.rows(JOB)] == [row.hash for row in store.rows(JOB)]
        assert {row.seal for row in other.rows(JOB)} == {None}
        assert verify(other, JOB).ok


# --- import never overwrites ---------------------------------------------------------------------


def test_the_same_job_again_changes_nothing(rich: Store, tmp_path: Path):
    path = written(rich, tmp_path / "job.zip")
    assert bundle.take_in(rich, path) == (JOB, 0)
    assert verify(rich, JOB).count == 11


def test_a_job_of_the_same_name_with_another_chain_is_refused(rich: Store, tmp_path: Path):
    path = written(rich, tmp_path / "job.zip")
    with Store.memory() as other:
        fill(other, SetClock())
        before = other.rows(JOB)
        with pytest.raises(RecordError, match=r"there is a job 'pinewharf-d1' here already.*8 ent"):
            bundle.take_in(other, path)
        assert other.rows(JOB) == before


def test_a_log_that_isnt_whole_is_not_packed(filled: Store, tmp_path: Path):
    filled._conn.execute("DROP TRIGGER entries_no_update")
    filled._conn.execute("UPDATE entries SET wall = 'x' WHERE seq = 4")
    with pytest.raises(RecordError, match=r"isn't whole.*entry 4 was changed"):
        written(filled, tmp_path / "job.zip")


# --- zips that are refused -----------------------------------------------------------------------


def refused(path: Path, match: str) -> None:
    with Store.memory() as other:
        with pytest.raises(RecordError, match=match):
            bundle.take_in(other, path)
        assert other.jobs() == []


def repacked(source: Path, target: Path, change: dict[str, bytes | None], **extra: bytes) -> Path:
    """A zip with some files changed (None: left out) and more added, its manifest as it was."""
    old = zipfile.ZipFile(source)
    with zipfile.ZipFile(target, "w", zipfile.ZIP_STORED) as new:
        for name in old.namelist():
            data = change.get(name, old.read(name))
            if data is not None:
                new.writestr(name, data)
        for name, data in extra.items():
            new.writestr(name, data)
    return target


def with_manifest(source: Path, target: Path, change: dict[str, bytes]) -> Path:
    """As `repacked`, with the digests of the manifest made to fit."""
    from hashlib import sha256

    manifest = json.loads(zipfile.ZipFile(source).read("manifest.json"))
    for each in manifest["files"]:
        if each["name"] in change:
            data = change[each["name"]]
            each |= {"size": len(data), "sha256": sha256(data).hexdigest()}
    text = json.dumps(manifest, indent=1, ensure_ascii=True, sort_keys=True).encode()
    return repacked(source, target, {**change, "manifest.json": text})


def test_a_changed_reading_is_refused_even_with_a_manifest_that_fits(rich: Store, tmp_path: Path):
    path = written(rich, tmp_path / "job.zip")
    archive = zipfile.ZipFile(path)
    record = archive.read("record.json").replace(b'"0.30"', b'"0.20"')
    refused(repacked(path, tmp_path / "1.zip", {"record.json": record}), "record.json was changed")
    refused(with_manifest(path, tmp_path / "2.zip", {"record.json": record}), "entry 5 was changed")
    table = archive.read("readings.csv").replace(b"0.30", b"0.20")
    forged = with_manifest(path, tmp_path / "3.zip", {"readings.csv": table})
    refused(forged, "readings.csv isn't what its record.json makes")
    photo = PHOTO.replace(b"\x10", b"\x11", 1)
    forged = with_manifest(path, tmp_path / "4.zip", {"attachments/000009.jpg": photo})
    refused(forged, "the file of entry 9 was changed")


@pytest.mark.parametrize(
    "name", ["../evil.json", "/etc/evil", "texts/../../x.yaml", "C:\\x", "x/y"]
)
def test_a_name_that_leads_out_of_the_folder_is_refused(rich: Store, tmp_path: Path, name: str):
    path = repacked(written(rich, tmp_path / "job.zip"), tmp_path / "slip.zip", {}, **{name: b"x"})
    refused(path, "that no record has")
    assert not (tmp_path.parent / "evil.json").exists()


def test_a_bomb_is_refused_unread(rich: Store, tmp_path: Path):
    path = tmp_path / "bomb.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("record.json", bytes(50_000_000))
        archive.writestr("manifest.json", b"{}")
    assert path.stat().st_size < 100_000
    refused(path, "'record.json' is compressed")


def test_a_zip_whose_directory_lies_about_sizes_is_refused(rich: Store, tmp_path: Path):
    path = written(rich, tmp_path / "job.zip")
    data = bytearray(path.read_bytes())
    place = data.index(b"PK\x01\x02")
    struct.pack_into("<II", data, place + 20, 4_000_000_000, 4_000_000_000)
    path.write_bytes(data)
    refused(path, "bigger than any record's|no whole zip|Overlapped")


def test_too_many_files_and_files_too_big_are_refused(
    rich: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    path = written(rich, tmp_path / "job.zip")
    with monkeypatch.context() as patch:
        patch.setattr(bundle, "MOST_FILES", 3)
        refused(path, "3 are the most")
    with monkeypatch.context() as patch:
        patch.setattr(bundle, "MOST_TEXT_BYTES", 1000)
        refused(path, "bigger than any record's")
    with monkeypatch.context() as patch:
        patch.setattr(bundle, "MOST_TOTAL_BYTES", 1000)
        refused(path, "bigger than any record's")


def test_files_left_out_added_twice_or_packed_anew_are_refused(rich: Store, tmp_path: Path):
    path = written(rich, tmp_path / "job.zip")
    refused(repacked(path, tmp_path / "1.zip", {"readings.csv": None}), "but not in both")
    refused(repacked(path, tmp_path / "2.zip", {"record.json": None}), "has no record.json")
    refused(repacked(path, tmp_path / "3.zip", {}, **{"notes.txt": b"x"}), "but not in both")
    refused(repacked(path, tmp_path / "4.zip", {}), "it was packed anew")
    with pytest.warns(UserWarning, match="Duplicate"):
        twice = repacked(path, tmp_path / "5.zip", {}, **{"record.json": b"{}"})
    refused(twice, "has a file 'record.json'")
    shutil.copy(path, tmp_path / "6.zip")
    with (tmp_path / "6.zip").open("ab") as file:
        file.write(b"trailing")
    refused(tmp_path / "6.zip", "packed anew|no whole zip")


@pytest.mark.parametrize(
    ("record", "match"),
    [
        (b"[]", "has the format None"),
        (b'{"format":"thirdhand-record/9"}', "'thirdhand-record/9'"),
        (b'{"format":"thirdhand-record/2"}', "aren't those of a record"),
        (b"{" * 100_000, "is no JSON"),
        (b'{"format":"thirdhand-record/2","entries":[{"seq":NaN}]}', "aren't those of a record"),
    ],
)
def test_a_record_of_another_form_is_refused(
    rich: Store, tmp_path: Path, record: bytes, match: str
):
    path = with_manifest(
        written(rich, tmp_path / "job.zip"), tmp_path / "2.zip", {"record.json": record}
    )
    refused(path, match)


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04", b"no zip at all" * 50])
def test_what_is_no_zip_is_said(tmp_path: Path, content: bytes):
    path = tmp_path / "x.zip"
    path.write_bytes(content)
    refused(path, "no whole zip file")
    refused(tmp_path / "nowhere.zip", "can't be read")


def test_a_link_in_a_zip_is_no_file_of_ours(rich: Store, tmp_path: Path):
    path = written(rich, tmp_path / "job.zip")
    with zipfile.ZipFile(path, "a") as archive:
        link = zipfile.ZipInfo("texts/link.yaml")
        link.create_system, link.external_attr = 3, (stat.S_IFLNK | 0o777) << 16
        archive.writestr(link, "/etc/passwd")
    refused(path, "but not in both")


def test_any_byte_of_a_bundle_changed_is_found(rich: Store, tmp_path: Path):
    """Two hundred places by chance, all over the file."""
    path = written(rich, tmp_path / "job.zip")
    data = path.read_bytes()
    draw = random.Random(20260302)
    for _ in range(200):
        place, by = draw.randrange(len(data)), draw.randrange(1, 256)
        path.write_bytes(data[:place] + bytes([data[place] ^ by]) + data[place + 1 :])
        with pytest.raises(RecordError):
            bundle.read(path)[0].close()
    path.write_bytes(data)
    bundle.read(path)[0].close()


# --- attachments ---------------------------------------------------------------------------------


def test_a_photo_is_known_by_its_bytes_not_its_name(filled: Store, tmp_path: Path):
    path = tmp_path / "panel.jpg"
    path.write_bytes(b"<html>not a photo</html>")
    with pytest.raises(RecordError, match="is no JPEG, PNG or WebP photo"):
        attachments.attach_file(filled, JOB, path, wall="")
    with pytest.raises(RecordError, match="can't be read"):
        attachments.attach_file(filled, JOB, tmp_path / "nowhere.jpg", wall="")
    path.write_bytes(PHOTO)
    entry = attachments.attach_file(filled, JOB, path, wall="", step="guard-on")
    assert entry.kind == "attachment"
    assert (entry.seq, filled.attachment(JOB, 9)) == (9, PHOTO)
    assert entry.mono_s == 17.5  # that of the entry before: there is no clock here


def test_a_file_too_big_is_refused(filled: Store, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(attachments, "MOST_BYTES", 100)
    with pytest.raises(RecordError, match="make it smaller"):
        attachments.attach(filled, JOB, PHOTO, name="p", wall="")


@pytest.mark.parametrize(
    ("statement", "seq", "why"),
    [
        ("UPDATE attachments SET data = x'00' WHERE seq = 9", 9, "was changed"),
        ("UPDATE attachments SET data = NULL WHERE seq = 9", 9, "is gone, and no redaction"),
        ("DELETE FROM attachments WHERE seq = 9", 9, "is missing"),
        ("INSERT INTO attachments VALUES ('pinewharf-d1', 4, x'00')", 4, "added outside"),
        ("UPDATE attachments SET seq = 8 WHERE seq = 9", 8, "added outside"),
    ],
)
def test_a_changed_lost_or_added_file_is_found(rich: Store, statement: str, seq: int, why: str):
    for (name,) in rich._conn.execute(
        "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    ).fetchall():
        rich._conn.execute(f"DROP TRIGGER {name}")
    rich._conn.execute("PRAGMA foreign_keys = OFF")
    rich._conn.execute(statement)
    verdict = verify(rich, JOB)
    assert (verdict.ok, verdict.first_bad_seq) == (False, seq)
    assert why in verdict.why


def test_a_reading_that_is_a_formula_is_text_in_the_bundle(filled: Store, tmp_path: Path):
    filled.append(JOB, turn("affirm", judged("x", "1", step="=cmd()")), wall="", mono_s=30)
    table = zipfile.ZipFile(written(filled, tmp_path / "job.zip")).read("readings.csv").decode()
    assert "'=cmd()" in table and ",=cmd()" not in table
