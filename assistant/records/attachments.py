"""Photos and sound clips of a job, kept in the record itself and told of by an entry each.

The entry holds kind, name, media type, size and SHA-256; the file lies beside it in the same
SQLite file, so that a backup, an export and a transaction hold both or neither.
"""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path

from assistant.errors import RecordError
from assistant.records.entries import Entry
from assistant.records.store import Store

MOST_BYTES = 25_000_000  # a phone's photo has 2 to 12 MB; a minute of clip has 2 MB
# First bytes -> kind, media type, ending. The name of a file proves nothing.
_KNOWN = (
    (b"\xff\xd8\xff", "photo", "image/jpeg", ".jpg"),
    (b"\x89PNG\r\n\x1a\n", "photo", "image/png", ".png"),
    (b"RIFF....WEBP", "photo", "image/webp", ".webp"),
    (b"RIFF....WAVE", "clip", "audio/wav", ".wav"),
)
ENDINGS = {media_type: ending for _, _, media_type, ending in _KNOWN}


def attach_file(store: Store, job_id: str, path: Path, *, wall: str, step: str = "") -> Entry:
    """Keep a photo or clip from a file with a job.

    Raises
    ------
    RecordError
        If it can't be read or kept, is too big, or is no JPEG, PNG, WebP or WAV file.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise RecordError(f"{path}: can't be read: {error.strerror}; nothing was added") from error
    return attach(store, job_id, data, name=path.name, wall=wall, step=step)


def attach(
    store: Store,
    job_id: str,
    data: bytes,
    *,
    name: str,
    wall: str,
    mono_s: float | None = None,
    step: str = "",
    about: int = 0,
) -> Entry:
    """Keep a photo or clip with a job; it is on disk when this returns.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        What it is called; sealed, because names of files tell of people.
    wall, mono_s
        As in `Store.attach`.
    step : str
        Id of the step it belongs to, "" if none.
    about : int
        Place of the entry it belongs to (the note that a clip is of), 0 if none.
    """
    if len(data) > MOST_BYTES:
        raise RecordError(
            f"{name}: has more than {MOST_BYTES // 1_000_000} MB; make it smaller, then add it"
        )
    kind, media_type = _kind_of(data, name)
    told: dict[str, object] = {"kind": kind, "name": name, "media_type": media_type}
    told |= {"size": len(data), "sha256": sha256(data).hexdigest(), "step": step, "about": about}
    return store.attach(job_id, {"attachment": told}, data, wall=wall, mono_s=mono_s)


def _kind_of(data: bytes, name: str) -> tuple[str, str]:
    for first, kind, media_type, _ in _KNOWN:
        found = data[: len(first)]
        if len(found) == len(first) and all(
            want in (have, ord(".")) for want, have in zip(first, found, strict=True)
        ):
            return kind, media_type
    raise RecordError(f"{name}: is no JPEG, PNG or WebP photo and no WAV clip; nothing was added")
