"""The planned analysis of many simulated studies at once."""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from motorlearn.linear import ancova_batch
from motorlearn.plan.power.hit_models import fit_hits
from motorlearn.plan.power.scenario import Scenario
from motorlearn.plan.power.score_models import fit_scores
from motorlearn.plan.power.simulated_scores import Batch


@dataclass(frozen=True)
class Tested:
    """The primary comparison in many studies.

    Parameters
    ----------
    estimate, std_error, df, p : ndarray, shape (studies,)
        On the scale of the analysis; NaN where a study could not be analysed.
    """

    estimate: np.ndarray
    std_error: np.ndarray
    df: np.ndarray
    p: np.ndarray


def analyse(plan: Scenario, batch: Batch) -> Tested:
    """Analyse the primary comparison of each study as planned.

    Returns
    -------
    Tested
        Estimates are raw differences, differences of logs for ratios, hit rates for hits with
        ``ancova`` and log odds with ``binomial mixed``.
    """
    if plan.model == "binomial mixed":
        return _wald(*fit_hits(batch, plan.trials, plan.contrast))
    scores = _scaled(plan, batch.scores)
    if plan.model == "linear mixed":
        return _wald(*fit_scores(scores, batch, plan.contrast))
    y = scores[:, :, batch.primary]
    x = scores[:, :, batch.baseline] if batch.baseline >= 0 else None
    if plan.model == "paired":
        return _paired(y - x)
    groups = batch.groups
    if plan.clustered:
        y, x, groups = _cluster_means(y, x, batch)
    found = ancova_batch(y, groups, x, weights=plan.contrast)
    return Tested(found.estimate, found.std_error, found.df, found.p)


def _scaled(plan: Scenario, scores: np.ndarray) -> np.ndarray:
    if plan.scale == "hits":
        return scores / plan.trials
    return np.log(scores) if plan.scale == "ratio" else scores


def _wald(estimate: np.ndarray, std_error: np.ndarray, df: np.ndarray) -> Tested:
    return Tested(estimate, std_error, df, 2 * stats.t.sf(np.abs(estimate / std_error), df))


def _paired(change: np.ndarray) -> Tested:
    n = (~np.isnan(change)).sum(axis=1)
    estimate = np.nanmean(change, axis=1)
    spread = np.nanstd(change, axis=1, ddof=1)
    std_error = np.where(spread > 0, spread, np.nan) / np.sqrt(n)
    return _wald(estimate, std_error, n - 1.0)


def _cluster_means(y: np.ndarray, x: np.ndarray | None, batch: Batch):
    """Means of the people with both scores, cluster by cluster."""
    member = batch.clusters == np.arange(batch.clusters.max() + 1)[:, None]
    both = np.isnan(y) if x is None else np.isnan(y) | np.isnan(x)
    count = (~both) @ member.T
    filled = np.where(count > 0, count, np.nan)

    def mean(values: np.ndarray) -> np.ndarray:
        return (np.where(both, 0.0, values) @ member.T) / filled

    groups = batch.groups[member.argmax(axis=1)]
    return mean(y), None if x is None else mean(x), groups
