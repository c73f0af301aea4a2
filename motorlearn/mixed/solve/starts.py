"""Where the search of a model that is not normal begins, and how curved it is expected there.

At the coefficients without random effects the outcome is replaced by pseudo-data with weights W
(``Likelihood.working``), whose residuals r have the variance W⁻¹ + ZΨZ'. With M = Z'WZ of a level,
moments of Z'Wr give Ψ, and with V = ΛΛ' + M⁻¹ the expected curvature
of −2 log likelihood in two entries of Λ is Σ tr(V⁻¹ ∂V V⁻¹ ∂V) over the levels, that in β
2 X'(W⁻¹ + ZΨZ')⁻¹X. Several factors are looked at one by one, and their parts of the covariance of
β added up. Everything carries a replicate axis R.
"""

import numpy as np
from numpy.typing import NDArray

from motorlearn.mixed.solve.blocks import cholesky, inverse_lower
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.likelihoods import Likelihood

Array = NDArray[np.float64]

_LEAST_SD, _MOST_SD = 0.15, 2.0
_FAR = 5.0
"""Standard deviations at which residuals are cut."""
_LEAST_CURVATURE = 0.05
"""Curvature in θ for each level where the data say nothing."""


def first_coefficients(
    x: Array, y: Array, weight: Array, offset: Array, likelihood: Likelihood
) -> tuple[Array, Array]:
    """Coefficients (R, p) and information (R, p, p) without random effects, a few damped steps."""
    p = x.shape[1]
    ridge = 1e-6 * x.shape[0]
    first = likelihood.guess(y, weight) - offset
    beta: Array = np.zeros((len(y), p))
    if first.any():
        beta = np.asarray(np.linalg.lstsq(x, first.T)[0].T, dtype=float)
    extra = likelihood.first(y, weight)
    for _ in range(25):
        _, slope, bend, _ = likelihood.rows(beta @ x.T + offset, y, weight, extra)
        bend = np.maximum(bend, 1e-6)
        information = np.matmul(x.T * bend[:, None, :], x) + ridge * np.eye(p)
        step = np.linalg.solve(information, (slope @ x - ridge * beta)[..., None])[..., 0]
        longest = np.abs(step).max(axis=1, keepdims=True)
        beta = beta + step * np.minimum(1.0, 2.0 / np.maximum(longest, 1e-300))
        if longest.max() < 1e-4:
            break
    return beta, information


def first_point(
    x: Array,
    factors: list[Factor],
    y: Array,
    weight: Array,
    offset: Array,
    likelihood: Likelihood,
) -> tuple[Array, Array]:
    """Points (β, θ, κ) (R, d) to begin at, and guesses of the inverse Hessian there (R, d, d)."""
    beta, _ = first_coefficients(x, y, weight, offset, likelihood)
    extra = likelihood.first(y, weight)
    rest, trust = _pseudo(x, y, weight, offset, likelihood, beta, extra)
    theta = [_moments(factor, rest, trust) for factor in factors]
    point = np.concatenate([beta, *theta, extra], axis=1)
    return point, curvature_guess(x, factors, theta, trust, weight, likelihood.n_extra)


def guess_at(
    x: Array,
    factors: list[Factor],
    y: Array,
    weight: Array,
    offset: Array,
    likelihood: Likelihood,
    point: Array,
) -> Array:
    """Guesses of the inverse Hessian at given points (R, d)."""
    p, own = x.shape[1], likelihood.n_extra
    ends = np.cumsum([p, *(f.structure.n_free for f in factors)])
    beta, *theta, extra = np.split(point, ends, axis=1)
    _, trust = _pseudo(x, y, weight, offset, likelihood, beta, extra)
    return curvature_guess(x, factors, theta, trust, weight, own)


def _pseudo(
    x: Array,
    y: Array,
    weight: Array,
    offset: Array,
    likelihood: Likelihood,
    beta: Array,
    extra: Array,
) -> tuple[Array, Array]:
    """Residuals of the pseudo-data and their weights, (R, N); no weight where they are no numbers.

    A residual of many standard deviations would decide moments alone, and is cut.
    """
    with np.errstate(all="ignore"):
        rest, trust = likelihood.working(beta @ x.T + offset, y, weight, extra)
        good = np.isfinite(rest) & np.isfinite(trust)
        rest, trust = np.where(good, rest, 0.0), np.where(good, trust, 0.0)
        far = _FAR / np.sqrt(np.maximum(trust, 1e-12))
    return np.clip(rest, -far, far), trust


def _sums(factor: Factor, values: Array) -> Array:
    """Sums (R, G) of row values (R, N) by level."""
    out = [np.bincount(factor.index, row, factor.n_levels) for row in values]
    return np.array(out, dtype=float)


def _moments(factor: Factor, rest: Array, trust: Array) -> Array:
    """θ (R, t) by moments: E(s s') = M + MΨM with s = Z'Wr, as if M were diagonal."""
    q = factor.structure.size
    pulls = [_sums(factor, z * trust * rest) for z in factor.z.T]
    sizes = [_sums(factor, z * z * trust) for z in factor.z.T]
    found = np.zeros((len(rest), q, q))
    for block in factor.structure.blocks:
        for a in block:
            for b in block:
                known = _sums(factor, factor.z[:, a] * factor.z[:, b] * trust)
                excess = np.sum(pulls[a] * pulls[b] - known, axis=1)
                scale = np.sum(sizes[a] * sizes[b], axis=1)
                found[:, a, b] = excess / np.maximum(scale, 1e-300)
    values, vectors = np.linalg.eigh(found)
    values = np.clip(values, _LEAST_SD**2, _MOST_SD**2)
    lower = np.linalg.cholesky((vectors * values[:, None]) @ vectors.swapaxes(1, 2))
    rows, columns = factor.structure.entries
    return np.asarray(lower[:, rows, columns])


def curvature_guess(
    x: Array, factors: list[Factor], theta: list[Array], trust: Array, weight: Array, own: int
) -> Array:
    """Guess of the inverse Hessian of −2 log likelihood in (β, θ, κ), (R, d, d)."""
    p, count = x.shape[1], len(trust)
    information = np.matmul(x.T * trust[:, None, :], x) + 1e-6 * len(x) * np.eye(p)
    plain = np.linalg.inv(information)
    spread, blocks = plain.copy(), []
    for factor, part in zip(factors, theta, strict=True):
        lost, curve = _by_levels(x, factor, part, trust)
        spread += np.linalg.inv(information - lost) - plain
        blocks.append(np.linalg.inv(curve))
    sizes = [p, *(block.shape[1] for block in blocks), own]
    ends = np.cumsum(sizes)
    guess = np.zeros((count, ends[-1], ends[-1]))
    guess[:, :p, :p] = spread / 2
    for block, end in zip(blocks, ends[1:], strict=False):
        at = slice(end - block.shape[1], end)
        guess[:, at, at] = block
    places = np.arange(ends[-1] - own, ends[-1])
    guess[:, places, places] = (2 / weight.sum(axis=-1))[..., None]
    return guess


def _by_levels(x: Array, factor: Factor, theta: Array, trust: Array) -> tuple[Array, Array]:
    """What the levels take of the information on β (R, p, p), and the curvature in θ (R, t, t)."""
    q = factor.structure.size
    lam = factor.structure.factor(theta)
    weighted = [trust * z for z in factor.z.T]
    inner = np.array([[_sums(factor, w * z) for z in factor.z.T] for w in weighted])
    across = np.array([[_sums(factor, w * column) for w in weighted] for column in x.T])
    root = np.einsum("abr,acrg,cdr->bdrg", lam, inner, lam)
    root[np.arange(q), np.arange(q)] += 1
    root = inverse_lower(cholesky(root))
    turn = np.einsum("cbrg,abr->carg", root, lam)
    half = np.einsum("carg,parg->cprg", turn, across)
    lost = np.einsum("cprg,csrg->rps", half, half)
    tied = np.einsum("carg,abrg->cbrg", turn, inner)
    held = inner - np.einsum("carg,cbrg->abrg", tied, tied)
    side = np.einsum("abrg,bcr->acrg", held, lam)
    both = np.einsum("abr,acrg->bcrg", lam, side)
    a, c = factor.structure.entries
    curve = 2 * np.einsum("ijrg,jirg->rij", side[a][:, c], side[a][:, c])
    curve += 2 * np.einsum("ijrg,ijrg->rij", held[a][:, a], both[c][:, c])
    curve[:, np.arange(len(a)), np.arange(len(a))] += _LEAST_CURVATURE * factor.n_levels
    return lost, curve
