"""A record as the first release wrote it: no seals, each body hashed itself."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

from sqlite_utils import Database

from assistant.records.migrations import migrations
from tests.records.pinewharf import HEAD, JOB, judged, turn

WALL = "2026-03-02T08:00:00+00:00"


def write(path: Path) -> None:
    """A job of four entries, hashed here by the old rule and not by the program."""
    bodies: list[dict[str, Any]] = [
        {"start": HEAD},
        turn("started", heard=""),
        turn("affirm", judged("dead.l1-l2", "0.2")),
        turn("note", {"kind": "noted", "text": "gland loose, 4 Ω"}, heard="note"),
    ]
    kinds = ["start", "started", "affirm", "note"]
    with Database(path) as db:
        migrations.apply(db, stop_before="m004_sealed_bodies")
        with db.atomic():
            db.execute("INSERT INTO jobs VALUES (?, ?, ?)", [JOB, HEAD["title"], WALL])
            db.execute("INSERT INTO tips VALUES (?, 0, ?)", [JOB, "0" * 64])
            previous = "0" * 64
            for seq, (kind, body) in enumerate(zip(kinds, bodies, strict=True), start=1):
                fields = {"body": body, "job": JOB, "kind": kind, "mono_s": seq * 1.0}
                fields |= {"seq": seq, "wall": WALL}
                hashed = _canonical(fields)
                digest = hashlib.sha256((previous + hashed).encode()).hexdigest()
                row = [JOB, seq, WALL, seq * 1.0, kind, _canonical(body), previous, digest]
                db.execute("INSERT INTO entries VALUES (?, ?, ?, ?, ?, ?, ?, ?)", row)
                previous = digest


def _canonical(value: Any) -> str:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
