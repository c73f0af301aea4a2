"""Outcomes of each kind read from a table and checked: hits, ratings, counts, amounts, scores."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.exceptions import InputError
from motorlearn.mixed.formula.formulas import Formula, evaluate_response, unalias
from motorlearn.mixed.formula.matrices import as_category, is_category, levels_of

Array = NDArray[np.float64]

MOST_RATINGS = 50


@dataclass(frozen=True)
class Roles:
    """Columns with a special role; each may be None."""

    attempts: str | None = None
    weights: str | None = None
    offset: str | None = None
    variance: str = "equal"
    correlation: str = "none"
    within: str | None = None

    @property
    def order(self) -> tuple[str, ...]:
        """Columns of ``within``: what tells runs apart, then the place in a run."""
        return tuple(name.strip() for name in (self.within or "").split("/") if name.strip())

    @property
    def residual_columns(self) -> tuple[str, ...]:
        """Columns that residuals are told apart by."""
        if self.correlation == "ar1":
            return (*self.order, *(() if self.variance == "equal" else (self.variance,)))
        return () if self.residual_column is None else (self.residual_column,)

    @property
    def residual_column(self) -> str | None:
        """Column whose levels tell residuals apart, if there is one."""
        if self.correlation != "none":
            return self.within
        return None if self.variance == "equal" else self.variance


def outcome(
    formula: Formula, rows: pd.DataFrame, roles: Roles, family: str
) -> tuple[Array, Array, Array]:
    """Outcome, weight (or attempts) and offset of each row, checked."""
    y = _response(formula, rows)
    weight = _positive(rows, roles.weights) if roles.weights else np.ones(len(rows))
    offset = _finite(rows, roles.offset) if roles.offset else np.zeros(len(rows))
    if family in ("binomial", "beta-binomial"):
        return (*_hits(y, rows, roles, weight), offset)
    if family in ("poisson", "negative-binomial"):
        _refuse_no_counts(y)
    if family in ("gamma", "lognormal"):
        _refuse_not_positive(y, family)
    if family == "lognormal":
        return np.log(y) - offset, weight, offset
    return (y - offset if family == "gaussian" else y), weight, offset


def _refuse_no_counts(y: Array) -> None:
    bad = (y < 0) | (y != np.round(y))
    if bad.any():
        raise InputError(
            "a count is below zero or not a whole number",
            np.unique(y[bad]),
            "give numbers of events; use family='gamma' or 'lognormal' for amounts and times",
        )


def _refuse_not_positive(y: Array, family: str) -> None:
    bad = ~(y > 0)
    if bad.any():
        raise InputError(
            f"a {family} outcome holds values that are not above zero",
            np.unique(y[bad]),
            "correct them, or mark rows without a valid time as void",
        )


def with_rating_codes(
    formula: Formula, rows: pd.DataFrame, family: str
) -> tuple[pd.DataFrame, tuple[Any, ...], tuple[str, ...]]:
    """Rows with the place of each rating, the ratings, and what to say of absent ones."""
    if family != "ordinal":
        return rows, (), ()
    categories, notes = rating_categories(formula, rows)
    name = formula.response_names[0]
    codes = as_category(rows[name], categories, name).codes.astype(float)
    return rows.assign(**{name: codes}), categories, notes


def rating_categories(
    formula: Formula, rows: pd.DataFrame
) -> tuple[tuple[Any, ...], tuple[str, ...]]:
    """Ratings that occur, lowest first, and what to say of those that do not.

    Ratings are numbers in their order, or ordered categories.

    Raises
    ------
    InputError
        If the outcome is not a single column, its order is not known, or one rating alone occurs.
    """
    names = formula.response_names
    if len(names) != 1 or unalias(formula.response) != names[0]:
        raise InputError(
            "ratings are a column as it stands", [unalias(formula.response)], "name the column"
        )
    column = rows[names[0]]
    if isinstance(column.dtype, pd.CategoricalDtype) and not column.cat.ordered:
        raise InputError(
            f"the categories of {names[0]!r} have no order",
            column.cat.categories,
            "give numbers, or pandas.Categorical(..., ordered=True)",
        )
    if not isinstance(column.dtype, pd.CategoricalDtype) and is_category(column):
        raise InputError(
            f"the ratings in {names[0]!r} are words, whose order is not known",
            column.unique()[:5],
            "give numbers, or pandas.Categorical(..., ordered=True)",
        )
    found = levels_of(column)
    if len(found) > MOST_RATINGS:
        raise InputError(
            f"the outcome {names[0]!r} has more than {MOST_RATINGS} different values",
            found[:5],
            "use family='gaussian' for scores",
        )
    if len(found) < 2:
        raise InputError(
            f"every rating in {names[0]!r} is the same, so there is nothing to model",
            found,
            "check that the right column was named",
        )
    return found, _never_given(names[0], column, found)


def _never_given(name: str, column: pd.Series, found: tuple[Any, ...]) -> tuple[str, ...]:
    """A sentence on ratings of the scale that nobody was given."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        absent = [level for level in column.cat.categories if level not in found]
    elif all(float(v).is_integer() for v in found) and found[-1] - found[0] < MOST_RATINGS:
        absent = [v for v in range(int(found[0]), int(found[-1]) + 1) if v not in found]
    else:
        absent = []
    if not absent:
        return ()
    said = ", ".join(map(str, absent))
    return (
        f"Nobody was given {said} in {name!r}: the model has no threshold for a rating that never "
        "occurs, and takes the ratings on either side of it as neighbours.",
    )


def _response(formula: Formula, rows: pd.DataFrame) -> Array:
    for name in formula.response_names:
        kind = rows[name].dtype
        if not (pd.api.types.is_numeric_dtype(kind) or pd.api.types.is_bool_dtype(kind)):
            raise InputError(
                f"the outcome {name!r} is not numeric", rows[name].unique()[:3], "give numbers"
            )
    with np.errstate(all="ignore"):
        y = np.broadcast_to(
            evaluate_response(formula, {n: rows[n].to_numpy() for n in formula.response_names}),
            (len(rows),),
        ).astype(float)
    endless = [n for n in formula.response_names if np.isinf(rows[n].to_numpy(float)).any()]
    if endless:
        raise InputError(
            "the outcome holds values that are not finite",
            endless,
            "correct these rows or leave them out",
        )
    if not np.isfinite(y).all():
        raise InputError(
            f"the outcome {unalias(formula.response)!r} is not a finite number in some rows",
            rows[formula.response_names[0]].to_numpy()[~np.isfinite(y)],
            "a logarithm needs values above zero",
        )
    return y


def _hits(y: Array, rows: pd.DataFrame, roles: Roles, weight: Array) -> tuple[Array, Array]:
    if roles.attempts is None:
        bad = ~np.isin(y, (0.0, 1.0))
        if bad.any():
            inside = (y >= 0).all() and (y <= 1).all()
            raise InputError(
                "a binomial outcome without attempts holds values other than 0 and 1"
                if inside
                else "a binomial outcome lies outside 0 to 1",
                np.unique(y[bad]),
                "give 0/1 rows, or numbers of hits and name the column of attempts",
            )
        return y * weight, weight
    attempts = _positive(rows, roles.attempts)
    for values, what in ((attempts, "attempts"), (y, "hits")):
        if (values != np.round(values)).any():
            raise InputError(
                f"the {what} are not whole numbers",
                np.unique(values[values != np.round(values)]),
                "give counts, not shares",
            )
    bad = (y < 0) | (y > attempts)
    if bad.any():
        raise InputError(
            "hits lie outside 0 to the number of attempts, a probability outside 0 to 1",
            [f"{h:g} of {a:g}" for h, a in zip(y[bad], attempts[bad], strict=True)],
            "correct the rows",
        )
    return y * weight, attempts * weight


def _positive(rows: pd.DataFrame, name: str) -> Array:
    values: Array = rows[name].to_numpy(float)
    if not ((values > 0) & np.isfinite(values)).all():
        raise InputError(
            f"column {name!r} holds values that are not above zero",
            np.unique(values[~(values > 0)]),
            "leave out rows without attempts or weight",
        )
    return values


def _finite(rows: pd.DataFrame, name: str) -> Array:
    values: Array = rows[name].to_numpy(float)
    if not np.isfinite(values).all():
        raise InputError(f"column {name!r} holds values that are not finite", [name])
    return values
