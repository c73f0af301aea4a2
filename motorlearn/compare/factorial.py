"""Main effects, interaction, simple effects and marginal means of two factors at one phase."""

from collections.abc import Hashable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.compare.between import (
    NO_ESTIMATE,
    Adjusted,
    Comparing,
    standardised,
)
from motorlearn.compare.comparison import how
from motorlearn.compare.crossing import CellContrast, Crossing
from motorlearn.compare.omnibus import omnibus_row
from motorlearn.compare.participants import why_flat
from motorlearn.compare.schemas import EFFECT, MARGINAL, SLOPE
from motorlearn.exceptions import FitError
from motorlearn.linear.by_group import estimate_by_group, joint_test_by_group
from motorlearn.linear.coding import sums_of_squares
from motorlearn.linear.factorial import crossed_columns
from motorlearn.linear.hypotheses import Estimate, FTest, estimate_contrast, joint_test
from motorlearn.linear.least_squares import Floats, LeastSquares, fit_least_squares
from motorlearn.linear.multiplicity import holm
from motorlearn.measures.effect_sizes import NO_EFFECT, adjusted_g
from motorlearn.rows import Row

OWN_VARIANCES = "cell means of participants' scores, a variance for each cell"


@dataclass(frozen=True)
class Cells:
    """A linear model of the cells at one phase, or the reason why there is none.

    Parameters
    ----------
    phase : hashable
        The phase.
    adjusted : bool
        Whether baseline or covariates are in the model.
    fit : LeastSquares or None
        The model.
    turn : array (groups, coefficients)
        Mean of each cell as weights of the coefficients.
    codes : array of int (n,)
        Cell of each participant used.
    sizes : tuple of int
        Participants of each cell.
    sd : float
        Pooled standard deviation within cells, not adjusted.
    by_group : bool
        Whether every cell has a variance of its own.
    method, reason : str
        How it was made, or why it was not.
    """

    phase: Hashable
    adjusted: bool
    fit: LeastSquares | None
    turn: Floats
    codes: NDArray[np.intp]
    sizes: tuple[int, ...]
    sd: float
    by_group: bool
    method: str
    reason: str

    def estimate(self, weights: Floats, level: float) -> Estimate:
        """A combination of the cell means."""
        if self.fit is None:
            return NO_ESTIMATE
        row = weights @ self.turn
        if self.by_group:
            return estimate_by_group(self.fit, row, self.codes, level=level)
        return estimate_contrast(self.fit, row, level=level)

    def test(self, rows: Floats) -> FTest | None:
        """Test that several combinations of the cell means are zero."""
        if self.fit is None:
            return None
        weights = rows @ self.turn
        if self.by_group:
            return joint_test_by_group(self.fit, weights, self.codes)
        return joint_test(self.fit, weights)


def plain_cells(comparing: Comparing, phase: Hashable) -> Cells:
    """Means of the cells at one phase, each with a variance of its own."""
    data = comparing.data
    y = comparing.at(phase)
    there = ~np.isnan(y)
    codes, k = data.codes[there], len(data.groups)
    sizes = np.bincount(codes, minlength=k)
    few = [f"{data.groups[i]} has {sizes[i]}" for i in np.flatnonzero(sizes < 2)]
    reason = f"two participants in every cell are needed, {', '.join(few)}" if few else ""
    fit = None
    if not reason:
        fit = fit_least_squares(np.eye(k)[codes], y[there], names=list(map(str, data.groups)))
        if not fit.sse > 1e-24 * max(float(y[there] @ y[there]), 1e-300):
            fit, reason = None, why_flat(y[there], codes[there], data.groups)
    sd = comparing.spread(phase)[0]
    method = OWN_VARIANCES + comparing.suffix
    apart = comparing.clusters is None
    method = method if apart else "cell means of classes, one variance" + comparing.suffix
    return Cells(
        phase, False, fit, np.eye(k), codes, tuple(sizes.tolist()), sd, apart, method, reason
    )


def adjusted_cells(comparing: Comparing, adjusted: Adjusted) -> Cells:
    """Adjusted means of the cells at one phase: those of the analysis of covariance."""
    groups, model, reason = comparing.data.groups, adjusted.model, adjusted.reason
    empty = [str(name) for name in groups if not adjusted.sizes[name]]
    if empty:
        model, reason = None, f"nobody has all scores in {', '.join(empty)}"
    k = len(groups)
    turn = np.eye(k)
    if model is not None:
        means = np.tile(model.covariate_means, (k, 1))
        turn = np.hstack([np.ones((k, 1)), np.eye(k)[:, 1:], means])
    return Cells(
        adjusted.phase,
        True,
        None if model is None else model.fit,
        turn,
        np.empty(0, dtype=np.intp) if model is None else model.codes,
        tuple(adjusted.sizes[name] for name in groups),
        adjusted.sd,
        comparing.variance == "by group",
        comparing.ancova_method,
        reason,
    )


def effect_rows(comparing: Comparing, cells: Cells) -> list[Row]:
    """Main effects, interaction and simple effects of one phase, p by Holm within each family.

    A family are the pairs of levels of one main effect, those of the interaction, or the simple
    effects of one factor.
    """
    crossing = comparing.crossing
    if crossing is None:
        return []
    asked = crossing.contrasts()
    rows = [_effect_row(comparing, crossing, cells, one) for one in asked]
    families = [(one.kind, one.term) for one in asked]
    for family in dict.fromkeys(families):
        own = [i for i, one in enumerate(families) if one == family]
        for i, p in zip(own, holm(np.array([rows[i]["p"] for i in own]))):
            rows[i]["p_adjusted"] = float(p)
    return rows


def _effect_row(comparing: Comparing, crossing: Crossing, cells: Cells, one: CellContrast) -> Row:
    weights = np.array(one.weights)
    result = cells.estimate(weights, comparing.level)
    effect = NO_EFFECT
    if np.isfinite(result.std_error):
        df = min(result.df, float(sum(cells.sizes) - len(cells.sizes)))
        effect = adjusted_g(result.estimate, result.std_error, cells.sd, df, level=comparing.level)
    return EFFECT.row(
        phase=cells.phase,
        kind=one.kind,
        term=one.term,
        group=one.group,
        reference=one.reference,
        factor=one.factor,
        at=one.at,
        at_reference=one.at_reference,
        effect=comparing.effect,
        adjusted=cells.adjusted,
        n_group=_people(crossing, cells, one, one.group),
        n_reference=_people(crossing, cells, one, one.reference),
        **how(cells.method, cells.reason),
        **comparing.told(result),
        **standardised(effect),
    )


def _people(crossing: Crossing, cells: Cells, one: CellContrast, level: Hashable) -> int:
    """People at one level of the first factor, in the cells that the question looks at."""
    factor = next(name for name in crossing.names if name != one.factor)
    axis = crossing.names.index(factor)
    used = np.take(crossing.grid, crossing.levels[axis].index(level), axis=axis)
    weights = np.array(one.weights)
    return sum(cells.sizes[group] for group in used if weights[group] != 0)


def marginal_rows(comparing: Comparing, cells: Cells) -> Iterator[Row]:
    """Mean of every level of both factors, cells of the other factor with equal weight."""
    if comparing.crossing is None:
        return
    for factor, level, weights in comparing.crossing.level_means():
        mean = comparing.told(cells.estimate(weights, comparing.level))
        asked = {name: mean[name] for name in MARGINAL.names if name in mean}
        n = sum(size for size, weight in zip(cells.sizes, weights) if weight)
        yield MARGINAL.row(
            phase=cells.phase, factor=factor, level=level, adjusted=cells.adjusted, n=n, **asked
        )


def term_tests(comparing: Comparing, cells: Cells, squares: str) -> list[Row]:
    """F tests of both factors and their interaction at one phase."""
    crossing = comparing.crossing
    if crossing is None:
        return []
    if squares == "II":
        return _type_two(cells, crossing)
    method = how(f"{cells.method}, type III", cells.reason)["method"]
    return [
        omnibus_row(cells.phase, term, cells.test(crossing.hypothesis(term)), method)
        for term in crossing.terms
    ]


def _type_two(cells: Cells, crossing: Crossing) -> list[Row]:
    """Each factor after the other, the interaction left aside; one variance for all cells."""
    method = how(f"{cells.method.partition(', a variance')[0]}, type II", cells.reason)["method"]
    tests: dict[str, FTest] = {}
    if cells.fit is not None:
        terms = crossed_columns(crossing.codes(cells.codes))
        more = cells.fit.design[:, len(cells.sizes) :] if cells.adjusted else None
        columns = dict(terms)
        if more is not None and more.size:
            columns["covariates"] = more - more.mean(axis=0)
        try:
            tests, _ = sums_of_squares(columns, cells.fit.outcome, kind="II")
        except FitError as problem:
            method = how("", str(problem))["method"]
    return [omnibus_row(cells.phase, term, tests.get(term), method) for term in crossing.terms]


def slope_rows(comparing: Comparing, adjusted: Adjusted) -> Iterator[Row]:
    """Slope of the baseline and of each covariate, with R² of the whole model."""
    model = adjusted.model
    if model is None:
        return
    fit = model.fit
    away = float(np.sum((fit.outcome - fit.outcome.mean()) ** 2))
    r2 = 1 - fit.sse / away if away > 0 else float("nan")
    raw = 1 - (1 - r2) * (fit.n - 1) / fit.df
    for place, (term, level) in enumerate(zip(adjusted.terms, adjusted.levels, strict=True)):
        row = np.eye(fit.design.shape[1])[model.groups + place]
        found = (
            estimate_by_group(fit, row, model.codes, level=comparing.level)
            if model.variance == "by group"
            else estimate_contrast(fit, row, level=comparing.level)
        )
        yield SLOPE.row(
            phase=adjusted.phase,
            covariate=term,
            level=level,
            r2=r2,
            adjusted_r2=raw,
            n=fit.n,
            method=comparing.ancova_method,
            **vars(found),
        )


@dataclass(frozen=True)
class Factorial:
    """What two factors and covariates add to a comparison; frames without rows where none are."""

    effects: pd.DataFrame
    means: pd.DataFrame
    slopes: pd.DataFrame
    tests: list[Row]


def factorial_frames(comparing: Comparing, models: list[Adjusted], squares: str) -> Factorial:
    """Effects, marginal means, slopes and F tests of every phase."""
    effects: list[Row] = []
    means: list[Row] = []
    tests: list[Row] = []
    adjusted = {model.phase: model for model in models}
    slopes = [row for model in models for row in slope_rows(comparing, model)]
    for phase in comparing.data.phases if comparing.crossing is not None else ():
        cells = [plain_cells(comparing, phase)]
        if phase in adjusted:
            cells.append(adjusted_cells(comparing, adjusted[phase]))
        for one in cells:
            effects += effect_rows(comparing, one)
            means += marginal_rows(comparing, one)
            tests += term_tests(comparing, one, squares)
    return Factorial(EFFECT.frame(effects), MARGINAL.frame(means), SLOPE.frame(slopes), tests)
