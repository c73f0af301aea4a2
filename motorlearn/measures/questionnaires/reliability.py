"""Alpha and omega total of the items of a scale, with intervals; arrays in, numbers out."""

from dataclasses import dataclass

import numpy as np
from scipy import stats

FEWEST_ITEMS = 3
"""Items below which a one-factor model has more unknowns than covariances."""
_LEAST_SHARE = 1e-3
_SAMPLE_STEPS = 300


@dataclass(frozen=True)
class Reliability:
    """A coefficient with its interval."""

    estimate: float
    conf_low: float
    conf_high: float


def cronbach_alpha(answers: np.ndarray, *, level: float = 0.95) -> Reliability:
    """Cronbach's alpha of complete answers, with Feldt's interval.

    ``alpha = k / (k - 1) (1 - sum of item variances / variance of the sum)``; of ``n`` people
    ``1 - (1 - alpha) F`` with the quantiles of ``F(n - 1, (n - 1)(k - 1))``. The interval takes the
    items to be parallel up to their means.

    Parameters
    ----------
    answers : ndarray of float, shape (people, items)
        Answers, reversed items turned, nothing missing.
    level : float
        Level of the interval.

    References
    ----------
    Feldt, L. S., Woodruff, D. J. and Salih, F. A. (1987). Statistical inference for coefficient
    alpha. Applied Psychological Measurement, 11, 93-103. doi:10.1177/014662168701100107

    Examples
    --------
    >>> found = cronbach_alpha(np.array([[1.0, 2], [2, 2], [3, 4], [5, 4]]))
    >>> round(found.estimate, 3)
    0.879
    """
    n, k = answers.shape
    whole = answers.sum(axis=1).var(ddof=1)
    if n < 2 or k < 2 or whole <= 0:
        return Reliability(np.nan, np.nan, np.nan)
    alpha = k / (k - 1) * (1 - answers.var(axis=0, ddof=1).sum() / whole)
    tail, df = (1 - level) / 2, (n - 1, (n - 1) * (k - 1))
    low, high = (1 - (1 - alpha) * stats.f.ppf(q, *df) for q in (1 - tail, tail))
    return Reliability(float(alpha), float(low), float(high))


def one_factor(
    covariance: np.ndarray, *, tolerance: float = 1e-9, steps: int = 20_000
) -> tuple[np.ndarray, np.ndarray]:
    """Loadings and unique variances of the one-factor model by maximum likelihood.

    ``S = l l' + diag(u)``, by the EM algorithm, for one matrix or for many at once.

    Parameters
    ----------
    covariance : ndarray, shape (..., items, items)
        Covariance matrices.
    tolerance : float
        Largest change of a loading in its last step, in standard deviations of the item.
    steps : int
        Most steps.

    Returns
    -------
    loadings, unique : ndarray, shape (..., items)

    References
    ----------
    Rubin, D. B. and Thayer, D. T. (1982). EM algorithms for ML factor analysis. Psychometrika, 47,
    69-76. doi:10.1007/BF02293851

    Examples
    --------
    >>> r = np.array([[1, 0.56, 0.48], [0.56, 1, 0.42], [0.48, 0.42, 1]])
    >>> one_factor(r)[0].round(3)
    array([0.8, 0.7, 0.6])
    """
    sd = np.sqrt(np.diagonal(covariance, axis1=-2, axis2=-1))
    r = covariance / sd[..., :, None] / sd[..., None, :]
    loadings = np.full(sd.shape, 0.7)
    unique = np.full(sd.shape, 0.51)
    for _ in range(steps):
        weighted = loadings / unique
        beta = weighted / (1 + (loadings * weighted).sum(axis=-1, keepdims=True))
        cross = np.einsum("...ij,...j->...i", r, beta)
        scale = 1 - (beta * loadings).sum(axis=-1) + (beta * cross).sum(axis=-1)
        new = cross / scale[..., None]
        unique = np.maximum(1 - new * cross, _LEAST_SHARE)
        moved = np.abs(new - loadings).max()
        loadings = new
        if moved < tolerance:
            break
    return loadings * sd, unique * sd**2


def omega_total(
    answers: np.ndarray, *, level: float = 0.95, simulations: int = 500, seed: int = 0
) -> Reliability:
    """McDonald's omega total of one factor, with a bootstrap interval over people.

    ``omega = (sum l)**2 / ((sum l)**2 + sum u)`` with loadings ``l`` and unique variances ``u`` of
    the one-factor model. The interval is one of ``log(1 - omega)``: the spread of ``simulations``
    samples of people with the quantile of t with ``people - 1`` degrees of freedom.

    Parameters
    ----------
    answers : ndarray of float, shape (people, items)
        Answers, reversed items turned, nothing missing; three items or more.
    level : float
        Level of the interval.
    simulations, seed : int
        Samples, and the seed of their draw.

    References
    ----------
    McDonald, R. P. (1999). Test Theory: A Unified Treatment (from memory).
    """
    n, k = answers.shape
    varied = n > k and (answers.std(axis=0) > 0).all()
    if k < FEWEST_ITEMS or not varied:
        return Reliability(np.nan, np.nan, np.nan)
    estimate = float(_omega(*one_factor(np.cov(answers.T))))
    rng = np.random.default_rng(seed)
    drawn = answers[rng.integers(n, size=(simulations, n))]
    drawn = drawn[(drawn.std(axis=1) > 0).all(axis=1)]
    apart = drawn - drawn.mean(axis=1, keepdims=True)
    covariances = np.einsum("spi,spj->sij", apart, apart) / (n - 1)
    values = _omega(*one_factor(covariances, tolerance=1e-4, steps=_SAMPLE_STEPS))
    half = stats.t.isf((1 - level) / 2, n - 1) * np.log1p(-values).std(ddof=1)
    low, high = (1 - (1 - estimate) * np.exp(way * half) for way in (1, -1))
    return Reliability(estimate, float(low), float(high))


def _omega(loadings: np.ndarray, unique: np.ndarray) -> np.ndarray:
    common = loadings.sum(axis=-1) ** 2
    found: np.ndarray = common / (common + unique.sum(axis=-1))
    return found
