"""Small parts of mixed models by hand: slopes of links, ties, quantiles, degrees of freedom."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.mixed import predictive
from motorlearn.mixed.inference import hypotheses, intervals
from motorlearn.mixed.inference.degrees_of_freedom import kenward_roger_scale
from motorlearn.mixed.solve.links import INVERSE_LINKS, bends


@pytest.fixture(scope="module")
def table():
    rng = np.random.default_rng(5)
    rows = pd.DataFrame(
        {"participant": np.repeat(np.arange(7), 6), "group": np.tile(list("abc"), 14)}
    )
    rows["error"] = 20 + rng.normal(0, 2, 7)[rows["participant"]] + rng.normal(0, 1, len(rows))
    return rows


@pytest.fixture(scope="module")
def fit(table):
    return ml.fit_mixed("error ~ group", table, random={"participant": "1"}, df="kenward-roger")


@pytest.mark.parametrize("link", ["logit", "probit", "cloglog"])
def test_three_slopes_of_a_probability_are_those_of_differences(link):
    eta, step = np.linspace(-2.5, 1.2, 9), 1e-3
    inverse = INVERSE_LINKS[link]
    first, second, third = bends(link, eta)
    assert first == pytest.approx((inverse(eta + step) - inverse(eta - step)) / 2e-3, rel=1e-5)
    for higher, lower in ((second, 0), (third, 1)):
        above, below = bends(link, eta + step)[lower], bends(link, eta - step)[lower]
        assert higher == pytest.approx((above - below) / 2e-3, rel=1e-4, abs=1e-6)


def test_a_bootstrap_statistic_that_ties_counts_against_the_null(monkeypatch, table):
    fits = [
        ml.fit_mixed(formula, table, random={"participant": "1"}, reml=False)
        for formula in ("error ~ 1", "error ~ group")
    ]
    plain = hypotheses.likelihood_ratio(*fits)
    drawn = np.array([plain.statistic, 0.0, plain.statistic + 1, 0.0])
    monkeypatch.setattr(hypotheses, "_simulated_ratios", lambda *_: (drawn, 0))
    found = hypotheses.likelihood_ratio(*fits, simulations=4, seed=1)
    assert found.p_bootstrap == pytest.approx(3 / 5)


def test_people_less_one_widen_what_is_predicted(fit, table):
    asked = []

    def chisquare(df, size):
        asked.append(df)
        return np.full(size, float(df))

    def standard_normal(size):
        return np.zeros(size)

    rng = SimpleNamespace(chisquare=chisquare, standard_normal=standard_normal)
    assert not predictive._away(fit, table, 3, rng).any()
    assert asked == [6]


def test_degrees_of_freedom_grow_by_the_share_of_the_variance_that_is_known(fit):
    # Where so much of the covariance of every contrast is known, the rest alone is estimated.
    contrasts = np.eye(3)[1:]
    plain = fit.inference
    known = replace(plain, known_vcov=0.4 * plain.working_vcov)
    _, df = kenward_roger_scale(contrasts, plain)
    _, more = kenward_roger_scale(contrasts, known)
    assert more == pytest.approx(df / 0.6)


def test_limits_of_a_bootstrap_leave_half_of_the_rest_on_either_side(monkeypatch, fit):
    def refitted(fit, draws):
        return SimpleNamespace(beta=np.zeros((101, 3))), 0

    def values(found):
        return np.tile(np.arange(101.0)[:, None], 5)

    monkeypatch.setattr(intervals, "refit_many", refitted)
    monkeypatch.setattr(intervals, "_values", values)
    monkeypatch.setattr(intervals, "AT_ONCE", 101)
    found = intervals.bootstrap_intervals(fit, simulations=101, seed=1, level=0.9)
    assert found["conf_low"].to_numpy() == pytest.approx(np.full(5, 5.0))
    assert found["conf_high"].to_numpy() == pytest.approx(np.full(5, 95.0))
