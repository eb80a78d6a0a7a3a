"""What can be asked of a job's log: does it hold, and what does it say.

Exports are text; the caller writes them to a file (CSV with encoding "utf-8-sig", so that
spreadsheets see that it is UTF-8).
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from assistant.errors import RecordError
from assistant.records import chain
from assistant.records.store import Row, Store, title_of

FORMAT = "thirdhand-record/1"
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


@dataclass(frozen=True)
class Verdict:
    """Whether a job's log is whole.

    ok: every entry fits the one before, none is missing. first_bad_seq: the first that doesn't
    fit, or None. why: what is wrong with it, "" if nothing. head_hash: hash of the last entry that
    fits, for the signed report. count: how many entries fit.
    """

    ok: bool
    first_bad_seq: int | None
    why: str
    head_hash: str
    count: int


def verify(store: Store, job_id: str, anchor: str = "") -> Verdict:
    """Check a job's chain from its first entry on.

    Parameters
    ----------
    store : Store
    job_id : str
    anchor : str
        Hash from a signed report, or its first digits (8 or more): some entry must have it. Only
        this finds a chain that was rewritten as a whole.

    Returns
    -------
    Verdict
        Names the first entry that was changed, removed, moved or added.

    Raises
    ------
    RecordError
        If there is no such job or the file can't be read at all.
    """
    job = store.job(job_id)
    hashes: list[str] = []

    def bad(seq: int, why: str) -> Verdict:
        return Verdict(False, seq, why, hashes[-1] if hashes else chain.FIRST, len(hashes))

    if job["count"] < 1:
        return bad(1, "the kept length of the chain was removed or changed")
    for seq, row in enumerate(store.rows(job_id), start=1):
        why = _misfit(job_id, seq, row, hashes[-1] if hashes else chain.FIRST)
        if why:
            return bad(seq, why)
        if seq > job["count"]:
            return bad(seq, f"entry {seq} was added outside Thirdhand")
        hashes.append(row.hash)
        if seq == 1:
            head = json.loads(row.body).get("start") or {}
            if (row.wall, title_of(head, job_id)) != (job["started_wall"], job["title"]):
                return bad(1, "the job's title or start time was changed")
    if len(hashes) < job["count"]:
        first = len(hashes) + 1
        which = (
            f"entry {first} is"
            if first == job["count"]
            else f"entries {first} to {job['count']} are"
        )
        return bad(first, f"{which} missing at the end")
    if hashes[-1] != job["hash"]:
        return bad(len(hashes), f"entry {len(hashes)} is not the one that was written last")
    if anchor and (len(anchor) < 8 or not any(h.startswith(anchor.lower()) for h in hashes)):
        why = f"no entry has the hash {anchor} (8 digits or more are needed)"
        return Verdict(False, None, why, hashes[-1], len(hashes))
    return Verdict(True, None, "", hashes[-1], len(hashes))


def _misfit(job_id: str, seq: int, row: Row, previous: str) -> str:
    """Why a row can't be entry `seq` after `previous`; "" if it can."""
    if row.seq != seq:
        return f"entry {seq} is missing (entry {row.seq} follows entry {seq - 1})"
    if row.prev_hash != previous:
        return f"entry {seq} doesn't follow entry {seq - 1}: one of them was changed or moved"
    changed = f"entry {seq} was changed"
    try:
        body = json.loads(row.body)
        if chain.canonical(body) != row.body:
            return f"{changed}: its text is not as it was written"
        if chain.kind_of(body) != row.kind:
            return f"{changed}: its kind is {row.kind}"
        text = chain.entry_text(
            job=job_id,
            seq=row.seq,
            wall=row.wall,
            mono_s=row.mono_s,
            kind=row.kind,
            body=row.body,
        )
    except (RecordError, TypeError, ValueError, RecursionError):
        return f"{changed}: it can't be read any more"
    if chain.link(previous, text) != row.hash:
        return f"{changed}: its hash doesn't fit"
    return ""


# --- exports -----------------------------------------------------------------------------------


def export_json(store: Store, job_id: str) -> str:
    """The whole log of a job as JSON, with all that is needed to check its chain elsewhere."""
    job = store.job(job_id)
    entries = [
        {
            "seq": entry.seq,
            "wall": entry.wall,
            "mono_s": entry.mono_s,
            "kind": entry.kind,
            "body": entry.body,
            "prev_hash": entry.prev_hash,
            "hash": entry.hash,
        }
        for entry in store.entries(job_id)
    ]
    document = {
        "format": FORMAT,
        "job": job["id"],
        "title": job["title"],
        "started_wall": job["started_wall"],
        "count": job["count"],
        "hash": job["hash"],
        "hash_rule": "hash = SHA-256(prev_hash + canonical JSON of {body, job, kind, mono_s, seq, "
        "wall}); canonical: UTF-8, sorted keys, no spaces; the first prev_hash is 64 zeros",
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
        event = entry.body.get("event") or {}
        heard = f' "{event["heard"]}"' if event.get("heard") else ""
        via = event.get("via", "")
        yield _printable(
            f"{entry.seq:>5}  {entry.wall}  {event.get('who', '')} {via}: {entry.kind}{heard}"
        )
        for effect in entry.body.get("effects") or ():
            yield _printable(f"{'':>5}  {_effect(effect)}")
        if entry.body.get("energy"):
            yield _printable(f"{'':>5}  energy: {entry.body['energy']}")


def _effect(effect: dict[str, Any]) -> str:
    """An effect as its kind and the fields that say something."""
    if effect.get("kind") == "judged":
        return _judged(effect)
    said = (
        f"{name} {', '.join(map(str, value)) if isinstance(value, list) else value}"
        for name, value in effect.items()
        if name != "kind" and value not in (None, "", [], {}, False)
    )
    return f"{effect.get('kind', '?')}: {'; '.join(said)}"


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
