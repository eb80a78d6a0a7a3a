"""`thirdhand fault ...`: the fault guide by typed lines."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from assistant import resources
from assistant.errors import FileError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments of `fault`."""
    parser.add_argument("symptom", nargs="*", help="what the door does, its number or its id")
    parser.add_argument("--job", default="pinewharf-d1", help="job file or demo job")
    parser.add_argument(
        "--record", type=Path, metavar="FILE",
        help="JSON summary of the job's record: readings, open_points, settings, devices, cycles",
    )  # fmt: skip
    parser.add_argument("--list", action="store_true", help="the symptoms this door can show")
    parser.add_argument("--script", type=Path, help="text lines (default: what you type)")
    parser.add_argument("--json", action="store_true", help="print data as JSON")


def fault(arguments: argparse.Namespace) -> int:
    """Search for a fault by typed lines, or list the symptoms."""
    from assistant.faults import text
    from assistant.faults.door import for_job
    from assistant.faults.load import load_guide
    from assistant.plans import find_job
    from assistant.procedure.load import load_job

    guide = load_guide(resources.steps_dir() / "faults")
    door = for_job(guide, load_job(find_job(arguments.job)), _record(arguments.record))
    if arguments.list:
        rows = [{"number": s.number, "id": s.id, "name": s.name} for s in door.symptoms()]
        plain = [f"{row['number']:3} {row['name']}" for row in rows]
        print(json.dumps(rows, indent=2) if arguments.json else "\n".join(plain))
        return 0
    if not arguments.json:
        print(f"{door.job.site}, door {door.job.door}. {door.guide.title}.")
        print("Nothing here proves an energy state: 'energy is proven-dead' is taken as told.")
    turns = []
    for turn in text.play(door, _lines(arguments.script), " ".join(arguments.symptom)):
        turns.append(asdict(turn))
        if arguments.json:
            continue
        if arguments.script and turn.line:
            print(f"> {turn.line}")
        print("\n".join(turn.replies), flush=True)
    if arguments.json:
        print(json.dumps(turns, ensure_ascii=False, indent=2))
    return 0


def _lines(script: Path | None) -> Iterable[str]:
    return sys.stdin if script is None else _text(script).splitlines()


def _record(file: Path | None) -> dict[str, Any] | None:
    if file is None:
        return None
    try:
        found = json.loads(_text(file))
    except json.JSONDecodeError as problem:
        raise FileError(str(file), problem.lineno, f"is not JSON here: {problem.msg}") from problem
    if not isinstance(found, dict):
        raise FileError(
            str(file), 1, 'must be an object such as {"settings": {"auto-close": "off"}}'
        )
    return found


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except OSError as problem:
        raise FileError(str(path), None, f"can't be read: {problem.strerror}") from problem
