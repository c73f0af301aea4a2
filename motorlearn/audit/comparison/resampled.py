"""Remedies that draw data anew: bootstrap, imputation, permutation; slopes for each group."""

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from motorlearn.audit.comparison.phase_model import Pair, PhaseModel
from motorlearn.audit.report import Conclusion
from motorlearn.linear import (
    ancova_batch,
    estimate_by_group,
    fit_least_squares,
    group_variances,
)
from motorlearn.linear.least_squares import LeastSquares

Floats = NDArray[np.float64]


def bootstrapped(model: PhaseModel, *, resamples: int, seed: int) -> tuple[Conclusion, ...]:
    """Contrasts by the studentised bootstrap, residuals drawn anew within their groups.

    Residuals without any effect are drawn for everybody from the own group's, put on one footing
    for their leverage, and t is computed each time with a variance for each group; its tails take
    the place of Student's. Groups are drawn in the order of their names, so that their order in
    the plan changes nothing.

    References
    ----------
    Efron, B., & Tibshirani, R. J. (1993). An introduction to the bootstrap, chapters 9 and 12.
    """
    fit, whole = model.fit(), model.complete
    noise = _residuals_drawn(fit, whole, resamples, np.random.default_rng(seed))
    away = noise - noise @ fit.design @ fit.unscaled @ fit.design.T
    unit = np.eye(model.places().max() + 1)[model.places()]
    df = np.maximum((1 - fit.leverage) @ unit, 1e-12)
    found = []
    for pair in model.pairs:
        weights = model.coefficient_weights(pair, fit)
        loads = weights @ fit.unscaled @ fit.design.T
        errors = np.sqrt(away**2 @ unit / df @ (loads**2 @ unit))
        t = (noise @ loads)[errors > 0] / errors[errors > 0]
        own = estimate_by_group(fit, weights, model.places())
        low, high = own.estimate - own.std_error * np.quantile(t, [0.975, 0.025])
        tail = min(np.sum(t >= own.statistic), np.sum(t <= own.statistic)) + 1
        p = min(1.0, 2 * float(tail) / (len(t) + 1))
        found.append(model.conclude(pair, own.estimate, float(low), float(high), p))
    return tuple(found)


def _residuals_drawn(
    fit: LeastSquares, whole: PhaseModel, resamples: int, rng: np.random.Generator
) -> Floats:
    """Centred residuals of every group, drawn anew within it, shape (resamples, n)."""
    residual = fit.residuals / np.sqrt(np.maximum(1 - fit.leverage, 1e-12))
    drawn = np.empty((resamples, fit.n))
    for code in sorted(np.unique(whole.codes), key=lambda code: str(whole.groups[code])):
        members = np.flatnonzero(whole.codes == code)
        own = residual[members] - residual[members].mean()
        drawn[:, members] = rng.choice(own, size=(resamples, len(members)))
    return drawn


def at_baseline(model: PhaseModel, quantile: float = 0.5) -> tuple[Conclusion, ...]:
    """Contrasts with a slope and a variance for each group, read at a quantile of the baseline."""
    whole = model.complete
    point = float(np.quantile(whole.x, quantile))
    unit = np.eye(len(model.groups))[whole.codes]
    fit = fit_least_squares(np.hstack([unit, unit * (whole.x - point)[:, None]]), whole.y)
    found = []
    for pair in model.pairs:
        c = np.concatenate([model.weights(pair), np.zeros(len(model.groups))])
        t = estimate_by_group(fit, c, whole.codes)
        found.append(model.conclude(pair, t.estimate, t.conf_low, t.conf_high, t.p))
    return tuple(found)


def imputed(
    model: PhaseModel, pair: Pair, shifts: Floats, *, draws: int = 200, seed: int = 0
) -> list[Conclusion]:
    """A contrast with missing scores imputed from the baseline, shifted on one side.

    Scores are drawn from the model fitted to the complete cases, parameters drawn anew for each
    imputation, and combined by Rubin's rules; ``shifts`` are added to the imputed scores of the
    first group of the pair, on the scale of the analysis (taken from those of the second where
    only it lacks scores).
    """
    model = replace(model, more=None)
    fit, missing = model.fit(), ~np.isfinite(model.y)
    whole = model.subset(
        model.used | (missing & (np.isfinite(model.x) if model.adjusted else True))
    )
    missing = ~np.isfinite(whole.y)
    rng = np.random.default_rng(seed)
    sigma = np.sqrt(fit.sse / rng.chisquare(fit.df, draws))
    root = np.linalg.cholesky(fit.unscaled)
    beta = fit.coefficients + sigma[:, None] * (rng.normal(size=(draws, len(root))) @ root.T)
    ratio = _spread_of(model, fit, whole.codes[missing])
    drawn = beta @ _design(whole, missing).T + sigma[:, None] * ratio * rng.normal(
        size=(draws, missing.sum())
    )
    y = np.repeat(whole.y[None], draws, axis=0)
    x = np.repeat(whole.x[None], draws, axis=0)
    shifted = whole.moved(pair, missing)[missing]
    df, found = df_of(model, pair, fit), []
    for shift in shifts:
        y[:, missing] = drawn + shift * shifted
        apart = _by_group(whole, pair, y, whole.codes[None]) if model.by_group else None
        found.append(combined(model, pair, apart or _pooled(whole, pair, y, x), df))
    return found


def df_of(model: PhaseModel, pair: Pair, fit: LeastSquares) -> float:
    """Degrees of freedom of a contrast of the complete cases."""
    if not model.by_group:
        return float(fit.df)
    return estimate_by_group(fit, model.coefficient_weights(pair, fit), model.places()).df


def _spread_of(model: PhaseModel, fit: LeastSquares, codes: NDArray[np.intp]) -> Floats:
    """Residual SD of each group over that of all, where groups have a variance each."""
    if not model.by_group:
        return np.ones(len(codes))
    variances, df = group_variances(fit, model.places())
    own = np.where(df > 1e-8, variances, fit.variance)
    present = np.unique(model.complete.codes)
    return np.asarray(np.sqrt(own / fit.variance)[np.searchsorted(present, codes)], dtype=float)


def permuted(
    model: PhaseModel,
    *,
    blocks: NDArray[Any] | None = None,
    permutations: int = 4999,
    seed: int = 0,
) -> tuple[Conclusion, ...]:
    """Permutation p of each contrast; labels move only inside the blocks they were drawn in.

    The statistic is the t of the adjusted contrast with a variance for each group; every
    permutation moves the labels of all groups. The p is exact where the group matters for nobody,
    and near that where it only leaves the means alone: groups of unequal size may scatter
    differently.

    References
    ----------
    Chung, E., & Romano, J. P. (2013). Annals of Statistics, 41, 484-507.
    https://doi.org/10.1214/13-AOS1090
    """
    whole = model.complete
    strata = np.zeros(len(whole.y), dtype=int) if blocks is None else blocks[model.used]
    rng = np.random.default_rng(seed)
    codes = np.repeat(whole.codes[None], permutations, axis=0)
    for stratum in np.unique(strata):
        members = np.flatnonzero(strata == stratum)
        codes[:, members] = rng.permuted(codes[:, members], axis=1)
    found = []
    for pair, before in zip(model.pairs, model.conclusions()):
        here, drawn = (
            _t_by_group(whole, pair, whole.y[None], c) for c in (whole.codes[None], codes)
        )
        as_large = np.abs(drawn) >= np.abs(here[0]) * (1 - 1e-12)
        p = (1 + as_large.sum()) / (1 + permutations)
        found.append(replace(before, p=float(p)))
    return tuple(found)


def _t_by_group(model: PhaseModel, pair: Pair, y: Floats, codes: NDArray[np.intp]) -> Floats:
    """t of a contrast with a variance for each group, for many data sets or allocations.

    ``y`` and ``codes`` are (sets, n), one of them possibly with one set; sets without an estimate
    have t of nan.
    """
    estimate, error = _by_group(model, pair, y, codes)
    return np.divide(estimate, error, out=np.full_like(error, np.nan), where=error > 0)


def _by_group(
    model: PhaseModel, pair: Pair, y: Floats, codes: NDArray[np.intp]
) -> tuple[Floats, Floats]:
    """Contrasts and their standard errors with a variance for each group, (sets,) each."""
    unit = np.eye(len(model.groups))[codes][..., np.unique(codes)]
    design = unit
    if model.adjusted:
        x = np.broadcast_to((model.x - model.x.mean())[:, None], (*codes.shape, 1))
        design = np.concatenate([unit, x], axis=2)
    inner = np.linalg.inv(np.swapaxes(design, 1, 2) @ design)
    weights = np.zeros(design.shape[2])
    weights[: unit.shape[2]] = model.weights(pair)[np.unique(codes)]
    loads = (design @ (inner @ weights)[..., None])[..., 0]
    turned = design @ inner
    leverage = np.einsum("rnp,rnp->rn", turned, design)
    fitted = (turned @ (np.swapaxes(design, 1, 2) @ y[..., None]))[..., 0]
    squares = np.einsum(
        "rn,rng->rg", (y - fitted) ** 2, np.broadcast_to(unit, (len(fitted), *unit.shape[1:]))
    )
    df = np.maximum(np.einsum("rn,rng->rg", 1 - leverage, unit), 1e-12)
    error = np.sqrt((squares / df * np.einsum("rn,rng->rg", loads**2, unit)).sum(axis=1))
    return np.broadcast_to((y * loads).sum(axis=1), error.shape), error


def _pooled(model: PhaseModel, pair: Pair, y: Floats, x: Floats) -> tuple[Floats, Floats]:
    """Contrasts and standard errors of many data sets with one variance."""
    given = x if model.adjusted else None
    found = ancova_batch(y, model.codes, given, weights=model.weights(pair))
    return found.estimate, found.std_error


def _design(model: PhaseModel, rows: NDArray[np.bool_]) -> Floats:
    unit = np.eye(len(model.groups))[model.codes[rows]]
    if not model.adjusted:
        return unit
    return np.column_stack([np.ones(rows.sum()), unit[:, 1:], model.x[rows]])


def combined(
    model: PhaseModel, pair: Pair, contrast: tuple[Floats, Floats], df: float
) -> Conclusion:
    """A contrast of several imputations put together by Rubin's rules, for few people.

    References
    ----------
    Barnard, J., & Rubin, D. B. (1999). Biometrika, 86, 948-955.
    https://doi.org/10.1093/biomet/86.4.948
    """
    estimates, errors = contrast
    m = len(estimates)
    estimate, within = estimates.mean(), np.mean(errors**2)
    between = estimates.var(ddof=1) * (1 + 1 / m)
    total = within + between
    lost = between / total
    old = (m - 1) / max(lost, 1e-12) ** 2
    observed = (df + 1) / (df + 3) * df * (1 - lost)
    used = old * observed / (old + observed)
    error = np.sqrt(total)
    reach = stats.t.isf(0.025, used) * error
    p = 2 * stats.t.sf(abs(estimate) / error, used)
    return model.conclude(pair, estimate, estimate - reach, estimate + reach, p)
