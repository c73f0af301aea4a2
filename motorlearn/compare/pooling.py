"""Why trials must not be pooled across people: the inflation that these data would bring."""

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from motorlearn import digits
from motorlearn.compare.participants import Columns
from motorlearn.exceptions import RefusedError
from motorlearn.measures.precision import design_effect
from motorlearn.measures.scores import numbers
from motorlearn.trials.counted import counted_rows


@dataclass(frozen=True)
class Pooling:
    """What treating trials as independent would do to a test of groups.

    Parameters
    ----------
    trials : float
        Trials per participant (the size that matters where they are unequal).
    icc : float
        Share of the variance of single trials that lies between participants of a group.
    design_effect : float
        ``1 + (trials - 1) · icc``: by how much the variance of a mean is understated.
    false_positives : float
        Share of true null hypotheses that a nominal 5 % test of pooled trials rejects.
    """

    trials: float
    icc: float
    design_effect: float
    false_positives: float


def pooling_inflation(
    total: NDArray[Any],
    square_within: NDArray[Any],
    trials: NDArray[Any],
    codes: NDArray[np.intp],
) -> Pooling:
    """Estimate the inflation from each participant's trials, by the analysis of variance.

    Participants are nested in groups: ``icc = (MSB - MSW) / (MSB + (n0 - 1) MSW)`` with the usual
    n0 for unequal numbers of trials; a negative estimate counts as 0.

    Parameters
    ----------
    total, square_within, trials : array (participants,)
        Sum of the trials, sum of squares around the participant's mean, number of trials.
    codes : array of int (participants,)
        Group of each participant.

    References
    ----------
    Kish, L. (1965). Survey Sampling. Wiley (design effect; from memory).
    Donner, A., & Klar, N. (2000). Design and Analysis of Cluster Randomization Trials. Arnold
    (analysis of variance estimator; from memory).

    Examples
    --------
    >>> hits, n = np.array([2.0, 8.0, 5.0, 9.0]), np.full(4, 10.0)
    >>> found = pooling_inflation(hits, hits * (1 - hits / n), n, np.array([0, 0, 1, 1]))
    >>> round(found.design_effect, 2) > 1
    True
    """
    group_n = np.bincount(codes, trials)
    group_mean = np.bincount(codes, total) / np.where(group_n > 0, group_n, np.nan)
    between = float(np.sum(trials * (total / trials - group_mean[codes]) ** 2))
    people, groups = len(trials), int((group_n > 0).sum())
    all_trials = float(trials.sum())
    df_between, df_within = people - groups, all_trials - people
    typical = float(np.sum(trials**2) / all_trials)
    if df_between < 1 or df_within < 1:
        return Pooling(typical, float("nan"), float("nan"), float("nan"))
    squares = np.bincount(codes, trials**2) / np.where(group_n > 0, group_n, np.nan)
    n0 = (all_trials - float(np.nansum(squares))) / df_between
    msb, msw = between / df_between, float(square_within.sum()) / df_within
    icc = max(0.0, (msb - msw) / (msb + (n0 - 1) * msw)) if msb > 0 else 0.0
    effect = design_effect(typical, icc)
    rejected = 2 * float(stats.norm.sf(stats.norm.isf(0.025) / np.sqrt(effect)))
    return Pooling(typical, icc, effect, rejected)


def refuse_pooled_trials(
    table: pd.DataFrame, columns: Columns, *, phase: Hashable, baseline: Hashable | None
) -> None:
    """Say no to trials as the unit of a test of groups, with the inflation for these data.

    Raises
    ------
    RefusedError
        Always; the message names the design effect and the call that answers the question.
    """
    found = _of_phase(table[table[columns.phase] == phase], columns)
    attempts = f", attempts={columns.attempts!r}" if columns.attempts else ""
    start = f", baseline={baseline!r}" if baseline is not None else ""
    remedy = (
        f"ml.compare_phases(table, {columns.outcome!r}, group={columns.group!r}{attempts}{start})"
    )
    if np.isnan(found.design_effect):
        numbers_here = "these data have too few repeated trials to say by how much"
    else:
        numbers_here = (
            f"here a participant has about {found.trials:.0f} trials at {phase}, the correlation "
            f"within participants is {digits.number(found.icc)} and the variance would be "
            f"understated {digits.number(found.design_effect, 1)} times, so that a nominal 5 % "
            f"test would reject about {digits.percent(found.false_positives)} of true null "
            "hypotheses"
        )
    raise RefusedError(
        "trials of one person are not independent and people, not trials, were allocated to "
        f"groups, so trials cannot be the unit of this test: {numbers_here}; use participants' "
        f"scores, which is one line: {remedy}."
    )


def _of_phase(rows: pd.DataFrame, columns: Columns) -> Pooling:
    value = numbers(rows, columns.outcome)
    weight = numbers(rows, columns.attempts) if columns.attempts else np.ones_like(value)
    keep = ~np.isnan(value) & (weight > 0) & counted_rows(rows)
    value, weight = value[keep], weight[keep]
    people, _ = pd.factorize(rows[columns.participant][keep])
    group = rows[columns.group][keep] if columns.group else pd.Series("all", rows.index[keep])
    codes = np.zeros(people.max(initial=-1) + 1, dtype=np.intp)
    codes[people] = pd.factorize(group)[0]
    trials = np.bincount(people, weight)
    total = np.bincount(people, value)
    if columns.attempts:
        # Hits of attempts: each attempt is 0 or 1, so the squares follow from the counts.
        return pooling_inflation(total, total * (1 - total / trials), trials, codes)
    away = value - (total / trials)[people]
    return pooling_inflation(total, np.bincount(people, away**2), trials, codes)
