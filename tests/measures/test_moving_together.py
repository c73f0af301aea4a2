"""What moves together within people: outside references, invariances, refusals, rates."""

import numpy as np
import pandas as pd
import pingouin
import pytest
import statsmodels.formula.api as smf
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.measures import moving_together


def scores(seed, people=10, tests=4, gone=0.0):
    """Two scores that rise with practice and share something beside it."""
    rng = np.random.default_rng(seed)
    shared = rng.normal(size=(people, tests))
    first = shared + rng.normal(size=(people, tests)) + np.arange(tests)
    second = shared + rng.normal(size=(people, tests)) + 2 * np.arange(tests)
    first[rng.random((people, tests)) < gone] = np.nan
    return first, second


def long(first, second, groups=None):
    people, tests = first.shape
    frame = pd.DataFrame(
        {
            "x": first.ravel(),
            "y": second.ravel(),
            "who": np.repeat(np.arange(people), tests),
            "test": np.tile(np.arange(tests), people),
            "group": np.repeat(np.zeros(people) if groups is None else groups, tests),
        }
    ).dropna()
    return frame[frame.groupby("who")["x"].transform("size") >= 2]


@pytest.mark.parametrize("gone", [0.0, 0.2])
def test_as_they_stand_it_is_the_repeated_measures_correlation(gone):
    # Reference: pingouin.rm_corr, after Bakdash & Marusich (2017).
    first, second = scores(1, gone=gone)
    found = moving_together(first, second)
    wanted = pingouin.rm_corr(long(first, second), x="x", y="y", subject="who").iloc[0]
    assert np.isclose(found.r_within, wanted["r"], atol=1e-9)


@pytest.mark.parametrize("gone", [0.0, 0.2])
@pytest.mark.parametrize("groups", [None, np.arange(10) % 2])
def test_apart_from_the_course_it_is_the_partial_correlation(gone, groups):
    # Reference: residuals of both scores on people and tests (of groups), by statsmodels.
    first, second = scores(2, gone=gone)
    rows = long(first, second, groups)
    means = "C(who) + C(test)" if groups is None else "C(who) + C(test):C(group)"
    left = [smf.ols(f"{name} ~ {means}", rows).fit().resid for name in "xy"]
    found = moving_together(first, second, strata=groups)
    assert np.isclose(found.r, np.corrcoef(*left)[0, 1], atol=1e-6)


def test_with_two_tests_it_is_the_correlation_of_the_changes():
    first, second = scores(3, tests=2)
    change = np.diff(first).ravel(), np.diff(second).ravel()
    assert np.isclose(moving_together(first, second).r, stats.pearsonr(*change)[0])


def test_the_p_value_is_that_of_all_permutations():
    # Six people have 720 orders; all of them give the exact p.
    first, second = scores(4, people=6, tests=2)
    x, y = (np.diff(s).ravel() - np.diff(s).mean() for s in (first, second))
    wanted = stats.permutation_test(
        (x,), lambda x: abs((x * y).sum()), permutation_type="pairings", alternative="greater"
    ).pvalue
    assert abs(moving_together(first, second, simulations=20_000).p - wanted) < 0.015


def test_units_origins_and_the_order_of_people_change_nothing():
    first, second = scores(5, gone=0.1)
    a = moving_together(first, second)
    b = moving_together(7 - 3 * first[::-1], 100 + second[::-1])
    assert np.allclose([a.r_within, a.r, a.conf_low], [-b.r_within, -b.r, -b.conf_high])


def test_too_few_people_and_a_score_without_change_are_refused():
    first, second = scores(6)
    with pytest.raises(InputError, match="too few people"):
        moving_together(first[:5], second[:5])
    with pytest.raises(InputError, match="does not vary"):
        moving_together(np.tile(first[:, :1], 4), second)
