"""The criterion of a linear mixed model with several grouping factors for many outcomes at once.

It is that of ``linear_crossed`` with a replicate axis K, on dense arrays: the factor with most
random effects (index 0) is eliminated level by level, what remains for the others (index 1) is a
stack of Schur complements. For the designs of small studies, which bootstraps fit a thousand times.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motorlearn.mixed.solve.covariance import Structure
from motorlearn.mixed.solve.criterion import Evaluation, Profile, Slopes, assemble
from motorlearn.mixed.solve.engine import Working

Array = NDArray[np.float64]
Index = NDArray[np.intp]


@dataclass
class ManyOutcomes:
    """Outcomes by cell: means ``y`` (R, N), their weight (N,), what is within them (R,)."""

    y: Array
    weight: Array
    within: Array
    n: int
    log_weights: float


@dataclass
class _Eliminated:
    """R₀ of each level (K, G, q, q), the Schur complement without Λ and R₁, both (K, m, m)."""

    r0: Array
    schur: Array
    r1: Array
    log_determinant: Array


class LinearTogether:
    """Criterion −2 log likelihood, restricted or not, in θ, profiled over β and σ."""

    def __init__(self, work: Working, outcomes: ManyOutcomes, reml: bool) -> None:
        self.factors, self.reml = work.factors, reml
        self.main, self.rest = int(work.order[0]), [int(i) for i in work.order[1:]]
        self.n_fixed = work.x.shape[1]
        self.df = outcomes.n - self.n_fixed if reml else outcomes.n
        self.log_weights = outcomes.log_weights
        self.size = self.factors[self.main].structure.size
        z = [factor.matrix().toarray() for factor in self.factors]
        z0, z1 = z[self.main], np.concatenate([z[i] for i in self.rest], axis=1)
        w0, w1 = z0.T * outcomes.weight, z1.T * outcomes.weight
        levels = self.factors[self.main].n_levels
        whole = (w0 @ z0).reshape(levels, self.size, levels, self.size)
        self.a00 = whole[np.arange(levels), :, np.arange(levels)]
        self.a01, self.a11 = w0 @ z1, w1 @ z1
        weighted = outcomes.y * outcomes.weight
        self.x0, self.x1, self.xx = w0 @ work.x, w1 @ work.x, (work.x.T * outcomes.weight) @ work.x
        self.y0, self.y1, self.xy = weighted @ z0, weighted @ z1, weighted @ work.x
        self.yy = np.sum(weighted * outcomes.y, axis=1) + outcomes.within

    @property
    def structures(self) -> list[Structure]:
        """Which entries of each Λ are free."""
        return [factor.structure for factor in self.factors]

    def objective(self, theta: Array, which: Index) -> tuple[Array, Array]:
        """Values and gradients, as the optimiser asks for them."""
        with np.errstate(all="ignore"):
            found = self.evaluate(theta, which)
        value = np.where(np.isfinite(found.value), found.value, np.inf)
        return value, np.where(np.isfinite(found.gradient), found.gradient, 0.0)

    def evaluate(self, theta: Array, which: Index) -> Evaluation:
        """Evaluate the criterion at θ (K, t) for the outcomes ``which``."""
        ends = np.cumsum([structure.n_free for structure in self.structures])[:-1]
        parts = np.split(theta, ends, axis=1)
        lams = [s.factor(part) for s, part in zip(self.structures, parts, strict=True)]
        system = self._eliminate(lams)
        b0, b1, c = self._right(which)
        keep = b1 - self.a01.T @ self._level_by_level(system.r0, b0)
        solution1 = system.r1 @ keep
        solution0 = self._level_by_level(system.r0, b0 - self.a01 @ solution1)
        total = c - np.swapaxes(b0, 1, 2) @ solution0 - np.swapaxes(b1, 1, 2) @ solution1
        p = self.n_fixed
        cross, moment = total[:, :p, :p], total[:, :p, p]
        beta = np.linalg.solve(cross, moment[..., None])[..., 0]
        rss = total[:, p, p] - np.sum(moment * beta, axis=1)
        profile = Profile(beta, rss, cross, system.log_determinant - self.log_weights)
        v0 = b0 - self._level_by_level(self.a00[None], solution0) - self.a01 @ solution1
        v1 = b1 - self.a01.T @ solution0 - self.a11 @ solution1
        slopes = self._slopes(system, v0, v1, beta)
        return assemble(profile, slopes, lams, self.structures, self.df, self.reml)

    def _right(self, which: Index) -> tuple[Array, Array, Array]:
        """Z₀'W[X, y] (K, levels · q, p + 1), Z₁'W[X, y] and [X, y]'W[X, y]."""
        count, p = len(which), self.n_fixed
        b0 = np.empty((count, *self.x0.shape[:1], p + 1))
        b1 = np.empty((count, *self.x1.shape[:1], p + 1))
        c = np.empty((count, p + 1, p + 1))
        b0[..., :p], b0[..., p] = self.x0, self.y0[which]
        b1[..., :p], b1[..., p] = self.x1, self.y1[which]
        c[:, :p, :p], c[:, p, p] = self.xx, self.yy[which]
        c[:, :p, p] = c[:, p, :p] = self.xy[which]
        return b0, b1, c

    def _level_by_level(self, blocks: Array, columns: Array) -> Array:
        """Product of a block-diagonal matrix, given as blocks, with columns (K, levels · q, ·)."""
        split = columns.reshape(len(columns), -1, self.size, columns.shape[-1])
        return np.asarray((blocks @ split).reshape(columns.shape))

    def _eliminate(self, lams: list[Array]) -> _Eliminated:
        lam0 = np.moveaxis(lams[self.main], 2, 0)[:, None]
        inner = np.swapaxes(lam0, 2, 3) @ self.a00 @ lam0 + np.eye(self.size)
        r0 = lam0 @ np.linalg.inv(inner) @ np.swapaxes(lam0, 2, 3)
        a01 = np.broadcast_to(self.a01, (len(r0), *self.a01.shape))
        schur = self.a11 - self.a01.T @ self._level_by_level(r0, a01)
        lam1 = self._spread(lams)
        inside = np.swapaxes(lam1, 1, 2) @ schur @ lam1 + np.eye(len(self.a11))
        r1 = lam1 @ np.linalg.inv(inside) @ np.swapaxes(lam1, 1, 2)
        logs = np.linalg.slogdet(inner)[1].sum(axis=1) + np.linalg.slogdet(inside)[1]
        return _Eliminated(r0, schur, r1, logs)

    def _spread(self, lams: list[Array]) -> Array:
        """Λ of every level of the other factors on the diagonal, (K, m, m)."""
        count = lams[0].shape[2]
        out, done = np.zeros((count, *self.a11.shape)), 0
        for i in self.rest:
            size, levels = self.factors[i].structure.size, self.factors[i].n_levels
            at = done + size * np.arange(levels)
            for a in range(size):
                for b in range(size):
                    out[:, at + a, at + b] = lams[i][a, b][:, None]
            done += size * levels
        return out

    def _slopes(self, system: _Eliminated, v0: Array, v1: Array, beta: Array) -> list[Slopes]:
        """Derivatives in Ψ of each factor."""
        found = [Slopes(beta, beta, beta)] * len(self.factors)
        found[self.main] = _summed(self._trace_main(system), v0, beta)
        half, done = system.schur @ system.r1, 0
        for i in self.rest:
            size, part = self.factors[i].structure.size, self.factors[i].n_effects
            here = slice(done, done + part)
            shape = (len(beta), -1, size, len(self.a11))
            strips = system.schur[:, here].reshape(shape), half[:, here].reshape(shape)
            lost = np.einsum("kgam,kgbm->abk", strips[1], strips[0], optimize=True)
            blocks = self.a11_blocks(system.schur[:, here, here], size)
            found[i] = _summed(blocks - lost, v1[:, here], beta)
            done += part
        return found

    @staticmethod
    def a11_blocks(matrix: Array, size: int) -> Array:
        """Sum (q, q, K) of the blocks on the diagonal of matrices (K, levels · q, levels · q)."""
        at = np.arange(0, matrix.shape[1], size)
        out = np.empty((size, size, len(matrix)))
        for a in range(size):
            for b in range(size):
                out[a, b] = matrix[:, at + a, at + b].sum(axis=1)
        return out

    def _trace_main(self, system: _Eliminated) -> Array:
        """Sum over levels of the diagonal blocks of Z₀'V⁻¹Z₀, (q, q, K)."""
        keep = np.eye(self.size) - self.a00 @ system.r0
        own = np.moveaxis((keep @ self.a00).sum(axis=1), 0, 2)
        kept = self._level_by_level(keep, np.broadcast_to(self.a01, (len(keep), *self.a01.shape)))
        shape = (len(keep), -1, self.size, len(self.a11))
        turned = (kept @ system.r1).reshape(shape)
        lost = np.einsum("kgam,kgbm->abk", turned, kept.reshape(shape), optimize=True)
        return np.asarray(own - lost)


def _summed(trace: Array, rows: Array, beta: Array) -> Slopes:
    """Derivatives in Ψ from Z'V⁻¹[X, y] by level, rows (K, levels · q, p + 1)."""
    size, p = trace.shape[0], beta.shape[1]
    split = rows.reshape(len(rows), -1, size, p + 1)
    x = split[..., :p]
    residual = split[..., p] - np.einsum("kgap,kp->kga", x, beta)
    cross = np.einsum("kgap,kgbs->abkps", x, x, optimize=True)
    return Slopes(trace, cross, np.einsum("kga,kgb->abk", residual, residual))
