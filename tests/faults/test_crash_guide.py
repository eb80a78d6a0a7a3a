"""The program is killed in the middle of a search: what was confirmed to it is on record."""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import time
from pathlib import Path

import pytest

from assistant.clock import SetClock
from assistant.job import JobSession
from assistant.records.log import verify
from assistant.records.store import Store
from tests.faults.crash_guide import JOB_ID, state, work
from tests.faults.test_live import replayed

ROUNDS = int(os.environ.get("THIRDHAND_KILLS", "12"))
A_JOB = 10  # rounds until the next job: a long log costs the test more than it tells


@pytest.fixture(scope="module")
def processes():
    """Processes forked from one that has the program loaded: a start takes milliseconds."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["tests.faults.crash_guide"])
    return context


def killed(processes, folder: Path, seed: int, chance: random.Random) -> list[tuple]:
    """What the program told before it was killed at a moment of its work: (seq, energy, state)."""
    ours, theirs = processes.Pipe(duplex=False)
    program = processes.Process(target=work, args=(folder, seed, theirs), daemon=True)
    program.start()
    theirs.close()
    turns = [ours.recv() for _ in range(chance.randint(1, 120))]
    time.sleep(chance.uniform(0, 0.02))  # anywhere within one of the next turns
    program.kill()
    program.join()
    assert program.exitcode == -signal.SIGKILL
    try:
        while True:
            turns.append(ours.recv())
    except (EOFError, OSError):  # the last may be half: it was being told when the end came
        return turns


def test_killed_at_random_moments_a_search_keeps_every_answer_that_was_confirmed(
    processes, tmp_path
):
    """THIRDHAND_KILLS=100 for the long run."""
    chance = random.Random(4)
    phases: set[str] = set()
    more = 0
    for number in range(ROUNDS):
        folder = tmp_path / str(number // A_JOB)
        folder.mkdir(exist_ok=True)
        turns = killed(processes, folder, number, chance)
        seq, _, told = turns[-1]
        with Store.open(folder / "records.sqlite") as store:
            assert verify(store, JOB_ID).ok
            written = len(list(store.entries(JOB_ID)))
            assert written >= seq
            again = JobSession.resume(JOB_ID, store, clock=SetClock())
            live = again.finding.live
            found = state(live and live.search)
            # The turn that was being told when the end came may be on record; no other is.
            if written == seq:
                assert found == told
            else:
                more += 1
            if told and found.get("symptom") == told.get("symptom"):
                assert found["answers"][: len(told["answers"])] == told["answers"]
            assert replayed(again) == (again.run, again.finding)
            assert again.run.ledger.state == "unknown" and again.run.pending is None
            assert live is None or live.pending is None
            assert live is None or not live.search.entered or live.search.phase != "repair"
        phases |= {energy for _, energy, _ in turns}
        phases |= {"answered" for *_, kept in turns if kept.get("answers")}
        phases |= {"repaired" for *_, kept in turns if kept.get("retest")}
    assert {"unknown", "answered", "proven-dead", "repaired"} <= phases  # it was worth killing
    assert more < ROUNDS
