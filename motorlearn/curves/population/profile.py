"""Profile-likelihood intervals of a population curve, for few learners."""

import numpy as np

from motorlearn.curves.population.ascent import climb, inverse_of
from motorlearn.curves.population.grid import GridMarginal
from motorlearn.curves.population.learners import Learners
from motorlearn.curves.population.likelihoods import likelihood_of
from motorlearn.curves.population.marginal import Marginal
from motorlearn.curves.population.maximum import PopulationFit
from motorlearn.curves.population.rivals import Held
from motorlearn.linear.hypotheses import t_quantile

FARTHEST = 25.0
"""Standard errors beyond which an interval counts as open."""
CLOSE, NARROW = 0.02, 0.1
"""Relative distance from the fall wanted, and between the last steps, at which a limit is one."""
STEPS = 7


def profile_limits(data: Learners, fit: PopulationFit, df: np.ndarray, level: float) -> np.ndarray:
    """Limits of every fixed effect on the scale of the fit, shape (terms, 2).

    A limit is where twice the log-likelihood has fallen by ``m log(1 + t² / df)``, with the
    quantile of t and m learners: for the mean of m learners that is Student's interval itself.
    A limit that lies too far out, or where the likelihood never falls enough, is infinite; one
    between whose ends the steps could not choose is missing.
    """
    likelihood = likelihood_of(data, fit.layout, fit.nodes, fit.summit.peak)
    likelihood.adapt(fit.summit.point)
    whole = inverse_of(fit.summit.information)
    learners = len(data.y)
    limits = np.empty((fit.layout.fixed, 2))
    for term in range(fit.layout.fixed):
        quantile = float(t_quantile(level, df[term]))
        few = df[term] < learners
        cut = learners * np.log1p(quantile**2 / df[term]) if few else quantile**2
        error = float(np.sqrt(max(fit.covariance[term, term], 1e-300)))
        for side, way in enumerate((-1.0, 1.0)):
            limits[term, side] = _limit(likelihood, fit, whole, term, way * error, cut)
    return limits


def _limit(
    likelihood: Marginal | GridMarginal,
    fit: PopulationFit,
    whole: np.ndarray,
    term: int,
    step: float,
    cut: float,
) -> float:
    centre, top = fit.summit.point[term], fit.summit.loglik
    lean = whole[:, term] / max(whole[term, term], 1e-300)
    free = np.delete(np.arange(fit.layout.size), term)
    inverse = inverse_of(fit.summit.information[np.ix_(free, free)])
    low, high, far = 0.0, np.inf, float(np.sqrt(cut))
    for _ in range(STEPS):
        held = Held(likelihood, {term: centre + far * step}, fit.layout.size)
        start = (fit.summit.point + far * step * lean)[free]
        held.adapt(start)
        height = climb(held.value, start, inverse, 0.03)[1]
        fallen = max(2 * (top - height), 1e-6) if np.isfinite(height) else 4 * cut
        at, miss = far, abs(fallen / cut - 1)
        if miss < CLOSE:
            break
        low, high = (far, high) if fallen < cut else (low, far)
        wanted = far * float(np.sqrt(cut / fallen))
        far = wanted if low < wanted < high else 0.5 * (low + min(high, 2 * FARTHEST))
        if low > FARTHEST:
            break
    if miss < NARROW or high - low < NARROW * far:
        return float(centre + at * step)
    return np.nan if np.isfinite(high) else float(np.sign(step) * np.inf)
