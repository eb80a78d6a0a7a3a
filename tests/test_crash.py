"""The program is killed at any moment: what was told is on record, and nothing else is believed."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

from assistant.clock import SetClock
from assistant.job import JobSession
from assistant.records.log import verify
from assistant.records.store import Store
from tests.crash_job import JOB_ID

ROOT = Path(__file__).parents[1]
ROUNDS = int(os.environ.get("THIRDHAND_KILLS", "20"))
EARLY = 0.2  # share of the rounds in which it is killed while it starts


class Killed:
    """A record that lives through many deaths of the program."""

    def __init__(self, folder: Path, seed: int):
        self.folder, self.random = folder, random.Random(seed)
        self.told: list[dict] = []
        self.states: set[str] = set()

    def round(self) -> None:
        """Start the program, let it work for a moment, kill it, look at the record."""
        with subprocess.Popen(
            [sys.executable, "-m", "tests.crash_job", str(self.folder)],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        ) as program:
            assert program.stdout
            if self.random.random() < EARLY:
                time.sleep(self.random.uniform(0, 1))
            else:
                assert program.stdout.readline() == "ready\n"
                time.sleep(self.random.uniform(0, 0.25))
            os.kill(program.pid, signal.SIGKILL)
            lines = program.stdout.read().removeprefix("ready\n").split("\n")
        assert program.returncode == -signal.SIGKILL
        # The last line may be half: it was being told when the end came.
        turns = [json.loads(line) for line in lines[:-1]]
        self.told += [each for turn in turns for each in turn["told"]]
        self.states |= {turn["energy"] for turn in turns}
        self.check(turns)

    def check(self, turns: list[dict]) -> None:
        path = self.folder / "records.sqlite"
        with Store.open(path) as store:
            if not store.jobs():
                assert not self.told  # killed before there was a job
                return
            chain = verify(store, JOB_ID)
            assert chain.ok, chain
            kept = [e.body for e in store.entries(JOB_ID) if "effects" in e.body]
            if turns:
                assert len(list(store.entries(JOB_ID))) >= turns[-1]["seq"]
            recorded = [
                effect
                for body in kept
                for effect in body["effects"]
                if effect["kind"] in ("taken", "judged")
            ]
            # In the order in which they were told; more may be on record than was told, by one
            # turn a death.
            rest = iter(recorded)
            missing = [each for each in self.told if not any(each == found for found in rest)]
            assert not missing, missing
            again = JobSession.resume(JOB_ID, store, clock=SetClock())
            ledger = again.run.ledger
            assert (ledger.state, ledger.locks) == ("unknown", ())
            gates = {step.id for step in again.plan.steps if step.proves in ("lock", "dead")}
            assert ledger.was_live or not gates & set(again.run.marks)
            assert again.run.pending is None and again.run.challenge is None
            for each in self.told:
                if each["kind"] == "judged":
                    assert each["name"] in again.run.readings


def test_killed_at_random_moments_nothing_told_is_lost_and_no_proof_is_believed(tmp_path):
    """THIRDHAND_KILLS=200 for the long run."""
    killed = Killed(tmp_path, seed=1)
    for _ in range(ROUNDS):
        killed.round()
    assert {"isolated", "locked", "proven-dead"} <= killed.states  # it was worth killing


def test_locks_that_were_on_are_asked_for_again_after_a_kill(tmp_path):
    killed = Killed(tmp_path, seed=3)
    for _ in range(30):
        killed.round()
        if killed.states & {"locked", "proven-dead"}:
            break
    with Store.open(tmp_path / "records.sqlite") as store:
        session = JobSession.resume(JOB_ID, store, clock=SetClock())
        for words in ("disconnect is off", "affirm"):
            turn = session.say("phone", words, via="text")
        assert (turn.step, turn.energy) == ("lock", "isolated")
        assert "lock" in turn.replies[-1].lower()
        for words in ("no movement", "lockout confirmed 4 7"):
            turn = session.say("phone", words, via="text")
        assert (turn.step, turn.energy) == ("lock", "isolated")
