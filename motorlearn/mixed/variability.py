"""``fit_variability``: level and spread of a person's scores in one model."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.linalg import null_space

from motorlearn.exceptions import FitError, InputError
from motorlearn.linear.hypotheses import require_level
from motorlearn.mixed.checks import aliased_columns, refuse, refuse_empty_cells
from motorlearn.mixed.formula.designs import Prepared, RandomPart, prepare
from motorlearn.mixed.formula.formulas import read_formula, unalias
from motorlearn.mixed.formula.matrices import (
    MatrixPlan,
    make_matrix,
    names_in_words,
    require_columns,
)
from motorlearn.mixed.formula.outcomes import Roles
from motorlearn.mixed.solve.search_location_scale import (
    SpreadParts,
    SpreadSolution,
    solve_location_scale,
)
from motorlearn.mixed.variability_result import VariabilityFit
from motorlearn.mixed.variability_views import put_together, with_parameters
from motorlearn.results import Recipe

Array = NDArray[np.float64]

NOTHING = "0"
MOST_SPREADS = 3
NODES = {0: 1, 1: 15, 2: 9, 3: 7}
FEWEST_ROWS = 3.0
"""Rows a person below which spread and level cannot be told apart."""


@dataclass(frozen=True)
class _Wanted:
    """What is asked for, read."""

    prepared: Prepared
    spread: tuple[Array, MatrixPlan]
    random: tuple[Array, MatrixPlan | None]
    person: NDArray[np.intp]


def fit_variability(
    formula: str,
    table: pd.DataFrame,
    *,
    spread: str,
    random: Mapping[str, str] | None = None,
    spread_random: str = "1",
    correlated: bool = True,
    level: float = 0.95,
) -> VariabilityFit:
    """Model how scores scatter within a person, beside their level.

    y_ij = x_ij'β + z_ij'b_i + e_ij with e_ij ~ N(0, σ_ij²) and log σ_ij = w_ij'γ + s_ij'c_i; the
    random effects (b_i, c_i) of a person are normal with a free covariance, or b and c are
    independent. γ answers whether a condition changes how variable a performer is; exp of a
    difference is a ratio of standard deviations. Maximum likelihood: b is integrated out exactly, c
    by adaptive Gauss-Hermite quadrature. Standard errors are enlarged by √(G / (G − k)) and tests
    have G − k degrees of freedom, with G people and k columns that do not vary within a person.

    Parameters
    ----------
    formula : str
        Outcome and fixed part of its level, as in :func:`fit_mixed`.
    table : DataFrame
        One row for each observation, several for each person (and condition).
    spread : str
        Fixed part of log σ, for example ``"group * phase"``.
    random : mapping of str to str
        The person's column and the random part of the level; ``{"participant": "1"}`` if not given.
    spread_random : str
        Random part of log σ: ``"1"``, or ``"1 + phase"`` where what is asked varies within people,
        or ``"0"`` if people do not differ in their spread.
    correlated : bool
        Whether level and spread of a person may go together.
    level : float
        Confidence level of the intervals.

    Returns
    -------
    VariabilityFit
        Estimates of level and log σ, variances, what each person shows, and what can be asked.

    Raises
    ------
    InputError
        If columns or options do not fit the model.
    FitError
        If these data do not identify it.

    References
    ----------
    Hedeker D, Mermelstein RJ, Demirtas H (2008). Biometrics 64:627-634.
    https://doi.org/10.1111/j.1541-0420.2007.00924.x

    Examples
    --------
    >>> import numpy as np
    >>> import pandas as pd
    >>> rng = np.random.default_rng(1)
    >>> person = np.repeat(np.arange(20), 20)
    >>> wide = np.where(person < 10, 2.0, 4.0) * np.exp(rng.normal(0, 0.2, 20))[person]
    >>> table = pd.DataFrame({
    ...     "participant": person,
    ...     "group": np.where(person < 10, "blocked", "random"),
    ...     "radial_error": 25 + rng.normal(0, 3, 20)[person] + wide * rng.normal(size=400),
    ... })
    >>> fit = fit_variability("radial_error ~ group", table, spread="group")
    >>> fit.spreads("group")[["group", "estimate"]].round(1)
         group  estimate
    0  blocked       1.9
    1   random       3.6
    >>> fit.ratios("group")[["contrast", "estimate", "df"]].round(2)
               contrast  estimate    df
    0  random - blocked      1.84  18.0
    """
    require_level(level)
    random = {"participant": "1"} if random is None else dict(random)
    wanted = _read(formula, table, spread, random, spread_random)
    part, design = wanted.prepared.design.random[0], wanted.prepared.design
    order = np.argsort(wanted.person, kind="stable")
    s = wanted.random[0]
    parts = SpreadParts(
        design.x[design.cell][order],
        wanted.spread[0][order],
        part.z[design.cell][order],
        s[order],
        wanted.person[order],
    )
    y = wanted.prepared.observed[order]
    solution = _solve(y, parts, correlated, NODES[s.shape[1]])
    recipe = Recipe(
        call="fit_variability",
        columns={"outcome": unalias(wanted.prepared.formula.response)},
        options={
            "formula": formula,
            "spread": spread,
            "random": random,
            "spread_random": spread_random,
            "correlated": correlated,
            "level": level,
        },
        n=len(wanted.prepared.observed),
        left_out=wanted.prepared.left_out,
        engine=_engine(s.shape[1]),
    )
    plans = (wanted.spread[1], wanted.random[1])
    return put_together(design, plans, parts, order, y, solution, recipe)


def with_other_scores(fit: VariabilityFit, observed: Array) -> VariabilityFit:
    """Fit the same model to other scores of the same rows.

    Raises
    ------
    FitError
        If these scores do not identify it.
    """
    level, spread = fit.of_level.design, fit.of_spread.design
    own = spread.random[0]
    parts, order = _parts_of(fit)
    y = observed[order]
    solution = _solve_again(fit, y, parts)
    plans = (spread.fixed, own.plans[0] if own.plans else None)
    return put_together(level, plans, parts, order, y, solution, fit.recipe)


def statistics_of_spread(fit: VariabilityFit, draws: Array, lines: Array) -> Array:
    """Wald statistics of Lγ = 0 of the same model fitted to each row of ``draws`` (R, n).

    Scores that do not identify the model have none and are left out.
    """
    parts, order = _parts_of(fit)
    found = []
    for observed in draws:
        try:
            solution = _solve_again(fit, observed[order], parts)
        except FitError:
            continue
        p = len(solution.beta)
        estimate, covariance = lines @ solution.gamma, lines @ solution.vcov[p:, p:] @ lines.T
        if np.isfinite(covariance).all() and np.linalg.eigvalsh(covariance)[0] > 0:
            found.append(float(estimate @ np.linalg.solve(covariance, estimate)))
    return np.array(found)


def under_equal_spread(fit: VariabilityFit, lines: Array) -> VariabilityFit:
    """The model fitted to its own scores with Lγ = 0, to draw scores from.

    Raises
    ------
    InputError
        If the hypothesis leaves no effect, or takes the level of the spread away.
    """
    free = null_space(lines)
    parts, order = _parts_of(fit)
    w = np.round(parts.w @ free, 12)
    ones = np.ones(len(w))
    if not free.shape[1] or np.abs(w @ np.linalg.lstsq(w, ones)[0] - ones).max() > 1e-8:
        raise InputError("the hypothesis leaves the spread without a level", [len(lines)])
    solution = _solve_again(fit, fit.of_level.observed[order], replace(parts, w=w))
    return with_parameters(fit, solution.beta, free @ solution.gamma, solution.psi)


def _parts_of(fit: VariabilityFit) -> tuple[SpreadParts, NDArray[np.intp]]:
    """Matrices of a fit sorted by person, and the order that sorts them."""
    level, spread = fit.of_level.design, fit.of_spread.design
    part, own = level.random[0], spread.random[0]
    order = np.argsort(part.index, kind="stable")
    x, w, z, s = (matrix[order] for matrix in (level.x, spread.x, part.z, own.z))
    return SpreadParts(x, w, z, s, part.index[order]), order


def _solve_again(fit: VariabilityFit, y: Array, parts: SpreadParts) -> SpreadSolution:
    return _solve(y, parts, bool(fit.recipe.options["correlated"]), NODES[parts.s.shape[1]])


def _engine(terms: int) -> str:
    way = "no random part of the spread"
    if terms:
        way = f"adaptive Gauss-Hermite quadrature over the spread, {NODES[terms]} nodes a term"
    return f"maximum likelihood, {way}, t tests with the people's degrees of freedom"


def _read(
    formula: str, table: pd.DataFrame, spread: str, random: dict[str, str], spread_random: str
) -> _Wanted:
    if len(random) != 1 or "/" in next(iter(random)):
        raise InputError(
            "the spread within a person is modelled with one grouping factor",
            list(random),
            "name the participant alone, random={'participant': '1'}",
        )
    own = read_formula(spread.strip().removeprefix("~"), response=False)
    terms = None
    if spread_random.strip() != NOTHING:
        terms = read_formula(spread_random, response=False)
    needed = (*own.names, *(terms.names if terms else ()))
    require_columns(table, tuple(dict.fromkeys(needed)))
    gaps = [name for name in dict.fromkeys(needed) if table[name].isna().any()]
    if gaps:
        raise InputError(
            "a column that the spread follows has rows without a value", gaps, "drop these rows"
        )
    prepared = prepare(formula, table, random, Roles(), "gaussian")
    refuse(prepared.design, prepared.observed, "gaussian")
    if len(kinds := np.unique(prepared.observed)) == 2:
        raise InputError(
            "an outcome of two values has no spread of its own: their rate settles it",
            [f"{kind:g}" for kind in kinds],
            "fit the rate with fit_mixed(…, family='binomial'), or give the errors behind it",
        )
    rows = table.iloc[prepared.design.row].reset_index(drop=True)
    w, plan = make_matrix(own, rows)
    s: tuple[Array, MatrixPlan | None] = (np.zeros((len(rows), 0)), None)
    if terms is not None:
        s = make_matrix(terms, rows)
    part = prepared.design.random[0]
    person = part.index[prepared.design.cell]
    _refuse_unidentified(w, s[0], plan, part, person)
    return _Wanted(prepared, (w, plan), s, person)


def _refuse_unidentified(
    w: Array, s: Array, plan: MatrixPlan, part: RandomPart, person: NDArray[np.intp]
) -> None:
    if s.shape[1] > MOST_SPREADS:
        raise InputError(
            "the random part of the spread has more terms than can be integrated over",
            [s.shape[1]],
            f"use at most {MOST_SPREADS}, or keep the rows of the tests that the question is about",
        )
    if np.linalg.matrix_rank(w) < w.shape[1]:
        refuse_empty_cells(plan, w, [plan.columns[place] for place in aliased_columns(w)])
        told = ", ".join(names_in_words(plan.columns, [plan]))
        raise FitError(
            f"the fixed part of the spread ({told}) cannot be told apart in "
            "these rows; take terms out, or combine levels that never occur together."
        )
    ones = np.ones(len(w))
    if np.abs(w @ np.linalg.lstsq(w, ones)[0] - ones).max() > 1e-8:
        raise InputError("the fixed part of the spread has no intercept", plan.columns, "add one")
    needed = part.z.shape[1] + s.shape[1]
    rows = len(person) / len(part.levels)
    if rows < max(FEWEST_ROWS, needed + 1):
        raise FitError(
            f"there are {rows:.3g} rows for each level of {part.group!r}, too few to tell spread "
            f"from level with {needed} random terms; give more rows or fewer terms."
        )
    if len(part.levels) <= w.shape[1]:
        raise FitError(
            f"{len(part.levels)} levels of {part.group!r} cannot carry {w.shape[1]} effects on the "
            "spread; more people are needed."
        )


def _solve(y: Array, parts: SpreadParts, correlated: bool, nodes: int) -> SpreadSolution:
    rest = y - parts.x @ np.linalg.lstsq(parts.x, y)[0]
    means = np.bincount(parts.person, rest) / np.bincount(parts.person)
    if not np.std(rest - means[parts.person]) > 1e-10 * max(1.0, float(np.abs(y).max())):
        raise FitError(
            "the scores of each person do not differ from one another, so that there is no spread "
            "to model; check that rows are not copies of each other."
        )
    try:
        with np.errstate(all="ignore"):
            return solve_location_scale(y, parts, tied=correlated, quadrature=nodes)
    except np.linalg.LinAlgError:
        raise FitError(
            "the likelihood of level and spread has no maximum that can be found; use fewer terms, "
            "or spread_random='0'."
        ) from None
