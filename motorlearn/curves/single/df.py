"""Degrees of freedom of combinations of terms where the noise is estimated too."""

import numpy as np

LEAST_DF = 2.0
"""Degrees of freedom that a term is never below."""


def df_along(
    slopes: np.ndarray, covariance: np.ndarray, turns: np.ndarray, df: float
) -> np.ndarray:
    """Satterthwaite's degrees of freedom of combinations of terms, one per row of ``slopes``."""
    if not len(turns):
        return np.full(len(slopes), df)
    with np.errstate(all="ignore"):
        variance = np.einsum("ij,jk,ik->i", slopes, covariance, slopes)
        unknown = np.sum(np.einsum("ij,ajk,ik->ai", slopes, turns, slopes) ** 2, axis=0)
        found = 2 * variance**2 / unknown
    return np.where(np.isfinite(found), np.clip(found, LEAST_DF, df), df)
