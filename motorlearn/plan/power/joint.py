"""Power of an effect of factors that is one joint test: a noncentral F in closed form."""

import numpy as np
from scipy import optimize, stats

from motorlearn.plan.power.scenario import Scenario


def joint_power(plan: Scenario, d: float, sizes: np.ndarray, *, alpha: float = 0.05) -> float:
    """Power of the F test that all rows of the hypothesis are zero.

    The cells that carry the effect stand off by ``d`` standard deviations; with L the hypothesis,
    m the means and N the sizes, ``F`` is noncentral with ``(L m)' (L N⁻¹ L')⁻¹ (L m)``.

    Parameters
    ----------
    plan : Scenario
        The planned comparison, with a hypothesis.
    d : float
        Effect in standard deviations that are left after the covariate.
    sizes : ndarray
        People of each cell.
    alpha : float
        Level.
    """
    rows = np.array(plan.hypothesis)
    df = float(sizes.sum() - len(sizes))
    if df <= 0:
        return float("nan")
    means = np.zeros(len(sizes))
    means[list(plan.carriers)] = d
    away = rows @ means
    shift = float(away @ np.linalg.solve((rows / sizes) @ rows.T, away))
    critical = stats.f.isf(alpha, len(rows), df)
    return float(stats.ncf.sf(critical, len(rows), df, shift)) if shift else alpha


def detectable_joint(plan: Scenario, sizes: np.ndarray, wanted: float) -> float:
    """Effect in standard deviations that is found with the wanted power."""
    if np.isnan(joint_power(plan, 1.0, sizes)):
        return float("nan")
    high = 1.0
    while joint_power(plan, high, sizes) < wanted:
        high *= 2
    return float(optimize.brentq(lambda d: joint_power(plan, d, sizes) - wanted, 1e-6, high))
