"""What a master of the trade would not forgive: at each door, whatever it shows."""

import pytest

from assistant.faults import effects as fx
from assistant.faults import inputs, machine
from assistant.faults.bayes import UNLISTED
from assistant.faults.choose import next_check
from assistant.faults.text import play
from tests.faults.cases import door_for, guide
from tests.faults.test_machine import AT_DOORS, begun, says, told

EVERYWHERE = [
    *AT_DOORS,
    *(
        (symptom, f"pinewharf-d{number}")
        for number in (1, 2, 3, 4)
        for symptom in sorted(guide().symptoms)
        if door_for(f"pinewharf-d{number}").fits(guide().symptoms[symptom])
    ),
]
STILL = [each for each in EVERYWHERE if guide().symptoms[each[0]].still]


def lines(door, *said):
    """Replies to typed lines."""
    return [" ".join(turn.replies) for turn in play(door, said)]


@pytest.mark.parametrize(("symptom", "name"), EVERYWHERE)
def test_no_cause_is_named_before_something_speaks_for_it(symptom, name):
    """Where one cause is left of a symptom at a door, that alone is no finding."""
    out = begun(door_for(name), symptom)
    assert not told(out, fx.Named)
    assert out.search.asked or out.search.waiting


@pytest.mark.parametrize(("symptom", "name"), STILL)
def test_a_door_that_must_keep_still_is_not_run_to_look_for_it(symptom, name):
    """Dangers first; of these, and of the rest, what is looked at dead before what is live."""
    door, row = door_for(name), guide().symptoms[symptom]
    answers, order = [], []
    while proposal := next_check(
        door, row, door.chances(row, tuple(answers)), "unknown", [check for check, _ in answers]
    ):
        check = guide().checks[proposal.check]
        answers.append((check.id, check.normal))
        live = check.needs == "energised"
        assert not (live and check.risk == 1), f"{check.id} runs the door"
        order.append((not proposal.for_danger, live))
    assert order and order == sorted(order)


def test_the_symptoms_of_a_door_that_must_keep_still():
    assert {symptom for symptom, _ in STILL} == {"drifts", "wrong-way"}


def test_what_somebody_looked_at_and_denied_is_not_offered_again():
    door = door_for("pinewharf-d4")
    out = begun(door, "opens-by-itself")
    out = says(door, out, inputs.FoundIt())
    denied = out.search.named
    others = told(says(door, out, inputs.WhatElse()), fx.Others)[0]
    assert others.than == denied and denied not in dict(others.causes)
    out = says(door, out, inputs.Negative())
    offered = told(says(door, out, inputs.WhatElse()), fx.Others)[0].causes
    assert offered and denied not in dict(offered)
    out = says(door, out, inputs.FoundIt())
    assert out.search.named not in (None, denied)


def test_when_everything_was_denied_the_guide_says_that_it_knows_nothing_else():
    door = door_for("pinewharf-d4")
    out = begun(door, "opens-by-itself")
    for _ in range(len(machine.chances(door, out.search)) - 1):
        out = says(door, out, inputs.FoundIt(), inputs.Negative())
        if out.search.phase == "named":  # a last guess
            out = says(door, out, inputs.Negative())
    left = set(machine.chances(door, out.search)) - {UNLISTED} - set(out.search.refuted)
    assert left == set()
    others = told(says(door, out, inputs.WhatElse()), fx.Others)
    assert not others or others[0].causes == ()
    assert machine.advance(door, out.search, inputs.FoundIt()).search.named is None


def test_a_door_on_one_phase_is_asked_about_its_capacitor_and_no_phase_sequence():
    hums = begun(door_for("pinewharf-d2"), "hums").search
    wrong = begun(door_for("pinewharf-d2"), "wrong-way").search
    door = door_for("pinewharf-d2")
    assert "motor-capacitor-bad" in machine.chances(door, hums)
    assert "motor-phase-missing" not in machine.chances(door, hums)
    assert "mains-sequence-turned" not in machine.chances(door, wrong)
    three = door_for("shutter")
    assert "motor-phase-missing" in machine.chances(three, begun(three, "hums").search)
    assert "motor-capacitor-bad" not in machine.chances(three, begun(three, "hums").search)


def test_whoever_leaves_a_door_repaired_and_untested_leaves_it_out_of_service():
    door = door_for("freezer")
    out = begun(door, "reverses-at-floor", "energised")
    assert told(says(door, out, inputs.GiveUp()), fx.LeaveDoor)[0].rule == "watch"
    out = says(door, out, inputs.FoundIt(cause="limit-past-floor"))
    assert out.search.entered  # set at the live panel
    assert told(says(door, out, inputs.GiveUp()), fx.LeaveDoor)[0].rule == "out-of-service"
    out = says(door, out, inputs.Repaired())
    assert told(says(door, out, inputs.GiveUp()), fx.LeaveDoor)[0].rule == "out-of-service"


def test_a_danger_nobody_looked_at_is_ruled_out_by_the_tests_that_it_would_have_needed():
    """The whole stop was tried: nothing is left to fear of its contact."""
    door = door_for("freezer")
    out = begun(door, "stop-does-not-stop", "proven-dead")
    out = says(door, out, inputs.FoundIt(cause="stop-link-left"))
    assert told(out, fx.NotRuledOut)
    out = says(door, out, inputs.Repaired())
    for ref in out.search.retests:
        out = says(door, out, inputs.Retested(ref=ref, passed=True))
    assert told(out, fx.Over)[0].solved and not told(out, fx.NotRuledOut)

    out = begun(door, "trips-at-switch-on", "proven-dead")  # tests of a brake look at no cable
    out = says(door, out, inputs.FoundIt(cause="brake-lead-shorted"), inputs.Repaired())
    for ref in out.search.retests:
        out = says(door, out, inputs.Retested(ref=ref, passed=True))
    assert told(out, fx.NotRuledOut)[0].causes


def test_an_open_breaker_is_closed_by_the_steps_and_no_mains_terminal_counts_as_touched():
    door = door_for("dock")
    out = begun(door, "nothing-lights")
    out = says(door, out, inputs.Negative(), inputs.FoundIt())
    assert out.search.cause == "disconnect-open" and not out.search.entered
    assert told(out, fx.NeedsEnergy)[0].state == "energised"
    assert machine.retests(door, "disconnect-open")[0] == "power-up"


def test_whoever_cannot_say_what_the_door_does_gets_the_general_order():
    door = door_for("freezer")
    out = machine.advance(door, machine.start(), inputs.DontKnow())
    assert told(out, fx.OrderStep)[0].step == 0


def test_the_wait_for_another_state_says_what_it_is_for():
    door = door_for("freezer")
    heard = lines(door, "door drifts down", "it is safe", "no")
    assert "A door whose release is open hangs on nothing" in heard[-1]
    assert "needs the panel locked out; it counts as unknown, which means live" in heard[-1]


def test_at_the_ready_panel_the_repair_is_told_again_and_only_once_a_turn():
    door = door_for("freezer")
    said = ("door drifts down", "it is safe", "energy is proven-dead", "I found it, a worn brake")
    out = begun(door, "drifts")
    fix = guide().causes["brake-worn"].fix
    out = says(door, out, inputs.FoundIt(cause="brake-worn"))
    out = says(door, out, inputs.EnergyIs(state="proven-dead"))
    assert not told(out, fx.RepairNow)[0].told
    out = begun(door, "drifts", "proven-dead")
    assert told(says(door, out, inputs.FoundIt(cause="brake-worn")), fx.RepairNow)[0].told
    heard = lines(door, *said[:3], "I found it", "yes")
    assert " ".join(heard).count(fix) == 1
