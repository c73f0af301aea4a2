"""Laplace likelihood of a mixed model with several grouping factors.

As with one factor, the gradient in (β, θ, κ) follows the conditional modes. The factor with most
random effects is eliminated block by block; the others share one dense Schur complement. Of the
inverse of H = I + Λ'Z'WZΛ only the entries that rows with common levels touch are ever formed.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from motorlearn.mixed.solve.engine import Cells
from motorlearn.mixed.solve.factors import Factor, diagonal_blocks
from motorlearn.mixed.solve.likelihoods import Likelihood

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_MODE_STEPS = 100


@dataclass
class _State:
    """Linear predictor and log likelihood at one u."""

    u: Array
    height: float
    slope: Array
    weight: Array
    weight_slope: Array
    eta: Array


@dataclass
class _Inverse:
    """H⁻¹ in pieces: eliminated blocks, their coupling, and the dense remainder."""

    blocks: Array
    coupling: Array
    link: Array
    rest: Array
    rest_factor: tuple[Any, ...]
    log_determinant: float


class ManyFactors:
    """Criterion −2 log likelihood (Laplace) in (β, θ, κ), modes kept between evaluations."""

    def __init__(
        self,
        x: Array,
        factors: list[Factor],
        cells: Cells,
        offset: Array,
        likelihood: Likelihood,
        order: Index,
    ) -> None:
        self.x, self.factors, self.offset = x, factors, offset
        self.y, self.weight = cells.y[None], cells.weight[None]
        self.likelihood, self.extra = likelihood, np.zeros((1, likelihood.n_extra))
        self.n_fixed = x.shape[1]
        self.order = [int(i) for i in order]
        self.main = factors[self.order[0]]
        self.q0 = self.main.structure.size
        sizes = [factors[i].n_effects for i in self.order]
        self.n_first, self.n_rest = sizes[0], sum(sizes[1:])
        starts = np.cumsum([0, *sizes])
        self.columns = np.concatenate(
            [
                start + self.factors[i].index[:, None] * q + np.arange(q)
                for i, start in zip(self.order, starts, strict=False)
                for q in [self.factors[i].structure.size]
            ],
            axis=1,
        )
        self.constant = -2 * float(likelihood.constant(self.y, self.weight)[0])
        self.u = np.zeros(self.n_first + self.n_rest)
        self._pairs()

    def _pairs(self) -> None:
        """Flat positions of the products of row entries in the three parts of H."""
        q0 = self.q0
        first, rest = self.columns[:, :q0], self.columns[:, q0:] - self.n_first
        level = self.main.index[:, None]
        self.at00 = [(a, b, (level[:, 0] * q0 + a) * q0 + b) for a in range(q0) for b in range(q0)]
        width = rest.shape[1]
        self.at01 = [
            (a, b, first[:, a] * self.n_rest + rest[:, b]) for a in range(q0) for b in range(width)
        ]
        self.at11 = [
            (a, b, rest[:, a] * self.n_rest + rest[:, b])
            for a in range(width)
            for b in range(width)
        ]

    def objective(self, point: Array, which: Index) -> tuple[Array, Array]:
        """Value and gradient at one point of shape (1, d), as the optimiser asks for them."""
        beta, lams, zt = self._unpack(point[0])
        try:
            state, inverse = self._modes(self.x @ beta + self.offset, zt)
        except np.linalg.LinAlgError:
            # Not a place to go to; the line search turns back.
            return np.array([np.inf]), np.zeros_like(point)
        value = self.constant - 2 * state.height + inverse.log_determinant
        return np.array([value]), self._gradient(lams, zt, state, inverse)[None]

    def _unpack(self, point: Array) -> tuple[Array, list[Array], Array]:
        lams, done = [], self.n_fixed
        for factor in self.factors:
            size = factor.structure.n_free
            lams.append(factor.structure.factor(point[None, done : done + size])[:, :, 0])
            done += size
        self.extra = point[None, done:]
        zt = np.concatenate([self.factors[i].z @ lams[i] for i in self.order], axis=1)
        return point[: self.n_fixed], lams, zt

    def _at(self, base: Array, zt: Array, u: Array) -> _State:
        eta = base + np.sum(zt * u[self.columns], axis=1)
        found = self.likelihood.rows(eta[None], self.y, self.weight, self.extra)
        loglik, slope, weight, weight_slope = (values[0] for values in found)
        return _State(u, float(loglik.sum() - u @ u / 2), slope, weight, weight_slope, eta)

    def _gather(self, values: Array) -> Array:
        """Z̃'v for row values given per random term, shape (N, terms)."""
        size = self.n_first + self.n_rest
        return np.bincount(self.columns.ravel(), values.ravel(), size).astype(float)

    def _modes(self, base: Array, zt: Array) -> tuple[_State, _Inverse]:
        """Conditional modes by Newton steps that are halved where they fail."""
        state = self._at(base, zt, self.u)
        for _ in range(_MODE_STEPS):
            inverse = self._towards(zt, state.weight)
            step = self._solve(inverse, self._gather(state.slope[:, None] * zt) - state.u)
            trial = self._at(base, zt, state.u + step)
            slack = 1e-12 * (1 + abs(state.height))
            while not trial.height >= state.height - slack and np.abs(step).max() > 1e-12:
                step = step / 2
                trial = self._at(base, zt, state.u + step)
            state = trial
            # Newton squares what is left: after such a step it is below 1e-9.
            if np.abs(step).max() < 3e-5:
                break
        if np.isfinite(state.u).all():
            self.u = state.u
        return state, self._invert(zt, state.weight, whole=True)

    def _towards(self, zt: Array, weight: Array) -> _Inverse:
        """What a step towards the mode is made with: far from it curvature may have no sign."""
        try:
            return self._invert(zt, weight)
        except np.linalg.LinAlgError:
            return self._invert(zt, np.abs(weight))

    def _invert(self, zt: Array, weight: Array, whole: bool = False) -> _Inverse:
        q0 = self.q0
        weighted = weight[:, None] * zt
        h00 = self._products(self.at00, weighted, zt, 0, 0, self.n_first * q0)
        h01 = self._products(self.at01, weighted, zt, 0, q0, self.n_first * self.n_rest)
        h11 = self._products(self.at11, weighted, zt, q0, q0, self.n_rest**2)
        h00 = h00.reshape(-1, q0, q0) + np.eye(q0)
        h01 = h01.reshape(-1, q0, self.n_rest)
        blocks: Array = np.asarray(np.linalg.inv(h00), float)
        link = (blocks @ h01).reshape(self.n_first, self.n_rest)
        h01 = h01.reshape(self.n_first, self.n_rest)
        schur = h11.reshape(self.n_rest, -1) - h01.T @ link
        schur[np.diag_indices_from(schur)] += 1
        factor = cho_factor(schur, lower=True)
        log_det = 2 * np.sum(np.log(np.diag(factor[0]))) + np.linalg.slogdet(h00)[1].sum()
        rest: Array = np.asarray(cho_solve(factor, np.eye(self.n_rest)), float) if whole else schur
        return _Inverse(blocks, -link @ rest if whole else h01, link, rest, factor, float(log_det))

    @staticmethod
    def _products(
        places: list[tuple[int, int, Index]],
        weighted: Array,
        zt: Array,
        left: int,
        right: int,
        size: int,
    ) -> Array:
        """Sums of products of row entries at their places in one part of H."""
        total = np.zeros(size)
        for a, b, at in places:
            total += np.bincount(at, weighted[:, left + a] * zt[:, right + b], size)
        return total

    def _solve(self, inverse: _Inverse, right: Array) -> Array:
        first = right[: self.n_first].reshape(-1, self.q0, 1)
        rest = right[self.n_first :] - inverse.link.T @ right[: self.n_first]
        rest = cho_solve(inverse.rest_factor, rest)
        return np.concatenate([(inverse.blocks @ first).ravel() - inverse.link @ rest, rest])

    def _row_inverse(self, inverse: _Inverse) -> Array:
        """Entries of H⁻¹ between the random effects of each row, (N, terms, terms)."""
        q0 = self.q0
        n, width = self.columns.shape
        out = np.empty((n, width, width))
        first, rest = self.columns[:, :q0], self.columns[:, q0:] - self.n_first
        corner = self._corner(inverse)
        out[:, :q0, :q0] = corner[self.main.index]
        across = inverse.coupling[first[:, :, None], rest[:, None, :]]
        out[:, :q0, q0:] = across
        out[:, q0:, :q0] = across.transpose(0, 2, 1)
        out[:, q0:, q0:] = inverse.rest[rest[:, :, None], rest[:, None, :]]
        return out

    def _corner(self, inverse: _Inverse) -> Array:
        coupling = inverse.coupling.reshape(-1, self.q0, self.n_rest)
        link = inverse.link.reshape(-1, self.q0, self.n_rest)
        return inverse.blocks - coupling @ link.transpose(0, 2, 1)

    def _gradient(self, lams: list[Array], zt: Array, state: _State, inverse: _Inverse) -> Array:
        inside = self._row_inverse(inverse)
        turned = np.einsum("nab,nb->na", inside, zt)
        half = 0.5 * np.sum(zt * turned, axis=1)
        half_bend = half * state.weight_slope
        turn = self._solve(inverse, self._gather(half_bend[:, None] * zt))[self.columns]
        moved = np.sum(zt * turn, axis=1)
        through = half_bend - state.weight * moved - state.slope
        by_theta = (
            through[:, None] * state.u[self.columns]
            + state.weight[:, None] * turned
            + state.slope[:, None] * turn
        )
        slopes: list[Array] = [np.zeros(0)] * len(self.factors)
        done = 0
        for i in self.order:
            factor = self.factors[i]
            q = factor.structure.size
            slopes[i] = (factor.z.T @ by_theta[:, done : done + q])[factor.structure.entries]
            done += q
        own = self.likelihood.extras(state.eta[None], self.y, self.weight, self.extra)
        by_own, slope_own, weight_own = (values[:, 0] for values in own)
        by_extra = (half * weight_own + moved * slope_own - by_own).sum(axis=-1)
        return 2 * np.concatenate([through @ self.x, *slopes, by_extra])

    def effects(self, point: Array) -> tuple[list[Array], list[Array]]:
        """Conditional modes (G, q) and their covariances (G, q, q) at one point."""
        beta, lams, zt = self._unpack(point[0])
        state, inverse = self._modes(self.x @ beta + self.offset, zt)
        modes: list[Array] = [np.zeros(0)] * len(self.factors)
        spread: list[Array] = [np.zeros(0)] * len(self.factors)
        done = 0
        for i in self.order:
            factor, lam = self.factors[i], lams[i]
            q = factor.structure.size
            part = slice(done, done + factor.n_effects)
            modes[i] = state.u[part].reshape(-1, q) @ lam.T
            if done == 0:
                blocks = self._corner(inverse)
            else:
                own = slice(part.start - self.n_first, part.stop - self.n_first)
                blocks = diagonal_blocks(inverse.rest[own, own], q)
            spread[i] = lam @ blocks @ lam.T
            done += factor.n_effects
        return modes, spread
