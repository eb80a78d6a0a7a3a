"""Everything of a job in one zip that can be checked, and taken in elsewhere, without change.

    manifest.json         name, size and SHA-256 of every other file
    record.json           all entries with their hashes, seals and salts
    record.schema.json    what is in the JSON files (JSON Schema 2020-12)
    readings.csv          the readings, for a spreadsheet
    signatures.json       signatures over the chain, [] if there are none
    texts/*.yaml          pack and job as the job ran them
    attachments/000123.jpg    photos and clips; the number is that of the entry

Nothing is compressed and no time or machine stands in it, so the same record gives the same bytes
everywhere, nothing can unpack to more than it is, and whoever holds record.json can make all else
again: `read` does, and refuses a zip in which a single byte is another.
"""

from __future__ import annotations

import json
import re
import tempfile
import zipfile
from collections.abc import Iterator
from hashlib import sha256
from importlib import resources
from pathlib import Path
from typing import Any, BinaryIO

from assistant.errors import RecordError
from assistant.records import chain
from assistant.records.attachments import ENDINGS, MOST_BYTES
from assistant.records.entries import JobRow, Row, Signature
from assistant.records.log import FORMAT, export_csv, export_json
from assistant.records.store import Store
from assistant.records.verify import verify

BUNDLE_FORMAT = "thirdhand-bundle/1"
MOST_FILES = 2_000
MOST_TEXT_BYTES = 256_000_000
MOST_TOTAL_BYTES = 2_000_000_000
_TEXT = r"(?:[a-z0-9][a-z0-9-]{0,40}/)?[a-z0-9][a-z0-9-]{0,40}\.yaml"
_SAFE_TEXT = re.compile(_TEXT)
_NAME = re.compile(rf"[a-z][a-z.-]{{0,40}}|texts/{_TEXT}|attachments/[0-9]{{6,12}}\.[a-z]{{3,4}}")
_MAPPED = ("seq", "wall", "mono_s", "kind", "prev_hash", "hash", "seal")


def schema() -> str:
    """The published JSON Schema of record.json, manifest.json, signatures.json and a CSV row."""
    return resources.files(__package__).joinpath("record.schema.json").read_text(encoding="utf-8")


# --- writing -------------------------------------------------------------------------------------


def write(store: Store, job_id: str, out: BinaryIO) -> None:
    """Write a job's bundle; the same record gives the same bytes.

    Raises
    ------
    RecordError
        If the job's chain doesn't hold: what is doubtful is exported as JSON, not as proof.
    """
    with store.one_moment():
        verdict = verify(store, job_id)
        if not verdict.ok:
            raise RecordError(
                f"job '{job_id}' isn't whole ({verdict.why}); no zip is made of it. "
                f"'thirdhand record export {job_id}' saves what is there"
            )
        manifest = []
        with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
            for name, data in _files(store, job_id):
                manifest.append(
                    {"name": name, "size": len(data), "sha256": sha256(data).hexdigest()}
                )
                _add(archive, name, data)
            document = {"format": BUNDLE_FORMAT, "job": job_id, "files": manifest}
            _add(archive, "manifest.json", _json(document))


def _add(archive: zipfile.ZipFile, name: str, data: bytes) -> None:
    member = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
    member.create_system, member.external_attr = 3, 0o644 << 16  # the same on every system
    archive.writestr(member, data)


def _files(store: Store, job_id: str) -> Iterator[tuple[str, bytes]]:
    """Name and bytes of all but the manifest, one at a time: photos are many and big."""
    yield "record.json", export_json(store, job_id).encode()
    yield "record.schema.json", schema().encode()
    yield "readings.csv", export_csv(store, job_id).encode("utf-8-sig")
    yield "signatures.json", _json(store.signatures(job_id))
    first = next(store.entries(job_id))
    texts = first.body.get("start", {}).get("texts") or {}
    for name in sorted(texts):
        if _SAFE_TEXT.fullmatch(name):
            yield f"texts/{name}", str(texts[name]).encode()
    for seq, name in _attached(store, job_id):
        data = store.attachment(job_id, seq)
        if data is not None:
            yield name, data


def _attached(store: Store, job_id: str) -> Iterator[tuple[int, str]]:
    for entry in store.entries(job_id):
        about = entry.body.get("attachment")
        if about:
            yield entry.seq, f"attachments/{entry.seq:06d}{ENDINGS[about['media_type']]}"


def _json(value: Any) -> bytes:
    return json.dumps(value, indent=1, ensure_ascii=True, sort_keys=True).encode()


# --- reading -------------------------------------------------------------------------------------


def read(path: Path) -> tuple[Store, str]:
    """A bundle, checked to the last byte, as a record in memory, and its job's id.

    Raises
    ------
    RecordError
        If it isn't exactly what `write` makes of a whole record; says what is wrong with it.
    """
    try:
        with path.open("rb") as file, zipfile.ZipFile(file) as archive:
            files = _members(archive, path)
            return _rebuilt(archive, files, path)
    except OSError as error:
        raise RecordError(f"{path}: can't be read: {error.strerror or error}") from error
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError) as error:
        raise RecordError(f"{path}: this is no whole zip file ({error})") from error


def _members(archive: zipfile.ZipFile, path: Path) -> dict[str, zipfile.ZipInfo]:
    """The files of a zip by name, if it is one of ours by names and sizes."""
    found: dict[str, zipfile.ZipInfo] = {}
    members = archive.infolist()
    if len(members) > MOST_FILES:
        raise _refused(path, f"it has {len(members)} files, and {MOST_FILES} are the most")
    total = 0
    for member in members:
        name = member.filename
        if not _NAME.fullmatch(name) or name in found:
            raise _refused(path, f"it has a file {name[:80]!a} that no record has")
        if member.compress_type != zipfile.ZIP_STORED or member.compress_size != member.file_size:
            raise _refused(path, f"'{name}' is compressed, which no record is: it was packed anew")
        most = MOST_BYTES if name.startswith("attachments/") else MOST_TEXT_BYTES
        total += member.file_size
        if member.file_size > most or total > MOST_TOTAL_BYTES:
            raise _refused(path, f"'{name}' is bigger than any record's")
        found[name] = member
    for name in ("manifest.json", "record.json"):
        if name not in found:
            raise _refused(path, f"it has no {name}")
    return found


def _rebuilt(
    archive: zipfile.ZipFile, files: dict[str, zipfile.ZipInfo], path: Path
) -> tuple[Store, str]:
    manifest = _parsed(archive.read("manifest.json"), path, "manifest.json", BUNDLE_FORMAT)
    _held(archive, files, manifest, path)
    record = _parsed(archive.read("record.json"), path, "record.json", FORMAT)
    signatures = _parsed(archive.read("signatures.json"), path, "signatures.json")
    store = Store.memory()
    try:
        try:
            job, rows = _job_of(record), [_row_of(entry) for entry in record["entries"]]
            told = [_signature(each) for each in signatures]
            store.take_in(job, rows, _data_of(archive, files, rows), told)
        except (KeyError, TypeError, ValueError, AttributeError, RecordError) as error:
            raise _refused(path, f"its entries aren't those of a record ({error})") from error
        verdict = verify(store, job["id"])
        if not verdict.ok:
            raise _refused(path, verdict.why)
        if manifest["job"] != job["id"] or not _same(store, job["id"], path):
            made = (
                name
                for name, data in _files(store, job["id"])
                if name not in files or archive.read(name) != data
            )
            odd = next(made, None)
            why = f"{odd} isn't what its record.json makes" if odd else "it was packed anew"
            raise _refused(path, why)
    except BaseException:
        store.close()
        raise
    return store, job["id"]


def _same(store: Store, job_id: str, path: Path) -> bool:
    """Does the record make this very file?"""
    with tempfile.TemporaryFile() as made, path.open("rb") as given:
        write(store, job_id, made)
        made.seek(0)
        while True:
            part = made.read(1 << 20)
            if part != given.read(1 << 20):
                return False
            if not part:
                return True


def _held(
    archive: zipfile.ZipFile, files: dict[str, zipfile.ZipInfo], manifest: Any, path: Path
) -> None:
    """Every file is as the manifest has it, and there is no other."""
    try:
        listed = {each["name"]: (each["size"], each["sha256"]) for each in manifest["files"]}
    except (KeyError, TypeError) as error:
        raise _refused(path, "its manifest.json lists no files") from error
    if listed.keys() | {"manifest.json"} != files.keys():
        odd = sorted(files.keys() ^ (listed.keys() | {"manifest.json"}), key=str)[0]
        raise _refused(path, f"'{odd}' is in the zip or in its manifest, but not in both")
    for name, (size, digest) in listed.items():
        data = archive.read(name)
        if (len(data), sha256(data).hexdigest()) != (size, digest):
            raise _refused(path, f"{name} was changed")


def _parsed(data: bytes, path: Path, name: str, form: str = "") -> Any:
    try:
        found = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise _refused(path, f"{name} is no JSON ({error})") from error
    have = found.get("format") if isinstance(found, dict) else None
    if form and have != form:
        raise _refused(
            path, f"{name} has the format {have!r}, and this Thirdhand reads {form}; an older or "
            "newer version reads the other"
        )  # fmt: skip
    return found


def _job_of(record: Any) -> JobRow:
    job = JobRow(
        id=record["job"],
        title=record["title"],
        started_wall=record["started_wall"],
        count=record["count"],
        hash=record["hash"],
    )
    if not all(isinstance(job[key], str) for key in ("id", "title", "started_wall", "hash")):
        raise ValueError("the job's id, title and times must be texts")
    return job


def _signature(told: Any) -> Signature:
    return Signature(
        count=told["count"],
        head=told["head"],
        public_key=told["public_key"],
        signature=told["signature"],
        wall=told["wall"],
    )


def _row_of(entry: Any) -> Row:
    salts = chain.canonical(entry["salts"]) if entry["salts"] else None
    told = {key: entry[key] for key in _MAPPED}
    return Row(**told, body=chain.canonical(entry["body"]), salts=salts)


def _data_of(
    archive: zipfile.ZipFile, files: dict[str, zipfile.ZipInfo], rows: list[Row]
) -> Iterator[tuple[int, bytes | None]]:
    """The file of each attachment entry; None where it was redacted."""
    by_seq = {
        int(name[12:].partition(".")[0]): name for name in files if name[:12] == "attachments/"
    }
    for row in rows:
        if row.kind == "attachment":
            name = by_seq.get(row.seq)
            yield row.seq, archive.read(name) if name else None


def _refused(path: Path, why: str) -> RecordError:
    return RecordError(f"{path}: this zip isn't a whole record: {why}; nothing was taken in")


def take_in(store: Store, path: Path) -> tuple[str, int]:
    """Bring a bundle's job into this record.

    Returns
    -------
    str, int
        The job's id, and how many entries came in: 0 if the very same job was here already.

    Raises
    ------
    RecordError
        If the zip isn't whole, or there is a job with this id and another chain: that one is
        never changed.
    """
    other, job_id = read(path)
    with other:
        job = other.job(job_id)
        if any(each["id"] == job_id for each in store.jobs()):
            mine = store.job(job_id)
            if (mine["count"], mine["hash"]) == (job["count"], job["hash"]):
                return job_id, 0
            raise RecordError(
                f"{path}: there is a job '{job_id}' here already, and its log is another one "
                f"({mine['count']} entries here, {job['count']} in the zip); nothing was taken in. "
                "Keep both by taking the zip into another folder with --data"
            )
        files = ((seq, other.attachment(job_id, seq)) for seq in other.attached(job_id))
        store.take_in(job, other.rows(job_id), files, other.signatures(job_id))
        return job_id, job["count"]
