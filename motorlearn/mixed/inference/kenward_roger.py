"""Kenward-Roger covariance of the fixed effects and what its degrees of freedom need.

With V = Σ_r γ_r G_r, P_r = −X'V⁻¹G_rV⁻¹X and Q_rs = X'V⁻¹G_rV⁻¹G_sV⁻¹X, the adjusted covariance is

    Φ_A = Φ + 2 Φ { Σ_rs W_rs (Q_rs − P_r Φ P_s) } Φ,

W being the inverse of the expected information of γ. The G_r of a random part is Z E_r Z', so all
of it follows from Z'V⁻¹Z and Z'V⁻¹X; the residual part is V itself less the random parts.

References
----------
Kenward MG, Roger JH (1997). Small sample inference for fixed effects from restricted maximum
likelihood. Biometrics 53:983-997. https://doi.org/10.2307/2533558
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from motorlearn.exceptions import RefusedError
from motorlearn.mixed.inference.degrees_of_freedom import Inference
from motorlearn.mixed.solve.engine import working
from motorlearn.mixed.solve.factors import Factor, block_diagonal

Array = NDArray[np.float64]

MOST_EFFECTS = 4000


@dataclass(frozen=True)
class _Part:
    """One variance parameter: its factor, the entries of Ψ it fills, its value."""

    rows: slice
    size: int
    entries: tuple[tuple[int, int], ...]
    value: float

    def pick(self, matrix: Any, term: int) -> Any:
        """Rows of one random term, for all levels."""
        return matrix[self.rows.start + term : self.rows.stop : self.size]


def kenward_roger(
    x: Array, factors: list[Factor], weight: Array, n: int, psi: list[Array], sigma: float
) -> Inference:
    """Adjust the covariance of the fixed effects for the estimation of the variances.

    Parameters
    ----------
    x : array (N, p)
        Fixed part by cell.
    factors : list of Factor
        Grouping factors.
    weight : array (N,)
        Weight of each cell.
    n : int
        Number of observations.
    psi : list of array
        Covariances of the random effects on working scales, relative to σ².
    sigma : float
        Residual standard deviation.

    Raises
    ------
    RefusedError
        If there are too many random effects for the dense matrices this needs.
    """
    total = sum(factor.n_effects for factor in factors)
    if len(factors) > 1 and total > MOST_EFFECTS:
        raise RefusedError(
            f"Kenward-Roger needs a dense matrix of {total} x {total} random effects here; use "
            "df='satterthwaite', which agrees closely with so many levels."
        )
    work = working(x, factors)
    factors, psi = work.factors, [sigma**2 * covariance for covariance in psi]
    zvz, zvx, xvx = _projected(work.x, factors, weight, psi, sigma)
    phi = np.asarray(np.linalg.inv(xvx), dtype=float)
    parts = _parts(factors, psi)
    crosses, seconds, traces = _products(parts, zvz, zvx, xvx, n)
    turn = np.eye(len(parts) + 1)
    turn[-1] = [*(-part.value / sigma**2 for part in parts), 1 / sigma**2]
    crosses = np.einsum("rs,sij->rij", turn, crosses)
    seconds = np.einsum("ra,sb,abij->rsij", turn, turn, seconds)
    traces = turn @ traces @ turn.T
    return kenward_roger_of((phi, crosses, seconds, traces), work.back)


def adjust(phi: Array, crosses: Array, seconds: Array, traces: Array) -> tuple[Array, Array, Array]:
    """Φ_A, ∂Φ/∂γ and W from Φ (..., p, p), P_r, Q_rs and the traces, for many fits at once."""
    half = phi[..., None, :, :] @ crosses
    information = traces - 2 * np.einsum("...ij,...rsji->...rs", phi, seconds)
    information = information + np.einsum("...rij,...sji->...rs", half, half)
    information = (information + np.swapaxes(information, -1, -2)) / 2
    w = 2 * np.linalg.pinv(information, hermitian=True)
    bracket = seconds - np.einsum("...rij,...sjl->...rsil", crosses @ phi[..., None, :, :], crosses)
    adjusted = phi + 2 * phi @ np.einsum("...rs,...rsij->...ij", w, bracket) @ phi
    slopes = -half @ phi[..., None, :, :]
    return (adjusted + np.swapaxes(adjusted, -1, -2)) / 2, slopes, w


def kenward_roger_of(products: tuple[Array, ...], back: Array) -> Inference:
    """The same from products that are there already, turned from working to original scales."""
    phi, crosses, seconds, traces = products
    adjusted, slopes, w = adjust(phi, crosses, seconds, traces)
    return on_working_scales(phi, adjusted, slopes, w, crosses, back)


def on_working_scales(
    phi: Array, adjusted: Array, slopes: Array, w: Array, crosses: Array, back: Array
) -> Inference:
    """Kenward-Roger inference whose df are found on working scales."""
    none = np.zeros((0, 0))
    vcov, vcov_slopes, plain = (back @ found @ back.T for found in (adjusted, slopes, phi))
    return Inference("kenward-roger", vcov, vcov_slopes, w, plain, crosses, none, none, back, phi)


def _parts(factors: list[Factor], psi: list[Array]) -> list[_Part]:
    parts, done = [], 0
    for factor, covariance in zip(factors, psi, strict=True):
        rows = slice(done, done + factor.n_effects)
        for a, b in zip(*factor.structure.entries, strict=True):
            entries = ((a, a),) if a == b else ((a, b), (b, a))
            parts.append(_Part(rows, factor.structure.size, entries, float(covariance[a, b])))
        done += factor.n_effects
    return parts


def _projected(
    x: Array, factors: list[Factor], weight: Array, psi: list[Array], sigma: float
) -> tuple[Any, Array, Array]:
    """Z'V⁻¹Z, Z'V⁻¹X and X'V⁻¹X; (I + Z'WZ Ψ/σ²)⁻¹ Z'W(·)/σ² needs no inverse of Ψ."""
    weight = weight / sigma**2
    xx = (x.T * weight) @ x
    if len(factors) == 1:
        factor = factors[0]
        z = factor.matrix()
        size = factor.structure.size
        zx = np.asarray((z.T * weight) @ x).reshape(factor.n_levels, size, -1)
        zz = np.zeros((factor.n_levels, size, size))
        np.add.at(
            zz, factor.index, factor.z[:, :, None] * factor.z[:, None, :] * weight[:, None, None]
        )
        solve = np.linalg.inv(np.eye(size) + zz @ psi[0])
        zvz, zvx = solve @ zz, solve @ zx
        xvx = xx - np.einsum("gap,ab,gbs->ps", zx, psi[0], zvx, optimize=True)
        return block_diagonal(zvz), zvx.reshape(-1, x.shape[1]), xvx
    z = sparse.hstack([factor.matrix() for factor in factors], format="csr")
    zz, zx = ((z.T * weight) @ z).toarray(), (z.T * weight) @ x
    big = sparse.block_diag(
        [sparse.kron(sparse.eye_array(f.n_levels), p) for f, p in zip(factors, psi, strict=True)],
        format="csr",
    )
    both = np.linalg.solve(np.eye(len(zz)) + (big @ zz).T, np.column_stack([zz, zx]))
    zvz, zvx = both[:, : len(zz)], both[:, len(zz) :]
    return zvz, zvx, xx - zx.T @ (big @ zvx)


def _products(
    parts: list[_Part], zvz: Any, zvx: Array, xvx: Array, n: int
) -> tuple[Array, Array, Array]:
    """P_r, Q_rs and tr(V⁻¹G_rV⁻¹G_s) for the random parts and, last, for V itself."""
    count, p = len(parts), len(xvx)
    crosses = np.empty((count + 1, p, p))
    seconds = np.empty((count + 1, count + 1, p, p))
    traces = np.empty((count + 1, count + 1))
    crosses[-1], seconds[-1, -1], traces[-1, -1] = -xvx, xvx, n
    for r, one in enumerate(parts):
        crosses[r] = -sum(one.pick(zvx, a).T @ one.pick(zvx, b) for a, b in one.entries)
        seconds[r, -1] = seconds[-1, r] = -crosses[r]
        traces[r, -1] = traces[-1, r] = sum(
            _block(zvz, one, b, one, a).diagonal().sum() for a, b in one.entries
        )
        for s, two in enumerate(parts):
            seconds[r, s], traces[r, s] = 0.0, 0.0
            for a, b in one.entries:
                for c, d in two.entries:
                    inner = _block(zvz, one, b, two, c)
                    seconds[r, s] += one.pick(zvx, a).T @ (inner @ two.pick(zvx, d))
                    traces[r, s] += (inner * _block(zvz, one, a, two, d)).sum()
    return crosses, seconds, traces


def _block(zvz: Any, one: _Part, a: int, two: _Part, b: int) -> Any:
    columns = slice(two.rows.start + b, two.rows.stop, two.size)
    return one.pick(zvz, a)[:, columns]
