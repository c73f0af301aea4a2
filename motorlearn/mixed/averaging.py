"""Probabilities averaged over participants.

The random effects shift the linear predictor of a row by N(0, v), v = Σ z'Ψz over the grouping
factors; the average probability is the mean of g⁻¹(η + √v t) over a standard normal t.
"""

import numpy as np
from numpy.typing import NDArray

from motorlearn.mixed.solve.links import INVERSE_LINKS, mean_slope

Array = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(61)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()


def average_over_normal(link: str, eta: Array, variance: Array) -> tuple[Array, Array]:
    """Mean of the inverse link over N(η, v), and its slope in η.

    Parameters
    ----------
    link : str
        Name of the link.
    eta : array (N,)
        Linear predictor of a participant whose random effects are zero.
    variance : array (N,)
        Variance of the linear predictor between participants.

    Examples
    --------
    >>> mean, _ = average_over_normal("probit", np.array([1.0]), np.array([3.0]))
    >>> round(float(mean[0]), 6)  # Φ(1 / √(1 + 3))
    0.691462
    """
    spread = eta[:, None] + np.sqrt(variance)[:, None] * _NODES
    return INVERSE_LINKS[link](spread) @ _WEIGHTS, mean_slope(link, spread) @ _WEIGHTS


def slope_in_variance(link: str, eta: Array, variance: Array) -> Array:
    """Slope of the averaged mean in the variance v, half the average curvature of g⁻¹."""
    step = 1e-4
    ahead = average_over_normal(link, eta + step, variance)[1]
    behind = average_over_normal(link, eta - step, variance)[1]
    return (ahead - behind) / (4 * step)
