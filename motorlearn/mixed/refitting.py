"""The same model again: for another outcome, or without one participant after the other."""

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import block_diag

from motorlearn.exceptions import FitError, InputError
from motorlearn.measures.hits import log_choose
from motorlearn.mixed.checks import refuse
from motorlearn.mixed.crossed_draws import crossed_together
from motorlearn.mixed.crossed_replicates import Doubtful
from motorlearn.mixed.fit import fit_prepared
from motorlearn.mixed.formula.designs import Design, Prepared, RandomPart, ResidualPart
from motorlearn.mixed.formula.formulas import read_formula
from motorlearn.mixed.frames import estimates_frame
from motorlearn.mixed.replicates import (
    ManyFits,
    fit_binomial_many,
    fit_general_many,
    fit_linear_many,
    joined,
)
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.solve.covariance import Structure
from motorlearn.mixed.solve.engine import CONVERGED, Solution, aggregate
from motorlearn.mixed.solve.search_without import solve_without_each
from motorlearn.mixed.solving import Options, factors_of, infer, solve
from motorlearn.mixed.whole import require_whole

Array = NDArray[np.float64]


def options_of(fit: MixedFit) -> Options:
    """Options a fit was made with."""
    stored = fit.recipe.options
    return Options(fit.family, fit.link, fit.reml, stored["quadrature"], fit.inference.method)


def refit(fit: MixedFit, observed: Array, *, reml: bool | None = None) -> MixedFit:
    """Fit the same model to another outcome of the same rows.

    Parameters
    ----------
    fit : MixedFit
        A fitted model.
    observed : array (n,)
        Outcome of the analysed rows, hits for a binomial model, in the order of ``fit.observed``;
        less the offset for a linear model that has one.
    reml : bool, optional
        Restricted or full maximum likelihood, if it shall differ.
    """
    require_whole(fit)
    observed = np.asarray(observed, dtype=float)
    if observed.shape != fit.observed.shape:
        raise InputError(
            "the outcome does not have one value per analysed row",
            [observed.shape, fit.observed.shape],
        )
    options = options_of(fit)
    if reml is not None and fit.linear:
        adjusted = options.df == "kenward-roger" and not reml
        options = replace(options, reml=reml, df="satterthwaite" if adjusted else options.df)
    recipe = replace(fit.recipe, options={**fit.recipe.options, **vars(options)})
    prepared = Prepared(fit.design, observed, read_formula(fit.formula), recipe.left_out)
    return fit_prepared(prepared, options, recipe, _start(fit))


def _start(fit: MixedFit) -> list[Array] | tuple[Array, list[Array], Array]:
    """Starting values from a fit, on the original scales."""
    psi = [fit.covariances[part.group] for part in fit.design.random]
    if fit.linear:
        return [covariance / fit.residual_sd**2 for covariance in psi]
    return fit.beta, psi, fit.extra


def refit_many(fit: MixedFit, draws: Array) -> tuple[ManyFits, int]:
    """Fit the same model to many outcomes ``draws`` (R, n), those that fail being left out.

    Returns the fits, with ``psi`` (R, q, q) of all grouping factors side by side, and how many
    failed; deviances of outcomes of the same rows are comparable between models.
    """
    found, good = refit_each(fit, draws)
    return found, int((~good).sum())


def refit_each(fit: MixedFit, draws: Array) -> tuple[ManyFits, NDArray[np.bool_]]:
    """The same, with a flag (R,) for every outcome that was fitted."""
    require_whole(fit)
    design = fit.design
    plain = not fit.linear or bool((design.weight == 1).all())
    plain = plain and design.residual is None
    if len(design.random) == 1 and plain and not design.offset.any():
        with np.errstate(all="ignore"):
            found = _side_by_side(fit, draws)
        good = np.isfinite(found.deviance)
        return found.subset(good), good
    if len(design.random) > 1 and design.residual is None:
        with np.errstate(all="ignore"):
            together = crossed_together(design, draws, options_of(fit))
        if together is not None:
            return _looked_at_again(fit, draws, together)
    return _one_by_one(fit, draws)


def _looked_at_again(
    fit: MixedFit, draws: Array, together: Doubtful
) -> tuple[ManyFits, NDArray[np.bool_]]:
    """Fits side by side, the doubtful ones among them made one by one."""
    good = ~together.doubtful
    if good.all():
        return together.fits, good
    again, fitted = _one_by_one(fit, draws[~good])
    first, second = np.flatnonzero(good), np.flatnonzero(~good)[fitted]
    good[second] = True
    if not len(second):
        return together.fits.subset(first), good
    both = joined([together.fits.subset(first), again])
    return both.subset(np.argsort(np.concatenate([first, second]))), good


def _one_by_one(fit: MixedFit, draws: Array) -> tuple[ManyFits, NDArray[np.bool_]]:
    options, solutions = options_of(fit), []
    good = np.zeros(len(draws), dtype=bool)
    for place, observed in enumerate(draws):
        try:
            solutions.append(solve(fit.design, observed, options))
        except (FitError, np.linalg.LinAlgError):
            continue
        good[place] = True
    return _stacked(solutions, len(fit.beta)), good


def _side_by_side(fit: MixedFit, draws: Array) -> ManyFits:
    design, part = fit.design, fit.design.random[0]
    structure = Structure(part.blocks)
    if fit.family != "binomial":
        return _row_by_row(fit, draws, structure)
    count = len(design.x)
    rows = np.arange(len(design.cell))
    into = sparse.csr_array((np.ones(len(rows)), (rows, design.cell)), (len(rows), count))
    hits, attempts = draws @ into, np.bincount(design.cell, design.weight, count).astype(float)
    found = fit_binomial_many(
        design.x,
        hits,
        attempts,
        part.index,
        z=part.z,
        structure=structure,
        link=fit.link,
        quadrature=fit.recipe.options["quadrature"],
    )
    gain = log_choose(hits, attempts).sum(axis=1) - log_choose(draws, design.weight).sum(axis=1)
    return replace(found, deviance=found.deviance + 2 * gain)


def _row_by_row(fit: MixedFit, draws: Array, structure: Structure) -> ManyFits:
    """Outcomes that do not add up, on rows instead of cells."""
    part, cell = fit.design.random[0], fit.design.cell
    x, group, z = fit.design.x[cell], part.index[cell], part.z[cell]
    likelihood = options_of(fit).likelihood(fit.design)
    if likelihood is None:
        return fit_linear_many(x, draws, group, z=z, structure=structure, reml=fit.reml)
    return fit_general_many(
        x,
        draws,
        fit.design.weight,
        group,
        likelihood=likelihood,
        z=z,
        structure=structure,
        quadrature=fit.recipe.options["quadrature"],
    )


def _stacked(solutions: list[Solution], p: int) -> ManyFits:
    if not solutions:
        none = np.zeros(0)
        return ManyFits(np.zeros((0, p)), np.zeros((0, p, p)), none, none, none, none > 0)
    return ManyFits(
        beta=np.array([s.beta for s in solutions]),
        vcov=np.array([s.vcov for s in solutions]),
        psi=np.array([block_diag(*s.psi) for s in solutions]),
        sigma=np.array([s.sigma for s in solutions]),
        deviance=np.array([s.deviance for s in solutions]),
        converged=np.array([s.expected_decrease < CONVERGED for s in solutions]),
        extra=np.array([s.extra for s in solutions]),
    )


def leave_one_out(fit: MixedFit, group: str | None = None) -> pd.DataFrame:
    """Fit the model again without each level of a grouping factor in turn.

    Parameters
    ----------
    fit : MixedFit
        A fitted model.
    group : str, optional
        Grouping factor; the first one if not given.

    Returns
    -------
    DataFrame
        ``level, term, estimate, std_error, df, statistic, p, conf_low, conf_high, reason``; where
        the model cannot be fitted without a level the numbers are missing and ``reason`` says why.
    """
    require_whole(fit)
    names = [part.group for part in fit.design.random]
    group = names[0] if group is None else group
    if group not in names:
        raise InputError("the model has no such grouping factor", [group], f"use one of {names}")
    part = fit.design.random[names.index(group)]
    options, start = options_of(fit), _start(fit)
    frames, together = [], _side_by_side_without(fit)
    reasons: list[str] = []
    for number in range(len(part.levels)):
        design, kept = without(fit.design, part, number)
        observed = fit.observed[kept]
        try:
            refuse(design, observed, fit.family)
            solution = together[number] or solve(design, observed, options, start)
            frame = estimates_frame(
                design.fixed.columns, solution.beta, infer(design, observed, solution, options)
            )
            why = ""
        except FitError as problem:
            frame = fit.estimates.copy()
            frame[frame.columns[1:]] = np.nan
            why = str(problem)
        frames.append(frame)
        reasons.append(why)
    found = pd.concat(frames, ignore_index=True)
    sizes = [len(frame) for frame in frames]
    found["reason"] = pd.Index(reasons).repeat(sizes)
    found.insert(0, "level", pd.Index(list(part.levels)).repeat(sizes))
    return found


def _side_by_side_without(fit: MixedFit) -> list[Solution | None]:
    """Solutions without each level, where they can be searched together; None where not."""
    design = fit.design
    part, plain = design.random[0], design.residual is None and bool((design.weight == 1).all())
    if fit.family != "gaussian" or len(design.random) > 1 or not plain or len(part.levels) < 3:
        return [None] * max(len(entry.levels) for entry in design.random)
    if (np.diff(part.index) < 0).any():
        return [None] * len(part.levels)
    cells = aggregate(fit.observed, design.weight, design.cell, len(design.x), "gaussian")
    start: list[Array] = _start(fit)  # type: ignore[assignment]
    with np.errstate(all="ignore"):
        found = solve_without_each(
            design.x, factors_of(design)[0], cells, reml=fit.reml, start=start
        )
    return [entry if _is_sound(entry, fit) else None for entry in found]


def _is_sound(found: Solution | None, fit: MixedFit) -> bool:
    """Whether a search ended at a minimum with residual spread left; others are searched alone."""
    if found is None:
        return False
    return found.expected_decrease < CONVERGED and found.sigma > 1e-3 * fit.residual_sd


def without(design: Design, part: RandomPart, number: int) -> tuple[Design, NDArray[np.bool_]]:
    """Take one level out of a design; also says which analysed rows are kept."""
    cells = part.index != number
    kept = cells[design.cell]
    renumbered = np.cumsum(cells) - 1
    return (
        Design(
            x=design.x[cells],
            fixed=design.fixed,
            random=tuple(_subset(entry, cells) for entry in design.random),
            offset=design.offset[cells],
            cell=renumbered[design.cell[kept]],
            weight=design.weight[kept],
            row=design.row[kept],
            residual=_subset_residual(design.residual, cells),
            categories=design.categories,
        ),
        kept,
    )


def _subset_residual(part: ResidualPart | None, cells: NDArray[np.intp]) -> ResidualPart | None:
    if part is None:
        return None
    present, index = np.unique(part.index[cells], return_inverse=True)
    run = None if part.run is None else part.run[cells]
    place = None if part.place is None else part.place[cells]
    levels = tuple(part.levels[i] for i in present)
    return replace(part, levels=levels, index=index, run=run, place=place)


def _subset(part: RandomPart, cells: NDArray[np.bool_]) -> RandomPart:
    present, index = np.unique(part.index[cells], return_inverse=True)
    levels = tuple(part.levels[i] for i in present)
    return replace(part, levels=levels, index=index, z=part.z[cells])
