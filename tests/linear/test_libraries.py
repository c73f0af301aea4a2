"""What statsmodels computes for us, against formulas written out here: 200 random data sets."""

import gc

import numpy as np
import pytest
from scipy import linalg, stats
from statsmodels.stats.multitest import multipletests

from motorlearn.linear import (
    fit_least_squares,
    holm,
    joint_test,
    welch,
    welch_one_way,
)

SETS = 200


def data_set(seed):
    rng = np.random.default_rng(seed)
    n, p = int(rng.integers(8, 60)), int(rng.integers(1, 5))
    x = np.column_stack([np.ones(n), rng.normal(size=(n, p)) * 10.0 ** rng.integers(-3, 4, p)])
    y = rng.normal(size=n) * rng.uniform(0.1, 20) + 10.0 ** rng.integers(0, 5)
    return x, y, rng


def by_hand(x, y):
    """Least squares by QR with one step of refinement, and its covariances, as in textbooks."""
    q, r = np.linalg.qr(x)
    b = linalg.solve_triangular(r, q.T @ y)
    b = b + linalg.solve_triangular(r, q.T @ (y - x @ b))
    inverse = linalg.solve_triangular(r, np.eye(x.shape[1]))
    unscaled = inverse @ inverse.T
    e = y - x @ b
    h = np.einsum("ij,jk,ik->i", x, unscaled, x)
    weighted = x * (e / (1 - h))[:, None]
    variance = e @ e / (len(y) - x.shape[1])
    return b, variance * unscaled, unscaled @ (weighted.T @ weighted) @ unscaled, h


def test_least_squares_and_both_covariances():
    for seed in range(SETS):
        x, y, _ = data_set(seed)
        fit, (b, ordinary, robust, leverage) = fit_least_squares(x, y), by_hand(x, y)
        unit = np.sqrt(np.diag(ordinary))
        np.testing.assert_allclose((fit.coefficients - b) / unit, 0, atol=1e-8)
        np.testing.assert_allclose(fit.covariance() / np.outer(unit, unit),
                                   ordinary / np.outer(unit, unit), atol=1e-8)  # fmt: skip
        np.testing.assert_allclose(fit.covariance("HC3") / np.outer(unit, unit),
                                   robust / np.outer(unit, unit), rtol=1e-7, atol=1e-8)  # fmt: skip
        np.testing.assert_allclose(fit.leverage, leverage, atol=1e-9)
        scale = np.abs(y).max()
        np.testing.assert_allclose(fit.fitted / scale, x @ b / scale, atol=1e-9)
        np.testing.assert_allclose((fit.fitted + fit.residuals) / scale, y / scale, atol=1e-12)


@pytest.mark.parametrize("kind", ["ordinary", "HC3"])
def test_joint_tests(kind):
    # Ours: the F test of statsmodels inverts by a pseudo-inverse and differs by 1e-5 of F where
    # columns differ a million times in scale.
    for seed in range(SETS):
        x, y, _ = data_set(seed)
        fit, (b, *spreads, _) = fit_least_squares(x, y), by_hand(x, y)
        spread = spreads[kind == "HC3"]
        for rows in (np.eye(len(b))[1:], np.eye(len(b))):
            wald = (rows @ b) @ np.linalg.solve(rows @ spread @ rows.T, rows @ b) / len(rows)
            assert joint_test(fit, rows, covariance=kind).statistic == pytest.approx(wald, rel=1e-6)


def test_holm_is_that_of_statsmodels(monkeypatch):
    # Ours stays: the library took 30 ms a call where this one takes some microseconds, and
    # simulations adjust thousands of families. It collects garbage at each call, .4 s in a suite.
    monkeypatch.setattr(gc, "collect", lambda: 0)
    for seed in range(30):
        p = np.random.default_rng(seed).uniform(size=seed % 9 + 1) ** 3
        np.testing.assert_allclose(holm(p), multipletests(p, method="holm")[1], rtol=1e-13)
    assert np.isnan(holm([np.nan, 0.02])).tolist() == [True, False]
    assert np.isnan(holm([np.nan])).all()


def test_welch_of_several_means():
    for seed in range(SETS):
        rng = np.random.default_rng(seed)
        samples = [
            rng.normal(0, rng.uniform(0.1, 9), rng.integers(3, 30)) for _ in range(2 + seed % 4)
        ]
        k, n = len(samples), np.array([len(x) for x in samples])
        w = n / np.array([np.var(x, ddof=1) for x in samples])
        means = np.array([x.mean() for x in samples])
        doubt = np.sum((1 - w / w.sum()) ** 2 / (n - 1))
        f = (w @ (means - w @ means / w.sum()) ** 2 / (k - 1)) / (
            1 + 2 * (k - 2) / (k**2 - 1) * doubt
        )
        df = (k**2 - 1) / (3 * doubt)
        found = welch_one_way(samples)
        assert found.statistic == pytest.approx(f, rel=1e-9)
        assert found.df2 == pytest.approx(df, rel=1e-10)
        assert found.p == pytest.approx(stats.f.sf(f, k - 1, df), rel=1e-8)


def test_welch_of_two_means_is_that_of_scipy():
    for seed in range(SETS):
        rng = np.random.default_rng(seed)
        a, b = (rng.normal(0, rng.uniform(0.1, 9), rng.integers(2, 30)) for _ in range(2))
        ours, theirs = welch(a, b), stats.ttest_ind(a, b, equal_var=False)
        assert ours.statistic == pytest.approx(theirs.statistic, rel=1e-10)
        assert (ours.df, ours.p) == pytest.approx((theirs.df, theirs.pvalue), rel=1e-10)
        low, high = theirs.confidence_interval()
        assert (ours.conf_low, ours.conf_high) == pytest.approx((low, high), rel=1e-9)
