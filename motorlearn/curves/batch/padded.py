"""Curves of learners with practice counts of their own: any form, missing rows, weights, hits.

Every learner is a row of a padded array; padding has weight 0. All learners take their scoring
steps together, each with its own damping.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from scipy.ndimage import minimum_filter
from scipy.special import expit, log_expit

from motorlearn.curves.forms import Form
from motorlearn.curves.single.problem import LARGEST_LOGIT, Problem
from motorlearn.curves.single.solving import solve

NODES = {1: (48,), 2: (20, 18), 3: (20, 16, 10)}
HIT_NODES = {1: (14,), 2: (8, 8), 3: (5, 5, 4)}
STARTS, MANY_STARTS = 3, 32
"""Places from which a learner is refined, for forms with one or two rates and with more."""
FIRST_STEPS, MOST_STEPS = 24, 80
"""Steps from every start, and then from the best of each learner."""
SETTLED, TOGETHER = 1e-10, 250
"""Step that is none any more; learners searched together where a grid has many places."""


@dataclass(frozen=True)
class Padded:
    """Learners in rows: practice ``n``, outcome ``y`` (or hits), ``weights`` (or attempts)."""

    form: Form
    n: np.ndarray
    y: np.ndarray
    weights: np.ndarray
    binomial: bool
    first: float

    @property
    def origin(self) -> np.ndarray:
        """Smallest practice count of each learner, as a column."""
        found: np.ndarray = np.min(
            np.where(self.weights > 0, self.n, np.inf), axis=1, keepdims=True
        )
        return found

    def pick(self, rows: np.ndarray) -> "Padded":
        """Some of the learners, in any order and as often as wanted."""
        return Padded(
            self.form, self.n[rows], self.y[rows], self.weights[rows], self.binomial, self.first
        )

    def fallen(self, tau: np.ndarray) -> np.ndarray:
        """Log basis less its value at the learner's smallest practice count."""
        rates = [np.exp(tau[:, [k]]) for k in range(tau.shape[1])]
        at = self.form.log_basis(self.origin, rates, self.first)
        found: np.ndarray = self.form.log_basis(self.n, rates, self.first) - at
        return found

    def tilt(self, tau: np.ndarray) -> np.ndarray:
        """Derivatives of :meth:`fallen` by the log rates, shape (learners, rows, rates)."""
        rates = [np.exp(tau[:, [k]]) for k in range(tau.shape[1])]
        here = self.form.slopes(self.n, rates, self.first)
        there = self.form.slopes(self.origin, rates, self.first)
        return np.stack([r * (a - b) for r, a, b in zip(rates, here, there)], axis=2)


@dataclass(frozen=True)
class Optimum:
    """Best point of each learner: ``beta`` is (level at the smallest count, height of the fall)."""

    tau: np.ndarray
    beta: np.ndarray
    loss: np.ndarray
    at_bound: np.ndarray
    settled: np.ndarray

    def pick(self, rows: np.ndarray) -> "Optimum":
        """Some of the learners."""
        return Optimum(*(getattr(self, item.name)[rows] for item in fields(self)))

    def joined(self, other: "Optimum") -> "Optimum":
        """These learners and then the others."""
        return Optimum(
            *(
                np.concatenate([getattr(self, item.name), getattr(other, item.name)])
                for item in fields(self)
            )
        )

    def put(self, rows: np.ndarray, other: "Optimum", where: np.ndarray) -> None:
        """Take what another search found for some learners, where that is wanted."""
        for item in fields(self):
            getattr(self, item.name)[rows[where]] = getattr(other, item.name)[where]


def log_bounds(data: Padded) -> np.ndarray:
    """Bounds of the log rates of each learner, shape (learners, rates, 2)."""
    return for_counts(data, data.form.bounds)


def for_counts(data: Padded, wanted: Callable[[np.ndarray], Sequence[Any]]) -> np.ndarray:
    """Logarithms of what the different practice counts of each learner give, one row a learner."""
    used = data.weights > 0
    if np.all(used == used[0]) and np.all(data.n == data.n[0]):
        one = np.log(np.array(wanted(np.unique(data.n[0][used[0]]))))
        return np.broadcast_to(one, (len(data.n), *one.shape)).copy()
    known: dict[bytes, np.ndarray] = {}
    rows = []
    for n, inside in zip(data.n, used):
        counts = np.unique(n[inside])
        key = counts.tobytes()
        if key not in known:
            known[key] = np.log(np.array(wanted(counts)))
        rows.append(known[key])
    return np.array(rows)


def fit_padded(data: Padded) -> Optimum:
    """Search, refine and choose the best curve of every learner.

    Learners whose search does not come to rest are searched once more, one by one.
    """
    if len(data.form.rates) > 1 and len(data.y) > TOGETHER:
        cuts = [
            np.arange(k, min(k + TOGETHER, len(data.y))) for k in range(0, len(data.y), TOGETHER)
        ]
        parts = [fit_padded(data.pick(rows)) for rows in cuts]
        names = [item.name for item in fields(Optimum)]
        return Optimum(*(np.concatenate([getattr(p, name) for p in parts]) for name in names))
    bounds = log_bounds(data)
    rows, tau = _starts(data, bounds)
    found = _refine(data.pick(rows), tau, bounds[rows], FIRST_STEPS)
    order = np.lexsort((found.loss, rows))
    best = order[np.searchsorted(rows[order], np.arange(len(data.y)))]
    optimum = found.pick(best)
    if not optimum.settled.all():
        creeping = np.flatnonzero(~optimum.settled)
        far = _refine(data.pick(creeping), optimum.tau[creeping], bounds[creeping])
        optimum.put(creeping, far, far.loss <= optimum.loss[creeping])
    optimum.settled[extreme(data, optimum)] = True
    for k in np.flatnonzero(~optimum.settled):
        search_one(data, optimum, int(k))
    return optimum


def extreme(data: Padded, best: Optimum) -> np.ndarray:
    """Whose hit rate runs into 0 or 1, where no optimum is."""
    if not data.binomial:
        return np.zeros(len(data.y), bool)
    eta = best.beta[:, [0]] + best.beta[:, [1]] * np.expm1(data.fallen(best.tau))
    found: np.ndarray = (
        np.abs(np.where(data.weights > 0, eta, 0.0)).max(axis=1) > LARGEST_LOGIT - 0.5
    )
    return found


def search_one(data: Padded, optimum: Optimum, k: int) -> None:
    """Settle the curve of one learner as a single fit does, and put it in where it is better.

    With three rates the search began at as many places, so that it goes on from the best of
    them; others are searched anew, over the whole range.
    """
    used = data.weights[k] > 0
    n, y, weights = data.n[k][used], data.y[k][used], data.weights[k][used]
    several = len(data.form.rates) > 2 and not data.binomial and np.isfinite(optimum.loss[k])
    near = np.exp(optimum.tau[k]) if several else None
    found = solve(Problem(data.form, n, y, weights, data.binomial, data.first), start=near)
    if found.loss <= optimum.loss[k] * (1 + 1e-9):
        optimum.tau[k], optimum.beta[k] = np.log(found.theta), found.coefficients
        optimum.loss[k], optimum.at_bound[k] = found.loss, found.at_bound
        optimum.settled[k] = found.converged


def profile_loss(data: Padded, tau: np.ndarray) -> np.ndarray:
    """Loss of every learner with the log rates given."""
    if not data.binomial:
        return _straight(data.y, data.weights, np.expm1(data.fallen(tau)))[1]
    return _refine(data, tau.copy(), np.stack([tau, tau], axis=2)).loss


def _starts(data: Padded, bounds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Best few nodes of a grid for each learner that are better than all their neighbours."""
    sizes = NODES[bounds.shape[1]]
    spread = np.stack(
        [axis.ravel() for axis in np.meshgrid(*map(shares, sizes), indexing="ij")], axis=1
    )
    losses = _searched(data, bounds, spread)
    chosen, keep = _best_places(losses.reshape(*sizes, len(data.y)))
    rank, rows = np.nonzero(keep)
    share = spread[chosen[rank, rows]]
    tau = bounds[rows, :, 0] + share * (bounds[rows, :, 1] - bounds[rows, :, 0])
    if not data.binomial:
        return rows, tau
    more_rows, more = _starts_of_hits(data, bounds)
    return np.concatenate([rows, more_rows]), np.concatenate([tau, more])


def _searched(data: Padded, bounds: np.ndarray, spread: np.ndarray) -> np.ndarray:
    """Losses at places between the bounds, shape (places, learners).

    Learners with the same practice counts and plain scores share the basis of every place.
    """
    response, weights = _linearised(data)
    if np.all(weights == 1.0) and np.all(data.n == data.n[0]) and np.all(bounds == bounds[0]):
        tau = bounds[0, :, 0] + spread * (bounds[0, :, 1] - bounds[0, :, 0])
        v = np.expm1(data.pick(np.zeros(len(tau), int)).fallen(tau))
        v -= v.mean(axis=1, keepdims=True)
        length = np.linalg.norm(v, axis=1, keepdims=True)
        y = response - response.mean(axis=1, keepdims=True)
        told = (v / np.where(length > 0, length, 1.0)) @ y.T
        found: np.ndarray = 0.5 * (np.sum(y**2, axis=1) - told**2)
        return found
    losses = np.empty((len(spread), len(data.y)))
    for k, share in enumerate(spread):
        tau = bounds[:, :, 0] + share * (bounds[:, :, 1] - bounds[:, :, 0])
        losses[k] = _straight(response, weights, np.expm1(data.fallen(tau)))[1]
    return losses


def _best_places(cube: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places better than all their neighbours, best first, and which of them are any; by learner.

    ``cube`` has one axis per rate, and learners last.
    """
    axes = cube.ndim - 1
    around = minimum_filter(cube, size=(3,) * axes + (1,), mode="nearest")
    losses = np.where(cube <= around, cube, np.inf).reshape(-1, cube.shape[-1])
    count = STARTS if axes < 3 else MANY_STARTS
    some = np.argpartition(losses, min(count, len(losses)) - 1, axis=0)[:count]
    order = np.argsort(np.take_along_axis(losses, some, axis=0), axis=0, kind="stable")
    chosen = np.take_along_axis(some, order, axis=0)
    return chosen, np.isfinite(np.take_along_axis(losses, chosen, axis=0))


def _starts_of_hits(data: Padded, bounds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Nodes of a coarser grid that are best by the likelihood itself; logits may mislead."""
    sizes = HIT_NODES[bounds.shape[1]]
    axes = np.meshgrid(*(np.linspace(0.3, 1.0, size) for size in sizes), indexing="ij")
    spread = np.stack([axis.ravel() for axis in axes], axis=1)
    response, weights = _linearised(data)
    losses = np.empty((len(spread), len(data.y)))
    for k, share in enumerate(spread):
        tau = bounds[:, :, 0] + share * (bounds[:, :, 1] - bounds[:, :, 0])
        v = np.expm1(data.fallen(tau))
        beta = _straight(response, weights, v)[0]
        for _ in range(2):
            beta = _scored(data, v, beta)
        losses[k] = _bounded_loss(data, v, beta)
    chosen, keep = _best_places(losses.reshape(*sizes, len(data.y)))
    rank, rows = np.nonzero(keep)
    share = spread[chosen[rank, rows]]
    return rows, bounds[rows, :, 0] + share * (bounds[rows, :, 1] - bounds[rows, :, 0])


def _scored(data: Padded, v: np.ndarray, beta: np.ndarray) -> np.ndarray:
    """One scoring step of the straight line of logits on ``v``."""
    eta = np.clip(beta[:, [0]] + beta[:, [1]] * v, -LARGEST_LOGIT / 2, LARGEST_LOGIT / 2)
    p = expit(eta)
    weight = data.weights * p * (1 - p)
    ratio = (data.y - data.weights * p) / np.where(weight > 0, weight, 1.0)
    return _straight(eta + ratio, weight, v)[0]


def _bounded_loss(data: Padded, v: np.ndarray, beta: np.ndarray) -> np.ndarray:
    eta = np.clip(beta[:, [0]] + beta[:, [1]] * v, -LARGEST_LOGIT, LARGEST_LOGIT)
    found: np.ndarray = -np.sum(
        data.y * log_expit(eta) + (data.weights - data.y) * log_expit(-eta), axis=1
    )
    return found


def shares(count: int) -> np.ndarray:
    """Places of the nodes between the bounds, few where the curve is all but straight."""
    sparse = count // 6
    return np.concatenate(
        [np.linspace(0, 0.45, sparse, endpoint=False), np.linspace(0.45, 1, count - sparse)]
    )


def _linearised(data: Padded) -> tuple[np.ndarray, np.ndarray]:
    """Outcome and weights for the search: for hits the empirical logit."""
    if not data.binomial:
        return data.y, data.weights
    hits, misses = data.y + 0.5, data.weights - data.y + 0.5
    weights = hits * misses / (hits + misses)
    return np.log(hits / misses), np.where(data.weights > 0, weights, 0.0)


def _straight(y: np.ndarray, weights: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Weighted straight line of y on v in each row: coefficients and half the squares left."""
    whole = weights.sum(axis=1)
    mean_v, mean_y = (np.einsum("ij,ij->i", weights, q) / whole for q in (v, y))
    v, y = v - mean_v[:, None], y - mean_y[:, None]
    heavy = weights * v
    square = np.einsum("ij,ij->i", heavy, v)
    height = np.einsum("ij,ij->i", heavy, y) / np.where(square > 0, square, 1.0)
    left = y - height[:, None] * v
    beta = np.stack([mean_y - height * mean_v, height], axis=1)
    return beta, 0.5 * np.einsum("ij,ij,ij->i", weights, left, left)


def _refine(data: Padded, tau: np.ndarray, bounds: np.ndarray, steps: int = MOST_STEPS) -> Optimum:
    """Damped scoring; a row leaves when its step is too small to matter."""
    low, high = bounds[:, :, 0], bounds[:, :, 1]
    response, weights = _linearised(data)
    beta, loss = _straight(response, weights, np.expm1(data.fallen(tau)))
    if data.binomial:
        # The search worked on smoothed logits; a flat start is always inside the limits.
        flat = expit(beta[:, [0]] + beta[:, [1]] * np.expm1(data.fallen(tau)))
        beta[np.any((flat < 1e-6) | (flat > 1 - 1e-6), axis=1)] *= 0.3
        loss = _loss(data, tau, beta)
    damping, worn = np.full(len(tau), 1e-3), np.zeros(len(tau), bool)
    active = np.arange(len(tau))
    for _ in range(steps):
        part = data.pick(active)
        move_tau, move_beta = _step(
            part, tau[active], beta[active], low[active], high[active], damping[active]
        )
        new_tau = np.clip(tau[active] + np.clip(move_tau, -1.5, 1.5), low[active], high[active])
        new_beta, new = _land(part, new_tau, beta[active] + move_beta)
        better = new <= loss[active]
        size = np.max(np.abs(new_tau - tau[active]), axis=1)
        gone = np.max(np.abs(new_beta - beta[active]), axis=1) if data.binomial else 0.0
        taken = active[better]
        tau[taken], beta[taken], loss[taken] = new_tau[better], new_beta[better], new[better]
        damping[active] *= np.where(better, 0.1, 10.0)
        moves = (size > SETTLED) | (gone > SETTLED)
        worn[active] = moves & (damping[active] >= 1e8)
        still = moves & (damping[active] < 1e8)
        active = active[still]
        if not active.size:
            break
    settled = np.ones(len(tau), bool)
    settled[active] = False
    settled[worn] = False
    stuck = (tau <= low + 1e-6) | (tau >= high - np.array(data.form.edges)[: tau.shape[1]])
    return Optimum(tau, beta, loss, stuck, settled)


def _land(data: Padded, tau: np.ndarray, beta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Linear coefficients and loss at new rates; for hits the coefficients take the step given."""
    if not data.binomial:
        return _straight(data.y, data.weights, np.expm1(data.fallen(tau)))
    return beta, _loss(data, tau, beta)


def _loss(data: Padded, tau: np.ndarray, beta: np.ndarray) -> np.ndarray:
    eta = beta[:, [0]] + beta[:, [1]] * np.expm1(data.fallen(tau))
    misses = data.weights - data.y
    loss = -np.sum(data.y * log_expit(eta) + misses * log_expit(-eta), axis=1)
    beyond = np.max(np.abs(np.where(data.weights > 0, eta, 0.0)), axis=1) > LARGEST_LOGIT
    return np.where(beyond, np.inf, loss)


def working(
    data: Padded, tau: np.ndarray, beta: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Jacobian by (level, height, log rates), score residual and information weight."""
    fallen = data.fallen(tau)
    v, f = np.expm1(fallen), np.exp(fallen)
    bent = beta[:, 1][:, None, None] * f[:, :, None] * data.tilt(tau)
    jacobian = np.concatenate([np.ones_like(v)[:, :, None], v[:, :, None], bent], axis=2)
    eta = beta[:, [0]] + beta[:, [1]] * v
    if data.binomial:
        p = expit(eta)
        return jacobian, data.y - data.weights * p, data.weights * p * (1 - p)
    return jacobian, data.weights * (data.y - eta), data.weights


def _step(
    data: Padded,
    tau: np.ndarray,
    beta: np.ndarray,
    low: np.ndarray,
    high: np.ndarray,
    damping: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    jacobian, residual, weight = working(data, tau, beta)
    score = np.einsum("ijk,ij->ik", jacobian, residual)
    outward = ((tau <= low) & (score[:, 2:] < 0)) | ((tau >= high) & (score[:, 2:] > 0))
    held = np.concatenate([np.zeros_like(beta, bool), outward], axis=1)
    score[held] = 0.0
    information = np.swapaxes(weight[:, :, None] * jacobian, 1, 2) @ jacobian
    information[held[:, :, None] | held[:, None, :]] = 0.0
    scale = np.sqrt(np.einsum("ikk->ik", information))
    scale[scale == 0] = 1.0
    system = information / (scale[:, :, None] * scale[:, None, :])
    ridge = np.full(scale.shape, 1e-13)
    ridge[:, 2:] += damping[:, None]
    if data.binomial:
        ridge[:, :2] += damping[:, None]
    index = np.arange(scale.shape[1])
    system[:, index, index] = np.where(held, 1.0, system[:, index, index]) + ridge
    move = np.linalg.solve(system, (score / scale)[:, :, None])[:, :, 0] / scale
    return move[:, 2:], move[:, :2]
