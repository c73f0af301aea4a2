"""Search for the maximum likelihood of a model of level and spread, on working scales and back."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from motorlearn.mixed.solve.covariance import correlated
from motorlearn.mixed.solve.engine import ONE, group_starts, working
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.location_scale import LocationScale, SpreadRows
from motorlearn.mixed.solve.optimise import (
    Minimum,
    expected_decrease,
    hessian,
    minimise,
    polish,
    positive_inverse,
)

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_ROUNDS = 20
_FEW_NODES = 5
_EARLY = 0.1
_LEAST_CURVED = 1e-3
_SETTLED = 1e-5
_MEAN_LOG_ABSOLUTE = -0.635
"""Mean of the logarithm of an absolute standard normal variable."""


@dataclass(frozen=True)
class SpreadParts:
    """Matrices of rows sorted by ``person`` (N,): ``x`` and ``w`` fixed, ``z`` and ``s`` random."""

    x: Array
    w: Array
    z: Array
    s: Array
    person: Index


@dataclass(frozen=True)
class SpreadSolution:
    """What a search found, on the original scales.

    ``vcov`` is that of β and γ together, ``shown`` the one the people show, from ``pull``
    (G, p + s), how far each person moves β and γ; ``psi`` (q + k, q + k) covariance of level and
    log spread terms; ``modes`` (G, q + k).
    """

    beta: Array
    gamma: Array
    vcov: Array
    pull: Array
    psi: Array
    modes: Array
    spread: Array
    deviance: float
    free: int
    expected_decrease: float
    lowest: float
    iterations: int

    @property
    def shown(self) -> Array:
        """Covariance of β and γ that the people show."""
        return self.pull.T @ self.pull


def solve_location_scale(
    y: Array, parts: SpreadParts, *, tied: bool, quadrature: int
) -> SpreadSolution:
    """Fit level and spread together by maximum likelihood."""
    middle, unit = float(y.mean()), float(y.std())
    factors = [
        Factor(parts.person, terms, correlated(terms.shape[1]), int(parts.person.max()) + 1)
        for terms in (parts.z, parts.s)
        if terms.shape[1]
    ]
    level, log_sd = working(parts.x, factors), working(parts.w, [])
    scaled = [factor.z.T for factor in level.factors]
    s = scaled[-1] if parts.s.shape[1] else np.zeros((0, len(y)))
    z = scaled[0] if parts.z.shape[1] else np.zeros((0, len(y)))
    starts = group_starts(parts.person)
    rows = SpreadRows((y - middle) / unit, level.x, log_sd.x, z, s, starts)
    model = LocationScale(_summed(rows, parts), tied and bool(len(z)), quadrature)
    found = _search(model, _start(rows, model))
    curve = hessian(model.objective, found.x)
    found = polish(model.objective, found, curve)
    undo = block_diag(*level.backs) if factors else np.zeros((0, 0))
    undo[: len(z)] *= unit
    return _on_original_scales(model, found, curve[0], parts, middle, unit, level.back, undo)


def _summed(rows: SpreadRows, parts: SpreadParts) -> SpreadRows:
    """Rows of a person that share all their columns as one, which loses nothing."""
    key = np.column_stack([parts.person, parts.x, parts.w, parts.z, parts.s])
    _, first, cell = np.unique(key, axis=0, return_index=True, return_inverse=True)
    cell = cell.ravel()
    times = np.bincount(cell).astype(float)
    mean = np.bincount(cell, rows.y) / times
    squares = np.asarray(np.bincount(cell, (rows.y - mean[cell]) ** 2), dtype=float)
    starts = group_starts(parts.person[first])
    x, w, z, s = rows.x[first], rows.w[first], rows.z[:, first], rows.s[:, first]
    return SpreadRows(mean, x, w, z, s, starts, times, squares)


def _search(model: LocationScale, point: Array) -> Minimum:
    """Search in rounds: place the nodes, then take steps while they stay; first with few nodes.

    Slopes are exactly those of the sum over nodes that stay; early rounds end after a few steps,
    since nodes that stay are right only near the point where they were placed.
    """
    few = min(_FEW_NODES, model.quadrature)
    coarse = LocationScale(model.rows, model.tied, few)
    found = _rounds(coarse, point[None], _EARLY, 8, 0.3)
    model.centre = coarse.centre.copy()
    return _rounds(model, found.x, _SETTLED, 30, 0.5)


def _rounds(model: LocationScale, x: Array, settled: float, steps: int, longest: float) -> Minimum:
    """Place nodes and search in turn until a round gains no more than ``settled``."""
    for _ in range(_ROUNDS):
        model.place_nodes(x[0])
        inverse = _downhill(hessian(model.objective, x))
        before = float(model.objective(x, ONE)[0][0])
        found = minimise(model.objective, x, inverse, longest=longest, max_iterations=steps)
        x = found.x
        if before - float(found.value[0]) < settled:
            break
    return found


def _downhill(curve: Array) -> Array:
    """Inverse (1, d, d) of a Hessian with every curvature taken as positive, none as nothing.

    A direction whose curvature is negative would otherwise never be searched.
    """
    scale = 1 / np.sqrt(np.maximum(np.abs(np.diagonal(curve[0])), 1e-8))
    values, vectors = np.linalg.eigh(curve[0] * np.outer(scale, scale))
    found = (vectors / np.maximum(np.abs(values), _LEAST_CURVED)) @ vectors.T
    return np.asarray((np.outer(scale, scale) * found)[None])


def _start(rows: SpreadRows, model: LocationScale) -> Array:
    """Least squares, then the logarithms of what is left within people."""
    beta = np.linalg.lstsq(rows.x, rows.y)[0]
    rest = rows.y - rows.x @ beta
    means = np.add.reduceat(rest, rows.starts) / rows.count
    within = rest - means[rows.group]
    floor = 1e-3 * max(float(within.std()), 1e-6)
    logs = np.log(np.maximum(np.abs(within), floor)) - _MEAN_LOG_ABSOLUTE
    gamma = np.linalg.lstsq(rows.w, logs)[0]
    theta = 0.7 * max(float(means.std()), 0.1) * model.level_shape.start
    ties = np.zeros(model.sizes[3])
    own = 0.25 * model.spread_shape.start if model.spreads else np.zeros(0)
    return np.concatenate([beta, gamma, theta, ties, own])


def _on_original_scales(
    model: LocationScale,
    found: Minimum,
    curve: Array,
    parts: SpreadParts,
    middle: float,
    unit: float,
    back: Array,
    undo: Array,
) -> SpreadSolution:
    point, rows = found.x[0], model.rows
    p, s = rows.x.shape[1], rows.w.shape[1]
    inverse = 2 * positive_inverse(curve[None])[0]
    _, by_person = model.by_person(point)
    scores = -by_person / 2
    turn = block_diag(unit * back, working(parts.w, []).back)
    own = turn @ inverse[: p + s]
    ones = np.ones(len(parts.x))
    beta = unit * back @ point[:p] + np.linalg.lstsq(parts.x, middle * ones)[0]
    gamma = turn[p:, p:] @ point[p : p + s] + np.linalg.lstsq(parts.w, np.log(unit) * ones)[0]
    modes, spread = model.effects(point)
    values = np.linalg.eigvalsh(curve)
    return SpreadSolution(
        beta=beta,
        gamma=gamma,
        vcov=own[:, : p + s] @ turn.T,
        pull=scores @ own.T,
        psi=undo @ model.covariance(point) @ undo.T,
        modes=modes @ undo.T,
        spread=undo @ spread @ undo.T,
        deviance=float(found.value[0]) + 2 * len(parts.x) * float(np.log(unit)),
        free=len(point),
        expected_decrease=float(expected_decrease(curve[None], found.gradient)[0]),
        lowest=float(values[0] / max(1.0, abs(values[-1]))),
        iterations=found.iterations,
    )
