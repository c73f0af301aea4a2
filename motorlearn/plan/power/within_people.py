"""Power where each person meets two conditions: a t test of the differences of people."""

import math

import numpy as np
from scipy import optimize, stats

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
        If there are more than two conditions, hits, ratios or another model than ``ancova``.
    """
    wrong = [
        said
        for said, here in (
            ("more than two conditions", len(plan.ratio) > 2),
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
            "compute it for the two conditions of the primary comparison, with model = 'ancova'",
        )


def analysed_within(
    plan: Scenario, y: np.ndarray, x: np.ndarray | None, groups: np.ndarray
) -> BatchContrast:
    """Differences of people, with the period and the difference at the baseline taken out.

    Orders take turns; their mean at equal weight and at equal baselines is the effect.
    """
    first = groups == plan.first
    away = y[:, first] - y[:, ~first]
    start = None if x is None else x[:, first] - x[:, ~first]
    orders = np.arange(away.shape[1]) % 2
    # Half the mean of one order minus half that of the other with its signs turned round.
    turn = 1 - 2 * orders
    return ancova_batch(
        away * turn, orders, None if start is None else start * turn, weights=[0.5, -0.5]
    )


def within_power(plan: Scenario, d: float, people: float, *, alpha: float = 0.05) -> float:
    """Power of the comparison within people, two orders of one size.

    Differences vary by ``2 (s² - c b²)``, s² the variance of scores, b² that of true scores and c
    their correlation between conditions. With a covariate that correlates r with them
    ``(1 - r²) (1 + 1 / (n - 4))`` of that is left, and one degree of freedom is spent.

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
    df = people - 2 - (plan.baseline >= 0)
    if df < 1:
        return math.nan
    variance = _of_differences(plan, plan.primary)
    if plan.baseline >= 0:
        between = plan.assumed.between_sd**2
        shared = 2 * plan.assumed.stability * between * (1 - plan.condition_correlation)
        r2 = shared**2 / (variance * _of_differences(plan, plan.baseline))
        variance *= (1 - r2) * (1 + 1 / max(people - 4, 1.0))
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
