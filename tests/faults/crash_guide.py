"""A search that goes on until it is killed; tests/faults/test_crash_guide.py kills it.

It starts the job or resumes it from the record, asks the guide, answers its checks at random, goes
to the energy states it wants, repairs and begins anew. After each turn it tells what the search
has taken so far; that was on disk before.
"""

from __future__ import annotations

import random
from multiprocessing.connection import Connection
from pathlib import Path

from assistant import resources
from assistant.clock import SetClock
from assistant.faults.load import KEPT, guide_of, texts_of
from assistant.faults.machine import Search
from assistant.job import JobSession
from assistant.plans import plan_of
from assistant.records.store import Store
from tests import crash_job

JOB_ID = "crash"
SYMPTOMS = ("door will not close", "breaker trips", "it drifts", "reverses at the floor")


def state(search: Search | None) -> dict[str, object]:
    """What a search has taken: what somebody has said to it and heard confirmed."""
    if search is None:
        return {}
    return {
        "symptom": search.symptom,
        "answers": [[a.check, a.outcome, str(a.value), a.reason] for a in search.answers],
        "refuted": list(search.refuted),
        "cause": search.cause,
        "retest": search.phase in ("retest", "over"),
    }


def words(session: JobSession, chance: random.Random) -> str:
    """What takes the search on, or the job's steps while it waits for them."""
    live, run = session.finding.live, session.run
    if run.held:
        return "go ahead"
    if live is None or live.over:
        return "find the fault"
    if not session.finding.has_floor(run):
        away = live.wanted is None or not run.at  # tests that this small job lacks
        return "find the fault" if away and not run.pending else crash_job.answer(session)
    search, door = live.search, session.finding.door
    assert door is not None
    if live.pending is not None:
        return "affirm"
    if search.phase == "symptom":
        return chance.choice(SYMPTOMS)
    if search.phase == "safe":
        return "it is safe"
    if search.phase == "check" and search.asked:
        check = door.checks[search.asked]
        spec = check.check.reading
        if spec and chance.random() < 0.8:
            low, high = (int(each) for each in spec.plausible)
            return f"{chance.randint(low + 1, max(low + 1, min(high, low + 40)))} {spec.unit}"
        said = [*check.spoken, "don't know"]
        return chance.choice(["can't do that one", *said * 3])
    if search.phase == "check" and search.waiting:
        return chance.choice(("go there", "something else"))
    if search.phase == "named":
        return chance.choice(("yes", "no"))
    if search.phase == "repair":
        return "it is repaired" if search.entered else "go there"
    return "leave the search"


def work(folder: Path, seed: int, told: Connection) -> None:
    """Work until killed."""
    clock, chance = SetClock(), random.Random(seed)
    with Store.open(folder / "records.sqlite") as store:
        if any(row["id"] == JOB_ID for row in store.jobs()):
            session = JobSession.resume(JOB_ID, store, clock=clock)
        else:
            texts = crash_job.TEXTS
            session = JobSession.start(JOB_ID, plan_of(texts), texts, store, clock=clock)
        while True:
            step = session.plan.step(session.run.at) if session.run.at else None
            clock.pass_s(301 if step and step.expects.wait else 2)
            turn = session.say("phone", words(session, chance), via="text")
            live = session.finding.live
            told.send((turn.seq, turn.energy, state(live and live.search)))


# Read once in the process that the killed ones are forked from, as it is in a server at work.
guide_of(texts_of(resources.steps_dir() / "faults"), KEPT)
