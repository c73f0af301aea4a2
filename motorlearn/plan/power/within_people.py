"""Power where each person meets two conditions: a t test of the differences of people."""

import math

import numpy as np
from scipy import optimize, stats

from motorlearn.design import counterbalanced
from motorlearn.exceptions import InputError
from motorlearn.linear.batch import BatchContrast, ancova_batch
from motorlearn.plan.power.closed_form import noncentral_power
from motorlearn.plan.power.scenario import Scenario


def correlated(
    drawn: np.ndarray, groups: np.ndarray, plan: Scenario, rng: np.random.Generator
) -> np.ndarray:
    """Standard scores of people of which a part is the same under every condition.

    Parameters
    ----------
    drawn : ndarray, shape (studies, people, tests)
        Standard normal scores of people, those of each condition one after the other.
    groups : ndarray of int, shape (people,)
        Condition of each row of people.
    """
    c = plan.condition_correlation
    lasting = plan.assumed.stability
    shape = (drawn.shape[0], int((groups == 0).sum()), drawn.shape[2])
    same = np.sqrt(lasting) * rng.standard_normal((*shape[:2], 1))
    same = same + np.sqrt(1 - lasting) * rng.standard_normal(shape)
    repeated = np.tile(same, (1, int(groups.max()) + 1, 1))
    return np.asarray(np.sqrt(c) * repeated + np.sqrt(1 - c) * drawn)


def check_within_people(plan: Scenario) -> None:
    """Refuse what is not computed within people.

    Raises
    ------
    InputError
        If three conditions are tested together, for hits, ratios or another model than ``ancova``.
    """
    wrong = [
        said
        for said, here in (
            ("three conditions tested together", plan.joint),
            ("hits", plan.counts),
            ("a ratio", plan.effect == "ratio"),
            (f"the model {plan.model!r}", plan.model != "ancova"),
        )
        if here
    ]
    if wrong:
        raise InputError(
            "power within people is that of a difference of scores under two conditions",
            wrong,
            "name two conditions in primary.groups, with model = 'ancova'",
        )


def analysed_within(
    plan: Scenario, y: np.ndarray, x: np.ndarray | None, groups: np.ndarray
) -> BatchContrast:
    """Differences of people, with the period and the difference at the baseline taken out.

    Orders take turns; their mean at equal weight and at equal baselines is the effect.
    """
    first, second = groups == plan.first, groups == int(np.argmin(plan.contrast))
    away = y[:, first] - y[:, second]
    start = None if x is None else x[:, first] - x[:, second]
    if len(plan.ratio) > 2:
        return _of_several(plan, away, start)
    orders = np.arange(away.shape[1]) % 2
    # Half the mean of one order minus half that of the other with its signs turned round.
    turn = 1 - 2 * orders
    return ancova_batch(
        away * turn, orders, None if start is None else start * turn, weights=[0.5, -0.5]
    )


def _of_several(plan: Scenario, away: np.ndarray, start: np.ndarray | None) -> BatchContrast:
    """Two of several conditions: differences on what the periods of both were, study by study."""
    nuisance = _periods_apart(plan, away.shape[1])
    found = []
    for place, y in enumerate(away):
        columns = [np.ones(len(y)), *nuisance.T, *([] if start is None else [start[place]])]
        design = np.column_stack(columns)
        known = np.isfinite(y) & np.isfinite(design).all(axis=1)
        df = int(known.sum()) - design.shape[1]
        if df < 1:
            found.append((math.nan, math.nan, math.nan, int(known.sum())))
            continue
        inverse = np.linalg.pinv(design[known].T @ design[known])
        beta = inverse @ design[known].T @ y[known]
        left = y[known] - design[known] @ beta
        error = math.sqrt(inverse[0, 0] * (left @ left) / df)
        found.append((beta[0], error, float(df), int(known.sum())))
    estimate, errors, df_of, n = (np.array(part) for part in zip(*found))
    p = 2 * stats.t.sf(np.abs(estimate / errors), df_of)
    return BatchContrast(estimate, errors, df_of, p, n)


def _periods_apart(plan: Scenario, people: int) -> np.ndarray:
    """Differences of the indicators of the periods in which people meet both conditions."""
    k = len(plan.ratio)
    orders = counterbalanced([str(place) for place in range(k)])
    unit = np.vstack([np.zeros(k - 1), np.eye(k - 1)])
    one, other = str(plan.first), str(int(np.argmin(plan.contrast)))
    rows = [unit[order.index(one)] - unit[order.index(other)] for order in orders]
    return np.array([rows[person % len(rows)] for person in range(people)])


def within_power(plan: Scenario, d: float, people: float, *, alpha: float = 0.05) -> float:
    """Power of the comparison of two conditions within people, orders counterbalanced.

    Periods cost one degree of freedom less than there are conditions. Differences vary by
    ``2 (s² - c b²)``, s² the variance of scores, b² that of true scores and c their correlation
    between conditions. With a covariate that correlates r with them
    ``(1 - r²) (1 + 1 / (n - k - 2))`` of that is left, k conditions, and one degree of freedom is
    spent.

    Parameters
    ----------
    plan : Scenario
        The planned comparison.
    d : float
        Effect in standard deviations of people's scores.
    people : float
        People who are left.
    alpha : float
        Two-sided level.
    """
    k = len(plan.ratio)
    df = people - k - (plan.baseline >= 0)
    if df < 1:
        return math.nan
    variance = _of_differences(plan, plan.primary)
    if plan.baseline >= 0:
        between = plan.assumed.between_sd**2
        shared = 2 * plan.assumed.stability * between * (1 - plan.condition_correlation)
        r2 = shared**2 / (variance * _of_differences(plan, plan.baseline))
        variance *= (1 - r2) * (1 + 1 / max(people - k - 2, 1.0))
    delta = abs(d) * plan.score_sd() / math.sqrt(variance / people)
    return noncentral_power(df, delta, float(stats.t.isf(alpha / 2, df)))


def _of_differences(plan: Scenario, test: int) -> float:
    same = plan.condition_correlation * plan.assumed.between_sd**2
    return 2 * (plan.score_sd(test) ** 2 - same)


def detectable_within(plan: Scenario, people: float, wanted: float) -> float:
    """Effect in standard deviations of people that is found with the wanted power."""
    if math.isnan(within_power(plan, 1.0, people)):
        return math.nan
    high = 1.0
    while within_power(plan, high, people) < wanted:
        high *= 2
    return float(optimize.brentq(lambda d: within_power(plan, d, people) - wanted, 0.0, high))
