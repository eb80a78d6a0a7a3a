"""The published rules line by line: each step that the table names is enforced.

`CHECKS` has a function for every row of `drawing.duties()`; a row without one fails.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from assistant.plans import plan_from_files
from assistant.procedure import drawing, energy, gates, inputs
from assistant.procedure.drawing import duties
from assistant.procedure.load import dead_points, load_job, slug
from tests.packs.cases import STEPS
from tests.procedure.small import JOB, Walk, plan

TWO = JOB + "people: [lead, helper]\n"
D1 = plan_from_files(["power-entry"], load_job(STEPS / "jobs" / "pinewharf-d1.yaml"))
D4 = plan_from_files(["power-entry"], load_job(STEPS / "jobs" / "pinewharf-d4.yaml"))
WHOLE = energy.Ledger(
    people=("lead", "helper"),
    pairs=("l1-l2", "l1-pe"),
    hazards=("curtain",),
    restrained=frozenset({"curtain"}),
    wait_s=300.0,
    state="locked",
    locks=(("lead", "10"), ("helper", "11")),
    tried=True,
    tester_before=True,
    dead=frozenset({"l1-l2", "l1-pe"}),
    waited=True,
    bus_dead=True,
    tester_after=True,
    isolated_at_s=0.0,
)


def lacks(move, at_s=400.0, tag="", **changes):
    """What a move lacks when a part of the whole proof isn't there."""
    return energy.missing_for(replace(WHOLE, **changes), move, at_s, tag)


def order(bound, *bases):
    """True if the steps come in this order, each in the plan."""
    places = [[i for i, s in enumerate(bound.steps) if s.base == base] for base in bases]
    assert all(places), bases
    return all(max(a) < min(b) for a, b in itertools.pairwise(places))


def left_out(walk_plan, gate, *bases):
    """What `gate` says when one of the steps was left out, all else being settled."""
    walk = Walk(walk_plan)
    everything = {step.id: "done" for step in walk_plan.steps}
    told = []
    for base in bases:
        marks = {k: v for k, v in everything.items() if walk_plan.step(k).base != base}
        run = replace(walk.run, marks=marks, at=gate)
        told.append(gates.unsettled_before(walk_plan, run, walk_plan.step(gate)))
    return all(told)


# --- 29 CFR 1910.147 -----------------------------------------------------------------------------


def sources_are_read():
    assert lacks("lockout-confirmed") == ()
    assert order(D1, "sources", "source-off", "disconnect-off")
    assert left_out(D1, "prove-dead", "sources")
    walk = Walk(D1)
    walk.put(inputs.GoTo(section="isolation"))
    gate = D1.step("prove-dead")
    assert gates.may_open(D1, walk.run, gate, 0.0)[-1] == "unsettled:right-door"


def door_is_at_rest():
    assert order(D1, "door-at-rest", "source-off", "disconnect-off")
    assert order(D4, "gate-at-rest", "source-off", "disconnect-off")
    assert left_out(D1, "prove-dead", "door-at-rest")
    assert left_out(D4, "prove-dead", "gate-at-rest")


def every_device_is_operated():
    off = [step.item for step in D1.steps if step.base == "source-off"]
    assert tuple(off) == D1.job.energy_sources and len(off) == 2
    assert left_out(D1, "prove-dead", "source-off")
    for move in ("lock", "try-start", "dead", "lockout-confirmed"):
        assert energy.missing_for(replace(WHOLE, state="unknown"), move, 400.0)[0] == (
            "state:isolated"
        )


def locks_are_on():
    for move in ("try-start", "lockout-confirmed"):
        assert "lock:helper" in lacks(move, locks=(("lead", "10"),))
    assert lacks("lock", tag="10", locks=(("lead", "10"),)) == ("same-tag",)
    walk = Walk()
    walk.confirm("disconnect is off")
    walk.confirm("no movement")
    assert walk.run.at == "lock" and walk.run.ledger.state == "isolated"


def stored_electric_energy_is_gone():
    assert lacks("stored-wait", at_s=100.0, waited=False) == ("wait:200",)
    assert "wait:0" in lacks("stored", waited=False)
    assert lacks("lockout-confirmed", bus_dead=False) == ("stored",)
    assert order(D1, "stored-wait", "stored", "prove-dead")
    walk = Walk()
    walk.to_bus()
    walk.value(320)
    assert walk.run.failing == "bus" and not walk.run.ledger.bus_dead


def other_energy_is_held():
    assert lacks("lockout-confirmed", restrained=frozenset()) == ("restrained:curtain",)
    held = {step.id for step in D1.steps if step.proves == "restrained"}
    assert held == {f"hazard.{slug(hazard.name)}" for hazard in D1.job.hazards} != set()
    walk = Walk(D1)
    assert walk.run.ledger.hazards == tuple(slug(h.name) for h in D1.job.hazards)


def stored_energy_is_watched():
    stored_electric_energy_is_gone()
    other_energy_is_held()
    walk = Walk()
    walk.to_dead()
    walk.confirm("done")
    walk.put(inputs.Confirm(word="done"), after_s=31 * 60)  # it may have come back meanwhile
    assert walk.run.ledger.state == "unknown" and walk.run.at == "disconnect"
    assert energy.void(WHOLE).restrained == frozenset()


def isolation_is_verified_before_work():
    cannot_start()
    every_pair_is_tested()
    walk = Walk()
    walk.to_locked()
    walk.put(inputs.GoTo(section="wiring"))
    assert walk.refused() == ("state:proven-dead",)
    first = D1.steps[[s.id for s in D1.steps].index("prove-dead") + 1]
    assert first.needs and first.needs.energy == "proven-dead"


def inspected_before_release():
    steps = ("guard-on", "tools-out", "cover-closed", "path-free")
    assert order(D1, *steps, "lock-off", "clear-gate", "power-on")
    assert left_out(D1, "lock-off", *steps) and left_out(D1, "clear-gate", *steps)
    walk = Walk()
    walk.to_dead()
    walk.put(inputs.GoTo(section="closing"))
    walk.confirm("guard is on")
    assert walk.refused() == ("unsettled:wires",)


def people_are_clear_and_told():
    assert order(D1, "people-clear", "lock-off", "warn", "clear-gate", "power-on")
    assert left_out(D1, "clear-gate", "people-clear", "warn")
    on = lacks("clear-to-energise", state="isolated", releasing=True)
    assert on == ("locks-on:lead", "locks-on:helper")
    assert lacks("power-on") == ("state:released",)


def owners_take_their_locks_off():
    walk = Walk(plan(TWO))
    for role in ("lead", "helper"):
        walk.put(inputs.DeviceJoined(role=role), who="system")
    walk.confirm("disconnect is off")
    walk.tag("10")
    walk.put(inputs.Tag(digits="11"), who="helper")
    walk.put(inputs.Affirm(), who="helper")
    step = walk.plan.step("lock-off")
    marks = {s.id: "done" for s in walk.plan.steps if s.section != "live"} | {}
    marks = {k: v for k, v in marks.items() if k not in ("lock-off", "warn", "clear", "power")}
    ledger = replace(walk.run.ledger, state="proven-dead")
    walk.run = replace(walk.run, ledger=ledger, marks=marks, at=step.id, refused=())
    walk.put(inputs.Tag(digits="10"), who="helper")
    assert walk.refused() == ("answer-from:lead",)
    assert walk.run.ledger.locks == (("lead", "10"), ("helper", "11"))
    assert walk.run.ledger.state == "isolated"  # nobody's hands go in after that
    walk.put(inputs.Tag(digits="99"))
    assert walk.refused() == ("wrong-tag",)


def everybody_is_protected():
    locks_are_on()
    walk = Walk()
    walk.to_dead()
    walk.put(inputs.PersonJoined(person="helper"), who="system")
    assert walk.run.ledger.state == "unknown"
    assert "lock:helper" in energy.missing_for(walk.run.ledger, "try-start", 0.0)


def the_lead_opens_the_gates():
    for phrase in ("lockout-confirmed", "clear-to-energise"):
        walk = Walk(plan(TWO))
        walk.put(inputs.Challenge(phrase=phrase, digits="47"), who="helper")
        assert walk.refused() == ("lead-only",)


def the_lead_sees_who_is_exposed():
    assert WHOLE.lock_of("helper") == "11" and WHOLE.next_with_lock() == "lead"
    assert lacks("lockout-confirmed", locks=(("lead", "10"),)) == ("lock:helper",)
    assert lacks("clear-to-energise", state="isolated", releasing=True)[1] == "locks-on:helper"


def one_lead_for_all_crews():
    the_lead_opens_the_gates()
    no_gap_at_a_change()


def each_has_a_lock_on_while_working():
    locks_are_on()
    owners_take_their_locks_off()


def no_gap_at_a_change():
    for what in (inputs.CrewChanged(people=("lead",)), inputs.Command(name="hand-over")):
        walk = Walk(plan(TWO))
        walk.to_dead()
        walk.put(what)
        walk.put(inputs.Affirm())
        assert (walk.run.ledger.state, walk.run.ledger.locks) == ("unknown", ())


# --- 29 CFR 1910.333, NFPA 70E, EN 50110-1 --------------------------------------------------------


def buttons_never_isolate():
    every_device_is_operated()
    walk = Walk()
    walk.confirm("no movement")  # it doesn't start, and that alone is nothing
    assert walk.run.ledger.state == "unknown"
    step = walk.plan.step("try-start")
    assert gates.may_enter(walk.run, step) == ("state:isolated",)


def cannot_start():
    assert lacks("lockout-confirmed", tried=False) == ("try-start",)
    assert order(D1, "lock", "try-start", "tester-before")


def every_pair_is_tested():
    assert "tester-before" in lacks("dead", tester_before=False)
    assert lacks("lockout-confirmed", dead=frozenset({"l1-pe"})) == ("dead:l1-l2",)
    assert lacks("lockout-confirmed", tester_after=False) == ("tester-after",)
    measured = tuple(step.id for step in D1.steps if step.proves == "dead")
    assert measured == tuple(f"dead.{pair}" for pair, _ in dead_points(D1.job))
    assert {"dead.l1-l2", "dead.l1-pe"} < set(measured)
    walk = Walk()
    walk.to_locked()
    walk.value(230)
    walk.value("5.1")  # induced or back-fed voltage is voltage
    assert walk.run.ledger.state == "unknown"
    again = energy.move(WHOLE, "dead", 400.0, pair="l1-l2")
    assert isinstance(again, energy.Ledger) and not again.tester_after


def power_comes_back_in_order():
    inspected_before_release()
    people_are_clear_and_told()
    owners_take_their_locks_off()


def blades_are_seen():
    assert "see" in D1.step("disconnect-off").say
    every_device_is_operated()


def grounds_are_on_where_they_are_due():
    every_pair_is_tested()
    assert lacks("lockout-confirmed", induced=True) == ("grounds",)
    assert lacks("lockout-confirmed", left=True) == ("grounds",)
    assert lacks("lockout-confirmed", left=True, grounds=True) == ()
    assert "tester-before" in lacks("grounds-on", tester_before=False)
    out = {"state": "isolated", "locks": (), "releasing": True}
    assert lacks("clear-to-energise", **out) == ()
    assert lacks("clear-to-energise", grounds=True, **out) == ("grounds-on",)
    assert energy.void(replace(WHOLE, grounds=True)).grounds
    assert order(D1, "tester-before", "grounds-on", "dead")
    assert order(D1, "guard-off", "grounds-off", "guard-on")


def second_sources_are_measured():
    assert D1.job.also_dead
    points = {slug(name) for name in D1.job.also_dead}
    assert points <= {step.id.removeprefix("dead.") for step in D1.steps if step.proves == "dead"}
    assert points <= set(Walk(D1).run.ledger.pairs)
    sources_are_read()


def reconnection_is_prevented():
    locks_are_on()
    cannot_start()


LOTO, ELECTRIC, NFPA, EN = "29 CFR 1910.147", "29 CFR 1910.333", "NFPA 70E 120.5", "EN 50110-1"
CHECKS = {
    f"{LOTO} (d)(1)": sources_are_read,
    f"{LOTO} (d)(2)": door_is_at_rest,
    f"{LOTO} (d)(3)": every_device_is_operated,
    f"{LOTO} (d)(4)": locks_are_on,
    f"{LOTO} (d)(5)": stored_energy_is_watched,
    f"{LOTO} (d)(6)": isolation_is_verified_before_work,
    f"{LOTO} (e)(1)": inspected_before_release,
    f"{LOTO} (e)(2)": people_are_clear_and_told,
    f"{LOTO} (e)(3)": owners_take_their_locks_off,
    f"{LOTO} (f)(3)(i)": everybody_is_protected,
    f"{LOTO} (f)(3)(ii)(A)": the_lead_opens_the_gates,
    f"{LOTO} (f)(3)(ii)(B)": the_lead_sees_who_is_exposed,
    f"{LOTO} (f)(3)(ii)(C)": one_lead_for_all_crews,
    f"{LOTO} (f)(3)(ii)(D)": each_has_a_lock_on_while_working,
    f"{LOTO} (f)(4)": no_gap_at_a_change,
    f"{ELECTRIC} (b)(2)(ii)(A)": sources_are_read,
    f"{ELECTRIC} (b)(2)(ii)(B)": buttons_never_isolate,
    f"{ELECTRIC} (b)(2)(ii)(C)": stored_electric_energy_is_gone,
    f"{ELECTRIC} (b)(2)(ii)(D)": other_energy_is_held,
    f"{ELECTRIC} (b)(2)(iii)": locks_are_on,
    f"{ELECTRIC} (b)(2)(iv)(A)": cannot_start,
    f"{ELECTRIC} (b)(2)(iv)(B)": every_pair_is_tested,
    f"{ELECTRIC} (b)(2)(v)": power_comes_back_in_order,
    f"{NFPA} 1": sources_are_read,
    f"{NFPA} 2": every_device_is_operated,
    f"{NFPA} 3": blades_are_seen,
    f"{NFPA} 4": stored_electric_energy_is_gone,
    f"{NFPA} 5": other_energy_is_held,
    f"{NFPA} 6": locks_are_on,
    f"{NFPA} 7": every_pair_is_tested,
    f"{NFPA} 8": grounds_are_on_where_they_are_due,
    f"{EN} 1": every_device_is_operated,
    f"{EN} 2": reconnection_is_prevented,
    f"{EN} 3": every_pair_is_tested,
    f"{EN} 4": grounds_are_on_where_they_are_due,
    f"{EN} 5": second_sources_are_measured,
}


@pytest.mark.parametrize("duty", duties(), ids=lambda duty: duty.id)
def test_each_step_of_the_rules_is_enforced(duty):
    CHECKS[duty.id]()


def test_the_rules_are_followed_whole():
    """Every paragraph that the work is under has its row, and no check is without one."""
    ids = [duty.id for duty in duties()]
    assert len(set(ids)) == len(ids) and set(ids) == set(CHECKS)
    asked = {f"{LOTO} (d)({n})" for n in range(1, 7)} | {f"{LOTO} (e)({n})" for n in range(1, 4)}
    asked |= {f"{LOTO} (f)(4)", *(f"{NFPA} {n}" for n in range(1, 9))}
    assert asked | {f"{EN} {n}" for n in range(1, 6)} <= set(ids)


@pytest.mark.parametrize("duty", duties(), ids=lambda duty: duty.id)
def test_each_place_that_meets_a_duty_exists(duty):
    kinds = {
        "move": set(energy.RULE),
        "step": {step.base for step in (*D1.steps, *D4.steps)},
        "gate": {name for name in vars(gates) if callable(getattr(gates, name))},
        "input": {kind for kind in map(kind_of, vars(inputs).values()) if kind},
    }
    assert duty.where and duty.tag in ("published", "from memory")
    for place in duty.where:
        kind, _, name = place.partition(" ")
        assert name in kinds[kind], place


def kind_of(found):
    fields = getattr(found, "model_fields", {})
    return fields["kind"].default if "kind" in fields else None


def test_every_move_of_the_ledger_is_in_the_table_and_in_the_drawing():
    table, diagram = drawing.table(), drawing.diagram()
    for rule in energy.RULES:
        assert f"| {rule.move} |" in table and rule.source in table
        assert rule.move in diagram
    for state in energy.ANY:
        assert state in diagram
    assert "    locked --> proven_dead: lockout-confirmed\n" in diagram
    assert diagram.count("-->") < 15  # still a drawing that can be read


def test_the_duties_are_printed_with_how_each_is_known():
    lines = drawing.duties_table().splitlines()
    assert len(lines) == len(duties()) + 2
    assert all(line.count("|") == 5 for line in lines)
