"""Prediction intervals: where one new outcome of a new person lies, in every family."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.exceptions import InputError
from motorlearn.linear.hypotheses import require_level
from motorlearn.mixed.formula.matrices import require_columns
from motorlearn.mixed.prediction import between_variance, random_matrix
from motorlearn.mixed.responses import HITS
from motorlearn.mixed.result import MixedFit

Array = NDArray[np.float64]


def prediction_intervals(
    fit: MixedFit,
    table: pd.DataFrame,
    *,
    level: float = 0.95,
    simulations: int = 4000,
    seed: int,
) -> pd.DataFrame:
    """Intervals that hold one new outcome of a person the model has not seen.

    Outcomes are drawn from the model: coefficients from their sampling distribution, a person from
    the random effects, one trial from the residuals or the family. Spread between people is known
    from G people only, so that what is drawn for a person is widened as t with G − 1 degrees of
    freedom is.

    Parameters
    ----------
    fit : MixedFit
        Any model but one whose residuals differ in spread or hang together.
    table : DataFrame
        Rows to predict, with the columns of the model; hits with their attempts.
    level : float
        Share of new outcomes that an interval holds.
    simulations : int
        Outcomes drawn for each row.
    seed : int
        Seed of the drawing.

    Returns
    -------
    DataFrame
        ``predicted`` (of a typical person), ``conf_low``, ``conf_high``, with the index of
        ``table``: scores, ratings, counts, amounts, or hits among attempts.

    Raises
    ------
    InputError
        If residuals differ in spread or hang together, or a column is missing.

    Examples
    --------
    >>> import motorlearn as ml
    >>> table = pd.DataFrame({
    ...     "participant": list("aabbccddee"),
    ...     "phase": ["pretest", "retention"] * 5,
    ...     "radial_error": [31.0, 24.0, 38.0, 29.5, 27.0, 25.0, 35.5, 27.0, 33.0, 28.0],
    ... })
    >>> fit = ml.fit_mixed("radial_error ~ phase", table, random={"participant": "1"})
    >>> new = pd.DataFrame({"phase": ["retention"]})
    >>> prediction_intervals(fit, new, seed=1).round(0)
       predicted  conf_low  conf_high
    0       27.0      18.0       36.0
    """
    require_level(level)
    if fit.design.residual is not None:
        raise InputError(
            "prediction intervals are made for residuals of one spread that do not hang together",
            [fit.design.residual.column],
            "fit the model without variance= and correlation=",
        )
    rng = np.random.default_rng(seed)
    eta = fit.predict(table, participants="population", scale="link").to_numpy()
    drawn = _outcomes(fit, table, eta + _away(fit, table, simulations, rng), rng)
    discrete = not fit.linear and fit.family != "gamma"
    tails = [(1 - level) / 2, (1 + level) / 2]
    low, high = np.quantile(drawn, tails, axis=0, method="inverted_cdf" if discrete else "linear")
    weight = _weight(fit, table) if fit.family in HITS else 1.0
    typical = np.exp(eta) if fit.family == "lognormal" else eta
    if not fit.linear:
        typical = fit.response.mean(eta).value * weight
    return pd.DataFrame(
        {"predicted": typical, "conf_low": low, "conf_high": high}, index=table.index
    )


def _away(fit: MixedFit, table: pd.DataFrame, simulations: int, rng: np.random.Generator) -> Array:
    """What coefficients and people move the linear predictor by, (simulations, rows)."""
    x = fit.design.fixed.apply(table)
    z = [random_matrix(part, table) for part in fit.design.random]
    between = between_variance(fit.design.random, fit.covariances, z)
    known = np.einsum("ni,ij,nj->n", x, fit.vcov, x)
    people = min(len(part.levels) for part in fit.design.random)
    df = max(people - 1, 1)
    widened = np.sqrt(df / rng.chisquare(df, (simulations, 1)))
    spread = np.sqrt(np.maximum(between, 0) + known)
    found: Array = widened * spread * rng.standard_normal((simulations, len(table)))
    return found


def _outcomes(fit: MixedFit, table: pd.DataFrame, eta: Array, rng: np.random.Generator) -> Array:
    if fit.linear:
        drawn = eta + fit.residual_sd * rng.standard_normal(eta.shape)
        return np.exp(drawn) if fit.family == "lognormal" else drawn
    weight = _weight(fit, table) if fit.family in HITS else np.ones(len(table))
    drawn = fit.response.draw(eta, weight, rng)
    if fit.family == "ordinal":
        return np.asarray(fit.response.scores[drawn.astype(int)], dtype=float)
    return drawn


def _weight(fit: MixedFit, table: pd.DataFrame) -> Array:
    attempts = fit.recipe.columns.get("attempts")
    if attempts is None:
        return np.ones(len(table))
    require_columns(table, (attempts,))
    found: Array = table[attempts].to_numpy(dtype=float)
    return found
