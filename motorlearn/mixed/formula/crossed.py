"""Matrices of columns and their products, the fixed parts that nearly every study has.

They are what the general formula gives, column by column, and are made without it because reading
it takes longer than fitting a small study.
"""

import re
from collections.abc import Mapping, Sequence
from functools import reduce
from itertools import product

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.mixed.formula.formulas import Formula, alias, unalias

Array = NDArray[np.float64]
Term = tuple[str, ...]


def crossed_terms(formula: Formula) -> tuple[Term, ...] | None:
    """Terms of an intercept and sums of ``a``, ``a * b``, ..., lowest order first.

    None where the formula holds anything else, or a column twice.

    Examples
    --------
    >>> from motorlearn.mixed.formula.formulas import read_formula
    >>> crossed_terms(read_formula("radial_error ~ group * phase"))
    (('group',), ('phase',), ('group', 'phase'))
    """
    first, *parts = formula.terms.split(" + ")
    if first != "1" or any(part.count("(") != part.count(")") for part in parts):
        return None
    found: list[Term] = []
    for part in parts:
        words = re.sub(r"[()]", "", part).split(" * ")
        if not {alias(name) for name in formula.names} >= set(words):
            return None
        own: list[Term] = []
        for word in words:
            own += [(unalias(word),), *((*term, unalias(word)) for term in own)]
        found += own
    once = [term[0] for term in found if len(term) == 1]
    return tuple(sorted(found, key=len)) if len(set(once)) == len(once) else None


def crossed_matrix(
    terms: Sequence[Term], table: Mapping[str, pd.Series | pd.Categorical], rows: int
) -> tuple[Array, tuple[str, ...], tuple[str, ...]]:
    """Matrix, names of its columns and the term of each; levels are told from the first one."""
    pieces = {name: _pieces(name, table[name]) for (name, *more) in terms if not more}
    columns, names, owners = [np.ones(rows)], ["Intercept"], ["1"]
    for term in terms:
        # The first factor of a product changes fastest.
        for chosen in product(*(pieces[name] for name in reversed(term))):
            columns.append(reduce(np.multiply, (values for _, values in chosen)))
            names.append(":".join(label for label, _ in reversed(chosen)))
            owners.append(":".join(term))
    return np.column_stack(columns), tuple(names), tuple(owners)


def _pieces(name: str, column: pd.Series | pd.Categorical) -> list[tuple[str, Array]]:
    if not isinstance(column, pd.Categorical):
        return [(name, column.to_numpy(float))]
    return [
        (f"{name}[T.{level}]", (column.codes == place).astype(float))
        for place, level in enumerate(column.categories)
        if place
    ]
