"""Many simulated studies at once: scores of people at tests, with attrition."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from motorlearn.exceptions import InputError
from motorlearn.plan.power.latent import log_odds_of
from motorlearn.plan.power.scenario import Scenario
from motorlearn.plan.power.within_people import correlated
from motorlearn.vocabulary import DELAYED_PHASES


@dataclass(frozen=True)
class Batch:
    """Scores of many simulated studies of one size.

    Parameters
    ----------
    scores : ndarray, shape (studies, people, tests)
        Mean scores, or hits; NaN where a test was missed.
    groups : ndarray of int, shape (people,)
        Group of each person.
    clusters : ndarray of int, shape (people,)
        Cluster of each person; each person's own where nothing is clustered.
    baseline, primary : int
        Places of the two tests among the tests drawn; baseline -1 where there is none.
    attempts : ndarray, shape (tests,)
        Trials in each test drawn.
    """

    scores: np.ndarray
    groups: np.ndarray
    clusters: np.ndarray
    baseline: int
    primary: int
    attempts: np.ndarray


def draw_batch(
    plan: Scenario, n: int, effect: float, studies: int, rng: np.random.Generator
) -> Batch:
    """Draw scores of many studies.

    True scores at the tests are normal with one variance and the correlation ``stability``, on the
    raw scale, or on the scale of log odds for hits. A score is the mean of so many trials, or a
    binomial count of hits; bounded scores are cut at their bounds. The means of scores are those
    that the plan declares. People who are lost miss the primary test, all delayed tests and what
    comes after.

    Parameters
    ----------
    plan : Scenario
        The planned comparison.
    n : int
        Mean number of people in a group.
    effect : float
        Raw effect (or ratio) at the primary test, positive for an improvement.
    studies : int
        Number of studies.
    rng : Generator
        Source of chance.
    """
    tests = _tests_needed(plan)
    groups = np.repeat(np.arange(len(plan.ratio)), plan.sizes(n))
    clusters = _clusters(plan, groups)
    true = _true_scores(plan, tests, groups, clusters, studies, rng)
    shifts = _shifts(plan, tests, groups, effect)
    if plan.effect == "ratio" and not plan.counts:
        scores = _observed(plan, tests, true, rng) * np.exp(shifts)
    else:
        scores = _observed(plan, tests, true + shifts, rng)
    late = np.array([test >= plan.primary or _is_delayed(plan, test) for test in tests])
    chance = rng.random((studies, len(groups), 1))
    if plan.within:
        # Who leaves, leaves every condition.
        chance = np.tile(chance[:, groups == 0], (1, int(groups.max()) + 1, 1))
    gone = chance < _leaving(plan, tests, scores)
    scores = np.where(gone & late, np.nan, scores)
    baseline = tests.index(plan.baseline) if plan.baseline >= 0 else -1
    attempts = np.array([plan.trials_at[test] for test in tests], dtype=float)
    return Batch(scores, groups, clusters, baseline, tests.index(plan.primary), attempts)


def _is_delayed(plan: Scenario, test: int) -> bool:
    return plan.phases[test] in DELAYED_PHASES


def _leaving(plan: Scenario, tests: list[int], scores: np.ndarray) -> np.ndarray | float:
    """Probability of being lost; higher for those who scored worse before, where the plan says."""
    share, slope = plan.assumed.attrition, plan.assumed.attrition_slope
    if not share or not slope or plan.baseline < 0:
        return share
    before = scores[:, :, [tests.index(plan.baseline)]]
    away = before - before.mean(axis=1, keepdims=True)
    spread = away.std(axis=1, keepdims=True)
    worse = -plan.better * away / np.where(spread > 0, spread, 1.0)
    leaving: np.ndarray | float = special.expit(log_odds_of(share, abs(slope)) + slope * worse)
    return leaving


def _tests_needed(plan: Scenario) -> list[int]:
    if plan.model in ("linear mixed", "binomial mixed"):
        return list(range(len(plan.phases)))
    return [test for test in (plan.baseline, plan.primary) if test >= 0]


def _clusters(plan: Scenario, groups: np.ndarray) -> np.ndarray:
    if not plan.clustered:
        return np.arange(len(groups))
    size = plan.assumed.cluster_size or 1
    clusters = np.empty(len(groups), dtype=int)
    before = 0
    for group in np.unique(groups):
        here = np.flatnonzero(groups == group)
        clusters[here] = before + np.arange(len(here)) // size
        before = int(clusters[here[-1]]) + 1
    return clusters


def _true_scores(
    plan: Scenario,
    tests: list[int],
    groups: np.ndarray,
    clusters: np.ndarray,
    studies: int,
    rng: np.random.Generator,
) -> np.ndarray:
    a = plan.assumed
    shape = (studies, len(groups), len(tests))
    lasting = np.sqrt(a.stability) * rng.standard_normal((*shape[:2], 1))
    away = lasting + np.sqrt(1 - a.stability) * rng.standard_normal(shape)
    if plan.within:
        away = correlated(away, groups, plan, rng)
    spread = a.between_sd
    mean = np.array([plan.latent_mean(test) for test in tests])
    if not plan.clustered:
        return np.asarray(mean + spread * away)
    shared = a.cluster_icc * plan.latent_variance()
    if shared > spread**2:
        raise InputError(
            "the clusters would vary more than the people in them", [a.cluster_icc], "lower the ICC"
        )
    drawn = rng.standard_normal((studies, int(clusters.max()) + 1, 1))[:, clusters]
    scores: np.ndarray = mean + np.sqrt(spread**2 - shared) * away + np.sqrt(shared) * drawn
    return scores


def _shifts(plan: Scenario, tests: list[int], groups: np.ndarray, effect: float) -> np.ndarray:
    """Shift of each person at each test: that of the effect in the first group of the contrast."""
    touched = [
        test == plan.primary or (plan.model != "paired" and plan.phases[test] in DELAYED_PHASES)
        for test in tests
    ]
    return plan.latent_shift(effect) * np.outer(
        np.isin(groups, plan.carriers or (plan.first,)), touched
    )


def _observed(
    plan: Scenario, tests: list[int], true: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    trials = np.array([plan.trials_at[test] for test in tests])
    if plan.counts:
        return rng.binomial(trials, 1 / (1 + np.exp(-true))).astype(float)
    noise = (plan.assumed.within_sd or 0.0) / np.sqrt(trials)
    scores = true + noise * rng.standard_normal(true.shape)
    if plan.effect == "ratio":
        return np.asarray(np.maximum(scores, plan.assumed.baseline * 1e-3))
    return np.asarray(np.clip(scores, plan.low, plan.high))


def cells_of(batch: Batch, groups: int) -> np.ndarray:
    """Number of the cell of each person at each test, shape (people, tests).

    Cell 0 is the baseline of everybody, as allocation by chance implies.
    """
    tests = len(batch.attempts)
    after = [test for test in range(tests) if test != batch.baseline]
    number = np.zeros((groups, tests), dtype=int)
    for place, test in enumerate(after):
        number[:, test] = 1 + place * groups + np.arange(groups)
    if batch.baseline < 0:
        number -= 1
    return np.asarray(number[batch.groups], dtype=int)


def cell_contrast(batch: Batch, contrast: np.ndarray) -> np.ndarray:
    """Weights of the cells in the contrast of groups at the primary test."""
    groups = len(contrast)
    cells = cells_of(batch, groups)
    weights = np.zeros(int(cells.max()) + 1)
    for group in range(groups):
        member = int(np.flatnonzero(batch.groups == group)[0])
        weights[cells[member, batch.primary]] += contrast[group]
    return weights
