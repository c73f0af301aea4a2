"""Means and their differences on the scale that is asked for, with covariance and intervals."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motorlearn.linear.hypotheses import t_quantile
from motorlearn.mixed.grids import GridRows
from motorlearn.mixed.inference.degrees_of_freedom import contrast_covariance, degrees_of_freedom
from motorlearn.mixed.responses import Mean
from motorlearn.mixed.result import MixedFit

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Scale:
    """What an estimate is: its scale by name, and the place of a rating whose chance it is."""

    name: str
    rating: int | None = None

    def straight(self, fit: MixedFit) -> bool:
        """Whether estimates are sums of fixed effects."""
        return self.name in ("link", "ratio") or fit.link == "identity"


def means_on_scale(
    fit: MixedFit, rows: Sequence[GridRows], scale: Scale, level: float
) -> tuple[Array, ...]:
    """Lower and upper limits, estimates, standard errors and df of the mean of each grid."""
    estimate, covariance, df = differences(fit, rows, np.eye(len(rows)), scale)
    with np.errstate(invalid="ignore"):
        error = np.sqrt(np.diag(covariance))
    margin = t_quantile(level, df) * error
    if scale.straight(fit):
        return estimate - margin, estimate + margin, estimate, error, df
    low, high = (0.0, 1.0) if scale.rating is not None else fit.response.bounds
    return (*_inside(estimate, margin, low, high), estimate, error, df)


def _inside(estimate: Array, margin: Array, low: float, high: float) -> tuple[Array, Array]:
    """Intervals made on the scale of log odds, or of logarithms, so that they stay inside."""
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        if np.isinf(high):
            factor = np.exp(margin / estimate)
            return estimate / factor, estimate * factor
        share = (estimate - low) / (high - low)
        width = margin / (high - low) / (share * (1 - share))
        odds = share / (1 - share)
        limits = [odds * np.exp(sign * width) for sign in (-1, 1)]
        down, up = (low + (high - low) * o / (1 + o) for o in limits)
        return down, np.where(np.isinf(limits[1]), high, up)


def differences(
    fit: MixedFit, rows: Sequence[GridRows], weights: Array, scale: Scale
) -> tuple[Array, Array, Array]:
    """Weighted sums of means, their covariance and the df of each."""
    lines = weights @ np.array([block.x.mean(axis=0) for block in rows])
    lines = np.where(np.abs(lines) > 1e-12, lines, 0.0)
    if scale.straight(fit):
        df = np.array([degrees_of_freedom(line, fit.inference) for line in lines])
        return lines @ fit.beta, _covariance(lines, fit.vcov), df
    found = [_on_mean_scale(fit, block, scale) for block in rows]
    slopes = weights @ np.array([slope for _, slope in found])
    factor, df = _small_sample(fit, lines)
    covariance = _covariance(slopes, fit.inference.joint_vcov) * np.outer(factor, factor)
    return weights @ np.array([value for value, _ in found]), covariance, df


def _on_mean_scale(fit: MixedFit, rows: GridRows, scale: Scale) -> tuple[float, Array]:
    """Mean of grid rows on the scale of the outcome, and its gradient in β, Ψ and κ."""
    found = _mean_of(fit, rows, scale)
    slopes = [found.by_eta @ rows.x, found.by_variance @ rows.loadings, found.by_extra.sum(axis=1)]
    return float(found.value.mean()), np.concatenate(slopes) / len(rows.x)


def _mean_of(fit: MixedFit, rows: GridRows, scale: Scale) -> Mean:
    eta, response = rows.x @ fit.beta, fit.response
    if scale.name == "median":
        return response.median(eta)
    variance = rows.loadings @ rows.variances if scale.name == "average" else None
    return response.mean(eta, variance, scale.rating)


def _small_sample(fit: MixedFit, lines: Array) -> tuple[Array, Array]:
    """What few people add to the standard errors of β-lines (k, p), as a factor, and their df."""
    inference, count = fit.inference, lines.shape[1]
    plain = inference.joint_vcov[:count, :count]
    own, used = (
        np.array([contrast_covariance(line[None], vcov)[0, 0] for line in lines])
        for vcov in (plain, inference.vcov)
    )
    df = np.array([degrees_of_freedom(line, inference) for line in lines])
    return np.sqrt(np.divide(used, own, out=np.ones(len(lines)), where=own > 0)), df


def _covariance(lines: Array, vcov: Array) -> Array:
    """Covariance of lines; a line that needs an effect without a variance has none either."""
    bad = ~np.isfinite(np.diag(vcov))
    lost = (lines[:, bad] != 0).any(axis=1)
    inside = np.where(np.outer(~bad, ~bad), vcov, 0.0)
    found: Array = lines @ inside @ lines.T
    found[lost], found[:, lost] = np.nan, np.nan
    return found
