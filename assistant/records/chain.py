"""How one log entry is tied to the one before it. Nothing here reads or writes a file.

The rule, complete, so that anybody can check an export with a few lines of their own:

* The text of an entry is one JSON object with exactly the keys `body`, `job`, `kind`, `mono_s`,
  `seq`, `wall`, written canonically: UTF-8, keys sorted at every depth, no spaces, no escapes
  for characters that UTF-8 can carry, no NaN or infinity, floats in the shortest form that
  reads back as the same double (`12.0`, `0.1`, `1e-07`). `mono_s` is always a float.
* hash = SHA-256(previous hash as 64 lower-case hex digits in ASCII, followed by that text), as
  64 lower-case hex digits. Before the first entry the previous hash is 64 zeros (FIPS 180-4).

A chain shows that something was changed; it can't stop the owner of the file from writing a whole
new one, or from putting an older copy back. Against that the last hash, or its first 8 digits,
stands on the signed report: `verify` takes it as `anchor`.
"""

from __future__ import annotations

import json
from hashlib import sha256
from math import isfinite
from typing import Any

from assistant.errors import RecordError

FIRST = "0" * 64


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
    """What is hashed of one entry; `body` is canonical JSON already."""
    if not isfinite(mono_s):
        raise RecordError(f"monotonic time is {mono_s}; it must be a finite number of seconds")
    outer = {"job": job, "kind": kind, "mono_s": float(mono_s), "seq": seq, "wall": wall}
    # "body" sorts before the other keys, so the text that is kept goes in unread.
    return f'{{"body":{body},{canonical(outer)[1:]}'


def link(previous: str, text: str) -> str:
    """Hash of an entry's text that follows the entry with hash `previous`."""
    # surrogateescape: bytes in a damaged file that aren't UTF-8 are hashed as they are.
    return sha256((previous + text).encode(errors="surrogateescape")).hexdigest()


def kind_of(body: dict[str, Any]) -> str:
    """ "start", the kind of the event's input ("reading", "affirm", ...), or "entry"."""
    if "start" in body:
        return "start"
    try:
        return str(body["event"]["input"]["kind"])
    except (KeyError, TypeError):
        return "entry"
