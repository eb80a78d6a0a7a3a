"""Engines with their models, loaded once; the recordings of real people, where they are."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from assistant.errors import ModelMissing
from assistant.speech.engines import load
from assistant.speech.recogniser import Recogniser

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="session")
def speech_dir() -> Path:
    folder = Path(os.environ.get("THIRDHAND_SPEECH", ROOT.parent / "shared" / "speech"))
    if not (folder / "manifest.jsonl").is_file():
        pytest.skip("no recordings of real people: set THIRDHAND_SPEECH to their folder")
    return folder


@pytest.fixture(scope="session")
def recordings(speech_dir: Path) -> list[dict]:
    lines = (speech_dir / "manifest.jsonl").read_text(encoding="utf-8").splitlines()
    return [json.loads(line) for line in lines]


def _engine(name: str) -> Recogniser:
    try:
        return load(name)
    except ModelMissing as error:
        pytest.skip(str(error))


@pytest.fixture(scope="session")
def whisper() -> Recogniser:
    return _engine("whisper")


@pytest.fixture(scope="session")
def sphinx() -> Recogniser:
    return _engine("sphinx")
