"""A mixed model without each participant in turn, by update where that is possible.

Binomial models with one grouping factor are maximised anew for all removals in one batch: a removed
participant keeps the rows but has no attempts. Linear models are updated exactly for the
coefficients, with the variances held where they are.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse, stats
from scipy.sparse.linalg import splu

from motorlearn.audit.leave_one_out import LEAVE_ONE_OUT_COLUMNS
from motorlearn.audit.mixed_model import MixedModel
from motorlearn.mixed.binomial import BinomialOneFactor, BinomialRows
from motorlearn.mixed.covariance import Structure
from motorlearn.mixed.engine import group_starts
from motorlearn.mixed.optimise import hessian, minimise, positive_inverse

Floats = NDArray[np.float64]


def fit_without_each(model: MixedModel) -> pd.DataFrame | None:
    """Every coefficient without each level of the first grouping factor.

    Returns
    -------
    DataFrame or None
        ``participant, group, contrast, estimate, conf_low, conf_high, p, changes``; none for a
        binomial model with crossed factors, which no update serves.
    """
    fit = model.fit
    if model.binomial:
        if len(fit.design.random) > 1:
            return None
        beta, error = _binomial(model)
        df = np.full(len(fit.beta), np.inf)
    else:
        beta, error = _linear(model)
        df = fit.estimates["df"].to_numpy(dtype=float)
    return _frame(model, beta, error, df)


def _binomial(model: MixedModel) -> tuple[Floats, Floats]:
    """Coefficients and standard errors (G, p) of all removals, maximised together."""
    fit, part = model.fit, model.fit.design.random[0]
    people, design = len(part.levels), fit.design
    inside = part.index[None] != np.arange(people)[:, None]
    hits = model.by_cell(fit.observed)
    scale = np.sqrt(np.mean(part.z**2, axis=0))
    q, r = np.linalg.qr(design.x)
    root = np.sqrt(len(design.x))
    rows = BinomialRows(
        q * root,
        (part.z / scale).T,
        group_starts(part.index),
        design.offset,
        hits * inside,
        model.weight * inside,
    )
    structure = Structure(part.blocks)
    task = BinomialOneFactor(rows, structure, fit.link, fit.recipe.options["quadrature"])
    turn = r / root
    psi = fit.covariances[part.group] * np.outer(scale, scale)
    start = np.concatenate([turn @ fit.beta, structure.theta_of(psi)])
    curve = hessian(task.objective, np.repeat(start[None], people, axis=0))
    found = minimise(
        task.objective, np.repeat(start[None], people, axis=0), positive_inverse(curve)
    )
    back = np.linalg.inv(turn)
    size = len(fit.beta)
    covariance = 2 * positive_inverse(curve)[:, :size, :size]
    turned = back @ covariance @ back.T
    return found.x[:, :size] @ back.T, np.sqrt(np.einsum("gii->gi", turned))


def _linear(model: MixedModel) -> tuple[Floats, Floats]:
    """Exact coefficients of all removals given the variances, and their standard errors."""
    fit, part = model.fit, model.fit.design.random[0]
    x, y = fit.design.x, model.by_cell(fit.observed)
    precision = model.weight / fit.residual_sd**2
    loaded = model.loadings.multiply(precision[:, None]).tocsc()
    inner = splu((model.loadings.T @ loaded + sparse.identity(loaded.shape[1])).tocsc())

    def solved(right: Floats) -> Floats:
        return precision[:, None] * right - loaded @ inner.solve(loaded.T @ right)

    both = np.column_stack([x, y])
    weighted = solved(both)
    cross = x.T @ weighted
    if len(fit.design.random) > 1:
        return _rows_removed(both, solved, part.index, len(part.levels))
    share = np.zeros((len(part.levels), *cross.shape))
    np.add.at(share, part.index, x[:, :, None] * weighted[:, None, :])
    left = cross[None] - share
    size = x.shape[1]
    inverse = np.linalg.inv(left[:, :, :size])
    beta = np.einsum("gij,gj->gi", inverse, left[:, :, size])
    return beta, np.sqrt(np.einsum("gii->gi", inverse))


def _rows_removed(both: Floats, solved, index, people: int) -> tuple[Floats, Floats]:
    """Removal of rows where groups are not independent: the deleted rows get free means.

    Adding an indicator for every deleted row takes the row out of the likelihood of the rest.
    """
    x, y = both[:, :-1], both[:, -1]
    betas, errors = [], []
    for person in range(people):
        rows = np.flatnonzero(index == person)
        free = np.zeros((len(x), len(rows)))
        free[rows, np.arange(len(rows))] = 1.0
        wide = np.column_stack([x, free])
        weighted = solved(wide)
        inverse = np.linalg.inv(wide.T @ weighted)
        betas.append((inverse @ (weighted.T @ y))[: x.shape[1]])
        errors.append(np.sqrt(np.diag(inverse)[: x.shape[1]]))
    return np.array(betas), np.array(errors)


def _frame(model: MixedModel, beta: Floats, error: Floats, df: Floats) -> pd.DataFrame:
    fit, part = model.fit, model.fit.design.random[0]
    groups = model.categories().get("group")
    group_of = {} if groups is None else dict(zip(part.index.tolist(), groups, strict=True))
    reach = stats.t.isf(0.025, df) * error
    p = 2 * stats.t.sf(np.abs(beta / error), df)
    before = fit.estimates["p"].to_numpy() < 0.05
    rows = [
        (
            str(part.levels[i]),
            group_of.get(i, ""),
            fit.fixed_names[j],
            float(beta[i, j]),
            float(beta[i, j] - reach[i, j]),
            float(beta[i, j] + reach[i, j]),
            float(p[i, j]),
            bool((p[i, j] < 0.05) != before[j]),
        )
        for j in range(len(fit.beta))
        for i in range(len(part.levels))
    ]
    return pd.DataFrame(rows, columns=list(LEAVE_ONE_OUT_COLUMNS))
