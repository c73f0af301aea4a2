"""Likelihood of a linear mixed model whose residuals differ in spread or are correlated.

People (or whatever ties rows together) are padded to the same number of rows, and each has its own
dense V = Σ Z Ψ Z' + R, all of it linear in the natural parameters γ (entries of Ψ and R). With
Φ = (X'V⁻¹X)⁻¹ and r = y − Xβ the criterion and its slopes are

    −2 log L = log|V| + log|X'V⁻¹X| + r'V⁻¹r + (n − p) log 2π,
    ∂/∂γ_s = tr(G_s M),  M = V⁻¹ − V⁻¹XΦX'V⁻¹ − V⁻¹rr'V⁻¹,  G_s = ∂V/∂γ_s.

Rows that were put together to one cell of weight w have the residual variance of their level over
w; what they scatter about their cell enters through ``spare`` degrees of freedom and ``squares``.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from motorlearn.mixed.solve.covariance import Structure
from motorlearn.mixed.solve.residual import ResidualShape

Array = NDArray[np.float64]
LOG_TWO_PI = float(np.log(2 * np.pi))


@dataclass
class PaddedFactor:
    """Random terms z (G, m, q) of one grouping factor and the level (G, m) of each row."""

    z: Array
    level: NDArray[np.intp]
    structure: Structure
    n_levels: int

    def __post_init__(self) -> None:
        self.same = (self.level[:, :, None] == self.level[:, None, :]).astype(float)


@dataclass
class Padded:
    """Rows of G people, padded to m each.

    ``x`` (G, m, p), ``y`` (R, G, m), ``level`` (G, m) of the residual, −1 where there is no row,
    ``thin`` (G, m) one over the weight; ``spare`` (T,), ``squares`` (R, T); ``n`` observations.
    ``known`` (R, G, m) is a variance that is given and added to each row.
    """

    x: Array
    y: Array
    level: NDArray[np.intp]
    thin: Array
    factors: list[PaddedFactor]
    spare: Array
    squares: Array
    n: int
    log_weights: float = 0.0
    known: Array | None = None
    picks: Array = field(init=False)

    def __post_init__(self) -> None:
        self.picks = (self.level[:, :, None] == np.arange(len(self.spare))).astype(float)


@dataclass
class DensePoint:
    """The model at K points: V⁻¹ (K, G, m, m), X'V⁻¹ (K, G, p, m), Φ, β, V⁻¹r and −2 log L."""

    inverse: Array
    xv: Array
    phi: Array
    beta: Array
    pull: Array
    value: Array
    lams: list[Array]
    residual: Array
    point: Array


class DenseModel:
    """Criterion −2 log likelihood, restricted or not, in (θ of each factor, φ of the residuals)."""

    def __init__(self, data: Padded, shape: ResidualShape, reml: bool) -> None:
        self.data, self.shape, self.reml = data, shape, reml
        self.df = data.n - (data.x.shape[2] if reml else 0)

    def objective(self, point: Array, which: NDArray[np.intp]) -> tuple[Array, Array]:
        """Values and gradients, as the optimiser asks for them."""
        with np.errstate(all="ignore"):
            found = self.at(point, which)
            gradient = self._gradient(point, which, found)
        value = np.where(np.isfinite(found.value), found.value, np.inf)
        return value, np.where(np.isfinite(gradient), gradient, 0.0)

    def at(self, point: Array, which: NDArray[np.intp]) -> DensePoint:
        """Evaluate the model at points (K, d) for the responses ``which``."""
        data = self.data
        lams, residual = self._covariances(point)
        v = self._v(lams, self.rows_of(point, residual))
        if data.known is not None:
            at = np.arange(data.level.shape[1])
            v[:, :, at, at] += data.known[which]
        sign, log_determinant = np.linalg.slogdet(v)
        inverse = _inverse(v)
        xv = np.swapaxes(data.x, 1, 2) @ inverse
        cross = np.sum(xv @ data.x, axis=1)
        phi = _inverse(cross)
        y = data.y[which]
        moment = np.einsum("kgpm,kgm->kp", xv, y)
        beta = np.einsum("kpq,kq->kp", phi, moment)
        rest = y - np.einsum("gmp,kp->kgm", data.x, beta)
        pull = np.einsum("kgmn,kgn->kgm", inverse, rest)
        variances = np.diagonal(residual, axis1=1, axis2=2)
        value = log_determinant.sum(axis=1) + np.einsum("kgm,kgm->k", rest, pull)
        value = value + np.sum(data.spare * np.log(variances), axis=1)
        value = value + np.sum(data.squares[which] / variances, axis=1)
        value = value + self.df * LOG_TWO_PI - data.log_weights
        if self.reml:
            value = value + np.linalg.slogdet(cross)[1]
        value = np.where((sign > 0).all(axis=1), value, np.inf)
        return DensePoint(inverse, xv, phi, beta, pull, value, lams, residual, point)

    def _covariances(self, point: Array) -> tuple[list[Array], Array]:
        lams, done = [], 0
        for factor in self.data.factors:
            size = factor.structure.n_free
            lams.append(factor.structure.factor(point[:, done : done + size]))
            done += size
        return lams, self.shape.matrix(point[:, done:])

    def rows_of(self, point: Array, residual: Array) -> Array:
        """R of the rows of each person, (K, G, m, m)."""
        return self._by_row(residual)

    def _v(self, lams: list[Array], v: Array) -> Array:
        data = self.data
        at = np.arange(data.level.shape[1])
        v[:, :, at, at] += data.level < 0
        for factor, lam in zip(data.factors, lams, strict=True):
            zl = np.einsum("gma,abk->kgmb", factor.z, lam)
            v += (zl @ np.swapaxes(zl, 2, 3)) * factor.same
        return v

    def _by_row(self, residual: Array) -> Array:
        """R of levels (K, T, T) spread out to the rows of each person, (K, G, m, m)."""
        data = self.data
        if self.shape.kind != "levels":
            return data.picks @ residual[:, None] @ np.swapaxes(data.picks, 1, 2)
        variances = np.diagonal(residual, axis1=1, axis2=2)
        diagonal = np.einsum("gma,ka->kgm", data.picks, variances) * data.thin
        found: Array = diagonal[..., None] * np.eye(data.level.shape[1])
        return found

    def _gradient(self, point: Array, which: NDArray[np.intp], found: DensePoint) -> Array:
        data = self.data
        m = found.inverse - found.pull[..., :, None] * found.pull[..., None, :]
        if self.reml:
            m = m - np.swapaxes(found.xv, 2, 3) @ found.phi[:, None] @ found.xv
        parts = []
        for factor, lam in zip(data.factors, found.lams, strict=True):
            inside = np.sum(np.swapaxes(factor.z, 1, 2) @ (m * factor.same) @ factor.z, axis=1)
            parts.append(factor.structure.theta_gradient(np.moveaxis(inside, 0, 2), lam))
        parts.append(self.residual_gradient(point, which, found, m))
        return np.concatenate(parts, axis=1)

    def residual_gradient(
        self, point: Array, which: NDArray[np.intp], found: DensePoint, m: Array
    ) -> Array:
        """Gradient of the criterion in φ, (K, n_free), from M (K, G, m, m)."""
        data = self.data
        by_matrix = np.sum(np.swapaxes(data.picks, 1, 2) @ m @ data.picks, axis=1)
        diagonal = np.einsum("kgmm,gm,gma->ka", m, data.thin, data.picks)
        variances = np.diagonal(found.residual, axis1=1, axis2=2)
        diagonal = diagonal + data.spare / variances - data.squares[which] / variances**2
        at = np.arange(self.shape.size)
        by_matrix[:, at, at] = diagonal
        natural = self.shape.gradient(by_matrix)
        done = sum(factor.structure.n_free for factor in data.factors)
        slopes = self.shape.slopes(point[:, done:])
        turned: Array = np.einsum("ks,ksj->kj", natural, slopes)
        return turned

    def residual_slopes(self, point: Array, found: DensePoint) -> list[Array]:
        """∂V/∂γ for the free entries of R at one point, a list of (G, m, m)."""
        return [self._by_row(entry[None])[0] for entry in self.shape.entries()]

    def natural_slopes(self, found: DensePoint) -> list[Array]:
        """G_s = ∂V/∂γ_s, (G, m, m), for the free entries of each Ψ and then of R."""
        data, out = self.data, []
        for factor in data.factors:
            for a, b in zip(*factor.structure.entries, strict=True):
                product = factor.z[:, :, a, None] * factor.z[:, None, :, b]
                both = product if a == b else product + np.swapaxes(product, 1, 2)
                out.append(both * factor.same)
        return out + self.residual_slopes(found.point, found)

    def products(self, found: DensePoint) -> tuple[Array, Array, Array]:
        """P_r (K, r, p, p), Q_rs (K, r, s, p, p) and tr(V⁻¹G_rV⁻¹G_s) (K, r, s)."""
        slopes = self.natural_slopes(found)
        turned = [found.inverse @ g for g in slopes]
        left = [found.xv @ g for g in slopes]
        count, (k, p) = len(slopes), found.beta.shape
        crosses = np.empty((k, count, p, p))
        seconds, traces = np.empty((k, count, count, p, p)), np.empty((k, count, count))
        for r in range(count):
            crosses[:, r] = -np.sum(left[r] @ np.swapaxes(found.xv, 2, 3), axis=1)
            for s in range(count):
                inner = left[r] @ found.inverse
                seconds[:, r, s] = np.sum(inner @ np.swapaxes(left[s], 2, 3), axis=1)
                traces[:, r, s] = np.einsum("kgmn,kgnm->k", turned[r], turned[s])
        self._add_spare(found, traces)
        return crosses, seconds, traces

    def _add_spare(self, found: DensePoint, traces: Array) -> None:
        if self.shape.kind == "serial":
            return
        first = traces.shape[1] - self.shape.n_free
        variances = np.diagonal(found.residual, axis1=1, axis2=2)
        own = self.data.spare / variances**2
        if self.shape.kind == "equal":
            traces[:, first, first] += own.sum(axis=1)
            return
        at = first + np.arange(self.shape.size)
        traces[:, at, at] += own


def _inverse(matrices: Array) -> Array:
    """Inverses, not a number where there is none."""
    try:
        return np.asarray(np.linalg.inv(matrices), dtype=float)
    except np.linalg.LinAlgError:
        out = np.full(matrices.shape, np.nan)
        for place in np.ndindex(matrices.shape[:-2]):
            if np.linalg.matrix_rank(matrices[place]) == matrices.shape[-1]:
                out[place] = np.linalg.inv(matrices[place])
        return out
