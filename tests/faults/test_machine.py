"""The search as a pure machine: gates kept, dangers first, every word answered."""

import random
from decimal import Decimal
from typing import get_args

import pytest

from assistant.faults import effects as fx
from assistant.faults import inputs, machine
from assistant.faults.choose import looks_at, may_enter, next_check, unseen_dangers
from assistant.procedure import energy
from assistant.procedure.model import EnergyState
from tests.faults.cases import _doors, door_for, guide

STATES = get_args(EnergyState)
AT_DOORS = [
    (symptom, name)
    for name in sorted(_doors())
    for symptom in sorted(guide().symptoms)
    if door_for(name).fits(guide().symptoms[symptom])
]


def allowed(check, state, shut=False):
    """The gate's rule, written out once more beside `choose.may_enter`."""
    if shut and check.risk == 3:  # at live parts, behind the cover
        return False
    if check.needs == "unknown":
        return not check.powered or state in ("unknown", "energised")
    if check.needs == "energised":
        return state == "energised"
    order = ("isolated", "locked", "proven-dead")
    return state in order and order.index(state) >= order.index(check.needs)


def begun(door, symptom, state="unknown"):
    """A search that stands at its first check."""
    search = machine.start(state)
    search = machine.advance(door, search, inputs.Seen(words=symptom)).search
    return machine.advance(door, search, inputs.Safe())


def says(door, out, *said):
    """The outcome after some inputs."""
    for each in said:
        out = machine.advance(door, out.search, each)
    return out


def told(out, kind):
    """The effects of a kind."""
    return [each for each in out.effects if isinstance(each, kind)]


def test_before_anything_is_looked_at_people_and_door_are_made_safe():
    door = door_for("freezer")
    out = machine.advance(door, machine.start(), inputs.Seen(words="door will not close"))
    assert isinstance(out.effects[-1], fx.MakeSafe)
    out = machine.advance(door, out.search, inputs.Negative())
    assert out.search.phase == "safe"
    assert isinstance(out.effects[-1], fx.MakeSafe)
    out = machine.advance(door, out.search, inputs.Affirm())
    assert isinstance(out.effects[-1], fx.AskCheck)


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("symptom", sorted(guide().symptoms))
def test_a_check_is_entered_only_in_a_state_that_the_gate_allows(symptom, state):
    """At every door, whatever the ledger says at the start; the rule is written out here again."""
    for name in _doors():
        door = door_for(name)
        for effect in begun(door, symptom, state).effects:
            if isinstance(effect, fx.AskCheck):
                assert allowed(guide().checks[effect.check], state)


def test_random_dialogues_never_enter_a_check_or_repair_against_the_ledger():
    """A hundred dialogues of fifty turns, helpful and not, with the state changing at random."""
    rng = random.Random(8)
    for _ in range(100):
        door = door_for(rng.choice(sorted(_doors())))
        out = begun(door, rng.choice(sorted(guide().symptoms)), rng.choice(STATES))
        for _ in range(50):
            before = out.search
            out = machine.advance(door, before, any_input(rng, door, before))
            search = out.search
            if search.asked:
                assert allowed(guide().checks[search.asked], search.energy, search.shut)
            assert not (search.held and search.asked)
            for effect in told(out, fx.AskCheck):
                assert allowed(guide().checks[effect.check], search.energy, search.shut)
            for effect in told(out, fx.RepairNow):
                needs = guide().repairs[guide().causes[effect.cause].repair].needs
                assert needs == "unknown" or energy.satisfies(search.energy, needs)


def test_a_measurement_behind_the_cover_waits_for_the_isolation_of_a_panel_found_shut():
    """Whatever is seen: it is offered by way of the dead panel, and asked live after it."""
    waited = 0
    for symptom, name in AT_DOORS:
        door = door_for(name)
        search = machine.start("energised", shut=True)
        out = says(door, machine.Outcome(search, ()), inputs.Seen(words=symptom), inputs.Safe())
        for _ in range(40):
            search = out.search
            if search.asked:
                assert guide().checks[search.asked].risk != 3
                out = says(door, out, inputs.DontKnow())
            elif search.waiting and guide().checks[search.waiting].live:
                (change,) = told(out, fx.NeedsEnergy)
                assert change.state == "proven-dead"
                live = says(door, out, inputs.EnergyIs(state="energised"))
                assert live.search.asked
                waited += 1
                break
            else:
                break
    assert waited > 10


def any_input(rng, door, search):
    if search.asked and rng.random() < 0.5:
        here = door.checks[search.asked]
        if here.check.reading:
            return inputs.Reading(value=Decimal(rng.randrange(0, 600)))
        return inputs.Choice(answer=rng.choice(sorted(here.spoken)))
    return rng.choice(
        [
            inputs.EnergyIs(state=rng.choice(STATES), shut=rng.random() < 0.3),
            inputs.Affirm(),
            inputs.Negative(),
            inputs.DontKnow(),
            inputs.Unable(),
            inputs.Why(),
            inputs.WhatElse(),
            inputs.GoThere(),
            inputs.SomethingElse(),
            inputs.CorrectLast(),
            inputs.FoundIt(),
            inputs.FoundIt(cause=rng.choice(sorted(guide().causes))),
            inputs.Repaired(),
            inputs.Safe(),
            inputs.Command(name="stop-work"),
            inputs.Command(name="go-ahead"),
            inputs.Command(name="say-again"),
            inputs.Seen(words=rng.choice(sorted(guide().symptoms))),
        ]
    )


@pytest.mark.parametrize(("symptom", "name"), AT_DOORS)
def test_causes_that_endanger_people_are_looked_at_before_a_cause_is_named(symptom, name):
    """Whatever their likelihood: answered as on a sound door, nothing is named before."""
    door = door_for(name)
    row = guide().symptoms[symptom]
    chances = door.prior(row)
    answers = []
    wrong = guide().wrong
    while proposal := next_check(
        door, row, door.chances(row, tuple(answers)), "unknown", [a for a, _ in answers]
    ):
        left = unseen_dangers(door, chances, [a for a, _ in answers])
        if not left:
            return
        assert any(looks_at(guide().checks[proposal.check], each, wrong) for each in left)
        assert proposal.for_danger
        answers.append((proposal.check, guide().checks[proposal.check].normal))
    assert not unseen_dangers(door, chances, [a for a, _ in answers])


def test_a_check_in_the_present_state_is_preferred_over_a_costly_change():
    """With the panel proven dead, the edge is measured before power comes back for its light."""
    door = door_for("freezer")
    row = guide().symptoms["opens-but-not-closes"]
    chances = door.prior(row)
    live = next_check(door, row, chances, "unknown")
    assert guide().checks[live.check].powered
    dead = next_check(door, row, chances, "proven-dead")
    assert may_enter(guide().checks[dead.check], "proven-dead")
    assert not dead.change


def test_a_change_of_the_energy_state_is_asked_for_and_nothing_is_entered_meanwhile():
    door = door_for("freezer")
    out = begun(door, "edge-always-pressed", "proven-dead")
    assert out.search.asked == "edge-ohms"
    out = begun(door, "edge-always-pressed")
    while not told(out, fx.NeedsEnergy):
        out = says(door, out, inputs.DontKnow())
    assert out.search.asked is None
    assert out.search.waiting
    wanted = told(out, fx.NeedsEnergy)[0].state
    out = says(door, out, inputs.Choice(answer="yes"))
    assert not told(out, fx.Taken)
    assert told(says(door, out, inputs.GoThere()), fx.ChangeEnergy)[0].state == wanted
    out = says(door, out, inputs.EnergyIs(state=wanted))
    assert isinstance(out.effects[-1], fx.AskCheck)


def test_a_lost_proof_breaks_a_check_off():
    """Hands out comes before anything else."""
    door = door_for("freezer")
    out = begun(door, "edge-always-pressed", "proven-dead")
    out = says(door, out, inputs.EnergyIs(state="unknown"))
    assert isinstance(out.effects[0], fx.Dropped)
    assert out.search.asked != "edge-ohms"


def test_stop_work_holds_everything_until_go_ahead():
    door = door_for("freezer")
    out = says(door, begun(door, "opens-but-not-closes"), inputs.Command(name="stop-work"))
    assert out.search.asked is None
    out = says(door, out, inputs.Choice(answer="yes"), inputs.EnergyIs(state="energised"))
    assert out.search.answers == ()
    assert out.effects == ()
    out = says(door, out, inputs.Command(name="go-ahead"))
    assert isinstance(out.effects[-1], fx.AskCheck)


def test_why_gives_the_reason_and_the_causes_that_the_check_is_about():
    door = door_for("freezer")
    out = says(door, begun(door, "opens-but-not-closes"), inputs.Why())
    (why,) = told(out, fx.WhyCheck)
    assert why.check == out.search.asked
    assert set(why.causes) <= set(guide().checks[why.check].tells)


def test_what_else_lists_the_causes_likeliest_first():
    door = door_for("freezer")
    out = says(door, begun(door, "opens-but-not-closes"), inputs.WhatElse())
    chances = [chance for _, chance in told(out, fx.Others)[0].causes]
    assert chances == sorted(chances, reverse=True)


@pytest.mark.parametrize("said", [inputs.DontKnow(), inputs.Unable(reason="too high up")])
def test_dont_know_and_cant_do_that_one_say_nothing_of_the_causes_and_are_not_asked_again(said):
    door = door_for("freezer")
    first = begun(door, "opens-but-not-closes")
    before = machine.chances(door, first.search)
    out = says(door, first, said)
    assert machine.chances(door, out.search) == pytest.approx(before)
    assert out.search.asked != first.search.asked
    for _ in range(30):
        assert out.search.asked != first.search.asked
        if not out.search.asked:
            break
        out = says(door, out, inputs.DontKnow())


def test_a_corrected_answer_counts_as_if_the_wrong_one_was_never_said():
    door = door_for("freezer")
    first = begun(door, "opens-but-not-closes")
    wrong = says(door, first, inputs.Choice(answer="yes"), inputs.CorrectLast())
    assert told(wrong, fx.AskCheck)[0].check == first.search.asked
    right = says(door, wrong, inputs.Choice(answer="no"))
    straight = says(door, first, inputs.Choice(answer="no"))
    assert machine.chances(door, right.search) == machine.chances(door, straight.search)


def test_not_it_sends_the_search_on_and_names_that_cause_no_more():
    door = door_for("freezer")
    out = begun(door, "opens-but-not-closes")
    out = says(door, out, inputs.FoundIt())
    named = told(out, fx.Named)[0].cause
    out = says(door, out, inputs.Negative())
    assert named in out.search.refuted
    for _ in range(40):
        assert all(effect.cause != named for effect in told(out, fx.Named))
        if out.search.phase == "named":
            out = says(door, out, inputs.Negative())
        elif out.search.asked:
            out = says(door, out, inputs.DontKnow())
        elif out.search.waiting:
            wanted = told(out, fx.NeedsEnergy)[0].state
            out = says(door, out, inputs.EnergyIs(state=wanted))
        else:
            break
    assert told(out, fx.Stuck)


def test_i_found_it_leads_to_the_repair_in_its_energy_state_and_to_its_tests():
    """Motor lead moved: direction, earth and insulation, so motor and tests before power."""
    door = door_for("freezer")
    out = says(door, begun(door, "wrong-way"), inputs.FoundIt(cause="motor-leads-swapped"))
    assert told(out, fx.NeedsEnergy)[0].state == "proven-dead"
    assert told(out, fx.LeaveDoor)[0].rule == "out-of-service"
    early = says(door, out, inputs.Repaired())
    assert early.search.phase == "repair"  # nobody has proven it dead
    out = says(door, out, inputs.EnergyIs(state="proven-dead"), inputs.Repaired())
    refs = told(out, fx.RetestNow)[0].refs
    assert refs[:2] == ("motor", "tests-before-power")
    for ref in refs[:-1]:
        out = says(door, out, inputs.Retested(ref=ref, passed=True))
    assert out.search.phase == "retest"
    out = says(door, out, inputs.Retested(ref=refs[-1], passed=True))
    assert told(out, fx.Over)[0].solved


@pytest.mark.parametrize(
    ("cause", "tests"),
    [
        ("close-limit-high", {"travel-limits", "travel-guard"}),  # limits moved
        ("edge-cord-shorted", {"contact-edge", "force-tests"}),  # edge replaced
        ("edge-unpaired", {"contact-edge"}),
        ("motor-leads-swapped", {"motor", "tests-before-power"}),  # motor lead moved
        ("beam-misaligned", {"light-beams"}),
        ("brake-worn", {"brake-and-switches", "travel-limits"}),
        ("stop-link-left", {"commands", "interlocks"}),
    ],
)
def test_a_repair_brings_its_own_tests_back(cause, tests):
    """Common practice, no source: the whole test of the repaired part, and the stop again."""
    refs = machine.retests(door_for("freezer"), cause)
    assert tests <= set(refs)
    assert any(ref.startswith("safety-tests") for ref in refs)


def test_every_repair_is_followed_by_the_test_of_the_stop():
    door = door_for("freezer")
    for cause in guide().causes:
        assert any(ref.startswith("safety-tests") for ref in machine.retests(door, cause))


def test_a_failed_test_after_the_repair_takes_the_door_out_of_service():
    door = door_for("freezer")
    out = says(
        door,
        begun(door, "reverses-at-floor", "energised"),
        inputs.FoundIt(cause="limit-past-floor"),
        inputs.Repaired(),
        inputs.Retested(ref="travel-limits", passed=False),
    )
    assert told(out, fx.LeaveDoor)[0].rule == "out-of-service"
    assert "travel-limits" in out.search.retests


def test_who_gives_up_is_told_what_was_not_ruled_out_and_what_to_do_with_the_door():
    door = door_for("freezer")
    out = says(door, begun(door, "stop-does-not-stop"), inputs.GiveUp())
    assert set(told(out, fx.NotRuledOut)[0].causes) == set(
        guide().symptoms["stop-does-not-stop"].causes
    )
    assert told(out, fx.LeaveDoor)[0].rule == "out-of-service"
    assert not told(out, fx.Over)[0].solved


def test_an_unknown_symptom_is_said_to_be_unknown():
    door = door_for("freezer")
    out = machine.advance(door, machine.start(), inputs.Seen(words="it smells of fish"))
    assert isinstance(out.effects[0], fx.UnknownSymptom)
    assert out.search.symptom is None


def test_words_that_fit_several_symptoms_are_asked_about():
    door = door_for("freezer")
    out = machine.advance(door, machine.start(), inputs.Seen(words="overload or breaker trips"))
    assert out.search.symptom is None
    assert told(out, fx.SeveralSymptoms)[0].symptoms == ("trips-at-switch-on", "overload-trips")
    out = machine.advance(door, out.search, inputs.Seen(words="the overload trips"))
    assert out.search.symptom == "overload-trips"


def test_a_symptom_that_the_jobs_devices_rule_out_is_taken_with_a_word_on_it():
    """Whoever sees it stands at the door; the job's list may be short."""
    door = door_for("dock")
    out = machine.advance(door, machine.start(), inputs.Seen(words="loop stays on"))
    taken = told(out, fx.SymptomTaken)[0]
    assert taken.missing == ("loop",)
    out = machine.advance(door, out.search, inputs.Safe())
    assert told(out, fx.AskCheck) or told(out, fx.NeedsEnergy)


def test_a_value_out_of_any_range_was_misheard_and_is_asked_again():
    door = door_for("freezer")
    out = begun(door, "edge-always-pressed", "proven-dead")
    out = says(door, out, inputs.Reading(value=Decimal(90000)))
    assert told(out, fx.Implausible)
    assert out.search.asked == "edge-ohms"


def test_a_value_in_another_unit_of_its_kind_is_converted():
    """8200 ohm are 8.2 kilohm; volts are no ohms."""
    door = door_for("freezer")
    first = begun(door, "edge-always-pressed", "proven-dead")
    out = says(door, first, inputs.Reading(value=Decimal(8200), unit="ohm"))
    assert told(out, fx.Taken)[0].outcome == "sound"
    out = says(door, first, inputs.Reading(value=Decimal(8), unit="volt"))
    assert told(out, fx.AskAgain)


def test_replaying_the_inputs_gives_the_same_search():
    rng = random.Random(3)
    door = door_for("gate")
    said = [inputs.Seen(words="hums"), inputs.Safe()]
    search = machine.replay(door, said)
    for _ in range(40):
        said.append(any_input(rng, door, search))
        search = machine.advance(door, search, said[-1]).search
    kept = [inputs.INPUT.validate_json(each.model_dump_json()) for each in said]
    assert machine.replay(door, kept) == search
