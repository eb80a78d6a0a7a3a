"""What is kept of people is shown; it can be taken out for good, and the chain still holds."""

from __future__ import annotations

import json
import shutil
import sqlite3
from pathlib import Path

import pytest

from assistant.clock import SetClock
from assistant.errors import RecordError
from assistant.job import JobSession
from assistant.records import attachments, chain, retention
from assistant.records.log import export_csv, export_json, show, verify
from assistant.records.store import Store
from tests.records import old_format
from tests.records.pinewharf import HEAD, JOB, fill, judged, turn

WALL = "2036-03-02T09:00:00+00:00"
SECRET = "ask Robin Quill at gate nine"
PHOTO = b"\xff\xd8\xff" + b"face of a person" * 40
CLIP = b"RIFF\0\0\0\0WAVE" + b"voice of a person" * 40


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A file with the job of eight entries, a note with a name, a photo and a clip."""
    file = tmp_path / "records.sqlite"
    with Store.open(file) as store:
        fill(store, SetClock())
        note = turn("note", {"kind": "noted", "text": SECRET}, heard=f"note {SECRET}")
        store.append(JOB, note, wall=WALL, mono_s=30)
        attachments.attach(store, JOB, PHOTO, name="Robin.jpg", wall=WALL)
        attachments.attach(store, JOB, CLIP, name="Robin.wav", wall=WALL, about=9)
    return file


def redact(store: Store, what: str, **more) -> retention.Redaction:
    told = {"who": "office", "why": "retention time is over", "wall": WALL} | more
    return retention.redact(store, JOB, what, **told)


def raw(path: Path) -> bytes:
    """All bytes on disk: the file and its write-ahead log."""
    return b"".join(each.read_bytes() for each in path.parent.glob(f"{path.name}*"))


def test_what_is_kept_is_counted(path: Path):
    with Store.open(path) as store:
        store.create_job("d2", HEAD | {"job": {"people": ["lead", "R. Quill"]}}, WALL)
        found = retention.kept(store, JOB)
        assert (found.entries, found.old, found.gone, found.names) == (11, 0, (), ())
        assert found.clips == ((11, len(CLIP)),) and found.photos == ((10, len(PHOTO)),)
        assert found.words > 20 and found.words_bytes > len(SECRET) * 2
        assert not found.keep_clips
        assert retention.kept(store, "d2").names == ("R. Quill",)


def test_words_taken_out_are_nowhere_on_disk_and_the_chain_holds(path: Path):
    with Store.open(path) as store:
        before = store.readings(JOB)
        assert SECRET.encode() in raw(path)
        done = redact(store, "words")
        assert done.clean and done.texts > 20
        assert SECRET.encode() not in raw(path)
        assert b"Robin" not in raw(path)
        verdict = verify(store, JOB)
        assert (verdict.ok, verdict.count) == (True, 12)
        assert set(verdict.redacted) == set(done.entries)
        after = store.readings(JOB)
        for was, now in zip(before, after, strict=True):
            assert (was["value"], was["verdict"], was["hash"]) == (
                now["value"],
                now["verdict"],
                now["hash"],
            )
        assert {row["heard"] for row in after} == {chain.REDACTED}
        assert store.attachment(JOB, 10) == PHOTO  # words only
        assert any(chain.REDACTED in line for line in show(store, JOB))
        assert "~sealed" not in export_csv(store, JOB)
        assert retention.kept(store, JOB).words == 0
        assert not redact(store, "words").entries  # nothing is left to take
        assert verify(store, JOB).count == 12


def test_the_salts_go_with_the_words_so_that_a_short_word_cant_be_guessed(path: Path):
    with Store.open(path) as store:
        salts = json.loads(store.rows(JOB)[2].salts)
        redact(store, "words", only=frozenset({3}))
        assert salts["/event/heard"].encode() not in raw(path)
        assert salts[""].encode() in raw(path)  # the rest of the body can still be checked
        row = store.rows(JOB)[2]
        assert "/event/heard" not in row.salts
        assert json.loads(row.body)["event"]["heard"].keys() == {chain.MARK}


def test_files_taken_out_are_nowhere_on_disk(path: Path):
    with Store.open(path) as store:
        done = redact(store, "photos")
        assert (done.entries, done.files) == ((10,), 1)
        assert b"face of a person" not in raw(path) and b"Robin.jpg" not in raw(path)
        assert CLIP in raw(path) or b"voice of a person" in raw(path)
        redact(store, "clips")
        assert b"voice of a person" not in raw(path)
        assert verify(store, JOB).ok


def test_everything_taken_out_leaves_only_that_there_were_entries_and_when(path: Path):
    with Store.open(path) as store:
        redact(store, "everything")
        assert b"Robin" not in raw(path) and b"dead.l1-l2" not in raw(path)
        assert b"Pinewharf Cold Store, D1" in raw(path)  # the job's title in the list
        verdict = verify(store, JOB)
        assert (verdict.ok, verdict.count, len(verdict.redacted)) == (True, 12, 11)
        assert store.readings(JOB) == []
        with pytest.raises(RecordError, match="was redacted"):
            store.head(JOB)
        lines = list(show(store, JOB))
        assert "everything" in lines[-1] and "retention time is over" in lines[-1]
        store._conn.execute("DROP TRIGGER jobs_no_update")
        store._conn.execute("UPDATE jobs SET title = 'other'")
        assert verify(store, JOB).first_bad_seq == 1


def test_the_redaction_entry_says_who_when_why_and_what_and_is_never_taken_out(path: Path):
    with Store.open(path) as store:
        redact(store, "words", only=frozenset({9}))
        last = list(store.entries(JOB))[-1]
        assert (last.kind, last.wall, last.mono_s) == ("redaction", WALL, 30.0)
        assert last.body["redaction"] == {
            "what": "words",
            "who": "office",
            "why": "retention time is over",
            "entries": [9],
        }
        redact(store, "everything")
        assert "retention time is over" in json.dumps(store.rows(JOB)[11].body)


def test_what_was_taken_out_without_a_redaction_entry_is_found(path: Path):
    with Store.open(path) as store:
        row = store.rows(JOB)[8]
        body, salts = json.loads(row.body), json.loads(row.salts)
        less = chain.without(body, salts, ["/event/heard"])
        del salts["/event/heard"]
        given = [chain.canonical(less), chain.canonical(salts)]
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            store._conn.execute("UPDATE entries SET body = ?, salts = ? WHERE seq = 9", given)
        store._conn.execute("DROP TRIGGER entries_no_update")
        store._conn.execute("UPDATE entries SET body = ?, salts = ? WHERE seq = 9", given)
        verdict = verify(store, JOB)
        assert (verdict.ok, verdict.first_bad_seq) == (False, 9)
        assert "no redaction entry says so" in verdict.why


def test_a_redaction_of_words_covers_no_more_than_words(path: Path):
    """Whoever uses it to take out a whole body, or a photo, is found."""
    with Store.open(path) as store:
        redact(store, "words", only=frozenset({9, 10}))
        store._conn.execute("DROP TRIGGER entries_no_update")
        store._conn.execute("BEGIN")
        seal = store.rows(JOB)[8].seal
        body = chain.canonical({chain.MARK: seal})
        store._conn.execute("UPDATE entries SET body = ?, salts = NULL WHERE seq = 9", [body])
        assert verify(store, JOB).first_bad_seq == 9
        store._conn.execute("ROLLBACK")
        assert verify(store, JOB).ok
        store._conn.execute("UPDATE attachments SET data = NULL WHERE seq = 10")
        verdict = verify(store, JOB)
        assert verdict.first_bad_seq == 10 and "no redaction entry says so" in verdict.why


def test_a_redacted_entry_cant_be_given_other_words(path: Path):
    with Store.open(path) as store:
        redact(store, "words", only=frozenset({9}))
        row = store.rows(JOB)[8]
        body = json.loads(row.body)
        body["event"]["heard"] = "all was well"
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            store._conn.execute(
                "UPDATE entries SET body = ? WHERE seq = 9", [chain.canonical(body)]
            )
        store._conn.execute("DROP TRIGGER entries_no_update")
        store._conn.execute("UPDATE entries SET body = ? WHERE seq = 9", [chain.canonical(body)])
        assert verify(store, JOB).first_bad_seq == 9


def test_a_redaction_needs_a_name_and_a_reason_and_entries_that_are_there(path: Path):
    with Store.open(path) as store:
        for more in ({"who": " "}, {"why": ""}):
            with pytest.raises(RecordError, match="give both"):
                redact(store, "words", **more)
        with pytest.raises(RecordError, match="has no entry 99"):
            redact(store, "words", only=frozenset({99}))
        assert verify(store, JOB).count == 11


def test_from_a_record_of_the_first_format_nothing_can_be_taken_and_that_is_said(tmp_path: Path):
    file = tmp_path / "old.sqlite"
    old_format.write(file)
    with Store.open(file) as store:
        with pytest.raises(RecordError, match="first version of the record"):
            redact(store, "words")
        assert retention.kept(store, JOB).old == 4
        assert verify(store, JOB).count == 4


def test_another_program_that_holds_the_file_is_told_of(path: Path):
    """Its read keeps the old pages in the write-ahead log; that is not called clean."""
    with Store.open(path) as store:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN")
        other.execute("SELECT count(*) FROM entries").fetchall()
        store._conn.execute("PRAGMA busy_timeout = 50")
        assert not redact(store, "words").clean
        other.close()


def test_a_redacted_log_exports_imports_and_verifies_as_it_is(path: Path, tmp_path: Path):
    from assistant.records import bundle

    with Store.open(path) as store:
        redact(store, "words")
        redact(store, "photos")
        assert "Robin" not in export_json(store, JOB)
        with (tmp_path / "job.zip").open("wb") as file:
            bundle.write(store, JOB, file)
    with Store.memory() as other:
        bundle.take_in(other, tmp_path / "job.zip")
        assert verify(other, JOB).ok


def test_a_job_whose_words_are_gone_is_still_opened_with_all_its_readings(
    played: tuple[Path, str], tmp_path: Path
):
    """Replay needs no words: the run comes out the same, step for step."""
    file, job = tmp_path / "records.sqlite", played[1]
    shutil.copy(played[0], file)
    with Store.open(file) as store:
        before = JobSession.resume(job, store).run
        done = retention.redact(store, job, "words", who="office", why="time", wall=WALL)
        assert done.texts > 100
        run = JobSession.resume(job, store).run
        assert (run.marks, run.at, run.readings) == (before.marks, before.at, before.readings)
        assert verify(store, job).ok
        assert heard(store, job) == {"", chain.REDACTED}


def heard(store: Store, job: str) -> set[str]:
    return {(entry.body.get("event") or {}).get("heard", "") for entry in store.entries(job)}


def test_jobs_older_than_a_date_are_found_the_oldest_first(store: Store):
    for name, year in (("b", 2021), ("a", 2020), ("c", 2026)):
        store.create_job(name, HEAD, f"{year}-03-02T08:00:00+00:00")
        wall = f"{year}-03-03T08:00:00+00:00"
        store.append(name, turn("affirm", judged("x", "1")), wall=wall, mono_s=1)
    assert retention.older_than(store, "2023-01-01") == ["a", "b"]
    retention.redact(store, "a", "words", who="office", why="time", wall=WALL)
    assert retention.older_than(store, "2023-01-01") == ["a", "b"]  # the redaction came later
    assert retention.kept(store, "a").words == 0
