"""Bands around the curve of one learner: of the curve itself and of single scores."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy.special import expit
from scipy.stats import t

from motorlearn.curves.forms import Form
from motorlearn.curves.single.df import df_along
from motorlearn.curves.single.problem import complex_step
from motorlearn.linear.hypotheses import t_quantile


def height(
    form: Form, curve: Mapping[str, Any], n: np.ndarray, first: float, begins: Mapping[str, float]
) -> np.ndarray:
    """Curve at practice counts, with the losses of sessions; on the logit scale for hits.

    ``begins`` holds the practice count from which each loss counts.
    """
    gain, rates = curve["gain"], [curve[name] for name in form.rates]
    found: np.ndarray = curve["asymptote"] + 0 * n
    if gain == 0 or not np.isfinite(np.real(gain)):
        return found
    log_basis = form.log_basis(n, rates, first)
    found = found + gain * np.exp(log_basis)
    for name, begin in begins.items():
        at = form.log_basis(np.array(begin), rates, first)
        later = n >= begin
        found = found + curve[name] * np.where(later, np.exp(np.where(later, log_basis - at, 0)), 0)
    return found


def bands(fit: Any, form: Form, n: np.ndarray, level: float) -> dict[str, np.ndarray]:
    """Columns of :meth:`CurveFit.bands`."""
    names, point = list(fit.curve), np.array(list(fit.curve.values()))

    def at(values: np.ndarray) -> np.ndarray:
        return height(form, dict(zip(names, values)), n, fit.first, fit.begins)

    centre = at(point)
    nothing = np.full(n.shape, np.nan)
    known = fit.status in ("ok", "asymptote not seen") and np.all(np.isfinite(fit.vcov))
    if not known:
        shown = expit(centre) if fit.family == "binomial" else centre
        empty = dict.fromkeys(("conf_low", "conf_high", "score_low", "score_high"), nothing)
        return {"practice": n, "estimate": shown, **empty}
    slope = complex_step(at, point)
    error = np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", slope, fit.vcov, slope), 0.0))
    half = t_quantile(level, df_along(slope, fit.vcov, fit.turns, fit.df)) * error
    if fit.family == "binomial":
        ends = expit(centre - half), expit(centre + half)
        return _columns(n, expit(centre), ends, (nothing, nothing))
    return _columns(
        n, centre, (centre - half, centre + half), _scores(fit, n, centre, error, level)
    )


def _columns(
    n: np.ndarray,
    centre: np.ndarray,
    ends: tuple[np.ndarray, np.ndarray],
    scores: tuple[np.ndarray, np.ndarray],
) -> dict[str, np.ndarray]:
    return {
        "practice": n,
        "estimate": centre,
        "conf_low": ends[0],
        "conf_high": ends[1],
        "score_low": scores[0],
        "score_high": scores[1],
    }


def _scores(
    fit: Any, n: np.ndarray, centre: np.ndarray, error: np.ndarray, level: float
) -> tuple[np.ndarray, np.ndarray]:
    """Where a new score of this learner lies, its own spread and the curve's error together."""
    options, power = fit.recipe.options, fit.noise.get("spread_power", 0.0)
    since = np.maximum(n - fit.practice.min() + 1, 1.0)
    base = {"mean": np.abs(centre), "practice": since}.get(options["variance"], np.ones(n.shape))
    spread = fit.sigma * base**power
    quantile = float(t.isf((1 - level) / 2, fit.noise.get("tail", fit.df)))
    if options["errors"] == "lognormal":
        far = quantile * np.sqrt(spread**2 + (error / np.abs(centre)) ** 2)
        return centre * np.exp(-far), centre * np.exp(far)
    far = quantile * np.sqrt(spread**2 + error**2)
    return centre - far, centre + far
