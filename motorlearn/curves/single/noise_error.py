r"""How well the noise is known, and the degrees of freedom that this leaves for the curve.

A power of the spread and a correlation that are estimated from 60 trials are uncertain themselves,
and so are the standard errors that rest on them. Satterthwaite's approximation gives each term
the degrees of freedom :math:`2 V^2 / \mathrm{Var}(\hat V)`, where the variance of :math:`\hat V`
comes from the expected information of the restricted likelihood about the noise.

References
----------
Satterthwaite, F. E. (1946). Biometrics Bulletin, 2, 110-114. https://doi.org/10.2307/3002019

Giesbrecht, F. G., & Burns, J. C. (1985). Biometrics, 41, 477-486.
https://doi.org/10.2307/2530872
"""

import numpy as np

from motorlearn.curves.single.noise import Noise, NoiseFit, whitening_at
from motorlearn.curves.single.problem import Problem

STEP = 1e-5
MOST_ROWS = 800
"""Rows above which the noise counts as known."""


def wobble(problem: Problem, noise: Noise, fit: NoiseFit) -> np.ndarray:
    """Changes of the whitened covariance of the rows, shape (noise terms, rows, rows).

    They are scaled so that independent errors of size 1 in each add up to what is not known of
    the noise; the first term is the size of the spread itself. Empty for long series.
    """
    count, white = len(problem.n), fit.problem.whitening
    if count > MOST_ROWS or white is None:
        return np.zeros((0, count, count))
    one = np.eye(count)
    back = np.linalg.inv(white.apply_rows(one))
    point = np.array([fit.terms.get("spread_power", 0.0), fit.terms.get("correlation", 0.0)])
    point[1] = np.arctanh(point[1])
    changes = [one]
    for k in np.flatnonzero([noise.variance != "equal", noise.correlation == "ar1"]):
        ends = [
            whitening_at(problem, noise, fit, moved[0], np.tanh(moved[1])).apply_rows(one)
            for moved in (point + STEP * np.eye(2)[k], point - STEP * np.eye(2)[k])
        ]
        turn = (ends[0] - ends[1]) / (2 * STEP) @ back
        changes.append(-(turn + turn.T))
    return _scaled(fit, np.array(changes))


def _scaled(fit: NoiseFit, changes: np.ndarray) -> np.ndarray:
    """Combine the changes by a root of the covariance of the noise terms."""
    solution = fit.solution
    tangent = fit.problem.jacobian(solution.theta, solution.coefficients)
    length = np.linalg.norm(tangent, axis=0)
    basis, _ = np.linalg.qr(tangent[:, length > 0] / length[length > 0])
    left = changes - basis @ (basis.T @ changes)
    information = 0.5 * np.einsum("aij,bji->ab", left, left)
    size = np.sqrt(np.diag(information))
    value, vector = np.linalg.eigh(information / np.outer(size, size))
    root = vector / np.sqrt(np.maximum(value, 1e-8))
    found: np.ndarray = np.einsum("ak,aij->kij", root / size[:, None], changes)
    return found
