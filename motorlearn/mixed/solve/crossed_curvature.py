"""Second derivatives of the crossed linear criterion, where every factor has one random term.

With G_r = Z_r Z_r', C = X'V⁻¹X, residuals e and P = V⁻¹ − V⁻¹XC⁻¹X'V⁻¹, in relative variances ψ,

    ∂²/∂ψ_r∂ψ_s (log|V| + log|C|) = −tr(V⁻¹G_rV⁻¹G_s) + 2 tr(C⁻¹X'V⁻¹G_rV⁻¹G_sV⁻¹X)
                                    − tr(C⁻¹A_rC⁻¹A_s),   A_r = X'V⁻¹G_rV⁻¹X,
    ∂²/∂ψ_r∂ψ_s e'V⁻¹e = 2 e'V⁻¹G_rPG_sV⁻¹e.

The traces need one product of large matrices; the rest are products of the inverse with vectors,
and half of the second line over σ² is the average information, which does without the traces.

References
----------
Gilmour AR, Thompson R, Cullis BR (1995). Average information REML. Biometrics 51, 1440-1450.
https://doi.org/10.2307/2533274
"""

import numpy as np
from numpy.typing import NDArray

from motorlearn.mixed.solve.criterion import Evaluation
from motorlearn.mixed.solve.engine import ONE, Cells, Working
from motorlearn.mixed.solve.linear_crossed import LinearManyFactors
from motorlearn.mixed.solve.optimise import positive_inverse

Array = NDArray[np.float64]

FEWEST_EFFECTS = 100
"""Effects besides the most numerous from which differences of gradients cost more."""
_LEAST_THETA = 0.02


def has_curvature(model: LinearManyFactors, theta: Array) -> bool:
    """Whether the second derivatives can be had, and are worth it, at θ (1, t)."""
    single = all(factor.structure.size == 1 for factor in model.factors)
    large = len(model.a11) >= FEWEST_EFFECTS
    planned = model.gram is not None and model.gram.planned
    return single and large and planned and bool(np.abs(theta).min() > _LEAST_THETA)


def exact_curvatures(model: LinearManyFactors, theta: Array) -> tuple[Array, Array]:
    """Hessians of −2 log likelihood, (1, t, t) profiled over σ and (1, t + 1, t + 1) in (θ, σ)."""
    here = model.evaluate(theta, ONE)
    logs, squares = _vector_parts(model, theta)
    if not model.reml:
        logs = np.zeros_like(logs)
    logs = logs - _traces(model, theta)
    variance = float(here.rss[0]) / model.df
    slope = (here.log_slope[0] + here.rss_slope[0] / variance) / theta[0]
    return _in_theta(model, theta, here, logs + squares / variance, slope)


def average_information(model: LinearManyFactors, theta: Array) -> Array:
    """Inverse of the curvature to begin with, (1, t, t)."""
    here = model.evaluate(theta, ONE)
    variance = float(here.rss[0]) / model.df
    _, squares = _vector_parts(model, theta)
    curve, _ = _in_theta(model, theta, here, squares / 2 / variance, np.zeros(theta.shape[1]))
    return positive_inverse(curve)


def _in_theta(
    model: LinearManyFactors, theta: Array, here: Evaluation, second: Array, slope: Array
) -> tuple[Array, Array]:
    """From second derivatives in ψ = θ², and twice the first ones, to those in (θ, σ)."""
    size, point = theta.shape[1], theta[0]
    variance = float(here.rss[0]) / model.df
    full = np.empty((size + 1, size + 1))
    full[:size, :size] = 4 * np.outer(point, point) * second + np.diag(slope)
    full[:size, size] = full[size, :size] = -2 * here.rss_slope[0] / variance**1.5
    full[size, size] = 4 * model.df / variance
    outer = np.outer(full[:size, size], full[size, :size]) / full[size, size]
    return (full[:size, :size] - outer)[None], full[None]


def _vector_parts(model: LinearManyFactors, theta: Array) -> tuple[Array, Array]:
    """What log|C| and the residual sum add to the curvature in ψ, each (t, t), without traces."""
    here, p = model.evaluate(theta, ONE), model.n_fixed
    cross = np.linalg.inv(here.cross[0])
    turn = np.eye(p + 1)
    turn[:p, p] = -here.beta[0]
    pulls = [pull @ turn for pull in model.pulls(theta)]
    count = len(pulls)
    own = [pull.T @ pull for pull in pulls]
    logs, squares = np.empty((count, count)), np.empty((count, count))
    for s in range(count):
        through = model.through(theta, s, pulls[s])
        for r in range(count):
            both = pulls[r].T @ through[r]
            logs[r, s] = 2 * np.sum(cross * both[:p, :p])
            logs[r, s] -= np.sum((cross @ own[r][:p, :p]) * (cross @ own[s][:p, :p]).T)
            lost = own[r][p, :p] @ cross @ own[s][:p, p]
            squares[r, s] = 2 * (both[p, p] - lost)
    return (logs + logs.T) / 2, (squares + squares.T) / 2


def _traces(model: LinearManyFactors, theta: Array) -> Array:
    """tr(V⁻¹G_rV⁻¹G_s), the squares of the entries of Z_r'V⁻¹Z_s added up."""
    kept, r1, keep, diagonal = model.pieces(theta)
    assert model.gram is not None
    product = kept @ r1
    extra = (diagonal * keep**2) @ model.gram.diagonal(r1)
    out, main = np.empty((theta.shape[1],) * 2), model.main
    whole = np.sum(diagonal**2) - 2 * extra + np.vdot(product, product.T)
    out[main, main] = whole
    by_column = np.sum(product * r1, axis=0)
    parts, psi = model.parts(), theta[0] ** 2
    for r, first in parts:
        out[main, r] = out[r, main] = by_column[first].sum() / psi[r] ** 2
        for s, second in parts:
            block = r1[first, second] / (psi[r] * psi[s])
            square = float(np.vdot(block, block))
            if r == s:
                count = first.stop - first.start
                square += count / psi[r] ** 2 - 2 * float(np.trace(block)) / psi[r]
            out[r, s] = square
    return out


def joint_moments(work: Working, cells: Cells) -> Array | None:
    """Starting θ (t,) from moments of all factors together; None where they give no variance.

    The squares of the sums z'r over the levels of each factor, and those of all residuals r, are
    set equal to what they are expected to be under variances of every factor.
    """
    weight, rest, n = cells.weight, cells.y, len(cells.y)
    terms = [(f.index, f.z[:, 0], f.n_levels) for f in work.factors]
    count = len(terms)
    left, right = np.empty((count + 1, count + 1)), np.empty(count + 1)
    for r, (index, z, levels) in enumerate(terms):
        right[r] = np.sum(np.bincount(index, weight * z * rest, levels) ** 2)
        left[r, count] = np.sum(weight * z * z)
        left[count, r] = np.sum(weight * z * z)
        for s, (other, y, others) in enumerate(terms):
            pair, where = np.unique(index * others + other, return_inverse=True)
            left[r, s] = np.sum(np.bincount(where, weight * z * y, len(pair)) ** 2)
    left[count, count] = cells.n
    right[count] = np.sum(weight * rest**2) + cells.within
    found = np.linalg.solve(left, right)
    if n <= count or not (found[count] > 0 and (found[:count] > 1e-3 * found[count]).all()):
        return None
    return np.asarray(np.sqrt(found[:count] / found[count]))
