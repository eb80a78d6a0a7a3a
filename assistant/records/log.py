"""What a job's log says: exports and the text for the terminal. Whether it holds: `verify`.

Exports are text; the caller writes them to a file (CSV with encoding "utf-8-sig", so that
spreadsheets see that it is UTF-8).
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator
from typing import Any

from assistant.records import chain
from assistant.records.store import Store
from assistant.records.verify import Verdict, verify

__all__ = ["COLUMNS", "FORMAT", "Verdict", "export_csv", "export_json", "show", "verify"]

FORMAT = "thirdhand-record/2"
RULE = (
    "hash = SHA-256(prev_hash + canonical JSON of {job, kind, mono_s, seal, seq, wall}); "
    'seal = SHA-256(canonical JSON of [salts[""], "", body]), in which the text at each other path '
    'of salts is replaced by {"~sealed": SHA-256(canonical JSON of [salt, path, text])}; where '
    "seal is null the hashed object has body in place of seal; canonical: UTF-8, sorted keys, no "
    "spaces; the first prev_hash is 64 zeros"
)
COLUMNS = {
    "seq": "entry",
    "wall": "time",
    "who": "who",
    "device": "device",
    "step": "step",
    "name": "reading",
    "said": "as said",
    "value": "value",
    "unit": "unit",
    "special": "instead of a value",
    "si_value": "SI value",
    "si_unit": "SI unit",
    "at_least": "at least",
    "at_most": "at most",
    "limit_unit": "limit unit",
    "limit_source": "limit source",
    "verdict": "verdict",
    "derived": "computed",
    "instrument": "instrument",
    "calibration_due": "calibration due",
    "corrects": "is a correction",
    "superseded_by": "corrected by entry",
    "heard": "heard",
    "confidence": "confidence",
    "hash": "entry hash",
}


# --- exports -----------------------------------------------------------------------------------


def export_json(store: Store, job_id: str) -> str:
    """The whole log of a job as JSON, with all that is needed to check its chain elsewhere."""
    with store.one_moment():
        job, kept = store.job(job_id), store.entries(job_id, raw=True)
    entries = [
        {
            "seq": entry.seq,
            "wall": entry.wall,
            "mono_s": entry.mono_s,
            "kind": entry.kind,
            "body": entry.body,
            "prev_hash": entry.prev_hash,
            "hash": entry.hash,
            "seal": entry.seal,
            "salts": entry.salts,
        }
        for entry in kept
    ]
    document = {
        "format": FORMAT,
        "job": job["id"],
        "title": job["title"],
        "started_wall": job["started_wall"],
        "count": job["count"],
        "hash": job["hash"],
        "hash_rule": RULE,
        "entries": entries,
    }
    # ASCII only: what is odd in a damaged file must not keep the rest from being saved.
    return json.dumps(document, indent=1, ensure_ascii=True)


def export_csv(store: Store, job_id: str) -> str:
    """A job's readings as CSV (RFC 4180), one row each, corrected ones too.

    Text that a spreadsheet would run as a formula gets an apostrophe in front; numbers stay.
    """
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS.values())
    for reading in store.readings(job_id):
        writer.writerow(_harmless(reading[column]) for column in COLUMNS)
    return out.getvalue()


_NUMBER = re.compile(r"[-+]?\d+(\.\d+)?([eE][-+]?\d+)?")
_FORMULA = tuple("=+-@＝＋－＠")


def _harmless(value: Any) -> str:
    """A cell no spreadsheet takes for a formula (OWASP, "CSV Injection")."""
    text = "" if value is None else str(value)
    if _NUMBER.fullmatch(text):
        return text
    # Spreadsheets skip blanks before a formula, and some take the full-width signs as well.
    risky = text.startswith(("\t", "\r", "\n")) or text.lstrip().startswith(_FORMULA)
    return f"'{text}" if risky else text


def show(store: Store, job_id: str) -> Iterator[str]:
    """A job's log for the terminal, one line an entry and one for each thing that came of it."""
    for entry in store.entries(job_id):
        if entry.kind == "start":
            job = store.job(job_id)
            yield _printable(f"{entry.seq:>5}  {entry.wall}  {job['title']}")
            continue
        if entry.kind in ("redaction", "attachment"):
            about = entry.body.get(entry.kind) or {}
            yield _printable(f"{entry.seq:>5}  {entry.wall}  {entry.kind}: {_fields(about)}")
            continue
        if not entry.body:
            yield _printable(f"{entry.seq:>5}  {entry.wall}  {entry.kind}: {chain.REDACTED}")
            continue
        event = entry.body.get("event") or {}
        heard = f' "{event["heard"]}"' if event.get("heard") else ""
        via = event.get("via", "")
        yield _printable(
            f"{entry.seq:>5}  {entry.wall}  {event.get('who', '')} {via}: {entry.kind}{heard}"
        )
        for effect in entry.body.get("effects") or ():
            yield _printable(f"{'':>5}  {_effect(effect)}")
        for told in entry.body.get("guide") or ():
            yield _printable(f"{'':>5}  fault guide, {_effect(told)}")
        if entry.body.get("energy"):
            yield _printable(f"{'':>5}  energy: {entry.body['energy']}")


def _effect(effect: dict[str, Any]) -> str:
    """An effect as its kind and the fields that say something."""
    if effect.get("kind") == "judged":
        return _judged(effect)
    return f"{effect.get('kind', '?')}: {_fields(effect)}"


def _fields(fields: dict[str, Any]) -> str:
    said = (
        f"{name} {', '.join(map(str, value)) if isinstance(value, list) else value}"
        for name, value in fields.items()
        if name != "kind" and value not in (None, "", [], {}, False)
    )
    return "; ".join(said)


def _judged(effect: dict[str, Any]) -> str:
    value = effect.get("special") or f"{effect.get('value')} {effect.get('unit', '')}".rstrip()
    bounds = effect.get("bounds") or {}
    limits = [
        f"{words} {bounds[side]} {bounds.get('unit', '')}".rstrip()
        for side, words in (("at_least", "at least"), ("at_most", "at most"))
        if bounds.get(side) is not None
    ]
    parts = [f"{effect.get('name')} = {value}", str(effect.get("verdict", ""))]
    parts += [f"limits: {' and '.join(limits)}"] if limits else []
    parts += [f"source: {bounds['source']}"] if bounds.get("source") else []
    parts += [f"instrument {effect['instrument']}"] if effect.get("instrument") else []
    parts += ["computed"] if effect.get("derived") else []
    parts += ["correction"] if effect.get("corrects") else []
    return "; ".join(parts)


def _printable(text: str) -> str:
    """Control characters out: a dictated note must not steer the terminal."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
