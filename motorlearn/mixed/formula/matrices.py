"""Formula and table in, numeric matrix out, with what is needed to make the same columns again."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import permutations, product
from typing import Any

import formulaic
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.exceptions import ColumnError, FormulaError, InputError
from motorlearn.mixed.formula.crossed import crossed_matrix, crossed_terms
from motorlearn.mixed.formula.formulas import Formula, alias, pieces_of_term, unalias
from motorlearn.results import register_record
from motorlearn.vocabulary import CROSSED

Array = NDArray[np.float64]


@register_record
@dataclass(frozen=True)
class MatrixPlan:
    """How a matrix was made from a table.

    Parameters
    ----------
    terms : str
        Checked right-hand side.
    columns : tuple of str
        Names of the columns of the matrix.
    levels : mapping of str to tuple
        Levels of each categorical column, the first one being the reference of its coding.
    means : mapping of str to float
        Mean of each numeric column over the rows analysed.
    state : mapping
        What centring, scaling and polynomials learned from the rows.
    assigned : tuple of str
        Term of the formula each column belongs to.
    """

    terms: str
    columns: tuple[str, ...]
    levels: Mapping[str, tuple[Any, ...]]
    means: Mapping[str, float]
    state: Mapping[str, Any] = field(default_factory=dict)
    assigned: tuple[str, ...] = ()

    def apply(self, table: pd.DataFrame) -> Array:
        """Matrix of these columns for new rows."""
        frame: dict[str, Any] = {alias(name): table[name].to_numpy(float) for name in self.means}
        for name, levels in self.levels.items():
            frame[alias(name)] = as_category(table[name], levels, name)
        self._refuse_beyond_splines(frame)
        with np.errstate(all="ignore"):
            matrix = formulaic.Formula(self.terms).get_model_matrix(
                pd.DataFrame(frame, index=table.index),
                context={},
                transform_state={key: dict(value) for key, value in self.state.items()},
                na_action="ignore",
            )
        values = np.asarray(matrix, dtype=float).reshape(len(table), -1)
        _refuse_infinite(values, self.columns, table, tuple(self.means))
        return values

    def span(self, name: str) -> tuple[float, float]:
        """Where splines of a column end; infinite without one."""
        own = [state for key, state in self.state.items() if _splined(key) == alias(name)]
        low = max((state["lower_bound"] for state in own), default=-np.inf)
        return low, min((state["upper_bound"] for state in own), default=np.inf)

    def _refuse_beyond_splines(self, frame: Mapping[str, Any]) -> None:
        """Splines end where the data do."""
        for key, learned in self.state.items():
            name = _splined(key)
            if not name:
                continue
            low, high = learned["lower_bound"], learned["upper_bound"]
            beyond = (frame[name] < low) | (frame[name] > high)
            if beyond.any():
                raise InputError(
                    f"splines of {unalias(name)!r} end where the data end, at {low:g} and {high:g}",
                    np.unique(frame[name][beyond])[:5],
                    "ask for places in between, or use poly(name, 2)",
                )

    def parts(self) -> dict[str, tuple[tuple[str, Any], ...]]:
        """Factors of each column with their level, None for a number; of plain columns only."""
        pieces = {name: {name: None} for name in self.means}
        for name, levels in self.levels.items():
            pieces[name] = {f"{name}{mark}{x}]": x for x in levels for mark in ("[T.", "[")}
        orders = {
            ":".join(names): names
            for size in range(1, 4)
            for names in permutations(pieces, size)
        }  # fmt: skip
        found = {}
        for column, term in zip(self.columns, self.assigned):
            names = orders.get(term, ())
            for labels in product(*(pieces[name] for name in names)):
                if names and ":".join(labels) == column:
                    found[column] = tuple(
                        (name, pieces[name][label]) for name, label in zip(names, labels)
                    )
        return found


def _splined(key: str) -> str:
    """Column of a spline by the name of its state, empty for anything else."""
    return key[3:].split(",")[0] if key.startswith("bs(") else ""


def columns_in_words(plans: Iterable[MatrixPlan]) -> dict[str, str]:
    """Columns of models as a reader says them: ``group[T.random]`` becomes ``group: random``."""
    found: dict[str, str] = {}
    for plan in plans:
        plain = plan.parts()
        for column in plan.columns:
            parts = plain.get(column) or _parts_beside(column, plan)
            told = (name if level is None else f"{name}: {level}" for name, level in parts)
            found[column] = CROSSED.join(told)
    return {**found, "Intercept": "the level"}


def _parts_beside(column: str, plan: MatrixPlan) -> list[tuple[str, Any]]:
    """Factors of a column beside a function such as a spline, which keeps its name."""
    coded = {f"{name}{mark}{x}]": (name, x) for name, levels in plan.levels.items()
             for x in levels for mark in ("[T.", "[")}  # fmt: skip
    return [coded.get(piece, (piece, None)) for piece in pieces_of_term(column)]


def names_in_words(names: Iterable[str], plans: Iterable[MatrixPlan]) -> list[str]:
    """Names of columns as a reader says them; one that has no words stays as it is."""
    known = columns_in_words(plans)
    return [known.get(name, name) for name in names]


def is_category(column: pd.Series) -> bool:
    """Whether a column holds categories by its type."""
    return not pd.api.types.is_numeric_dtype(column) or pd.api.types.is_bool_dtype(column)


def levels_of(column: pd.Series) -> tuple[Any, ...]:
    """Levels that occur, in the order of the categories or sorted."""
    if isinstance(column.dtype, pd.CategoricalDtype):
        present = set(column.dropna().unique())
        found = [level for level in column.cat.categories if level in present]
    else:
        found = sorted(column.dropna().unique(), key=lambda v: (isinstance(v, str), v))
    return tuple(level.item() if hasattr(level, "item") else level for level in found)


def as_category(column: pd.Series, levels: tuple[Any, ...], name: str) -> pd.Categorical:
    """Column as categories in a fixed order; an unknown level is refused."""
    values = column.astype(object)
    unknown = sorted({str(v) for v in values[~values.isin(list(levels))].unique()})
    if unknown:
        raise InputError(
            f"column {name!r} holds levels the model does not know",
            unknown,
            f"use {', '.join(map(str, levels[:8]))}",
        )
    return pd.Categorical(values, categories=list(levels))


def require_columns(table: pd.DataFrame, names: tuple[str, ...]) -> None:
    """Refuse a table without, or with twice, a column that is needed."""
    if not isinstance(table, pd.DataFrame):
        raise InputError("the table is not a pandas DataFrame", [type(table).__name__])
    absent = [name for name in names if name not in table.columns]
    if absent:
        raise ColumnError(
            "the table lacks a column the model needs",
            absent,
            f"its columns are {', '.join(map(str, table.columns[:12]))}",
        )
    double = [name for name in names if list(table.columns).count(name) > 1]
    if double:
        raise ColumnError("the table has a column twice", double, "rename one of them")


def make_matrix(formula: Formula, table: pd.DataFrame) -> tuple[Array, MatrixPlan]:
    """Matrix of a checked right-hand side for a table without missing values.

    Raises
    ------
    FormulaError
        If arithmetic is asked of a categorical column, or a column is used both ways.
    """
    frame, levels, means = {}, {}, {}
    for name in formula.names:
        column = table[name]
        if is_category(column) or name in formula.coded:
            levels[name] = levels_of(column)
            values = column.astype(object)
            frame[alias(name)] = pd.Categorical(values, categories=list(levels[name]))
        else:
            frame[alias(name)] = column.astype(float)
            means[name] = float(column.mean())
    _refuse_arithmetic_on_categories(formula, levels)
    if not levels and _is_plain(formula):
        return _plain_matrix(formula, table, means)
    terms = crossed_terms(formula)
    if terms is not None and all(len(found) > 1 for found in levels.values()):
        named = {unalias(name): column for name, column in frame.items()}
        values, names, owners = crossed_matrix(terms, named, len(table))
        _refuse_infinite(values, names, table, tuple(means))
        return values, MatrixPlan(formula.terms, names, levels, means, {}, owners)
    with np.errstate(all="ignore"):
        matrix = formulaic.Formula(formula.terms).get_model_matrix(
            pd.DataFrame(frame, index=table.index), context={}, na_action="ignore"
        )
    values = np.asarray(matrix, dtype=float).reshape(len(table), -1)
    names = tuple(unalias(str(name)) for name in matrix.columns)
    _refuse_infinite(values, names, table, tuple(means))
    owner = {
        str(column): unalias(str(term))
        for term, columns in matrix.model_spec.term_indices.items()
        for column in np.array(names)[list(columns)]
    }
    plan = MatrixPlan(
        formula.terms,
        names,
        levels,
        means,
        _plain(dict(matrix.model_spec.transform_state)),
        tuple(owner[name] for name in names),
    )
    return values, plan


def _is_plain(formula: Formula) -> bool:
    """Whether the terms are the intercept and columns as they are, which need no formula's help."""
    names = {alias(name) for name in formula.names}
    parts = formula.terms.split(" + ")
    return (
        parts[0] in ("0", "1")
        and len(parts) > int(parts[0] == "0")
        and (set(parts[1:]) <= names and len(set(parts)) == len(parts))
    )


def _plain_matrix(
    formula: Formula, table: pd.DataFrame, means: Mapping[str, float]
) -> tuple[Array, MatrixPlan]:
    """An intercept, where there is one, and numeric columns."""
    first, *rest = formula.terms.split(" + ")
    named = [unalias(part) for part in rest]
    columns = [table[name].to_numpy(float) for name in named]
    if first == "1":
        columns.insert(0, np.ones(len(table)))
    names = (*(("Intercept",) if first == "1" else ()), *named)
    values = np.column_stack(columns)
    _refuse_infinite(values, names, table, tuple(means))
    owners = (*(("1",) if first == "1" else ()), *named)
    return values, MatrixPlan(formula.terms, names, {}, means, {}, owners)


def _refuse_infinite(
    values: Array, names: Sequence[str], table: pd.DataFrame, numeric: tuple[str, ...]
) -> None:
    bad = [
        name
        for name, good in zip(names, np.atleast_1d(np.isfinite(values).all(axis=0)))
        if not good
    ]
    if not bad:
        return
    endless = [name for name in numeric if not np.isfinite(table[name].astype(float)).all()]
    if endless:
        raise InputError(
            "a column of the model holds values that are not finite",
            endless,
            "correct these rows or leave them out",
        )
    constant = [name for name in numeric if table[name].nunique() < 2 and len(table) > 1]
    if constant and not any(piece in name for name in bad for piece in ("log(", "sqrt(")):
        raise FormulaError(
            "a column of the model has the same value in every row",
            constant,
            "take it out of the formula",
        )
    raise FormulaError(
        "a term of the formula is not a finite number in some row",
        bad,
        "logarithms need values above zero and roots need values of at least zero",
    )


def _refuse_arithmetic_on_categories(
    formula: Formula, levels: Mapping[str, tuple[Any, ...]]
) -> None:
    stripped = formula.terms
    for name in formula.coded:
        stripped = stripped.replace(f"C({alias(name)}", "C(")
        if alias(name) in stripped.replace("(", " ").replace(")", " ").split():
            raise FormulaError(
                "a column stands both inside and outside C", [name], "use it one way only"
            )
    for function in ("log(", "sqrt(", "center(", "scale(", "poly(", "bs(", "I("):
        for part in formula.terms.split(function)[1:]:
            inside = part.split(")")[0].replace("(", " ").replace(",", " ").split()
            words = [unalias(word) for word in inside if unalias(word) in levels]
            if words:
                raise FormulaError(
                    f"{function[:-1]} is asked of a column that holds categories",
                    words,
                    "use numbers there",
                )


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _plain(entry) for key, entry in value.items()}
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    return value.item() if isinstance(value, np.generic) else value
