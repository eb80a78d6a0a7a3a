"""Every outcome has words, short enough for an ear, and none of them can open a gate."""

from __future__ import annotations

import re
import typing
from dataclasses import replace
from decimal import Decimal

import pytest

from assistant.dialogue.language import language
from assistant.dialogue.replies import _source, filled, options, replies, tone, written
from assistant.procedure import effects as fx
from assistant.procedure.run import TakenReading
from assistant.quantity import Quantity

LIMIT = fx.Bounds(at_most=Decimal(2), unit="volt", source="Site rules (wiring), 4.3", safety=True)
LOW = fx.Bounds(at_least=Decimal(1), unit="megohm", source="Site rules, 4.3")
PERCENT = fx.Bounds(at_most=Decimal(2), unit="percent", source="Site rules, 4.3")
MISSING = [
    *(f"state:{s}" for s in ("isolated", "locked", "proven-dead", "released", "energised")),
    *("isolated", "lock:lead", "try-start", "tester-before", "dead:l1-l2", "wait:120", "wait:0"),
    *("stored", "tester-after", "challenge-wrong", "challenge-old", "challenge-missing"),
    *("affirm-needed", "locks-on:lead", "unsettled:dead.l1-l2", "failed:insulation"),
    *("same-tag", "wrong-tag", "lead-only"),
]
CAUSES = (
    *("lock-off", "power-on", "person-joined", "crew-changed", "stop-work", "restart"),
    *("interruption", "voltage-found", "tester-failed", "prove-again"),
)
WHYS = (
    *("noise", "other speech", "too short", "unsure", "ambiguous", "not here", "tag-needed"),
    *(
        "no-point",
        "no-reading",
        "nothing-to-correct",
        "nothing-before",
        "no-limits: length is -3 m",
    ),
)
STATES = ("unknown", "isolated", "locked", "proven-dead", "released", "energised")
GATE = r"(lock\W*out\W+confirmed|clear\W+to\W+energi[sz]e)"


def judged(verdict, value="5", unit="volt", bounds=LIMIT, **more):
    return fx.Judged(
        step="dead.l1-l2",
        name=more.pop("name", "dead.l1-l2"),
        value=None if value is None else Decimal(value),
        unit=unit,
        verdict=verdict,
        bounds=bounds,
        **more,
    )


DECIMAL = "Say it again. Say decimal for the point, and a digit before it."
IMPLAUSIBLE = "I heard {said} volts. Expected is zero volts to five zero volts. {asked}"
NO_POINT = "I heard no point. Say zero decimal, then the digits."


def implausible(value, step="supply"):
    return fx.Implausible(
        step=step,
        value=Decimal(value),
        unit="volt",
        low=Decimal(0),
        high=Decimal(50),
        plausible_unit="volt",
    )


def every_effect(plan) -> list[fx.Effect]:
    """At least one effect of every kind, and one of every code that a field can have."""
    ids = [step.id for step in plan.steps]
    found: list[fx.Effect] = []
    found += [fx.Entered(step=i, again=again) for i in ids for again in (False, True)]
    found += [fx.Finished(open_points=n) for n in (0, 1, 2)]
    found += [
        fx.ReadBack(step="supply", value=Decimal("462"), unit="volt"),
        fx.ReadBack(step="supply", special="over-range", unit="volt"),
        fx.ReadBack(step="lock", tag="47", person="helper"),
        fx.ReadBack(step="switch-off", word="switched off"),
        fx.ReadBack(step="prove", word="lockout-confirmed", challenge="47"),
        fx.ReadBack(step="clear", word="clear-to-energise", challenge="47"),
        fx.ReadBack(step="prove", word="lockout confirmed"),
    ]
    found += [fx.Taken(step=i, word="done") for i in ids]
    supply = (("volts", "480 V"), ("phases", "three-phase"))
    found += [
        fx.SumAsked(name="voltage-drop", input="length", unit="foot", help="one way", known=supply),
        fx.SumAsked(name="voltage-drop", input="section", last=("length", "85 ft")),
        fx.SumAsked(name="voltage-drop", input="phases", choices=("three-phase", "direct")),
        fx.SumRefused(name="voltage-drop", input="length", why="length is -3 m"),
        fx.SumRefused(name="voltage-drop", input="", why="480 V is not a voltage of the table"),
        fx.Beside(
            step="supply",
            name="supply",
            job="d1-1",
            on="2025-03-03",
            value=Decimal(480),
            unit="volt",
            change=Decimal(-50),
            unusual="Water in it",
        ),
        fx.CarriedOver(last="2025-03-03", points=("Edge battery, not done.",)),
        fx.SumDone(
            name="voltage-drop",
            given={"length": "85 ft"},
            values=(("drop", Decimal("3.0671"), "volt"), ("percent", Decimal("0.64"), "percent")),
            words={"verdict": "within the limit"},
            at_most=(Decimal("14.4"), "volt"),
            source="NEC chapter 9, table 9",
            how="published",
            working=("Drop = 3.067 V",),
            warnings=("A motor draws several times this while it starts.",),
        ),
        fx.SumWorking(name="voltage-drop", lines=("Drop = sqrt(3) x 12 A x 1.7 ohm = 3.067 V",)),
        fx.SumEnded(),
        fx.LimitSet(step="supply", bounds=LOW),
    ]
    found += [fx.Taken(step="lock", tag="47", person="lead"), fx.Taken(step="beam", answer="no")]
    for then in ("", "stop", "repeat", "note"):
        found += [judged("fail", then=then), judged("fail", None, special="over-range", then=then)]
    found += [judged("pass", "0.2"), judged("none", bounds=None), judged("pass", corrects=True)]
    found += [judged("pass", "1.234567", "percent", PERCENT, name="unbalance", derived=True)]
    found += [judged("fail", "2.0004", "percent", PERCENT, name="unbalance", derived=True)]
    found += [
        fx.Implausible(
            step="supply", value=Decimal(9999), unit="volt", low=Decimal(0), high=Decimal(700),
            plausible_unit="volt",
        ),
        fx.WrongUnit(step="supply", said="ohm", expected="volt"),
    ]  # fmt: skip
    found += [fx.Withdrawn(step=i) for i in ids]
    found += [fx.Refused(step="prove", missing=(c,), offer="switch-off") for c in MISSING]
    found += [fx.Refused(step="prove", missing=tuple(MISSING), offer="")]
    found += [fx.Voided(cause=c, was=was) for c in CAUSES for was in STATES]
    found += [fx.EnergyNow(state=state) for state in STATES]
    found += [fx.ChallengeNeeded(step="prove")]
    found += [fx.ChallengeGiven(step="prove", phrase="lockout-confirmed", digits="47")]
    found += [fx.ChallengeGiven(step="clear", phrase="clear-to-energise", digits="47")]
    found += [fx.Waiting(step="stored", left_s=s) for s in (0.0, 1.0, 45.0, 90.0, 91.0, 300.0)]
    for why in WHYS:
        found += [fx.AskAgain(step="supply", why=why, times=times) for times in (1, 2, 3)]
    echo = ("lockout confirmed four seven", "clear to energise 47")
    found += [fx.AskAgain(step="supply", why="ambiguous", candidates=echo)]
    for cause in ("unable", "failed"):
        found += [
            fx.OpenPoint(step="supply", cause=cause, reason=echo[0], stays=stays)
            for stays in (False, True)
        ]
    for what in ("reason", "limits", "where-are-we", "read-back", "options"):
        found += [fx.Explained(step=i, what=what) for i in [*ids, ""]]
        found += [fx.Explained(step="supply", what=what, bounds=b) for b in (LIMIT, LOW)]
    found += [fx.Held(cause=c, who="lead") for c in ("stop-work", "stand-by", "emergency")]
    found += [fx.DeviceNotice(role="helper", present=here) for here in (True, False)]
    found += [fx.Marked(step="edge"), fx.Taken(step="edge", word="all clear", person="helper")]
    chosen = dict(id="M-2", name="meter 2", what="insulation tester", calibration_due="2026-01-15")
    found += [
        fx.InstrumentChosen(state=s, **chosen) for s in ("in-date", "out-of-date", "not-known")
    ]
    found += [
        fx.Resumed(),
        fx.HelperCalled(),
        fx.PhotoAsked(step="supply"),
        fx.HandedOver(),
        fx.Repeat(),
        fx.Noted(text=echo[0]),
    ]
    found += [
        fx.Setting(name=n) for n in ("brief", "full", "slower", "faster", "louder", "quieter")
    ]
    return found


@pytest.fixture
def runs(plan, at, pending):
    taken = TakenReading("supply", Quantity(Decimal(5), "volt"), "", "none", None, False, 0.0)
    challenged = pending("prove")
    return [
        at("supply"),
        at("supply", readings={"supply": taken}, last_reading="supply"),
        at("insulation", failing="insulation"),
        at("prove", challenge=challenged.challenge),
        at(None, finished=True),
        at("survey", held="stop-work"),
        at("survey", brief=True),
        *(pending(step) for step in ("supply", "lock", "prove", "switch-off")),
    ]


def test_the_examples_cover_every_kind_of_effect(plan):
    union = typing.get_args(typing.get_args(fx.Effect)[0])
    assert {type(effect) for effect in every_effect(plan)} == set(union)


def test_every_effect_has_words_or_is_silent_on_purpose(plan, runs):
    silent = (fx.ChallengeNeeded, fx.Taken, fx.Repeat)
    for run in runs:
        for effect in every_effect(plan):
            told = replies((effect,), plan, run)
            assert told or isinstance(effect, silent), effect
            for reply in told:
                assert reply == reply.strip()
                assert reply[0].isupper() or reply[0].isdigit(), reply
                assert reply[-1] in ".?!", reply
                assert "{" not in reply
                assert "  " not in reply


def test_no_reply_takes_longer_than_twelve_seconds(plan, runs):
    """At 150 words a minute 12 s are 30 words; the fixtures' own texts are short."""
    for run in runs:
        for effect in every_effect(plan):
            for reply in replies((effect,), plan, run):
                assert len(reply.split()) <= 30, reply


def test_no_reply_speaks_a_gate_phrase(plan, runs):
    """Stronger than asked for: not even without the digits."""
    for run in runs:
        for brief in (False, True):
            for effect in every_effect(plan):
                for reply in replies((effect,), plan, run, brief=brief):
                    assert not re.search(GATE, reply, re.IGNORECASE), reply


def test_a_gate_phrase_in_a_pack_is_named_and_not_spoken(plan, at):
    bad = "Say Lockout  confirmed, four seven or clear to energise 47."
    steps = tuple(step.model_copy(update={"say": bad, "brief": bad}) for step in plan.steps)
    poisoned = plan.model_copy(update={"steps": steps})
    for again in (False, True):
        (reply,) = replies((fx.Entered(step="survey", again=again),), poisoned, at("survey"))
        assert not re.search(GATE, reply, re.IGNORECASE)
        assert "the lockout phrase" in reply


def test_no_reply_sends_the_eyes_to_a_screen(plan, runs):
    for run in runs:
        for effect in every_effect(plan):
            for reply in replies((effect,), plan, run):
                assert not re.search(r"\b(screen|display|look at)\b", reply, re.IGNORECASE)


@pytest.mark.parametrize(
    ("effect", "words"),
    [
        (
            fx.ReadBack(step="supply", value=Decimal("462"), unit="volt"),
            "Four six two volts. Correct?",
        ),
        (
            fx.ReadBack(step="insulation", value=Decimal("24.10"), unit="megohm"),
            "Insulation, corrected: two four decimal one zero megohms. Correct?",
        ),
        (fx.Withdrawn(step="supply"), "Disregarded. Say the value again."),
        (
            fx.Withdrawn(step="supply", again=True),
            "Disregarded. Say it digit by digit, decimal for the point.",
        ),
        (
            fx.Withdrawn(step="insulation"),
            "Disregarded. What is recorded for insulation stays. Supply.",
        ),
        (implausible("560"), IMPLAUSIBLE.format(said="five six zero", asked=DECIMAL)),
        (implausible("-2"), IMPLAUSIBLE.format(said="minus two", asked="Say the value again.")),
        (
            implausible("560", "insulation"),
            IMPLAUSIBLE.format(
                said="five six zero",
                asked="To correct insulation, say correction and the value again.",
            ),
        ),
        (fx.AskAgain(step="supply", why="no-point"), NO_POINT),
        (fx.ReadBack(step="supply", special="over-range", unit="volt"), "Over range. Correct?"),
        (fx.ReadBack(step="lock", tag="47", person="helper"), "Helper, tag four seven. Correct?"),
        (fx.ReadBack(step="switch-off", word="switched off"), "Switched off. Say affirm."),
        (
            fx.ReadBack(step="prove", word="lockout-confirmed", challenge="47"),
            "Challenge four seven. Say affirm.",
        ),
        (
            fx.ChallengeGiven(step="prove", phrase="lockout-confirmed", digits="47"),
            "Challenge: four seven. Give the lockout phrase, then the challenge.",
        ),
        (judged("pass", "0.2"), "Pass."),
        (
            judged("fail", "5.2", then="stop"),
            "Fail. Measured five decimal two volts. Limit is at most two volts. "
            "Source, Site rules wiring, 4.3. Measure again, correction or unable?",
        ),
        (
            judged("pass", "1.2", "percent", PERCENT, name="unbalance", derived=True),
            "Unbalance one decimal two percent. Pass.",
        ),
        (
            fx.AskAgain(
                step="supply", why="ambiguous", candidates=("one six volts", "six zero volts")
            ),
            "Did you say one six volts or six zero volts? Say it digit by digit.",
        ),
        (
            fx.AskAgain(
                step="supply", why="ambiguous", candidates=("zero decimal one", "five one")
            ),
            "Did you say zero decimal one or five one? "
            "Say it digit by digit, decimal for the point.",
        ),
        (fx.AskAgain(step="supply", why="noise"), "Say again."),
        (
            fx.AskAgain(step="supply", why="noise", times=2),
            "Say again. You can say: the value in volts or unable.",
        ),
        (fx.Waiting(step="stored", left_s=271), "Wait. Five minutes left."),
        (fx.Waiting(step="stored", left_s=45), "Wait. Forty five seconds left."),
        (
            fx.Refused(step="insulation", missing=("state:proven-dead",), offer="switch-off"),
            "Not yet. The panel is not proven dead. Next: Switch off. Say go to isolation.",
        ),
        (
            fx.Refused(
                step="prove", missing=("dead:l1-l2", "dead:l2-l3", "stored", "tester-after")
            ),
            "Not yet. L1 to L2 is not measured dead, L2 to L3 is not measured dead and two more.",
        ),
        (
            fx.Voided(cause="person-joined", was="proven-dead"),
            "Attention, a person joined without a lock. The lockout must be proven again.",
        ),
        (fx.Finished(open_points=2), "Finished. Two open points."),
    ],
)  # fmt: skip
def test_an_effect_is_worded_like_this(effect, words, plan, at):
    assert replies((effect,), plan, at("supply")) == (words,)


def test_a_caution_is_spoken_first_and_danger_twice(plan, at):
    told = replies((fx.Entered(step="switch-off"),), plan, at("switch-off"))
    assert told == (
        "Danger. Danger. Lethal voltage inside.",
        "Switch the disconnect off. Say switched off.",
    )


def test_a_caution_is_spoken_the_first_time_even_in_the_brief_form(plan, at):
    told = replies((fx.Entered(step="switch-off"),), plan, at("switch-off"), brief=True)
    assert told == ("Danger. Danger. Lethal voltage inside.", "Switch off.")


def test_a_step_spoken_before_comes_in_its_brief_form(plan, at):
    (reply,) = replies((fx.Entered(step="survey", again=True),), plan, at("survey"))
    assert reply == "Survey."


def test_the_person_whose_turn_it_is_is_named(plan, at):
    run = at("lock")
    (reply,) = replies((fx.Entered(step="lock"),), plan, run)
    assert reply.startswith("Lead, fit your own lock.")
    ledger = replace(run.ledger, locks=(("lead", "12"),))
    (reply,) = replies((fx.Entered(step="lock"),), plan, replace(run, ledger=ledger))
    assert reply.startswith("Helper, fit your own lock.")
    (reply,) = replies((fx.Entered(step="lock-off"),), plan, replace(run, ledger=ledger))
    assert reply.startswith("Lead, take your lock off.")
    assert filled("{person}", plan.step("survey"), replace(run, ledger=ledger)) == "helper"


def test_the_helper_is_addressed_where_there_are_two(plan, at):
    (reply,) = replies((fx.Entered(step="beam"),), plan, at("beam"))
    assert reply == "Helper: Hold the test piece in beam 1."
    alone = plan.model_copy(update={"job": plan.job.model_copy(update={"people": ("lead",)})})
    (reply,) = replies((fx.Entered(step="beam"),), alone, at("beam"))
    assert reply == "Hold the test piece in beam 1."


def test_units_in_a_packs_text_are_spoken_by_their_names(plan, at):
    say = "Compare 480 V and 1.5 N.m, wait 5 min. Step 4 in X1 A stays."
    steps = tuple(step.model_copy(update={"say": say}) for step in plan.steps)
    told = replies(
        (fx.Entered(step="survey"),), plan.model_copy(update={"steps": steps}), at("survey")
    )
    assert told == (
        "Compare 480 volts and 1.5 newton metres, wait 5 minutes. Step 4 in X1 A stays.",
    )


def test_a_value_from_memory_is_said_to_be_unverified(plan, at):
    warning = "unverified default, confirm with the adopted code"
    effect = judged("pass", "1", "percent", PERCENT, derived=True, warnings=(warning,))
    (reply,) = replies((effect,), plan, at("supply"))
    assert reply.endswith("Pass. Unverified default, confirm with the adopted code.")


def test_a_computed_value_is_never_rounded_onto_the_other_side_of_its_limit(plan, at):
    effect = judged("fail", "2.0004", "percent", PERCENT, name="unbalance", derived=True)
    (reply,) = replies((effect,), plan, at("supply"))
    assert "two decimal zero zero zero four percent" in reply
    effect = judged("pass", "1.99999", "percent", PERCENT, name="unbalance", derived=True)
    (reply,) = replies((effect,), plan, at("supply"))
    assert reply.startswith("Unbalance two percent. Pass.")  # two meets a limit of at most two


def test_a_limit_is_never_rounded_so_far_that_the_verdict_seems_wrong(plan, at):
    bounds = fx.Bounds(at_least=Decimal("187.20"), at_most=Decimal("228.8"), unit="volt")
    (reply,) = replies((judged("fail", "187.1", bounds=bounds, then="stop"),), plan, at("supply"))
    assert "Limits are one eight seven decimal two volts to" in reply
    (reply,) = replies((judged("fail", "150", bounds=bounds, then="stop"),), plan, at("supply"))
    assert "Limits are one eight seven volts to two two nine volts." in reply


def test_after_found_voltage_no_way_round_is_offered(plan, at):
    told = replies(
        (judged("fail", "230", then="stop"), fx.Voided(cause="voltage-found", was="locked")),
        plan,
        at("switch-off"),
    )
    assert "unable" not in told[0].lower()
    assert told[1].startswith("Attention, voltage was found.")


def test_stop_work_is_said_once(plan, at):
    told = replies(
        (fx.Held(cause="stop-work", who="lead"), fx.Voided(cause="stop-work", was="locked"),
         fx.EnergyNow(state="unknown")),
        plan,
        at("supply", held="stop-work"),
    )  # fmt: skip
    assert len(told) == 1
    assert "go ahead" in told[0]


def test_options_are_at_most_three(plan, runs):
    for run in runs:
        assert 1 <= len(options(plan, run)) <= 3


def test_a_failed_value_offers_measure_again_correction_and_unable(plan, at):
    run = at("insulation", failing="insulation")
    assert options(plan, run) == ("measure again", "correction", "unable")


@pytest.mark.parametrize(
    ("source", "spoken"),
    [
        ("The maker's sheet for this door, life of the straps", "The maker's sheet for this door"),
        ("29 CFR 1910.147, (d)(4)", "29 CFR 1910.147, d 4"),
        ("One two three four five six seven eight nine", "One two three four five six seven eight"),
    ],
)
def test_a_long_source_is_cut_between_its_pieces(source, spoken):
    assert _source(source) == f"Source, {spoken}."


def test_limits_and_reason_name_their_source(plan, at):
    (reply,) = replies(
        (fx.Explained(step="dead.l1-l2", what="limits", bounds=LIMIT),), plan, at("dead.l1-l2")
    )
    assert reply.endswith("Limit is at most two volts.")
    assert "Source, Site rules" in reply
    (reply,) = replies((fx.Explained(step="survey", what="reason"),), plan, at("survey"))
    assert reply.startswith("Damage is found before power. Source, Site rules")


def test_read_back_speaks_what_is_pending_else_what_is_recorded(plan, at, pending):
    ask = (fx.Explained(step="supply", what="read-back"),)
    assert replies(ask, plan, pending("supply")) == ("Four six two volts. Correct?",)
    assert replies(ask, plan, at("supply")) == ("Nothing is recorded for this step.",)
    taken = TakenReading("supply", Quantity(Decimal("24.10"), "volt"), "", "none", None, False, 0)
    run = at("supply", readings={"supply": taken})
    assert replies(ask, plan, run) == ("Recorded, two four decimal one zero volts.",)


def test_a_repeat_asks_the_pending_question_again(plan, pending):
    assert replies((fx.Repeat(),), plan, pending("supply")) == ("Four six two volts. Correct?",)


@pytest.mark.parametrize(
    ("effects", "sound"),
    [
        ((), "heard"),
        ((fx.ReadBack(step="supply", value=Decimal(1), unit="volt"),), "heard"),
        ((fx.Taken(step="survey"), fx.Entered(step="lock")), "done"),
        ((judged("pass"),), "done"),
        ((judged("fail"),), "refused"),
        ((fx.Refused(step="lock", missing=("isolated",)),), "refused"),
        ((fx.Voided(cause="restart", was="locked"), fx.Entered(step="survey")), "refused"),
        ((fx.AskAgain(step="lock", why="noise"),), "not-understood"),
    ],
)
def test_the_tone_says_how_it_went(effects, sound):
    assert tone(effects) == sound


@pytest.mark.parametrize(
    ("step", "text"),
    [("supply", "462 V"), ("lock", "tag 47"), ("prove", "challenge 47"),
     ("switch-off", "switched off")],
)  # fmt: skip
def test_what_is_pending_has_a_short_written_form(step, text, pending):
    assert written(pending(step).pending) == text


def test_every_sentence_of_the_language_file_is_in_use():
    from importlib import resources

    source = "".join(
        resources.files("assistant.dialogue").joinpath(name).read_text(encoding="utf-8")
        for name in ("replies.py", "numbers.py")
    )
    built = {
        "instrument-",
        "affirm-",
        "open-",
        "held-",
        "withdrawn",
        "voided",
        "fail-options",
        "limit-",
    }
    for key in language().texts["replies"]:
        assert f'"{key}"' in source or any(key.startswith(start) for start in built), key
