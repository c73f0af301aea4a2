"""Whether two scores of the same people move together from test to test."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import stats

from motorlearn.exceptions import InputError

FEWEST_PEOPLE: Final = 6
"""Below this nothing is computed: six people can change places in 720 ways."""
_ROUNDS: Final = 200
_SETTLED: Final = 1e-10
_EDGE: Final = 0.9999


@dataclass(frozen=True)
class MovingTogether:
    """Correlation of two scores within people, as they stand and apart from the common course.

    Parameters
    ----------
    n, tests : int
        People with both scores at two tests or more; tests that any of them has.
    r_within : float
        Repeated-measures correlation: what people share because both scores rise is in it.
    r : float
        The same after the mean of every test (and group) is taken out as well.
    conf_low, conf_high : float
        Interval of `r` by the jackknife over people.
    p : float
        Two-sided p value of `r` by permutation of people.
    """

    n: int
    tests: int
    r_within: float
    r: float
    conf_low: float
    conf_high: float
    p: float


def moving_together(
    first: np.ndarray,
    second: np.ndarray,
    *,
    strata: np.ndarray | None = None,
    level: float = 0.95,
    simulations: int = 1999,
    seed: int = 0,
) -> MovingTogether:
    r"""Correlate two scores within people, apart from the course that all have in common.

    With :math:`x_{it}, y_{it}` the scores of person :math:`i` at test :math:`t`,
    :math:`r_{within}` is the correlation of :math:`x_{it}-\bar x_i` and :math:`y_{it}-\bar y_i`.
    Where both scores rise with practice it is large although nobody's technique has anything to
    do with that person's hits. :math:`r` is therefore the correlation of what is left when the
    means of people and of tests are taken out. Its p value permutes whole people (inside strata),
    which keeps its rate whatever the course of a person looks like; its interval is the jackknife
    over people on Fisher's z with :math:`t_{n-1}`.

    Parameters
    ----------
    first, second : ndarray of float, shape (people, tests)
        Scores; a missing one is nan.
    strata : ndarray, shape (people,), optional
        Group of each person: means of tests are taken out, and people permuted, inside groups.
    level : float
        Level of the interval.
    simulations : int
        Permutations.
    seed : int
        Seed of the permutations.

    Returns
    -------
    MovingTogether

    Raises
    ------
    InputError
        If fewer than six people have both scores at two tests, or one of the scores is constant.

    References
    ----------
    Bakdash, J. Z., & Marusich, L. R. (2017). Repeated measures correlation. *Frontiers in
    Psychology*, 8, 456. https://doi.org/10.3389/fpsyg.2017.00456

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> own = rng.normal(size=(12, 4))
    >>> technique = own + np.arange(4)
    >>> hits = 8 + 2 * np.arange(4) + own + rng.normal(size=(12, 4))
    >>> found = moving_together(technique, hits)
    >>> found.n, found.r_within > found.r > 0.5, found.p < 0.01
    (12, True, True)
    """
    both = np.isfinite(first) & np.isfinite(second)
    people = both.sum(axis=1) >= 2
    both &= people[:, None]
    x, y = (np.where(both, score, np.nan)[people] for score in (first, second))
    groups = np.zeros(len(x)) if strata is None else np.asarray(strata)[people]
    if len(x) < FEWEST_PEOPLE:
        raise InputError(
            "too few people have both scores at two tests or more",
            [len(x)],
            f"{FEWEST_PEOPLE} are needed to say what moves together",
        )
    left = _apart(x, groups), _apart(y, groups)
    within = _correlation(_within(x), _within(y))
    r = _correlation(*left)
    if not np.isfinite(r):
        raise InputError("one of the two scores does not vary from test to test within people")
    low, high = _jackknife(x, y, groups, level)
    rng = np.random.default_rng(seed)
    p = _permuted(*left, groups, simulations, rng)
    return MovingTogether(len(x), int(both.any(axis=0).sum()), within, r, low, high, p)


def _within(scores: np.ndarray) -> np.ndarray:
    """What is left without each person's mean; a missing score leaves nothing."""
    left = scores - np.nanmean(scores, axis=1, keepdims=True)
    return np.where(np.isfinite(left), left, 0.0)


def _apart(scores: np.ndarray, groups: np.ndarray) -> np.ndarray:
    """What is left without the means of people and of tests in groups, by alternating."""
    there = np.isfinite(scores)
    left = np.where(there, scores, 0.0)
    scale = np.abs(left).max(initial=1.0)
    levels, codes = np.unique(groups, return_inverse=True)
    members = (np.arange(len(levels))[:, None] == codes).astype(float)
    of_tests = np.maximum(members @ there, 1)
    of_people = np.maximum(there.sum(axis=1, keepdims=True), 1)
    for _ in range(_ROUNDS):
        before = left
        left = np.where(there, left - (members @ left / of_tests)[codes], 0.0)
        left = np.where(there, left - left.sum(axis=1, keepdims=True) / of_people, 0.0)
        if np.abs(left - before).max(initial=0.0) < _SETTLED * scale:
            break
    return left


def _correlation(x: np.ndarray, y: np.ndarray) -> float:
    size = np.sqrt((x * x).sum() * (y * y).sum())
    return float((x * y).sum() / size) if size > _SETTLED else np.nan


def _jackknife(
    x: np.ndarray, y: np.ndarray, groups: np.ndarray, level: float
) -> tuple[float, float]:
    n = len(x)
    z = np.arctanh(np.clip(_correlation(_apart(x, groups), _apart(y, groups)), -_EDGE, _EDGE))
    parts = []
    for person in range(n):
        rest = np.arange(n) != person
        without = _correlation(_apart(x[rest], groups[rest]), _apart(y[rest], groups[rest]))
        parts.append(np.arctanh(np.clip(without, -_EDGE, _EDGE)))
    if not np.isfinite(parts).all():
        return np.nan, np.nan
    error = np.sqrt((n - 1) / n * np.sum((parts - np.mean(parts)) ** 2))
    half = stats.t.isf((1 - level) / 2, n - 1) * error
    return float(np.tanh(z - half)), float(np.tanh(z + half))


def _permuted(
    x: np.ndarray, y: np.ndarray, groups: np.ndarray, simulations: int, rng: np.random.Generator
) -> float:
    """Share of permutations of people, inside groups, that give a covariance as large."""
    products = x @ y.T
    seen = abs(np.trace(products))
    keys = rng.random((simulations, len(x)))
    order = np.empty((simulations, len(x)), dtype=np.intp)
    for group in np.unique(groups):
        mine = np.flatnonzero(groups == group)
        order[:, mine] = mine[np.argsort(keys[:, mine], axis=1)]
    drawn = np.abs(products[order, np.arange(len(x))].sum(axis=1))
    return float((1 + np.sum(drawn >= seen * (1 - _SETTLED))) / (simulations + 1))
