"""What stays ours, against the library that also computes it, and why it stays."""

import warnings

import numpy as np
import pandas as pd
import pingouin
import pytest
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.weightstats import ttost_ind, ttost_paired

from motorlearn.linear import equivalence_of_means, repeated_anova
from motorlearn.measures import (
    clopper_pearson_interval,
    hedges_g,
    newcombe_difference,
    small_sample_factor,
    wilson_interval,
)

SETS = 200


def test_equivalence_is_that_of_statsmodels():
    # Ours stays: statsmodels takes raw samples only, and the same verdict is needed for adjusted
    # means, contrasts of mixed models and published summaries.
    for seed in range(SETS):
        rng = np.random.default_rng(seed)
        a, b = (rng.normal(0, rng.uniform(0.5, 4), rng.integers(3, 30)) for _ in range(2))
        p, low, high = ttost_ind(a, b, -1.0, 1.5, usevar="unequal")
        ours = equivalence_of_means(a, b, bound=(-1.0, 1.5))
        assert (ours.p, ours.t_low, ours.t_high) == pytest.approx((p, low[0], high[0]), rel=1e-9)
        c = rng.normal(a, 1.0)
        p, low, high = ttost_paired(a, c, -0.8, 0.8)
        ours = equivalence_of_means(a, c, bound=0.8, paired=True)
        assert (ours.p, ours.t_low, ours.t_high) == pytest.approx((p, low[0], high[0]), rel=1e-9)


def long(scores):
    people, cells = scores.shape
    return pd.DataFrame(
        {
            "who": np.repeat(np.arange(people), cells),
            "test": np.tile(np.arange(cells), people),
            "score": scores.ravel(),
        }
    )


def test_repeated_measures_and_epsilon_are_those_of_pingouin():
    for seed in range(30):
        rng = np.random.default_rng(seed)
        scores = rng.normal(size=(int(rng.integers(6, 25)), int(rng.integers(3, 6))))
        scores = scores @ rng.normal(size=(scores.shape[1],) * 2)
        (ours,) = repeated_anova(scores, within=[("test", scores.shape[1])])
        theirs = pingouin.rm_anova(
            long(scores), dv="score", within="test", subject="who", correction=True
        ).iloc[0]
        assert ours.test.statistic == pytest.approx(theirs["F"], rel=1e-9)
        assert ours.p_gg == pytest.approx(theirs["p_GG_corr"], rel=1e-8)
        assert ours.sphericity.epsilon_gg == pytest.approx(theirs["eps"], rel=1e-9)
        wide = pd.DataFrame(scores)
        hf = pingouin.epsilon(wide, correction="hf")
        assert ours.sphericity.epsilon_hf == pytest.approx(hf, rel=1e-9)
        assert ours.sphericity.mauchly_w == pytest.approx(pingouin.sphericity(wide).W, rel=1e-8)


def test_a_mixed_analysis_of_unequal_groups_is_not_that_of_pingouin():
    # Ours stays: type III by contrast scores. With unequal groups pingouin's F of the within factor
    # is another one (its sums of squares are sequential), and people with a gap are dropped unsaid.
    rng = np.random.default_rng(4)
    scores = (
        rng.normal(size=(16, 3)) + np.arange(3) * np.where(np.arange(16) < 4, 2.0, 0.0)[:, None]
    )
    group = (np.arange(16) >= 4).astype(int)
    frame = long(scores).assign(group=np.repeat(group, 3))
    theirs = pingouin.mixed_anova(
        frame, dv="score", within="test", between="group", subject="who"
    ).set_index("Source")
    ours = {row.term: row for row in repeated_anova(scores, group, within=[("test", 3)])}
    assert ours["group:test"].test.statistic == pytest.approx(
        theirs.loc["Interaction", "F"], rel=1e-6
    )
    assert abs(ours["test"].test.statistic / theirs.loc["test", "F"] - 1) > 0.05
    # The same by hand: contrast scores on sum-coded groups, the intercept tested.
    basis = np.array([[-1, 0, 1], [1, -2, 1]]).T / np.sqrt([2.0, 6.0])
    z = scores @ basis
    means = np.stack([z[group == g].mean(axis=0) for g in (0, 1)])
    sizes = np.bincount(group)
    error = sum(((z[group == g] - means[g]) ** 2).sum() for g in (0, 1)) / (2 * 14)
    f = (means.mean(axis=0) ** 2).sum() / 2 / (0.25 * (1 / sizes).sum()) / error
    assert ours["test"].test.statistic == pytest.approx(f, rel=1e-9)
    gap = frame.drop(index=0)
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        fewer = pingouin.mixed_anova(gap, dv="score", within="test", between="group", subject="who")
    assert all(issubclass(word.category, DeprecationWarning) for word in said)  # of pandas
    assert fewer["DF2"].max() < theirs["DF2"].max()


def test_hedges_g_is_that_of_pingouin():
    # Ours stays: pingouin gives g without the interval by the noncentral t, and costs as much to
    # load as four times pandas.
    for seed in range(SETS):
        rng = np.random.default_rng(seed)
        a, b = rng.normal(0, 1, rng.integers(3, 30)), rng.normal(0.4, 1.3, rng.integers(3, 30))
        ours = hedges_g((a.mean(), b.mean()), (a.std(ddof=1), b.std(ddof=1)), (len(a), len(b)))
        theirs = pingouin.compute_effsize(a, b, eftype="hedges")
        df = len(a) + len(b) - 2
        rough = 1 - 3 / (4 * df - 1)  # its factor; ours is exact
        assert ours.g == pytest.approx(theirs / rough * small_sample_factor(df), rel=1e-9)


def test_intervals_of_hit_rates_are_the_closed_formulas():
    # Delegated to statsmodels; Wilson (1927) and Newcombe (1998) written out here.
    z = 1.959963984540054
    for seed in range(SETS):
        rng = np.random.default_rng(seed)
        n = rng.integers(1, 60, 2)
        k = rng.binomial(n, rng.uniform(0, 1))
        p = k / n
        half = z * np.sqrt(p * (1 - p) / n + z**2 / (4 * n**2))
        low, high = ((p + z**2 / (2 * n) + sign * half) / (1 + z**2 / n) for sign in (-1, 1))
        np.testing.assert_allclose(wilson_interval(k, n), (low, high), atol=1e-14)
        difference, down, up = newcombe_difference(tuple(k), tuple(n))
        assert difference == pytest.approx(p[0] - p[1], abs=1e-15)
        assert down == pytest.approx(
            difference - np.hypot(p[0] - low[0], high[1] - p[1]), abs=1e-12
        )
        assert up == pytest.approx(difference + np.hypot(high[0] - p[0], p[1] - low[1]), abs=1e-12)
        exact = proportion_confint(k, n, method="beta")
        np.testing.assert_allclose(clopper_pearson_interval(k, n), exact, atol=1e-14)


def test_the_library_alone_would_warn_where_nobody_tried():
    with pytest.warns(RuntimeWarning):
        proportion_confint(np.array([0, 3]), np.array([0, 20]), method="wilson")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        low, high = wilson_interval([0, 3], [0, 20])
        assert np.isnan([low[0], high[0]]).all()
        assert np.isnan(newcombe_difference((0, 3), (0, 20))).all()
