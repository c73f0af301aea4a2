"""Prediction intervals: where one new outcome of a new person lies, in every family."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.linear.hypotheses import require_level
from motorlearn.mixed.formula.matrices import as_category, require_columns
from motorlearn.mixed.prediction import between_variance, random_matrix
from motorlearn.mixed.responses import HITS
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.variability_result import VariabilityFit
from motorlearn.mixed.whole import require_whole

Array = NDArray[np.float64]


def prediction_intervals(
    fit: MixedFit | VariabilityFit,
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
    fit : MixedFit or VariabilityFit
        Any model. Residuals that hang together do so within a person's own trials; one trial of a
        new person has the spread of its place.
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
        If a column is missing, or one part of a model of spread is given.

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
    rng = np.random.default_rng(seed)
    if isinstance(fit, VariabilityFit):
        typical, drawn = _of_spread(fit, table, simulations, rng)
    else:
        require_whole(fit)
        typical, drawn = _of_outcomes(fit, table, simulations, rng)
    tails = [(1 - level) / 2, (1 + level) / 2]
    discrete = isinstance(fit, MixedFit) and not fit.linear and fit.family != "gamma"
    low, high = np.quantile(drawn, tails, axis=0, method="inverted_cdf" if discrete else "linear")
    return pd.DataFrame(
        {"predicted": typical, "conf_low": low, "conf_high": high}, index=table.index
    )


def _of_outcomes(
    fit: MixedFit, table: pd.DataFrame, simulations: int, rng: np.random.Generator
) -> tuple[Array, Array]:
    """What is typical of each row (rows,), and outcomes of new people (simulations, rows)."""
    eta = fit.predict(table, participants="population", scale="link").to_numpy()
    drawn = _outcomes(fit, table, eta + _away(fit, table, simulations, rng), rng)
    if fit.linear:
        return np.exp(eta) if fit.family == "lognormal" else eta, drawn
    return fit.response.mean(eta).value * _weight(fit, table), drawn


def _of_spread(
    fit: VariabilityFit, table: pd.DataFrame, simulations: int, rng: np.random.Generator
) -> tuple[Array, Array]:
    """The same of a model of level and spread: a person differs in both, which go together."""
    views = (fit.of_level, fit.of_spread)
    eta = [view.predict(table, participants="population").to_numpy() for view in views]
    z = [random_matrix(view.design.random[0], table) for view in views]
    none = [np.zeros_like(part) for part in z]
    rows = [np.concatenate(pair, axis=1) for pair in ((z[0], none[1]), (none[0], z[1]))]
    x = [view.design.fixed.apply(table) for view in views]
    together = np.einsum("ina,ab,jnb->nij", rows, fit.covariance, rows)
    for place, view in enumerate(views):
        together[:, place, place] += np.einsum("na,ab,nb->n", x[place], view.vcov, x[place])
    values, vectors = np.linalg.eigh(together)
    root = vectors * np.sqrt(np.clip(values, 0, None))[:, None]
    df = max(fit.people - 1, 1)
    widened = np.sqrt(df / rng.chisquare(df, (simulations, 1, 1)))
    away = widened * np.einsum(
        "nij,rnj->rni", root, rng.standard_normal((simulations, len(table), 2))
    )
    spread = np.exp(np.minimum(eta[1] + away[..., 1], 600.0))
    return eta[0], eta[0] + away[..., 0] + spread * rng.standard_normal(spread.shape)


def _away(fit: MixedFit, table: pd.DataFrame, simulations: int, rng: np.random.Generator) -> Array:
    """What coefficients and people move the linear predictor by, (simulations, rows)."""
    x = fit.design.fixed.apply(table)
    z = [random_matrix(part, table) for part in fit.design.random]
    between = between_variance(fit.design.random, fit.covariances, z) + np.zeros(len(table))
    known = np.einsum("ni,ij,nj->n", x, fit.vcov, x)
    people = min(len(part.levels) for part in fit.design.random)
    df = max(people - 1, 1)
    widened = np.sqrt(df / rng.chisquare(df, (simulations, 1)))
    spread = np.sqrt(np.maximum(between, 0) + known)
    found: Array = widened * spread * rng.standard_normal((simulations, len(table)))
    return found


def _outcomes(fit: MixedFit, table: pd.DataFrame, eta: Array, rng: np.random.Generator) -> Array:
    if fit.linear:
        drawn = eta + _residual_sd(fit, table) * rng.standard_normal(eta.shape)
        return np.exp(drawn) if fit.family == "lognormal" else drawn
    weight = _weight(fit, table) if fit.family in HITS else np.ones(len(table))
    drawn = fit.response.draw(eta, weight, rng)
    if fit.family == "ordinal":
        return np.asarray(fit.response.scores[drawn.astype(int)], dtype=float)
    return drawn


def _residual_sd(fit: MixedFit, table: pd.DataFrame) -> Array:
    """Residual standard deviation of each row; one outcome does not see how others hang with it."""
    part = fit.design.residual
    if part is None:
        return np.full(len(table), fit.residual_sd)
    each = np.sqrt(np.diag(fit.residual_covariance))
    if len(each) == 1 or np.ptp(each) == 0:
        return np.full(len(table), each[0])
    require_columns(table, (part.column,))
    found: Array = each[as_category(table[part.column], part.levels, part.column).codes]
    return found


def _weight(fit: MixedFit, table: pd.DataFrame) -> Array:
    attempts = fit.recipe.columns.get("attempts")
    if attempts is None:
        return np.ones(len(table))
    require_columns(table, (attempts,))
    found: Array = table[attempts].to_numpy(dtype=float)
    return found
