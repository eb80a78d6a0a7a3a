"""Likelihoods, posteriors and information against a sum by hand and against numpy and scipy."""

import math

import numpy as np
import pytest
from scipy import stats

from assistant.faults.bayes import (
    UNLISTED,
    expected_information,
    likelihood,
    posterior,
    weight_of_evidence,
)
from tests.faults.cases import door_for, guide


def test_posterior_is_the_one_worked_out_by_hand():
    """Three causes, one answer, worked on paper.

    Weights 5, 3, 2 become 0.5, 0.3, 0.2. The answer is met with 0.9, 0.2, 0.1 of them:
    0.45, 0.06, 0.02, together 0.53. So 45/53, 6/53, 2/53.
    """
    found = posterior({"a": 5, "b": 3, "c": 2}, [{"a": 0.9, "b": 0.2, "c": 0.1}])
    assert found == pytest.approx({"a": 45 / 53, "b": 6 / 53, "c": 2 / 53})


def test_a_likelihood_is_the_one_worked_out_by_hand():
    """Check beam-own-light, three answers, floor 0.08: a row, its rest, `sound`, "none of these".

    beam-misaligned has flickers 0.6: 0.92 x 0.6 + 0.08 / 3 = 0.5787. beam-no-supply has dark 0.95
    and leaves 0.05 for two: 0.92 x 0.025 + 0.0267 = 0.0497. A cause without a row is sound: steady
    0.92: 0.92 x 0.92 + 0.0267 = 0.8731. Nothing is known of none of these: 1/3.
    """
    check = guide().checks["beam-own-light"]
    assert guide().wrong == 0.08
    assert likelihood(check, "beam-misaligned", "flickers", 0.08) == pytest.approx(0.5787, abs=5e-5)
    assert likelihood(check, "beam-no-supply", "steady", 0.08) == pytest.approx(0.0497, abs=5e-5)
    assert likelihood(check, "edge-signals", "steady", 0.08) == pytest.approx(0.8731, abs=5e-5)
    assert likelihood(check, UNLISTED, "dark", 0.08) == pytest.approx(1 / 3)


@pytest.mark.parametrize("name", sorted(guide().checks))
def test_likelihoods_of_a_check_sum_to_one_and_none_is_zero(name):
    """So that no answer, right or wrong, rules a cause out for good."""
    check = guide().checks[name]
    for cause in (*check.tells, "no-such-row", UNLISTED):
        row = [likelihood(check, cause, outcome, guide().wrong) for outcome in check.outcomes]
        assert sum(row) == pytest.approx(1)
        assert min(row) >= guide().wrong / len(row) * 0.999


@pytest.mark.parametrize("symptom", sorted(guide().symptoms))
def test_chances_agree_with_numpy(symptom):
    """Independent computation: matrices and plain multiplication instead of logarithms."""
    door = door_for("freezer")
    row = guide().symptoms[symptom]
    prior = door.prior(row)
    checks = door.checks_for(row, prior)[:6]
    answers = tuple(
        (check.id, check.outcomes[i % len(check.outcomes)]) for i, check in enumerate(checks)
    )
    causes = list(prior)
    weights = np.array([prior[cause] for cause in causes])
    for name, outcome in answers:
        weights = weights * [table(guide().checks[name], cause, outcome) for cause in causes]
    wanted = weights / weights.sum()
    found = door.chances(row, answers)
    np.testing.assert_allclose([found[cause] for cause in causes], wanted, rtol=1e-9)
    assert sum(found.values()) == pytest.approx(1)


def table(check, cause, outcome):
    """The likelihood once more, written as a full table with the noise mixed in as a matrix."""
    count = len(check.outcomes)
    if cause == UNLISTED:
        return 1 / count
    row = check.tells.get(cause, check.sound)
    full = np.array([row.get(each, np.nan) for each in check.outcomes], dtype=float)
    open_ = np.isnan(full)
    if open_.any():
        full[open_] = (1 - np.nansum(full)) / open_.sum()
    noise = (1 - guide().wrong) * np.eye(count) + guide().wrong / count * np.ones((count, count))
    return (full @ noise)[check.outcomes.index(outcome)]


@pytest.mark.parametrize("symptom", sorted(guide().symptoms))
def test_expected_information_is_the_mutual_information_of_cause_and_answer(symptom):
    """Independent computation: the Kullback-Leibler divergence of the joint table (scipy)."""
    door = door_for("street")
    row = guide().symptoms[symptom]
    chances = door.prior(row)
    for check in door.checks_for(row, chances):
        joint = np.array(
            [[p * table(check, cause, o) for o in check.outcomes] for cause, p in chances.items()]
        )
        apart = np.outer(joint.sum(axis=1), joint.sum(axis=0))
        wanted = stats.entropy(joint.ravel(), apart.ravel(), base=2)
        found = expected_information(check, chances, guide().wrong)
        assert found == pytest.approx(wanted, abs=1e-9)


def test_a_check_that_says_the_same_of_all_causes_is_worth_nothing():
    check = guide().checks["hold-open-switch"]
    assert expected_information(check, {"beam-blocked": 0.5, "edge-signals": 0.5}, 0.08) == 0


def test_the_weight_of_evidence_is_the_likelihood_ratio_in_bits():
    """Eight times as likely with the cause as without it is three bits (log2 of 8)."""
    chances = {"a": 0.2, "b": 0.5, "c": 0.3}
    assert weight_of_evidence("a", {"a": 0.8, "b": 0.1, "c": 0.1}, chances) == pytest.approx(3)


def test_many_answers_do_not_run_out_of_numbers():
    """A thousand answers multiply to less than the smallest float; logarithms don't mind."""
    found = posterior({"a": 1, "b": 1}, [{"a": 1e-3, "b": 2e-3}] * 1000)
    assert found["b"] == pytest.approx(1)
    assert math.isfinite(found["a"])
