"""Likelihood of a mixed model with one grouping factor, by quadrature about the mode.

Per group the random effects b = Λu, u ~ N(0, I), are integrated out of exp(ℓ(u) − u'u/2). The mode
û and H = I + Λ'Z'WZΛ there give the Laplace value; adaptive Gauss-Hermite quadrature places its
nodes at û + L⁻ᵀx with L L' = H, and one node is the Laplace approximation. W is the observed
information of the kind of outcome, which may have parameters κ of its own (thresholds, dispersion).
The gradient in (β, θ, κ) is exact for the approximated likelihood: it follows the modes
and the nodes as the parameters move. Everything carries a replicate axis.
"""

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from motorlearn.mixed.solve.blocks import (
    cholesky,
    inverse_lower,
    log_determinant,
    segment_sums,
    solve_lower,
    solve_upper,
)
from motorlearn.mixed.solve.covariance import Structure
from motorlearn.mixed.solve.likelihoods import Binomial, Likelihood
from motorlearn.mixed.solve.links import Derivatives

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_MODE_STEPS = 100
_FORESEEN = 1.0
"""Longest move of a mode that is foreseen instead of searched for."""
_SETTLED = 1e-11
"""A step of modes that is not worth taking."""


@dataclass
class Rows:
    """Rows of a design with outcomes, sorted by group.

    ``x`` (N, p), ``z`` (q, N), ``starts`` (G,), ``offset`` (N,), outcomes ``y`` and ``weight``
    (R, N).
    """

    x: Array
    z: Array
    starts: NDArray[np.intp]
    offset: Array
    y: Array
    weight: Array

    def __post_init__(self) -> None:
        lengths = np.diff(np.append(self.starts, self.x.shape[0]))
        self.group = np.repeat(np.arange(self.starts.size), lengths)
        self.each = int(lengths[0]) if (lengths == lengths[0]).all() else 0


def row_products(left: Array, right: Array) -> Array:
    """Sum over random terms of arrays (q, R, N)."""
    if len(left) == 1:
        return np.asarray(left[0] * right[0])
    return np.asarray(np.einsum("arn,arn->rn", left, right))


def nodes_and_weights(count: int, size: int) -> tuple[Array, Array]:
    """Product Gauss-Hermite nodes (K, q) and log weights (K,) for a standard normal variable."""
    points, weights = np.polynomial.hermite_e.hermegauss(count)
    grid = np.array(list(product(points, repeat=size)))
    logs = np.array([sum(c) for c in product(np.log(weights), repeat=size)])
    return grid, logs - 0.5 * size * np.log(2 * np.pi)


class OneFactor:
    """Criterion −2 log likelihood in (β, θ, κ), with the modes kept between evaluations."""

    def __init__(
        self,
        rows: Rows,
        structure: Structure,
        likelihood: Likelihood | None = None,
        quadrature: int = 1,
    ) -> None:
        self.rows, self.structure = rows, structure
        self.likelihood = likelihood or Binomial("logit")
        self.nodes, self.log_weights = nodes_and_weights(quadrature, structure.size)
        self.n_fixed = rows.x.shape[1]
        self.first_extra = self.n_fixed + structure.n_free
        self.modes = np.zeros((structure.size, rows.y.shape[0], rows.starts.size))
        self.constants = -2 * self.likelihood.constant(rows.y, rows.weight)
        self._last: _Last | None = None

    def objective(self, point: Array, which: NDArray[np.intp]) -> tuple[Array, Array]:
        """Values and gradients, as the optimiser asks for them."""
        lam, zt, base = self._unpack(point)
        extra = point[:, self.first_extra :]
        mode = find_modes(self, base, zt, which, extra)
        self._keep(base, zt, mode, which)
        value, expected = self._integrate(base, zt, mode, which)
        gradient = self._gradient(lam, zt, mode, expected)
        return value, gradient

    def _keep(self, base: Array, zt: Array, mode: "Modes", which: Index) -> None:
        """Keep the modes, from which the next search begins, and what says how they move."""
        # What is no number must not be where the next search begins.
        self.modes[:, which] = np.where(np.isfinite(mode.u), mode.u, 0.0)
        if len(which) == self.modes.shape[1]:
            given = (base, zt, mode.slope, mode.weight, mode.weight_slope, mode.root)
            self._last = _Last(*given) if np.isfinite(mode.root).all() else None
        elif self._last is not None and len(which) < self.modes.shape[1]:
            self._last.replace(which, base, zt, mode)

    def foreseen(self, base: Array, zt: Array, which: Index) -> Array:
        """Modes (q, K, G) at new parameters: a Newton step from the last, on what is known there.

        The slopes of the log likelihood are taken to move as their two derivatives say.
        """
        u = self.modes[:, which]
        if self._last is None:
            return u.copy()
        last = self._last.of(which)
        before = last.base + row_products(last.zt, self.spread(u))
        found = u
        for _ in range(2):
            moved = base + row_products(zt, self.spread(found)) - before
            slope = last.slope - moved * (last.weight + 0.5 * moved * last.weight_slope)
            pull = self.sums(slope * zt) - found
            found = found + solve_upper(last.root, solve_lower(last.root, pull))
        return np.asarray(np.where(np.abs(found - u) < _FORESEEN, found, u))

    def _unpack(self, point: Array) -> tuple[Array, Array, Array]:
        """Λ, the rows of ZΛ, and the linear predictor without random effects."""
        lam = self.structure.factor(point[:, self.n_fixed : self.first_extra])
        zt = np.einsum("bn,bar->arn", self.rows.z, lam)
        return lam, zt, point[:, : self.n_fixed] @ self.rows.x.T + self.rows.offset

    def effects(self, point: Array) -> tuple[list[Array], list[Array]]:
        """Conditional modes (G, q) and their covariances (G, q, q) at one point."""
        lam, zt, base = self._unpack(point)
        mode = find_modes(self, base, zt, np.array([0]), point[:, self.first_extra :])
        turned = np.einsum("abr,cbrg->acrg", lam, inverse_lower(mode.root))
        return [np.einsum("abr,brg->ga", lam, mode.u)], [
            np.einsum("acrg,bcrg->gab", turned, turned)
        ]

    def log_likelihood_rows(self, eta: Array, which: NDArray[np.intp], extra: Array) -> Derivatives:
        """Log likelihood of each row and its derivatives in η."""
        return self.likelihood.rows(eta, self.rows.y[which], self.rows.weight[which], extra)

    def _extras(self, mode: "Modes", eta: Array, which: Index) -> tuple[Array, Array, Array]:
        y, weight = self.rows.y[which], self.rows.weight[which]
        return self.likelihood.extras(eta, y, weight, mode.extra)

    def sums(self, values: Array) -> Array:
        """Sum rows by group."""
        if self.rows.each:
            blocks = values.reshape(*values.shape[:-1], -1, self.rows.each)
            return np.asarray(blocks @ np.ones(self.rows.each), dtype=float)
        return segment_sums(values, self.rows.starts)

    def spread(self, values: Array) -> Array:
        """Give each row the value of its group."""
        return np.take(values, self.rows.group, axis=-1)

    def _integrate(
        self, base: Array, zt: Array, mode: "Modes", which: Index
    ) -> tuple[Array, "_Expected"]:
        """Criterion, and the node-weighted means its gradient needs."""
        constant = self.constants[which]
        eta = base + row_products(zt, self.spread(mode.u))
        own = self._extras(mode, eta, which)
        half = log_determinant(mode.root) / 2
        if len(self.nodes) == 1:
            value = constant - 2 * (mode.height - half).sum(axis=-1)
            nothing = np.zeros_like(mode.u)
            return value, _Expected(mode.slope, None, nothing, None, own[0], own)
        heights, pieces = [], []
        for node in self.nodes:
            shift = np.broadcast_to(node[:, None, None], mode.u.shape)
            u = mode.u + solve_upper(mode.root, shift)
            eta = base + row_products(zt, self.spread(u))
            loglik, slope, _, _ = self.log_likelihood_rows(eta, which, mode.extra)
            heights.append(self.sums(loglik) - 0.5 * np.sum(u * u, axis=0) + node @ node / 2)
            by_extra = self._extras(mode, eta, which)[0]
            pieces.append((u, slope, self.sums(slope * zt) - u, by_extra))
        logs = np.array(heights) + self.log_weights[:, None, None]
        total = logsumexp(logs, axis=0)
        value = constant - 2 * (total - half).sum(-1)
        return value, self._expectations(np.exp(logs - total), pieces, mode, own)

    def _expectations(
        self,
        shares: Array,
        pieces: list[tuple[Array, Array, Array, Array]],
        mode: "Modes",
        own: tuple[Array, Array, Array],
    ) -> "_Expected":
        size = len(mode.u)
        slope = np.zeros_like(mode.slope)
        slope_u = np.zeros((size, *mode.slope.shape))
        drift = np.zeros_like(mode.u)
        tilt = np.zeros((size, *mode.u.shape))
        mean_extra = np.zeros_like(own[0])
        for share, node, (u, row_slope, pull, by_extra) in zip(
            shares, self.nodes, pieces, strict=True
        ):
            weighted = self.spread(share) * row_slope
            slope += weighted
            slope_u += weighted * self.spread(u)
            drift += share * pull
            mean_extra += self.spread(share) * by_extra
            tilt += node[:, None, None, None] * (share * solve_lower(mode.root, pull))
        return _Expected(slope, slope_u, drift, tilt, mean_extra, own)

    def _gradient(self, lam: Array, zt: Array, mode: "Modes", expected: "_Expected") -> Array:
        size = len(mode.u)
        inverse_root = inverse_lower(mode.root)
        inside = np.zeros_like(mode.root)
        inside[np.arange(size), np.arange(size)] = 1
        if expected.tilt is not None:
            half = np.tril(np.ones((size, size)), -1) + np.eye(size) / 2
            lower = expected.tilt * half[:, :, None, None]
            inside = inside + lower + lower.swapaxes(0, 1)
        bent = np.einsum("carg,cdrg,dbrg->abrg", inverse_root, inside, inverse_root)
        bent_zt = np.einsum("abrn,brn->arn", self.spread(bent), zt)
        half = 0.5 * np.einsum("arn,arn->rn", zt, bent_zt)
        half_bend = half * mode.weight_slope
        pull = self.sums(half_bend * zt) - expected.drift
        turn = np.einsum("carg,cbrg,brg->arg", inverse_root, inverse_root, pull)
        turn_rows = self.spread(turn)
        turned = np.einsum("arn,arn->rn", zt, turn_rows)
        through = half_bend - mode.weight * turned
        u_rows = self.spread(mode.u)
        by_theta = through * u_rows + mode.weight * bent_zt + mode.slope * turn_rows
        by_theta -= expected.slope * u_rows if expected.slope_u is None else expected.slope_u
        slope_lam = np.einsum("an,brn->abr", self.rows.z, by_theta)
        by_beta = (through - expected.slope) @ self.rows.x
        rows, columns = self.structure.entries
        _, slope_extra, weight_extra = expected.own
        by_extra = half * weight_extra + turned * slope_extra - expected.extra
        pieces = [by_beta, slope_lam[rows, columns].T, by_extra.sum(axis=-1).T]
        return 2 * np.concatenate(pieces, axis=1)


@dataclass
class _Last:
    """Rows of the last point of every replicate: predictor, ZΛ, derivatives; and L of its H."""

    base: Array
    zt: Array
    slope: Array
    weight: Array
    weight_slope: Array
    root: Array

    def of(self, which: Index) -> "_Last":
        """Only some replicates."""
        if len(which) == self.base.shape[0] and (np.diff(which) > 0).all():
            return self
        rows = (self.slope[which], self.weight[which], self.weight_slope[which])
        return _Last(self.base[which], self.zt[:, which], *rows, self.root[:, :, which])

    def replace(self, which: Index, base: Array, zt: Array, mode: "Modes") -> None:
        """Take a new point of some replicates."""
        good = np.isfinite(mode.root).all(axis=(0, 1, 3))
        which = which[good]
        self.base[which], self.zt[:, which] = base[good], zt[:, good]
        self.slope[which], self.weight[which] = mode.slope[good], mode.weight[good]
        self.weight_slope[which], self.root[:, :, which] = (
            mode.weight_slope[good],
            mode.root[:, :, good],
        )


@dataclass
class _Expected:
    """Means over the nodes: row slopes, slopes times u, pull on û, its tilt with the nodes, dℓ/dκ;
    and the derivatives in κ at the mode."""

    slope: Array
    slope_u: Array | None
    drift: Array
    tilt: Array | None
    extra: Array
    own: tuple[Array, Array, Array]


@dataclass
class Modes:
    """Conditional modes u (q, R, G) and what is known there."""

    u: Array
    height: Array
    slope: Array
    weight: Array
    weight_slope: Array
    root: Array
    extra: Array


def find_modes(
    model: OneFactor, base: Array, zt: Array, which: NDArray[np.intp], extra: Array
) -> Modes:
    """Find the conditional modes of all groups by Newton steps that are halved where they fail."""
    u = model.foreseen(base, zt, which)
    state = _at(model, base, zt, u, which, extra)
    for _ in range(_MODE_STEPS):
        pull = model.sums(state.slope * zt) - u
        step = solve_upper(state.root, solve_lower(state.root, pull))
        lost = ~np.isfinite(step)
        if lost.any():
            # Far from the mode hits that scatter are not curved downwards: go uphill instead.
            step = np.where(lost, pull / (1 + model.sums(np.abs(state.weight) * zt * zt)), step)
        elif np.abs(step).max() < _SETTLED:
            break
        trial = _at(model, base, zt, u + step, which, extra)
        failed = ~(trial.height >= state.height - 1e-11 * (1 + np.abs(state.height)))
        while failed.any() and np.abs(step).max() > 1e-12:
            step = np.where(failed, step / 2, step)
            trial = _at(model, base, zt, u + step, which, extra)
            failed = ~(trial.height >= state.height - 1e-11 * (1 + np.abs(state.height)))
        u, state = u + step, trial
        # Newton squares what is left: after such a step it is below 1e-9.
        if not np.abs(step).max() > 3e-5:
            break
    return state


def _at(model: OneFactor, base: Array, zt: Array, u: Array, which: Index, extra: Array) -> Modes:
    eta = base + row_products(zt, model.spread(u))
    loglik, slope, weight, weight_slope = model.log_likelihood_rows(eta, which, extra)
    height = model.sums(loglik) - 0.5 * np.sum(u * u, axis=0)
    size = len(u)
    inside = np.empty((size, *u.shape))
    for a in range(size):
        # The factor looks at the lower triangle alone.
        inside[a, : a + 1] = model.sums(weight * zt[a] * zt[: a + 1])
        inside[a, a] += 1
    return Modes(u, height, slope, weight, weight_slope, cholesky(inside), extra)
