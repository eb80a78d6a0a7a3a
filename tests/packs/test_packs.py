"""What every pack in `steps/` keeps to, and what power-entry promises beyond that."""

import re
from collections import Counter
from dataclasses import replace

import pytest

from assistant.calc import calculate
from assistant.dialogue.grammar import alike_in_plan
from assistant.dialogue.phrases import spoken
from assistant.plans import plan_from_files
from assistant.procedure import gates, machine
from assistant.procedure.energy import RULES
from assistant.procedure.gates import ledger_move
from assistant.procedure.load import load_job, load_pack
from assistant.procedure.run import TakenReading
from assistant.quantity import quantity
from tests.packs.cases import STEPS

PACKS = {path.parent.name: load_pack(path.parent) for path in sorted(STEPS.glob("*/pack.yaml"))}
JOBS = {path.stem: load_job(path) for path in sorted((STEPS / "jobs").glob("*.yaml"))}
PLANS = {
    f"{pack}-{job}": plan_from_files([pack], JOBS[job])
    for job in JOBS
    for pack in JOBS[job].packs
    if pack in PACKS
}
# The dock's safety tests are done on another day, with a helper.
WITH_HELPER = JOBS["pinewharf-d2"].model_copy(update={"people": ("lead", "helper")})
PLANS["safety-tests-pinewharf-d2"] = plan_from_files(["safety-tests"], WITH_HELPER)
DEVICE_TESTS = ("safety-tests", "force-tests")
MOST_WORDS = 30  # about 12 seconds at 150 words a minute
GATE_PHRASES = ("lockout confirmed", "clear to energise", "clear to energize", "power is on",
                "lock off", "lock is off")  # fmt: skip


FRAMES = {"getting-ready", "isolation", "release", "in-service"}
ISOLATING = [n for n, p in PLANS.items() if "isolation" in {part.name for part in p.pack.parts}]
IN_SERVICE = [name for name, plan in PLANS.items() if plan.pack.found == "in-service"]
# The release gate's own questions, before a panel that is found live may be worked with.
LOOKED_AT = {"panel-shut", "handle-free", "path-free", "people-clear", "warn"}


@pytest.fixture(params=PLANS, ids=str)
def plan(request):
    return PLANS[request.param]


@pytest.fixture(params=ISOLATING, ids=str)
def isolating(request):
    return PLANS[request.param]


@pytest.fixture(params=IN_SERVICE, ids=str)
def in_service(request):
    return PLANS[request.param]


def test_every_pack_is_bound_to_some_door():
    assert ISOLATING and IN_SERVICE
    assert {plan.pack.name for plan in PLANS.values()} == set(PACKS) - FRAMES
    assert {step.pack for plan in PLANS.values() for step in plan.steps} == set(PACKS)


def test_power_entry_is_a_real_piece_of_work():
    assert len(PACKS["power-entry"].steps) >= 25
    for name, plan in PLANS.items():
        if plan.pack.name == "power-entry":
            assert len(plan.steps) >= 60, name


@pytest.mark.parametrize("pack", PACKS)
def test_phrases_of_one_step_do_not_sound_alike(pack):
    """Each step once, whichever door has it: the check compares every pair of phrases."""
    plans = [plan for plan in PLANS.values() if pack in {part.name for part in plan.pack.parts}]
    once = {step.base: step for plan in plans for step in plan.steps if step.pack == pack}
    assert alike_in_plan(plans[0].model_copy(update={"steps": tuple(once.values())})) == []


def test_instructions_are_short_enough_to_be_remembered(plan):
    for step in plan.steps:
        for text in (step.say, step.caution.text if step.caution else ""):
            assert len(spoken(text).split()) <= MOST_WORDS, f"{step.id}: {text}"
        both = f"{step.say} {step.helper}"  # the two parts of a step for two are one turn
        assert len(spoken(both).split()) <= MOST_WORDS, f"{step.id}: {both}"
        assert 0 < len(step.brief) <= len(step.say), step.id


def test_every_step_gives_its_reason_and_its_source(plan):
    for step in plan.steps:
        assert step.reason.endswith("."), step.id
        assert step.source, step.id


def test_no_prompt_speaks_a_phrase_that_would_answer_it(plan):
    """An echo of the loudspeaker must not be an answer, least of all at a gate."""
    for step in plan.steps:
        texts = [step.say, step.brief, step.reason, step.caution.text if step.caution else ""]
        texts += [step.mark, step.helper]
        heard = " | ".join(spoken(text) for text in texts)
        own = step.expects.confirmation
        phrases = [*GATE_PHRASES, *([own] if own and own != "done" else [])]
        # "Start over" is the one answer that may be told: it passes nothing.
        phrases += [answer for answer in step.expects.choice or {} if answer != "start over"]
        for phrase in phrases:
            assert not re.search(rf"\b{spoken(phrase)}\b", heard), f"{step.id}: '{phrase}'"


def test_gates_come_in_the_order_of_the_ledger(isolating):
    plan = isolating
    order = [rule.move for rule in RULES]
    moves = [move for step in plan.steps if (move := ledger_move(step))]
    assert moves == sorted(moves, key=order.index)
    stored = {"stored-wait", "stored"} if plan.job.stored_energy.present else set()
    held = {"restrained"} if plan.job.hazards else set()
    said = ("void", "work-over", "stored-wait", "stored", "restrained", "source-found")
    asked = {move for move in order if move not in said}
    assert set(moves) == asked | stored | held


def test_hands_are_in_only_between_proof_and_first_lock_off(isolating):
    plan = isolating
    ids = [step.id for step in plan.steps]
    proven, off = ids.index("prove-dead"), ids.index("lock-off")
    for step in plan.steps[proven + 1 : off + 1]:
        assert step.needs and step.needs.energy == "proven-dead", step.id
    for step in plan.steps[off + 1 :]:
        assert not (step.needs and step.needs.energy == "proven-dead"), step.id


def test_a_panel_in_service_is_looked_at_and_released_before_anything_moves(in_service):
    moves = [move for step in in_service.steps if (move := ledger_move(step))]
    assert moves == ["clear-to-energise", "power-on"]
    ids = [step.id for step in in_service.steps]
    gate, on = ids.index("clear-gate"), ids.index("power-on")
    assert set(ids[:gate]) >= LOOKED_AT
    assert not any(step.mark for step in in_service.steps[: on + 1])


def test_every_step_in_service_needs_power_and_no_proof_of_a_dead_panel(in_service):
    on = [step.id for step in in_service.steps].index("power-on")
    for step in in_service.steps[on + 1 :]:
        assert (step.needs and step.needs.energy == "energised") or is_talk(step), step.id


def is_talk(step):
    """What is agreed, shown or written down: nothing moves and nothing is measured for it."""
    return not (step.mark or step.expects.reading or step.needs)


def moving_tests(plan):
    """The steps whose answer tells a test that passed from one that failed."""
    return [s for s in plan.steps if s.expects.choice and s.mark]


def test_every_movement_waits_for_the_clear_call_of_both(in_service):
    for step in in_service.steps:
        if step.mark:
            assert step.who == "both", step.id
    if in_service.pack.name == "safety-tests":
        assert moving_tests(in_service)
        for step in moving_tests(in_service):
            assert step.helper, step.id


def test_no_failing_answer_goes_on_to_the_next_test(in_service):
    """Of every test's answers one passes; each other one leads to a step that tells what to do."""
    if in_service.pack.name not in DEVICE_TESTS:
        return
    for step in in_service.steps:
        choice = step.expects.choice or {}
        if "start over" in choice or not choice or step.id.endswith("verdict"):
            continue
        failed = {to for to in choice.values() if to.endswith("-failed")}
        assert len(failed) == 1, step.id
        assert len(choice) - sum(to in failed for to in choice.values()) == 1, step.id


def test_a_failed_test_leads_back_to_its_start_or_to_an_open_point(in_service):
    ids = [step.id for step in in_service.steps]
    for step in in_service.steps:
        if not step.id.endswith("-failed"):
            continue
        assert list(step.expects.choice) == ["start over"], step.id
        first = ids.index(step.expects.choice["start over"])
        into = [s for s in in_service.steps if step.id in (s.expects.choice or {}).values()]
        assert into and all(first <= ids.index(s.id) < ids.index(step.id) for s in into), step.id
        assert "unable" in step.say and "must not be left in automatic" in step.caution.text


def test_every_answer_leads_to_a_step_that_this_door_has(plan):
    """A step that a job leaves out can't be where an answer leads."""
    ids = {step.id for step in plan.steps}
    for step in plan.steps:
        for target in (step.expects.choice or {}).values():
            assert target in ids | {"next", "end"}, step.id


def test_a_test_that_passed_never_meets_the_step_for_a_failed_one(in_service):
    """Through the door's own plan by passing answers alone: no "failed" step is on the way."""
    if in_service.pack.name not in DEVICE_TESTS:
        return
    ids = [step.id for step in in_service.steps]
    at = 0
    while at < len(ids):
        step = in_service.steps[at]
        assert not step.id.endswith("-failed"), step.id
        choice = step.expects.choice or {}
        good = [to for to in choice.values() if not to.endswith("-failed")]
        at = at + 1 if not good or good[0] == "next" else ids.index(good[0])


@pytest.mark.parametrize("name", ["d1", "d4"])
def test_automatic_closing_is_tried_only_after_every_safety_test_before_it(name):
    """Whatever the door has: each safety reading asked for before the section is needed by it."""
    plan = PLANS[f"safety-tests-pinewharf-{name}"]
    automatic = [step for step in plan.steps if step.section == "automatic"]
    before = plan.steps[: plan.index(automatic[0].id)]
    needed = {s.expects.reading.name for s in before if s.limits and s.limits.safety}
    assert needed >= {"stops", "edge-reversals", "beam-reversals", "loop-tries"}
    assert ("second-beam-reversals" in needed) == (name == "d1")
    had = {n: TakenReading(n, quantity("1"), "", "pass", None, False, 0) for n in needed}
    run = replace(machine.start(plan), readings=had)
    for step in automatic:
        assert gates.applies(plan, run, step), step.id
        for each in needed:
            failed = had | {each: replace(had[each], verdict="fail")}
            assert not gates.applies(plan, replace(run, readings=failed), step), each
            missing = {n: t for n, t in had.items() if n != each}
            assert not gates.applies(plan, replace(run, readings=missing), step), each


def test_the_counts_of_a_device_are_safety_limits_and_ask_for_every_try():
    pack = PACKS["safety-tests"]
    for step in pack.steps:
        reading = step.expects.reading
        if reading and reading.unit == "one":
            assert step.limits.safety and step.limits.at_least == reading.plausible[1], step.id
    plan = PLANS["safety-tests-pinewharf-d1"]
    closings = [s for s in plan.steps if s.base.startswith("edge-") and s.mark == "close the door"]
    assert len(closings) == 9 == plan.step("edge-count").limits.at_least


def test_force_limits_of_the_pack_come_from_the_calculators_gap_by_gap():
    plan = PLANS["force-tests-pinewharf-d3"]
    forces = [s for s in plan.steps if s.expects.derived]
    assert [s.limits.given["gap"] for s in forces] == ["50 mm"] * 3 + ["300 mm"] * 3 + [
        "2500 mm"
    ] * 3
    for step in forces:
        assert step.limits.safety and step.limits.calc == "closing-force-limit"
        assert step.expects.derived.given["gap"] == step.limits.given["gap"]
    assert len([s for s in plan.steps if s.id.startswith("peak-")]) == 27


def test_live_readings_need_power_and_come_after_their_caution(plan):
    ids = [step.id for step in plan.steps]
    if "power-on" not in ids:
        assert not any(step.needs for step in plan.steps)
        return
    on = ids.index("power-on")
    for step in plan.steps[on + 1 :]:
        if step.expects.kind == "reading":  # a sum of earlier readings needs no power
            assert step.needs and step.needs.energy == "energised", step.id
    assert any(step.caution for step in plan.steps[on : on + 5])


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
    tests = {
        job: {s.id for s in PLANS[f"safety-tests-pinewharf-{job}"].steps}
        for job in ("d1", "d2", "d4")
    }
    assert "edge-50-left" in tests["d1"] & tests["d2"] and "edge-50-low" in tests["d4"]
    assert "second-beam-closing" in tests["d1"] and "cord-opens" in tests["d1"]
    assert not {"loop-opens", "stop-ready", "second-beam-height"} & tests["d2"]
    assert "battery-opening" in tests["d4"] and "cut-opening" not in tests["d4"]
    assert "gate-at-rest" in ids("d4") and "battery-off" in ids("d4")
    assert "conduit-seal" in ids("d1") and "conduit-seal" not in ids("d3")
    assert len([i for i in ids("d3") if i.startswith("dead.")]) == 10
    assert len([i for i in ids("d1") if i.startswith("dead.")]) == 7  # with the control feed
    assert len([i for i in ids("d2") if i.startswith("dead.")]) == 3


def test_an_answer_that_passes_a_test_is_affirmed_or_counted(plan):
    for step in plan.steps:
        choice = step.expects.choice or {}
        if len(choice) > 1 and step.needs and step.needs.energy == "energised":
            assert step.judged_by_choice != bool(step.counted), step.id


def test_what_is_counted_is_what_the_count_asks_for():
    plan = PLANS["safety-tests-pinewharf-d1"]
    counted = Counter(s.counted for s in plan.steps if s.counted)
    asked = {s.id: s.limits.at_least for s in plan.steps if s.id in counted}
    asked["stop-count"] *= 2  # each press and its reset
    asked["power-count"] *= 2  # each cut and its return
    assert counted == asked
