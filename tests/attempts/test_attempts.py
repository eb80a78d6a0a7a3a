"""Every way round the gate that is written down in this folder is refused, and told why."""

from __future__ import annotations

import contextlib
from collections import Counter
from pathlib import Path

import pytest
from ruamel.yaml import YAML

from assistant.records.log import verify
from tests.attempts.played import Attempt

FILES = sorted(Path(__file__).parent.glob("*.yaml"))
KINDS = {
    *("voice", "touch", "api", "device", "replay", "resume", "pack", "clock", "together"),
    *("challenge", "loudspeaker"),
}
FIELDS = {"about", "kind", "layer", "job", "devices", "before", "steps", "refused", "energy", "at"}


def load(path: Path) -> dict:
    data = YAML(typ="safe").load(path.read_text(encoding="utf-8"))
    assert set(data) <= FIELDS and data["about"].endswith(".") and data["kind"] in KINDS
    return data


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_an_attempt_is_refused_with_the_reason_spoken(path, tmp_path):
    data = load(path)
    played = Attempt(data, tmp_path)
    with contextlib.ExitStack() as stack:
        stack.callback(lambda: played.jobs.store.close())
        played.begin()
        if data["layer"] == "socket":
            played.serve(stack)
        for step in data["steps"]:
            played.play(step)
        run = played.session.run
        found = f"found {played.told} at {run.at}, {run.ledger.state}"
        for code in data["refused"]:
            reasons = [said for told, said in played.told if fits(code, told)]
            assert reasons, f"nothing was refused with '{code}': {found}"
            assert all(reasons), f"'{code}' was refused without a word: {found}"
        assert data["refused"], "an attempt names what refuses it"
        assert run.ledger.state == data["energy"], found
        if "at" in data:
            assert run.at == data["at"], found
        assert verify(played.jobs.store, played.job_id).ok


def fits(code: str, told: str) -> bool:
    """True if a code is the one that is wanted, or begins with it ("wait" fits "wait:120")."""
    return told == code or told.startswith((f"{code}:", f"{code} ", f"{code}."))


def test_there_are_attempts_of_every_kind():
    kinds = Counter(load(path)["kind"] for path in FILES)
    assert len(FILES) >= 60
    assert set(kinds) == KINDS and min(kinds.values()) >= 3
