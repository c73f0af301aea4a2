"""A mixed model fitted again in another way: other scale, more quadrature, further effects."""

import ast
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.audit.report import Conclusion
from motorlearn.linear import t_estimate
from motorlearn.mixed import MixedFit
from motorlearn.mixed.fit import fit_prepared
from motorlearn.mixed.formula.designs import Prepared, RandomPart
from motorlearn.mixed.formula.formulas import read_formula
from motorlearn.mixed.refitting import options_of


def refit(
    fit: MixedFit,
    *,
    observed: NDArray[np.float64] | None = None,
    random: Iterable[RandomPart] | None = None,
    **changes: Any,
) -> MixedFit:
    """Fit the same model again with another outcome, other random parts or other options."""
    design = fit.design if random is None else replace(fit.design, random=tuple(random))
    options = replace(options_of(fit), **changes)
    prepared = Prepared(
        design,
        fit.observed if observed is None else observed,
        read_formula(fit.formula),
        fit.recipe.left_out,
    )
    recipe = replace(fit.recipe, options={**fit.recipe.options, **changes})
    return fit_prepared(prepared, options, recipe)


@dataclass(frozen=True)
class Rescaled:
    """A model fitted on another scale, and the name of that scale."""

    scale: str
    fit: MixedFit


def on_logarithms(fit: MixedFit) -> Rescaled | None:
    """The linear model on logarithms (or back on raw scores), where that exists."""
    outcome = ast.parse(read_formula(fit.formula).response, mode="eval").body
    if isinstance(outcome, ast.Call) and ast.unparse(outcome.func) == "log":
        return Rescaled("raw scores", refit(fit, observed=np.exp(fit.observed)))
    if fit.observed.min() <= 0 or fit.family == "lognormal":
        return None
    return Rescaled("logarithms", refit(fit, observed=np.log(fit.observed)))


def with_row_effects(fit: MixedFit) -> MixedFit:
    """The binomial model with a random effect for every cell, which takes up overdispersion."""
    cells = np.arange(len(fit.design.x))
    extra = RandomPart(
        group="row",
        columns=("row",),
        levels=tuple(int(cell) for cell in cells),
        terms=("Intercept",),
        blocks=((0,),),
        plans=(),
        index=cells,
        z=np.ones((len(cells), 1)),
    )
    return refit(fit, random=(*fit.design.random, extra), quadrature=1)


def with_slopes(fit: MixedFit) -> tuple[str, MixedFit] | None:
    """The model with a random slope of the first category that changes within participants."""
    part = fit.design.random[0]
    if len(fit.design.random) > 1 or len(part.terms) != 1:
        return None
    for name in fit.design.fixed.levels:
        columns = _dummies(fit, name)
        if not columns or not _varies_within(fit, columns):
            continue
        z = np.column_stack([part.z, fit.design.x[:, columns]])
        effects = len(part.levels) * z.shape[1]
        room = fit.design.weight.sum() if fit.family == "binomial" else len(fit.observed)
        if effects >= room or z.shape[1] > 5:
            continue
        terms = (*part.terms, *(fit.design.fixed.columns[place] for place in columns))
        larger = replace(part, terms=terms, blocks=(tuple(range(z.shape[1])),), plans=(), z=z)
        return name, refit(fit, random=(larger,), quadrature=1)
    return None


def _dummies(fit: MixedFit, name: str) -> list[int]:
    start = f"{name}[T."
    return [
        place
        for place, column in enumerate(fit.design.fixed.columns)
        if column.startswith(start) and ":" not in column
    ]


def _varies_within(fit: MixedFit, columns: list[int]) -> bool:
    index = fit.design.random[0].index
    count = np.bincount(index)
    share = np.bincount(index, fit.design.x[:, columns[0]]) / np.maximum(count, 1)
    return bool(np.any((share > 0) & (share < 1)))


def conclusions(fit: MixedFit, focus: list[int], scale: str = "") -> tuple[Conclusion, ...]:
    """Coefficients of interest as conclusions."""
    rows = fit.estimates.iloc[focus]
    suffix = f" ({scale})" if scale else ""
    return tuple(
        Conclusion(
            f"{row.term}{suffix}",
            float(row.estimate),
            float(row.conf_low),
            float(row.conf_high),
            float(row.p),
        )
        for row in rows.itertuples()
    )


def robust_conclusions(
    fit: MixedFit, focus: list[int], without_each: pd.DataFrame
) -> tuple[Conclusion, ...]:
    """Coefficients with jackknife standard errors over participants.

    ``SE² = (N - 1) / N Σ (b_i - b̄)²`` over the estimates without each of N participants allows any
    correlation and any variance inside a participant. Each group has its own part of that sum, on
    one participant fewer, and t has the degrees of freedom of their sum (Satterthwaite).

    References
    ----------
    Efron, B., & Tibshirani, R. J. (1993). An introduction to the bootstrap, chapter 11.
    """
    found = []
    people = without_each["participant"].nunique()
    terms, drawn = without_each["contrast"].to_numpy(object), without_each["estimate"].to_numpy()
    groups = pd.factorize(without_each["group"])[0]
    for place in focus:
        term = fit.fixed_names[place]
        own = (terms == term) & ~np.isnan(drawn) & (groups >= 0)
        away = (drawn[own] - drawn[own].mean()) ** 2 * (people - 1) / people
        parts, sizes = np.bincount(groups[own], away), np.bincount(groups[own])
        variance = float(parts.sum())
        spare = (parts**2 / np.maximum(sizes - 1, 1)).sum()
        df = variance**2 / float(spare) if spare > 0 else np.nan
        error, estimate = float(np.sqrt(variance)), float(fit.beta[place])
        t = t_estimate(estimate, error, df)
        found.append(Conclusion(term, estimate, t.conf_low, t.conf_high, t.p))
    return tuple(found)
