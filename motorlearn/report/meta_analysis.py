"""Several studies of the same comparison: a forest and a small random-effects summary."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from motorlearn.exceptions import InputError
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table

NAN = math.nan


@dataclass(frozen=True)
class Synthesis(Result):
    """A random-effects summary of one contrast over several studies.

    Parameters
    ----------
    studies : DataFrame
        ``study, estimate, std_error, conf_low, conf_high, weight, n``; estimates as shown (a ratio
        is a ratio), ``std_error`` on the scale of the analysis (the logarithm for a ratio), weights
        of the random-effects summary in percent.
    scale : {"difference", "ratio", "g"}
        What was combined: raw differences, ratios, or Hedges g where outcomes or units differ.
    estimate, conf_low, conf_high : float
        Summary with its 95 % interval (Hartung, Knapp, Sidik and Jonkman, never narrower than the
        usual one; t with k - 1 df).
    statistic, p : float
        t of the summary with k - 1 degrees of freedom, and its p.
    tau2 : float
        Variance between studies (Paule and Mandel), on the scale of the analysis.
    q, q_p, i2 : float
        Cochran's Q, its p, and the share of variation beyond chance.
    prediction_low, prediction_high : float
        95 % interval of the effect in a further study; missing with fewer than three studies.
    recipe : Recipe
        How it was made.
    """

    studies: pd.DataFrame
    scale: str
    estimate: float
    conf_low: float
    conf_high: float
    statistic: float
    p: float
    tau2: float
    q: float
    q_p: float
    i2: float
    prediction_low: float
    prediction_high: float
    recipe: Recipe

    def tables(self) -> Sequence[Table]:
        """One row per study and one for the summary."""
        summary = pd.DataFrame(
            {
                "study": ["Summary (random effects)"],
                "estimate": [self.estimate],
                "conf_low": [self.conf_low],
                "conf_high": [self.conf_high],
                "weight": [100.0],
                "n": [int(self.studies["n"].sum())],
            }
        )
        rows = pd.concat([self.studies.drop(columns="std_error"), summary], ignore_index=True)
        columns = (
            Column("study"),
            Column("n", kind="count"),
            Column("estimate", self.scale if self.scale != "g" else "Hedges g", "number"),
            Column("conf_low", "95 % CI lower", "number"),
            Column("conf_high", "upper", "number"),
            Column("weight", "weight", "number", "%", 1),
        )
        notes = (
            "Random effects: variance between studies by Paule and Mandel, interval by Hartung, "
            "Knapp, Sidik and Jonkman, never narrower than the usual one.",
        )
        return (
            Table("synthesis", "Studies and their random-effects summary", columns, rows, notes),
        )


def synthesise(contrasts: Mapping[str, pd.Series], *, alike: bool = True) -> Synthesis:
    """Combine one contrast of each study by random effects.

    ``y_i = mu + u_i + e_i`` with ``u_i ~ N(0, tau²)`` and known ``var(e_i)``.

    Parameters
    ----------
    contrasts : mapping of str to Series
        By study: a row of ``PhaseComparison.contrasts``, all in the same direction.
    alike : bool
        Whether all studies have the same outcome in the same unit; otherwise Hedges g is combined.

    Raises
    ------
    InputError
        If fewer than two studies have an estimate.

    References
    ----------
    Paule, R. C., & Mandel, J. (1982). Journal of Research of the National Bureau of Standards, 87,
    377-385. https://doi.org/10.6028/jres.087.022
    Hartung, J., & Knapp, G. (2001). Statistics in Medicine, 20, 3875-3889.
    https://doi.org/10.1002/sim.1009
    Higgins, J. P. T., Thompson, S. G., & Spiegelhalter, D. J. (2009). Journal of the Royal
    Statistical Society A, 172, 137-159. https://doi.org/10.1111/j.1467-985X.2008.00552.x
    """
    usable = {name: row for name, row in contrasts.items() if math.isfinite(row["std_error"])}
    if len(usable) < 2:
        raise InputError(
            "a summary needs at least two studies with an estimate", list(usable), "add studies"
        )
    effects = {str(row["effect"]) for row in usable.values()}
    scale = effects.pop() if alike and len(effects) == 1 else "g"
    y, se = _on_scale(list(usable.values()), scale)
    summary = random_effects(y, se)
    back = math.exp if scale == "ratio" else float
    left = tuple(name for name in contrasts if name not in usable)
    return Synthesis(
        _studies(usable, y, se, summary, scale),
        scale,
        back(summary.mean),
        back(summary.interval[0]),
        back(summary.interval[1]),
        statistic=summary.statistic,
        p=summary.p,
        tau2=summary.tau2,
        q=summary.q,
        q_p=float(stats.chi2.sf(summary.q, len(y) - 1)),
        i2=max(0.0, (summary.q - (len(y) - 1)) / summary.q) if summary.q > 0 else 0.0,
        prediction_low=back(summary.prediction[0]),
        prediction_high=back(summary.prediction[1]),
        recipe=Recipe(
            call="synthesise",
            options={"alike": alike, "left_out": left},
            n=len(y),
            engine="Paule-Mandel variance, Hartung-Knapp-Sidik-Jonkman interval",
        ),
    )


@dataclass(frozen=True)
class RandomEffects:
    """Numbers of a random-effects summary on the scale of the analysis."""

    mean: float
    interval: tuple[float, float]
    statistic: float
    p: float
    tau2: float
    weights: np.ndarray
    q: float
    prediction: tuple[float, float]


def random_effects(y: np.ndarray, std_error: np.ndarray) -> RandomEffects:
    """Summarise estimates with known standard errors.

    tau² solves ``sum w_i (y_i - mean)² = k - 1`` with ``w_i = 1 / (se_i² + tau²)``; the variance of
    the mean is ``max(1, sum w_i (y_i - mean)² / (k - 1)) / sum w_i``: without the lower bound, a
    few studies that happen to agree would give an interval far too narrow.

    Parameters
    ----------
    y, std_error : array (k,)
        Estimates and their standard errors.

    References
    ----------
    Röver, C., Knapp, G., & Friede, T. (2015). BMC Medical Research Methodology, 15, 99.
    https://doi.org/10.1186/s12874-015-0091-1

    Examples
    --------
    >>> found = random_effects(np.array([0.1, 0.5, 0.9]), np.array([0.1, 0.1, 0.1]))
    >>> round(found.mean, 3), round(found.tau2, 3)
    (0.5, 0.15)
    """
    k = len(y)
    with np.errstate(divide="ignore", invalid="ignore"):  # I² of identical studies
        found = combine_effects(y, std_error**2, method_re="iterated")
    tau2 = max(float(found.tau2), 0.0)
    weights = 1 / (std_error**2 + tau2)
    mean = float(weights @ y / weights.sum())
    excess = max(1.0, float(weights @ (y - mean) ** 2) / (k - 1))
    spread = math.sqrt(excess / weights.sum())
    half = float(stats.t.isf(0.025, k - 1)) * spread
    ahead = float(stats.t.isf(0.025, k - 2)) * math.hypot(math.sqrt(tau2), spread) if k > 2 else NAN
    return RandomEffects(
        mean,
        (mean - half, mean + half),
        mean / spread,
        float(2 * stats.t.sf(abs(mean) / spread, k - 1)),
        tau2,
        weights / weights.sum(),
        float(found.q),
        (mean - ahead, mean + ahead),
    )


def _studies(
    rows: dict[str, pd.Series], y: np.ndarray, se: np.ndarray, summary: RandomEffects, scale: str
) -> pd.DataFrame:
    """One row per study, with its own interval as its own report gives it."""
    low, high = ("g_low", "g_high") if scale == "g" else ("conf_low", "conf_high")
    return pd.DataFrame(
        {
            "study": list(rows),
            "estimate": np.exp(y) if scale == "ratio" else y,
            "std_error": se,
            "conf_low": [float(row[low]) for row in rows.values()],
            "conf_high": [float(row[high]) for row in rows.values()],
            "weight": 100 * summary.weights,
            "n": [int(row["n_group"] + row["n_reference"]) for row in rows.values()],
        }
    )


def _on_scale(rows: list[pd.Series], scale: str) -> tuple[np.ndarray, np.ndarray]:
    """Estimates and standard errors on the scale of the analysis."""
    if scale == "g":
        y = np.array([row["g"] for row in rows], dtype=float)
        spans = np.array([row["g_high"] - row["g_low"] for row in rows], dtype=float)
        return y, spans / (2 * stats.norm.isf(0.025))
    y = np.array([row["estimate"] for row in rows], dtype=float)
    se = np.array([row["std_error"] for row in rows], dtype=float)
    return (np.log(y) if scale == "ratio" else y), se
