"""Likelihood of a model of scores in which level and spread both have a fixed and a random part.

y = Xβ + Z(Λu + Av) + e, e ~ N(0, D), log √D = Wγ + S T v, with u and v standard normal. Given
v the scores of a person are normal, with u integrated out exactly; v, of few dimensions, is
integrated over by Gauss-Hermite nodes about its mean for each person. Where nodes stay, value and
gradient are exactly those of the sum over them.
"""

from dataclasses import dataclass

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
from motorlearn.mixed.solve.covariance import Structure, correlated
from motorlearn.mixed.solve.one_factor import nodes_and_weights

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_STEPS = 60
_SLACK = 1e-10
"""Loss of height, relative to it, that rounding may bring."""


@dataclass
class SpreadRows:
    """Rows sorted by person: ``y`` (N,), fixed parts ``x`` (N, p) and ``w`` (N, s), random parts
    ``z`` (q, N) and ``s`` (k, N), and the first row of each person ``starts`` (G,).

    A row may stand for ``times`` (N,) scores with mean ``y`` and ``squares`` (N,) about it."""

    y: Array
    x: Array
    w: Array
    z: Array
    s: Array
    starts: Index
    times: Array | None = None
    squares: Array | None = None

    def __post_init__(self) -> None:
        lengths = np.diff(np.append(self.starts, len(self.y)))
        self.group = np.repeat(np.arange(len(self.starts)), lengths)
        self.each = np.ones(len(self.y)) if self.times is None else self.times
        self.about = np.zeros(len(self.y)) if self.squares is None else self.squares
        self.count = segment_sums(self.each, self.starts)


@dataclass
class _Parts:
    """β, γ, Λ (q, q), A (q, k) and T (k, k)."""

    beta: Array
    gamma: Array
    lam: Array
    tie: Array
    turn: Array


@dataclass
class _Given:
    """What is known at values of v (k, K, G): log likelihood (K, G), and the slopes of each row."""

    loglik: Array
    by_level: Array
    by_spread: Array
    weight: Array
    rest: Array
    modes: Array
    inverse: Array
    turned: Array


class LocationScale:
    """Criterion −2 log likelihood in (β, γ, Λ, A, T)."""

    def __init__(self, rows: SpreadRows, tied: bool, quadrature: int) -> None:
        self.rows, self.tied, self.quadrature = rows, tied, quadrature
        self.levels, self.spreads = len(rows.z), len(rows.s)
        self.level_shape = correlated(self.levels)
        self.spread_shape = correlated(self.spreads) if self.spreads else Structure(())
        self.nodes, self.log_weights = nodes_and_weights(
            quadrature if self.spreads else 1, max(self.spreads, 1)
        )
        groups = len(rows.starts)
        self.centre = np.zeros((max(self.spreads, 1), groups))
        eye = np.eye(max(self.spreads, 1))[:, :, None]
        self.root = np.broadcast_to(eye, (*eye.shape[:2], groups)).copy()

    @property
    def sizes(self) -> tuple[int, ...]:
        """Length of each part of a point."""
        ties = self.levels * self.spreads if self.tied else 0
        spread = self.spread_shape.n_free if self.spreads else 0
        shapes = (self.rows.x.shape[1], self.rows.w.shape[1], self.level_shape.n_free)
        return (*shapes, ties, spread)

    def parts(self, point: Array) -> _Parts:
        """Take a point (d,) apart."""
        beta, gamma, theta, tie, own = np.split(point, np.cumsum(self.sizes)[:-1])
        k = self.spreads
        turn = self.spread_shape.factor(own[None])[:, :, 0] if k else np.zeros((0, 0))
        ties = tie.reshape(self.levels, k) if self.tied else np.zeros((self.levels, k))
        return _Parts(beta, gamma, self.level_shape.factor(theta[None])[:, :, 0], ties, turn)

    def objective(self, points: Array, which: Index) -> tuple[Array, Array]:
        """Values and gradients, as the optimiser asks for them."""
        found = [self.evaluate(point) for point in points]
        return np.array([value for value, _ in found]), np.array([g for _, g in found])

    def evaluate(self, point: Array) -> tuple[float, Array]:
        """Value and gradient at one point."""
        value, by_person = self.by_person(point)
        return value, by_person.sum(axis=0)

    def by_person(self, point: Array) -> tuple[float, Array]:
        """Value, and the gradient of what each person adds to it, (G, d)."""
        parts, v = self.parts(point), self._places()
        given = self._given(parts, v)
        logs, share = self._shares(given, v)
        half = log_determinant(self.root) / 2
        value = -2 * float((logs - half).sum())
        return value, -2 * self._slopes(parts, given, v, share)

    def _places(self) -> Array:
        """v at the nodes of each person, (k, K, G)."""
        shift = np.broadcast_to(
            self.nodes.T[:, :, None], (*self.nodes.T.shape, len(self.rows.starts))
        )
        return self.centre[:, None, :] + solve_upper(self.root[:, :, None, :], shift)

    def _given(self, parts: _Parts, v: Array) -> _Given:
        rows, spread = self.rows, self._to_rows
        v = v[: self.spreads]
        level = parts.beta @ rows.x.T + self._shift(rows.z, parts.tie, v)
        # Beyond these the search has lost its way; a finite value sends it back.
        log_sd = np.clip(parts.gamma @ rows.w.T + self._shift(rows.s, parts.turn, v), -40, 40)
        narrow = np.exp(-2 * log_sd)
        weight, loose = rows.each * narrow, rows.about * narrow
        residual = rows.y - level
        zl = parts.lam.T @ rows.z
        inside = self._sums(weight * zl[:, None, None, :] * zl[None, :, None, :])
        inside[np.arange(self.levels), np.arange(self.levels)] += 1
        root = cholesky(inside)
        half = solve_lower(root, self._sums(weight * residual * zl[:, None, :]))
        modes = solve_upper(root, half)
        square = self._sums(weight * residual**2 + loose) - np.sum(half * half, axis=0)
        constant = rows.count * np.log(2 * np.pi) + 2 * self._sums(rows.each * log_sd)
        loglik = -0.5 * (constant + log_determinant(root) + square)
        rest = residual - np.einsum("an,akn->kn", zl, spread(modes))
        lower = inverse_lower(root)
        inverse = np.einsum("cakg,cbkg->abkg", lower, lower)
        turned = np.einsum("abkn,bn->akn", spread(inverse), zl)
        by_spread = weight * (rest**2 + np.einsum("an,akn->kn", zl, turned)) + loose - rows.each
        return _Given(loglik, weight * rest, by_spread, weight, rest, modes, inverse, turned)

    def _shift(self, columns: Array, matrix: Array, v: Array) -> Array:
        """What v adds in each row, (K, N)."""
        if not self.spreads:
            return np.zeros((1, len(self.rows.y)))
        found: Array = np.einsum("an,akn->kn", columns, self._to_rows(np.tensordot(matrix, v, 1)))
        return found

    def _shares(self, given: _Given, v: Array) -> tuple[Array, Array]:
        """Log of the sum over the nodes (G,), and the share of each node (K, G)."""
        own = np.sum(self.nodes**2, axis=1)[:, None] / 2 - np.sum(v * v, axis=0) / 2
        if not self.spreads:
            own = np.zeros((1, 1))
        logs = given.loglik + own + self.log_weights[:, None]
        total = logsumexp(logs, axis=0)
        return np.asarray(total), np.exp(logs - total)

    def _slopes(self, parts: _Parts, given: _Given, v: Array, share: Array) -> Array:
        """Slope of the log likelihood of each person, (G, d)."""
        rows, spread = self.rows, self._to_rows
        own = spread(share)
        level, log_sd = own * given.by_level, own * given.by_spread
        pieces = [self._sums(level.sum(axis=0) * rows.x.T), self._sums(log_sd.sum(0) * rows.w.T)]
        pull = given.rest * spread(given.modes) - given.turned
        by_lam = np.einsum("an,kn,bkn->abn", rows.z, own * given.weight, pull)
        at = self.level_shape.entries
        pieces.append(self._sums(by_lam[at]))
        if self.spreads:
            v_rows = spread(v)
            if self.tied:
                by_tie = np.einsum("an,kn,bkn->abn", rows.z, level, v_rows)
                pieces.append(self._sums(by_tie.reshape(-1, len(rows.y))))
            by_turn = np.einsum("an,kn,bkn->abn", rows.s, log_sd, v_rows)
            pieces.append(self._sums(by_turn[self.spread_shape.entries]))
        return np.concatenate(pieces).T

    def place_nodes(self, point: Array) -> None:
        """Move the nodes of each person to where its v lies at a point, by Fisher scoring."""
        if not self.spreads:
            return
        parts, v = self.parts(point), self.centre.copy()
        height, slope, precision = self._height(parts, v)
        slack = _SLACK * (1 + np.abs(height))
        for _ in range(_STEPS):
            root = cholesky(precision)
            step = solve_upper(root, solve_lower(root, slope))
            new = self._height(parts, v + step)
            failed = ~(new[0] >= height - slack)
            while failed.any() and np.abs(step).max() > 1e-10:
                step = np.where(failed, step / 2, step)
                new = self._height(parts, v + step)
                failed = ~(new[0] >= height - slack)
            v, (height, slope, precision) = v + step, new
            if np.abs(step).max() < 1e-6:
                break
        self.centre, self.root = v, cholesky(precision)
        self._by_moments(parts)

    def _height(self, parts: _Parts, v: Array) -> tuple[Array, Array, Array]:
        """Log density of v (k, G) with y, its slope, and its expected curvature (k, k, G)."""
        given, rows = self._given(parts, v[:, None, :]), self.rows
        height = given.loglik[0] - 0.5 * np.sum(v * v, axis=0)
        tied, turned = parts.tie.T @ rows.z, parts.turn.T @ rows.s
        slope = self._sums(given.by_level * tied) + self._sums(given.by_spread * turned) - v
        weight = given.weight[0]
        zl = parts.lam.T @ rows.z
        through = self._sums(weight * zl[:, None] * tied[None])
        information = self._sums(weight * tied[:, None] * tied[None])
        information -= np.einsum("cag,cdg,dbg->abg", through, given.inverse[:, :, 0], through)
        information += 2 * self._sums(rows.each * turned[:, None] * turned[None])
        at = np.arange(self.spreads)
        information[at, at] += 1
        return height, slope, information

    def _by_moments(self, parts: _Parts) -> None:
        """Put the nodes about mean and covariance of v, where these can be had."""
        v = self._places()
        _, share = self._shares(self._given(parts, v), v)
        mean = np.sum(share * v, axis=1)
        away = v - mean[:, None]
        spread = np.einsum("kg,akg,bkg->abg", share, away, away)
        lower = cholesky(spread)
        ratio = np.diagonal(lower) * np.diagonal(self.root)
        good = np.isfinite(lower).all(axis=(0, 1)) & ((ratio > 0.3) & (ratio < 3)).all(axis=1)
        inverse = inverse_lower(np.where(good, lower, np.eye(self.spreads)[:, :, None]))
        precision = np.einsum("cag,cbg->abg", inverse, inverse)
        self.centre = np.where(good, mean, self.centre)
        self.root = np.where(good, cholesky(precision), self.root)

    def effects(self, point: Array) -> tuple[Array, Array]:
        """Means (G, q + k) and covariances of a person's level terms and log spread terms."""
        parts, v = self.parts(point), self._places()
        given = self._given(parts, v)
        _, share = self._shares(given, v)
        u = np.tensordot(parts.lam, given.modes, 1)
        if self.spreads:
            u = np.concatenate([u + np.tensordot(parts.tie, v, 1), np.tensordot(parts.turn, v, 1)])
        mean = np.einsum("kg,akg->ga", share, u)
        away = u - mean.T[:, None]
        spread = np.einsum("kg,akg,bkg->gab", share, away, away)
        own = np.einsum("ac,cdkg,bd,kg->gab", parts.lam, given.inverse, parts.lam, share)
        spread[:, : self.levels, : self.levels] += own
        return mean, spread

    def covariance(self, point: Array) -> Array:
        """Covariance (q + k, q + k) of level terms and log spread terms between people."""
        parts = self.parts(point)
        lower = np.vstack([parts.tie, parts.turn])
        found = lower @ lower.T
        found[: self.levels, : self.levels] += parts.lam @ parts.lam.T
        return np.asarray(found)

    def _sums(self, values: Array) -> Array:
        return segment_sums(values, self.rows.starts)

    def _to_rows(self, values: Array) -> Array:
        return np.take(values, self.rows.group, axis=-1)
