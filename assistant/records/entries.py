"""The shapes of what is on record; plain data, no rules."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, TypedDict


@dataclass(frozen=True)
class Entry:
    """One entry of a job's log.

    seq: 1, 2, 3 ... wall: wall time as the caller gave it (ISO 8601). mono_s: monotonic time since
    the job's log began. [s] kind: see `chain.kind_of`. body: the event, its effects and the energy
    state after it, or the job's head. hash: ties it to `prev_hash`, see `chain`. seal, salts: what
    hides the body in the hash; None and {} in entries of format 1.
    """

    job: str
    seq: int
    wall: str
    mono_s: float
    kind: str
    body: dict[str, Any]
    prev_hash: str
    hash: str
    seal: str | None = None
    salts: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Row:
    """An entry as it stands in the file, unread: what `verify` looks at."""

    seq: Any
    wall: Any
    mono_s: Any
    kind: Any
    body: Any
    prev_hash: Any
    hash: Any
    seal: Any = None
    salts: Any = None


class JobRow(TypedDict):
    """One job of the store, with the length and last hash of its chain; plain data for JSON."""

    id: str
    title: str
    started_wall: str
    count: int
    hash: str


class Signature(TypedDict):
    """A signature over the first `count` entries of a job.

    head: hash of entry `count`. public_key, signature: Ed25519 (RFC 8032), hex. wall: when it was
    made. [ISO 8601]
    """

    count: int
    head: str
    public_key: str
    signature: str
    wall: str
