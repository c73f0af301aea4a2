"""Gradients against differences, and each special case against the general one."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import approx_fprime
from scipy.stats import norm

import motorlearn as ml
from motorlearn.measures.hits import log_choose
from motorlearn.mixed import fit_binomial_many, fit_linear_many
from motorlearn.mixed.averaging import average_over_normal, slope_in_variance
from motorlearn.mixed.inference.degrees_of_freedom import upper_tail
from motorlearn.mixed.solve.covariance import Structure, correlated
from motorlearn.mixed.solve.engine import Cells
from motorlearn.mixed.solve.factors import Factor, Gram
from motorlearn.mixed.solve.likelihoods import Binomial
from motorlearn.mixed.solve.linear import LinearOneFactor, grouped_sums
from motorlearn.mixed.solve.linear_crossed import LinearManyFactors
from motorlearn.mixed.solve.links import LINKS
from motorlearn.mixed.solve.many_factors import ManyFactors
from motorlearn.mixed.solve.one_factor import OneFactor, Rows
from motorlearn.mixed.solve.optimise import minimise

RNG = np.random.default_rng(8)
N = 240
INDEX = np.repeat(np.arange(30), 8)
SECOND = RNG.integers(0, 6, N)
X = np.column_stack([np.ones(N), RNG.normal(size=N)])
Z = np.column_stack([np.ones(N), RNG.normal(size=N)])
ATTEMPTS = RNG.integers(1, 9, N).astype(float)
HITS = RNG.binomial(ATTEMPTS.astype(int), 0.4).astype(float)
Y = RNG.normal(size=N) + RNG.normal(size=30)[INDEX]
STARTS = np.arange(0, N, 8)
ONE = np.array([0])


def differences(objective, point):
    return approx_fprime(point, lambda p: objective(p[None], ONE)[0][0], 1e-7)


@pytest.mark.parametrize("link", LINKS)
def test_derivatives_of_the_links(link):
    eta, hits, attempts = np.linspace(-4, 4, 9), np.arange(9.0), np.full(9, 9.0)
    step = 1e-5
    up, down = (LINKS[link](eta + sign * step, hits, attempts) for sign in (1, -1))
    here = LINKS[link](eta, hits, attempts)
    assert_allclose(here[1], (up[0] - down[0]) / (2 * step), rtol=1e-6, atol=1e-7)
    assert_allclose(here[2], -(up[1] - down[1]) / (2 * step), rtol=1e-6, atol=1e-7)
    assert_allclose(here[3], (up[2] - down[2]) / (2 * step), rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize("eta", [-40.0, 40.0, -700.0, 700.0])
@pytest.mark.parametrize("link", LINKS)
def test_extreme_predictors_stay_finite(link, eta):
    hits = np.array([0.0, 5.0])
    found = LINKS[link](np.full(2, eta), hits, np.full(2, 5.0))
    impossible = 1 if eta < 0 else 0
    possible = 1 - impossible
    assert all(np.isfinite(values[possible]) for values in found)


@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("structure", [correlated(2), Structure(((0,), (1,)))])
def test_gradient_of_the_linear_criterion(reml, structure):
    sums = grouped_sums(X, Z.T, Y[None], STARTS, ATTEMPTS)
    model = LinearOneFactor(sums, structure, reml)
    theta = 0.3 + 0.2 * np.arange(structure.n_free)
    expected = differences(model.objective, theta)
    assert_allclose(model.objective(theta[None], ONE)[1][0], expected, rtol=1e-4, atol=1e-4)


@pytest.mark.parametrize("nodes", [1, 3, 7])
@pytest.mark.parametrize("link", LINKS)
@pytest.mark.parametrize("size", [1, 2])
def test_gradient_of_the_binomial_criterion(nodes, link, size):
    rows = Rows(X, Z[:, :size].T, STARTS, 0.1 * Y, HITS[None], ATTEMPTS[None])
    structure = correlated(size)
    model = OneFactor(rows, structure, Binomial(link), nodes)
    point = np.concatenate([[-0.4, 0.2], 0.3 + 0.2 * np.arange(structure.n_free)])
    expected = differences(model.objective, point)
    assert_allclose(model.objective(point[None], ONE)[1][0], expected, rtol=1e-3, atol=2e-4)


def crossed(second_size):
    return [
        Factor(INDEX, Z, correlated(2), 30),
        Factor(SECOND, Z[:, :second_size], correlated(second_size), 6),
    ]


@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
@pytest.mark.parametrize("singular", [False, True])
def test_gradient_of_the_crossed_linear_criterion(reml, order, singular):
    cells = Cells(Y, ATTEMPTS, N)
    model = LinearManyFactors(X, crossed(2), cells, reml, order)
    theta = np.array([0.5, 0.2, 0.7, 0.4, -0.3, 0.0 if singular else 0.6])
    expected = differences(model.objective, theta)
    assert_allclose(model.objective(theta[None], ONE)[1][0], expected, rtol=1e-4, atol=2e-4)


@pytest.mark.parametrize("link", LINKS)
@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_gradient_of_the_crossed_binomial_criterion(link, order):
    model = ManyFactors(X, crossed(1), Cells(HITS, ATTEMPTS, N), 0.1 * Y, Binomial(link), order)
    point = np.array([-0.4, 0.2, 0.5, 0.2, 0.7, 0.4])
    expected = differences(model.objective, point)
    assert_allclose(model.objective(point[None], ONE)[1][0], expected, rtol=1e-3, atol=2e-4)


def test_the_order_of_elimination_does_not_matter():
    cells, theta = Cells(Y, ATTEMPTS, N), np.array([[0.5, 0.2, 0.7, 0.4]])
    values = [
        LinearManyFactors(X, crossed(1), cells, True, order).evaluate(theta, ONE)
        for order in ((0, 1), (1, 0))
    ]
    assert_allclose(values[0].value, values[1].value, rtol=1e-12)
    assert_allclose(values[0].beta, values[1].beta, rtol=1e-9)


THIRD = Factor(RNG.integers(0, 4, N), np.ones((N, 1)), correlated(1), 4)


def test_gradient_with_three_crossed_factors():
    model = ManyFactors(
        X, [*crossed(1), THIRD], Cells(HITS, ATTEMPTS, N), 0.1 * Y, Binomial("logit"), (0, 1, 2)
    )
    point = np.array([-0.4, 0.2, 0.5, 0.2, 0.7, 0.4, 0.3])
    expected = differences(model.objective, point)
    assert_allclose(model.objective(point[None], ONE)[1][0], expected, rtol=1e-3, atol=2e-4)


def test_criterion_equals_the_dense_one():
    factors = [*crossed(1), THIRD]
    theta = np.array([0.5, 0.2, 0.7, 0.4, 0.3])
    lam = np.array([[0.5, 0], [0.2, 0.7]])
    v = np.diag(1 / ATTEMPTS)
    psis = (lam @ lam.T, np.array([[0.16]]), np.array([[0.09]]))
    for factor, psi in zip(factors, psis, strict=True):
        z = factor.matrix().toarray()
        v += z @ np.kron(np.eye(factor.n_levels), psi) @ z.T
    inverse = np.linalg.inv(v)
    cross = X.T @ inverse @ X
    rest = Y - X @ np.linalg.solve(cross, X.T @ inverse @ Y)
    df = N - 2
    expected = np.linalg.slogdet(v)[1] + np.linalg.slogdet(cross)[1]
    expected += df * (1 + np.log(2 * np.pi * (rest @ inverse @ rest) / df))
    cells = Cells(Y, ATTEMPTS, N, log_weights=float(np.log(ATTEMPTS).sum()))
    for order in ((0, 1, 2), (2, 0, 1)):
        model = LinearManyFactors(X, factors, cells, True, order)
        assert_allclose(model.evaluate(theta[None], ONE).value, expected, rtol=1e-12)


def test_planned_products_equal_plain_ones(monkeypatch):
    matrix = Factor(SECOND, Z, correlated(2), 6).matrix()
    diagonals = RNG.random((N, 2))
    planned = Gram(matrix)(diagonals)
    monkeypatch.setattr("motorlearn.mixed.solve.factors._MOST_PAIRS", 0)
    plain = Gram(matrix)(diagonals)
    for one, two, d in zip(planned, plain, diagonals.T, strict=True):
        assert_allclose(one, two, atol=1e-12)
        assert_allclose(one, matrix.toarray().T @ np.diag(d) @ matrix.toarray(), atol=1e-10)


def test_quadrature_equals_a_fine_integral():
    rows = Rows(X, Z[:, :1].T, STARTS, np.zeros(N), HITS[None], ATTEMPTS[None])
    model = OneFactor(rows, correlated(1), Binomial("logit"), 31)
    point = np.array([-0.4, 0.2, 0.9])
    grid = np.linspace(-9, 9, 4001)
    eta = (X @ point[:2])[:, None] + 0.9 * grid
    loglik = LINKS["logit"](eta, HITS[:, None], ATTEMPTS[:, None])[0]
    by_group = np.add.reduceat(loglik, STARTS, axis=0) + norm.logpdf(grid)
    integral = np.log(np.trapezoid(np.exp(by_group), grid, axis=1)).sum()
    assert_allclose(
        model.objective(point[None], ONE)[0],
        -2 * (integral + log_choose(HITS, ATTEMPTS).sum()),
        rtol=1e-9,
    )


def test_some_outcomes_of_many_may_be_asked_for_first():
    hits = np.stack([HITS, ATTEMPTS - HITS, np.minimum(HITS, 1)])
    rows = Rows(X, Z[:, :1].T, STARTS, 0 * Y, hits, np.tile(ATTEMPTS, (3, 1)))
    points = np.array([[-0.4, 0.2, 0.6], [0.4, -0.2, 0.6], [-1.0, 0.1, 0.3]])
    whole, slopes = OneFactor(rows, correlated(1)).objective(points, np.arange(3))
    some = OneFactor(rows, correlated(1))
    for which in (np.array([2]), np.array([0, 1])):
        value, slope = some.objective(points[which], which)
        assert_allclose(value, whole[which], rtol=1e-9)
        assert_allclose(slope, slopes[which], rtol=1e-6, atol=1e-8)


def test_many_binomial_fits_equal_single_ones(small_study):
    table = small_study
    x = np.column_stack([np.ones(72), table["group"] == "random", table["phase"] == "pretest"])
    hits = np.random.default_rng(4).binomial(12, 0.45, (5, 72))
    many = fit_binomial_many(x, hits, table["throws"], table["participant"])
    for number, row in enumerate(hits):
        single = ml.fit_mixed(
            "hits ~ group + C(phase, Treatment('posttest'))",
            table.assign(
                hits=row, phase=np.where(table["phase"] == "pretest", "pretest", "posttest")
            ),
            random={"participant": "1"},
            family="binomial",
            attempts="throws",
            df="normal",
        )
        assert_allclose(many.beta[number], single.beta, atol=1e-6)
        assert_allclose(np.diag(many.vcov[number]), np.diag(single.vcov), rtol=1e-4)
    assert many.converged.all()


def test_a_row_without_attempts_is_left_out(small_study):
    table = small_study
    x = np.column_stack([np.ones(72), table["phase"] == "pretest"])
    attempts = np.tile(table["throws"].to_numpy(), (2, 1))
    hits = np.tile(table["hits"].to_numpy(), (2, 1))
    gone = (table["participant"] == "p03").to_numpy()
    attempts[1, gone] = hits[1, gone] = 0
    many = fit_binomial_many(x, hits, attempts, table["participant"])
    rest = fit_binomial_many(x[~gone], hits[0, ~gone], 12, table["participant"][~gone])
    assert_allclose(many.beta[1], rest.beta[0], atol=1e-7)


@pytest.mark.parametrize("reml", [True, False])
def test_many_linear_fits_equal_single_ones(ring_push, reml):
    y = np.random.default_rng(4).normal(30, 5, (3, len(ring_push)))
    x = np.column_stack([np.ones(len(ring_push)), ring_push["time"]])
    many = fit_linear_many(x, y, ring_push["participant"], z=x, reml=reml)
    for number, row in enumerate(y):
        table = ring_push.assign(radial_error=row + 0.0)
        single = ml.fit_mixed(
            "radial_error ~ time", table, random={"participant": "1 + time"}, reml=reml
        )
        assert_allclose(many.beta[number], single.beta, rtol=1e-6)
        assert_allclose(many.deviance[number], -2 * single.loglik, rtol=1e-9)
        _, error, _, p = many.test(np.array([0.0, 1.0]))
        line = single.estimates.iloc[1]
        assert_allclose([error[number], p[number]], [line["std_error"], line["p"]], rtol=1e-3)


def test_average_of_a_probit_is_a_closed_form():
    eta, variance = np.linspace(-3, 3, 7), np.linspace(0, 4, 7)
    mean, slope = average_over_normal("probit", eta, variance)
    scale = np.sqrt(1 + variance)
    assert_allclose(mean, norm.cdf(eta / scale), atol=1e-10)
    assert_allclose(slope, norm.pdf(eta / scale) / scale, atol=1e-10)
    step = 1e-5
    up, down = (average_over_normal("logit", eta, variance + 1 + s)[0] for s in (step, -step))
    assert_allclose(
        slope_in_variance("logit", eta, variance + 1), (up - down) / (2 * step), atol=1e-7
    )


def test_side_by_side_searches_find_each_minimum():
    target = RNG.normal(size=(6, 3))
    curve = np.diag([1.0, 30.0, 0.2])

    def objective(x, which):
        gap = x - target[which]
        return np.einsum("ri,ij,rj->r", gap, curve, gap) + np.sum(
            gap**4, 1
        ), 2 * gap @ curve + 4 * gap**3

    found = minimise(objective, np.zeros((6, 3)))
    assert_allclose(found.x, target, atol=1e-4)


@pytest.mark.parametrize(("df1", "limit"), [(1, 3.841459), (2, 5.991465), (5, 11.070498)])
def test_tail_without_a_second_df_is_that_of_printed_chi_squared_tables(df1, limit):
    assert upper_tail(limit / df1, df1, np.inf) == pytest.approx(0.05, abs=1e-7)
    assert upper_tail(limit / df1, df1, 1e9) == pytest.approx(0.05, abs=1e-6)
