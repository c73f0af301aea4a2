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
from motorlearn.mixed.formula.formulas import Formula, read_formula
from motorlearn.mixed.formula.matrices import (
    MatrixPlan,
    as_category,
    levels_of,
    make_matrix,
    require_columns,
)
from motorlearn.mixed.formula.outcomes import Roles, outcome, with_rating_codes
from motorlearn.results import nobody_left_out, register_record
from motorlearn.trials.counted import counted_rows, void_reasons

Array = NDArray[np.float64]
NOTHING = "0"
"""Random terms of a participant whose rows are tied by their residuals alone."""
SERIAL = "ar1"
"""Residuals of neighbours resemble each other within a run."""
ONE_SPREAD = "all"
"""The one level of residuals that have one spread."""
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
    ``correlation`` ``"none"``, ``"unstructured"`` or ``"ar1"``, ``column`` the one whose levels
    these are. For the latter ``place`` (N,) is where a row stands in its ``run`` (N,), a number for
    each person and session, and ``order`` names the columns that say so.
    """

    column: str
    levels: tuple[Any, ...]
    variance: str
    correlation: str
    index: NDArray[np.intp]
    order: tuple[str, ...] = ()
    run: NDArray[np.intp] | None = None
    place: Array | None = None


@register_record
@dataclass(frozen=True)
class Design:
    """Everything about the data but the outcome: cells sorted by the first grouping factor.

    ``x`` (N, p), ``offset`` (N,); ``cell`` (n,) is the cell of each analysed row and ``weight``
    (n,) its weight or number of attempts; ``row`` (n,) its position in the table; ``categories``
    are the ratings that occur, lowest first.
    """

    x: Array
    fixed: MatrixPlan
    random: tuple[RandomPart, ...]
    offset: Array
    cell: NDArray[np.intp]
    weight: Array
    row: NDArray[np.intp]
    residual: ResidualPart | None = None
    categories: tuple[Any, ...] = ()


@dataclass(frozen=True)
class Prepared:
    """A design with its outcome and the list of what was left out."""

    design: Design
    observed: Array
    formula: Formula
    left_out: pd.DataFrame
    notes: tuple[str, ...] = ()


def prepare(
    formula: str, table: pd.DataFrame, random: RandomTerms, roles: Roles, family: str
) -> Prepared:
    """Read formula and random terms, set incomplete rows aside and build the design."""
    fixed = read_formula(formula)
    parts = _random_formulas(random)
    keys = [name for _, columns, _ in parts for name in columns]
    named = (roles.attempts, roles.weights, roles.offset, *roles.residual_columns)
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
    rows, categories, notes = with_rating_codes(fixed, rows, family)
    observed, weight, offset = outcome(fixed, rows, roles, family)
    stateful = fixed.depends_on_rows or any(t.depends_on_rows for _, _, ts in parts for t in ts)
    telling = [n for n in (roles.offset, *roles.residual_columns) if n is not None]
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
        categories=categories,
    )
    left_out = _left_out(table, whole, complete, keys[0])
    return Prepared(design, observed, fixed, left_out, notes)


def _residual_part(
    rows: pd.DataFrame, roles: Roles, part: GroupTerms, first: NDArray[np.intp]
) -> ResidualPart | None:
    if roles.correlation == SERIAL:
        return _serial_part(rows, roles, part, first)
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


def _serial_part(
    rows: pd.DataFrame, roles: Roles, part: GroupTerms, first: NDArray[np.intp]
) -> ResidualPart:
    """Residuals of trials or blocks that resemble their neighbours within a run."""
    *runs, place = roles.order
    where = pd.to_numeric(rows[place], errors="coerce").astype("float64")
    if (where != np.floor(where)).any():
        raise InputError(
            f"{place!r} does not say where a row stands among its neighbours",
            rows.loc[where != np.floor(where), place].unique(),
            "name a column of whole numbers, such as that of the trial or block",
        )
    twice = rows.duplicated([*part[1], *runs, place])
    if twice.any():
        raise InputError(
            f"a participant has several rows at one place of {'/'.join(roles.order)!r}",
            rows.loc[twice, [*part[1], *runs, place]].astype(str).agg(" ".join, axis=1).unique(),
            f"name before {place!r} every column that begins its numbers anew, for example "
            f"within='phase/session/block/{place}', or average the rows",
        )
    run = _codes(rows, [*part[1], *runs])[0]
    levels: tuple[Any, ...] = (ONE_SPREAD,)
    codes = np.zeros(len(rows), dtype=np.intp)
    if roles.variance != "equal":
        levels = levels_of(rows[roles.variance])
        codes = as_category(rows[roles.variance], levels, roles.variance).codes.astype(np.intp)
    return ResidualPart(
        place if roles.variance == "equal" else roles.variance,
        levels,
        roles.variance,
        SERIAL,
        codes[first],
        roles.order,
        run[first],
        where.to_numpy()[first],
    )


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


def _codes(
    rows: pd.DataFrame,
    columns: Sequence[str],
    known: dict[str, tuple[NDArray[np.intp], int]] | None = None,
) -> tuple[NDArray[np.intp], int]:
    """One whole number per distinct combination, in order of first appearance.

    ``known`` keeps the numbers of single columns from one call to the next.
    """
    known = {} if known is None else known
    code, count = np.zeros(len(rows), dtype=np.intp), 1
    for place, name in enumerate(columns):
        if name not in known:
            own, levels = pd.factorize(rows[name])
            known[name] = own, len(levels)
        own, size = known[name]
        if place == 0 and (own >= 0).all():
            code, count = own, size
            continue
        code, found = pd.factorize(code * size + own)
        count = len(found)
    return code, count


def _cells(
    rows: pd.DataFrame, parts: Sequence[GroupTerms], covariates: Sequence[str]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Cell of each row and the first row of each cell, cells sorted by the first factor."""
    known: dict[str, tuple[NDArray[np.intp], int]] = {}
    main = max(parts, key=lambda part: _codes(rows, part[1], known)[1])
    columns = [*main[1], *(name for _, names, _ in parts for name in names), *covariates]
    code, count = _codes(rows, list(dict.fromkeys(columns)), known)
    first = np.full(count, len(rows), dtype=np.intp)
    np.minimum.at(first, code, np.arange(len(rows)))
    owner = _codes(rows, main[1], known)[0][first]
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
    if complete.all():
        return nobody_left_out()
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
