"""Likelihoods, posteriors and what a question is worth: plain Bayes over a guide's tables.

With causes c, their prior P(c) and answers o1, o2, ... to different checks,

    P(c | o1, o2, ...)  =  P(c) P(o1 | c) P(o2 | c) ... / sum of the same over all causes.

Answers to different checks are taken as independent once the cause is known, and one cause is
taken to be at work. Neither is quite true at a door; the noise floor and the cause "none of
these" keep both from ruling anything out for good.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import exp, log, log2

from assistant.faults.model import Check

UNLISTED = "unlisted"  # none of the guide's causes


def likelihood(check: Check, cause: str, outcome: str, wrong: float) -> float:
    """P(outcome | cause) of a check's answer, with the noise floor.

    Parameters
    ----------
    check : Check
        Its table gives p; what a row leaves open is spread evenly over the outcomes it doesn't
        name; a cause without a row has the row `sound`.
    cause : str
        A cause's id, or UNLISTED, of which nothing is known: every outcome is as likely.
    outcome : str
        One of `check.outcomes`.
    wrong : float
        Share of answers that are wrong, e; `check.wrong` goes before it.

    Returns
    -------
    float
        (1 - e) p + e / k with k outcomes: never 0, so no cause is ever ruled out for good.
    """
    count = len(check.outcomes)
    if cause == UNLISTED:
        return 1 / count
    row = check.tells.get(cause, check.sound)
    if outcome in row:
        chance = row[outcome]
    else:
        chance = max(0.0, 1 - sum(row.values())) / (count - len(row))
    noise = wrong if check.wrong is None else check.wrong
    return (1 - noise) * chance + noise / count


def posterior(
    prior: Mapping[str, float], evidence: Iterable[Mapping[str, float]]
) -> dict[str, float]:
    """Probabilities of the causes after some evidence; they sum to 1.

    Parameters
    ----------
    prior : mapping
        Cause -> weight above 0; needn't sum to 1.
    evidence : iterable of mappings
        Each: cause -> likelihood of what was found; a cause that isn't named counts as 1.
    """
    logs = {cause: log(weight) for cause, weight in prior.items()}
    for each in evidence:
        for cause in logs:
            logs[cause] += log(each.get(cause, 1.0))
    top = max(logs.values())
    weights = {cause: exp(value - top) for cause, value in logs.items()}
    total = sum(weights.values())
    return {cause: weight / total for cause, weight in weights.items()}


def entropy(chances: Iterable[float]) -> float:
    """Shannon entropy. [bit]"""
    return -sum(chance * log2(chance) for chance in chances if chance > 0)


def expected_information(check: Check, chances: Mapping[str, float], wrong: float) -> float:
    """What an answer to a check will tell of the cause, on average. [bit]

    The mutual information of cause and outcome: entropy now less the mean entropy afterwards,

        I = H(C) - sum over outcomes o of P(o) H(C | o).
    """
    before = entropy(chances.values())
    after = 0.0
    for outcome in check.outcomes:
        joint = {
            cause: chance * likelihood(check, cause, outcome, wrong)
            for cause, chance in chances.items()
        }
        total = sum(joint.values())
        after += total * entropy(value / total for value in joint.values())
    return max(0.0, before - after)


def weight_of_evidence(
    cause: str, found: Mapping[str, float], chances: Mapping[str, float]
) -> float:
    """How much a finding speaks for a cause against all others together. [bit]

    log2 of P(found | cause) / P(found | not the cause), the others weighted by `chances`.
    """
    others = {each: chance for each, chance in chances.items() if each != cause}
    total = sum(others.values())
    if not total:
        return 0.0
    against = sum(chance * found.get(each, 1.0) for each, chance in others.items()) / total
    return log2(found.get(cause, 1.0) / against)
