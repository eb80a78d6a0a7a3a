"""Random sequences of inputs: no step is ever entered against its energy state."""

from __future__ import annotations

import random

from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.procedure import energy, inputs, machine
from tests.procedure.small import JOB, plan

PLANS = [
    plan(),
    plan(JOB + "people: [lead, helper]\n"),
    plan(JOB.replace("present: true", "present: false").replace("three-phase", "single-phase")),
]
WORDS = ["done", "disconnect is off", "no movement", "guard is on", "power is on", "hello"]
COMMANDS = list(inputs.Command.model_fields["name"].annotation.__args__)
SECTIONS = ["isolation", "wiring", "closing", "live"]

readings = st.builds(
    inputs.Reading,
    value=st.sampled_from(["0", "0.05", "12", "230", "480", "483", "55", "9999", "-3"]),
    unit=st.sampled_from([None, "volt", "millivolt", "kilohm", "second"]),
)
tags = st.builds(inputs.Tag, digits=st.sampled_from(["10", "11", "99"]))
anything = st.one_of(
    st.builds(inputs.Confirm, word=st.sampled_from(WORDS)),
    st.builds(inputs.Affirm, plain=st.booleans()),
    st.just(inputs.Negative()),
    readings,
    st.builds(inputs.Reading, special=st.sampled_from(["over-range", "open-line", "no-reading"])),
    tags,
    st.builds(inputs.Choice, answer=st.sampled_from(["dried", "later", "none"])),
    st.builds(
        inputs.Challenge,
        phrase=st.sampled_from(["lockout-confirmed", "clear-to-energise"]),
        digits=st.sampled_from(["47", "52", "12", ""]),
    ),
    st.builds(inputs.Correction, reading=st.none() | readings, tag=st.none() | tags),
    st.builds(inputs.Unable, reason=st.sampled_from(["", "no meter"])),
    st.builds(inputs.Landed, strip=st.just("X1"), point=st.sampled_from(["1", "9"])),
    st.builds(inputs.Command, name=st.sampled_from(COMMANDS)),
    st.builds(inputs.GoTo, section=st.sampled_from(SECTIONS)),
    st.builds(inputs.Note, text=st.just("swarf on the board")),
    st.builds(inputs.UseInstrument, id=st.sampled_from(["M-1", "M-2", "X-9"])),
    st.just(inputs.LockOff()),
    st.just(inputs.PowerOn()),
    st.builds(inputs.NotUnderstood, why=st.just("unsure")),
    st.just(inputs.Restarted()),
    st.builds(inputs.ChallengeIssued, digits=st.sampled_from(["47", "52"])),
    st.builds(inputs.PersonJoined, person=st.just("second")),
    st.builds(inputs.CrewChanged, people=st.sampled_from([(), ("lead",), ("lead", "helper")])),
    st.just(inputs.Tick()),
)
events = st.lists(
    st.tuples(anything, st.sampled_from([0, 1, 1, 5, 301, 2000, -50]), st.integers(0, 1)),
    max_size=40,
)


def check(plan_, run, effects):
    """What must hold after every event."""
    for effect in effects:
        if effect.kind == "entered":
            need = plan_.step(effect.step).needs
            lock_off = plan_.step(effect.step).proves == "lock-off" and run.ledger.releasing
            assert need is None or lock_off or energy.satisfies(run.ledger.state, need.energy)
        if effect.kind == "taken":
            assert plan_.step(effect.step).needs is None or effect.step in run.marks or run.at
    ledger = run.ledger
    if ledger.state == "proven-dead":
        assert {person for person, _ in ledger.locks} == set(ledger.people)
        assert ledger.tester_before and ledger.tester_after and ledger.dead >= set(ledger.pairs)
        assert not ledger.stored or (ledger.waited and ledger.bus_dead)
    if ledger.state in ("released", "energised"):
        assert not ledger.locks
    if run.held:
        assert run.pending is None or run.held == "stand-by"


def walk(plan_, given_events):
    """Play events as the job does, challenges issued as they are asked for."""
    run, at_s, log = machine.start(plan_), 0.0, []
    queue = [(inputs.Started(), 1, 0), *given_events]
    for what, after_s, second in queue:
        at_s += after_s
        event = inputs.Event(input=what, at_s=at_s, who=("lead", "helper")[second])
        for each in _with_challenge(plan_, run, event):
            log.append(each)
            out = machine.advance(plan_, run, each)
            run = out.run
            check(plan_, run, out.effects)
    return run, log


def _with_challenge(plan_, run, event):
    yield event
    out = machine.advance(plan_, run, event)
    if any(effect.kind == "challenge-needed" for effect in out.effects):
        yield inputs.Event(
            input=inputs.ChallengeIssued(digits="47"), at_s=event.at_s, who="system", via="system"
        )


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(PLANS), events)
def test_no_random_dialogue_enters_a_step_against_its_energy_state(plan_, given_events):
    walk(plan_, given_events)


@settings(max_examples=100, deadline=None)
@given(st.sampled_from(PLANS), events)
def test_replay_of_any_log_gives_the_same_run_also_after_json(plan_, given_events):
    run, log = walk(plan_, given_events)
    again = [inputs.Event.model_validate_json(event.model_dump_json()) for event in log]
    assert machine.replay(plan_, again) == run


def helpful(plan_, run, rng):
    """An answer that most likely takes the run on, so that walks get deep."""
    step = plan_.step(run.at) if run.at else None
    if run.held:
        return inputs.Command(name="go-ahead")
    if run.pending:
        return inputs.Affirm()
    if step is None:
        return inputs.Command(name="go-back")
    if step.expects.confirmation:
        return inputs.Confirm(word=step.expects.confirmation)
    if step.expects.reading:
        good = {"tester-before": "230", "tester-after": "230", "supply": "480", "insulation": "4"}
        base = step.expects.reading.name.split(".")[0]
        return inputs.Reading(value=good.get(base, "0"))
    if step.expects.tag:
        return inputs.Tag(digits=rng.choice(["10", "11", "12"]))
    if step.expects.challenge:
        digits = run.challenge.digits if run.challenge else ""
        return inputs.Challenge(phrase=step.expects.challenge, digits=digits)
    if step.expects.choice:
        return inputs.Choice(answer="later")
    return inputs.Command(name="measure-again") if run.failing else inputs.Tick()


def deep_walk(seed: int, turns: int) -> dict[str, int]:
    """A long walk that mostly helps and sometimes spoils; counts the states it saw."""
    rng = random.Random(seed)
    plan_ = rng.choice(PLANS)
    spoilers = [
        inputs.LockOff(), inputs.PowerOn(), inputs.Restarted(), inputs.Unable(reason="x"),
        inputs.Command(name="stop-work"), inputs.Command(name="go-back"),
        inputs.Command(name="prove-again"), inputs.Command(name="measure-again"),
        inputs.Reading(value="230"), inputs.Correction(reading=inputs.Reading(value="230")),
        inputs.Challenge(phrase="lockout-confirmed", digits="47"),
        inputs.Challenge(phrase="clear-to-energise", digits="47"), inputs.Negative(),
        *[inputs.GoTo(section=section) for section in SECTIONS],
    ]  # fmt: skip
    run, at_s, seen = machine.start(plan_), 0.0, {}
    what = inputs.Started()
    for _ in range(turns):
        at_s += 301 if isinstance(what, inputs.Tick) else rng.choice([1, 1, 1, 5, 60])
        event = inputs.Event(input=what, at_s=at_s, who="lead")
        for each in _with_challenge(plan_, run, event):
            out = machine.advance(plan_, run, each)
            run = out.run
            check(plan_, run, out.effects)
        seen[run.ledger.state] = seen.get(run.ledger.state, 0) + 1
        if run.finished:  # a walk that is at its end would only see the live side
            plan_ = rng.choice(PLANS)
            run, what = machine.start(plan_), inputs.Started()
            continue
        what = rng.choice(spoilers) if rng.random() < 0.03 else helpful(plan_, run, rng)
    return seen


def test_deep_walks_reach_every_energy_state_and_keep_every_rule():
    seen: dict[str, int] = {}
    for seed in range(12):
        for state, count in deep_walk(seed, 400).items():
            seen[state] = seen.get(state, 0) + count
    assert set(seen) == set(energy.ANY)
