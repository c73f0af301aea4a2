import numpy as np
import pytest
from scipy import stats

from motorlearn.compare import pooling_inflation
from motorlearn.linear import welch


def two_identical_groups(rng, people=15, attempts=20, spread=1.0):
    p = 1 / (1 + np.exp(-rng.normal(0, spread, 2 * people)))
    return rng.binomial(attempts, p).astype(float), np.repeat([0, 1], people)


def inflation(hits, attempts, codes):
    n = np.full(hits.size, float(attempts))
    return pooling_inflation(hits, hits * (1 - hits / n), n, codes)


def test_intraclass_correlation_of_continuous_trials_agrees_with_the_mean_squares():
    rng = np.random.default_rng(3)
    trials = rng.normal(0, 2, (40, 1)) + rng.normal(0, 3, (40, 8))
    codes = np.zeros(40, int)
    mean = trials.mean(axis=1)
    found = pooling_inflation(
        trials.sum(axis=1), ((trials - mean[:, None]) ** 2).sum(axis=1), np.full(40, 8.0), codes
    )
    msb, msw = 8 * mean.var(ddof=1), ((trials - mean[:, None]) ** 2).sum() / (40 * 7)
    assert found.icc == pytest.approx((msb - msw) / (msb + 7 * msw))
    assert found.design_effect == pytest.approx(1 + 7 * found.icc)


def test_one_trial_each_has_no_inflation_to_estimate():
    found = pooling_inflation(np.ones(4), np.zeros(4), np.ones(4), np.array([0, 0, 1, 1]))
    assert np.isnan(found.icc)


def test_people_who_are_all_alike_bring_no_inflation():
    rng = np.random.default_rng(1)
    found = [inflation(*two_identical_groups(rng, spread=0.0)[:1], 20, np.repeat([0, 1], 15))]
    assert found[0].design_effect < 2.0


@pytest.mark.slow
def test_pooled_trials_reject_a_true_null_five_times_too_often():
    """Two identical groups of 15, 20 attempts each, spread between people 0.7 logits."""
    rng, pooled, by_person, predicted = np.random.default_rng(2024), 0, 0, []
    for _ in range(4000):
        hits, codes = two_identical_groups(rng, spread=0.7)
        k = np.bincount(codes, hits)
        table = np.array([k, 300 - k])
        pooled += stats.chi2_contingency(table, correction=False).pvalue < 0.05
        by_person += welch(hits[codes == 0], hits[codes == 1]).p < 0.05
        predicted.append(inflation(hits, 20, codes).false_positives)
    assert 0.2 < pooled / 4000 < 0.3
    assert 0.04 < by_person / 4000 < 0.06
    # What the refusal announces is what happens.
    assert np.mean(predicted) == pytest.approx(pooled / 4000, abs=0.03)


def test_a_number_of_a_group_that_nobody_has_changes_nothing():
    hits, codes = two_identical_groups(np.random.default_rng(6))
    assert inflation(hits, 20, 2 * codes) == inflation(hits, 20, codes)
