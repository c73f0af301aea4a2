"""Intervals of variances and fixed effects: profile likelihood and parametric bootstrap."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats
from scipy.optimize import brentq
from tqdm.auto import tqdm

from motorlearn.exceptions import FitError, InputError
from motorlearn.linear.hypotheses import require_level
from motorlearn.mixed.inference.hypotheses import AT_ONCE
from motorlearn.mixed.inference.profiling import Setting, profile_of_residual, profile_of_term
from motorlearn.mixed.refitting import options_of, refit_many
from motorlearn.mixed.replicates import ManyFits
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.solve.engine import Cells
from motorlearn.mixed.solving import material
from motorlearn.mixed.whole import require_whole

Array = NDArray[np.float64]


def bootstrap_intervals(
    fit: MixedFit, *, simulations: int = 1000, seed: int, level: float = 0.95
) -> pd.DataFrame:
    """Percentile intervals of fixed effects and standard deviations by parametric bootstrap.

    Returns
    -------
    DataFrame
        ``term, estimate, std_error, conf_low, conf_high, n``; standard deviations of random effects
        are named ``sd(group: term)`` and the residual ``sd(residual)``.
    """
    require_level(level)
    require_whole(fit)
    draws = fit.simulate(simulations, seed=seed)
    parts = []
    with tqdm(total=simulations, disable=None, desc="parametric bootstrap") as progress:
        for start in range(0, simulations, AT_ONCE):
            found, _ = refit_many(fit, draws[start : start + AT_ONCE])
            if len(found.beta):
                parts.append(_values(found))
            progress.update(min(AT_ONCE, simulations - start))
    sample = np.concatenate(parts) if parts else np.zeros((0, len(fit.beta)))
    if len(sample) < 20:
        raise FitError(
            f"only {len(sample)} of {simulations} bootstrap samples could be fitted; simplify the "
            "model."
        )
    spreads = [np.sqrt(np.diag(matrix)) for matrix in fit.covariances.values()]
    estimate = np.concatenate([fit.beta, *spreads, [fit.residual_sd] if fit.linear else []])
    names = [
        *fit.fixed_names,
        *(f"sd({part.group}: {term})" for part in fit.design.random for term in part.terms),
        *(["sd(residual)"] if fit.linear else []),
    ]
    low, high = np.quantile(sample, [(1 - level) / 2, (1 + level) / 2], axis=0)
    return pd.DataFrame(
        {
            "term": names,
            "estimate": estimate,
            "std_error": sample.std(axis=0, ddof=1),
            "conf_low": low,
            "conf_high": high,
            "n": len(sample),
        }
    )


def _values(found: ManyFits) -> Array:
    spreads = np.sqrt(np.diagonal(found.psi, axis1=1, axis2=2))
    residual = [found.sigma[:, None]] if np.isfinite(found.sigma).all() else []
    return np.concatenate([found.beta, spreads, *residual], axis=1)


def profile_intervals(fit: MixedFit, *, level: float = 0.95) -> pd.DataFrame:
    """Profile-likelihood intervals of the standard deviations of random effects and residual.

    The bounds are where −2 log likelihood, minimised over everything else, lies the quantile of
    chi-squared with one df above its minimum. A lower bound of zero means that zero is not ruled
    out. A restricted fit profiles the restricted likelihood.

    Returns
    -------
    DataFrame
        ``group, term, sd, sd_low, sd_high, variance, variance_low, variance_high``.
    """
    require_level(level)
    require_whole(fit)
    if fit.design.residual is not None:
        raise InputError(
            "profile intervals are made for residuals of one variance that do not correlate",
            [fit.design.residual.column],
            "use bootstrap_intervals",
        )
    rise = float(stats.chi2.ppf(level, 1))
    # In units of the residual, so that the search does not depend on the unit of the outcome.
    unit = fit.residual_sd if fit.linear else 1.0
    setting = _setting(fit, unit)
    with np.errstate(all="ignore"):
        frame = pd.DataFrame(_profiled(fit, setting, rise))
    frame[["sd", "sd_low", "sd_high"]] *= unit
    frame["variance"] = frame["sd"] ** 2
    frame["variance_low"], frame["variance_high"] = frame["sd_low"] ** 2, frame["sd_high"] ** 2
    return frame


def _profiled(fit: MixedFit, setting: Setting, rise: float) -> list[dict[str, str | float]]:
    """A row for each standard deviation, in units of the setting."""
    rows = []
    for place, part in enumerate(fit.design.random):
        spreads = np.sqrt(np.diag(setting.psi[place]))
        for number, term in enumerate(part.terms):
            profile = profile_of_term(setting, place, number)
            low, high = _bounds(profile, spreads[number], rise)
            rows.append(_spread(part.group, term, spreads[number], low, high))
    if fit.linear:
        profile = profile_of_residual(setting)
        rows.append(_spread("residual", "", 1.0, *_bounds(profile, 1.0, rise)))
    return rows


def _setting(fit: MixedFit, unit: float) -> Setting:
    """The model with its outcome in other units, and where its estimates lie."""
    options = options_of(fit)
    ready = material(fit.design, fit.observed, options)
    return Setting(
        ready.x,
        ready.factors,
        _in_units(ready.cells, unit),
        ready.offset,
        options.likelihood(fit.design),
        fit.reml,
        fit.recipe.options["quadrature"],
        fit.beta / unit,
        [fit.covariances[part.group] / unit**2 for part in fit.design.random],
        fit.residual_sd / unit,
        fit.extra,
    )


def _in_units(cells: Cells, unit: float) -> Cells:
    """An outcome in units of its own spread; hits have none."""
    if unit == 1.0:
        return cells
    middle = float(cells.y.mean())
    return replace(cells, y=(cells.y - middle) / unit, within=cells.within / unit**2)


def _spread(group: str, term: str, sd: float, low: float, high: float) -> dict[str, str | float]:
    return {"group": group, "term": term, "sd": sd, "sd_low": low, "sd_high": high}


def _bounds(profile: Callable[[float], float], best: float, rise: float) -> tuple[float, float]:
    lowest = profile(best)
    base = max(best, 1e-3)

    def excess(value: float) -> float:
        return profile(value) - lowest - rise

    high = base * 1.5
    while excess(high) < 0:
        high *= 1.5
        if high > 1e6 * base:
            return np.nan, np.inf
    upper = brentq(excess, best, high, xtol=1e-9 * base, rtol=1e-10)
    tiny = 1e-6 * base
    if best <= tiny or excess(tiny) < 0:
        return 0.0, upper
    return brentq(excess, tiny, best, xtol=1e-9 * base, rtol=1e-10), upper
