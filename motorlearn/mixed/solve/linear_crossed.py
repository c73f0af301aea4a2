"""Profiled (restricted) likelihood of a linear mixed model with several grouping factors.

The factor with most random effects (index 0) has a block-diagonal system matrix and is eliminated
block by block; what remains for the other factors (index 1) is one dense Schur complement,

    S = I + Λ₁'(Z₁'WZ₁ − Z₁'WZ₀ R₀ Z₀'WZ₁) Λ₁,   R₀ = Λ₀ (I + Λ₀'Z₀'WZ₀Λ₀)⁻¹ Λ₀'.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from motorlearn.mixed.solve.criterion import Evaluation, Profile, Slopes, assemble
from motorlearn.mixed.solve.engine import Cells
from motorlearn.mixed.solve.factors import (
    Factor,
    Gram,
    block_diagonal,
    diagonal_blocks,
    diagonal_of,
    invert_positive,
)

Array = NDArray[np.float64]


@dataclass
class _System:
    """The eliminated system at one θ."""

    lams: list[Array]
    r0: sparse.csr_array
    keep: sparse.csr_array
    schur: Array
    r1: Array
    log_determinant: float
    solution0: Array
    solution1: Array


class LinearManyFactors:
    """Criterion −2 log likelihood, restricted or not, in θ, profiled over β and σ."""

    def __init__(
        self, x: Array, factors: list[Factor], cells: Cells, reml: bool, order: NDArray[np.intp]
    ) -> None:
        self.factors, self.reml = factors, reml
        self.main, self.rest = int(order[0]), [int(i) for i in order[1:]]
        self.df = cells.n - x.shape[1] if reml else cells.n
        self.n_fixed = x.shape[1]
        self.log_weights = cells.log_weights
        first = factors[self.main]
        z0 = first.matrix()
        z1 = sparse.hstack([factors[i].matrix() for i in self.rest], format="csr")
        right = np.column_stack([x, cells.y])
        weighted = right * cells.weight[:, None]
        w0, w1 = z0.T * cells.weight, z1.T * cells.weight
        self.a00 = _sums_of_products(first, cells.weight)
        self.a00_matrix = block_diagonal(self.a00)
        self.a01 = (w0 @ z1).tocsr()
        self.a11 = (w1 @ z1).toarray()
        self.gram = Gram(self.a01) if first.structure.size == 1 else None
        self.b0, self.b1 = z0.T @ weighted, z1.T @ weighted
        self.c = right.T @ weighted
        self.c[-1, -1] += cells.within
        self._last: tuple[bytes, _System] | None = None
        self._found: tuple[bytes, Evaluation] | None = None

    def objective(self, theta: Array, which: NDArray[np.intp]) -> tuple[Array, Array]:
        """Values and gradients, as the optimiser asks for them."""
        found = self.evaluate(theta, which)
        return found.value, found.gradient

    def evaluate(self, theta: Array, which: NDArray[np.intp]) -> Evaluation:
        """Evaluate the criterion at one θ of shape (1, t); the last point is remembered."""
        key = theta.tobytes()
        if self._found is None or self._found[0] != key:
            self._found = key, self._evaluate(theta)
        return self._found[1]

    def _evaluate(self, theta: Array) -> Evaluation:
        system = self._system(theta[0])
        r0, r1 = system.solution0, system.solution1
        total = self.c - self.b0.T @ r0 - self.b1.T @ r1
        p = self.n_fixed
        beta = np.linalg.solve(total[:p, :p], total[:p, p])
        rss = total[p, p] - total[p, :p] @ beta
        profile = Profile(
            beta[None],
            np.array([rss]),
            total[None, :p, :p],
            np.array([system.log_determinant - self.log_weights]),
        )
        v0, v1 = self._pulls(system)
        slopes: list[Slopes] = [Slopes(beta, beta, beta)] * len(self.factors)
        q0 = self.factors[self.main].structure.size
        slopes[self.main] = _slopes(self._trace_main(system), v0.reshape(-1, q0, p + 1), beta)
        done = 0
        for i in self.rest:
            factor = self.factors[i]
            part = slice(done, done + factor.n_effects)
            trace = _trace_rest(system, part, factor.structure.size, system.lams[i])
            rows = v1[part].reshape(-1, factor.structure.size, p + 1)
            slopes[i] = _slopes(trace, rows, beta)
            done += factor.n_effects
        structures = [f.structure for f in self.factors]
        lams = [lam[:, :, None] for lam in system.lams]
        return assemble(profile, slopes, lams, structures, self.df, self.reml)

    def _pulls(self, system: _System) -> tuple[Array, Array]:
        """Z'V⁻¹[X, y] of the main factor and of the others."""
        r0, r1 = system.solution0, system.solution1
        v0 = self.b0 - self.a00_matrix @ r0 - self.a01 @ r1
        return v0, self.b1 - self.a01.T @ r0 - self.a11 @ r1

    def parts(self) -> list[tuple[int, slice]]:
        """Number and places of each factor but the main one."""
        sizes = [self.factors[i].n_effects for i in self.rest]
        ends = np.cumsum([0, *sizes])
        pairs = zip(self.rest, ends, ends[1:], strict=False)
        return [(i, slice(int(start), int(end))) for i, start, end in pairs]

    def pulls(self, theta: Array) -> list[Array]:
        """Z'V⁻¹[X, y] of each factor at one θ (1, t)."""
        v0, v1 = self._pulls(self._system(theta[0]))
        out = [v0] * len(self.factors)
        for i, part in self.parts():
            out[i] = v1[part]
        return out

    def through(self, theta: Array, number: int, columns: Array) -> list[Array]:
        """Z_r'V⁻¹Z_s times columns given for the factor s, for each factor r."""
        system = self._system(theta[0])
        shape = columns.shape[1]
        w0, w1 = np.zeros((self.a01.shape[0], shape)), np.zeros((self.a01.shape[1], shape))
        places = dict(self.parts())
        if number == self.main:
            w0 = columns
        else:
            w1[places[number]] = columns
        a0, a1 = self.a00_matrix @ w0 + self.a01 @ w1, self.a01.T @ w0 + self.a11 @ w1
        s1 = system.r1 @ (a1 - self.a01.T @ (system.r0 @ a0))
        s0 = system.r0 @ (a0 - self.a01 @ s1)
        d0, d1 = a0 - self.a00_matrix @ s0 - self.a01 @ s1, a1 - self.a01.T @ s0 - self.a11 @ s1
        return [d0 if i == self.main else d1[places[i]] for i in range(len(self.factors))]

    def pieces(self, theta: Array) -> tuple[Array, Array, Array, Array]:
        """Z₁'WZ₀K²Z₀'WZ₁, R₁, and the diagonals of K and KZ₀'WZ₀, where terms are single."""
        system = self._system(theta[0])
        assert self.gram is not None
        keep = np.asarray(system.keep.diagonal())
        kept = self.gram(keep[:, None] ** 2)[0]
        return kept, system.r1, keep, keep * self.a00[:, 0, 0]

    def _system(self, theta: Array) -> _System:
        """What :meth:`_eliminate` gives, remembered for the last point."""
        key = theta.tobytes()
        if self._last is None or self._last[0] != key:
            self._last = key, self._eliminate(theta)
        return self._last[1]

    def _eliminate(self, theta: Array) -> _System:
        lams, done = [], 0
        for factor in self.factors:
            size = factor.structure.n_free
            lams.append(factor.structure.factor(theta[None, done : done + size])[:, :, 0])
            done += size
        lam0 = lams[self.main]
        inner = lam0.T @ self.a00 @ lam0 + np.eye(len(lam0))
        r0_blocks = lam0 @ np.linalg.inv(inner) @ lam0.T
        keep_blocks = np.eye(len(lam0)) - self.a00 @ r0_blocks
        r0, keep = block_diagonal(r0_blocks), block_diagonal(keep_blocks)
        if self.gram is None:
            taken = (self.a01.T @ (r0 @ self.a01)).toarray()
        else:
            taken = self.gram(r0_blocks[:, 0])[0]
        schur = self.a11 - taken
        spread = [self.factors[i].spread_factor(lams[i]) for i in self.rest]
        dense = _between(schur, spread, transposed=True)
        dense[np.diag_indices_from(dense)] += 1
        inverse, log_det1 = invert_positive(dense)
        r1 = _between(inverse, spread)
        rest = self.b1 - self.a01.T @ (r0 @ self.b0)
        solution1 = r1 @ rest
        solution0 = r0 @ (self.b0 - self.a01 @ solution1)
        log_det = log_det1 + float(np.sum(np.linalg.slogdet(inner)[1]))
        return _System(lams, r0, keep, schur, r1, log_det, solution0, solution1)

    def _trace_main(self, system: _System) -> Array:
        """Sum over levels of the diagonal blocks of Z₀'V⁻¹Z₀."""
        q = self.factors[self.main].structure.size
        total: Array = (diagonal_of(system.keep, q) @ self.a00).sum(axis=0)
        if self.gram is not None:
            return total - self.gram.trace(system.keep.diagonal() ** 2, system.r1)
        kept = system.keep @ self.a01
        for a in range(q):
            for b in range(a + 1):
                product = (kept[a::q].T @ kept[b::q]).tocoo()
                rows, columns = product.coords
                amount = float(product.data @ system.r1[rows, columns])
                total[a, b] -= amount
                if a != b:
                    total[b, a] -= amount
        return total

    def effects(self, theta: Array, beta: Array) -> tuple[list[Array], list[Array]]:
        """Conditional modes (G, q) and their covariances (G, q, q), relative to σ²."""
        system = self._system(theta)
        direction = np.append(-beta, 1.0)
        modes: list[Array] = [np.zeros(0)] * len(self.factors)
        spread: list[Array] = [np.zeros(0)] * len(self.factors)
        main = self.factors[self.main]
        q = main.structure.size
        modes[self.main] = (system.solution0 @ direction).reshape(-1, q)
        spread[self.main] = self._main_spread(system)
        done = 0
        values = system.solution1 @ direction
        for i in self.rest:
            factor = self.factors[i]
            part = slice(done, done + factor.n_effects)
            modes[i] = values[part].reshape(-1, factor.structure.size)
            spread[i] = diagonal_blocks(system.r1[part, part], factor.structure.size)
            done += factor.n_effects
        return modes, spread

    def _main_spread(self, system: _System) -> Array:
        """Conditional covariances (G, q, q) of the effects of the main factor."""
        q = self.factors[self.main].structure.size
        blocks = diagonal_of(system.r0, q).copy()
        if self.gram is not None:
            blocks[:, 0, 0] += blocks[:, 0, 0] ** 2 * self.gram.diagonal(system.r1)
            return blocks
        link = (system.r0 @ self.a01).tocsr()
        through = np.asarray(link @ system.r1)
        for a in range(q):
            for b in range(q):
                both = link[a::q].multiply(through[b::q])
                blocks[:, a, b] += np.asarray(both.sum(axis=1)).ravel()
        return blocks


def _between(matrix: Array, factors: list[sparse.csr_array], *, transposed: bool = False) -> Array:
    """Λ M Λ', or Λ' M Λ, of a symmetric matrix, Λ being these factors one after the other."""
    lam = sparse.block_diag(factors, format="csr")
    scale = np.asarray(lam.diagonal(), dtype=float)
    if lam.nnz == np.count_nonzero(scale):
        if (scale == scale[0]).all():
            return np.asarray(matrix * scale[0] ** 2)
        out: Array = matrix * scale[:, None]
        out *= scale
        return out
    lam = lam.T if transposed else lam
    return np.asarray((lam @ (lam @ matrix).T).T)


def _sums_of_products(factor: Factor, weight: Array) -> Array:
    q = factor.structure.size
    out = np.empty((factor.n_levels, q, q))
    for a in range(q):
        for b in range(q):
            products = weight * factor.z[:, a] * factor.z[:, b]
            out[:, a, b] = np.bincount(factor.index, products, factor.n_levels)
    return out


def _trace_rest(system: _System, part: slice, size: int, lam: Array) -> Array:
    """Sum over levels of the diagonal blocks of Z₁'V⁻¹Z₁ of one factor.

    Where Λ is far from singular, Z'V⁻¹Z = Λ⁻ᵀ(I − S⁻¹)Λ⁻¹ saves two large products.
    """
    own = diagonal_blocks(system.schur[part, part], size).sum(axis=0)
    strip = system.schur[part]
    if np.abs(np.linalg.det(lam)) > 1e-3 and np.linalg.cond(lam) < 1e3:
        count = (part.stop - part.start) // size
        inner = diagonal_blocks(system.r1[part, part], size).sum(axis=0)
        psi_inverse = np.linalg.inv(lam @ lam.T)
        found: Array = count * psi_inverse - psi_inverse @ inner @ psi_inverse
        return found
    half = strip @ system.r1
    out = np.empty((size, size))
    for a in range(size):
        for b in range(size):
            out[a, b] = np.sum(half[a::size] * strip[b::size])
    found = own - out
    return found


def _slopes(trace: Array, rows: Array, beta: Array) -> Slopes:
    """Derivatives in Ψ from Z'V⁻¹[X, y] by level, shape (G, q, p + 1)."""
    p = len(beta)
    x, y = rows[:, :, :p], rows[:, :, p]
    residual = y - x @ beta
    cross = np.einsum("gap,gbs->abps", x, x, optimize=True)
    return Slopes(trace[:, :, None], cross[:, :, None], (residual.T @ residual)[:, :, None])
