"""What could have been drawn, and where the draw that was made stands among it."""

import math
from dataclasses import dataclass
from itertools import permutations
from typing import Final

import numpy as np

from motorlearn.design.randomisation import Randomisation
from motorlearn.measures.single_case.alternations import (
    alternated,
    alternation_sums,
    count_alternations,
)

MOST_ASSIGNMENTS: Final = 1_000_000
"""Assignments up to which all are listed; beyond, as many as are asked for are drawn."""
_ALIKE: Final = 1e-9


@dataclass(frozen=True)
class Randomised:
    """Where a statistic stands among those of everything that could have been drawn.

    Attributes
    ----------
    statistic : float
        Mean over the cases of mean B minus mean A.
    p : float
        Share of assignments whose statistic is as far out, the one that was drawn included.
    smallest_p : float
        Smallest p that this draw can give.
    assignments : int
        Number of assignments there are.
    used : int
        Number that were looked at: all of them, or those drawn at random.
    exact : bool
        Whether all were looked at.
    """

    statistic: float
    p: float
    smallest_p: float
    assignments: int
    used: int
    exact: bool


def count_assignments(draw: Randomisation, sessions: list[int]) -> int:
    """Number of ways in which the conditions of all cases could have been drawn.

    Parameters
    ----------
    draw : Randomisation
        How they are drawn.
    sessions : list of int
        Sessions of each case.

    Examples
    --------
    >>> count_assignments(Randomisation("AB", starts=((6, 13),)), [18])
    8
    """
    if draw.design == "multiple baseline":
        sizes = (high - low + 1 for low, high in draw.starts)
        return math.factorial(len(sessions)) * math.prod(sizes)
    return math.prod(_count_of_one(draw, n) for n in sessions)


def _count_of_one(draw: Randomisation, n: int) -> int:
    if draw.design == "AB":
        low, high = draw.range_of(0, n)
        return high - low + 1
    if draw.design == "ABAB":
        return math.comb(n - 4 * draw.minimum + 3, 3)
    return count_alternations(draw, n)


def draw_conditions(
    draw: Randomisation, sessions: list[int], rng: np.random.Generator
) -> list[np.ndarray]:
    """Draw the conditions of all cases once: 0 for A, 1 for B, one array for each case.

    Examples
    --------
    >>> drawn = draw_conditions(Randomisation("alternating"), [6], np.random.default_rng(1))
    >>> int(drawn[0].sum())
    3
    """
    if not draw.is_phased:
        return [alternated(draw, n, 1, rng)[0] for n in sessions]
    places = rng.permutation(len(sessions)) if draw.design == "multiple baseline" else None
    found = []
    for case, n in enumerate(sessions):
        if draw.design == "ABAB":
            changes = [int(part[0]) for part in _drawn_changes(draw, n, 1, rng)]
        else:
            low, high = draw.range_of(0 if places is None else int(places[case]), n)
            changes = [int(rng.integers(low, high + 1))]
        found.append(np.searchsorted(changes, np.arange(1, n + 1), side="right") % 2)
    return found


def randomisation_test(
    draw: Randomisation,
    scores: list[np.ndarray],
    codes: list[np.ndarray],
    *,
    one_sided: bool = False,
    simulations: int = 100_000,
    seed: int = 0,
) -> Randomised:
    """Test by what could have been drawn: exact up to 1e6 assignments, else by Monte Carlo.

    ``p = #{T* >= T} / N`` over all ``N`` assignments, with ``T`` the mean over the cases of mean B
    minus mean A (its absolute value where ``one_sided`` is false); of ``R`` assignments drawn at
    random ``p = (1 + #{T* >= T}) / (1 + R)``. Missing sessions keep their place and count in no
    mean.

    Parameters
    ----------
    draw : Randomisation
        How the conditions were drawn.
    scores : list of ndarray of float, shape (sessions,)
        Scores of each case, greater being better where the test is one-sided.
    codes : list of ndarray of float, shape (sessions,)
        0 for A, 1 for B, missing where the session was not held.

    Examples
    --------
    >>> draw = Randomisation("AB", starts=((4, 6),))
    >>> scores = [np.array([1.0, 2, 1, 5, 6, 5, 6, 5])]
    >>> codes = [np.array([0.0, 0, 0, 1, 1, 1, 1, 1])]
    >>> randomisation_test(draw, scores, codes).p
    0.3333333333333333
    """
    observed = float(np.mean([_difference(y, c) for y, c in zip(scores, codes)]))
    n = count_assignments(draw, [len(y) for y in scores])
    exact = n <= MOST_ASSIGNMENTS
    if exact:
        found = _all_statistics(draw, scores)
    else:
        found = _drawn_statistics(draw, scores, simulations, np.random.default_rng(seed))
    # An assignment without a mean in one condition counts against the result.
    found = np.where(np.isnan(found), np.inf, found)
    size, at = (found, observed) if one_sided else (np.abs(found), abs(observed))
    scale = _ALIKE * max(1.0, float(np.max(np.abs(size[np.isfinite(size)]), initial=0.0)))
    count = int((size >= at - scale).sum())
    top = int((size >= size.max() - scale).sum())
    p = count / len(found) if exact else (1 + count) / (1 + len(found))
    smallest = top / len(found) if exact else 1 / (1 + len(found))
    return Randomised(observed, p, smallest, n, len(found), exact)


def _difference(scores: np.ndarray, codes: np.ndarray) -> float:
    held = ~np.isnan(scores)
    return float(scores[held & (codes == 1)].mean() - scores[held & (codes == 0)].mean())


def _all_statistics(draw: Randomisation, scores: list[np.ndarray]) -> np.ndarray:
    """Statistics of all assignments."""
    cases = len(scores)
    if draw.design != "multiple baseline":
        return _sums([_of_case(draw, y) for y in scores]) / cases
    by_range = [
        [_of_starts(y, np.arange(low, high + 1)) for low, high in draw.starts] for y in scores
    ]
    orders = permutations(range(cases))
    parts = [_sums([by_range[case][place] for case, place in enumerate(o)]) for o in orders]
    return np.concatenate(parts) / cases


def _sums(parts: list[np.ndarray]) -> np.ndarray:
    """Sums over all combinations of one value of each part."""
    found = parts[0]
    for part in parts[1:]:
        found = np.add.outer(found, part).ravel()
    return found


def _of_case(draw: Randomisation, scores: np.ndarray) -> np.ndarray:
    """Mean B minus mean A of one case under all of its assignments."""
    if draw.design == "AB":
        low, high = draw.range_of(0, len(scores))
        return _of_starts(scores, np.arange(low, high + 1))
    if draw.design == "ABAB":
        return _of_changes(scores, *_triples(draw, len(scores)))
    held = ~np.isnan(scores)
    sums, counts = alternation_sums(draw, np.where(held, scores, 0.0), held)
    return _means_apart(scores, sums, counts)


def _of_starts(scores: np.ndarray, starts: np.ndarray) -> np.ndarray:
    return _of_changes(scores, starts, None, None)


def _of_changes(
    scores: np.ndarray, b: np.ndarray, a: np.ndarray | None, again: np.ndarray | None
) -> np.ndarray:
    """Differences where B starts at session ``b``, A returns at ``a`` and B at ``again``."""
    held = ~np.isnan(scores)
    total = np.concatenate([[0.0], np.cumsum(np.where(held, scores, 0.0))])
    count = np.concatenate([[0], np.cumsum(held)])
    sums, counts = total[-1] - total[b - 1], count[-1] - count[b - 1]
    if a is not None and again is not None:
        sums = sums - (total[again - 1] - total[a - 1])
        counts = counts - (count[again - 1] - count[a - 1])
    return _means_apart(scores, sums, counts)


def _means_apart(scores: np.ndarray, sums: np.ndarray, counts: np.ndarray) -> np.ndarray:
    whole, n = np.nansum(scores), int((~np.isnan(scores)).sum())
    with np.errstate(divide="ignore", invalid="ignore"):
        found: np.ndarray = sums / counts - (whole - sums) / (n - counts)
    return found


def _triples(draw: Randomisation, n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Sessions of the three changes of a design ABAB, for every assignment."""
    m = draw.minimum
    first, second, third = np.meshgrid(*[np.arange(1, n + 1)] * 3, indexing="ij", copy=False)
    fits = (first > m) & (second >= first + m) & (third >= second + m) & (third <= n - m + 1)
    return first[fits], second[fits], third[fits]


def _drawn_statistics(
    draw: Randomisation, scores: list[np.ndarray], simulations: int, rng: np.random.Generator
) -> np.ndarray:
    """Statistics of assignments drawn at random."""
    cases = len(scores)
    if draw.design == "multiple baseline":
        by_range = [
            [_of_starts(y, np.arange(low, high + 1)) for low, high in draw.starts] for y in scores
        ]
        found = np.zeros(simulations)
        order = rng.permuted(np.tile(np.arange(cases), (simulations, 1)), axis=1)
        for case in range(cases):
            for place in range(cases):
                mine = np.flatnonzero(order[:, case] == place)
                options = by_range[case][place]
                found[mine] += options[rng.integers(len(options), size=len(mine))]
        return found / cases
    found = np.zeros(simulations)
    for y in scores:
        found += _drawn_of_case(draw, y, simulations, rng)
    return found / cases


def _drawn_of_case(
    draw: Randomisation, scores: np.ndarray, simulations: int, rng: np.random.Generator
) -> np.ndarray:
    if _count_of_one(draw, len(scores)) <= MOST_ASSIGNMENTS:
        options = _of_case(draw, scores)
        return options[rng.integers(len(options), size=simulations)]
    if draw.design == "ABAB":
        return _of_changes(scores, *_drawn_changes(draw, len(scores), simulations, rng))
    codes = alternated(draw, len(scores), simulations, rng)
    held = ~np.isnan(scores)
    sums = codes @ np.where(held, scores, 0.0)
    return _means_apart(scores, sums, codes @ held.astype(int))


def _drawn_changes(
    draw: Randomisation, n: int, simulations: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Three changes at random: three different places among those that the minimum leaves."""
    m = draw.minimum
    free = n - 4 * m + 3
    chosen = np.sort(rng.random((simulations, free)).argsort(axis=1)[:, :3], axis=1)
    return tuple(chosen[:, i] - i + m * (i + 1) + 1 for i in range(3))  # type: ignore[return-value]
