"""Whether learners differ in what a population curve takes as the same for all of them."""

import numpy as np
from scipy.special import chdtrc

from motorlearn.curves.population.grid import curve_parts
from motorlearn.curves.population.learners import Learners
from motorlearn.curves.population.maximum import PopulationFit

SURE = 0.01
"""Probability below which learners are said to differ."""
STEP = 1e-4
LEAST = 1e-8
"""Share of a derivative beyond a learner's own curve below which it says nothing."""


def unlike(data: Learners, fit: PopulationFit) -> tuple[str, ...]:
    r"""Say which shared term of the form differs between learners.

    .. math:: Q = \sum_i (r_i' d_i)^2 / (\sigma^2 d_i' d_i)

    with a learner's residuals :math:`r_i` and the derivative :math:`d_i` of the curve by the shared
    term, both without what the own asymptote, amount and rate explain; chi square with as many
    degrees of freedom as learners less one where the term is the same for all.
    """
    common, names = data.common, data.form.shared.names
    if common is None or not names or data.law != "normal" or data.trials is not None:
        return ()
    values = fit.layout.common(fit.summit.point)
    variance = float(np.exp(2 * fit.layout.log_sigma(fit.summit.point)))
    there = common.dressed(data, values)
    curve, tangent = _parts(there, fit)
    left = _beyond(there.heavy - curve, tangent)
    said = []
    for name in names:
        step = STEP * (np.array(common.names) == name)
        up, down = (_parts(common.dressed(data, values + way * step), fit)[0] for way in (1, -1))
        turn = (up - down) / (2 * STEP)
        own = _beyond(turn, tangent)
        told = np.sum(own**2, axis=1)
        says = told > LEAST * np.sum(turn**2, axis=1)
        statistic = np.sum(np.sum(left * own, axis=1)[says] ** 2 / told[says]) / variance
        if says.sum() > 1 and chdtrc(says.sum() - 1, statistic) < SURE:
            said.append(
                f"Learners seem to differ in {name}, which this model takes as the same for all: "
                f"the limits of {name} are too narrow."
            )
    return tuple(said)


def _parts(there: Learners, fit: PopulationFit) -> tuple[np.ndarray, np.ndarray]:
    """Each learner's curve and its derivatives by asymptote, amount and log rate, whitened."""
    curve, parts = curve_parts(there, fit.learners[:, None, :])
    rows = [curve[:, 0], *(part[:, 0] for part in parts)]
    if there.white is not None:
        rows = [there.white.apply(row) * there.used for row in rows]
    return rows[0], np.stack(rows[1:], axis=2)


def _beyond(rows: np.ndarray, tangent: np.ndarray) -> np.ndarray:
    """What of each learner's rows the own asymptote, amount and rate cannot explain."""
    inside = np.linalg.pinv(tangent) @ rows[:, :, None]
    found: np.ndarray = rows - (tangent @ inside)[:, :, 0]
    return found
