"""Many outcomes of one design with several grouping factors, fitted side by side.

Every search begins where that of a single fit begins and goes the same way, so that the answers
are those of one fit after the other. ``doubtful`` names the outcomes that a single fit has to
look at again: searches that did not settle, met a saddle or have hardly any residual left.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from motorlearn.mixed.replicates import ManyFits
from motorlearn.mixed.solve.engine import CONVERGED, Working
from motorlearn.mixed.solve.general_together import GeneralTogether
from motorlearn.mixed.solve.likelihoods import Likelihood
from motorlearn.mixed.solve.linear_together import LinearTogether, ManyOutcomes
from motorlearn.mixed.solve.optimise import (
    Minimum,
    Objective,
    expected_decrease,
    hessian,
    minimise,
    polish,
)
from motorlearn.mixed.solve.search_general import SAME_PLACE, covariance_of
from motorlearn.mixed.solve.search_linear import curvatures, first_curvature, moment_starts
from motorlearn.mixed.solve.starts import first_point

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

MOST_EFFECTS, MOST_ROWS = 150, 5000
"""Largest design that is searched on dense arrays: effects but the most numerous, and rows."""
_AT_ONCE = 2_000_000
_SADDLE = -1e-4
_HARDLY_ANY, _ROUNDING = 1e-5, 1e-11
_FAR = 1e-3


@dataclass(frozen=True)
class Doubtful:
    """Fits side by side, and which of them (R,) need a fit of their own."""

    fits: ManyFits
    doubtful: Flags


def is_small(work: Working) -> bool:
    """Whether a design is small enough for dense arrays."""
    sizes = sorted(factor.n_effects for factor in work.factors)
    return sum(sizes[:-1]) <= MOST_EFFECTS and len(work.x) <= MOST_ROWS and sizes[-1] <= MOST_ROWS


def in_chunks(work: Working, count: int, fit: Callable[[slice], Doubtful]) -> list[Doubtful]:
    """Fits of outcomes, so many at once as memory is meant to hold."""
    sizes = sorted(factor.n_effects for factor in work.factors)
    width, rest = sum(factor.structure.size for factor in work.factors), sum(sizes[:-1])
    each = len(work.x) * width**2 + sizes[-1] * (rest + len(work.x.T)) + rest**2
    size = max(1, _AT_ONCE // each)
    return [fit(slice(first, first + size)) for first in range(0, count, size)]


def linear_side_by_side(work: Working, outcomes: ManyOutcomes, reml: bool) -> Doubtful:
    """Linear models of many outcomes, less their least-squares fit as for one of them."""
    size = np.abs(outcomes.y).max(axis=1)
    rest, base = outcomes.y, np.zeros((len(outcomes.y), work.x.shape[1]))
    for _ in range(2):
        step = rest @ work.x / rest.shape[1]
        base, rest = base + step, rest - step @ work.x.T
    outcomes = ManyOutcomes(
        rest, outcomes.weight, outcomes.within, outcomes.n, outcomes.log_weights
    )
    model = LinearTogether(work, outcomes, reml)
    theta, total = moment_starts(work, rest, outcomes.weight, outcomes.within)
    found = minimise(model.objective, theta, first_curvature(work, theta))
    curve, _ = curvatures(model, found.x)
    last = polish(model.objective, found, curve)
    here = model.evaluate(last.x, np.arange(len(rest)))
    variance = here.rss / model.df
    vcov = variance[:, None, None] * np.linalg.inv(here.cross)
    constant = 2 * np.linalg.slogdet(work.turn)[1] if reml else 0.0
    left = expected_decrease(curve, here.gradient)
    fits = ManyFits(
        beta=(here.beta + base) @ work.back.T,
        vcov=work.back @ vcov @ work.back.T,
        psi=variance[:, None, None] * _psi(work, last.x),
        sigma=np.sqrt(variance),
        deviance=here.value + constant,
        converged=left < CONVERGED,
        extra=np.zeros((len(rest), 0)),
    )
    bad = _unsettled(found, last, curve, left, _FAR)
    bad |= ~(variance > _HARDLY_ANY**2 * total)
    bad |= ~(np.sqrt(total) > _ROUNDING * size)
    return Doubtful(fits, bad)


def general_side_by_side(
    work: Working, y: Array, weight: Array, offset: Array, likelihood: Likelihood
) -> Doubtful:
    """Models of another kind of outcome ``y``, ``weight`` (R, N), by the Laplace approximation."""
    model = GeneralTogether(work, y, weight, offset, likelihood)
    start, guess = first_point(work.x, work.factors, y, weight, offset, likelihood)
    found = minimise(model.objective, start, guess)
    curve = hessian(model.objective, found.x)
    last = polish(model.objective, found, curve)
    moved = np.flatnonzero(np.abs(last.x - found.x).max(axis=1) > SAME_PLACE)
    if moved.size:
        curve[moved] = hessian(_only(model.objective, moved), last.x[moved])
    value, gradient = model.objective(last.x, np.arange(len(y)))
    p, end = work.x.shape[1], last.x.shape[1] - likelihood.n_extra
    covariance = np.array([covariance_of(one) for one in _finite(curve)])
    left = expected_decrease(_finite(curve), gradient)
    fits = ManyFits(
        beta=last.x[:, :p] @ work.back.T,
        vcov=work.back @ (2 * covariance[:, :p, :p]) @ work.back.T,
        psi=_psi(work, last.x[:, p:end]),
        sigma=np.full(len(y), np.nan),
        deviance=value,
        converged=left < CONVERGED,
        extra=last.x[:, end:],
    )
    return Doubtful(fits, _unsettled(found, last, curve, left, np.inf) | ~np.isfinite(value))


def _only(objective: Objective, chosen: NDArray[np.intp]) -> Objective:
    """The objective of some of the problems, numbered anew."""
    return lambda x, which: objective(x, chosen[which])


def _finite(curve: Array) -> Array:
    """Curvatures, an identity where they are no numbers."""
    good = np.atleast_1d(np.isfinite(curve).all(axis=(1, 2)))
    return np.where(good[:, None, None], curve, np.eye(curve.shape[1]))


def _psi(work: Working, theta: Array) -> Array:
    return np.array([block_diag(*work.psi(one)) for one in theta])


def _unsettled(found: Minimum, last: Minimum, curve: Array, left: Array, far: float) -> Flags:
    """Searches that moved far at the end, that did not settle, or that met a saddle."""
    values = np.linalg.eigvalsh(_finite(curve))
    saddle = values[:, 0] < _SADDLE * np.maximum(1.0, np.abs(values[:, -1]))
    moved = np.abs(last.x - found.x).max(axis=1) > far
    bad = saddle | moved | ~(left < CONVERGED) | ~np.isfinite(curve).all(axis=(1, 2))
    return np.asarray(bad)
