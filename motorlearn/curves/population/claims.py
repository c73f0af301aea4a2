"""What a population curve can claim, and what is therefore missing from its table."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import stdtr

from motorlearn.curves.population.arrays import Scale
from motorlearn.curves.population.layout import AMOUNT, HEIGHT, RATE, Layout
from motorlearn.curves.population.learners import Learners, rate_of
from motorlearn.curves.population.maximum import PopulationFit
from motorlearn.curves.population.rivals import Asked, progress_at, worn
from motorlearn.curves.status import (
    CURVE,
    ERRORS,
    FLAT,
    KEPT,
    STATUSES,
    adrift,
    grade,
    losses,
)
from motorlearn.linear.hypotheses import t_quantile

FIRM_ERROR, FIRM_GAIN, FIRM_PROGRESS = 0.1, 8.0, 2.0
"""SE of a log rate, gain in standard errors and progress with which no rival need be asked."""
LEAST_BEND = 0.02
"""Progress below which a curve leaves its chord by less than a 400th of its change: a line."""


@dataclass(frozen=True)
class Claim:
    """Status, the code of what is missing, and the level of each learner without change.

    ``levels`` are means of the scores, or logits of the hits; ``group`` is each learner's group.
    """

    status: str
    lost: int
    levels: np.ndarray
    group: np.ndarray


def claim_of(data: Learners, fit: PopulationFit) -> Claim:
    """Judge a population curve."""
    inside = data.used > 0
    rate = rate_of(fit.layout.cells(fit.summit.point)[:, RATE])
    there = dressed(data, fit)
    progress = progress_at(data, fit.layout, fit.summit.point)
    low, high = data.form.bounds(np.unique(data.n[inside]))[0]
    firm = _firm(fit, progress)
    with np.errstate(all="ignore"):
        asked = Asked(there, fit.layout, fit.summit.loglik)
        flat, line, step = (False,) * 3 if firm else asked.verdicts()
    code = grade(
        enough=True,
        flat=flat,
        at_bound=progress < LEAST_BEND or bool(np.any((rate <= 10 * low) | (rate >= high))),
        progress=progress,
        asymptote_error=0.0,
        change=1.0,
        open_shape=line or step or not fit.agree,
    )
    # Where the maximum was not confirmed, its curve is where the search stopped and no estimate.
    found = fit.summit.converged
    unsure = line or not fit.agree or not found
    lost = losses(
        code,
        progress=progress if found else -np.inf,
        line_open=unsure,
        step=False,
        adrift=_adrift(data, fit, progress),
    )
    return Claim(STATUSES[int(code)], int(lost), _levels(data), data.group)


def _adrift(data: Learners, fit: PopulationFit, progress: float) -> bool:
    """Whether the asymptote lies far beyond what was seen, and is not known."""
    height, amount, _ = fit.layout.cells(fit.summit.point)[0]
    way = abs(amount - height) if data.start else abs(amount)
    error = float(np.sqrt(max(fit.covariance[0, 0], 0.0)))
    change = way * -np.expm1(-max(progress, 0.0))
    rates = len(data.form.rates)
    return bool(adrift(progress=progress, error=error, change=change, rates=rates, stuck=False))


def _levels(data: Learners) -> np.ndarray:
    """Level of each learner: mean score (geometric for lognormal errors), or logit of the hits."""
    if data.law == "lognormal":
        logs = np.log(np.where(data.used > 0, data.y, 1.0))
        return np.asarray(np.exp(logs.sum(axis=1) / data.rows[:, 0]))
    total = np.sum(data.y * data.used, axis=1)
    if data.trials is None:
        found: np.ndarray = total / data.rows[:, 0]
        return found
    missed = np.sum(data.trials * data.used, axis=1) - total
    found = np.log((total + 0.5) / (missed + 0.5))
    return found


def dressed(data: Learners, fit: PopulationFit) -> Learners:
    """The learners with what they have in common at the maximum."""
    return worn(data, fit.layout, fit.summit.point)


def _firm(fit: PopulationFit, progress: float) -> bool:
    """Whether the rate is known so well that a line, a step or no change are out of the question.

    With one learner more or less that may not hold, so it is asked with a wide margin.
    """
    if fit.layout.groups > 1 or not fit.agree or progress < FIRM_PROGRESS:
        return False
    errors = np.sqrt(np.maximum(np.diag(fit.covariance)[:3], 0))
    gain = abs(fit.summit.point[AMOUNT]) / max(errors[AMOUNT], 1e-300)
    return bool(errors[RATE] < FIRM_ERROR and gain > FIRM_GAIN and progress < 50)


def lost_parameters(claim: Claim, start: bool) -> list[int]:
    """Which of asymptote, amount and log rate is not estimated of any learner.

    The start is known even where asymptote and gain are not.
    """
    if claim.lost not in (CURVE, FLAT):
        return []
    return [HEIGHT, RATE] if start else [HEIGHT, AMOUNT, RATE]


def without_what_is_lost(
    frame: pd.DataFrame,
    claim: Claim,
    layout: Layout,
    scale: Scale,
    *,
    level: float,
    start: bool,
) -> pd.DataFrame:
    """Estimates with what the claim takes away missing."""
    if claim.lost == KEPT:
        return frame
    columns = [name for name in frame.columns if name not in ("term", "df")]
    if claim.lost == ERRORS:
        frame.loc[:, [name for name in columns if name != "estimate"]] = np.nan
    if claim.lost == CURVE:
        frame.loc[np.isin(layout.rows, lost_parameters(claim, start)), columns] = np.nan
    if claim.lost == FLAT:
        frame.loc[:, columns] = np.nan
        lines = _level_lines(claim, layout, scale, level)
        at = frame["term"].tolist().index("asymptote") + np.arange(len(lines))
        frame.loc[at, ["df", *columns]] = lines[["df", *columns]].to_numpy()
    return frame


def _level_lines(claim: Claim, layout: Layout, scale: Scale, level: float) -> pd.DataFrame:
    """Level of the first group and differences of the others: means of learners, pooled spread."""
    groups = range(layout.groups if layout.differ[0] else 1)
    member = claim.group if len(groups) > 1 else np.zeros_like(claim.group)
    own = claim.levels * scale.unit + scale.middle
    count = np.array([np.sum(member == k) for k in groups])
    mean = np.array([own[member == k].mean() for k in groups])
    df = len(own) - len(groups)
    pooled = np.sum((own - mean[member]) ** 2) / df if df > 0 else np.nan
    error = np.sqrt(pooled * np.r_[1 / count[0], 1 / count[0] + 1 / count[1:]])
    estimate = np.r_[mean[0], mean[1:] - mean[0]]
    half = t_quantile(level, df) * error if df > 0 else np.nan * error
    with np.errstate(divide="ignore", invalid="ignore"):
        statistic = estimate / error
    return pd.DataFrame(
        {
            "estimate": estimate,
            "std_error": error,
            "df": float(df),
            "statistic": statistic,
            "p": 2 * stdtr(df, -np.abs(statistic)) if df > 0 else np.nan,
            "conf_low": estimate - half,
            "conf_high": estimate + half,
        }
    )
