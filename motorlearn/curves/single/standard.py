"""Residuals as independent ones of one size, by the noise that was fitted with the curve."""

from dataclasses import replace

import numpy as np
from scipy.special import ndtri, stdtr

from motorlearn.curves.single.noise import Noise, NoiseFit, bare_residuals
from motorlearn.curves.single.problem import Problem

FARTHEST = 8.0
"""Normal quantile beyond which a residual is not told more exactly."""


def standard_residuals(problem: Problem, noise: Noise, fit: NoiseFit) -> np.ndarray:
    """Whitened residuals of size 1; those of a t distribution as the normal ones of their rank."""
    left = bare_residuals(problem, noise, replace(fit, heavy=1.0))
    scale = np.sqrt(np.mean(np.asarray(fit.heavy) * left**2))
    size = left / scale if scale > 0 else left
    return as_normal(size, fit.terms["tail"]) if noise.errors == "t" else size


def as_normal(size: np.ndarray, tail: float) -> np.ndarray:
    """Normal quantiles with the tail areas of values of Student's t.

    Examples
    --------
    >>> as_normal(np.array([-2.776445, 0.0, 2.776445]), 4.0).round(3).tolist()
    [-1.96, 0.0, 1.96]
    """
    far = ndtri(stdtr(tail, -np.abs(size)))
    found: np.ndarray = np.copysign(np.minimum(-far, FARTHEST), size)
    return found
