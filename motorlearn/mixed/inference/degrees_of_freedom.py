"""Degrees of freedom for single and several contrasts of the fixed effects.

Satterthwaite: the variance f = l'V l of a contrast is an estimate too; its df is 2 f² / var(f),
with var(f) from the gradient of f in the variance parameters and their own covariance. Several
contrasts at once are turned into uncorrelated ones and their df are put together (Fai & Cornelius
1996).
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from motorlearn.results import register_record

Array = NDArray[np.float64]

LEAST_SHARE = 1e-3
MOST_DF = 1e5


@register_record
@dataclass(frozen=True)
class Inference:
    """What tests of fixed effects need.

    Parameters
    ----------
    method : {"satterthwaite", "kenward-roger", "normal"}
        How degrees of freedom are found.
    vcov : array (p, p)
        Covariance of the fixed effects that tests use; the adjusted one for Kenward-Roger.
    vcov_slopes : array (r, p, p)
        Derivatives of the covariance in the variance parameters.
    variance_vcov : array (r, r)
        Covariance of the variance parameters.
    plain_vcov : array (p, p)
        Covariance of the fixed effects without small-sample adjustment.
    cross_slopes : array (r, p, p)
        Kenward-Roger only: X'V⁻¹(∂V/∂γ)V⁻¹X for each variance parameter, on working scales.
    joint_vcov : array (p + t, p + t)
        Binomial only: covariance of the fixed effects and the free entries of the random effects'
        covariances together.
    known_vcov : array (p, p)
        Kenward-Roger of hits only: covariance of the fixed effects on working scales if people did
        not differ, which needs no estimation.
    back : array (p, p)
        Kenward-Roger only: β = back · β on working scales, where origins and units play no part.
    working_vcov : array (p, p)
        Kenward-Roger only: ``plain_vcov`` on working scales.
    """

    method: str
    vcov: Array
    vcov_slopes: Array
    variance_vcov: Array
    plain_vcov: Array
    cross_slopes: Array
    joint_vcov: Array
    known_vcov: Array = field(default_factory=lambda: np.zeros((0, 0)))
    back: Array = field(default_factory=lambda: np.zeros((0, 0)))
    working_vcov: Array = field(default_factory=lambda: np.zeros((0, 0)))


@dataclass(frozen=True)
class FTest:
    """A test that several contrasts are all zero: statistic, its two df and p."""

    statistic: float
    df1: int
    df2: float
    p: float


def degrees_of_freedom(contrast: Array, inference: Inference) -> float:
    """Degrees of freedom of one contrast l'β."""
    if inference.method == "normal":
        return np.inf
    if inference.method == "kenward-roger":
        return kenward_roger_scale(contrast[None], inference)[1]
    return _satterthwaite(contrast, inference)


def _satterthwaite(contrast: Array, inference: Inference) -> float:
    variance = contrast @ inference.vcov @ contrast
    gradient = np.einsum("i,rij,j->r", contrast, inference.vcov_slopes, contrast)
    spread = gradient @ inference.variance_vcov @ gradient
    return float(2 * variance**2 / spread) if spread > 0 else np.inf


def contrast_covariance(contrasts: Array, vcov: Array) -> Array:
    """Covariance (m, m) of contrasts (m, p); effects of weight zero play no part."""
    used = np.flatnonzero(np.any(contrasts != 0, axis=0))
    inside = contrasts[:, used]
    return inside @ vcov[np.ix_(used, used)] @ inside.T


def f_test(contrasts: Array, beta: Array, inference: Inference) -> FTest:
    """Test that every row of ``contrasts`` (m, p) times β is zero.

    Redundant rows are taken out first.
    """
    contrasts = _independent(contrasts)
    rank = len(contrasts)
    estimate = contrasts @ beta
    covariance = contrast_covariance(contrasts, inference.vcov)
    statistic = float(estimate @ np.linalg.solve(covariance, estimate)) / rank
    if inference.method == "kenward-roger":
        scale, df = kenward_roger_scale(contrasts, inference)
        statistic *= scale
    elif inference.method == "normal":
        df = np.inf
    else:
        df = _fai_cornelius(contrasts, covariance, inference)
    return FTest(statistic, rank, df, upper_tail(statistic, rank, df))


def upper_tail(statistic: float, df1: int, df2: float) -> float:
    """Upper tail of F, or of chi-squared over its df where df2 is infinite."""
    if np.isinf(df2):
        return float(stats.chi2.sf(statistic * df1, df1))
    return float(stats.f.sf(statistic, df1, df2))


def _independent(contrasts: Array) -> Array:
    contrasts = np.atleast_2d(contrasts)
    if np.linalg.matrix_rank(contrasts) == len(contrasts):
        return contrasts
    _, singular, rows = np.linalg.svd(contrasts, full_matrices=False)
    found: Array = rows[singular > 1e-10 * max(singular.max(), 1e-300)]
    return found


def _fai_cornelius(contrasts: Array, covariance: Array, inference: Inference) -> float:
    _, vectors = np.linalg.eigh(covariance)
    each = np.array([_satterthwaite(row, inference) for row in vectors.T @ contrasts])
    if len(each) == 1:
        return float(each[0])
    if np.ptp(each) < 1e-8 * each.max():
        return float(each.mean())
    if (each <= 2).any():
        return 2.0
    total = np.sum(each / (each - 2))
    return float(2 * total / (total - len(each)))


def kenward_roger_scale(contrasts: Array, inference: Inference) -> tuple[float, float]:
    """Scale λ and denominator df of the Kenward-Roger F for contrasts (m, p) of full rank.

    References
    ----------
    Kenward MG, Roger JH (1997). Biometrics 53:983-997. https://doi.org/10.2307/2533558
    """
    m, plain = len(contrasts), inference.working_vcov
    contrasts = contrasts @ inference.back
    inverse = np.linalg.inv(contrast_covariance(contrasts, plain))
    theta = contrasts.T @ inverse @ contrasts
    pieces = [theta @ plain @ slope @ plain for slope in inference.cross_slopes]
    traces = np.array([np.trace(piece) for piece in pieces])
    products = np.array([[np.sum(a * b.T) for b in pieces] for a in pieces])
    a1 = float(traces @ inference.variance_vcov @ traces)
    a2 = float(np.sum(inference.variance_vcov * products))
    scale, df = _kenward_roger_moments(m, a1, a2)
    if not inference.known_vcov.size:
        return scale, df
    alone = contrast_covariance(contrasts, inference.known_vcov)
    share = 1 - float(np.trace(inverse @ alone)) / m
    df /= min(max(share, LEAST_SHARE), 1.0)
    return scale, df if df < MOST_DF else np.inf


_NO_EXCESS = 1e-12
"""Excess of the variance of F over that of chi-squared below which rounding decides."""


def _kenward_roger_moments(m: int, a1: float, a2: float) -> tuple[float, float]:
    """Match mean and variance of F; one contrast has df = 2 / A₂ and needs no scale."""
    if a2 <= 0:
        return 1.0, np.inf
    if m == 1:
        return 1.0, 2 / a2
    b = (a1 + 6 * a2) / (2 * m)
    g = ((m + 1) * a1 - (m + 4) * a2) / ((m + 2) * a2)
    below = 3 * m + 2 * (1 - g)
    c1, c2, c3 = g / below, (m - g) / below, (m + 2 - g) / below
    inverse_mean = 1 - a2 / m
    rho = (_ratio(inverse_mean, 1 - c2 * b) ** 2) * _ratio(1 + c1 * b, 1 - c3 * b) / m
    excess = m * rho - 1
    if abs(excess) < _NO_EXCESS:
        return 1.0, np.inf
    df = 4 + (m + 2) / excess if np.isfinite(rho) else 4.0
    return (1.0 if abs(df - 2) < 1e-6 else float(df * inverse_mean / (df - 2))), float(df)


def _ratio(top: float, bottom: float) -> float:
    """A ratio that is one in the exact cases where both sides vanish."""
    if abs(bottom) < 1e-12:
        return 1.0 if abs(top) < 1e-12 else np.inf
    return top / bottom
