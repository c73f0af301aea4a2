"""Residuals of a population as independent ones of one size, by the noise that was fitted."""

import numpy as np

from motorlearn.curves.population.arrays import Scale
from motorlearn.curves.population.learners import Learners
from motorlearn.curves.single.standard import as_normal


def standard_rows(
    data: Learners, fitted: np.ndarray, residual_sd: float, scale: Scale
) -> np.ndarray:
    """Whitened residuals in the order of the rows, learner by learner; none for plain noise."""
    if data.trials is not None or (data.white is None and data.law == "normal"):
        return np.zeros(0)
    inside = data.used > 0
    y = data.y * scale.unit + scale.middle
    if data.law == "lognormal":
        ratio = np.where(inside & (fitted > 0), y / np.where(fitted > 0, fitted, 1.0), 1.0)
        left = np.log(ratio)
    else:
        left = np.where(inside, y - fitted, 0.0)
    white = left if data.white is None else data.white.apply(left)
    size = white[inside] / residual_sd
    return as_normal(size, float(np.real(data.tail))) if data.law == "t" else size
