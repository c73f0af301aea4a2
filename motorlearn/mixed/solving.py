"""From a design and an outcome to what a search found and what tests need of it."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motorlearn.exceptions import FitError
from motorlearn.mixed.formula.designs import Design, ResidualPart
from motorlearn.mixed.inference.degrees_of_freedom import Inference
from motorlearn.mixed.inference.kenward_roger import kenward_roger, kenward_roger_of
from motorlearn.mixed.inference.pseudo import pseudo_inference
from motorlearn.mixed.solve.covariance import Structure
from motorlearn.mixed.solve.engine import Cells, Solution, aggregate, saturation, working
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.residual import ResidualShape
from motorlearn.mixed.solve.search_binomial import solve_binomial
from motorlearn.mixed.solve.search_dense import Residuals, solve_dense
from motorlearn.mixed.solve.search_linear import solve_linear

Array = NDArray[np.float64]

_NO_RESIDUAL = 1e-6


@dataclass(frozen=True)
class Options:
    """Options of a fit, checked."""

    family: str
    link: str
    reml: bool
    quadrature: int
    df: str


def factors_of(design: Design) -> list[Factor]:
    """Grouping factors as the engine takes them."""
    return [
        Factor(part.index, part.z, Structure(part.blocks), len(part.levels))
        for part in design.random
    ]


def solve(design: Design, observed: Array, options: Options, start: Any = None) -> Solution:
    """Run the engine on a design and an outcome."""
    cells = aggregate(observed, design.weight, design.cell, len(design.x), options.family)
    factors = factors_of(design)
    with np.errstate(all="ignore"):
        if options.family == "gaussian":
            return _linear(design, factors, cells, options, start)
        solution = solve_binomial(
            design.x,
            factors,
            cells,
            design.offset,
            link=options.link,
            quadrature=options.quadrature,
            start=start,
        )
    return replace(
        solution, deviance=solution.deviance + saturation(observed, design.weight, cells)
    )


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
    residuals = Residuals(part.index, shape_of(part))
    return solve_dense(design.x, factors, cells, residuals, reml=options.reml)


def shape_of(part: ResidualPart) -> ResidualShape:
    """Which covariances of the residuals are free."""
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
    if options.family == "binomial":
        return _infer_hits(design, observed, solution, options)
    if options.df == "kenward-roger" and solution.products:
        work = working(design.x, [])
        return kenward_roger_of(solution.products, work.back)
    if options.df == "kenward-roger":
        cells = aggregate(observed, design.weight, design.cell, len(design.x), "gaussian")
        return kenward_roger(
            design.x, factors_of(design), cells.weight, cells.n, solution.scaled_psi, solution.sigma
        )
    return _as_estimated(options.df, solution)


def _infer_hits(design: Design, observed: Array, solution: Solution, options: Options) -> Inference:
    """Kenward-Roger of pseudo-data where it was asked for and can be had, otherwise normal."""
    found = None
    if options.df == "kenward-roger":
        found = pseudo_inference(design, factors_of(design), observed, solution, options.link)
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
