"""The likelihood of a population against exact integrals, at our maximum and at that of nlme."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

import motorlearn as ml

REFERENCE = Path(__file__).parents[1] / "reference/population_nlme"


def exact(table, cells, covariance, sigma):
    """Log-likelihood by one adaptive integral over the log rate of each learner."""
    spread = np.sqrt(covariance[2, 2])
    lean = covariance[:2, 2] / covariance[2, 2]
    rest = covariance[:2, :2] - np.outer(lean, lean) * covariance[2, 2]
    total = 0.0
    for _, own in table.groupby("participant"):
        n, y = own["block"].to_numpy(float), own["y"].to_numpy()
        mean = cells[own["group"].iloc[0]]

        def height(log_rate, n=n, y=y, mean=mean):
            columns = np.stack([np.ones_like(n), np.exp(-np.exp(log_rate) * (n - 1))], axis=1)
            middle = mean[:2] + lean * (log_rate - mean[2])
            cover = columns @ rest @ columns.T + sigma**2 * np.eye(len(n))
            scores = multivariate_normal(columns @ middle, cover).logpdf(y)
            return scores + norm.logpdf(log_rate, mean[2], spread)

        grid = np.linspace(mean[2] - 6 * spread, mean[2] + 6 * spread, 61)
        heights = np.array([height(place) for place in grid])
        top, at = heights.max(), float(grid[heights.argmax()])
        area = quad(
            lambda place, height=height, top=top: np.exp(height(place) - top),
            grid[0],
            grid[-1],
            points=[at],
            epsabs=0,
            epsrel=1e-9,
            limit=100,
        )[0]
        total += top + np.log(area)
    return total


@pytest.mark.slow
def test_nlme_tells_the_likelihood_of_its_approximation():
    wanted = json.loads((REFERENCE / "values.json").read_text("utf-8"))
    table = pd.read_csv(REFERENCE / "data.csv")
    a, da, g, dg, r, dr = wanted["fixed"]
    theirs = {"blocked": np.array([a, g, r]), "random": np.array([a + da, g + dg, r + dr])}
    covariance = np.array(wanted["covariance"]).reshape(3, 3)
    there = exact(table, theirs, covariance, wanted["sigma"])
    fit = ml.fit_population_curve(table, "y", practice="block", group="group")
    rows = fit.variances
    sd = rows[rows["sd"].notna()].set_index("term")["sd"]
    order = ("asymptote", "gain", "log_rate")
    own = np.diag([sd[name] ** 2 for name in order])
    for row in rows[rows["sd"].isna()].itertuples():
        k, m = order.index(row.term), order.index(row.other)
        own[k, m] = own[m, k] = row.variance
    here = exact(table, dict(zip(fit.groups, fit.cells())), own, fit.residual_sd)
    print(f"told {wanted['loglik']:.4f}, exact there {there:.4f}, exact here {here:.4f}")
    assert fit.loglik == pytest.approx(here, abs=1e-5)
    assert here > there
    assert abs(there - wanted["loglik"]) > 0.2
