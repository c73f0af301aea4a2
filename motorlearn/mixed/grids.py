"""Grids that means are predicted over: levels asked for, and the rows each of them averages."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.exceptions import InputError
from motorlearn.mixed.formula.matrices import MatrixPlan
from motorlearn.mixed.result import MixedFit
from motorlearn.mixed.solve.covariance import Structure

Array = NDArray[np.float64]
At = Mapping[str, Any]

_STEP, _SMALL = 1e-3, 1e-3


@dataclass(frozen=True)
class GridRows:
    """Grid rows behind one mean: fixed part (m, p), and what each variance parameter adds.

    The variance of the linear predictor between participants is ``loadings @ variances``.
    """

    x: Array
    loadings: Array
    variances: Array


def balanced_grid(
    fit: MixedFit, asked: Sequence[str], at: At | None = None, slope: str | None = None
) -> tuple[pd.DataFrame, list[GridRows]]:
    """Levels asked for and, for each, the rows of the grid that it averages.

    Parameters
    ----------
    fit : MixedFit
        A fitted model.
    asked : sequence of str
        Categories, or columns of ``at`` with several values, that each combination is given for.
    at : mapping, optional
        Values of columns: one, or several, by name.
    slope : str, optional
        Numeric column; the rows then hold the slope of each column of the matrix in it.
    """
    plan = fit.design.fixed
    values = checked_places(plan, at or {})
    levels = {name: values.get(name, plan.levels[name]) for name in plan.levels}
    levels |= {name: given for name, given in values.items() if name in plan.means}
    order = [*asked, *(name for name in levels if name not in asked)]
    table = pd.DataFrame(list(product(*(levels[name] for name in order))), columns=order)
    for name, mean in plan.means.items():
        if name not in table:
            table[name] = mean
    matrix = plan.apply(table) if slope is None else _slope_of(plan, table, slope)
    loadings, variances = _loadings(fit, table)
    if not asked:
        return pd.DataFrame(index=[0]), [GridRows(matrix, loadings, variances)]
    grid = table[list(asked)].drop_duplicates().reset_index(drop=True)
    size = len(table) // len(grid)
    pieces = [slice(start, start + size) for start in range(0, len(table), size)]
    return grid, [GridRows(matrix[piece], loadings[piece], variances) for piece in pieces]


def several_values(fit: MixedFit, at: At | None) -> list[str]:
    """Columns of ``at`` that have more than one value, each a column of the answer."""
    return [name for name, v in checked_places(fit.design.fixed, at or {}).items() if len(v) > 1]


def checked_places(plan: MatrixPlan, at: At) -> dict[str, tuple[Any, ...]]:
    """Values of each column of ``at``, every one of which the model knows.

    Raises
    ------
    InputError
        If a column is not in the fixed part, a level is not known, or a value is no number.
    """
    unknown = [name for name in at if name not in plan.levels and name not in plan.means]
    if unknown:
        raise InputError(
            "values are given for columns that are not in the fixed part",
            unknown,
            f"its columns are {', '.join((*plan.levels, *plan.means)) or 'none'}",
        )
    found = {}
    for name, given in at.items():
        single = isinstance(given, str) or not isinstance(given, Sequence | np.ndarray | pd.Index)
        values = (given,) if single else tuple(given)
        known = plan.levels.get(name)
        bad = [v for v in values if not (_is_number(v) if known is None else v in known)]
        if bad or not values:
            remedy = "numbers" if known is None else f"levels among {', '.join(map(str, known))}"
            raise InputError(
                f"a value of {name!r} is not one the model knows", bad, f"give {remedy}"
            )
        found[name] = values
    return found


def _is_number(value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float | np.integer | np.floating):
        return False
    return bool(np.isfinite(float(value)))


def _slope_of(plan: MatrixPlan, table: pd.DataFrame, name: str) -> Array:
    """Slope of the matrix in a numeric column, by central differences: exact up to squares.

    Where a spline ends the difference is one-sided, over a much smaller step.
    """
    if name not in plan.means:
        raise InputError(
            "a slope is asked for in a column that is not a number of the fixed part",
            [name],
            f"its numbers are {', '.join(plan.means) or 'none'}",
        )
    here = table[name].to_numpy(float)
    step = _STEP * np.where(here == 0, 1.0, np.abs(here))
    low, high = plan.span(name)
    step = np.where((here - step < low) | (here + step > high), _SMALL * step, step)
    ahead = np.where(here <= high, np.minimum(here + step, high), here + step)
    behind = np.where(here >= low, np.maximum(here - step, low), here - step)
    change = plan.apply(table.assign(**{name: ahead})) - plan.apply(table.assign(**{name: behind}))
    found: Array = change / (ahead - behind)[:, None]
    return np.where(np.abs(found) > 1e-9 * max(float(np.abs(found).max()), 1e-300), found, 0.0)


def _loadings(fit: MixedFit, table: pd.DataFrame) -> tuple[Array, Array]:
    """What each free entry of the covariances adds to the variance of the linear predictor."""
    table = table.copy()
    columns, values = [], []
    for part in fit.design.random:
        for plan in part.plans:
            for name, mean in plan.means.items():
                table[name] = table.get(name, mean)
            for name, levels in plan.levels.items():
                table[name] = table.get(name, levels[0])
        none = np.zeros((len(table), 0))
        z = np.concatenate([none, *(plan.apply(table) for plan in part.plans)], axis=1)
        covariance = fit.covariances[part.group]
        for a, b in zip(*Structure(part.blocks).entries, strict=True):
            columns.append(z[:, a] * z[:, b] * (1 if a == b else 2))
            values.append(covariance[a, b])
    return np.array(columns).reshape(len(values), len(table)).T, np.array(values)
