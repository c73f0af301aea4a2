"""Change of one person beyond what the trials alone make: every person has own limits.

The one rule of the house. A change counts as beyond trial noise where the interval of that
person's own change leaves out zero:

* **Hits**: the interval of a difference of two rates (Newcombe), from this person's hits and
  attempts in both tests. A band from the group's mean rate is too wide for who hits 1 of 20 or 19
  of 20 and wrong where attempts differ.
* **Scores of trials**: Welch's interval from this person's own trials; where a test has fewer than
  :data:`FEWEST_TRIALS` of them, the spread of the group's trials at this person's numbers.

Why own limits and not the group's: the noise of a count follows from the person's own rate and
attempts, so nothing need be borrowed from others. What own limits lack is variation from day to
day; where a test-retest study gives its standard deviation, ``day_to_day`` widens them.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.measures.aim import Floats
from motorlearn.measures.hits import hit_rate, inside, wilson_interval

FEWEST_TRIALS: Final = 5
"""Trials of a person in a test below which the spread of the group's trials is taken."""


@dataclass(frozen=True)
class OwnChange:
    """Change of each person from a first to a second test, with that person's interval.

    ``exceeds`` is 1 where the interval lies above zero, -1 where it lies below, 0 where it holds
    zero or cannot be computed.
    """

    change: Floats
    conf_low: Floats
    conf_high: Floats
    exceeds: NDArray[np.int64]


def hit_change(
    hits: tuple[ArrayLike, ArrayLike],
    attempts: tuple[ArrayLike, ArrayLike],
    *,
    level: float = 0.95,
    day_to_day: float = 0.0,
) -> OwnChange:
    r"""Change of each person's hit rate with the person's own interval.

    :math:`d = p_2 - p_1` from :math:`d - \sqrt{(p_2-l_2)^2+(u_1-p_1)^2+2(z\tau)^2}` to
    :math:`d + \sqrt{(u_2-p_2)^2+(p_1-l_1)^2+2(z\tau)^2}`, with Wilson limits l and u of each test
    and :math:`\tau` the SD of the person's own rate between days.

    Parameters
    ----------
    hits, attempts : tuple of two array_like, shape (people,)
        First and second test.
    level : float
        Confidence level.
    day_to_day : float
        SD of a person's true rate from day to day, in shares (0.05 is 1 hit of 20); 0 leaves
        trial noise only.

    Raises
    ------
    InputError
        If hits exceed attempts, or the level or ``day_to_day`` is impossible.

    References
    ----------
    Newcombe, R. G. (1998). Statistics in Medicine, 17, 873-890.
    doi:10.1002/(SICI)1097-0258(19980430)17:8<873::AID-SIM779>3.0.CO;2-I.

    Examples
    --------
    >>> found = hit_change(([9, 9], [13, 16]), ([20, 20], [20, 20]))
    >>> found.change.round(2).tolist(), found.exceeds.tolist()
    ([0.2, 0.35], [0, 1])
    """
    extra = 2 * (stats.norm.isf((1 - inside(level)) / 2) * _not_negative(day_to_day)) ** 2
    rates, lows, highs = [], [], []
    for k, n in zip(hits, attempts):
        rates.append(hit_rate(k, n))
        low, high = wilson_interval(k, n, level=level)
        lows.append(low)
        highs.append(high)
    change = rates[1] - rates[0]
    down = np.sqrt((rates[1] - lows[1]) ** 2 + (highs[0] - rates[0]) ** 2 + extra)
    up = np.sqrt((highs[1] - rates[1]) ** 2 + (rates[0] - lows[0]) ** 2 + extra)
    return _judged(change, change - down, change + up)


def hit_limits(
    hits: ArrayLike,
    attempts: ArrayLike,
    later_attempts: ArrayLike,
    *,
    level: float = 0.95,
    day_to_day: float = 0.0,
) -> tuple[Floats, Floats]:
    """Hits of a later test at which a person's change leaves the person's own limits.

    Parameters
    ----------
    hits, attempts : array_like, shape (people,)
        First test.
    later_attempts : array_like, shape (people,)
        Attempts of the later test.
    level, day_to_day : float
        As for :func:`hit_change`.

    Returns
    -------
    tuple of ndarray, shape (people,)
        The most hits that are beyond the limits downwards, and the fewest that are beyond them
        upwards; NaN where no number of hits would be.

    Examples
    --------
    >>> down, up = hit_limits([1, 9, 18], 20, 20)
    >>> down.tolist(), up.tolist()
    ([nan, 3.0, 12.0], [6.0, 16.0, nan])
    """
    k, n, later = np.broadcast_arrays(
        *(np.asarray(one, dtype=float) for one in (hits, attempts, later_attempts))
    )
    if not np.isfinite(later).all() or (later < 0).any() or (later % 1 != 0).any():
        raise InputError("attempts of the later test are whole numbers", later.ravel())
    possible = np.arange(int(later.max(initial=0)) + 1)
    tried = np.minimum(possible, later[..., None])
    found = hit_change(
        (k[..., None], tried), (n[..., None], later[..., None]), level=level, day_to_day=day_to_day
    )
    below, above = found.exceeds < 0, found.exceeds > 0
    down = np.where(below.any(axis=-1), below.sum(axis=-1) - 1.0, np.nan)
    up = np.where(above.any(axis=-1), np.argmax(above, axis=-1), np.nan)
    return down[()], up[()]


def mean_change(
    means: tuple[ArrayLike, ArrayLike],
    sds: tuple[ArrayLike, ArrayLike],
    trials: tuple[ArrayLike, ArrayLike],
    *,
    level: float = 0.95,
    day_to_day: float = 0.0,
    df: float | None = None,
) -> OwnChange:
    r"""Change of each person's mean of trials with the person's own interval (Welch).

    :math:`d \pm t\sqrt{s_1^2/n_1 + s_2^2/n_2 + 2\tau^2}`, t on Welch's degrees of freedom.
    Trials count as independent; where neighbouring trials resemble each other the interval is
    too narrow.

    Parameters
    ----------
    means, sds, trials : tuple of two array_like, shape (people,)
        Mean, standard deviation (divisor n - 1) and number of trials of the two tests.
    level : float
        Confidence level.
    day_to_day : float
        SD of a person's true score from day to day, in the unit of the score.
    df : float, optional
        Degrees of freedom where the standard deviations are pooled ones; Welch's otherwise.

    Examples
    --------
    >>> found = mean_change(([30.0], [22.0]), ([10.0], [8.0]), ([10], [10]))
    >>> float(found.change[0]), found.exceeds.tolist()
    (-8.0, [0])
    """
    first, second = (np.asarray(one, dtype=float) for one in means)
    with np.errstate(divide="ignore", invalid="ignore"):
        shares = [np.asarray(s, float) ** 2 / np.asarray(n, float) for s, n in zip(sds, trials)]
    noise = shares[0] + shares[1]
    own = _welch_df(shares, trials) if df is None else np.asarray(df, dtype=float)
    reach = stats.t.isf((1 - inside(level)) / 2, own) * np.sqrt(noise)
    z = stats.norm.isf((1 - level) / 2)
    half = np.sqrt(reach**2 + 2 * (z * _not_negative(day_to_day)) ** 2)
    half = np.where(noise == 0, np.nan, half)
    return _judged(second - first, second - first - half, second - first + half)


def _welch_df(shares: list[Floats], trials: tuple[ArrayLike, ArrayLike]) -> Floats:
    below = [np.maximum(np.asarray(n, dtype=float) - 1, 0) for n in trials]
    with np.errstate(divide="ignore", invalid="ignore"):
        parts = shares[0] ** 2 / below[0] + shares[1] ** 2 / below[1]
        df: Floats = (shares[0] + shares[1]) ** 2 / parts
        return df


def _judged(change: Floats, low: Floats, high: Floats) -> OwnChange:
    exceeds = np.where(low > 0, 1, np.where(high < 0, -1, 0))
    return OwnChange(change, low, high, exceeds)


def _not_negative(day_to_day: float) -> float:
    if not day_to_day >= 0:
        raise InputError("the SD from day to day is not negative", [day_to_day])
    return day_to_day
