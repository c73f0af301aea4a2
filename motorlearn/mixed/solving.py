"""From a design and an outcome to what a search found and what tests need of it."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

from motorlearn.exceptions import FitError, InputError
from motorlearn.mixed.formula.designs import SERIAL, Design, ResidualPart
from motorlearn.mixed.inference.degrees_of_freedom import Inference
from motorlearn.mixed.inference.kenward_roger import kenward_roger, kenward_roger_of
from motorlearn.mixed.inference.pseudo import pseudo_inference
from motorlearn.mixed.responses import COUNTS, LINEAR
from motorlearn.mixed.solve.covariance import Structure
from motorlearn.mixed.solve.engine import Cells, Solution, aggregate, saturation, working
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.kinds import likelihood_of
from motorlearn.mixed.solve.likelihoods import Likelihood
from motorlearn.mixed.solve.residual import ResidualShape
from motorlearn.mixed.solve.search_dense import Residuals, solve_dense
from motorlearn.mixed.solve.search_general import solve_general
from motorlearn.mixed.solve.search_linear import solve_linear
from motorlearn.mixed.solve.serial import SerialShape

Array = NDArray[np.float64]

_NO_RESIDUAL = 1e-6
_NO_MAXIMUM = {
    "beta-binomial": "these hits scatter no more than chance lets them, so that their dispersion "
    "has no estimate; use family='binomial'.",
    "negative-binomial": "these counts scatter no more than chance lets them, so that their "
    "dispersion has no estimate; use family='poisson'.",
    "": "the likelihood of this model has no maximum that can be found; use fewer terms.",
}


@dataclass(frozen=True)
class Options:
    """Options of a fit, checked."""

    family: str
    link: str
    reml: bool
    quadrature: int
    df: str

    @property
    def linear(self) -> bool:
        """Whether the model is linear in the outcome or its logarithm."""
        return self.family in LINEAR

    def likelihood(self, design: Design) -> Likelihood | None:
        """Kind of outcome for the engine; none for a linear model."""
        if self.linear:
            return None
        return likelihood_of(self.family, self.link, len(design.categories))


@dataclass(frozen=True)
class Material:
    """Cells as the engine takes them: one for each outcome where outcomes can't be added up."""

    x: Array
    factors: list[Factor]
    offset: Array
    cells: Cells
    behind: Array


def material(design: Design, observed: Array, options: Options) -> Material:
    """Cells of a design with an outcome; ``behind`` is what each of them rests on.

    Hits of a cell add up. Other outcomes are put together where cell and outcome are the same, but
    for hits that scatter, whose attempts may differ.
    """
    kind = options.family
    if options.linear or kind == "binomial":
        added = "gaussian" if options.linear else kind
        cells = aggregate(observed, design.weight, design.cell, len(design.x), added)
        return Material(design.x, factors_of(design), design.offset, cells, cells.weight)
    if kind == "beta-binomial":
        at = np.argsort(design.cell, kind="stable")
        owner, y, weight = design.cell[at], observed[at], design.weight[at]
    else:
        values, code = np.unique(observed, return_inverse=True)
        keys, which = np.unique(design.cell * len(values) + code, return_inverse=True)
        owner, y = keys // len(values), values[keys % len(values)]
        weight = np.bincount(which, design.weight, len(y)).astype(float)
    factors = [
        Factor(f.index[owner], f.z[owner], f.structure, f.n_levels) for f in factors_of(design)
    ]
    behind = weight * y if kind in COUNTS else weight
    cells = Cells(y, weight, len(observed))
    return Material(design.x[owner], factors, design.offset[owner], cells, behind)


def factors_of(design: Design) -> list[Factor]:
    """Grouping factors as the engine takes them."""
    return [
        Factor(part.index, part.z, Structure(part.blocks), len(part.levels))
        for part in design.random
    ]


def solve(design: Design, observed: Array, options: Options, start: Any = None) -> Solution:
    """Run the engine on a design and an outcome."""
    ready = material(design, observed, options)
    likelihood = options.likelihood(design)
    with np.errstate(all="ignore"):
        if likelihood is None:
            found = _linear(design, ready.factors, ready.cells, options, start)
            if options.family == "lognormal":
                logs = observed + design.offset[design.cell]
                found = replace(found, deviance=found.deviance + 2 * float(logs.sum()))
            return found
        try:
            solution = solve_general(
                ready.x,
                ready.factors,
                ready.cells,
                ready.offset,
                likelihood=likelihood,
                quadrature=options.quadrature,
                start=start,
            )
        except np.linalg.LinAlgError:
            raise FitError(_NO_MAXIMUM.get(options.family, _NO_MAXIMUM[""])) from None
    if options.family != "binomial":
        return solution
    added = saturation(observed, design.weight, ready.cells)
    return replace(solution, deviance=solution.deviance + added)


def _linear(
    design: Design, factors: list[Factor], cells: Cells, options: Options, start: Any
) -> Solution:
    total = _spread_about_fixed_part(design, cells)
    found = None
    if total > 1e-13 * np.abs(cells.y).max():
        try:
            found = _search(design, factors, cells, options, start)
        except np.linalg.LinAlgError:
            found = None
    if found is None or not found.sigma > _NO_RESIDUAL * total:
        raise FitError(
            "the fixed and random parts reproduce the outcome of every row, so that no residual "
            "spread is left to judge differences by; check that rows are not copies of each other "
            "or made from a formula, or take random terms out."
        )
    return found


def _search(
    design: Design, factors: list[Factor], cells: Cells, options: Options, start: Any
) -> Solution:
    part = design.residual
    if part is None:
        return solve_linear(design.x, factors, cells, reml=options.reml, start=start)
    residuals = Residuals(part.index, shape_of(part), part.run, part.place)
    return solve_dense(design.x, factors, cells, residuals, reml=options.reml)


def shape_of(part: ResidualPart) -> ResidualShape:
    """Which covariances of the residuals are free."""
    if part.correlation == SERIAL:
        return SerialShape(size=len(part.levels))
    kind = "levels" if part.correlation == "none" else "free"
    if part.correlation != "none" and part.variance == "equal":
        kind = "equal"
    return ResidualShape(kind, len(part.levels))


def _spread_about_fixed_part(design: Design, cells: Cells) -> float:
    root = np.sqrt(cells.weight)
    centred = cells.y - cells.y.mean()
    rest = centred - design.x @ np.linalg.lstsq(design.x * root[:, None], centred * root)[0]
    square = float(cells.weight @ rest**2 + cells.within)
    return float(np.sqrt(square / cells.weight.sum()))


def infer(design: Design, observed: Array, solution: Solution, options: Options) -> Inference:
    """Collect what tests of the fixed effects need."""
    if not options.linear:
        return _infer_general(design, observed, solution, options)
    found = _infer_linear(design, observed, solution, options)
    if options.family == "lognormal" and design.residual is None:
        return replace(found, joint_vcov=_joint_with_variances(design, solution, found.vcov))
    return found


def _joint_with_variances(design: Design, solution: Solution, vcov: Array) -> Array:
    """Covariance of β, the free entries of Ψ and σ² of a linear model."""
    work = working(design.x, factors_of(design))
    entries = work.psi_entries(solution.theta)
    square = solution.sigma**2
    turn = np.zeros((len(entries) + 1, len(solution.theta) + 1))
    turn[:-1, :-1] = square * work.psi_slopes(solution.theta)
    turn[:-1, -1] = 2 * solution.sigma * entries
    turn[-1, -1] = 2 * solution.sigma
    return np.asarray(block_diag(vcov, turn @ solution.variance_vcov @ turn.T), dtype=float)


def _infer_linear(
    design: Design, observed: Array, solution: Solution, options: Options
) -> Inference:
    part = design.residual
    if options.df == "kenward-roger" and part is not None and part.correlation == SERIAL:
        raise InputError(
            "Kenward-Roger is for covariances that are linear in their parameters",
            [part.correlation],
            "leave df out: Satterthwaite's degrees of freedom",
        )
    if options.df == "kenward-roger" and solution.products:
        work = working(design.x, [])
        return kenward_roger_of(solution.products, work.back)
    if options.df == "kenward-roger":
        cells = aggregate(observed, design.weight, design.cell, len(design.x), "gaussian")
        return kenward_roger(
            design.x, factors_of(design), cells.weight, cells.n, solution.scaled_psi, solution.sigma
        )
    return _as_estimated(options.df, solution)


def _infer_general(
    design: Design, observed: Array, solution: Solution, options: Options
) -> Inference:
    """Kenward-Roger of pseudo-data where it was asked for and can be had, otherwise normal."""
    found, likelihood = None, options.likelihood(design)
    if options.df == "kenward-roger" and likelihood is not None:
        ready = material(design, observed, options)
        found = pseudo_inference(
            ready.x,
            ready.factors,
            ready.offset,
            ready.cells,
            ready.behind,
            solution,
            likelihood=likelihood,
            free_scale=options.family == "gamma",
        )
    return _as_estimated("normal", solution) if found is None else found


def _as_estimated(method: str, solution: Solution) -> Inference:
    return Inference(
        method,
        solution.vcov,
        solution.vcov_slopes,
        solution.variance_vcov,
        solution.vcov,
        np.zeros((0, *solution.vcov.shape)),
        solution.joint_vcov,
    )


def other_inference(design: Design, observed: Array, options: Options) -> Inference:
    """What tests need by another method for degrees of freedom, from the same model.

    Raises
    ------
    InputError
        If the method is not known or the model has no such tests.
    """
    if options.df not in ("satterthwaite", "kenward-roger", "normal"):
        raise InputError("the method for df is not known", [options.df])
    adjusted = options.df == "kenward-roger" and options.linear and not options.reml
    if adjusted or (options.df == "satterthwaite" and not options.linear):
        raise InputError(
            "this method for df needs a linear model fitted by restricted maximum likelihood",
            [options.df, options.family],
            "leave df out",
        )
    return infer(design, observed, solve(design, observed, options), options)
