"""A door with fewer options is still a whole job: no step leads to one that was left out."""

from __future__ import annotations

import random

import pytest

from assistant.plans import find_pack
from assistant.procedure.load import load_job, load_pack
from assistant.procedure.plan import plan
from tests.packs.cases import STEPS

JOBS = {path.stem: load_job(path) for path in sorted((STEPS / "jobs").glob("*.yaml"))}
PACKS = {path.parent.name: load_pack(path.parent) for path in sorted(STEPS.glob("*/pack.yaml"))}
DRAWN = 25


def subsets(options):
    """Each option left out alone, none, and some drawn at random (the same each time)."""
    dice = random.Random(4)
    yield from (tuple(o for o in options if o != out) for out in options)
    yield ()
    for _ in range(DRAWN):
        yield tuple(o for o in options if dice.random() < 0.5)


@pytest.mark.parametrize("name", JOBS)
def test_a_whole_job_is_bound_with_any_options_left_out(name):
    job = JOBS[name]
    packs = [load_pack(find_pack(each)) for each in job.packs]
    for options in subsets(job.options):
        fewer = job.model_copy(update={"options": options})
        whole = plan(packs, PACKS.__getitem__, fewer)
        ids = {step.id for step in whole.steps}
        for step in whole.steps:
            for target in (step.expects.choice or {}).values():
                assert target in ids | {"next", "end"}, (options, step.id)
