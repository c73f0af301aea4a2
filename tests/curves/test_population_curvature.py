"""Second derivatives of the likelihood of a population, and the climb that uses them."""

import numpy as np
import pandas as pd
import pytest
from scipy.special import logsumexp
from scipy.stats import norm

import motorlearn as ml
from motorlearn.curves import FORMS
from motorlearn.curves.population.ascent import ascend
from motorlearn.curves.population.layout import Layout
from motorlearn.curves.population.learners import Learners
from motorlearn.curves.population.marginal import Marginal
from motorlearn.curves.population.rivals import Held

ALL, NONE = (True,) * 3, (False,) * 3


def learners(*, start=False, groups=2, count=6, seed=2):
    """Learners of one curve and noise, the last rows of one of them missing."""
    rng = np.random.default_rng(seed)
    n = np.tile(np.arange(1.0, 11.0), (count, 1))
    level = rng.normal(0, 0.5, (count, 1))
    y = level + np.exp(-0.4 * (n - 1)) + rng.normal(0, 0.4, n.shape)
    used = np.ones_like(n)
    used[2, 7:] = 0.0
    return Learners(FORMS["exponential"], n, y, used, np.arange(count) % groups, 1.0, start)


def bends_of_slopes(marginal, point):
    """Minus the second derivatives by central differences of the exact slope."""
    rows = []
    for k in range(len(point)):
        move = np.eye(len(point))[k] * 1e-5
        rows.append((marginal.value(point - move)[1] - marginal.value(point + move)[1]) / 2e-5)
    return np.array(rows)


@pytest.mark.parametrize("start", [False, True])
@pytest.mark.parametrize("diagonal", [False, True])
@pytest.mark.parametrize(
    ("groups", "differ"), [(1, NONE), (2, ALL), (2, (True, False, True)), (3, ALL), (3, NONE)]
)
@pytest.mark.parametrize("vary", [(0,), (1,), (2,), (0, 1), (0, 2), (1, 2), (0, 1, 2)])
def test_second_derivatives_are_differences_of_slopes(vary, groups, differ, diagonal, start):
    data = learners(start=start, groups=groups)
    marginal = Marginal(data, Layout(groups, differ, vary, True, 0, diagonal), 9)
    point = np.random.default_rng(3).normal(-0.1, 0.4, marginal.layout.size)
    marginal.adapt(point)
    found = marginal.information(point, marginal.value(point)[1])
    wanted = bends_of_slopes(marginal, point)
    assert found == pytest.approx(wanted, rel=1e-5, abs=1e-5 * np.abs(wanted).max())


def test_second_derivatives_with_columns_held_are_those_of_the_others():
    data = learners()
    marginal = Marginal(data, Layout(2, ALL, (0, 1, 2), True), 9)
    point = np.random.default_rng(3).normal(-0.1, 0.4, marginal.layout.size)
    marginal.adapt(point)
    held = Held(marginal, {1: float(point[1]), 7: float(point[7])}, len(point))
    wanted = bends_of_slopes(held, point[held.free])
    found = held.information(point[held.free], held.value(point[held.free])[1])
    assert found == pytest.approx(wanted, rel=1e-5, abs=1e-5 * np.abs(wanted).max())


@pytest.mark.parametrize("vary", [(0, 1), (0, 1, 2)])
def test_second_derivatives_are_those_of_exact_integrals(vary):
    """The integral in many equal steps, differentiated by central differences of values."""
    data = learners(groups=1, count=3)
    marginal = Marginal(data, Layout(1, NONE, vary, True), 41)
    own = {(0, 1): [0.5, 0.2, 0.4], (0, 1, 2): [0.3, 0.1, 0.5, -0.2, 0.2, 0.4]}[vary]
    point = np.array([0.1, 0.9, -1.0, *own, np.log(0.5)])

    def total(at):
        root, sigma = marginal.layout.root(at), np.exp(at[-1])
        return sum(exact(data, k, at[:3], root, sigma, varies=2 in vary) for k in range(3))

    size, step = len(point), 2e-3
    wanted, moves = np.empty((size, size)), np.eye(size) * step
    for k in range(size):
        for m in range(k + 1):
            corners = [
                a * b * total(point + a * moves[k] + b * moves[m]) for a in (1, -1) for b in (1, -1)
            ]
            wanted[k, m] = wanted[m, k] = -sum(corners) / (4 * step**2)
    marginal.adapt(point)
    found = marginal.information(point, marginal.value(point)[1])
    assert found == pytest.approx(wanted, rel=1e-3, abs=1e-4 * np.abs(wanted).max())


def exact(data, k, cells, root, sigma, *, varies):
    """Log-likelihood of one learner."""
    inside = data.used[k] > 0
    n, y = data.n[k, inside], data.y[k, inside]
    psi = root @ root.T

    lean = psi[:2, 2] / psi[2, 2] if varies else np.zeros(2)
    rest = psi[:2, :2] - (np.outer(lean, lean) * psi[2, 2] if varies else 0.0)
    spread = np.sqrt(psi[2, 2]) if varies else 1.0
    places = cells[2] + (spread * np.linspace(-8, 8, 161) if varies else np.zeros(1))
    basis = np.exp(-np.exp(places[:, None]) * (n - 1))
    columns = np.stack([np.ones_like(basis), basis], axis=2)
    middle = cells[:2] + lean * (places[:, None] - cells[2])
    cover = columns @ rest @ columns.transpose(0, 2, 1) + sigma**2 * np.eye(len(n))
    off = y - (columns @ middle[:, :, None])[:, :, 0]
    squares = np.sum(off * np.linalg.solve(cover, off[:, :, None])[:, :, 0], axis=1)
    heights = -0.5 * (squares + np.linalg.slogdet(cover)[1] + len(n) * np.log(2 * np.pi))
    if not varies:
        return heights[0]
    # The rule of equal steps is exact to rounding where a smooth integrand ends at nothing.
    return logsumexp(heights + norm.logpdf(places, cells[2], spread)) + np.log(0.1 * spread)


def practised(seed=5, learners=36, blocks=24):
    rng = np.random.default_rng(seed)
    n = np.tile(np.arange(1.0, blocks + 1), (learners, 1))
    own = rng.normal(size=(learners, 3)) * [2, 1.5, 0.4] + [20, 12, np.log(0.25)]
    y = own[:, [0]] + own[:, [1]] * np.exp(-np.exp(own[:, [2]]) * (n - 1))
    return n, y + rng.normal(0, 1.5, n.shape)


def test_newtons_climb_takes_few_evaluations():
    n, y = practised()
    y = (y - y.mean()) / y.std()
    group = np.arange(36) % 2
    data = Learners(FORMS["exponential"], n, y, np.ones_like(n), group, 1.0, False)
    marginal = Marginal(data, Layout(2, ALL, (0, 1, 2), True), 7)
    cells = np.array([[-0.5, 2.0, -1.0]] * 2)
    start = marginal.layout.point(cells, np.array([0.3, 0.3, 0.3]), -1.0)
    marginal.adapt(start)
    looked, bent = counted(marginal)
    summit = ascend(marginal, start, 1e-6, exact=True)
    assert summit.converged
    assert len(looked) <= 20 and len(bent) <= 8
    assert np.linalg.eigvalsh(summit.information)[0] > 0


def counted(marginal):
    """Evaluations of a likelihood from now on, and those of its second derivatives."""
    looked, bent, value, information = [], [], marginal.value, marginal.information
    marginal.value = lambda point: (looked.append(point), value(point))[1]
    marginal.information = lambda *asked: (bent.append(asked), information(*asked))[1]
    return looked, bent


@pytest.mark.parametrize("tests", [False, True])
def test_a_population_is_fitted_in_few_evaluations(monkeypatch, tests):
    n, y = practised()
    rows = {"participant": np.repeat(np.arange(36), 24), "block": n.ravel(), "y": y.ravel()}
    table = pd.DataFrame(rows)
    table["group"] = table["participant"] % 2
    looked, scores = [], Marginal.scores
    monkeypatch.setattr(
        Marginal, "scores", lambda self, point: (looked.append(self.nodes), scores(self, point))[1]
    )
    found = ml.fit_population_curve(table, "y", practice="block", group="group", tests=tests)
    assert found.status == "ok"
    assert len(looked) <= (50 if tests else 32)
