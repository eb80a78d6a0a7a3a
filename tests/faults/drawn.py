"""Cases drawn from the guide's own tables, noise included: is it as often right as it is sure?"""

from __future__ import annotations

import random

from assistant.faults import effects as fx
from assistant.faults import inputs, machine
from assistant.faults.bayes import likelihood
from tests.faults.cases import _doors, door_for, said


def draw(count: int, seed: int) -> list[tuple[float, bool]]:
    """(chance, right) of each first cause that was named as sure, over `count` drawn cases.

    Door and symptom are drawn evenly, the cause from the prior at that door ("none of these" may be
    drawn too), each answer from the likelihoods of that cause.
    """
    rng = random.Random(seed)
    named: list[tuple[float, bool]] = []
    for _ in range(count):
        door = door_for(rng.choice(sorted(_doors())))
        symptom = rng.choice(door.symptoms())
        prior = door.prior(symptom)
        cause = rng.choices(list(prior), list(prior.values()))[0]
        out = machine.advance(door, machine.start(), inputs.Seen(words=symptom.id))
        out = machine.advance(door, out.search, inputs.Safe())
        while isinstance(last := out.effects[-1], fx.NeedsEnergy | fx.AskCheck):
            if isinstance(last, fx.NeedsEnergy):
                out = machine.advance(door, out.search, inputs.EnergyIs(state=last.state))
                continue
            check = door.guide.checks[last.check]
            weights = [likelihood(check, cause, o, door.guide.wrong) for o in check.outcomes]
            found = rng.choices(check.outcomes, weights)[0]
            out = machine.advance(door, out.search, said(door.checks[last.check], found))
        if isinstance(last, fx.Named) and last.sure:
            named.append((last.chance, last.cause == cause))
    return named
