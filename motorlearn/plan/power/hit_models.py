"""A binomial mixed model with a random intercept, fitted to many studies at once.

``hits of attempts ~ group x test`` as cell means with ``1 | person`` by the Laplace approximation,
on the kernels of :mod:`motorlearn.mixed`.
"""

import numpy as np

from motorlearn.mixed.solve.binomial import BinomialOneFactor, BinomialRows
from motorlearn.mixed.solve.covariance import correlated
from motorlearn.mixed.solve.optimise import expected_decrease, hessian, minimise
from motorlearn.plan.power.simulated_scores import Batch

_START_SD = 0.5
_CONVERGED = 1e-4


def fit_hits(batch: Batch, contrast: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Contrast of groups, in log odds, in the change from baseline to the primary test.

    Parameters
    ----------
    batch : Batch
        Hits; NaN where a test was missed.
    contrast : ndarray, shape (groups,)
        Weights of the groups.

    Returns
    -------
    estimate, std_error, df : ndarray, shape (studies,)
        NaN where the search did not converge or all attempts of a cell hit or missed; degrees of
        freedom are infinite (Wald z).
    """
    studies, people, tests = batch.scores.shape
    groups = len(contrast)
    design = np.zeros((people, tests, groups, tests))
    for test in range(tests):
        design[np.arange(people), test, batch.groups, test] = 1.0
    x = design.reshape(people * tests, groups * tests)
    present = ~np.isnan(batch.scores).reshape(studies, -1)
    hits = np.where(present, batch.scores.reshape(studies, -1), 0.0)
    made = np.where(present, np.tile(batch.attempts, people), 0.0)
    rows = BinomialRows(
        x=x,
        z=np.ones((1, len(x))),
        starts=np.arange(people) * tests,
        offset=np.zeros(len(x)),
        hits=hits,
        attempts=made,
    )
    start = np.column_stack([_cell_logits(x, hits, made), np.full(studies, _START_SD)])
    weights = np.zeros((groups, tests))
    weights[:, batch.primary] += contrast
    weights[:, batch.baseline] -= contrast
    return _fit(rows, start, np.append(weights.ravel(), 0.0))


def _cell_logits(x: np.ndarray, hits: np.ndarray, made: np.ndarray) -> np.ndarray:
    hit, tried = hits @ x, made @ x
    return np.log((hit + 0.5) / (tried - hit + 0.5))


def _fit(rows: BinomialRows, start: np.ndarray, weights: np.ndarray):
    model = BinomialOneFactor(rows, correlated(1))
    information = _information(rows, start)
    found = minimise(model.objective, start, np.linalg.inv(information), tolerance=1e-6)
    curvature = hessian(model.objective, found.x)
    left = expected_decrease(curvature, found.gradient)
    hit, tried = rows.hits @ rows.x, rows.attempts @ rows.x
    estimable = ((hit > 0) & (hit < tried)).all(axis=1)
    positive = np.linalg.eigvalsh(curvature)[:, 0] > 0
    good = estimable & positive & (np.abs(left) < _CONVERGED)
    safe = np.where(good[:, None, None], curvature, np.eye(len(weights)))
    # The criterion is -2 log likelihood, so its inverse curvature is half the covariance.
    spread = 2 * np.einsum("i,rij,j->r", weights, np.linalg.inv(safe), weights)
    estimate = np.where(good, found.x @ weights, np.nan)
    return estimate, np.where(good, np.sqrt(spread), np.nan), np.full(len(start), np.inf)


def _information(rows: BinomialRows, start: np.ndarray) -> np.ndarray:
    """Curvature of -2 log likelihood at the start if people did not differ."""
    eta = start[:, :-1] @ rows.x.T
    weight = rows.attempts / (2 + np.exp(eta) + np.exp(-eta))
    size = start.shape[1]
    information = np.tile(np.eye(size), (len(start), 1, 1))
    cells = 2 * weight @ rows.x
    place = np.arange(size - 1)
    information[:, place, place] = np.maximum(cells, 1e-3)
    information[:, -1, -1] = 2.0 * len(rows.starts)
    return information
