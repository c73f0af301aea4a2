"""Trials against participants where the question is about variability."""

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.plan.arguments import seed_number, share, whole_number, whole_numbers


def variability_power(
    trials: int | Sequence[int],
    participants: int | Sequence[int],
    *,
    ratio: float,
    simulations: int = 2000,
    seed: int,
    paired: bool = True,
    between_sd: float = 0.0,
    alpha: float = 0.05,
) -> pd.DataFrame:
    """Power to find a ratio of variances, over trials and participants.

    Each person's variance is estimated from so many trials in two conditions (`paired`) or one of
    two groups; the logs of the variances are compared by a t test. With
    ``Var(log s²) = 2 / (k - 1)`` the power depends on ``n (k - 1)`` where people do not differ in
    how they respond; where they do (`between_sd`, on the log scale), trials cannot stand in for
    participants.

    Parameters
    ----------
    trials, participants : int or sequence of int
        Trials per person and condition; people (in each group, where not paired).
    ratio : float
        Ratio of the two variances.
    simulations : int
        Studies in each cell.
    seed : int
        Seed.
    paired : bool
        Whether everybody is measured in both conditions.
    between_sd : float
        Standard deviation between people of the log variance (of its change, where paired).
    alpha : float
        Two-sided level.

    Returns
    -------
    DataFrame
        ``trials, participants, power, mc_error``

    References
    ----------
    Shinya, M., & Takiyama, K. (2024). Guidelines for balancing the number of trials and the number
    of subjects to ensure the statistical power to detect variability. *Journal of Biomechanics*,
    165, 111995. https://doi.org/10.1016/j.jbiomech.2024.111995

    Examples
    --------
    >>> table = variability_power(100, 12, ratio=1.2, seed=1)
    >>> bool(table["power"].iloc[0] > 0.7)
    True
    """
    counts = whole_numbers("trials", trials, 2)
    people = whole_numbers("participants", participants, 2)
    simulations = whole_number("simulations", simulations, 2)
    seed, between_sd = seed_number(seed), share("between_sd", between_sd, 0, math.inf)
    if not 0 < share("ratio", ratio, 0, math.inf) < math.inf:
        raise InputError("a ratio of variances lies above 0", [ratio])
    if not 0 < share("alpha", alpha) < 1:
        raise InputError("alpha lies between 0 and 1", [alpha])
    rows = []
    for k in counts:
        for n in people:
            rng = np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(k, n)))
            rate = _rejected(k, n, ratio, simulations, paired, between_sd, alpha, rng)
            error = np.sqrt(rate * (1 - rate) / simulations)
            rows.append({"trials": k, "participants": n, "power": rate, "mc_error": error})
    return pd.DataFrame(rows)


def _rejected(
    k: int,
    n: int,
    ratio: float,
    simulations: int,
    paired: bool,
    between_sd: float,
    alpha: float,
    rng: np.random.Generator,
) -> float:
    logs = np.log(rng.chisquare(k - 1, (2, simulations, n)) / (k - 1))
    logs[1] += np.log(ratio)
    if paired:
        change = logs[1] - logs[0] + between_sd * rng.standard_normal((simulations, n))
        return float((stats.ttest_1samp(change, 0, axis=1).pvalue < alpha).mean())
    logs += between_sd * rng.standard_normal(logs.shape)
    return float((stats.ttest_ind(logs[1], logs[0], axis=1).pvalue < alpha).mean())
