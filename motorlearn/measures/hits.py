"""Hits among attempts: rates, intervals and the empirical logit."""

import numpy as np
from numpy.typing import ArrayLike
from scipy import special
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from motorlearn.exceptions import InputError
from motorlearn.measures.aim import Floats


def hit_rate(hits: ArrayLike, attempts: ArrayLike) -> Floats:
    """Hit rate ``k / n``; NaN where there was no attempt.

    Examples
    --------
    >>> float(hit_rate(12, 20))
    0.6
    """
    k, n = _counts(hits, attempts)
    return np.where(n > 0, k / np.maximum(n, 1), np.nan)[()]


def wilson_interval(
    hits: ArrayLike, attempts: ArrayLike, *, level: float = 0.95
) -> tuple[Floats, Floats]:
    """Score interval of a hit rate (Wilson), which stays inside 0 to 1.

    ``(p + z²/2n ± z sqrt(p(1-p)/n + z²/4n²)) / (1 + z²/n)``, NaN where there was no attempt. It
    treats the attempts as independent, so it describes one person's test, not a group.

    References
    ----------
    Wilson, E. B. (1927). JASA, 22, 209-212. https://doi.org/10.1080/01621459.1927.10502953
    Newcombe, R. G. (1998). Statistics in Medicine, 17, 857-872.
    https://doi.org/10.1002/(SICI)1097-0258(19980430)17:8<857::AID-SIM777>3.0.CO;2-E

    Examples
    --------
    >>> low, high = wilson_interval(12, 20)
    >>> round(float(low), 3), round(float(high), 3)
    (0.387, 0.781)
    """
    return _interval(hits, attempts, level, "wilson")


def clopper_pearson_interval(
    hits: ArrayLike, attempts: ArrayLike, *, level: float = 0.95
) -> tuple[Floats, Floats]:
    """Exact interval of a hit rate, which covers at least ``level`` whatever the true rate.

    References
    ----------
    Clopper, C. J., & Pearson, E. S. (1934). Biometrika, 26, 404-413.
    https://doi.org/10.1093/biomet/26.4.404

    Examples
    --------
    >>> low, high = clopper_pearson_interval(0, 20)
    >>> float(low), round(float(high), 4)
    (0.0, 0.1684)
    """
    return _interval(hits, attempts, level, "beta")


def _interval(
    hits: ArrayLike, attempts: ArrayLike, level: float, method: str
) -> tuple[Floats, Floats]:
    """Interval of statsmodels; NaN where there was no attempt, whole ends where all or none hit."""
    k, n = _counts(hits, attempts)
    some = np.where(n > 0, n, np.nan)
    found = proportion_confint(k, some, alpha=1 - inside(level), method=method)
    low, high = (np.asarray(end, dtype=float) + 0.0 * some for end in found)
    return np.where(k == 0, 0.0 * some, low)[()], np.where(k == n, 1.0 + 0.0 * some, high)[()]


def newcombe_difference(
    hits: tuple[float, float], attempts: tuple[float, float], *, level: float = 0.95
) -> tuple[float, float, float]:
    """Difference of two independent hit rates, first minus second, with its interval.

    Method 10 of Newcombe: the two Wilson intervals combined by squares. For two persons or two
    tests of different persons; attempts of one group of people are not independent.

    Returns
    -------
    tuple of float
        Difference, lower and upper limit.

    References
    ----------
    Newcombe, R. G. (1998). Statistics in Medicine, 17, 873-890.
    https://doi.org/10.1002/(SICI)1097-0258(19980430)17:8<873::AID-SIM779>3.0.CO;2-I

    Examples
    --------
    >>> [round(value, 4) for value in newcombe_difference((56, 48), (70, 80))]
    [0.2, 0.0524, 0.3339]
    """
    k, n = _counts(hits, attempts)
    if (n <= 0).any():
        return float("nan"), float("nan"), float("nan")
    low, high = confint_proportions_2indep(
        k[0], n[0], k[1], n[1], method="newcomb", compare="diff", alpha=1 - inside(level)
    )
    return float(k[0] / n[0] - k[1] / n[1]), float(low), float(high)


def empirical_logit(hits: ArrayLike, attempts: ArrayLike) -> Floats:
    """Empirical logit ``ln((k + ½) / (n - k + ½))``, finite for all hits and all misses.

    Examples
    --------
    >>> round(float(empirical_logit(20, 20)), 4), float(empirical_logit(10, 20))
    (3.7136, 0.0)
    """
    k, n = _counts(hits, attempts)
    return np.where(n > 0, np.log((k + 0.5) / (n - k + 0.5)), np.nan)[()]


def log_choose(hits: Floats, attempts: Floats) -> Floats:
    """Logarithm of the number of ways to place the hits among the attempts.

    Examples
    --------
    >>> round(float(np.exp(log_choose(np.array(2.0), np.array(5.0)))), 9)
    10.0
    """
    ways = special.gammaln(hits + 1) + special.gammaln(attempts - hits + 1)
    log_ways: Floats = special.gammaln(attempts + 1) - ways
    return log_ways


def _counts(hits: ArrayLike, attempts: ArrayLike) -> tuple[Floats, Floats]:
    k, n = np.broadcast_arrays(np.asarray(hits, dtype=float), np.asarray(attempts, dtype=float))
    wrong = ~((k >= 0) & (k <= n) & np.isfinite(n))
    if wrong.any():
        raise InputError(
            "hits must lie between 0 and the attempts",
            [f"{hit:g} of {all_:g}" for hit, all_ in zip(k[wrong], n[wrong])],
            "correct the counts",
        )
    return k, n


def inside(level: float) -> float:
    """Give back a confidence level that lies between 0 and 1, refuse any other.

    Examples
    --------
    >>> inside(0.95)
    0.95
    """
    if not isinstance(level, int | float | np.floating) or not 0 < level < 1:
        raise InputError("a confidence level lies between 0 and 1", [level], "use for example 0.95")
    return level
