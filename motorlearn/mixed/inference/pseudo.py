"""Tests of hits with few people: Kenward-Roger on the pseudo-data of a binomial mixed model.

At the solution of the binomial model the outcome is replaced by η̂ + (hits − n p̂)/(n p̂(1 − p̂)),
whose variance given the random effects, 1/(n p̂(1 − p̂)), is known. Restricted likelihood of that
linear model takes account of the fixed effects when it estimates the spread between participants,
which the likelihood of the binomial model does not, and Kenward-Roger of the estimation of that
spread. Only the part of a contrast's variance that comes from participants has to be estimated;
its df are therefore divided by that share.

References
----------
Schall R (1991). Biometrika 78:719-727. https://doi.org/10.1093/biomet/78.4.719
Kenward MG, Roger JH (1997). Biometrics 53:983-997. https://doi.org/10.2307/2533558
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motorlearn.exceptions import InputError
from motorlearn.mixed.formula.designs import RandomPart
from motorlearn.mixed.inference.degrees_of_freedom import (
    Inference,
    contrast_covariance,
    degrees_of_freedom,
)
from motorlearn.mixed.inference.kenward_roger import adjust
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.solve.covariance import Structure
from motorlearn.mixed.solve.dense import DenseModel
from motorlearn.mixed.solve.engine import ONE, Cells, working
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.links import INVERSE_LINKS
from motorlearn.mixed.solve.optimise import minimise
from motorlearn.mixed.solve.residual import ResidualShape
from motorlearn.mixed.solve.search_dense import Residuals, first_guess, padded, tied_rows

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PseudoInference:
    """Inference on pseudo-data, and the covariance of β that attempts alone would give."""

    inference: Inference
    attempts_alone: Array

    def judge(self, contrast: Array) -> tuple[float, float]:
        """Standard error and df of one contrast l'β."""
        variance = float(contrast_covariance(contrast[None], self.inference.vcov)[0, 0])
        plain = float(contrast_covariance(contrast[None], self.inference.plain_vcov)[0, 0])
        alone = float(contrast_covariance(contrast[None], self.attempts_alone)[0, 0])
        share = min(max(1 - alone / plain, 1e-3), 1.0)
        return float(np.sqrt(variance)), degrees_of_freedom(contrast, self.inference) / share


def pseudo_inference(fit: MixedFit) -> PseudoInference:
    """Inference for few people from a binomial fit with levels of each test that correlate freely.

    Parameters
    ----------
    fit : MixedFit
        Logistic model with ``random={participant: "0 + phase"}`` (or ``"1"`` at a single test),
        one cell per participant and test.

    Raises
    ------
    InputError
        If the model is another one.
    """
    part, design = fit.design.random[0], fit.design
    level = np.argmax(part.z, axis=1)
    alike = np.array_equal(part.z, np.eye(len(part.terms))[level]) and len(part.blocks) == 1
    if fit.link != "logit" or len(design.random) > 1 or not alike:
        raise InputError(
            "inference for few people needs a logistic model with one level of each participant "
            "at each test",
            [str(dict(fit.random))],
            "write random={'participant': '0 + phase'}",
        )
    modes = fit.effects["estimate"].to_numpy().reshape(-1, len(part.terms))
    eta = design.x @ fit.beta + design.offset + modes[part.index, level]
    p = INVERSE_LINKS["logit"](eta)
    count = len(design.x)
    attempts = np.bincount(design.cell, design.weight, count)
    hits = np.bincount(design.cell, fit.observed, count)
    weight = np.maximum(attempts * p * (1 - p), 1e-3)
    pseudo = eta - design.offset + (hits - attempts * p) / weight
    shape = ResidualShape("free", len(part.terms))
    return _restricted(design.x, pseudo, weight, Residuals(level, shape), part)


def _restricted(
    x: Array, y: Array, weight: Array, residuals: Residuals, part: RandomPart
) -> PseudoInference:
    factor = Factor(part.index, np.zeros((len(x), 0)), Structure(()), len(part.levels))
    work, ones = working(x, [factor]), np.ones(len(x))
    cells = Cells(y, ones, len(x), rows=ones, within_cell=np.zeros(len(x)))
    data = padded(work, y[None], cells, residuals, np.zeros((1, residuals.shape.size)))
    group, place, _ = tied_rows(work.factors)
    data.known = np.zeros((1, *data.level.shape))
    data.known[0, group, place] = 1 / weight
    model = DenseModel(data, residuals.shape, True)
    with np.errstate(all="ignore"):
        found = minimise(model.objective, first_guess(model), longest=2.0)
        here = model.at(found.x, ONE)
        crosses, seconds, traces = model.products(here)
        adjusted, slopes, w = adjust(here.phi[0], crosses[0], seconds[0], traces[0])
    back, turn = work.back, work.turn
    inference = Inference(
        "kenward-roger",
        back @ adjusted @ back.T,
        back @ slopes @ back.T,
        w,
        back @ here.phi[0] @ back.T,
        turn.T @ crosses[0] @ turn,
        np.zeros((0, 0)),
    )
    alone = np.linalg.inv((work.x.T * weight) @ work.x)
    return PseudoInference(inference, back @ alone @ back.T)
