"""Outcomes drawn for a design with several grouping factors: to cells, and fitted at once."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from motorlearn.measures.hits import log_choose
from motorlearn.mixed.crossed_replicates import (
    Doubtful,
    general_side_by_side,
    in_chunks,
    is_small,
    linear_side_by_side,
)
from motorlearn.mixed.formula.designs import Design
from motorlearn.mixed.replicates import joined
from motorlearn.mixed.solve.engine import Working, working
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.likelihoods import Likelihood
from motorlearn.mixed.solve.linear_together import ManyOutcomes
from motorlearn.mixed.solving import Options, factors_of

Array = NDArray[np.float64]


def crossed_together(design: Design, draws: Array, options: Options) -> Doubtful | None:
    """Fits of outcomes ``draws`` (R, n) side by side; None where the design is large."""
    likelihood = options.likelihood(design)
    if likelihood is None:
        found = _linear(design, draws, options.reml)
        if found is None or options.family != "lognormal":
            return found
        logs = 2 * (draws + design.offset[design.cell]).sum(axis=1)
        return replace(found, fits=replace(found.fits, deviance=found.fits.deviance + logs))
    if options.family == "binomial":
        return _hits(design, draws, likelihood)
    return _by_row(design, draws, likelihood)


def _into_cells(design: Design) -> sparse.csr_array:
    """Sums of rows by cell, as a matrix (n, cells)."""
    rows = np.arange(len(design.cell))
    shape = (len(rows), len(design.x))
    return sparse.csr_array((np.ones(len(rows)), (rows, design.cell)), shape=shape)


def _linear(design: Design, draws: Array, reml: bool) -> Doubtful | None:
    work = working(design.x, factors_of(design))
    if not is_small(work):
        return None
    total = np.bincount(design.cell, design.weight, len(design.x)).astype(float)
    y = ((draws * design.weight) @ _into_cells(design)) / total
    within = (draws - y[:, design.cell]) ** 2 @ design.weight
    logs = float(np.sum(np.log(design.weight)))

    def fit(part: slice) -> Doubtful:
        given = ManyOutcomes(y[part], total, within[part], draws.shape[1], logs)
        return linear_side_by_side(work, given, reml)

    return _whole(in_chunks(work, len(draws), fit))


def _hits(design: Design, draws: Array, likelihood: Likelihood) -> Doubtful | None:
    work = working(design.x, factors_of(design))
    if not is_small(work):
        return None
    hits = draws @ _into_cells(design)
    attempts = np.bincount(design.cell, design.weight, len(design.x)).astype(float)
    found = _general(work, hits, attempts, design.offset, likelihood)
    gain = log_choose(hits, attempts).sum(axis=1) - log_choose(draws, design.weight).sum(axis=1)
    return replace(found, fits=replace(found.fits, deviance=found.fits.deviance + 2 * gain))


def _by_row(design: Design, draws: Array, likelihood: Likelihood) -> Doubtful | None:
    """Outcomes that do not add up, on rows instead of cells."""
    cell = design.cell
    factors = [
        Factor(f.index[cell], f.z[cell], f.structure, f.n_levels) for f in factors_of(design)
    ]
    work = working(design.x[cell], factors)
    if not is_small(work):
        return None
    return _general(work, draws.astype(float), design.weight, design.offset[cell], likelihood)


def _general(
    work: Working, y: Array, weight: Array, offset: Array, likelihood: Likelihood
) -> Doubtful:
    def fit(part: slice) -> Doubtful:
        own = np.broadcast_to(weight, y[part].shape).astype(float)
        return general_side_by_side(work, y[part], own, offset, likelihood)

    return _whole(in_chunks(work, len(y), fit))


def _whole(parts: list[Doubtful]) -> Doubtful:
    doubtful = np.concatenate([part.doubtful for part in parts])
    return Doubtful(joined([part.fits for part in parts]), doubtful)
