"""Joint tests of every term: averaged over all others (type III), or without interactions (II).

Type III: with β of the model as fitted and γ of the same model with sums-to-zero categories and
numeric columns taken at their means, γ = Mβ on a balanced grid; a term is zero where its rows of M
times β are. Every combination of levels has one weight, however many rows it has.

Type II: β_T − V_TR V_RR⁻¹ β_R, which is what the columns T of the term would be if those of R, the
terms that contain it, were zero. Terms that stand side by side are allowed for.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.exceptions import InputError
from motorlearn.mixed.formula.formulas import split_term
from motorlearn.mixed.formula.matrices import MatrixPlan
from motorlearn.mixed.inference.degrees_of_freedom import Inference, f_test
from motorlearn.results import Recipe, Result
from motorlearn.rows import Schema
from motorlearn.tables import Column, Table, estimates_table

Array = NDArray[np.float64]

_POINTS = (-0.2, -0.1, -0.05, 0.0, 0.05, 0.1, 0.2)
AVERAGED = (
    "Type III: each term is tested averaged over all levels of the other factors with equal "
    "weights, numeric columns at their mean."
)


ALLOWED_FOR = (
    "Type II: each term is tested with every term allowed for but those that contain it, as if "
    "these were zero."
)
NOTES = {2: ALLOWED_FOR, 3: AVERAGED}


@dataclass(frozen=True)
class AnovaTable(Result):
    """Joint tests of the terms of a mixed model.

    Parameters
    ----------
    frame : DataFrame
        ``term, df1, df2, statistic, p``; an infinite ``df2`` means chi-squared over ``df1``.
    """

    frame: pd.DataFrame
    recipe: Recipe = field(repr=False)

    def __getitem__(self, key: Any) -> Any:
        return self.frame[key]

    def tables(self) -> Sequence[Table]:
        """The table of tests."""
        title, note = "Joint tests of the terms", NOTES[self.recipe.options.get("type", 3)]
        return (estimates_table("anova", title, self.frame, notes=(note,)),)


JOINT = Schema(
    (
        Column("term"),
        Column("df1", kind="count"),
        *(Column(name, kind="number") for name in ("df2", "statistic", "p")),
    )
)


def joint_tests(plan: MatrixPlan, beta: Array, inference: Inference, kind: int = 3) -> pd.DataFrame:
    """Test every term but the intercept: ``term, df1, df2, statistic, p``; ``kind`` is 2 or 3.

    Raises
    ------
    InputError
        If the model has no intercept, or an interaction without the terms it is made of.
    """
    rows = []
    contrasts = type_three(plan) if kind == 3 else type_two(plan, inference.vcov)
    for term, contrast in contrasts.items():
        found = f_test(contrast, beta, inference)
        numbers = {name: getattr(found, name) for name in JOINT.names if name != "term"}
        rows.append(JOINT.row(term=term, **numbers))
    return JOINT.frame(rows)


def type_three(plan: MatrixPlan) -> dict[str, Array]:
    """Rows (m, p) that are zero times β under the type III hypothesis of each term."""
    if any(key.startswith("bs(") for key in plan.state):
        raise InputError(
            "type III is not made for models with splines",
            [key for key in plan.state if key.startswith("bs(")],
            "use type=2, or test() for a single term",
        )
    grid = _grid(plan)
    x = plan.apply(grid)
    middle = plan.apply(grid.assign(**plan.means).head(1))[0]
    values = _factor_columns(plan, grid, x, middle)
    owners: list[str] = []
    pieces = []
    for term in dict.fromkeys(plan.assigned):
        columns = np.ones((len(x), 1))
        for factor in sorted(split_term(term) - {"1"}):
            if factor not in values:
                raise _incomplete(term)
            columns = (columns[:, :, None] * values[factor][:, None]).reshape(len(x), -1)
        pieces.append(columns)
        owners += [term] * columns.shape[1]
    coded = np.concatenate(pieces, axis=1)
    scale = np.linalg.norm(coded, axis=0)
    turn, *_ = np.linalg.lstsq(coded / scale, x)
    if coded.shape[1] != x.shape[1] or np.abs(coded / scale @ turn - x).max() > 1e-6:
        raise _incomplete(plan.terms)
    chosen = {t: [i for i, owner in enumerate(owners) if owner == t] for t in owners if t != "1"}
    return {term: turn[rows] / scale[rows, None] for term, rows in chosen.items()}


def type_two(plan: MatrixPlan, vcov: Array) -> dict[str, Array]:
    """Rows (m, p) that are zero times β under the type II hypothesis of each term."""
    found = {}
    for term in dict.fromkeys(plan.assigned):
        if term == "1":
            continue
        own = [i for i, other in enumerate(plan.assigned) if other == term]
        above = [i for i, t in enumerate(plan.assigned) if split_term(t) > split_term(term)]
        rows = np.eye(len(vcov))[own]
        if above:
            share = np.linalg.solve(vcov[np.ix_(above, above)], vcov[np.ix_(above, own)]).T
            rows = rows - share @ np.eye(len(vcov))[above]
        found[term] = rows
    return found


def _incomplete(term: str) -> InputError:
    return InputError(
        "joint tests of every term need a model with an intercept and, for each interaction, the "
        "terms it is made of",
        [term],
        "write group * phase, or test a single term with test()",
    )


def _grid(plan: MatrixPlan) -> pd.DataFrame:
    """Every combination of levels, with each numeric column at several places about its mean."""
    levels = list(product(*plan.levels.values()))
    table = pd.DataFrame(levels, columns=list(plan.levels)) if levels else pd.DataFrame(index=[0])
    for name, mean in plan.means.items():
        width = abs(mean) or 1.0
        places = pd.DataFrame({name: [mean + width * step for step in _POINTS]})
        table = table.merge(places, how="cross") if len(table.columns) else places
    return table


def _factor_columns(
    plan: MatrixPlan, grid: pd.DataFrame, x: Array, middle: Array
) -> dict[str, Array]:
    """Columns of each factor: sums to zero for categories, less the middle for numbers."""
    out: dict[str, Array] = {}
    for factor in {part for term in plan.assigned for part in split_term(term)} - {"1"}:
        name = next((n for n in plan.levels if factor == n or factor.startswith(f"C({n}")), None)
        if name is not None:
            codes = pd.Categorical(grid[name], categories=list(plan.levels[name])).codes
            count = len(plan.levels[name])
            out[factor] = np.vstack([np.eye(count - 1), -np.ones(count - 1)])[codes]
            continue
        own = [i for i, term in enumerate(plan.assigned) if split_term(term) == {factor}]
        if own:
            out[factor] = x[:, own] - middle[own]
    return out
