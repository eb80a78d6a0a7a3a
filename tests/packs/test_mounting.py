"""Mounting: entries from below, and variants that follow place, code set and conduit."""

from assistant.plans import plan_from_files
from assistant.procedure.load import load_job
from tests.packs.cases import STEPS

JOBS = {n: load_job(STEPS / "jobs" / f"pinewharf-{n}.yaml") for n in ("d1", "d2", "d3", "d4")}


def own(job):
    steps = plan_from_files(["mounting"], job).steps
    return {step.id: step for step in steps if step.pack == "mounting"}


def test_every_step_is_work_at_the_proven_dead_place():
    for job in JOBS.values():
        assert all(s.needs and s.needs.energy == "proven-dead" for s in own(job).values())


def test_boards_are_covered_before_drilling_and_uncovered_after_the_vacuum():
    order = list(own(JOBS["d1"]))
    steps = ("mount-cover", "entry-drill", "mount-vacuum")
    cover, drill, vacuum = (order.index(each) for each in steps)
    assert cover < drill < vacuum


def test_variants_follow_place_code_set_and_conduit():
    found = {name: set(own(job)) for name, job in JOBS.items()}
    assert {"entry-warm-seal", "mount-warm", "entry-conduit-bond", "entry-bushing"} <= found["d1"]
    assert not {"entry-warm-seal", "entry-bushing", "mount-weather"} & found["d2"]
    assert "entry-gland-shield" in found["d3"] and "entry-gland-shield" not in found["d2"]
    assert {"mount-weather", "entry-ground"} <= found["d4"]


def test_bends_end_at_a_full_turn():
    """At most 360 degrees between pull points: read on a page that quotes the NEC."""
    assert own(JOBS["d1"])["entry-bends"].limits.at_most == 360
