"""The (restricted) likelihood criterion of a linear mixed model, put together from its parts.

The criterion is −2 log likelihood, profiled over β and σ. For maximum likelihood, with n rows,

    log|V/σ²| + n (1 + log(2π r²/n)),

and for restricted likelihood n − p takes the place of n and log|X'(V/σ²)⁻¹X| is added.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motorlearn.mixed.solve.covariance import Structure

Array = NDArray[np.float64]


@dataclass
class Evaluation:
    """The criterion at one point and what inference needs from it, for R replicates.

    ``log_slope`` and ``rss_slope`` are the derivatives in θ of the log determinants and of the
    penalised residual sum of squares; ``cross_slope`` (R, t, p, p) that of X'V⁻¹X.
    """

    value: Array
    gradient: Array
    beta: Array
    rss: Array
    cross: Array
    log_slope: Array
    rss_slope: Array
    cross_slope: Array


@dataclass
class Profile:
    """Solution for β at one θ: β (R, p), residual sum (R,), X'V⁻¹X (R, p, p), log|V| (R,)."""

    beta: Array
    rss: Array
    cross: Array
    log_determinant: Array


@dataclass
class Slopes:
    """Derivatives in Ψ: tr Z'V⁻¹Z (q, q, R), −X'V⁻¹X (q, q, R, p, p), −residual sum (q, q, R)."""

    log_determinant: Array
    cross: Array
    rss: Array


def assemble(
    profile: Profile,
    slopes: list[Slopes],
    lams: list[Array],
    structures: list[Structure],
    df: int | Array,
    reml: bool,
) -> Evaluation:
    """Put the criterion and its gradient in θ together, factor by factor."""
    value = profile.log_determinant + df * (1 + np.log(2 * np.pi * profile.rss / df))
    if reml:
        value = value + np.linalg.slogdet(profile.cross)[1]
        inverse = np.linalg.inv(profile.cross)
    log_slopes, rss_slopes, cross_slopes = [], [], []
    for slope, lam, structure in zip(slopes, lams, structures, strict=True):
        log_psi = slope.log_determinant
        if reml:
            log_psi = log_psi - np.einsum("abrps,rsp->abr", slope.cross, inverse)
        log_slopes.append(structure.theta_gradient((log_psi + log_psi.swapaxes(0, 1)) / 2, lam))
        rss_slopes.append(structure.theta_gradient(-slope.rss, lam))
        rows, columns = structure.entries
        half = -np.einsum("abrps,bcr->acrps", slope.cross, lam)[rows, columns]
        cross_slopes.append((half + half.swapaxes(-1, -2)).swapaxes(0, 1))
    log_slope, rss_slope = np.concatenate(log_slopes, axis=1), np.concatenate(rss_slopes, axis=1)
    return Evaluation(
        value=value,
        gradient=log_slope + (df / profile.rss)[:, None] * rss_slope,
        beta=profile.beta,
        rss=profile.rss,
        cross=profile.cross,
        log_slope=log_slope,
        rss_slope=rss_slope,
        cross_slope=np.concatenate(cross_slopes, axis=1),
    )
