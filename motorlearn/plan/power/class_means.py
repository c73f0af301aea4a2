"""Closed form of the power where classes are allocated: a t test of their means."""

import math

import numpy as np
from scipy import optimize, stats

from motorlearn.measures import design_effect
from motorlearn.plan.power.closed_form import noncentral_power
from motorlearn.plan.power.scenario import Scenario


def class_sizes(plan: Scenario, people: np.ndarray) -> tuple[np.ndarray, float]:
    """Classes of each group, and people of a class who are left at the primary test."""
    size = plan.assumed.cluster_size or 1
    return np.ceil(people / size), size * (1 - plan.assumed.attrition)


def class_mean_power(
    plan: Scenario, d: float, classes: np.ndarray, size: float, *, alpha: float = 0.05
) -> float:
    """Power of the comparison of class means of two groups.

    The mean of ``m`` people varies by ``sd² (1 + (m - 1) ICC) / m``. With a covariate that
    correlates ``r`` with it the variance left is ``(1 - r²) (1 + 1 / (K - 4))`` of that, K classes
    altogether, and one degree of freedom is spent.

    Parameters
    ----------
    plan : Scenario
        The planned comparison.
    d : float
        Effect in standard deviations of people's scores.
    classes : ndarray, shape (2,)
        Classes in the two groups.
    size : float
        People in a class.
    alpha : float
        Two-sided level.
    """
    total = float(classes.sum())
    df = total - 2 - (plan.baseline >= 0)
    if df < 1 or size < 1:
        return math.nan
    variance = design_effect(size, plan.assumed.cluster_icc) / size
    if plan.baseline >= 0:
        variance *= (1 - correlation_of_means(plan, size) ** 2) * (1 + 1 / max(total - 4, 1.0))
    delta = abs(d) / math.sqrt(variance * float(np.sum(1 / classes)))
    return noncentral_power(df, delta, float(stats.t.isf(alpha / 2, df)))


def correlation_of_means(plan: Scenario, size: float) -> float:
    """Correlation of class means at the baseline and the primary test.

    What sets classes apart is the same at both; their people have the correlation ``stability``
    of true scores beside it.
    """
    shared = plan.assumed.cluster_icc * plan.latent_variance()
    own = plan.assumed.between_sd**2 - shared
    common = shared + plan.assumed.stability * own / size
    spread = [
        shared + (own + plan.score_sd(test) ** 2 - plan.assumed.between_sd**2) / size
        for test in (plan.baseline, plan.primary)
    ]
    return float(common / math.sqrt(spread[0] * spread[1]))


def detectable_between_classes(
    plan: Scenario, classes: np.ndarray, size: float, wanted: float
) -> float:
    """Effect in standard deviations of people that is found with the wanted power."""

    def away(d: float) -> float:
        return class_mean_power(plan, d, classes, size) - wanted

    if math.isnan(away(1.0)):
        return math.nan
    high = 1.0
    while away(high) < 0:
        high *= 2
    return float(optimize.brentq(away, 0.0, high))
