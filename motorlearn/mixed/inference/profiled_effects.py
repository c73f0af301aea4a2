"""Profile-likelihood intervals of fixed effects, in every family and with any random part."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats
from scipy.optimize import brentq

from motorlearn.exceptions import FitError, InputError
from motorlearn.linear.hypotheses import require_level
from motorlearn.mixed.formula.designs import Design
from motorlearn.mixed.refitting import options_of
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.solving import Options, solve
from motorlearn.mixed.whole import require_whole

Array = NDArray[np.float64]
FURTHEST = 30.0
"""Standard errors from the estimate beyond which a bound is not sought."""


def profile_effects(
    fit: MixedFit, terms: Sequence[str] | None = None, *, level: float = 0.95
) -> pd.DataFrame:
    """Profile-likelihood intervals of fixed effects.

    One effect is held at b and everything else is fitted anew; the bounds are where −2 log
    likelihood lies the quantile of chi-squared with one df above its minimum. Full likelihood is
    profiled, for a restricted fit too. With few people such an interval is too short, as it takes
    no degrees of freedom into account; it shows where the likelihood is not symmetric.

    Parameters
    ----------
    fit : MixedFit
        Any mixed model.
    terms : sequence of str, optional
        Names of fixed effects; all but the intercept of ratings if not given.
    level : float
        Level of the intervals.

    Returns
    -------
    DataFrame
        ``term, estimate, conf_low, conf_high`` on the scale of the link; a bound that lies more
        than 30 standard errors away is infinite.

    Raises
    ------
    InputError
        If a name is none of the fixed effects.
    FitError
        If the model cannot be fitted with the effect held.

    Examples
    --------
    >>> import motorlearn as ml
    >>> table = pd.DataFrame({
    ...     "participant": list("aabbccddee"),
    ...     "phase": ["pretest", "retention"] * 5,
    ...     "radial_error": [31.0, 24.0, 38.0, 29.5, 27.0, 25.0, 35.5, 27.0, 33.0, 28.0],
    ... })
    >>> fit = ml.fit_mixed("radial_error ~ phase", table, random={"participant": "1"})
    >>> profile_effects(fit, ["phase[T.retention]"]).round(2)
                     term  estimate  conf_low  conf_high
    0  phase[T.retention]      -6.2     -8.85      -3.55
    """
    require_level(level)
    require_whole(fit)
    names = list(fit.fixed_names if terms is None else terms)
    unknown = [name for name in names if name not in fit.fixed_names]
    if unknown:
        raise InputError(
            "a term is no fixed effect of this model",
            unknown,
            f"its effects are {', '.join(fit.fixed_names)}",
        )
    options = replace(options_of(fit), reml=False, df="normal")
    lowest = solve(fit.design, fit.observed, options).deviance
    rise = float(stats.chi2.ppf(level, 1))
    rows = []
    for name in names:
        at = fit.fixed_names.index(name)
        held = _held(fit, options, at)
        best, error = float(fit.beta[at]), float(fit.bse.iloc[at])
        bounds = [_bound(held, best, side * error, lowest + rise) for side in (-1, 1)]
        rows.append((name, best, *bounds))
    return pd.DataFrame(rows, columns=["term", "estimate", "conf_low", "conf_high"])


def _held(fit: MixedFit, options: Options, at: int) -> Callable[[float], float]:
    """−2 log likelihood with one effect held, minimised over everything else."""
    design, column = fit.design, fit.design.x[:, at]
    less = np.delete(design.x, at, axis=1)

    def deviance(value: float) -> float:
        shift = value * column
        if options.linear:
            observed = fit.observed - shift[design.cell]
            logs = float(2 * shift[design.cell].sum()) if options.family == "lognormal" else 0.0
            return solve(_design(design, less, design.offset), observed, options).deviance + logs
        moved = _design(design, less, design.offset + shift)
        return solve(moved, fit.observed, options).deviance

    return deviance


def _design(design: Design, x: Array, offset: Array) -> Design:
    return replace(design, x=x, offset=offset)


def _bound(held: Callable[[float], float], best: float, step: float, height: float) -> float:
    """Where the profile reaches a height, sought outwards from the estimate."""
    inner, far = best, best + 2 * step
    while held(far) < height:
        inner, far = far, best + 2 * (far - best)
        if abs(far - best) > FURTHEST * abs(step):
            return float(np.sign(step) * np.inf)
    try:
        found = brentq(lambda b: held(b) - height, inner, far, xtol=1e-6 * abs(step))
    except ValueError:
        raise FitError("the likelihood of this model has no clear maximum to profile.") from None
    return float(found)
