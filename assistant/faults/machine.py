"""The pure function that moves a search on: advance(door, search, said) -> search, effects.

It touches nothing else, so a log of inputs rebuilds a search (`replay`). The energy state is the
ledger's and comes in as `EnergyIs`; a check is entered only with `choose.may_enter`, a repair only
with the state it needs, and both are dropped at once when the state is lost. Values and choices
come in as affirmed: the read-back is the session's, as for any step.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import singledispatch
from typing import Any, Literal

from assistant.errors import UnitError
from assistant.faults import effects as fx
from assistant.faults import inputs
from assistant.faults.bayes import UNLISTED, weight_of_evidence
from assistant.faults.choose import looks_at, may_enter, next_check, state_for, unseen_dangers
from assistant.faults.door import Door
from assistant.faults.model import Leave, Symptom
from assistant.faults.symptoms import find
from assistant.procedure import energy
from assistant.procedure.model import EnergyState
from assistant.quantity import Quantity, unit

Phase = Literal["symptom", "safe", "check", "named", "repair", "retest", "over"]
_WORST: tuple[Leave, ...] = ("watch", "hold-to-run", "out-of-service")
_LIKELY = 0.1  # from here on a cause has a say in what may happen to the door
_GUESS = 0.25  # below this a best guess isn't worth naming
_WORTH_SAYING = 0.35  # from here on the leading cause is told while the search goes on
_LEAST_SAID = 0.5  # bits that a finding must weigh to be given as the reason


@dataclass(frozen=True)
class Answer:
    """What was said to a check; outcome None: not known or not done (`reason`)."""

    check: str
    outcome: str | None
    value: Decimal | None = None
    unit: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Search:
    """Where a search stands.

    shut: the panel was found live and stays shut until its isolation. asked: the check that is
    entered. waiting: the check that waits for another energy state.
    refuted: causes that were looked at and weren't it. later: checks put off in this state. told:
    the leading cause spoken last. entered: the repair is under way. retests: still to be
    done. order: steps of the general order that were told; None while it isn't asked for.
    """

    phase: Phase = "symptom"
    energy: EnergyState = "unknown"
    shut: bool = False
    symptom: str | None = None
    answers: tuple[Answer, ...] = ()
    asked: str | None = None
    waiting: str | None = None
    named: str | None = None
    refuted: tuple[str, ...] = ()
    later: tuple[str, ...] = ()
    told: str = ""
    cause: str | None = None
    entered: bool = False
    retests: tuple[str, ...] = ()
    order: int | None = None
    held: bool = False

    @property
    def answered(self) -> tuple[tuple[str, str], ...]:
        """(check, outcome) of every answer that says something."""
        return tuple((a.check, a.outcome) for a in self.answers if a.outcome is not None)

    @property
    def passed(self) -> tuple[str, ...]:
        """Checks that couldn't be done or weren't known."""
        return tuple(a.check for a in self.answers if a.outcome is None)


@dataclass(frozen=True)
class Outcome:
    """The search after an input, and what is to be told, in order."""

    search: Search
    effects: tuple[fx.Effect, ...]


def start(state: EnergyState = "unknown", shut: bool = False) -> Search:
    """A search before anything was said, with the ledger's state."""
    return Search(energy=state, shut=shut)


def begin(door: Door, search: Search) -> Outcome:
    """What is asked first."""
    return Outcome(search, (fx.AskSymptom(),))


def replay(door: Door, said: Iterable[inputs.Input], state: EnergyState = "unknown") -> Search:
    """The search that a list of inputs leads to."""
    search = start(state)
    for each in said:
        search = advance(door, search, each).search
    return search


def chances(door: Door, search: Search) -> dict[str, float]:
    """Cause -> probability now; {} before a symptom is known."""
    if search.symptom is None:
        return {}
    symptom = door.guide.symptoms[search.symptom]
    return door.chances(symptom, search.answered, search.refuted)


def ranked(door: Door, search: Search) -> list[tuple[str, float]]:
    """Causes with their chances, likeliest first, "none of these" left out."""
    found = [(c, p) for c, p in chances(door, search).items() if c != UNLISTED]
    return sorted(found, key=lambda pair: -pair[1])


def likely(door: Door, search: Search) -> list[tuple[str, float]]:
    """`ranked` without what somebody has looked at and found to be something else."""
    return [
        (cause, chance) for cause, chance in ranked(door, search) if cause not in search.refuted
    ]


def advance(door: Door, search: Search, said: inputs.Input) -> Outcome:
    """The search after one input, and its effects; see the module."""
    if search.held and not isinstance(said, inputs.EnergyIs):
        if isinstance(said, inputs.Command) and said.name == "go-ahead":
            freed = replace(search, held=False)
            return _propose(door, freed) if search.phase == "check" else repeat(door, freed)
        return Outcome(search, (fx.Held(),))
    return _take(said, door, search)


# --- one function an input ------------------------------------------------------------------


@singledispatch
def _take(said: Any, door: Door, search: Search) -> Outcome:
    return Outcome(search, (fx.AskAgain(check=search.asked or ""),))


@_take.register(inputs.Open)
@_take.register(inputs.ToSteps)
def _(said: Any, door: Door, search: Search) -> Outcome:
    return repeat(door, search)  # who has the floor is the job's business (`live`)


@_take.register
def _(said: inputs.Seen, door: Door, search: Search) -> Outcome:
    fitting = find(said.words, door.symptoms())
    found = fitting or find(said.words, door.guide.symptoms.values())
    if not found:
        unknown = fx.UnknownSymptom(words=said.words)
        return _order_step(door, replace(search, order=0), (unknown,))
    if len(found) > 1:
        return Outcome(search, (fx.SeveralSymptoms(symptoms=tuple(each.id for each in found)),))
    symptom = found[0]
    missing = () if door.fits(symptom) else symptom.options
    fresh = replace(start(search.energy, search.shut), symptom=symptom.id, phase="safe")
    taken = fx.SymptomTaken(symptom=symptom.id, missing=missing)
    rule = leave(door, fresh)
    told = () if rule == "watch" else (fx.LeaveDoor(rule=rule),)
    return Outcome(fresh, (taken, *told, fx.MakeSafe(symptom=symptom.id)))


@_take.register
def _(said: inputs.Safe, door: Door, search: Search) -> Outcome:
    if search.phase != "safe":
        return repeat(door, search)
    return _propose(door, replace(search, phase="check"))


@_take.register
def _(said: inputs.EnergyIs, door: Door, search: Search) -> Outcome:
    if (said.state, said.shut) == (search.energy, search.shut):
        return Outcome(search, ())
    now = replace(search, energy=said.state, shut=said.shut, later=())
    if now.held:  # nothing is entered until the lead goes ahead
        return Outcome(now, ())
    told: tuple[fx.Effect, ...] = ()
    if now.phase == "check":
        if now.asked:
            if may_enter(door.guide.checks[now.asked], said.state, said.shut):
                return Outcome(now, ())
            told = (fx.Dropped(check=now.asked, state=said.state),)
        return _propose(door, replace(now, asked=None, waiting=None), told)
    if now.phase == "repair":
        if now.entered and not _repair_may(door, now):
            told = (fx.Dropped(check="", state=said.state),)
            return _repair(door, replace(now, entered=False), told)
        if not now.entered:
            return _repair(door, now)
    return Outcome(now, ())


@_take.register
def _(said: inputs.Choice, door: Door, search: Search) -> Outcome:
    if search.asked is None:
        return repeat(door, search)
    outcome = door.checks[search.asked].spoken.get(said.answer)
    if outcome is None:
        return Outcome(search, (fx.AskAgain(check=search.asked),))
    return _answered(door, search, Answer(search.asked, outcome))


@_take.register
def _(said: inputs.Affirm, door: Door, search: Search) -> Outcome:
    if search.phase == "safe":
        return _take(inputs.Safe(), door, search)
    if search.phase == "named":
        return _take(inputs.FoundIt(), door, search)
    return _take(inputs.Choice(answer="yes"), door, search)


@_take.register
def _(said: inputs.Negative, door: Door, search: Search) -> Outcome:
    if search.phase == "safe":
        return Outcome(search, (fx.MakeSafe(symptom=search.symptom or ""),))
    if search.phase == "named" and search.named:
        looked = replace(search, phase="check", refuted=(*search.refuted, search.named), named=None)
        return _propose(door, looked)
    return _take(inputs.Choice(answer="no"), door, search)


@_take.register
def _(said: inputs.Reading, door: Door, search: Search) -> Outcome:
    if search.asked is None:
        return repeat(door, search)
    here = door.checks[search.asked]
    spec = here.check.reading
    if spec is None or said.special == "no-reading":
        return Outcome(search, (fx.AskAgain(check=search.asked),))
    if said.value is None:  # over range, or an open line on an ohmmeter
        outcome = here.outcome(None)
        return _answered(door, search, Answer(search.asked, outcome, reason=said.special or ""))
    name = said.unit or unit(spec.unit).name
    try:
        outcome = here.outcome(Quantity(said.value, name))
    except UnitError:
        return Outcome(search, (fx.AskAgain(check=search.asked),))
    if outcome is None:
        odd = fx.Implausible(check=search.asked, value=said.value, unit=name)
        return Outcome(search, (odd,))
    return _answered(door, search, Answer(search.asked, outcome, said.value, name))


@_take.register
def _(said: inputs.DontKnow, door: Door, search: Search) -> Outcome:
    if search.symptom is None:  # nobody can say what the door does
        return _order_step(door, replace(search, order=0))
    if search.asked is None:
        return repeat(door, search)
    return _answered(door, search, Answer(search.asked, None, reason="not known"))


@_take.register
def _(said: inputs.Unable, door: Door, search: Search) -> Outcome:
    check = search.asked or search.waiting
    if search.phase != "check" or check is None:
        return repeat(door, search)
    return _answered(door, search, Answer(check, None, reason=said.reason or "unable"))


@_take.register
def _(said: inputs.GoThere, door: Door, search: Search) -> Outcome:
    if search.phase == "check" and search.waiting:
        wanted = state_for(door.guide.checks[search.waiting], search.shut)
    elif search.phase == "repair" and not search.entered and search.cause:
        wanted = door.guide.repairs[door.guide.causes[search.cause].repair].needs
    else:
        return repeat(door, search)
    return Outcome(search, (fx.ChangeEnergy(state=wanted),))


@_take.register
def _(said: inputs.SomethingElse, door: Door, search: Search) -> Outcome:
    if search.phase != "check" or search.waiting is None:
        return repeat(door, search)
    checks = door.guide.checks.values()
    off = tuple(each.id for each in checks if not may_enter(each, search.energy, search.shut))
    return _propose(door, replace(search, waiting=None, later=off))


@_take.register
def _(said: inputs.Why, door: Door, search: Search) -> Outcome:
    check = search.asked or search.waiting
    if search.phase == "check" and check:
        tells = door.guide.checks[check].tells
        about = tuple(cause for cause, _ in ranked(door, search) if cause in tells)
        dangers = unseen_dangers(door, chances(door, search), dict(search.answered))
        row, wrong = door.guide.checks[check], door.guide.wrong
        danger = any(looks_at(row, each, wrong) for each in dangers)
        return Outcome(search, (fx.WhyCheck(check=check, causes=about[:2], for_danger=danger),))
    if search.phase == "named" and search.named:
        return Outcome(search, (_leading(door, search),))
    return repeat(door, search)


@_take.register
def _(said: inputs.WhatElse, door: Door, search: Search) -> Outcome:
    if search.order is not None:
        return _order_step(door, search)
    if search.symptom is None:
        return repeat(door, search)
    others = [each for each in likely(door, search) if each[0] != search.named]
    return Outcome(search, (fx.Others(causes=tuple(others[:3]), than=search.named or ""),))


@_take.register
def _(said: inputs.CorrectLast, door: Door, search: Search) -> Outcome:
    if search.phase not in ("check", "named") or not search.answers:
        return repeat(door, search)
    last = search.answers[-1].check
    back = replace(search, phase="check", answers=search.answers[:-1], named=None, waiting=None)
    if not may_enter(door.guide.checks[last], search.energy, search.shut):
        return _propose(door, replace(back, asked=None))
    return Outcome(replace(back, asked=last), (fx.AskCheck(check=last, again=True),))


@_take.register
def _(said: inputs.FoundIt, door: Door, search: Search) -> Outcome:
    if search.phase not in ("check", "named"):
        return repeat(door, search)
    cause = said.cause or search.named
    if cause is None:  # it is the leading one, perhaps: ask before taking it
        left = likely(door, search)
        if not left:
            return Outcome(search, (fx.Others(causes=()),))
        top, chance = left[0]
        asks = replace(search, phase="named", named=top, asked=None, waiting=None)
        named = fx.Named(cause=top, chance=chance, sure=False, because=_because(door, search, top))
        return Outcome(asks, (named,))
    if cause not in door.guide.causes:
        return Outcome(search, (fx.AskAgain(check=search.asked or ""),))
    found = replace(search, phase="repair", cause=cause, asked=None, waiting=None, named=cause)
    told: tuple[fx.Effect, ...] = (fx.Found(cause=cause),)
    unseen = _not_ruled_out(door, found)
    if unseen:
        told = (*told, fx.NotRuledOut(causes=unseen))
    rule = leave(door, found)
    if rule != "watch":
        told = (*told, fx.LeaveDoor(rule=rule))
    return _repair(door, found, told)


@_take.register
def _(said: inputs.Repaired, door: Door, search: Search) -> Outcome:
    if search.phase != "repair" or search.cause is None or not search.entered:
        return repeat(door, search)
    refs = retests(door, search.cause)
    why = door.guide.repairs[door.guide.causes[search.cause].repair].why
    tested = replace(search, phase="retest", retests=refs, entered=False)
    return Outcome(tested, (fx.RetestNow(refs=refs, why=why),))


@_take.register
def _(said: inputs.Retested, door: Door, search: Search) -> Outcome:
    if search.phase != "retest" or said.ref not in search.retests:
        return repeat(door, search)
    if not said.passed:
        told = (fx.RetestFailed(ref=said.ref), fx.LeaveDoor(rule="out-of-service"))
        return Outcome(search, told)
    left = tuple(ref for ref in search.retests if ref != said.ref)
    if left:
        return Outcome(replace(search, retests=left), (fx.RetestNow(refs=left),))
    over = replace(search, phase="over", retests=())
    # What the passed tests would have been asked for themselves is ruled out by them.
    passed = set(retests(door, over.cause or ""))
    unseen = _not_ruled_out(door, over)
    danger = tuple(each for each in unseen if not passed.issuperset(retests(door, each)))
    told_last: tuple[fx.Effect, ...] = (fx.Over(solved=True),)
    if danger:
        rule = fx.LeaveDoor(rule=leave(door, over))
        told_last = (fx.NotRuledOut(causes=danger), rule, *told_last)
    return Outcome(over, told_last)


@_take.register
def _(said: inputs.GiveUp, door: Door, search: Search) -> Outcome:
    over = replace(search, phase="over", asked=None, waiting=None)
    if search.symptom is None:
        return Outcome(over, (fx.Over(solved=False),))
    told: list[fx.Effect] = []
    left = _not_ruled_out(door, search)
    if left:
        told.append(fx.NotRuledOut(causes=left))
    told += [fx.LeaveDoor(rule=leave(door, search)), fx.Over(solved=False)]
    return Outcome(over, tuple(told))


@_take.register
def _(said: inputs.Command, door: Door, search: Search) -> Outcome:
    if said.name in ("stop-work", "emergency"):
        # The ledger voids its proof by itself and tells so with EnergyIs.
        stopped = replace(search, held=True, asked=None, waiting=None, entered=False)
        return Outcome(stopped, (fx.Held(),))
    if said.name == "reason":
        return _take(inputs.Why(), door, search)
    return repeat(door, search)


# --- what comes next --------------------------------------------------------------------------


def _answered(door: Door, search: Search, answer: Answer) -> Outcome:
    taken = fx.Taken(
        check=answer.check,
        outcome=answer.outcome,
        value=answer.value,
        unit=answer.unit,
        reason=answer.reason,
    )
    after = replace(search, answers=(*search.answers, answer), asked=None, waiting=None)
    top, chance = ranked(door, after)[0] if ranked(door, after) else ("", 0.0)
    told: tuple[fx.Effect, ...] = (taken,)
    if answer.outcome and top != search.told and _WORTH_SAYING <= chance < door.guide.sure:
        told = (taken, _leading(door, after))
        after = replace(after, told=top)
    return _propose(door, after, told)


def _propose(door: Door, search: Search, before: tuple[fx.Effect, ...] = ()) -> Outcome:
    """Name the cause, enter the next check, or say what it waits for."""
    symptom = _symptom(door, search)
    now = chances(door, search)
    answered = [check for check, _ in search.answered]
    proposal = next_check(
        door, symptom, now, search.energy, answered, search.passed, search.later, search.shut
    )
    left = likely(door, search)
    top, chance = left[0] if left else ("", 0.0)
    spoken_for = bool(answered or search.refuted or door.hints.get(top)) or proposal is None
    sure = bool(top) and chance >= door.guide.sure and spoken_for
    if sure and not (proposal and proposal.for_danger):
        return _name(door, search, top, chance, before, sure=True)
    if proposal is None and search.later:  # nothing else as things stand: the change after all
        return _propose(door, replace(search, later=()), before)
    if proposal is None:
        if top and chance >= _GUESS and now[UNLISTED] < chance:
            return _name(door, search, top, chance, before, sure=False)
        stuck = fx.Stuck(causes=tuple(left[:3]))
        told = (*before, stuck, fx.LeaveDoor(rule=leave(door, search)))
        given_up = replace(search, asked=None, waiting=None, named=None, order=search.order or 0)
        return Outcome(given_up, told)
    check = door.guide.checks[proposal.check]
    if not may_enter(check, search.energy, search.shut):
        wanted = state_for(check, search.shut)
        waits = fx.NeedsEnergy(check=check.id, state=wanted, now=search.energy)
        return Outcome(replace(search, asked=None, waiting=check.id), (*before, waits))
    told_why = any(door.guide.causes[c].danger for a in search.answers for c in _tells(door, a))
    first = proposal.for_danger and not told_why
    asks = fx.AskCheck(check=check.id, for_danger=first)
    return Outcome(replace(search, asked=check.id, waiting=None), (*before, asks))


def _tells(door: Door, answer: Answer) -> Iterable[str]:
    return door.guide.checks[answer.check].tells


def _order_step(door: Door, search: Search, before: tuple[fx.Effect, ...] = ()) -> Outcome:
    """The next step of the general order of search; after the last it begins anew."""
    steps = len(door.guide.general_order)
    place = (search.order or 0) % steps
    told = fx.OrderStep(step=place, last=place + 1 == steps)
    return Outcome(replace(search, order=place + 1), (*before, told))


def _name(
    door: Door,
    search: Search,
    cause: str,
    chance: float,
    before: tuple[fx.Effect, ...],
    *,
    sure: bool,
) -> Outcome:
    because = _because(door, search, cause)
    named = fx.Named(cause=cause, chance=chance, sure=sure, last=not sure, because=because)
    after = replace(search, phase="named", named=cause, asked=None, waiting=None, told=cause)
    return Outcome(after, (*before, named))


def _repair(door: Door, search: Search, before: tuple[fx.Effect, ...] = ()) -> Outcome:
    """Enter the repair if the energy state allows it, else say what it needs."""
    if _repair_may(door, search):
        told = any(isinstance(effect, fx.Found) for effect in before)
        now = fx.RepairNow(cause=search.cause or "", told=told)
        return Outcome(replace(search, entered=True), (*before, now))
    wanted = door.guide.repairs[door.guide.causes[search.cause or ""].repair].needs
    needs = fx.NeedsEnergy(check="", state=wanted, now=search.energy)
    return Outcome(replace(search, entered=False), (*before, needs))


def _repair_may(door: Door, search: Search) -> bool:
    needs = door.guide.repairs[door.guide.causes[search.cause or ""].repair].needs
    return needs == "unknown" or energy.satisfies(search.energy, needs)


def retests(door: Door, cause: str) -> tuple[str, ...]:
    """The tests to be done again after a cause was repaired, in the order of the guide.

    The whole test of the repaired part, and always the stop: `guide.always_retest`.
    """
    repair = door.guide.repairs[door.guide.causes[cause].repair]
    packs = {ref for ref in repair.retests if ":" not in ref}
    always = (ref for ref in door.guide.always_retest if ref.split(":")[0] not in packs)
    return tuple(dict.fromkeys((*repair.retests, *always)))


def repeat(door: Door, search: Search) -> Outcome:
    """What is waited for, said again; the search stays as it is."""
    if search.phase == "symptom":
        return Outcome(search, (fx.AskSymptom(),))
    if search.phase == "safe":
        return Outcome(search, (fx.MakeSafe(symptom=search.symptom or ""),))
    if search.phase == "check":
        return (
            _propose(door, search)
            if not search.asked
            else Outcome(search, (fx.AskCheck(check=search.asked, again=True),))
        )
    if search.phase == "named" and search.named:
        named = search.named
        chance = chances(door, search)[named]
        sure = chance >= door.guide.sure
        because = _because(door, search, named)
        told = fx.Named(cause=named, chance=chance, sure=sure, because=because)
        return Outcome(search, (told,))
    if search.phase == "repair":
        return _repair(door, search)
    if search.phase == "retest":
        return Outcome(search, (fx.RetestNow(refs=search.retests),))
    return Outcome(search, (fx.AskSymptom(),))


# --- what speaks for it ------------------------------------------------------------------------


def _symptom(door: Door, search: Search) -> Symptom:
    return door.guide.symptoms[search.symptom or ""]


def _leading(door: Door, search: Search) -> fx.Leading:
    top, chance = ranked(door, search)[0]
    return fx.Leading(cause=top, chance=chance, because=_because(door, search, top))


def _because(door: Door, search: Search, cause: str) -> str:
    """The clause of the finding or hint that speaks most for a cause; "" if none does."""
    symptom = _symptom(door, search)
    now = chances(door, search)
    clauses = []
    for check, outcome in search.answered:
        found = door.evidence(symptom, check, outcome)
        bits = weight_of_evidence(cause, found, now)
        clauses.append((bits, door.guide.checks[check].answers[outcome]))
    for hint in door.hints.get(cause, ()):
        clauses.append((weight_of_evidence(cause, {cause: hint.factor}, now), hint.says))
    best = max(clauses, default=(0.0, ""))
    return best[1] if best[0] >= _LEAST_SAID else ""


def _not_ruled_out(door: Door, search: Search) -> tuple[str, ...]:
    """Causes that endanger people, never looked at, the one that was found aside."""
    answered = [check for check, _ in search.answered]
    unseen = unseen_dangers(door, chances(door, search), answered)
    return tuple(cause for cause in unseen if cause != search.cause)


def leave(door: Door, search: Search) -> Leave:
    """The strictest rule among the symptom's, the likely causes' and the unseen dangers'.

    A door that somebody works on, or whose tests after the repair are due, is out of service.
    """
    if search.entered or search.phase == "retest":
        return "out-of-service"
    causes = door.guide.causes
    may_be = {cause for cause, chance in ranked(door, search) if chance >= _LIKELY}
    if search.phase == "safe":
        may_be = set()
    else:
        may_be |= set(_not_ruled_out(door, search))
    if search.cause:
        may_be = {search.cause, *_not_ruled_out(door, search)}
    rules = [_symptom(door, search).leave, *(causes[cause].leave for cause in may_be)]
    return max(rules, key=_WORST.index)
