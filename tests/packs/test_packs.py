"""What every pack in `steps/` keeps to, and what power-entry promises beyond that."""

import re

import pytest

from assistant.calc import calculate
from assistant.dialogue.grammar import alike_in_plan
from assistant.dialogue.phrases import spoken
from assistant.procedure.energy import RULES
from assistant.procedure.gates import ledger_move
from assistant.procedure.load import bind, load_job, load_pack
from tests.packs.cases import STEPS

PACKS = {path.parent.name: load_pack(path.parent) for path in sorted(STEPS.glob("*/pack.yaml"))}
JOBS = {path.stem: load_job(path) for path in sorted((STEPS / "jobs").glob("*.yaml"))}
PLANS = {
    f"{pack}-{job}": bind(PACKS[pack], JOBS[job])
    for job in JOBS
    for pack in JOBS[job].packs
    if pack in PACKS
}
MOST_WORDS = 30  # about 12 seconds at 150 words a minute
GATE_PHRASES = ("lockout confirmed", "clear to energise", "clear to energize", "power is on",
                "lock off", "lock is off")  # fmt: skip


@pytest.fixture(params=PLANS, ids=str)
def plan(request):
    return PLANS[request.param]


def test_every_pack_is_bound_to_some_door():
    assert {plan.pack.name for plan in PLANS.values()} == set(PACKS)


def test_power_entry_is_a_real_piece_of_work():
    assert len(PACKS["power-entry"].steps) >= 25
    for name, plan in PLANS.items():
        if plan.pack.name == "power-entry":
            assert len(plan.steps) >= 60, name


@pytest.mark.parametrize("pack", PACKS)
def test_phrases_of_one_step_do_not_sound_alike(pack):
    """Each step once, whichever door has it: the check compares every pair of phrases."""
    plans = [plan for plan in PLANS.values() if plan.pack.name == pack]
    once = {step.base: step for plan in plans for step in plan.steps}
    assert alike_in_plan(plans[0].model_copy(update={"steps": tuple(once.values())})) == []


def test_instructions_are_short_enough_to_be_remembered(plan):
    for step in plan.steps:
        for text in (step.say, step.caution.text if step.caution else ""):
            assert len(spoken(text).split()) <= MOST_WORDS, f"{step.id}: {text}"
        assert 0 < len(step.brief) <= len(step.say), step.id


def test_every_step_gives_its_reason_and_its_source(plan):
    for step in plan.steps:
        assert step.reason.endswith("."), step.id
        assert step.source, step.id


def test_no_prompt_speaks_a_phrase_that_would_answer_it(plan):
    """An echo of the loudspeaker must not be an answer, least of all at a gate."""
    for step in plan.steps:
        texts = [step.say, step.brief, step.reason, step.caution.text if step.caution else ""]
        heard = " | ".join(spoken(text) for text in texts)
        own = step.expects.confirmation
        phrases = [*GATE_PHRASES, *([own] if own and own != "done" else [])]
        for phrase in phrases:
            assert not re.search(rf"\b{spoken(phrase)}\b", heard), f"{step.id}: '{phrase}'"


def test_gates_come_in_the_order_of_the_ledger(plan):
    order = [rule.move for rule in RULES]
    moves = [move for step in plan.steps if (move := ledger_move(step))]
    assert moves == sorted(moves, key=order.index)
    stored = {"stored-wait", "stored"} if plan.job.stored_energy.present else set()
    held = {"restrained"} if plan.job.hazards else set()
    said = ("void", "work-over", "stored-wait", "stored", "restrained")  # or not in every job
    asked = {move for move in order if move not in said}
    assert set(moves) == asked | stored | held


def test_hands_are_in_only_between_proof_and_first_lock_off(plan):
    ids = [step.id for step in plan.steps]
    proven, off = ids.index("prove-dead"), ids.index("lock-off")
    for step in plan.steps[proven + 1 : off + 1]:
        assert step.needs and step.needs.energy == "proven-dead", step.id
    for step in plan.steps[off + 1 :]:
        assert not (step.needs and step.needs.energy == "proven-dead"), step.id


def test_live_readings_need_power_and_come_after_their_caution(plan):
    ids = [step.id for step in plan.steps]
    on = ids.index("power-on")
    for step in plan.steps[on + 1 :]:
        if step.expects.kind in ("reading", "derived"):
            assert step.needs and step.needs.energy == "energised", step.id
    assert plan.steps[on + 1].caution


def test_readings_of_the_proof_are_safety_limits_and_name_their_instrument(plan):
    for step in plan.steps:
        if step.proves and step.expects.reading:
            assert step.limits and step.limits.safety, step.id
            assert step.expects.reading.instrument == "required", step.id


def test_written_limits_of_the_proof_are_those_of_the_calculator(plan):
    limits = {
        "dead": calculate("dead-test", {}),
        "stored": calculate("dead-test", {"place": "dc-bus"}),
    }
    for step in plan.steps:
        if step.proves in limits:
            assert step.limits.at_most == limits[step.proves].at_most.value, step.id


def test_written_limits_lie_inside_what_is_plausible(plan):
    for step in plan.steps:
        if step.limits and step.expects.reading:
            low, high = step.expects.reading.plausible
            for edge in (step.limits.at_least, step.limits.at_most):
                assert edge is None or low <= edge <= high, step.id


@pytest.mark.parametrize("pack", PACKS.values(), ids=PACKS)
def test_every_source_of_a_pack_is_used_and_says_how_far_it_was_verified(pack):
    used = {step.source.ref for step in pack.steps if step.source}
    assert used == set(pack.sources)


def test_mains_conductors_go_where_the_terminal_plan_says():
    plan = PLANS["power-entry-pinewharf-d1"]
    said = [step.say for step in plan.steps if step.base == "mains"]
    assert said == [f"L{n} to X1, terminal {n}." for n in (1, 2, 3)]


def test_variants_follow_the_job():
    def ids(job):
        return {step.id for step in PLANS[f"power-entry-pinewharf-{job}"].steps}

    assert "stored" in ids("d1") and "stored" not in ids("d2")
    assert "unbalance" in ids("d3") and "unbalance" not in ids("d2") | ids("d4")
    assert "ferrules-metric" in ids("d2") and "strip-american" in ids("d1")
    assert "gate-at-rest" in ids("d4") and "battery-off" in ids("d4")
    assert "conduit-seal" in ids("d1") and "conduit-seal" not in ids("d3")
    assert len([i for i in ids("d3") if i.startswith("dead.")]) == 10
    assert len([i for i in ids("d1") if i.startswith("dead.")]) == 7  # with the control feed
    assert len([i for i in ids("d2") if i.startswith("dead.")]) == 3
