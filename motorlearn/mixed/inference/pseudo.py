"""Tests with few people of outcomes that are not normal: Kenward-Roger on pseudo-data.

At the solution of a binomial model the outcome is replaced by η̂ + (hits − n p̂)/(n dp/dη), whose
variance given the random effects, p̂(1 − p̂)/(n (dp/dη)²), is known; other outcomes are replaced by
η̂ plus the slope of their log likelihood over its expected information. Restricted likelihood of
that linear model takes account of the fixed effects when it estimates the spread between
participants, which the likelihood of the model itself does not, and Kenward-Roger of the estimation
of that spread. Only the part of a contrast's variance that comes from participants has to be
estimated; its df are therefore divided by that share. What the outcome's own parameters κ
(thresholds, dispersion) add to the covariance is added, J_βκ J_κκ⁻¹ J_κβ of the joint covariance J.

References
----------
Schall R (1991). Biometrika 78:719-727. https://doi.org/10.1093/biomet/78.4.719
Kenward MG, Roger JH (1997). Biometrics 53:983-997. https://doi.org/10.2307/2533558
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from motorlearn.mixed.inference.degrees_of_freedom import Inference
from motorlearn.mixed.inference.kenward_roger import adjust, kenward_roger, on_working_scales
from motorlearn.mixed.solve.dense import DenseModel
from motorlearn.mixed.solve.engine import ONE, Cells, Solution, lifted, working
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.likelihoods import Likelihood
from motorlearn.mixed.solve.optimise import minimise, positive_inverse
from motorlearn.mixed.solve.residual import ResidualShape
from motorlearn.mixed.solve.search_dense import Residuals, natural_jacobian, padded, tied_rows
from motorlearn.mixed.solve.search_linear import solve_linear

Array = NDArray[np.float64]

MOST_WORK = 1e8
FEWEST_ATTEMPTS = 4
LEAST_WEIGHT = 1e-3


def pseudo_inference(
    x: Array,
    factors: list[Factor],
    offset: Array,
    cells: Cells,
    behind: Array,
    solution: Solution,
    *,
    likelihood: Likelihood,
    free_scale: bool = False,
) -> Inference | None:
    """Inference for few people at the solution of a mixed model whose outcome is not normal.

    Parameters
    ----------
    x : array (N, p)
        Fixed part by cell.
    factors : list of Factor
        Grouping factors of the cells.
    offset : array (N,)
        Offset of each cell.
    cells : Cells
        Outcome and weight of each cell.
    behind : array (N,)
        What each cell rests on: attempts, events of counts, or rows.
    solution : Solution
        Solution of the model.
    likelihood : Likelihood
        Kind of outcome.
    free_scale : bool
        Whether the spread of the pseudo-data is estimated with the restricted likelihood, as for
        amounts, instead of being known.

    Returns
    -------
    Inference or None
        None where a random effect rests on fewer than four attempts, events or rows, which hide
        the spread between people from pseudo-data, where the rows tied by crossed factors are too
        many for dense matrices, or where the pseudo-data have no solution.
    """
    group, _, most = tied_rows(factors)
    few = _behind_each_effect(factors, behind) < FEWEST_ATTEMPTS
    if few or (int(group.max()) + 1) * float(most) ** 3 > MOST_WORK:
        return None
    eta = x @ solution.beta + offset
    for factor, modes in zip(factors, solution.modes, strict=True):
        eta = eta + np.sum(factor.z * modes[factor.index], axis=1)
    pair = cells.y[None], cells.weight[None]
    step, weight = likelihood.working(eta[None], *pair, solution.extra[None])
    pseudo, weight = eta - offset + step[0], np.maximum(weight[0], LEAST_WEIGHT)
    if free_scale:
        found = _with_free_scale(x, pseudo, cells.weight, factors, solution)
    else:
        found = _restricted(x, pseudo, weight, factors, solution)
        found = replace(found, vcov=found.vcov + _by_own_parameters(solution))
    return found if found is not None and np.isfinite(found.vcov).all() else None


def _by_own_parameters(solution: Solution) -> Array:
    """What the estimation of κ adds to the covariance of the fixed effects."""
    own, p = len(solution.extra), len(solution.beta)
    if not own:
        return np.zeros((p, p))
    joint = solution.joint_vcov
    across, inside = joint[:p, -own:], joint[-own:, -own:]
    found: Array = across @ np.linalg.pinv(inside) @ across.T
    return found


def _behind_each_effect(factors: list[Factor], behind: Array) -> float:
    """What is behind a random effect, for the factor and level in the middle that have least."""
    totals = [np.median(np.bincount(f.index, behind)) / f.z.shape[1] for f in factors]
    return float(min(totals))


def _with_free_scale(
    x: Array, y: Array, weight: Array, factors: list[Factor], solution: Solution
) -> Inference | None:
    """Restricted likelihood of pseudo-data whose residual variance is unknown."""
    ones = np.ones(len(x))
    cells = Cells(y, weight, len(x), 0.0, float(np.log(weight).sum()), ones, np.zeros(len(x)))
    with np.errstate(all="ignore"):
        try:
            found = solve_linear(x, factors, cells, reml=True)
            judged = kenward_roger(x, factors, weight, len(x), found.scaled_psi, found.sigma)
        except np.linalg.LinAlgError:
            return None
    return replace(judged, joint_vcov=solution.joint_vcov)


def _expected_curvature(model: DenseModel, start: Array) -> Array:
    """Inverse of the curvature tr(V⁻¹ ∂V V⁻¹ ∂V) that is expected at a point, (1, d, d)."""
    here = model.at(start, ONE)
    turned = [here.inverse[0] @ slope for slope in model.natural_slopes(here)]
    traces = np.array([[np.sum(a * np.swapaxes(b, 1, 2)) for b in turned] for a in turned])
    jacobian = natural_jacobian(model, start[0])
    expected = jacobian.T @ traces @ jacobian
    return positive_inverse(expected)[None]


def _restricted(
    x: Array, y: Array, weight: Array, factors: list[Factor], solution: Solution
) -> Inference:
    """Restricted likelihood of pseudo-data with residual variances 1/weight."""
    work, ones = working(x, factors), np.ones(len(x))
    shape = ResidualShape("levels", 0)
    cells = Cells(y, ones, len(x), rows=ones, within_cell=np.zeros(len(x)))
    nothing = Residuals(np.zeros(len(x), dtype=np.intp), shape)
    data = padded(work, y[None], cells, nothing, np.zeros((1, 0)))
    group, place, _ = tied_rows(work.factors)
    data.known = np.zeros((1, *data.level.shape))
    data.known[0, group, place] = 1 / weight
    model = DenseModel(data, shape, True)
    with np.errstate(all="ignore"):
        # Near the model's own variances, with the curvature that is expected there.
        start = lifted(work.theta(solution.psi))[None]
        guess = _expected_curvature(model, start)
        found = minimise(model.objective, start, guess, longest=2.0)
        here = model.at(found.x, ONE)
        crosses, seconds, traces = model.products(here)
        adjusted, slopes, w = adjust(here.phi[0], crosses[0], seconds[0], traces[0])
    alone = np.asarray(np.linalg.inv((work.x.T * weight) @ work.x), dtype=float)
    judged = on_working_scales(here.phi[0], adjusted, slopes, w, crosses[0], work.back)
    return replace(judged, joint_vcov=solution.joint_vcov, known_vcov=alone)
