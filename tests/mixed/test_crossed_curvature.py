"""Second derivatives of crossed linear models, and searches that use them, against differences."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

import motorlearn as ml
from motorlearn.exceptions import FitError
from motorlearn.mixed.solve import crossed_curvature, factors, search_linear
from motorlearn.mixed.solve.covariance import correlated
from motorlearn.mixed.solve.engine import Cells, working
from motorlearn.mixed.solve.factors import Factor, Gram, invert_positive
from motorlearn.mixed.solve.linear_crossed import LinearManyFactors

RNG = np.random.default_rng(12)
N = 240
X = np.column_stack([np.ones(N), RNG.normal(size=N)])
WEIGHT = RNG.integers(1, 4, N).astype(float)
Y = RNG.normal(size=N) + X[:, 1]


def single(levels, z=None):
    """A factor of one term with its levels at random."""
    z = np.ones(N) if z is None else z
    return Factor(RNG.integers(0, levels, N), z[:, None], correlated(1), levels)


FACTORS = [single(30), single(7, RNG.normal(size=N)), single(4)]


@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1)])
def test_second_derivatives_equal_differences(reml, order):
    model = LinearManyFactors(X, FACTORS, Cells(Y, WEIGHT, N), reml, np.array(order))
    theta = np.array([[0.5, 0.4, 0.3]])
    profiled, full = crossed_curvature.exact_curvatures(model, theta)
    by_differences = search_linear.curvatures(model, theta)
    assert_allclose(profiled, by_differences[0], rtol=1e-5, atol=1e-5)
    assert_allclose(full, by_differences[1], rtol=1e-5, atol=1e-4)


def test_average_information_is_the_mean_of_observed_and_expected():
    """Observed 2y'PG_rPG_sPy/σ² − tr(PG_rPG_s) and expected tr(PG_rPG_s) from dense matrices."""
    theta = np.array([[0.5, 0.4, 0.3]])
    model = LinearManyFactors(X, FACTORS, Cells(Y, np.ones(N), N), True, np.array([0, 1, 2]))
    here = model.evaluate(theta, np.array([0]))
    variance = here.rss[0] / model.df
    z = [factor.matrix().toarray() for factor in FACTORS]
    v = np.eye(N) + sum(t**2 * one @ one.T for t, one in zip(theta[0], z, strict=True))
    inside = np.linalg.inv(v)
    p = inside - inside @ X @ np.linalg.solve(X.T @ inside @ X, X.T @ inside)
    pulls = [p @ one @ one.T for one in z]
    expected = np.array([[np.sum(a * b.T) for b in pulls] for a in pulls])
    observed = np.array([[2 * Y @ a @ b @ p @ Y for b in pulls] for a in pulls]) / variance
    mean = ((observed - expected) + expected) / 2
    curve, full = crossed_curvature._in_theta(model, theta, here, mean, np.zeros(3))
    found = crossed_curvature.average_information(model, theta)
    assert_allclose(found[0], np.linalg.inv(curve[0]), rtol=1e-8)
    assert full.shape == (1, 4, 4)


def test_moments_of_all_factors_find_the_variances():
    """20,000 rows, variances of .5 and .2 beside one of 1."""
    rng = np.random.default_rng(3)
    first, second = rng.integers(0, 800, 20_000), rng.integers(0, 300, 20_000)
    y = rng.normal(0, 0.5**0.5, 800)[first] + rng.normal(0, 0.2**0.5, 300)[second]
    y = y + rng.normal(size=20_000)
    ones = np.ones((20_000, 1))
    both = [
        Factor(first, ones, correlated(1), 800),
        Factor(second, ones, correlated(1), 300),
    ]
    work = working(ones, both)
    cells = Cells(y - y.mean(), np.ones(20_000), 20_000)
    found = crossed_curvature.joint_moments(work, cells)
    assert_allclose(found**2, [0.5, 0.2], rtol=0.15)
    without = replace(cells, y=rng.normal(size=20_000))
    assert crossed_curvature.joint_moments(work, without) is None


@pytest.fixture(scope="module")
def ratings():
    rng = np.random.default_rng(6)
    person, rater = rng.integers(0, 150, 3000), rng.integers(0, 110, 3000)
    score = rng.normal(0, 0.6, 150)[person] + rng.normal(0, 0.9, 110)[rater]
    return pd.DataFrame(
        {
            "participant": [f"p{number:03d}" for number in person],
            "rater": [f"r{number:03d}" for number in rater],
            "group": np.array(["blocked", "random"])[person % 2],
            "score": score + rng.normal(size=3000),
        }
    )


@pytest.mark.parametrize("reml", [True, False])
def test_the_same_answer_as_from_differences_of_gradients(ratings, monkeypatch, reml):
    options = {"random": {"participant": "1", "rater": "1"}, "reml": reml}
    fit = ml.fit_mixed("score ~ group", ratings, **options)
    monkeypatch.setattr(search_linear, "has_curvature", lambda model, theta: False)
    plain = ml.fit_mixed("score ~ group", ratings, **options)
    assert fit.loglik >= plain.loglik - 1e-8
    assert_allclose(fit.loglik, plain.loglik, atol=1e-6)
    columns = ["estimate", "std_error", "df", "p"]
    assert_allclose(fit.estimates[columns], plain.estimates[columns], rtol=1e-4, atol=1e-7)
    assert_allclose(fit.variances["sd"], plain.variances["sd"], rtol=1e-6)
    effects, others = fit.effects, plain.effects
    numbers = effects.select_dtypes("number").columns
    assert_allclose(effects[numbers], others[numbers], rtol=1e-5, atol=1e-6)


def test_a_factor_without_spread_is_left_to_the_plain_search(ratings):
    rng = np.random.default_rng(7)
    table = ratings.assign(score=rng.normal(size=len(ratings)))
    fit = ml.fit_mixed("score ~ group", table, random={"participant": "1", "rater": "1"})
    assert fit.recipe.converged


@pytest.mark.parametrize("size", [1, 199, 201, 450])
def test_inverse_by_halves(size):
    root = RNG.normal(size=(size, size))
    matrix = root @ root.T / size + np.eye(size)
    inverse, log_determinant = invert_positive(matrix.copy())
    assert_allclose(inverse, np.linalg.inv(matrix), atol=1e-11)
    assert_allclose(inverse, inverse.T, atol=1e-15)
    assert log_determinant == pytest.approx(np.linalg.slogdet(matrix)[1], abs=1e-9)


def test_a_matrix_that_is_not_positive_is_refused():
    matrix = np.eye(450)
    matrix[-1, -1] = -1.0
    with pytest.raises(FitError, match="not positive definite"):
        invert_positive(matrix)


@pytest.mark.parametrize("most", [3e7, 0])
def test_diagonal_and_trace_of_products(monkeypatch, most):
    monkeypatch.setattr(factors, "_MOST_PAIRS", most)
    matrix = single(9, RNG.normal(size=N)).matrix().tolil()
    matrix[::3, 2] = 0.7
    matrix = matrix.tocsr()
    root = RNG.normal(size=(9, 9))
    inner, weights, dense = root @ root.T, RNG.random(N), matrix.toarray()
    gram = Gram(matrix)
    assert_allclose(gram.diagonal(inner), np.diag(dense @ inner @ dense.T), atol=1e-12)
    wanted = np.trace(dense.T @ np.diag(weights) @ dense @ inner)
    assert gram.trace(weights, inner) == pytest.approx(wanted)
