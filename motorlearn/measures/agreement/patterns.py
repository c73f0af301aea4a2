"""Patterns of ratings, and intervals of agreement that hold with few items and rare categories.

What n items tell about the shares of all patterns of ratings is a Dirichlet distribution: the
observed counts, n - 1 in all, plus a prior of one item on which the raters agree (any category
alike) and half an item on which two of them differ (near categories rather than far ones, where
they are ordered). The interval of a coefficient is made of the quantiles of its values over draws
from it. With several clips of one learner the unit that is drawn is the learner, counted as G - 2
of G. Prior and counts were chosen by simulation: see the coverage table in the documentation.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from motorlearn.measures.hits import inside

AGREEING: Final = 1.0
DIFFERING: Final = 0.5
"""Items the prior counts for: one on which raters agree, half a one on which they differ."""

SIMULATIONS: Final = 2000


@dataclass(frozen=True)
class Patterns:
    """Patterns of ratings with how often each was seen, and draws of how common each is.

    ``ratings`` has shape (n_patterns, n_raters), NaN where a rater did not rate; ``seen`` has shape
    (1, n_patterns) and counts items; ``draws`` has shape (simulations, n_patterns), scaled to the
    number of items.
    """

    ratings: np.ndarray
    seen: np.ndarray
    draws: np.ndarray


def patterns_of(
    table: np.ndarray,
    codes: np.ndarray,
    *,
    ordered: bool,
    clusters: np.ndarray | None = None,
    simulations: int = SIMULATIONS,
    seed: int = 0,
) -> Patterns:
    """Count the patterns of a table of ratings and draw how common each may be.

    Parameters
    ----------
    table : ndarray, shape (n_items, n_raters)
        Scores; NaN where a rater did not rate.
    codes : ndarray, shape (n_categories,)
        All categories in order.
    ordered : bool
        Whether near categories are more easily confused than far ones.
    clusters : ndarray of int, shape (n_items,), optional
        Learner of each item, 0 to ``n_clusters - 1``.
    simulations, seed : int
        Number of draws and seed.
    """
    rng = np.random.default_rng(seed)
    prior, mass = _prior(codes, table.shape[1], ordered)
    if clusters is None:
        rows, seen = np.unique(table, axis=0, return_counts=True, equal_nan=True)
        shape = np.concatenate([seen * _share(seen.sum(), 1), mass])
        draws = rng.standard_gamma(np.broadcast_to(shape, (simulations, len(shape))))
        return _scaled(np.concatenate([rows, prior]), seen, draws)
    groups = int(clusters.max()) + 1
    of_clusters = rng.standard_gamma(_share(groups, 2), size=(simulations, groups))
    of_prior = rng.standard_gamma(np.broadcast_to(mass, (simulations, len(mass))))
    draws = np.concatenate([of_clusters[:, clusters], of_prior], axis=1)
    return _scaled(np.concatenate([table, prior]), np.ones(len(table)), draws)


def _share(units: float, less: int) -> float:
    """How much each of so many units counts, where some are taken off."""
    return max((units - less) / units, 0.3)


def _scaled(ratings: np.ndarray, seen: np.ndarray, draws: np.ndarray) -> Patterns:
    counted = np.zeros((1, len(ratings)))
    counted[0, : len(seen)] = seen
    return Patterns(ratings, counted, draws * (seen.sum() / draws.sum(axis=1, keepdims=True)))


def quantile_interval(samples: np.ndarray, estimate: float, *, level: float) -> tuple[float, float]:
    """Quantiles of the draws, widened to the estimate; NaN where there is no estimate."""
    samples = samples[np.isfinite(samples)]
    if not np.isfinite(estimate) or not len(samples):
        return float("nan"), float("nan")
    tail = (1 - inside(level)) / 2
    low, high = np.quantile(samples, [tail, 1 - tail])
    return float(min(low, estimate)), float(max(high, estimate))


def _prior(codes: np.ndarray, raters: int, ordered: bool) -> tuple[np.ndarray, np.ndarray]:
    c = len(codes)
    agreeing = np.repeat(codes[:, None], raters, axis=1)
    first, second = np.nonzero(~np.eye(c, dtype=bool))
    half = (raters + 1) // 2
    differing = np.concatenate(
        [np.repeat(codes[first, None], half, 1), np.repeat(codes[second, None], raters - half, 1)],
        axis=1,
    )
    near = 1 / np.abs(first - second) if ordered else np.ones(len(first))
    share = near / near.sum() if c > 1 else near
    return (
        np.concatenate([agreeing, differing]),
        np.concatenate([np.full(c, AGREEING / c), DIFFERING * share]),
    )
