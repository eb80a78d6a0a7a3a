"""May this step be entered, and may this gate open, in this state? Pure questions, no moves."""

from __future__ import annotations

from assistant.procedure import energy
from assistant.procedure.conditions import holds
from assistant.procedure.model import Plan, Step
from assistant.procedure.run import Run


def applies(plan: Plan, run: Run, step: Step) -> bool:
    """True unless a condition leaves the step out; one that can't be judged yet leaves it out.

    Temporary grounds follow the ledger: asked for where they are due, and taken off where they are
    on, whatever was answered or done anew in between.
    """
    if step.proves == "grounds-on":
        return run.ledger.induced or run.ledger.left or run.ledger.grounds
    if step.proves == "grounds-off":
        return run.ledger.grounds
    return bool(holds(step.when, plan.job, run))


def grounding(plan: Plan) -> bool:
    """True if the plan has a step for temporary grounds; packs of before had none."""
    return any(step.proves == "grounds-on" for step in plan.steps)


def settled(plan: Plan, run: Run, step: Step) -> bool:
    """True if nothing is left to do for the step."""
    return step.id in run.marks or not applies(plan, run, step)


def ledger_move(step: Step) -> str | None:
    """Name of the ledger's move that the step's answer makes, or None."""
    if step.sets:
        return {
            "isolated": "disconnect-off",
            "locked": "try-start",
            "proven-dead": "lockout-confirmed",
            "released": "clear-to-energise",
            "energised": "power-on",
        }[step.sets.energy]
    return step.proves


def move_of(step: Step, answer: str) -> str:
    """Name of the ledger's move that an answer of a gate with a choice makes."""
    first = next(iter(step.expects.choice or ()), answer)
    return ledger_move(step) or "" if answer == first else "source-found"


def may_enter(run: Run, step: Step) -> tuple[str, ...]:
    """Codes of what is missing before the step may be entered; () if it may.

    A step with a need looks at the ledger's state and at nothing else, so no mark, jump,
    replay or device can stand in for the proof.
    """
    if step.proves == "lock-off" and run.ledger.releasing:
        return ()  # the first lock taken off ended the proof; the others follow
    if step.needs and not energy.satisfies(run.ledger.state, step.needs.energy):
        return (f"state:{step.needs.energy}",)
    return ()


def addressed(run: Run, step: Step) -> tuple[str, ...]:
    """The roles that may answer a step; for a lock it is the person whose lock it is."""
    if step.proves == "lock":
        return (run.ledger.next_without_lock() or "lead",)
    if step.proves == "lock-off":
        return run.ledger.people
    roles = ("lead", "helper") if step.who == "both" else (step.who,)
    here = tuple(role for role in roles if role in run.ledger.people)
    return here or ("lead",)


def may_answer(run: Run, step: Step, who: str) -> tuple[str, ...]:
    """Codes of why `who` may not answer the step; () if it may.

    Each person answers on their own device; one without a device takes a turn at the lead's.
    """
    roles = addressed(run, step)
    if who in roles or who == "system":
        return ()
    if who == "lead" and not any(role in run.devices | run.lost for role in roles):
        return ()
    return (f"answer-from:{roles[0]}",)


def lost_for(run: Run, step: Step) -> tuple[str, ...]:
    """Codes of the devices that a step needs and that have dropped."""
    return tuple(f"device-lost:{role}" for role in addressed(run, step) if role in run.lost)


def not_clear(run: Run, step: Step) -> tuple[str, ...]:
    """Codes of who still has to say all clear before the step's mark."""
    if not step.mark or run.marked:
        return ()
    return tuple(f"all-clear:{role}" for role in addressed(run, step) if role not in run.clear)


def without_device(run: Run, step: Step) -> tuple[str, ...]:
    """The roles that still owe a clear call and have no device of their own to give it at."""
    owed = [code.partition(":")[2] for code in not_clear(run, step)]
    if len(run.ledger.people) < 2:
        return ()
    return tuple(role for role in owed if role not in run.devices | run.lost)


def weighty(step: Step) -> bool:
    """True if much hangs on the answer: only AFFIRM takes it, a plain yes doesn't."""
    return step.gate or step.judged_by_choice or bool(step.limits and step.limits.safety)


def may_open(plan: Plan, run: Run, step: Step, at_s: float) -> tuple[str, ...]:
    """Codes of what is missing before a gate step's answer may be taken; () if it may."""
    move = ledger_move(step)
    if move is None:
        return ()
    missing = energy.missing_for(run.ledger, move, at_s)
    if move in ("lockout-confirmed", "lock-off", "clear-to-energise"):
        missing += unsettled_before(plan, run, step)
    if move in ("lock-off", "clear-to-energise"):
        missing += failed_safety(plan, run)
    return missing


def unsettled_before(plan: Plan, run: Run, step: Step) -> tuple[str, ...]:
    """The first step before `step` that is neither done nor an open point, as a code.

    Without this a jump could leave the finger guard off and still release the panel, or leave
    the list of sources unread and still put hands in (29 CFR 1910.147(d)(1)). Locks stay
    on until then too (29 CFR 1910.147(e)(1): inspected before anything is released).
    """
    for each in plan.steps[: plan.index(step.id)]:
        if not settled(plan, run, each):
            return (f"unsettled:{each.id}",)
    return ()


def failed_safety(plan: Plan, run: Run) -> tuple[str, ...]:
    """Safety readings that failed or were passed over: power stays off while there are any."""
    codes = []
    for step in plan.steps:
        if not (step.limits and step.limits.safety):
            continue
        if step.needs and step.needs.energy == "energised":
            continue  # it can only be measured again with the power on
        spec = step.expects.reading or step.expects.derived
        taken = run.readings.get(spec.name) if spec else None
        unable = run.marks.get(step.id) in ("unable", "passed-over")
        if spec and (unable or (taken and taken.verdict == "fail")):
            codes.append(f"failed:{spec.name}")
    return tuple(codes)


def offer_for(plan: Plan, run: Run, missing: tuple[str, ...], at: str | None) -> str:
    """Id of the step that supplies the first of `missing`, or "" if none does."""
    for code in missing:
        kind, _, what = code.partition(":")
        if kind == "unsettled":
            return what
        if kind == "failed":
            return next(
                (
                    s.id
                    for s in plan.steps
                    if (spec := s.expects.reading or s.expects.derived) and spec.name == what
                ),
                "",
            )
        for step in chain(plan, at):
            if step.id in run.marks and kind != "state":
                continue
            if _supplies(step, kind, what) and applies(plan, run, step):
                return step.id
    return ""


def _supplies(step: Step, kind: str, what: str) -> bool:
    if kind == "state":
        return bool(step.sets and step.sets.energy == what)
    if kind in ("dead", "restrained"):
        return step.proves == kind and step.id.endswith(f".{what}")
    wanted = {"wait": "stored-wait", "locks-on": "lock-off"}
    wanted |= {"grounds": "grounds-on", "grounds-on": "grounds-off"}
    if kind in wanted:
        return ledger_move(step) == wanted[kind]
    return ledger_move(step) == kind


def chain(plan: Plan, at: str | None) -> tuple[Step, ...]:
    """The steps from one way to power to the next that `at` belongs to.

    Such a way begins with an isolation (disconnect-off), or in front of it with the warning of
    a panel found in service.
    """
    moves = [ledger_move(step) for step in plan.steps]
    starts = [i for i, move in enumerate(moves) if move == "disconnect-off"]
    if starts and "clear-to-energise" in moves[: starts[0]]:
        starts.insert(0, 0)
    here = plan.index(at) if at else len(plan.steps) - 1
    first = max((i for i in starts if i <= here), default=starts[0] if starts else 0)
    last = min((i for i in starts if i > first), default=len(plan.steps))
    return plan.steps[first:last]
