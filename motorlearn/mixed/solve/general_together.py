"""Laplace likelihood of a mixed model with several grouping factors for many outcomes at once.

It is that of ``many_factors`` with a replicate axis K, on dense arrays, for the designs of small
studies that bootstraps fit a thousand times: the factor with most random effects is eliminated
level by level, the others share one dense Schur complement for each replicate.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from motorlearn.mixed.solve.engine import Working
from motorlearn.mixed.solve.likelihoods import Likelihood

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_MODE_STEPS = 100
_SETTLED = 3e-5
"""A Newton step after which what is left is below 1e-9."""


@dataclass
class _State:
    """Random effects u (K, effects), heights (K,), and rows (K, N) there."""

    u: Array
    height: Array
    slope: Array
    weight: Array
    weight_slope: Array
    eta: Array


@dataclass
class _Inverse:
    """H⁻¹ in pieces: blocks (K, G, q, q), link (K, n, m), remainder (K, m, m); and log|H|."""

    blocks: Array
    link: Array
    rest: Array
    log_determinant: Array

    def solve(self, right: Array) -> Array:
        """H⁻¹ times columns (K, effects)."""
        first = self.link.shape[1]
        split = right[:, :first].reshape(*self.blocks.shape[:3], 1)
        rest = right[:, first:] - _times(self.link.swapaxes(1, 2), right[:, :first])
        rest = _times(self.rest, rest)
        top = (self.blocks @ split).reshape(len(right), -1) - _times(self.link, rest)
        return np.concatenate([top, rest], axis=1)


class GeneralTogether:
    """Criterion −2 log likelihood (Laplace) in (β, θ, κ), modes kept between evaluations."""

    def __init__(
        self, work: Working, y: Array, weight: Array, offset: Array, likelihood: Likelihood
    ) -> None:
        self.x, self.factors, self.offset = work.x, work.factors, offset
        self.y, self.weight, self.likelihood = y, weight, likelihood
        self.n_fixed, self.order = work.x.shape[1], [int(i) for i in work.order]
        self.main = self.factors[self.order[0]]
        self.q0 = self.main.structure.size
        sizes = [self.factors[i].n_effects for i in self.order]
        self.n_first, self.n_rest = sizes[0], sum(sizes[1:])
        starts = np.cumsum([0, *sizes[:-1]])
        pairs = zip(self.order, starts, strict=True)
        self.columns = np.concatenate([self._columns(i, start) for i, start in pairs], axis=1)
        self.constant = -2 * likelihood.constant(y, weight)
        self.u = np.zeros((len(y), self.n_first + self.n_rest))
        self._sums()

    def _columns(self, number: int, start: int) -> Index:
        factor = self.factors[number]
        size = factor.structure.size
        return np.asarray(start + factor.index[:, None] * size + np.arange(size))

    def _sums(self) -> None:
        """Sums over rows as sparse matrices: by effect, and by the entries of three parts of H."""
        q0, m = self.q0, self.n_rest
        first, rest = self.columns[:, :q0], self.columns[:, q0:] - self.n_first
        self.width = self.columns.shape[1]
        level, main, others = self.main.index, range(q0), range(self.width - q0)
        self.gathers = [_summing(c, self.n_first + m) for c in self.columns.T]
        sizes = self.n_first * q0, self.n_first * m, m * m
        places = (
            [(a, b, (level * q0 + a) * q0 + b) for a in main for b in main],
            [(a, q0 + b, first[:, a] * m + rest[:, b]) for a in main for b in others],
            [(q0 + a, q0 + b, rest[:, a] * m + rest[:, b]) for a in others for b in others],
        )
        self.parts = [
            [(a, b, _summing(place, size)) for a, b, place in part]
            for part, size in zip(places, sizes, strict=True)
        ]
        self.at01 = (first[:, :, None] * m + rest[:, None, :]).ravel()
        self.at11 = (rest[:, :, None] * m + rest[:, None, :]).ravel()

    def objective(self, point: Array, which: Index) -> tuple[Array, Array]:
        """Values and gradients of the replicates ``which`` at points (K, d)."""
        with np.errstate(all="ignore"):
            zt, extra = self._unpack(point)
            base = point[:, : self.n_fixed] @ self.x.T + self.offset
            state = self._modes(base, zt, extra, which)
            inverse = self._invert(zt, state.weight)
            value = self.constant[which] - 2 * state.height + inverse.log_determinant
            gradient = self._gradient(zt, extra, state, inverse, which)
        good = np.isfinite(value) & np.isfinite(gradient).all(axis=1)
        return np.where(good, value, np.inf), np.where(good[:, None], gradient, 0.0)

    def _unpack(self, point: Array) -> tuple[Array, Array]:
        """Rows of ZΛ (K, N, terms) and κ."""
        lams, done = [], self.n_fixed
        for factor in self.factors:
            size = factor.structure.n_free
            lams.append(factor.structure.factor(point[:, done : done + size]))
            done += size
        parts = [np.einsum("nb,bak->kna", self.factors[i].z, lams[i]) for i in self.order]
        return np.concatenate(parts, axis=2), point[:, done:]

    def _at(self, base: Array, zt: Array, extra: Array, u: Array, which: Index) -> _State:
        eta = base + np.sum(zt * u[:, self.columns], axis=2)
        found = self.likelihood.rows(eta, self.y[which], self.weight[which], extra)
        height = found[0].sum(axis=1) - np.sum(u * u, axis=1) / 2
        return _State(u, height, *found[1:], eta)

    def _gather(self, values: Array) -> Array:
        """Z̃'v for row values (K, N, terms)."""
        total = np.zeros((len(values), self.n_first + self.n_rest))
        for place, summing in enumerate(self.gathers):
            total += (summing @ values[..., place].T).T
        return total

    def _modes(self, base: Array, zt: Array, extra: Array, which: Index) -> _State:
        """Conditional modes by Newton steps that are halved where they fail."""
        state = self._at(base, zt, extra, self.u[which], which)
        live = np.arange(len(which))
        for _ in range(_MODE_STEPS):
            here = _some(state, live)
            given = base[live], zt[live], extra[live]
            step = self._step(given[1], here)
            trial = self._halved(given, here, step, which[live])
            _put(state, live, trial)
            # Where something is no number any more the search is over as well.
            live = live[np.abs(step).max(axis=1) >= _SETTLED]
            if not live.size:
                break
        good = np.isfinite(state.u).all(axis=1)
        self.u[which[good]] = state.u[good]
        return state

    def _step(self, zt: Array, here: _State) -> Array:
        pull = self._gather(here.slope[:, :, None] * zt) - here.u
        inverse = self._invert(zt, here.weight)
        lost = ~np.isfinite(inverse.log_determinant)
        if lost.any():
            # Far from the mode curvature may have no sign.
            inverse = self._invert(zt, np.where(lost[:, None], np.abs(here.weight), here.weight))
        return inverse.solve(pull)

    def _halved(
        self, given: tuple[Array, Array, Array], here: _State, step: Array, which: Index
    ) -> _State:
        """The state after a step, which is halved, in place, until the height does not fall."""
        trial = self._at(*given, here.u + step, which)
        slack = 1e-12 * (1 + np.abs(here.height))
        while True:
            failed = ~(trial.height >= here.height - slack) & (np.abs(step).max(axis=1) > 1e-12)
            if not failed.any():
                return trial
            step[failed] /= 2
            base, zt, extra = (part[failed] for part in given)
            again = self._at(base, zt, extra, (here.u + step)[failed], which[failed])
            _put(trial, failed, again)

    def _invert(self, zt: Array, weight: Array) -> _Inverse:
        count, q0, m = len(zt), self.q0, self.n_rest
        h00, h01, h11 = (self._products(places, zt, weight) for places in self.parts)
        h00 = h00.reshape(count, -1, q0, q0) + np.eye(q0)
        blocks: Array = np.asarray(1 / h00 if q0 == 1 else np.linalg.inv(h00), float)
        link = (blocks @ h01.reshape(count, -1, q0, m)).reshape(count, -1, m)
        schur = h11.reshape(count, m, m) + np.eye(m)
        schur -= h01.reshape(count, -1, m).swapaxes(1, 2) @ link
        signs, logs = np.linalg.slogdet(schur)
        if q0 == 1:
            own_signs, own_logs = np.sign(h00[..., 0, 0]), np.log(np.abs(h00[..., 0, 0]))
        else:
            own_signs, own_logs = np.linalg.slogdet(h00)
        good = (signs > 0) & (own_signs > 0).all(axis=1)
        log_determinant = np.where(good, logs + own_logs.sum(axis=1), np.nan)
        schur[~good] = np.eye(m)
        rest: Array = np.asarray(np.linalg.inv(schur), float)
        return _Inverse(blocks, link, rest, log_determinant)

    @staticmethod
    def _products(
        places: list[tuple[int, int, sparse.csr_array]], zt: Array, weight: Array
    ) -> Array:
        """Sums of products of row entries at their places in one part of H, (K, places)."""
        total = 0.0
        for a, b, summing in places:
            total = total + summing @ (weight * zt[..., a] * zt[..., b]).T
        return np.ascontiguousarray(np.asarray(total).T)

    def _row_inverse(self, inverse: _Inverse) -> Array:
        """Entries of H⁻¹ between the random effects of each row, (K, N, terms, terms)."""
        q0, count = self.q0, len(inverse.link)
        n, width = self.columns.shape
        out = np.empty((count, n, width, width))
        turned = inverse.link @ inverse.rest
        shape = (count, -1, q0, self.n_rest)
        corner = inverse.blocks + turned.reshape(shape) @ inverse.link.reshape(shape).swapaxes(2, 3)
        out[:, :, :q0, :q0] = corner[:, self.main.index]
        across = -turned.reshape(count, -1)[:, self.at01].reshape(count, n, q0, width - q0)
        out[:, :, :q0, q0:] = across
        out[:, :, q0:, :q0] = across.swapaxes(2, 3)
        inner = inverse.rest.reshape(count, -1)[:, self.at11]
        out[:, :, q0:, q0:] = inner.reshape(count, n, width - q0, width - q0)
        return out

    def _gradient(
        self, zt: Array, extra: Array, state: _State, inverse: _Inverse, which: Index
    ) -> Array:
        turned = np.einsum("knab,knb->kna", self._row_inverse(inverse), zt)
        half = 0.5 * np.sum(zt * turned, axis=2)
        half_bend = half * state.weight_slope
        turn = inverse.solve(self._gather(half_bend[..., None] * zt))[:, self.columns]
        moved = np.sum(zt * turn, axis=2)
        through = half_bend - state.weight * moved - state.slope
        by_theta = (
            through[..., None] * state.u[:, self.columns]
            + state.weight[..., None] * turned
            + state.slope[..., None] * turn
        )
        slopes: list[Array] = [np.zeros(0)] * len(self.factors)
        done = 0
        for i in self.order:
            factor = self.factors[i]
            own = by_theta[..., done : done + factor.structure.size]
            rows, columns = factor.structure.entries
            slopes[i] = np.einsum("na,knb->kab", factor.z, own)[:, rows, columns]
            done += factor.structure.size
        given = (state.eta, self.y[which], self.weight[which], extra)
        own_rows, own_slope, own_weight = self.likelihood.extras(*given)
        by_extra = (half * own_weight + moved * own_slope - own_rows).sum(axis=-1).T
        return 2 * np.concatenate([through @ self.x, *slopes, by_extra], axis=1)


def _summing(place: Index, size: int) -> sparse.csr_array:
    """Rows summed at their places, as a matrix (size, N)."""
    ones = np.ones(len(place))
    return sparse.csr_array((ones, (place, np.arange(len(place)))), shape=(size, len(place)))


def _times(matrices: Array, columns: Array) -> Array:
    return np.asarray((matrices @ columns[..., None])[..., 0])


def _some(state: _State, which: Index) -> _State:
    if len(which) == len(state.u):
        return state
    return _State(*(getattr(state, name)[which] for name in _State.__dataclass_fields__))


def _put(state: _State, which: Index, new: _State) -> None:
    for name in _State.__dataclass_fields__:
        getattr(state, name)[which] = getattr(new, name)
