"""The guide within a job: who has the floor, read-back of values, the way to the steps and back.

Pure, beside the machine of the steps. `follow` sees every event of the job after the machine has
taken it, so the job's log alone rebuilds both. The energy state comes from the run's ledger and
from nothing else; what a check needs is reached by the job's own steps, and the guide waits.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from assistant.faults import effects as fx
from assistant.faults import inputs, machine
from assistant.faults.door import Door
from assistant.faults.model import Need
from assistant.procedure import effects as steps_fx
from assistant.procedure import energy, gates, guided
from assistant.procedure import inputs as said
from assistant.procedure.machine import Outcome
from assistant.procedure.model import Plan
from assistant.procedure.run import Run
from assistant.quantity import unit

AFTER_REPAIR = "reset-after-repair"  # it stands in for the packs of a first commissioning
CHANGED = "it was changed"  # its answer for a part or a setting
ANYTHING, PARTS, SETTING = (
    "repair-any",
    "a part was changed",
    "only a setting",
)  # its first question
LEAD_ONLY = ("open", "go-there", "found-it", "repaired", "give-up")
_DEAD: tuple[Need, ...] = ("isolated", "locked", "proven-dead")


@dataclass(frozen=True)
class Live:
    """A search in a job.

    front: the guide is spoken to; False while the job's steps are. wanted: the energy state that
    the steps lead to, at which the guide comes back. pending, who: a value that was read back, and
    whose word it is. redone: the steps know of the repair, so what they settle counts as tested
    again. failed: such tests that were told as failed.
    """

    search: machine.Search
    front: bool = True
    wanted: Need | None = None
    pending: inputs.Reading | None = None
    who: str = ""
    failed: tuple[str, ...] = ()
    redone: bool = False

    @property
    def over(self) -> bool:
        """True once the search has ended."""
        return self.search.phase == "over"


@dataclass(frozen=True)
class Told:
    """What came of an event: the search after it, what is told, and what the job has to do next."""

    live: Live
    effects: tuple[fx.Effect, ...] = ()
    asks: tuple[said.Input, ...] = ()


def begin(door: Door, plan: Plan, run: Run) -> Told:
    """A new search; it asks for the symptom."""
    search = machine.start(run.ledger.state, shut(plan, run))
    return Told(Live(search), machine.begin(door, search).effects)


def shut(plan: Plan, run: Run) -> bool:
    """True at a panel that was found live, until it has been proven dead: no cover comes off."""
    proofs = (step for step in plan.steps if step.sets and step.sets.energy == "proven-dead")
    found = plan.pack.found == "in-service"
    return found and not any(step.id in run.marks for step in proofs)


def _energy_is(plan: Plan, run: Run) -> inputs.EnergyIs:
    return inputs.EnergyIs(state=run.ledger.state, shut=shut(plan, run))


def taken(event: said.Event, out: Outcome) -> bool:
    """True if words to the guide got through to it: nothing was pending, held or lost meanwhile."""
    kept = (steps_fx.AskAgain, steps_fx.Held, steps_fx.Voided)
    return isinstance(event.input, said.Guide) and not any(
        isinstance(effect, kept) for effect in out.effects
    )


def follow(door: Door, plan: Plan, live: Live, event: said.Event, out: Outcome) -> Told:
    """The search after an event of the job, which the machine has taken already."""
    if live.over:
        return Told(live)
    if isinstance(event.input, said.Changed):
        live = replace(live, redone=True)
    told = _held(door, plan, live, out.run)
    told = _then(told, _energy(door, plan, told.live, out.run))
    if isinstance(event.input, said.Restarted) and told.live.front and not told.effects:
        told = _then(told, _again(door, told.live))
    if taken(event, out) and isinstance(event.input, said.Guide):
        meant = inputs.INPUT.validate_python(event.input.said)
        told = _then(told, _take(door, plan, told.live, meant, event.who, out.run))
    return _then(told, _retested(door, plan, told.live, out.run))


def _then(first: Told, second: Told) -> Told:
    effects = (*first.effects, *second.effects)
    return Told(second.live, effects, (*first.asks, *second.asks))


def _again(door: Door, live: Live) -> Told:
    return Told(live, machine.repeat(door, live.search).effects)


def _held(door: Door, plan: Plan, live: Live, run: Run) -> Told:
    """Stop work and its like hold the guide too; the machine has said so already."""
    if run.held and not live.search.held:
        stop = inputs.Command(name="stop-work")
        search = machine.advance(door, live.search, stop).search
        return Told(replace(live, search=search, pending=None))
    if live.search.held and not run.held:
        out = machine.advance(door, live.search, _energy_is(plan, run))
        out = machine.advance(door, out.search, inputs.Command(name="go-ahead"))
        return Told(replace(live, search=out.search), out.effects if live.front else ())
    return Told(live)


def _energy(door: Door, plan: Plan, live: Live, run: Run) -> Told:
    """A changed ledger: at once for an open check, and to come back where it was waited for."""
    state = run.ledger.state
    if not live.front:
        if live.wanted is None or not _reached(state, live.wanted) or run.held:
            return Told(live)
        return _back(door, plan, live, run)
    now = _energy_is(plan, run)
    if (now.state, now.shut) == (live.search.energy, live.search.shut):
        return Told(live)
    out = machine.advance(door, live.search, now)
    pending = live.pending if out.search.asked == live.search.asked else None
    return Told(replace(live, search=out.search, pending=pending), out.effects)


def _reached(state: str, wanted: Need) -> bool:
    return wanted == "unknown" or energy.satisfies(state, wanted)  # type: ignore[arg-type]


def _back(door: Door, plan: Plan, live: Live, run: Run) -> Told:
    """The guide has the floor again; the ledger's state comes first."""
    out = machine.advance(door, live.search, _energy_is(plan, run))
    here = replace(live, search=out.search, front=True, wanted=None, pending=None)
    return Told(here, out.effects) if out.effects else _again(door, here)


def _take(door: Door, plan: Plan, live: Live, meant: inputs.Input, who: str, run: Run) -> Told:
    if who == "helper" and meant.kind in LEAD_ONLY:
        return Told(live, (fx.LeadOnly(),))
    if isinstance(meant, inputs.Open):
        return _back(door, plan, live, run)
    if not live.front:
        return Told(live)
    if isinstance(meant, inputs.ToSteps):
        return Told(replace(live, front=False, pending=None), (), (said.BackToSteps(),))
    if live.pending is not None:
        return _affirming(door, plan, live, meant, who, run)
    if isinstance(meant, inputs.Reading):
        return _read(door, live, meant, who)
    return _on(door, plan, live, meant, run)


def _read(door: Door, live: Live, meant: inputs.Reading, who: str) -> Told:
    """A value that could be one is read back; what can't be is asked again by the search."""
    out = machine.advance(door, live.search, meant)
    if out.search == live.search or live.search.asked is None:
        return Told(live, out.effects)
    spec = door.checks[live.search.asked].check.reading
    name = meant.unit or (unit(spec.unit).name if spec else "")
    back = fx.ReadBack(
        check=live.search.asked, value=meant.value, unit=name, special=meant.special or ""
    )
    return Told(replace(live, pending=meant, who=who), (back,))


def _affirming(door: Door, plan: Plan, live: Live, meant: inputs.Input, who: str, run: Run) -> Told:
    pending, check = live.pending, live.search.asked or ""
    assert pending is not None
    if isinstance(meant, inputs.Reading):
        return _read(door, live, meant, who)
    if isinstance(meant, inputs.Affirm) and who in (live.who, "system"):
        return _on(door, plan, replace(live, pending=None), pending, run)
    if isinstance(meant, inputs.Negative | inputs.CorrectLast):
        return Told(replace(live, pending=None), (fx.Withdrawn(check=check),))
    back = fx.ReadBack(
        check=check, value=pending.value, unit=pending.unit or "", special=pending.special or ""
    )
    return Told(live, (back,))


def _on(door: Door, plan: Plan, live: Live, meant: inputs.Input, run: Run) -> Told:
    """What the search makes of it, and what of that is the job's business."""
    out = machine.advance(door, live.search, meant)
    here = replace(live, search=out.search)
    change = next((e for e in out.effects if isinstance(e, fx.ChangeEnergy)), None)
    if change:
        way = _way(plan, run, change.state)
        if way is None:
            return Told(here, (fx.NoWay(state=change.state),))
        wanted: Need = "energised" if change.state == "released" else change.state
        return Told(replace(here, front=False, wanted=wanted), out.effects, (way,))
    if isinstance(meant, inputs.Repaired) and out.search.phase == "retest":
        return _tests(door, plan, here, out, run)
    if out.search.phase == "over":
        return Told(replace(here, front=False), out.effects, (said.BackToSteps(),))
    return Told(here, out.effects)


def _way(plan: Plan, run: Run, state: str) -> said.Input | None:
    """What leads the steps to a state: the present step, or a new proof; None if nothing does."""
    goal = "proven-dead" if state in _DEAD else state
    leading = [step for step in plan.steps if step.sets and step.sets.energy == goal]
    if not leading:
        return None
    if any(not gates.settled(plan, run, step) for step in leading):
        return said.BackToSteps()
    return said.Command(name="prove-again") if state in _DEAD else said.BackToSteps()


# --- after the repair ----------------------------------------------------------------------------


def _tests(door: Door, plan: Plan, live: Live, out: machine.Outcome, run: Run) -> Told:
    """The tests that the plan has are done anew; what it lacks keeps the search open."""
    cause = live.search.cause or ""
    repair = door.guide.repairs[door.guide.causes[cause].repair]
    here = {step.pack for step in plan.steps}
    due: list[str] = []
    for ref in live.search.retests:
        stands_in = ref.partition(":")[0] not in here and AFTER_REPAIR in here
        due.append(AFTER_REPAIR if stands_in else ref)
    whole = {ref for ref in due if ":" not in ref}
    refs = tuple(r for r in dict.fromkeys(due) if ":" not in r or r.partition(":")[0] not in whole)
    lacking = tuple(ref for ref in refs if ref.partition(":")[0] not in here)
    effects = [
        e.model_copy(update={"refs": refs}) if isinstance(e, fx.RetestNow) else e
        for e in out.effects
    ]
    if lacking:
        effects.append(fx.NotInPlan(refs=lacking))
    alone = repair.setting and run.answers.get(ANYTHING) != PARTS
    answers = {ANYTHING: SETTING if alone else PARTS} | dict.fromkeys(repair.changed, CHANGED)
    changed = said.Changed(again=refs, answers=answers, shut=repair.setting)
    search = replace(live.search, retests=refs)
    return Told(replace(live, search=search, front=False), tuple(effects), (changed,))


def _retested(door: Door, plan: Plan, live: Live, run: Run) -> Told:
    """Tests that the steps have settled since the repair."""
    told = Told(live)
    if live.search.phase != "retest" or not live.redone:
        return told
    for ref in live.search.retests:
        steps = [s for s in plan.steps if guided.belongs(s, ref) and gates.applies(plan, run, s)]
        if not steps or not all(step.id in run.marks for step in steps):
            continue
        ids = {step.id for step in steps}
        passed = not any(point.step in ids for point in run.open_points)
        here = told.live
        if not passed and ref in here.failed:
            continue
        out = machine.advance(door, here.search, inputs.Retested(ref=ref, passed=passed))
        failed = here.failed if passed else (*here.failed, ref)
        effects = tuple(e for e in out.effects if not isinstance(e, fx.RetestNow))
        told = _then(told, Told(replace(here, search=out.search, failed=failed), effects))
    return told
