"""Which check comes next: what it tells per minute and per risk, danger first, gates kept."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from assistant.faults.bayes import UNLISTED, expected_information, likelihood
from assistant.faults.door import Door
from assistant.faults.model import Check, Need, Symptom
from assistant.procedure import energy
from assistant.procedure.model import EnergyState

TELLING = 4  # likelihood ratio from which a check counts as looking at a cause
MOVES = 1  # the risk of a check at which the door moves
LEAST_BITS = 0.01  # a check that tells less isn't worth climbing the ladder for


@dataclass(frozen=True)
class Proposal:
    """A check that should come next. change: it needs another energy state than the present."""

    check: str
    bits: float
    cost_min: float
    change: bool
    for_danger: bool


def may_enter(check: Check, state: EnergyState, shut: bool = False) -> bool:
    """True if the ledger's state lets a check be entered.

    "unknown" is from outside with everything taken as live, so it holds in every state, except
    that a look at a light tells nothing while the panel is dead. At a panel that was found live and
    is `shut` until its isolation nobody measures at live parts.
    """
    if shut and check.live:
        return False
    if check.needs == "unknown":
        return not check.powered or state in ("unknown", "energised")
    return energy.satisfies(state, check.needs)


def state_for(check: Check, shut: bool = False) -> Need:
    """The energy state that a check wants when it can't be entered in the present one."""
    if shut and check.live:
        return "proven-dead"  # the way to an open live panel leads through the isolation
    return "energised" if check.needs == "unknown" else check.needs


def cost_min(door: Door, check: Check, state: EnergyState, shut: bool = False) -> float:
    """What a check costs: minutes, raised by its risk.

        cost = (check + asking + change of energy state) * (1 + w * risk)

    in minutes; w is `guide.costs.risk_weight`, risk 0 to 4 as in `Check`, and the change counts
    nothing where the ledger already allows the check.
    """
    costs = door.guide.costs
    change = 0.0 if may_enter(check, state, shut) else costs.to[state_for(check, shut)]
    if shut and check.live:
        change += costs.to["energised"]  # and back
    return (check.minutes + costs.asking + change) * (1 + costs.risk_weight * check.risk)


def looks_at(check: Check, cause: str, wrong: float) -> bool:
    """True if a check really looks at a cause.

    Somebody goes and looks (no hearsay), and one of its outcomes is at least `TELLING` times as
    likely with the cause as on a sound door.
    """
    if check.hearsay or cause not in check.tells:
        return False
    return any(
        likelihood(check, cause, each, wrong) >= TELLING * likelihood(check, "", each, wrong)
        for each in check.outcomes
    )


def unseen_dangers(
    door: Door, chances: Mapping[str, float], answered: Collection[str]
) -> tuple[str, ...]:
    """Causes that endanger people and that no answered check has looked at, in order."""
    guide = door.guide
    checks = [guide.checks[name] for name in answered]
    return tuple(
        cause
        for cause in chances
        if cause != UNLISTED
        and guide.causes[cause].danger
        and not any(looks_at(check, cause, guide.wrong) for check in checks)
    )


def next_check(
    door: Door,
    symptom: Symptom,
    chances: Mapping[str, float],
    state: EnergyState,
    answered: Collection[str] = (),
    passed: Collection[str] = (),
    later: Collection[str] = (),
    shut: bool = False,
) -> Proposal | None:
    """The check to propose, or None if none tells anything that matters.

    Ordinarily the check with the largest ratio

        expected information about the cause [bit] / cost [min]

    with `bayes.expected_information` over `cost_min`. While a cause that endangers people has not
    been looked at, only checks that look at one (`looks_at`) are in question, whatever its
    likelihood: the same ratio then counts such causes, together, as likely as all others together.
    Where the door must keep still (`Symptom.still`), no check runs it, and live ones come last.

    Parameters
    ----------
    door, symptom, chances
        The guide here, what is seen, and cause -> probability now.
    state : EnergyState
        The ledger's; a check in another state carries the minutes of the change.
    shut : bool
        The panel was found live and stays shut until its isolation.
    answered, passed, later : collection of str
        Checks with an answer; checks that couldn't be done or weren't known; checks put off.
    """
    done = {*answered, *passed, *later}
    left = [check for check in door.checks_for(symptom, chances) if check.id not in done]
    dangers = unseen_dangers(door, chances, answered)
    wrong = door.guide.wrong
    about = [check for check in left if any(looks_at(check, each, wrong) for each in dangers)]
    even = _as_likely_as_not(chances, dangers)
    for checks, weights, danger in ((about, even, True), (left, chances, False)):
        for some in _calm_first(checks) if symptom.still else (checks,):
            if best := _best(door, some, weights, state, shut, danger=danger):
                return best
    return None


def _calm_first(checks: list[Check]) -> tuple[list[Check], list[Check]]:
    """Those at a door without power, then those at a live one that doesn't move."""
    live = [check for check in checks if check.needs == "energised"]
    calm = [check for check in checks if check not in live]
    return calm, [check for check in live if check.risk != MOVES]


def _as_likely_as_not(chances: Mapping[str, float], some: Collection[str]) -> dict[str, float]:
    """`chances` with half of the whole on `some`, evenly, and the other half on the rest."""
    rest = sum(chance for cause, chance in chances.items() if cause not in some)
    if not rest:
        return dict(chances)
    return {
        cause: 0.5 / len(some) if cause in some else chance / rest / 2
        for cause, chance in chances.items()
    }


def _best(
    door: Door,
    checks: list[Check],
    chances: Mapping[str, float],
    state: EnergyState,
    shut: bool,
    *,
    danger: bool,
) -> Proposal | None:
    best: tuple[float, Proposal] | None = None
    for check in checks:
        bits = expected_information(check, chances, door.guide.wrong)
        if bits < LEAST_BITS:
            continue
        cost = cost_min(door, check, state, shut)
        if best is None or bits / cost > best[0]:
            change = not may_enter(check, state, shut)
            best = (bits / cost, Proposal(check.id, bits, cost, change, danger))
    return best[1] if best else None
