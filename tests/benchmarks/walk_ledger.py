"""Every sequence of inputs: `python -m tests.benchmarks.walk_ledger [TRANSITIONS] [start|way]`.

A breadth-first walk of the ledger and the machine. From each state that was ever reached every
input of `alphabet` is played, and `check` looks at each transition: what came out of it is held
against rules that are written here anew and ask the core for nothing. States that differ only in
what no rule looks at are one (`key`). A broken rule ends the walk with the shortest way to it.

From `start` the walk begins before the first input. From `way` it begins at once in every state
of the right way to the end, for a crew of one, of two with one device, and of two with two: so
the states behind the gate are walked around as far as those before it.

Time is in classes: an input comes at once, after the challenge has become old (which is also
longer than the wait for stored energy), after the job's re-prove time, or with the clock set back.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from decimal import Decimal
from hashlib import blake2b

from assistant.procedure import effects as fx
from assistant.procedure import energy, inputs, machine
from assistant.procedure.load import bind, parse_job, parse_pack
from assistant.procedure.model import Plan
from assistant.procedure.run import Run

PACK = """
pack: shortest
title: One step of every kind of gate
version: "1.0"
energy: [unknown, isolated, locked, proven-dead, released, energised]
sources: {habit: {title: Habit of the trade, kind: common-practice}}
"""
STEPS = """
- {id: disconnect, section: isolation, say: a, sets: {energy: isolated},
   expects: {confirmation: disconnect is off}}
- {id: lock, section: isolation, say: b, needs: {energy: isolated}, who: both,
   expects: {tag: {}}, proves: lock}
- {id: try-start, section: isolation, say: c, sets: {energy: locked},
   needs: {energy: isolated}, expects: {confirmation: no movement}}
- {id: hold, section: isolation, say: "{item}", for_each: hazard, needs: {energy: locked},
   expects: {confirmation: it is held}, proves: restrained}
- {id: tester-before, section: isolation, say: d, needs: {energy: locked},
   expects: {reading: {name: tester-before, unit: volt, plausible: [0, 700]}},
   limits: {at_least: 50}, source: {ref: habit}, proves: tester-before}
- {id: grounds-on, section: isolation, say: q, needs: {energy: locked}, affirm: true,
   expects: {choice: {grounds are on: next, source is off: next}}, proves: grounds-on}
- {id: dead, section: isolation, say: "{item}", for_each: pair, needs: {energy: locked},
   expects: {reading: {name: dead, unit: volt, plausible: [0, 700]}},
   limits: {at_most: 5, safety: true}, source: {ref: habit}, proves: dead}
- {id: wait, section: isolation, say: e, needs: {energy: locked},
   expects: {wait: stored-energy}, proves: stored-wait}
- {id: bus, section: isolation, say: f, needs: {energy: locked},
   expects: {reading: {name: bus, unit: volt, plausible: [0, 1000]}},
   limits: {at_most: 50, safety: true}, source: {ref: habit}, proves: stored}
- {id: tester-after, section: isolation, say: g, needs: {energy: locked},
   expects: {reading: {name: tester-after, unit: volt, plausible: [0, 700]}},
   limits: {at_least: 50}, source: {ref: habit}, proves: tester-after}
- {id: prove-dead, section: isolation, say: h, sets: {energy: proven-dead},
   needs: {energy: locked}, expects: {challenge: lockout-confirmed}}
- {id: hands, section: work, say: i, needs: {energy: proven-dead}, expects: {confirmation: done}}
- {id: grounds-off, section: release, say: r, needs: {energy: proven-dead},
   expects: {confirmation: grounds are off}, proves: grounds-off}
- {id: lock-off, section: release, say: j, needs: {energy: proven-dead}, who: both,
   expects: {tag: {}}, proves: lock-off}
- {id: warn, section: release, say: k, expects: {confirmation: done}}
- {id: clear, section: release, say: l, sets: {energy: released},
   expects: {challenge: clear-to-energise}}
- {id: power, section: release, say: m, sets: {energy: energised}, needs: {energy: released},
   expects: {confirmation: power is on}}
- {id: live, section: live, say: n, needs: {energy: energised}, expects: {confirmation: done}}
"""
JOB = """
job: shortest
site: Pinewharf Cold Store
door: D1
door_type: high-speed-roll-up
supply: {system: single-phase, nominal: 230 V}
stored_energy: {present: true, wait: 2 min}
hazards: [{name: curtain, kind: gravity, restraint: block it}]
re_prove: 4 min
options: [induced-voltage]
"""
CHALLENGE_S, LAPSE_S, WAIT_S = 120, 240, 120
LATER_S, LATE_S = 121, 300  # older than the challenge and the wait; longer than the re-prove time
NOW_S = 10_000.0
DIGITS = ("47", "52")
DEAD_SIDE = ("isolated", "locked", "proven-dead")
# What a step that needs a state may be entered in.
GOOD_FOR = {
    "isolated": DEAD_SIDE,
    "locked": DEAD_SIDE[1:],
    "proven-dead": DEAD_SIDE[2:],
    "released": ("released",),
    "energised": ("energised",),
}


class Broken(AssertionError):
    """A rule that a transition broke."""


def shortest_plan(people: tuple[str, ...] = ("lead",)) -> tuple[Plan, Run]:
    """The plan with one pair to measure, and the run before its first event."""
    job = JOB + f"people: [{', '.join(people)}]\n"
    plan = bind(parse_pack({"pack.yaml": PACK, "steps.yaml": STEPS}, "shortest"), parse_job(job))
    run = machine.start(plan)
    first, *others = run.ledger.pairs
    kept = [s for s in plan.steps if s.id not in {f"dead.{pair}" for pair in others}]
    plan = plan.model_copy(update={"steps": tuple(kept)})
    return plan, replace(run, ledger=replace(run.ledger, pairs=(first,)))


def alphabet() -> tuple[inputs.Event, ...]:
    """Every input that is played in every state, built once."""
    volts = [inputs.Reading(value=Decimal(v)) for v in ("0", "230", "9999")]
    ohms = inputs.Reading(value=Decimal(230), unit="ohm")
    specials = [inputs.Reading(special=s) for s in ("over-range", "open-line", "no-reading")]
    words = ("disconnect is off", "no movement", "it is held", "done", "power is on")
    words += ("grounds are off",)
    lockout, clear = "lockout-confirmed", "clear-to-energise"
    commands = ("stop-work", "go-ahead", "go-back", "hand-over", "prove-again", "measure-again")
    either: list[inputs.Input] = [
        *[inputs.Confirm(word=word) for word in words],
        inputs.Affirm(),
        inputs.Affirm(plain=True),
        inputs.Negative(),
        *volts[:2],
        *[inputs.Choice(answer=answer) for answer in ("grounds are on", "source is off")],
        *[inputs.Tag(digits=digits) for digits in ("10", "11")],
        *[inputs.Challenge(phrase=p, digits=d) for p in (lockout, clear) for d in DIGITS],
        inputs.Correction(),
        *[inputs.Command(name=name) for name in commands],
        inputs.Unable(reason="no meter"),
        inputs.LockOff(),
        inputs.PowerOn(),
    ]
    lead: list[inputs.Input] = [
        volts[2],
        ohms,
        *specials,
        inputs.Tag(digits="99"),
        inputs.Choice(answer="later"),
        *[inputs.Challenge(phrase=p, digits="") for p in (lockout, clear)],
        *[inputs.Correction(reading=r) for r in volts[:2]],
        inputs.Correction(tag=inputs.Tag(digits="10")),
        *[inputs.Command(name=n) for n in ("stand-by", "emergency", "disregard", "all-clear")],
        *[inputs.Command(name=n) for n in ("where-are-we", "read-back", "say-again", "limits")],
        *[inputs.GoTo(section=s) for s in ("isolation", "work", "release", "live")],
        inputs.NotUnderstood(why="unsure"),
        inputs.Note(text="swarf"),
    ]
    system: list[inputs.Input] = [
        inputs.Restarted(),
        inputs.PersonJoined(person="helper"),
        inputs.CrewChanged(people=()),
        *[inputs.DeviceJoined(role=role) for role in ("lead", "helper")],
        *[inputs.DeviceLost(role=role) for role in ("lead", "helper")],
        inputs.Tick(),
    ]
    late: list[inputs.Input] = [
        inputs.Affirm(),
        inputs.Challenge(phrase=lockout, digits="47"),
        inputs.Challenge(phrase=clear, digits="47"),
        inputs.Confirm(word="done"),
        volts[0],
    ]
    rows = [(what, who, 0) for what in either for who in ("lead", "helper")]
    rows += [(what, "lead", 0) for what in lead]
    rows += [(what, "system", 0) for what in system]
    rows += [(what, "lead", after) for what in late for after in (LATER_S, LATE_S, -LATE_S)]
    rows += [(inputs.Tick(), "system", LATER_S), (inputs.Tick(), "system", -LATE_S)]
    return tuple(
        inputs.Event(
            input=what, at_s=NOW_S + after, who=who, via="system" if who == "system" else "voice"
        )
        for what, who, after in rows
    )


ISSUED = tuple(
    inputs.Event(input=inputs.ChallengeIssued(digits=d), at_s=NOW_S, who="system", via="system")
    for d in DIGITS
)


# --- states -------------------------------------------------------------------------------------


def _ages(run: Run, now_s: float) -> tuple[object, object, float]:
    """Age of the isolation and of the challenge when work last went on, and the time since."""
    isolated, issued = run.ledger.isolated_at_s, run.challenge
    idle = min(now_s - run.last_s, LAPSE_S + 1.0)
    if run.ledger.state not in DEAD_SIDE and issued is None:
        idle = 0.0  # nothing looks at it
    since = None if isolated is None else min(run.last_s - isolated, WAIT_S + 1.0)
    age = None if issued is None else min(run.last_s - issued.at_s, CHALLENGE_S + 1.0)
    return since, age, idle


def key(run: Run, now_s: float) -> bytes:
    """Digest of all that a rule of the core looks at."""
    pending, ledger = run.pending, run.ledger
    parts = (
        *_ages(run, now_s),
        run.at,
        run.finished,
        sorted(run.marks.items()),
        sorted((name, taken.verdict) for name, taken in run.readings.items()),
        run.last_reading,
        run.challenge and (run.challenge.step, run.challenge.digits),
        pending
        and (
            *(pending.step, pending.kind, pending.who, str(pending.quantity), pending.special),
            *(pending.tag, pending.word, pending.digits, pending.person, pending.corrects),
        ),
        *(run.held, run.failing, run.refused, run.marked),
        *(sorted(run.devices), sorted(run.lost), sorted(run.clear)),
        *(ledger.people, ledger.state, ledger.locks, ledger.tried, ledger.releasing),
        *(ledger.tester_before, sorted(ledger.dead), sorted(ledger.restrained), ledger.waited),
        *(ledger.bus_dead, ledger.tester_after, ledger.was_live, ledger.grounds, ledger.left),
    )
    return blake2b(repr(parts).encode(), digest_size=16).digest()


def canonical(run: Run, now_s: float) -> Run:
    """The run that stands for all of its key, with its times moved so that now is `NOW_S`."""
    since, age, idle = _ages(run, now_s)
    last_s = NOW_S - idle
    ledger = replace(run.ledger, isolated_at_s=None if since is None else last_s - since)
    return replace(
        run,
        ledger=ledger,
        challenge=run.challenge and replace(run.challenge, at_s=last_s - age),
        pending=run.pending and replace(run.pending, at_s=0.0, said=""),
        readings={n: replace(t, bounds=None, at_s=0.0) for n, t in run.readings.items()},
        marks=dict(run.marks),
        answers={},  # no condition of this pack looks at them
        limits=dict(run.limits),
        open_points=(),
        spoken=frozenset(),
        brief=False,
        times=0,
        entered_s=1.0,
        last_s=last_s,
    )


# --- the rules, written anew ---------------------------------------------------------------------


def check(plan: Plan, was: Run, event: inputs.Event, out: machine.Outcome) -> None:
    """Raise Broken if the transition breaks a rule."""
    for rule in RULES:
        if not rule(plan, was, event, out):
            raise Broken(rule.__doc__)


def _need_met(plan: Plan, run: Run, step_id: str) -> bool:
    step, ledger = plan.step(step_id), run.ledger
    if step.needs is None or ledger.state in GOOD_FOR[step.needs.energy]:
        return True
    # The first lock that came off ended the proof; the others follow.
    return step.proves == "lock-off" and ledger.releasing and ledger.state == "isolated"


def _entered(plan: Plan, was: Run, event: inputs.Event, out: machine.Outcome) -> bool:
    """No step is entered against its need."""
    run = out.run
    for each in out.effects:
        if each.kind == "entered" and not _need_met(plan, run, each.step):
            return False
    open_ = run.at is not None and not run.refused and not run.held
    return not open_ or _need_met(plan, run, run.at or "")


def _taken(plan: Plan, was: Run, event: inputs.Event, out: machine.Outcome) -> bool:
    """Nothing is taken for a step whose need isn't met, while held, or over a refusal."""
    for each in out.effects:
        said = each.kind == "taken" or (each.kind == "judged" and not each.corrects)
        if said and not _need_met(plan, was, each.step):
            return False
        # A wait that ran out meanwhile is over as soon as work goes on.
        held = was.held and out.run.held
        if said and (held or (was.refused and was.refused == out.run.refused)):
            return False
    return True


def _answers_itself(plan: Plan, was: Run, event: inputs.Event, out: machine.Outcome) -> bool:
    """What changes the ledger was affirmed by whoever said it, and not by a plain yes."""
    before, after = was.ledger, out.run.ledger
    if before == after or after.state == "unknown":
        return True
    if after.waited and not before.waited and after == replace(before, waited=True):
        return True  # time alone ends a wait
    if after == _let_go(before):
        return True  # "lock off" at its step: hands-in work is over, no lock is off by it
    pending, what = was.pending, event.input
    if pending is None or not isinstance(what, inputs.Affirm) or what.plain:
        return False
    if event.who != pending.who:
        return False
    # A wait that was over already may follow in the same turn.
    return after.waited in (before.waited, True) or not before.waited


def _let_go(ledger: energy.Ledger) -> energy.Ledger:
    return replace(
        ledger,
        state="isolated",
        releasing=True,
        tried=False,
        tester_before=False,
        dead=frozenset(),
        restrained=frozenset(),
        waited=False,
        bus_dead=False,
        tester_after=False,
    )


def _facts(plan: Plan, was: Run, event: inputs.Event, out: machine.Outcome) -> bool:
    """Each part of the proof is there because the record tells it in this very turn."""
    before, after = was.ledger, out.run.ledger
    taken = {each.step: each for each in out.effects if each.kind == "taken"}
    passed = {e.step: e for e in out.effects if e.kind == "judged" and e.verdict == "pass"}
    volts = {step: float(each.value) for step, each in passed.items() if each.value is not None}
    new_dead = after.dead - before.dead
    new_held = after.restrained - before.restrained
    return (
        (not after.tried or before.tried or "try-start" in taken)
        and (before.tester_before or not after.tester_before or volts["tester-before"] >= 50)
        and all(volts[f"dead.{pair}"] <= 5 and before.tester_before for pair in new_dead)
        and all(f"hold.{hazard}" in taken for hazard in new_held)
        and (before.waited or not after.waited or "wait" in taken)
        and (before.bus_dead or not after.bus_dead or (volts["bus"] <= 50 and before.waited))
        and (before.tester_after or not after.tester_after or _proven_after(before, volts))
        and (before.grounds or not after.grounds or ("grounds-on" in taken and _tested(before)))
        and (after.grounds or not before.grounds or "grounds-off" in taken)
        and _order(before, after)
    )


def _tested(ledger: energy.Ledger) -> bool:
    """Grounds go on after a test alone: on a live conductor they are a short circuit."""
    return ledger.state == "locked" and ledger.tester_before


def _proven_after(before: energy.Ledger, volts: dict[str, float]) -> bool:
    return volts["tester-after"] >= 50 and before.bus_dead and before.dead == set(before.pairs)


def _order(before: energy.Ledger, after: energy.Ledger) -> bool:
    """The second proof of the tester counts for what was measured before it alone."""
    measured = (after.dead, after.bus_dead) != (before.dead, before.bus_dead)
    return not measured or not after.tester_after


def _wait_kept(plan: Plan, was: Run, event: inputs.Event, out: machine.Outcome) -> bool:
    """The wait for stored energy is over only after its time, whatever the clock says."""
    if was.ledger.waited or not out.run.ledger.waited:
        return True
    since = out.run.ledger.isolated_at_s
    return since is not None and max(event.at_s, was.last_s) - since >= WAIT_S


def _proven_dead(plan: Plan, was: Run, event: inputs.Event, out: machine.Outcome) -> bool:
    """Proven dead stands for the whole proof and the right, fresh challenge, affirmed."""
    now = out.run.ledger
    if now.state != "proven-dead":
        return True
    whole = (
        {person for person, _ in now.locks} == set(now.people)
        and len({tag for _, tag in now.locks}) == len(now.locks)
        and now.tried
        and now.restrained == set(now.hazards)
        and now.tester_before
        and now.dead == set(now.pairs)
        and now.waited
        and now.bus_dead
        and now.tester_after
        and (now.grounds or was.ledger.state == "proven-dead")
    )
    return whole and (
        was.ledger.state == "proven-dead" or _opened(was, event, "prove-dead", "locked", "lead")
    )


def _opened(was: Run, event: inputs.Event, gate: str, state: str, who: str) -> bool:
    pending, issued, what = was.pending, was.challenge, event.input
    return (
        was.ledger.state == state
        and isinstance(what, inputs.Affirm)
        and not what.plain
        and pending is not None
        and issued is not None
        and (pending.kind, pending.step, issued.step) == ("challenge", gate, gate)
        and event.who == pending.who == who
        and pending.digits == issued.digits
        and max(event.at_s, was.last_s) - issued.at_s <= CHALLENGE_S
        and was.held is None
        and was.at == gate
    )


def _live(plan: Plan, was: Run, event: inputs.Event, out: machine.Outcome) -> bool:
    """Released: every lock off, its gate opened by the lead. Energised: said after that."""
    before, now = was.ledger, out.run.ledger
    if now.state not in ("released", "energised"):
        return True
    if now.locks or now.grounds:
        return False
    if now.state == before.state:
        return True
    if now.state == "energised":
        return before.state == "released" and isinstance(event.input, inputs.Affirm)
    left = "unknown" if before.was_live and before.state == "unknown" else "isolated"
    # Unable is an open point on record; a gate step is never passed by it.
    done = was.marks.get("hands") in ("done", "unable") or left == "unknown"
    over = before.releasing or left == "unknown"
    return _opened(was, event, "clear", left, "lead") and over and done


def _own_locks(plan: Plan, was: Run, event: inputs.Event, out: machine.Outcome) -> bool:
    """A lock goes on or comes off by its own person's word, with that lock's own tag."""
    before, after = set(was.ledger.locks), set(out.run.ledger.locks)
    if before == after or (
        not after
        and out.run.ledger.state in ("unknown", "isolated")
        and not out.run.ledger.releasing
    ):
        return True  # all are forgotten with the proof, and asked for anew
    pending = was.pending
    if pending is None or pending.kind != "tag" or len(before ^ after) != 1:
        return False
    ((person, tag),) = before ^ after
    own = event.who == person or person not in was.devices | was.lost
    return own and (pending.person, pending.tag, pending.who) == (person, tag, event.who)


def _voids(plan: Plan, was: Run, event: inputs.Event, out: machine.Outcome) -> bool:
    """Whatever spoils the proof takes it away at once."""
    what, state, now = event.input, was.ledger.state, out.run.ledger.state
    at_s = max(event.at_s, was.last_s)
    if state in DEAD_SIDE and at_s - was.last_s > LAPSE_S:
        return now == "unknown"
    if isinstance(what, inputs.Restarted | inputs.PersonJoined | inputs.CrewChanged):
        return now == "unknown" and not out.run.ledger.locks
    if isinstance(what, inputs.LockOff):
        at_step = was.at == "lock-off" and state in ("isolated", "proven-dead")
        return now == ("isolated" if at_step and not was.held and not was.refused else "unknown")
    if isinstance(what, inputs.PowerOn):
        return (
            now
            in ("unknown", "released" if state == "released" else "", "energised")[
                : 3 if state in ("released", "energised") else 1
            ]
        )
    if isinstance(what, inputs.Command) and what.name in ("stop-work", "emergency"):
        return now == "unknown" and out.run.held is not None
    if isinstance(what, inputs.Command) and what.name == "prove-again" and not was.held:
        return now == "unknown"
    if isinstance(what, inputs.Tag) and was.at == "lock-off" and not was.held:
        return now in ("isolated", "unknown")
    return True


def _told(plan: Plan, was: Run, event: inputs.Event, out: machine.Outcome) -> bool:
    """A refusal says what is missing, and a changed energy state is told."""
    for each in out.effects:
        if isinstance(each, fx.Refused) and not each.missing:
            return False
    changed = was.ledger.state != out.run.ledger.state
    return not changed or any(e.kind == "energy-now" for e in out.effects)


def _going_on(plan: Plan, was: Run, event: inputs.Event, out: machine.Outcome) -> bool:
    """What stop work held goes on by the lead's go ahead alone."""
    if was.held in (None, "stand-by") or out.run.held:
        return True
    what = event.input
    return isinstance(what, inputs.Command) and what.name == "go-ahead" and event.who == "lead"


RULES = (
    *(_entered, _taken, _answers_itself, _facts, _wait_kept, _proven_dead, _live, _own_locks),
    *(_voids, _told, _going_on),
)


# --- the walk -----------------------------------------------------------------------------------


@dataclass
class Walked:
    """How far a walk came. `states` by the step of the walk in which they were first seen."""

    transitions: int = 0
    states: list[int] = field(default_factory=list)
    energy: dict[str, int] = field(default_factory=dict)
    exhausted: bool = False


class Way(Exception):
    """A broken rule and the shortest way to it."""


PLAN, START = shortest_plan()
EVENTS = alphabet()


def successors(run: Run, number: int) -> Iterator[tuple[Run, float]]:
    """What an event leads to; with both challenges where the shell has to draw one."""
    event = EVENTS[number]
    out = machine.advance(PLAN, run, event)
    check(PLAN, run, event, out)
    now_s = max(event.at_s, NOW_S)
    if not any(each.kind == "challenge-needed" for each in out.effects):
        yield out.run, now_s
        return
    for issued in ISSUED:
        drawn = issued if now_s == NOW_S else issued.model_copy(update={"at_s": now_s})
        after = machine.advance(PLAN, out.run, drawn)
        check(PLAN, out.run, drawn, after)
        yield after.run, now_s


_known: set[bytes] = set()  # what this process has handed on already


def expand(states: list[tuple[bytes, Run]]) -> tuple[int, list[tuple[bytes, bytes, int, Run]], str]:
    """Transitions from some states, the states that seem new, and a broken rule or ""."""
    found: list[tuple[bytes, bytes, int, Run]] = []
    count = 0
    for parent, run in states:
        for number in range(len(EVENTS)):
            try:
                for after, now_s in successors(run, number):
                    count += 1
                    digest = key(after, now_s)
                    if digest not in _known:
                        _known.add(digest)
                        found.append((digest, parent, number, canonical(after, now_s)))
            except Exception as problem:  # a crash of the core is a broken rule as well
                return count, [(b"", parent, number, run)], f"{type(problem).__name__}: {problem}"
    return count, found, ""


def right_answer(run: Run) -> inputs.Input:
    """What takes the run on, where nothing goes wrong."""
    step = PLAN.step(run.at or "")
    if run.pending:
        return inputs.Affirm()
    if step.expects.confirmation:
        return inputs.Confirm(word=step.expects.confirmation)
    if step.expects.choice:
        return inputs.Choice(answer=next(iter(step.expects.choice)))
    if step.expects.reading:
        return inputs.Reading(value=Decimal("230" if "tester" in step.id else "0"))
    if step.expects.tag:
        on = dict(run.ledger.locks)
        given = "11" if on else "10"
        return inputs.Tag(digits=given if step.proves == "lock" else next(iter(on.values())))
    if step.expects.challenge:
        digits = run.challenge.digits if run.challenge else ""
        return inputs.Challenge(phrase=step.expects.challenge, digits=digits)
    return inputs.Tick()


def way(*before: inputs.Input) -> Iterator[Run]:
    """The states of the right way from start to end, after what happened before the first step."""

    def put(run: Run, what: inputs.Input, who: str = "system") -> Run:
        after_s = LATER_S if isinstance(what, inputs.Tick) else 0
        event = inputs.Event(input=what, at_s=NOW_S + after_s, who=who)
        out = machine.advance(PLAN, run, event)
        if any(each.kind == "challenge-needed" for each in out.effects):
            out = machine.advance(PLAN, out.run, ISSUED[0])
        return canonical(out.run, event.at_s)

    run = put(START, inputs.Started())
    for what in before:
        run = put(run, what)
    yield run
    while not run.finished:
        step = PLAN.step(run.at or "")
        owner = run.pending.who if run.pending else "lead"
        if step.expects.tag and not run.pending:
            left = run.ledger.next_without_lock()
            person = (left if step.proves == "lock" else run.ledger.next_with_lock()) or "lead"
            owner = person if person in run.devices else "lead"
        run = put(run, right_answer(run), owner)
        yield run


def beginnings(where: str) -> list[Run]:
    """The states in which a walk begins: "start", or all of the "way"."""
    if where == "start":
        return [next(way())]
    helper = inputs.PersonJoined(person="helper")
    devices = [inputs.DeviceJoined(role=role) for role in ("lead", "helper")]
    return [*way(), *way(helper), *way(*devices)]


def walk(
    transitions: int, depth: int = 10_000, processes: int = 1, tell=None, where: str = "start"
) -> Walked:
    """Walk breadth-first until so many transitions were played, so deep, or to the end.

    Raises
    ------
    Way
        If a rule is broken, with the inputs that lead there.
    """
    roots = {key(run, NOW_S): run for run in beginnings(where)}
    _known.clear()
    _known.update(roots)
    came_from: dict[bytes, tuple[bytes, int]] = dict.fromkeys(roots, (b"", -1))
    frontier, done = list(roots.items()), Walked(states=[len(roots)])
    fork = multiprocessing.get_context("fork")
    pool = ProcessPoolExecutor(processes, fork) if processes > 1 else None
    try:
        while frontier and len(done.states) <= depth:
            following: list[tuple[bytes, Run]] = []
            for _, run in frontier:
                done.energy[run.ledger.state] = done.energy.get(run.ledger.state, 0) + 1
            size = max(1, min(200, len(frontier) // (4 * processes)))
            chunks = [frontier[i : i + size] for i in range(0, len(frontier), size)]
            results = pool.map(expand, chunks) if pool else map(expand, chunks)
            for count, found, problem in results:
                done.transitions += count
                if problem:
                    raise Way(f"{problem}\n{_way(came_from, found[0][1], found[0][2])}")
                for digest, parent, number, run in found:
                    if digest not in came_from:
                        came_from[digest] = (parent, number)
                        following.append((digest, run))
                if done.transitions >= transitions:
                    break
            if tell:
                tell(done, len(following))
            if done.transitions >= transitions and following:
                return done
            frontier = following
            if frontier:
                done.states.append(len(frontier))
        done.exhausted = not frontier
        return done
    finally:
        if pool:
            pool.shutdown(cancel_futures=True)


def _way(came_from: dict[bytes, tuple[bytes, int]], last: bytes, number: int) -> str:
    numbers = [number]
    while came_from[last][1] >= 0:
        last, before = came_from[last]
        numbers.append(before)
    lines = []
    for each in reversed(numbers):
        event = EVENTS[each]
        said = event.input.model_dump(exclude_defaults=True)
        lines.append(f"  {event.who}: {event.input.kind} {said} {event.at_s - NOW_S:+.0f} s")
    return "\n".join(lines)


def main() -> int:
    """Walk with every core; prints each step of the walk and what it came to."""
    transitions = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000_000
    where = sys.argv[2] if len(sys.argv) > 2 else "way"
    began = time.perf_counter()

    def tell(done: Walked, new: int) -> None:
        spent = time.perf_counter() - began
        print(
            f"{len(done.states):3} inputs deep: {done.transitions:>12,} transitions, "
            f"{sum(done.states):>9,} states, {new:>8,} new, {spent:6.0f} s",
            flush=True,
        )

    done = walk(transitions, processes=os.cpu_count() or 1, tell=tell, where=where)
    spent = time.perf_counter() - began
    how = "to the end" if done.exhausted else f"{len(done.states)} inputs deep"
    print(
        f"{done.transitions:,} transitions of {len(EVENTS)} inputs, {sum(done.states):,} states, "
        f"{how}: no rule broken; {spent:,.0f} s"
    )
    for state, count in sorted(done.energy.items()):
        print(f"  {state:12} {count:>9,}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
