"""A job that works through its script until it is killed: `python -m tests.crash_job FOLDER`.

It starts the job or resumes it from the record, answers whatever is asked, and prints after each
turn what it was told. What it printed was on disk before: that is what tests/test_crash.py checks.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from assistant.clock import SetClock
from assistant.job import JobSession, Turn
from assistant.plans import plan_of
from assistant.records.store import Store
from tests.procedure.small import JOB, PACK, STEPS

TEXTS = {"pack.yaml": PACK, "steps.yaml": STEPS, "job.yaml": JOB + "people: [lead, helper]\n"}
JOB_ID = "crash"
VALUES = {
    "tester-before": "two three zero volts",
    "tester-after": "two three one volts",
    "dead": "zero volts",
    "bus": "one two volts",
    "earth": "zero decimal zero five ohms",
    "insulation": "two hundred megohms",
    "supply": "four eight zero volts",
}


def answer(session: JobSession) -> str:
    """The words that take the job on."""
    run = session.run
    step = session.plan.step(run.at) if run.at else None
    if run.held:
        return "go ahead"
    if run.pending:
        return "affirm"
    if step is None:  # the end: something spoils it, and all is done once more
        return "prove again"
    if step.expects.reading:
        return VALUES[step.expects.reading.name.split(".")[0]]
    if step.expects.tag:
        on = dict(run.ledger.locks)
        owner = run.ledger.next_without_lock() if step.proves == "lock" else next(iter(on))
        return f"tag {on.get(owner or '', '12' if owner == 'lead' else '34')}"
    if step.expects.challenge:
        digits = run.challenge.digits if run.challenge else "00"
        return f"{step.expects.challenge.replace('-', ' ')} {digits}"
    if step.expects.choice:
        return "later"
    return step.expects.confirmation or "done"


def report(session: JobSession, turn: Turn) -> None:
    """One line on what a person was just told."""
    told = [e.model_dump(mode="json") for e in turn.effects if e.kind in ("taken", "judged")]
    line = {"seq": turn.seq, "energy": turn.energy, "at": session.run.at, "told": told}
    sys.stdout.write(json.dumps(line) + "\n")
    sys.stdout.flush()


def main() -> None:
    """Work until killed."""
    path, clock = Path(sys.argv[1]) / "records.sqlite", SetClock()
    with Store.open(path) as store:
        if any(row["id"] == JOB_ID for row in store.jobs()):
            session = JobSession.resume(JOB_ID, store, clock=clock)
        else:
            session = JobSession.start(JOB_ID, plan_of(TEXTS), TEXTS, store, clock=clock)
        sys.stdout.write("ready\n")
        sys.stdout.flush()
        while True:
            step = session.plan.step(session.run.at) if session.run.at else None
            clock.pass_s(301 if step and step.expects.wait else 2)
            report(session, session.say("phone", answer(session), via="text"))


if __name__ == "__main__":
    main()
