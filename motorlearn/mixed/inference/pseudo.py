"""Tests of hits with few people: Kenward-Roger on the pseudo-data of a binomial mixed model.

At the solution of the binomial model the outcome is replaced by η̂ + (hits − n p̂)/(n dp/dη), whose
variance given the random effects, p̂(1 − p̂)/(n (dp/dη)²), is known. Restricted likelihood of that
linear model takes account of the fixed effects when it estimates the spread between participants,
which the likelihood of the binomial model does not, and Kenward-Roger of the estimation of that
spread. Only the part of a contrast's variance that comes from participants has to be estimated;
its df are therefore divided by that share.

References
----------
Schall R (1991). Biometrika 78:719-727. https://doi.org/10.1093/biomet/78.4.719
Kenward MG, Roger JH (1997). Biometrics 53:983-997. https://doi.org/10.2307/2533558
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from motorlearn.mixed.formula.designs import Design
from motorlearn.mixed.inference.degrees_of_freedom import Inference
from motorlearn.mixed.inference.kenward_roger import adjust, on_working_scales
from motorlearn.mixed.solve.dense import DenseModel
from motorlearn.mixed.solve.engine import ONE, Cells, Solution, working
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.links import INVERSE_LINKS, mean_slope
from motorlearn.mixed.solve.optimise import minimise
from motorlearn.mixed.solve.residual import ResidualShape
from motorlearn.mixed.solve.search_dense import Residuals, first_guess, padded, tied_rows

Array = NDArray[np.float64]

MOST_WORK = 1e8
FEWEST_ATTEMPTS = 4
LEAST_WEIGHT = 1e-3


def pseudo_inference(
    design: Design, factors: list[Factor], observed: Array, solution: Solution, link: str
) -> Inference | None:
    """Inference for few people at the solution of a binomial mixed model.

    Parameters
    ----------
    design : Design
        Fixed and random parts by cell.
    factors : list of Factor
        Grouping factors of the design.
    observed : array (n,)
        Hits of each row.
    solution : Solution
        Solution of the binomial model.
    link : {"logit", "probit", "cloglog"}
        Link of the model.

    Returns
    -------
    Inference or None
        None where a random effect rests on fewer than four attempts, which hide the spread between
        people from pseudo-data, where the rows tied by crossed factors are too many for dense
        matrices, or where the pseudo-data have no solution.
    """
    count = len(design.x)
    attempts = np.bincount(design.cell, design.weight, count).astype(float)
    group, _, most = tied_rows(factors)
    few = _attempts_of_each_effect(design, attempts) < FEWEST_ATTEMPTS
    if few or (int(group.max()) + 1) * float(most) ** 3 > MOST_WORK:
        return None
    eta = design.x @ solution.beta + design.offset
    for part, modes in zip(design.random, solution.modes, strict=True):
        eta = eta + np.sum(part.z * modes[part.index], axis=1)
    p, slope = INVERSE_LINKS[link](eta), np.maximum(mean_slope(link, eta), 1e-6)
    hits = np.bincount(design.cell, observed, count)
    pseudo = eta - design.offset + (hits - attempts * p) / (attempts * slope)
    weight = attempts * slope**2 / np.maximum(p * (1 - p), 1e-12)
    found = _restricted(design.x, pseudo, np.maximum(weight, LEAST_WEIGHT), factors, solution)
    return found if np.isfinite(found.vcov).all() else None


def _attempts_of_each_effect(design: Design, attempts: Array) -> float:
    """Attempts behind a random effect, for the factor and level in the middle that have least."""
    totals = [
        np.median(np.bincount(part.index, attempts)) / len(part.terms) for part in design.random
    ]
    return float(min(totals))


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
        found = minimise(model.objective, first_guess(model), longest=2.0)
        here = model.at(found.x, ONE)
        crosses, seconds, traces = model.products(here)
        adjusted, slopes, w = adjust(here.phi[0], crosses[0], seconds[0], traces[0])
    alone = np.asarray(np.linalg.inv((work.x.T * weight) @ work.x), dtype=float)
    judged = on_working_scales(here.phi[0], adjusted, slopes, w, crosses[0], work.back)
    return replace(judged, joint_vcov=solution.joint_vcov, known_vcov=alone)
