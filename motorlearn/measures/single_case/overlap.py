"""Overlap of phases, pair by pair: NAP and Tau-U with intervals."""

from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

Pair = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Overlap:
    """An index of overlap with its interval."""

    estimate: float
    conf_low: float
    conf_high: float


def kendall_s(scores: np.ndarray) -> float:
    """Kendall's S of scores in order: later greater minus later smaller, over all pairs.

    Examples
    --------
    >>> kendall_s(np.array([1.0, 3, 2]))
    1.0
    """
    return float(np.triu(np.sign(scores[None, :] - scores[:, None]), 1).sum())


def nonoverlap(pairs: list[Pair], *, level: float = 0.95, inflation: float = 1.0) -> Overlap:
    """Nonoverlap of all pairs: the share of pairs of an A and a B of which B is greater.

    ``NAP = (#{B > A} + #{B = A} / 2) / (n_A n_B)``, the Mann-Whitney area; of several pairs of
    phases all comparisons are pooled. The interval inverts
    ``|NAP - t| = z sqrt(f V(t))`` with
    ``V(t) = t (1 - t) (1 + (N / 2 - 1) ((1 - t) / (2 - t) + t / (1 + t))) / (n_A n_B)``,
    ``N = n_A + n_B`` and ``f`` the inflation by serial dependence.

    Parameters
    ----------
    pairs : list of (ndarray, ndarray)
        Scores of A and of the B that follows it, greater being better, without missing values.
    level : float
        Level of the interval.
    inflation : float
        Factor of the variance, 1 where sessions are independent.

    References
    ----------
    Parker, R. I. and Vannest, K. J. (2009). An improved effect size for single-case research:
    nonoverlap of all pairs. Behavior Therapy, 40, 357-367. doi:10.1016/j.beth.2008.10.006;
    Newcombe, R. G. (2006). Confidence intervals for an effect size measure based on the
    Mann-Whitney statistic, part 2. Statistics in Medicine, 25, 559-573. doi:10.1002/sim.2324
    (variance from memory; its coverage is simulated in *Do the tests keep their rate?*).

    Examples
    --------
    >>> found = nonoverlap([(np.array([1.0, 2, 3, 4]), np.array([3.0, 5, 6, 7]))])
    >>> found.estimate
    0.90625
    """
    above = sum(float((np.sign(b[:, None] - a[None, :]) + 1).sum() / 2) for a, b in pairs)
    counts = np.array([[len(a), len(b)] for a, b in pairs], dtype=float)
    estimate = float(above / counts.prod(axis=1).sum())
    z = stats.norm.isf((1 - level) / 2)

    def away(t: float) -> float:
        return float(abs(estimate - t) - z * np.sqrt(inflation * _variance(t, counts)))

    low = 0.0 if estimate <= 0 else _crossing(away, 1e-9, estimate)
    high = 1.0 if estimate >= 1 else _crossing(away, 1 - 1e-9, estimate)
    return Overlap(estimate, low, high)


def _variance(t: float, counts: np.ndarray) -> float:
    """Variance of the pooled index: of each pair of phases by its share of comparisons."""
    products, totals = counts.prod(axis=1), counts.sum(axis=1)
    shape = (1 - t) / (2 - t) + t / (1 + t)
    each = t * (1 - t) * (1 + (totals / 2 - 1) * shape) / products
    shares = products / products.sum()
    return float((shares**2 * each).sum())


def _crossing(away: "object", far: float, near: float) -> float:
    """Where the distance equals what chance explains; the limit itself where it never does."""
    function = away
    assert callable(function)
    if function(far) <= 0:
        return round(far)
    inner = near + 1e-12 * np.sign(far - near)
    return float(optimize.brentq(function, far, inner))


def tau_u(pairs: list[Pair], *, level: float = 0.95, inflation: float = 1.0) -> Overlap:
    """Tau-U of A against B with the trend of A taken out.

    ``Tau-U = (S_AB - S_A) / (n_A n_B)``, with Kendall's ``S`` of all pairs of an A and a B, and of
    all pairs inside A; of several pairs of phases numerators and denominators are summed. The
    interval joins that of ``S_AB`` (from NAP, since ``Tau = 2 NAP - 1``) with the variance of
    ``S_A`` without trend, ``n_A (n_A - 1) (2 n_A + 5) / 18``. The index is not bound to -1 and 1.

    Parameters
    ----------
    pairs : list of (ndarray, ndarray)
        Scores of A in order and of the B that follows it, greater being better.
    level, inflation : float
        As for NAP.

    References
    ----------
    Parker, R. I., Vannest, K. J., Davis, J. L. and Sauber, S. B. (2011). Combining nonoverlap and
    trend for single-case research: Tau-U. Behavior Therapy, 42, 284-299.
    doi:10.1016/j.beth.2010.08.006

    Examples
    --------
    >>> round(tau_u([(np.array([3.0, 1, 2]), np.array([4.0, 5, 3]))]).estimate, 4)
    1.0
    """
    between = nonoverlap(pairs, level=level, inflation=inflation)
    counts = np.array([[len(a), len(b)] for a, b in pairs], dtype=float)
    compared, n = counts.prod(axis=1).sum(), counts[:, 0]
    trend = sum(kendall_s(a) for a, _ in pairs) / compared
    spread = np.sqrt(inflation * (n * (n - 1) * (2 * n + 5) / 18).sum()) / compared
    half = stats.norm.isf((1 - level) / 2) * spread
    tau, low, high = (2 * v - 1 for v in (between.estimate, between.conf_low, between.conf_high))
    return Overlap(
        float(tau - trend),
        float(tau - trend - np.hypot(tau - low, half)),
        float(tau - trend + np.hypot(high - tau, half)),
    )
