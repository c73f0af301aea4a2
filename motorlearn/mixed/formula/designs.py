"""A table made ready for the engine: rows with missing values set aside, like rows put together.

Rows of one participant (and item) that share every covariate are collapsed into one cell before
fitting. For binomial outcomes the cell holds hits and attempts; for continuous ones the weight, the
mean and the sum of squares about it. Neither loses anything the likelihood uses.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.exceptions import FormulaError, InputError
from motorlearn.mixed.formula.formulas import Formula, evaluate_response, read_formula, unalias
from motorlearn.mixed.formula.matrices import (
    MatrixPlan,
    as_category,
    levels_of,
    make_matrix,
    require_columns,
)
from motorlearn.results import register_record
from motorlearn.trials.counted import counted_rows, void_reasons

Array = NDArray[np.float64]
NOTHING = "0"
"""Random terms of a participant whose rows are tied by their residuals alone."""
RandomTerms = Mapping[str, str | Sequence[str]]
GroupTerms = tuple[str, tuple[str, ...], list[Formula]]


@register_record
@dataclass(frozen=True)
class RandomPart:
    """Random terms of one grouping factor.

    ``index`` (N,) gives the level of each cell, ``z`` (N, q) its random terms, ``blocks`` the
    positions of terms that are correlated with one another.
    """

    group: str
    columns: tuple[str, ...]
    levels: tuple[Any, ...]
    terms: tuple[str, ...]
    blocks: tuple[tuple[int, ...], ...]
    plans: tuple[MatrixPlan, ...]
    index: NDArray[np.intp]
    z: Array


@register_record
@dataclass(frozen=True)
class ResidualPart:
    """Residuals that differ in spread or are correlated.

    ``index`` (N,) gives the level of each cell; ``variance`` is ``"equal"`` or a column,
    ``correlation`` ``"none"`` or ``"unstructured"``, ``column`` the one whose levels these are.
    """

    column: str
    levels: tuple[Any, ...]
    variance: str
    correlation: str
    index: NDArray[np.intp]


@register_record
@dataclass(frozen=True)
class Design:
    """Everything about the data but the outcome: cells sorted by the first grouping factor.

    ``x`` (N, p), ``offset`` (N,); ``cell`` (n,) is the cell of each analysed row and ``weight``
    (n,) its weight or number of attempts; ``row`` (n,) its position in the table.
    """

    x: Array
    fixed: MatrixPlan
    random: tuple[RandomPart, ...]
    offset: Array
    cell: NDArray[np.intp]
    weight: Array
    row: NDArray[np.intp]
    residual: ResidualPart | None = None


@dataclass(frozen=True)
class Prepared:
    """A design with its outcome and the list of what was left out."""

    design: Design
    observed: Array
    formula: Formula
    left_out: pd.DataFrame


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
    def residual_column(self) -> str | None:
        """Column whose levels tell residuals apart, if there is one."""
        if self.correlation != "none":
            return self.within
        return None if self.variance == "equal" else self.variance


def prepare(
    formula: str, table: pd.DataFrame, random: RandomTerms, roles: Roles, family: str
) -> Prepared:
    """Read formula and random terms, set incomplete rows aside and build the design."""
    fixed = read_formula(formula)
    parts = _random_formulas(random)
    keys = [name for _, columns, _ in parts for name in columns]
    named = (roles.attempts, roles.weights, roles.offset, roles.residual_column)
    special = [name for name in named if name is not None]
    covariates = [*fixed.names, *(name for _, _, terms in parts for t in terms for name in t.names)]
    used = tuple(dict.fromkeys([*keys, *fixed.response_names, *covariates, *special]))
    require_columns(table, used)
    counts = counted_rows(table)
    whole = table[list(used)]
    complete = whole.notna().all(axis=1).to_numpy() & counts
    if not complete.any():
        raise InputError("no row has a value in every column the model uses", used)
    rows = whole.loc[complete].reset_index(drop=True)
    observed, weight, offset = outcome(fixed, rows, roles, family)
    stateful = fixed.depends_on_rows or any(t.depends_on_rows for _, _, ts in parts for t in ts)
    telling = [name for name in (roles.offset, roles.residual_column) if name is not None]
    cell, first = _cells(rows, parts, [*covariates, *telling])
    chosen = rows.iloc[first]
    x, plan = make_matrix(fixed, rows if stateful else chosen)
    design = Design(
        x=x[first] if stateful else x,
        fixed=_with_row_means(plan, rows),
        random=tuple(
            _random_part(part, rows if stateful else chosen, first if stateful else None)
            for part in parts
        ),
        offset=offset[first],
        cell=cell,
        weight=weight,
        row=np.flatnonzero(complete),
        residual=_residual_part(rows, roles, parts[0], first),
    )
    left_out = _left_out(table, whole, complete, keys[0])
    return Prepared(design, observed, fixed, left_out)


def _residual_part(
    rows: pd.DataFrame, roles: Roles, part: GroupTerms, first: NDArray[np.intp]
) -> ResidualPart | None:
    column = roles.residual_column
    if column is None:
        return None
    levels = levels_of(rows[column])
    codes = as_category(rows[column], levels, column).codes.astype(np.intp)
    if roles.correlation == "unstructured":
        twice = rows.duplicated([*part[1], column])
        if twice.any():
            raise InputError(
                f"a participant has several rows at one level of {column!r}, so that their "
                "residuals cannot be told apart",
                rows.loc[twice, [*part[1], column]].astype(str).agg(" ".join, axis=1).unique(),
                f"average them, or leave correlation= out and give random={{{part[0]!r}: "
                f"'0 + {column}'}} and variance={column!r}",
            )
    return ResidualPart(column, levels, roles.variance, roles.correlation, codes[first])


def _with_row_means(plan: MatrixPlan, rows: pd.DataFrame) -> MatrixPlan:
    means = {name: float(rows[name].mean()) for name in plan.means}
    return MatrixPlan(plan.terms, plan.columns, plan.levels, means, plan.state, plan.assigned)


def _random_formulas(random: RandomTerms) -> list[GroupTerms]:
    """Read the random terms; ``a/b`` means ``a`` and ``b`` within ``a``."""
    if not isinstance(random, Mapping) or not random:
        raise FormulaError(
            "the random terms are not a mapping from a grouping column to terms",
            [random],
            "write random={'participant': '1'}",
        )
    parts = []
    for key, terms in random.items():
        listed = [terms] if isinstance(terms, str) else list(terms)
        if not listed:
            raise FormulaError("a grouping column has no random term", [key], "write '1'")
        formulas = (
            []
            if terms == NOTHING
            else [
                read_formula(_slope_alone(t) if not isinstance(terms, str) else t, response=False)
                for t in listed
            ]
        )
        chain = [name.strip() for name in str(key).split("/")]
        for depth in range(1, len(chain) + 1):
            columns = tuple(name.strip() for part in chain[:depth] for name in part.split(":"))
            parts.append((":".join(columns), columns, formulas))
    return parts


def _slope_alone(term: str) -> str:
    """In a list of terms an entry stands for itself, without an intercept added to it."""
    first = term.split("+")[0].strip()
    return term if first in ("0", "1", "-1") else f"0 + {term}"


def outcome(
    formula: Formula, rows: pd.DataFrame, roles: Roles, family: str
) -> tuple[Array, Array, Array]:
    """Outcome, weight (or attempts) and offset of each row, checked."""
    y = _response(formula, rows)
    weight = _positive(rows, roles.weights) if roles.weights else np.ones(len(rows))
    offset = _finite(rows, roles.offset) if roles.offset else np.zeros(len(rows))
    if family == "binomial":
        return (*_hits(y, rows, roles, weight), offset)
    return y - offset, weight, offset


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


def _codes(rows: pd.DataFrame, columns: Sequence[str]) -> tuple[NDArray[np.intp], int]:
    """One whole number per distinct combination, in order of first appearance."""
    code, count = np.zeros(len(rows), dtype=np.intp), 1
    for name in columns:
        own, levels = pd.factorize(rows[name])
        code, found = pd.factorize(code * len(levels) + own)
        count = len(found)
    return code, count


def _cells(
    rows: pd.DataFrame, parts: Sequence[GroupTerms], covariates: Sequence[str]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Cell of each row and the first row of each cell, cells sorted by the first factor."""
    main = max(parts, key=lambda part: _codes(rows, part[1])[1])
    columns = [*main[1], *(name for _, names, _ in parts for name in names), *covariates]
    code, count = _codes(rows, list(dict.fromkeys(columns)))
    first = np.full(count, len(rows), dtype=np.intp)
    np.minimum.at(first, code, np.arange(len(rows)))
    owner = _codes(rows, main[1])[0][first]
    order = np.argsort(owner, kind="stable")
    rank = np.empty(count, dtype=np.intp)
    rank[order] = np.arange(count)
    return rank[code], first[order]


def _random_part(
    part: GroupTerms, rows: pd.DataFrame, first: NDArray[np.intp] | None
) -> RandomPart:
    group, columns, formulas = part
    code, _ = _codes(rows, columns)
    labels = rows[list(columns)].iloc[np.unique(code, return_index=True)[1]]
    levels = [
        row[0] if len(columns) == 1 else ":".join(map(str, row))
        for row in labels.itertuples(index=False, name=None)
    ]
    order = sorted(range(len(levels)), key=lambda i: (isinstance(levels[i], str), levels[i]))
    rank = np.empty(len(levels), dtype=np.intp)
    rank[order] = np.arange(len(levels))
    matrices, plans, blocks, done = [], [], [], 0
    for formula in formulas:
        matrix, plan = make_matrix(formula, rows)
        matrices.append(matrix)
        plans.append(plan)
        blocks.append(tuple(range(done, done + matrix.shape[1])))
        done += matrix.shape[1]
    index, z = rank[code], np.concatenate([np.zeros((len(code), 0)), *matrices], axis=1)
    if first is not None:
        index, z = index[first], z[first]
    terms = tuple(name for plan in plans for name in plan.columns)
    if len(set(terms)) < len(terms):
        raise FormulaError("a random term is given twice", terms, "name each term once")
    plain = tuple(v.item() if hasattr(v, "item") else v for v in (levels[i] for i in order))
    return RandomPart(group, columns, plain, terms, tuple(blocks), tuple(plans), index, z)


def _left_out(
    table: pd.DataFrame, whole: pd.DataFrame, complete: NDArray[np.bool_], participant: str
) -> pd.DataFrame:
    gaps = whole.loc[~complete]
    missing = gaps.isna()
    reasons = [
        void or "no value in " + ", ".join(missing.columns[line])
        for void, line in zip(
            void_reasons(table.loc[~complete]), missing.to_numpy(dtype=bool), strict=True
        )
    ]
    groups = table["group"].to_numpy(object)[~complete] if "group" in table else None
    frame = pd.DataFrame(
        {
            "participant": gaps[participant].to_numpy(object),
            "group": groups,
            "reason": reasons,
        }
    )
    counted = frame.groupby(["participant", "group", "reason"], dropna=False, sort=False)
    return counted.size().rename("rows").reset_index()
