"""How one log entry is tied to the one before it. Nothing here reads or writes a file.

The rule, complete, so that anybody can check an export with a few lines of their own. Canonical
JSON is: UTF-8, keys sorted at every depth, no spaces, no escapes for characters that UTF-8 can
carry, no NaN or infinity, floats in the shortest form that reads back as the same double (`12.0`,
`0.1`, `1e-07`). SHA-256 (FIPS 180-4) is written as 64 lower-case hex digits.

* hash = SHA-256(previous hash in ASCII, followed by the entry's text). Before the first entry the
  previous hash is 64 zeros.
* The text of an entry is the canonical JSON of one object with exactly the keys `job`, `kind`,
  `mono_s` (always a float), `seal`, `seq`, `wall`.
* `seal` stands for the body: SHA-256(canonical JSON of [salt, "", sealed body]). In the sealed
  body each text that may be personal (`PRIVATE`) is replaced by `{"~sealed": SHA-256(canonical
  JSON of [its salt, its path, the text])}`; paths are JSON Pointers (RFC 6901) into the body. The
  salts are kept beside the body, path to 32 random hex digits, "" for the body itself.

So a text, or a whole body, can be taken out of the file later: `{"~sealed": ...}` and no salt stay
in its place, the chain still holds, and nobody can guess from the digest what was there. Whatever
was taken out is named by a later entry of the kind "redaction" (`retention.py`).

Entries of format 1 (no `seal`) were hashed over the body itself: their text has the key `body`
instead of `seal`. They verify for ever, and nothing can be taken out of them.

A chain shows that something was changed; it can't stop the owner of the file from writing a whole
new one, or from putting an older copy back. Against that the last hash, or its first 8 digits,
stands on the signed report (`verify` takes it as `anchor`), and a signature can cover it
(`signing.py`).
"""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable, Iterator
from hashlib import sha256
from math import isfinite
from typing import Any

from assistant.errors import RecordError

FIRST = "0" * 64
MARK = "~sealed"  # key of what stands in place of a sealed text
REDACTED = "[redacted]"  # what a reader sees there
# Where texts may be personal; "*" is any place of a list. What an entry sealed is kept with it, so
# a longer list changes nothing in what is there.
PRIVATE = tuple(
    tuple(path.split("/"))
    for path in (
        *("event/heard", "event/device", "event/input/text", "event/input/reason"),
        *("event/input/clip", "event/input/said", "event/input/reading/said"),
        "event/input/said/said",
        *("event/input/person", "event/input/people/*", "event/input/candidates/*"),
        *("effects/*/text", "effects/*/reason", "effects/*/said", "effects/*/person"),
        *("effects/*/candidates/*", "attachment/name"),
        "start/texts/carried-reasons",
    )
)
ROLES = frozenset({"lead", "helper", "customer", "system", "both"})  # no names of people
_OWN_KINDS = ("start", "attachment", "redaction")


def canonical(value: Any) -> str:
    """The one JSON text of a value, as the module text says.

    Raises
    ------
    RecordError
        If the value has something that JSON or UTF-8 can't carry (NaN, a Decimal, half a
        surrogate pair): nothing is rounded or replaced on the way into the log.
    """
    try:
        text = json.dumps(
            value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
        )
        text.encode()
    except (TypeError, ValueError, RecursionError) as error:
        raise RecordError(
            f"this can't be written to the record as JSON: {error}; give plain text, finite "
            "numbers, lists and objects (pydantic's model_dump(mode='json'))"
        ) from error
    return text


def entry_text(*, job: str, seq: int, wall: str, mono_s: float, kind: str, body: str) -> str:
    """What is hashed of one entry of format 1; `body` is canonical JSON already."""
    if not isfinite(mono_s):
        raise RecordError(f"monotonic time is {mono_s}; it must be a finite number of seconds")
    outer = {"job": job, "kind": kind, "mono_s": float(mono_s), "seq": seq, "wall": wall}
    # "body" sorts before the other keys, so the text that is kept goes in unread.
    return f'{{"body":{body},{canonical(outer)[1:]}'


def link(previous: str, text: str) -> str:
    """Hash of an entry's text that follows the entry with hash `previous`."""
    # surrogateescape: bytes in a damaged file that aren't UTF-8 are hashed as they are.
    return sha256((previous + text).encode(errors="surrogateescape")).hexdigest()


def sealed_text(*, job: str, seq: int, wall: str, mono_s: float, kind: str, seal: str) -> str:
    """What is hashed of one entry; `seal` stands for its body."""
    if not isfinite(mono_s):
        raise RecordError(f"monotonic time is {mono_s}; it must be a finite number of seconds")
    return canonical(
        {"job": job, "kind": kind, "mono_s": float(mono_s), "seal": seal, "seq": seq, "wall": wall}
    )


def kind_of(body: dict[str, Any]) -> str:
    """ "start", "attachment", "redaction", the kind of the event's input, or "entry"."""
    for kind in _OWN_KINDS:
        if kind in body:
            return kind
    try:
        return str(body["event"]["input"]["kind"])
    except (KeyError, TypeError):
        return "entry"


# --- sealing -------------------------------------------------------------------------------------


def new_salts(
    body: dict[str, Any], draw: Callable[[], str] = lambda: secrets.token_hex(16)
) -> dict[str, str]:
    """Fresh salts for a body: one for itself (""), one for each text that may be personal.

    Raises
    ------
    RecordError
        If the body holds the key that marks sealed texts.
    """
    if MARK in canonical(body) and any(_marked(body)):
        raise RecordError(f"a body can't have the key '{MARK}': it marks what was taken out")
    return {"": draw(), **{path: draw() for path in private_paths(body)}}


def private_paths(body: dict[str, Any]) -> Iterator[str]:
    """Paths of the texts in a body that may be personal and are still there."""
    for pattern in PRIVATE:
        for path, value in _matches(body, pattern, ""):
            if isinstance(value, str) and value and value not in ROLES:
                yield path


def _matches(value: Any, pattern: tuple[str, ...], path: str) -> Iterator[tuple[str, Any]]:
    if not pattern:
        yield path, value
    elif pattern[0] == "*" and isinstance(value, list):
        for place, each in enumerate(value):
            yield from _matches(each, pattern[1:], f"{path}/{place}")
    elif isinstance(value, dict) and pattern[0] in value:
        yield from _matches(value[pattern[0]], pattern[1:], f"{path}/{pattern[0]}")


def seal_of(body: dict[str, Any], salts: dict[str, str]) -> str:
    """The seal of a body: 64 hex digits that hide it and fit no other.

    Raises
    ------
    KeyError, ValueError, TypeError, IndexError
        If a salt belongs to nothing in the body, or the body has no salt.
    """
    sealed = without(body, salts, [path for path in salts if path])
    return _digest([salts[""], "", sealed])


def without(body: dict[str, Any], salts: dict[str, str], paths: list[str]) -> dict[str, Any]:
    """The body with the texts at `paths` replaced by their digests; the body given stays."""
    taken: dict[str, Any] = json.loads(json.dumps(body))
    for path in paths:
        *way, last = path.split("/")[1:]
        inside: Any = taken
        for key in way:
            inside = inside[int(key) if isinstance(inside, list) else key]
        place: Any = int(last) if isinstance(inside, list) else last
        if not isinstance(inside[place], str):
            raise ValueError(f"{path} is no text")
        inside[place] = {MARK: _digest([salts[path], path, inside[place]])}
    return taken


def _digest(parts: list[Any]) -> str:
    return sha256(canonical(parts).encode()).hexdigest()


def _marked(value: Any) -> Iterator[Any]:
    """Every place of a body where something was taken out."""
    if isinstance(value, dict):
        if MARK in value:
            yield value
        value = list(value.values())
    if isinstance(value, list):
        for each in value:
            yield from _marked(each)


def redacted(body: dict[str, Any]) -> str:
    """ "everything" if the whole body was taken out, "texts" if some were, "" if none was."""
    if set(body) == {MARK}:
        return "everything"
    return "texts" if any(_marked(body)) else ""


def readable(body: dict[str, Any]) -> dict[str, Any]:
    """A body for readers: `REDACTED` where a text was taken out; {} where everything was."""
    if redacted(body) == "everything":
        return {}
    found: dict[str, Any] = _readable(body)
    return found


def _readable(value: Any) -> Any:
    if isinstance(value, dict):
        return REDACTED if MARK in value else {k: _readable(v) for k, v in value.items()}
    return [_readable(each) for each in value] if isinstance(value, list) else value
