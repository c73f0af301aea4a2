"""Separation: fixed effects that run off to infinity because outcomes are split perfectly.

A direction of the fixed effects (and of the thresholds of ratings) along which no row becomes less
likely is looked for by linear programming; where there is one, there is no maximum.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from motorlearn.mixed.formula.designs import Design
from motorlearn.mixed.formula.matrices import names_in_words
from motorlearn.mixed.responses import COUNTS, HITS
from motorlearn.mixed.solve.engine import orthonormal

Array = NDArray[np.float64]

SPLIT = {
    "ordinal": "low and high ratings are split perfectly by the fixed part",
    "poisson": "no event was counted anywhere in some part of the design",
    "negative-binomial": "no event was counted anywhere in some part of the design",
}


def separated_columns(design: Design, observed: Array, family: str) -> tuple[int, ...]:
    """Positions of the fixed effects that run off to infinity."""
    if family in HITS:
        return _split_hits(design, observed)
    if family in COUNTS:
        return _split_counts(design, observed)
    return _split_ratings(design, observed) if family == "ordinal" else ()


def _split_hits(design: Design, observed: Array) -> tuple[int, ...]:
    count = len(design.x)
    hits = np.bincount(design.cell, observed, count)
    attempts = np.bincount(design.cell, design.weight, count)
    x, which = np.unique(design.x, axis=0, return_inverse=True)
    hits = np.bincount(which.ravel(), hits, len(x))
    attempts = np.bincount(which.ravel(), attempts, len(x))
    sign = np.where(hits == attempts, 1.0, np.where(hits == 0, -1.0, 0.0))
    return _direction(design, x, sign, which.ravel())


def _split_counts(design: Design, observed: Array) -> tuple[int, ...]:
    total = np.bincount(design.cell, observed, len(design.x))
    x, which = np.unique(design.x, axis=0, return_inverse=True)
    total = np.bincount(which.ravel(), total, len(x))
    return _direction(design, x, np.where(total == 0, -1.0, 0.0), which.ravel())


def _direction(design: Design, x: Array, sign: Array, which: NDArray[np.intp]) -> tuple[int, ...]:
    """Effects that can move rows of one sign that way and leave all others where they are."""
    pure = sign != 0
    if not pure.any():
        return ()
    x = orthonormal(x)[0] if len(x) > x.shape[1] else x
    signed = x[pure] * sign[pure, None]
    found = linprog(
        -signed.sum(axis=0),
        A_ub=-signed,
        b_ub=np.zeros(len(signed)),
        A_eq=x[~pure] if (~pure).any() else None,
        b_eq=np.zeros((~pure).sum()) if (~pure).any() else None,
        bounds=(-1, 1),
    )
    if not found.success or -found.fun < 1e-7:
        return ()
    turn = np.linalg.lstsq(design.x, x[which])[0]
    return _moved(design, turn @ found.x)


def _split_ratings(design: Design, observed: Array) -> tuple[int, ...]:
    """Effects and thresholds t with t_(k−1) ≤ xδ ≤ t_k for every row of rating k, t_0 staying."""
    last = len(design.categories) - 1
    lines = np.unique(np.column_stack([design.x[design.cell], observed]), axis=0)
    x, rating = lines[:, :-1], lines[:, -1].astype(np.intp)
    scale = np.maximum(np.sqrt(np.mean(x**2, axis=0)), 1e-300)
    t = np.eye(last + 1)[:, 1:last]
    below, above = rating < last, rating > 0
    bounds = np.concatenate(
        [
            np.hstack([x[below] / scale, -t[rating[below]]]),
            np.hstack([-x[above] / scale, t[rating[above] - 1]]),
        ]
    )
    found = linprog(bounds.sum(axis=0), A_ub=bounds, b_ub=np.zeros(len(bounds)), bounds=(-1, 1))
    if not found.success or -found.fun < 1e-7:
        return ()
    return _moved(design, found.x[: x.shape[1]] / scale)


def _moved(design: Design, direction: Array) -> tuple[int, ...]:
    scale = np.sqrt(np.mean(design.x**2, axis=0))
    moved = np.abs(direction) * scale
    return tuple(int(i) for i in np.flatnonzero(moved > 1e-6 * max(moved.max(), 1e-300)))


def separation_in_words(design: Design, separated: tuple[int, ...], family: str) -> str:
    """What is separated, and what can be done."""
    told = names_in_words(design.fixed.columns, [design.fixed])
    names = ", ".join(told[i] for i in separated)
    why = SPLIT.get(family, "hits and misses are split perfectly by the fixed part")
    return (
        f"Separation: {why}, so the estimates of {names} run off to infinity and have no standard "
        "errors or tests; merge levels, or report the raw counts."
    )
