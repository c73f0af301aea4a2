"""The planned analysis of many simulated studies at once."""

from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from motorlearn.linear.batch import ancova_batch, ancova_hypothesis_batch, ancova_joint_batch
from motorlearn.plan.power.hit_models import fit_hits
from motorlearn.plan.power.scenario import Scenario
from motorlearn.plan.power.score_models import fit_scores
from motorlearn.plan.power.simulated_scores import Batch
from motorlearn.plan.power.within_people import analysed_within


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
        ``ancova`` and log odds with ``binomial mixed``. Where equivalence is to be shown, p is that
        of the two one-sided tests; for non-inferiority and superiority twice that of the one-sided
        test, for a minimum effect twice the smaller one.
    """
    found = _tested(plan, batch)
    return found if plan.aim == "difference" else _against_bound(plan, found)


def _tested(plan: Scenario, batch: Batch) -> Tested:
    if plan.model == "binomial mixed":
        return _wald(*fit_hits(batch, plan.contrast))
    scores = _scaled(plan, batch)
    if plan.model == "linear mixed":
        return _wald(*fit_scores(replace(batch, scores=scores), plan.contrast, plan.variance))
    y = scores[:, :, batch.primary]
    x = scores[:, :, batch.baseline] if batch.baseline >= 0 else None
    if plan.model == "paired":
        return _paired(y - x)
    groups = batch.groups
    if plan.within:
        paired = analysed_within(plan, y, x, groups)
        return Tested(paired.estimate, paired.std_error, paired.df, paired.p)
    if plan.clustered:
        y, x, groups = _cluster_means(y, x, batch)
    # Without a baseline the house compares by Welch's t.
    variance = plan.variance if x is not None or plan.clustered else "by group"
    found = ancova_batch(y, groups, x, weights=plan.contrast, variance=variance)
    p = found.p
    if plan.joint and plan.hypothesis:
        p = ancova_hypothesis_batch(y, groups, plan.hypothesis, x)[2]
    elif plan.joint:
        p = ancova_joint_batch(y, groups, x)[2]
    return Tested(found.estimate, found.std_error, found.df, p)


def _scaled(plan: Scenario, batch: Batch) -> np.ndarray:
    scores = batch.scores
    if plan.counts:
        scores = scores / batch.attempts
    if plan.effect == "ratio":
        # No hits at all has no logarithm: the person is left out, as in the analysis of the study.
        scores = np.log(np.where(scores > 0, scores, np.nan))
    return scores


def _against_bound(plan: Scenario, found: Tested) -> Tested:
    """Two one-sided tests against the bound, or one of them in the direction of harm."""
    estimate = plan.better * found.estimate
    if plan.aim == "superiority":
        not_better = stats.t.sf(estimate / found.std_error, found.df)
        return replace(found, p=np.minimum(2 * not_better, 1.0))
    edge = abs(np.log(plan.bound)) if plan.effect == "ratio" else plan.bound / plan.raw_unit
    if plan.aim == "minimum effect":
        beyond = stats.t.sf((np.abs(estimate) - edge) / found.std_error, found.df)
        return replace(found, p=np.minimum(2 * beyond, 1.0))
    not_worse = stats.t.sf((estimate + edge) / found.std_error, found.df)
    if plan.aim == "non-inferiority":
        return replace(found, p=np.minimum(2 * not_worse, 1.0))
    not_better = stats.t.cdf((estimate - edge) / found.std_error, found.df)
    return replace(found, p=np.maximum(not_worse, not_better))


def _wald(estimate: np.ndarray, std_error: np.ndarray, df: np.ndarray) -> Tested:
    return Tested(estimate, std_error, df, 2 * stats.t.sf(np.abs(estimate / std_error), df))


def _paired(change: np.ndarray) -> Tested:
    known = ~np.isnan(change)
    n = known.sum(axis=1)
    usable = n > 1
    safe = np.where(usable, n, 2)
    estimate = np.where(known, change, 0.0).sum(axis=1) / safe
    away = np.where(known, change - estimate[:, None], 0.0)
    spread = np.sqrt((away**2).sum(axis=1) / (safe - 1))
    std_error = np.where(usable & (spread > 0), spread, np.nan) / np.sqrt(safe)
    return _wald(np.where(usable, estimate, np.nan), std_error, np.where(usable, n - 1.0, np.nan))


def _cluster_means(
    y: np.ndarray, x: np.ndarray | None, batch: Batch
) -> tuple[np.ndarray, np.ndarray | None, np.ndarray]:
    """Means of the people with both scores, cluster by cluster."""
    member = batch.clusters == np.arange(batch.clusters.max() + 1)[:, None]
    both = np.isnan(y) if x is None else np.isnan(y) | np.isnan(x)
    count = (~both) @ member.T
    filled = np.where(count > 0, count, np.nan)

    def mean(values: np.ndarray) -> np.ndarray:
        means: np.ndarray = (np.where(both, 0.0, values) @ member.T) / filled
        return means

    groups = batch.groups[member.argmax(axis=1)]
    return mean(y), None if x is None else mean(x), groups
