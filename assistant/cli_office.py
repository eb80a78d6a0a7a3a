"""`thirdhand record ...` for the office: doors over the years, and what is kept of people."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from assistant.clock import Clock
from assistant.errors import FileError

if TYPE_CHECKING:
    from assistant.records.store import Store


def print_json(data: Any) -> None:
    """Data as JSON, for other programs."""
    print(json.dumps(data, ensure_ascii=False, indent=2, default=str), flush=True)


def write(out: Path, fill: Callable[[BinaryIO], object]) -> None:
    """A file, whole or not at all; a device is written to as it is."""
    draft = out if out.exists() and not out.is_file() else out.with_name(f"{out.name}.part")
    try:
        with draft.open("wb") as file:
            fill(file)
            file.flush()
            if draft != out:
                os.fsync(file.fileno())
        if draft != out:
            draft.replace(out)
    except OSError as problem:
        if draft != out:
            with suppress(OSError):
                draft.unlink(missing_ok=True)
        raise FileError(
            str(out), None, f"can't be written: {problem.strerror}; the record is as it was. Free "
            "some space, or name another place with --out"
        ) from problem  # fmt: skip
    print(f"written to {out}")


# --- doors over the years ------------------------------------------------------------------------


def history(store: Store, arguments: argparse.Namespace) -> int:
    from assistant.records import history

    rows = history.jobs_of_door(store, arguments.door, arguments.site)
    if arguments.json:
        print_json(rows)
        return 0
    print(f"door {rows[0]['door']}, {rows[0]['site']}")
    for row in rows:
        state = "finished" if row["finished"] else "not finished"
        print(f"{row['started'][:10]}  {row['job']}  {row['title']}, {state}")
        print(f"            {row['readings']} readings; failed: {_named(row['failed'])}; "
              f"open: {_named(row['open_points'])}")  # fmt: skip
    return 0


def _named(names: list[str]) -> str:
    return ", ".join(names) or "none"


def search(store: Store, arguments: argparse.Namespace) -> int:
    from assistant.records import history

    rows = history.search(store, arguments.words)
    if arguments.json:
        print_json(rows)
    for row in [] if arguments.json else rows:
        found = "".join(c if c.isprintable() else " " for c in row["found"])
        print(f"{row['wall']}  {row['job']}  entry {row['seq']}  {found}")
    return 0 if rows else 1


def trend(store: Store, arguments: argparse.Namespace) -> int:
    from assistant.records import history, trend_plot

    found = history.trend(store, arguments.door, arguments.reading, arguments.site)
    if arguments.json:
        print_json(asdict(found))
    else:
        for visit in found.visits:
            print(f"{visit.wall[:10]}  {visit.said:>14}  {visit.verdict:5} {visit.job}")
        print(found.sentence)
    if arguments.svg:
        text = trend_plot.svg(found).encode()
        write(arguments.svg, lambda file: file.write(text))
    return 0


def due(store: Store, arguments: argparse.Namespace) -> int:
    from assistant.records import history

    today = date.fromisoformat(Clock().wall()[:10])
    rows = history.due(store, today, days=arguments.days, within=arguments.within)
    if arguments.json:
        print_json([asdict(row) for row in rows])
    for row in [] if arguments.json else rows:
        late = f"OVERDUE by {-row.days_left} days" if row.days_left < 0 else f"{row.days_left} days"
        print(f"{row.due}  door {row.door}, {row.site}  {late}  ({row.reason})")
    return 0


# --- people --------------------------------------------------------------------------------------


def privacy(store: Store, arguments: argparse.Namespace) -> int:
    from assistant.records import retention

    found = retention.kept(store, arguments.job)
    if arguments.json:
        print_json(asdict(found))
        return 0
    files = {"photos": found.photos, "sound clips": found.clips}
    print(f"{found.job}: {found.entries} entries")
    print(f"  words: {found.words} texts of what was heard, said and noted, {found.words_bytes} "
          f"bytes\n  names of people: {_named(list(found.names))}")  # fmt: skip
    for name, rows in files.items():
        places = f" (entries {', '.join(str(seq) for seq, _ in rows)})" if rows else ""
        print(f"  {name}: {len(rows)}, {sum(size for _, size in rows)} bytes{places}")
    print(f"  sound clips are {'kept' if found.keep_clips else 'not kept'} for this job")
    print(f"  redacted before: {len(found.gone)} entries")
    if found.old:
        print(f"  {found.old} entries are of the first format; nothing can be taken out of them")
    return 0


def redact(store: Store, arguments: argparse.Namespace) -> int:
    from assistant.records import retention

    if not arguments.yes:
        raise FileError("record redact", None, "takes it out for good; add --yes if that is meant")
    only = frozenset(arguments.entry) if arguments.entry else None
    done = retention.redact(
        store, arguments.job, arguments.of, who=arguments.who, why=arguments.why,
        wall=Clock().wall(), only=only,
    )  # fmt: skip
    return _tell_redacted(arguments, {arguments.job: done})


def retention(store: Store, arguments: argparse.Namespace) -> int:
    from assistant.records import retention

    today = date.fromisoformat(Clock().wall()[:10])
    before = date(today.year - arguments.years, today.month, min(today.day, 28)).isoformat()
    jobs = retention.older_than(store, before)
    if not arguments.yes:
        if arguments.json:
            print_json({"before": before, "jobs": jobs, "done": False})
        else:
            print(f"from before {before}: {_named(jobs)}")
            print("nothing was taken out; add --yes to do it")
        return 0
    why = f"kept for {arguments.years} years"
    done = {
        job: retention.redact(
            store, job, arguments.of, who=arguments.who, why=why, wall=Clock().wall()
        )
        for job in jobs
    }
    return _tell_redacted(arguments, done)


def _tell_redacted(arguments: argparse.Namespace, done: dict[str, Any]) -> int:
    if arguments.json:
        print_json({job: asdict(each) for job, each in done.items()})
    for job, each in {} if arguments.json else done.items():
        if not each.entries:
            print(f"{job}: nothing of the kind was there")
            continue
        print(
            f"{job}: taken out of {len(each.entries)} entries, {each.files} files; the chain holds"
        )
    if not all(each.clean for each in done.values()):
        print(
            "Another program has the record open, so what was taken out is still in the file "
            "ending in -wal. It goes when that program is closed.",
            file=sys.stderr,
        )
    print("Backups and exports made before still have it.", file=sys.stderr)
    return 0
