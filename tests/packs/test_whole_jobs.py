"""Every door's whole job, all packs strung together, from text to a whole record."""

from __future__ import annotations

import itertools
from functools import cache

import pytest
from ruamel.yaml import YAML

from assistant import rehearse
from assistant.clock import SetClock
from assistant.job import Jobs
from assistant.quantity import unit
from assistant.records.log import verify
from tests.packs import helpful
from tests.packs.cases import STEPS, Played

JOBS = sorted(path.stem for path in (STEPS / "jobs").glob("*.yaml"))


@cache
def values_of_cases() -> dict[str, dict[str, str]]:
    """Job -> reading -> a value that passed in a dialogue of the packs; invented like these."""
    found: dict[str, dict[str, str]] = {job: {} for job in JOBS}
    for path in sorted(STEPS.glob("*/cases/*.yaml")):
        case = YAML(typ="safe").load(path.read_text(encoding="utf-8"))
        played = Played.start(path.parents[1].name, case["job"], case.get("taken"))
        for turn in case["turns"]:
            played.turn(turn)
        for name, taken in played.run.readings.items():
            if taken.quantity and not taken.derived and taken.verdict != "fail":
                value = f"{taken.quantity.value} {unit(taken.quantity.unit).symbol}".strip()
                found[case["job"]][name] = value
    return found


def said_at(job: str) -> dict[str, str]:
    """The values for a door: its own first, else those of another."""
    own = values_of_cases().get(job, {})
    others = [values for name, values in values_of_cases().items() if name != job]
    return {n: v for values in others for n, v in values.items()} | own


@pytest.mark.parametrize("job", JOBS)
def test_a_whole_job_comes_to_its_end_by_right_answers_with_nothing_left_open(job, tmp_path):
    """Each line is understood, each step passed once, and the record holds."""
    clock, digits = SetClock(), itertools.cycle(("47", "62", "76", "24"))
    jobs = Jobs(tmp_path, clock=clock, challenge=lambda: next(digits))
    session = jobs.new(job)
    for person in session.plan.job.people:
        session.join(person, person)
    misheard = []
    for line in helpful.lines(session, said_at(job)):
        for played in rehearse.play_text(session, clock, rehearse.read_script(line)):
            if played.turn.tone in ("not-understood", "refused"):
                misheard.append((line, played.turn.replies))
    assert misheard == []
    assert session.run.finished and session.run.open_points == ()
    assert {p.name for p in session.plan.pack.parts} >= set(session.plan.job.packs)
    assert verify(jobs.store, session.job_id).ok
    jobs.store.close()


def test_every_calculated_limit_in_the_record_shows_formula_inputs_and_source(tmp_path):
    """Door D1: whatever a calculator judged stands in the log with its working and its source."""
    clock = SetClock()
    jobs = Jobs(tmp_path, clock=clock, challenge=lambda: "47")
    session = jobs.new("pinewharf-d1")
    for person in session.plan.job.people:
        session.join(person, person)
    for line in helpful.lines(session, said_at("pinewharf-d1")):
        list(rehearse.play_text(session, clock, rehearse.read_script(line)))
    by_sum = {s.id for s in session.plan.steps if s.limits and s.limits.calc}
    judged = [
        effect
        for entry in jobs.store.entries(session.job_id)
        for effect in entry.body.get("effects", ())
        if effect["kind"] == "judged"
    ]
    computed = [each for each in judged if each["step"] in by_sum]
    assert len(computed) >= 40
    for each in computed:
        assert each["bounds"]["source"] and each["bounds"]["working"], each["step"]
    for each in judged:
        assert not each["derived"] or each["working"], each["step"]
    jobs.store.close()
