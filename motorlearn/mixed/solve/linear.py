"""Profiled (restricted) likelihood of a linear mixed model with one grouping factor.

With V = σ² (W⁻¹ + Z Ψ Z') the data enter only through sums per group, Z'WZ, Z'WX and Z'Wy, so one
evaluation costs the number of groups, not the number of rows. Everything carries a replicate axis:
many responses on one design are fitted side by side.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motorlearn.mixed.solve.blocks import (
    cholesky,
    inverse_lower,
    log_determinant,
    segment_sums,
    solve_lower,
    solve_upper,
)
from motorlearn.mixed.solve.covariance import Structure
from motorlearn.mixed.solve.criterion import Evaluation, Profile, Slopes, assemble

Array = NDArray[np.float64]


@dataclass
class GroupedSums:
    """Sums per group of one design: shapes (q, q, G), (q, p, G), (q, R, G), (p, p), (R, p), (R,).

    ``n`` is the number of observations, ``log_weights`` the sum of the logs of their weights.
    """

    zz: Array
    zx: Array
    zy: Array
    xx: Array
    xy: Array
    yy: Array
    n: int
    log_weights: float = 0.0


def grouped_sums(
    x: Array,
    z: Array,
    y: Array,
    starts: NDArray[np.intp],
    weights: Array,
    *,
    n: int | None = None,
    within: Array | float = 0.0,
    log_weights: float = 0.0,
) -> GroupedSums:
    """Sum a design over its groups.

    Parameters
    ----------
    x : array (N, p)
        Fixed part; rows sorted by group.
    z : array (q, N)
        Random part.
    y : array (R, N)
        Responses.
    starts : array (G,)
        First row of each group.
    weights : array (N,)
        Weight of each row; rows that stand for several observations carry their sum.
    n : int, optional
        Number of observations, if rows stand for several.
    within : array (R,)
        Weighted sum of squares of observations about the row that stands for them.
    log_weights : float
        Sum of the logs of the observations' weights.
    """
    weighted = z * weights
    return GroupedSums(
        zz=segment_sums(weighted[:, None] * z[None], starts),
        zx=segment_sums(weighted[:, None] * x.T[None], starts),
        zy=segment_sums(weighted[:, None] * y[None], starts),
        xx=(x.T * weights) @ x,
        xy=(y * weights) @ x,
        yy=(y * y) @ weights + within,
        n=x.shape[0] if n is None else n,
        log_weights=log_weights,
    )


@dataclass
class Replicates:
    """Sums of several replicates: (q, R, G), (p, p) or (R, p, p), (R, p), (R,); and their df.

    ``left`` (R,) is the group that a replicate goes without, where there is one.
    """

    zy: Array
    xx: Array
    xy: Array
    yy: Array
    df: int | Array
    left: NDArray[np.intp] | None = None

    def blank(self, *parts: Array) -> None:
        """Empty, in place, the entries (…, R, G) of groups that a replicate goes without."""
        if self.left is not None:
            for part in parts:
                part[..., np.arange(len(self.left)), self.left] = 0.0


class LinearOneFactor:
    """Criterion −2 log likelihood, restricted or not, in θ, profiled over β and σ."""

    def __init__(self, sums: GroupedSums, structure: Structure, reml: bool) -> None:
        self.sums, self.structure, self.reml = sums, structure, reml
        self.n_fixed = sums.xx.shape[0]
        self.df = sums.n - self.n_fixed if reml else sums.n

    def replicates(self, which: NDArray[np.intp]) -> Replicates:
        """Sums of the replicates asked for: their own responses on one design."""
        sums = self.sums
        return Replicates(sums.zy[:, which], sums.xx, sums.xy[which], sums.yy[which], self.df)

    def objective(self, theta: Array, which: NDArray[np.intp]) -> tuple[Array, Array]:
        """Values and gradients, as the optimiser asks for them."""
        found = self.evaluate(theta, which)
        return found.value, found.gradient

    def evaluate(self, theta: Array, which: NDArray[np.intp]) -> Evaluation:
        """Evaluate the criterion at θ (K, t) for the replicates ``which``.

        With L L' = I + Λ'Z'WZΛ per group, each sum over a group loses what the random effects
        explain: X'V⁻¹X = X'WX − E'E with E = L⁻¹Λ'Z'WX, and so on.
        """
        sums, own = self.sums, self.replicates(which)
        lam, zy = self.structure.factor(theta), own.zy
        root = cholesky(_penalised(sums.zz, lam))
        x_part = solve_lower(root[:, :, :, None], np.einsum("abr,apg->brpg", lam, sums.zx))
        y_part = solve_lower(root, np.einsum("abr,arg->brg", lam, zy))
        z_part = solve_lower(root, np.einsum("abr,acg->bcrg", lam, sums.zz))
        own.blank(x_part.swapaxes(1, 2), y_part)
        cross = own.xx - np.matmul(x_part, x_part.swapaxes(-1, -2)).sum(axis=0)
        moment = own.xy - np.matmul(x_part, y_part[..., None])[..., 0].sum(axis=0)
        beta = np.linalg.solve(cross, moment[..., None])[..., 0]
        rss = own.yy - np.sum(y_part**2, axis=(0, 2)) - np.sum(moment * beta, axis=1)
        zvz = sums.zz[:, :, None] - np.einsum("carg,cbrg->abrg", z_part, z_part)
        zvx = sums.zx[:, None] - np.einsum("carg,crpg->arpg", z_part, x_part)
        zvr = zy - np.einsum("carg,crg->arg", z_part, y_part)
        zvr -= np.einsum("arpg,rp->arg", zvx, beta)
        determinants = log_determinant(root)
        own.blank(zvz, zvx.swapaxes(1, 2), zvr, determinants)
        products = np.matmul(zvx[:, None], zvx[None].swapaxes(-1, -2))
        slopes = Slopes(zvz.sum(axis=-1), products, np.einsum("arg,brg->abr", zvr, zvr))
        profile = Profile(beta, rss, cross, determinants.sum(axis=-1) - sums.log_weights)
        return assemble(profile, [slopes], [lam], [self.structure], own.df, self.reml)

    def effects(
        self, theta: Array, beta: Array, replicate: int = 0
    ) -> tuple[list[Array], list[Array]]:
        """Conditional modes (G, q) and their covariances (G, q, q), relative to σ²."""
        lam = self.structure.factor(theta[None])
        root = cholesky(_penalised(self.sums.zz, lam))
        rest = self.sums.zy[:, replicate] - np.einsum("apg,p->ag", self.sums.zx, beta)
        right = np.einsum("abr,ag->brg", lam, rest)
        modes = np.einsum("abr,brg->ga", lam, solve_upper(root, solve_lower(root, right)))
        turned = np.einsum("abr,cbrg->acrg", lam, inverse_lower(root))
        return [modes], [np.einsum("acrg,bcrg->gab", turned, turned)]


def _penalised(zz: Array, lam: Array) -> Array:
    size = zz.shape[0]
    inside = np.einsum("abr,acg->bcrg", lam, zz)
    out: Array = np.einsum("bcrg,cdr->bdrg", inside, lam)
    out[np.arange(size), np.arange(size)] += 1
    return out
