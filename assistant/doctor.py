"""Is everything here that a job needs? Each part is tried for real, not looked up."""

from __future__ import annotations

import platform
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from assistant import __version__, resources
from assistant.errors import ThirdhandError


@dataclass(frozen=True)
class Finding:
    """One part: is it there, and what to know or do. needed: no job without it."""

    part: str
    good: bool
    detail: str
    needed: bool = True


def examine(data_dir: Path) -> Iterator[Finding]:
    """Try each part in turn."""
    system = f"Thirdhand {__version__}, Python {platform.python_version()}, {sys.platform}"
    yield Finding("program", True, system)
    for part, needed, trial in (
        ("packs", True, _packs),
        ("page", True, _page),
        ("data folder", True, lambda: _data(data_dir)),
        ("voice", False, _voice),
        ("endpointer", True, _endpointer),
    ):
        yield _tried(part, needed, trial)
    yield from _engines()
    free = shutil.disk_usage(_there(data_dir)).free / 1e9
    yield Finding("disk", free > 0.5, f"{free:.1f} GB free", needed=False)


def _tried(part: str, needed: bool, trial: Callable[[], str]) -> Finding:
    try:
        return Finding(part, True, trial(), needed)
    except (ThirdhandError, OSError, ImportError) as problem:
        return Finding(part, False, str(problem), needed)


def _packs() -> str:
    from assistant.check import check

    checked, faults = check([resources.steps_dir()])
    if faults:
        raise ThirdhandError("; ".join(str(fault) for fault in faults[:3]))
    return f"{resources.steps_dir()}: " + ", ".join(each.name for each in checked)


def _page() -> str:
    index = resources.web_dir() / "index.html"
    index.read_text(encoding="utf-8")
    return str(index.parent)


def _data(folder: Path) -> str:
    from assistant.records.store import Store

    Store.open(folder / "records.sqlite").close()
    return f"{folder} can be written"


def _voice() -> str:
    from assistant.speech.espeak_voice import EspeakVoice

    with tempfile.TemporaryDirectory() as folder:
        path = EspeakVoice(Path(folder)).speak("Radio check.")
        return f"eSpeak NG speaks ({path.stat().st_size} bytes for a test sentence)"


def _endpointer() -> str:
    import numpy as np

    from assistant.speech.endpoint import Endpointer

    found = Endpointer().feed(np.zeros(16_000, np.int16))
    return f"runs, {len(found)} utterances in a second of silence"


def _engines() -> Iterator[Finding]:
    from assistant.speech import engines

    found = engines.available(resources.models_dirs()[-1], resources.data_dir())
    one = any(good for _, good, _ in found)
    for name, good, detail in found:
        yield Finding(f"recogniser {name}", good, detail, needed=False)
    if not one:
        yield Finding("recogniser", False, "none works; answers by touch and text only")


def _there(folder: Path) -> Path:
    return folder if folder.exists() else _there(folder.parent)
