"""What a job's log says of faults: how found, repaired, tested again. Pure: entries to rows."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from assistant.faults.load import KEPT, guide_of
from assistant.faults.model import Guide

State = Literal["due", "failed", "passed"]


@dataclass(frozen=True)
class Looked:
    """A check with its answer in words.

    value: as it was said, "" for a choice. outcome "": it was left out, with `reason`.
    """

    check: str
    outcome: str
    clause: str
    value: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Fault:
    """One search.

    seq: the entries that began it and that tell of it last. solved: repaired and tested again.
    not_ruled_out: causes that endanger people and that nobody looked at.
    """

    seq: tuple[int, int]
    wall: str
    symptom: str = ""
    looked: tuple[Looked, ...] = ()
    cause: str = ""
    fix: str = ""
    repaired: bool = False
    retests: tuple[tuple[str, State], ...] = ()
    not_ruled_out: tuple[str, ...] = ()
    ended: bool = False
    solved: bool = False


def faults(entries: Iterable[Any]) -> tuple[Fault, ...]:
    """The searches of a job, in order.

    Parameters
    ----------
    entries : iterable of records.entries.Entry
        All of a job's entries; whatever is no part of a search is passed over.
    """
    rows: list[Fault] = []
    guide: Guide | None = None
    for entry in entries:
        body = entry.body if isinstance(entry.body, Mapping) else {}
        said = _said(body)
        if said.get("kind") == "open" and said.get("texts") and body.get("guide"):
            guide = guide_of(said["texts"], KEPT)
            rows.append(Fault(seq=(entry.seq, entry.seq), wall=entry.wall))
        if guide is None or not rows:
            continue
        here = rows[-1]
        if said.get("kind") == "correct-last" and here.looked:
            here = replace(here, looked=here.looked[:-1])
        if said.get("kind") == "repaired" and _has(body, "retest-now"):
            here = replace(here, repaired=True)
        for told in body.get("guide") or ():
            here = replace(_after(here, told, guide), seq=(here.seq[0], entry.seq))
        rows[-1] = here
    return tuple(rows)


def _said(body: Mapping[str, Any]) -> Mapping[str, Any]:
    what = (body.get("event") or {}).get("input") or {}
    said = what.get("said") if what.get("kind") == "guide" else None
    return said if isinstance(said, Mapping) else {}


def _has(body: Mapping[str, Any], kind: str) -> bool:
    return any(told.get("kind") == kind for told in body.get("guide") or ())


def _after(row: Fault, told: Mapping[str, Any], guide: Guide) -> Fault:
    match told["kind"]:
        case "symptom-taken":
            return replace(row, symptom=guide.symptoms[told["symptom"]].name)
        case "taken":
            return replace(row, looked=(*row.looked, _looked(told, guide)))
        case "found":
            cause = guide.causes[told["cause"]]
            return replace(row, cause=cause.name, fix=cause.fix)
        case "not-ruled-out":
            return replace(row, not_ruled_out=tuple(guide.causes[c].name for c in told["causes"]))
        case "retest-now" if not row.retests:
            return replace(row, retests=tuple((ref, "due") for ref in told["refs"]))
        case "retest-failed":
            return _tested(row, "failed", told["ref"])
        case "over":
            row = replace(row, ended=True, solved=told["solved"])
            return _tested(row, "passed") if told["solved"] else row
    return row


def _looked(told: Mapping[str, Any], guide: Guide) -> Looked:
    outcome = told.get("outcome") or ""
    clause = guide.checks[told["check"]].answers[outcome] if outcome else ""
    value = "" if told.get("value") is None else f"{told['value']} {told.get('unit') or ''}".strip()
    return Looked(told["check"], outcome, clause, value, told.get("reason") or "")


def _tested(row: Fault, state: State, ref: str = "") -> Fault:
    return replace(
        row, retests=tuple((r, state if ref in ("", r) else was) for r, was in row.retests)
    )
