"""The binomial mixed model of the house's mixed route, fitted to many studies at once.

``hits of attempts ~ cell`` with one cell per group and test, the cells of the baseline put
together, and levels of people at the tests that covary freely, by the Laplace approximation on the
kernels of :mod:`motorlearn.mixed`. As in the route, the standard error and the degrees of freedom
are those of Kenward and Roger on the pseudo-data ``η̂ + (hits − n p̂) / (n p̂ (1 − p̂))``, whose
variance given the person is known; the degrees of freedom are divided by the share of the variance
that comes from people, the only one that has to be estimated.

References
----------
Schall R (1991). Biometrika 78:719-727. https://doi.org/10.1093/biomet/78.4.719
"""

import numpy as np

from motorlearn.mixed.solve.covariance import correlated
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.one_factor import OneFactor, Rows
from motorlearn.mixed.solve.optimise import minimise
from motorlearn.mixed.solve.starts import first_point
from motorlearn.plan.power.free_covariance import kenward_roger, known_variance_search
from motorlearn.plan.power.score_models import tests_used
from motorlearn.plan.power.simulated_scores import Batch, cell_contrast, cells_of

_CONVERGED = 1e-3
_LEAST_WEIGHT = 1e-3
_MOST_DF = 1000


def fit_hits(batch: Batch, contrast: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Contrast of groups, in log odds for one person, at the primary test.

    Parameters
    ----------
    batch : Batch
        Hits; NaN where a test was missed.
    contrast : ndarray, shape (groups,)
        Weights of the groups.

    Returns
    -------
    estimate, std_error, df : ndarray, shape (studies,)
        NaN where the search did not converge or all attempts of a cell hit or missed.
    """
    batch = tests_used(batch, len(contrast))
    studies, people, tests = batch.scores.shape
    cells = cells_of(batch, len(contrast))
    x = np.eye(int(cells.max()) + 1)[cells.ravel()]
    present = ~np.isnan(batch.scores).reshape(studies, -1)
    rows = Rows(
        x=x,
        z=np.tile(np.eye(tests), people),
        starts=np.arange(people) * tests,
        offset=np.zeros(len(x)),
        y=np.where(present, batch.scores.reshape(studies, -1), 0.0),
        weight=np.where(present, np.tile(batch.attempts, people), 0.0),
    )
    weights = cell_contrast(batch, contrast)
    beta, effects, lower, good = _laplace(rows, tests)
    hit, tried = rows.y @ x, rows.weight @ x
    good &= ((hit > 0) & (hit < tried))[:, weights != 0].all(axis=1)
    error, df = _few_people(rows, beta, effects, lower, weights)
    good &= np.isfinite(error) & (df > 0)
    estimate = beta @ weights
    shown = [np.where(good, found, np.nan) for found in (estimate, error, df)]
    return shown[0], shown[1], shown[2]


def _laplace(rows: Rows, tests: int) -> tuple[np.ndarray, ...]:
    """Coefficients (studies, p), levels of people (studies, people, tests), Λ, and convergence."""
    studies, structure = len(rows.y), correlated(tests)
    model, fixed = OneFactor(rows, structure), rows.x.shape[1]
    people = [Factor(rows.group, rows.z.T, structure, len(rows.starts))]
    given = (rows.x, people, rows.y, rows.weight, rows.offset, model.likelihood)
    start, guess = first_point(*given)
    found = minimise(model.objective, start, guess, tolerance=1e-7)
    # The curvature that is expected, of which the search began, says how far it is from the end.
    left = np.einsum("ri,rij,rj->r", found.gradient, guess, found.gradient) / 2
    model.objective(found.x, np.arange(studies))
    lam = structure.factor(found.x[:, fixed:])
    effects = np.einsum("abr,brg->rga", lam, model.modes)
    return found.x[:, :fixed], effects, np.moveaxis(lam, 2, 0), np.abs(left) < _CONVERGED


def _few_people(
    rows: Rows, beta: np.ndarray, effects: np.ndarray, lower: np.ndarray, weights: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Standard error and degrees of freedom of a contrast on the pseudo-data of each study."""
    studies, people, tests = effects.shape
    shape = (studies, people, tests)
    eta = beta @ rows.x.T + effects.reshape(studies, -1)
    p = 1 / (1 + np.exp(-eta))
    weight = np.maximum(rows.weight * p * (1 - p), _LEAST_WEIGHT)
    pseudo = eta + (rows.y - rows.weight * p) / weight
    pseudo = np.where(rows.weight > 0, pseudo, np.nan).reshape(shape)
    x = rows.x.reshape(people, tests, -1)
    known = (1 / weight).reshape(shape)
    with np.errstate(all="ignore"):
        point = known_variance_search(pseudo, x, known, lower)
        found = kenward_roger(point, x, weights)
    alone = np.where(rows.weight > 0, weight, 0.0) @ rows.x
    share = 1 - ((weights**2 / alone).sum(axis=1) / found.plain)
    df = found.df / np.clip(share, 1e-3, 1.0)
    return np.sqrt(found.variance), np.where(df < _MOST_DF * people, df, np.inf)
