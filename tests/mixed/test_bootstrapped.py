"""Parametric bootstrap of contrasts and joint tests: an exact case, every family, refusals."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

import motorlearn as ml
from motorlearn.exceptions import InputError
from motorlearn.mixed import bootstrap_tests
from motorlearn.mixed.inference.bootstrapped import under_hypothesis

FAMILIES = {
    "gaussian": lambda rng, eta: eta + rng.normal(0, 1, len(eta)),
    "lognormal": lambda rng, eta: np.exp(eta + rng.normal(0, 0.5, len(eta))),
    "binomial": lambda rng, eta: rng.binomial(8, 1 / (1 + np.exp(-eta))),
    "beta-binomial": lambda rng, eta: rng.binomial(8, rng.beta(*_shapes(eta))),
    "ordinal": lambda rng, eta: np.digitize(eta + rng.logistic(size=len(eta)), [-1.0, 1.0]),
    "poisson": lambda rng, eta: rng.poisson(np.exp(1 + eta)),
    "negative-binomial": lambda rng, eta: rng.poisson(
        rng.gamma(3, np.exp(1 + eta) / 3),
    ),
    "gamma": lambda rng, eta: rng.gamma(4, np.exp(eta) / 4),
}


def _shapes(eta):
    p = 1 / (1 + np.exp(-eta))
    return 4 * p, 4 * (1 - p)


def study(family="gaussian", shift=0.0, people=12, seed=3):
    rng = np.random.default_rng(seed)
    person = np.repeat(np.arange(people), 6)
    late = np.tile(np.repeat([0, 1], 3), people)
    second = person >= people // 2
    eta = rng.normal(0, 0.6, people)[person] + 0.3 * late + shift * second * late
    return pd.DataFrame(
        {
            "participant": person,
            "group": np.where(second, "random", "blocked"),
            "phase": np.where(late, "retention", "pretest"),
            "score": FAMILIES[family](rng, eta),
            "tries": 8,
        }
    )


def fitted(table, family="gaussian", formula="score ~ group * phase"):
    attempts = "tries" if family in ("binomial", "beta-binomial") else None
    return ml.fit_mixed(
        formula, table, random={"participant": "1"}, family=family, attempts=attempts
    )


def test_where_t_is_exact_the_bootstrap_agrees():
    """In a balanced linear model the group's t test is exact; 2,000 draws come within .02 of it."""
    fit = fitted(study(shift=0.4), formula="score ~ group")
    found = bootstrap_tests(fit, "group", simulations=2000, seed=1).frame.iloc[0]
    assert_allclose(found["p"], ml.contrasts(fit, "group")["p"].item(), rtol=1e-9)
    assert abs(found["p_bootstrap"] - found["p"]) < 0.03


@pytest.mark.parametrize("family", FAMILIES)
def test_every_family(family):
    fit = fitted(study(family, shift=3.0 if family in ("ordinal", "binomial") else 1.5), family)
    found = bootstrap_tests(fit, "group", within="phase", simulations=60, seed=2).frame
    assert list(found["phase"]) == ["pretest", "retention"]
    assert found["p_bootstrap"].between(1 / 62, 1).all() and (found["failed"] < 10).all()
    assert found["p_bootstrap"][1] < found["p_bootstrap"][0]
    joint = bootstrap_tests(fit, terms=["group", "group:phase"], simulations=60, seed=2).frame
    assert joint["df1"][0] == 2 and joint["hypothesis"][0] == "group and group:phase"


def test_the_hypothesis_holds_where_outcomes_are_drawn():
    fit = fitted(study("poisson", 1.0), "poisson")
    lines = np.array([[0.0, 1.0, 0.0, 1.0]])
    null = under_hypothesis(fit, lines)
    assert_allclose(lines @ null.beta, 0, atol=1e-10)
    assert null.covariances["participant"][0, 0] > 0 and (fit.beta != null.beta).any()


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ({}, "one of them"),
        ({"by": "group", "terms": "group"}, "one of them"),
        ({"terms": "task"}, "no such term"),
        ({"by": "task"}, "not categories"),
        ({"by": "group", "simulations": 5}, "too few"),
    ],
)
def test_what_is_refused(options, match):
    with pytest.raises(InputError, match=match):
        bootstrap_tests(fitted(study()), seed=1, **options)
