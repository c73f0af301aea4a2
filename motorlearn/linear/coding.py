"""Columns of a design: treatment and sum coding of groups, and their products."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motorlearn.exceptions import InputError
from motorlearn.linear.hypotheses import FTest, f_test
from motorlearn.linear.least_squares import Floats, LeastSquares, fit_least_squares


def treatment_columns(codes: NDArray[np.intp], levels: int) -> Floats:
    """Indicator columns of every level but the first, shape (n, levels - 1).

    Examples
    --------
    >>> treatment_columns(np.array([0, 1, 2]), 3).tolist()
    [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]
    """
    return np.eye(levels)[codes][:, 1:]


def sum_columns(codes: NDArray[np.intp], levels: int) -> Floats:
    """Sum-to-zero columns, shape (n, levels - 1); the last level is -1 throughout.

    Examples
    --------
    >>> sum_columns(np.array([0, 1, 2]), 3).tolist()
    [[1.0, 0.0], [0.0, 1.0], [-1.0, -1.0]]
    """
    rows = np.vstack([np.eye(levels - 1), -np.ones((1, levels - 1))])
    return rows[codes]


def product_columns(first: Floats, second: Floats) -> Floats:
    """Every product of a column of the first with a column of the second.

    Examples
    --------
    >>> product_columns(np.array([[2.0]]), np.array([[3.0, 4.0]])).tolist()
    [[6.0, 8.0]]
    """
    return (first[:, :, None] * second[:, None, :]).reshape(len(first), -1)


def sums_of_squares(
    terms: Mapping[str, Floats], outcome: ArrayLike, *, kind: str = "III"
) -> tuple[dict[str, FTest], LeastSquares]:
    """Test every term of a linear model by type II or type III sums of squares.

    Type III: each term after all others. Type II: each term after those that do not contain it.
    A term contains another if the names of its factors, joined by ``:``, include those of the
    other. Factors must be sum coded for type III to mean what it says.

    Parameters
    ----------
    terms : mapping of str to array (n, columns)
        Columns of each term, intercept not included.
    outcome : array (n,)
        Outcome.
    kind : {"II", "III"}
        Type of the sums of squares.

    Returns
    -------
    dict of str to FTest, LeastSquares
        Tests by term, and the full model.

    Examples
    --------
    >>> a = sum_columns(np.array([0, 0, 1, 1]), 2)
    >>> tests, fit = sums_of_squares({"a": a}, [1, 2, 4, 6])
    >>> round(tests["a"].statistic, 4), fit.df
    (9.8, 2)
    """
    if kind not in ("II", "III"):
        raise InputError("sums of squares are of type II or III", [kind])
    y = np.asarray(outcome, dtype=float)
    full = _fit(terms, list(terms), y)
    tests = {}
    for name in terms:
        others = [
            other for other in terms if other != name and (kind == "III" or not holds(other, name))
        ]
        small = _fit(terms, others, y)
        large = full if kind == "III" else _fit(terms, [*others, name], y)
        tests[name] = f_test(small.sse - large.sse, small.df - large.df, full.sse, full.df)
    return tests, full


def holds(larger: str, smaller: str) -> bool:
    """Whether a term contains another, both of factors joined by ``:``."""
    return set(smaller.split(":")) < set(larger.split(":"))


def _fit(terms: Mapping[str, Floats], use: Sequence[str], y: Floats) -> LeastSquares:
    blocks = [np.ones((len(y), 1)), *(np.asarray(terms[name], dtype=float) for name in use)]
    names = ["intercept"] + [
        f"{name}[{i}]" for name in use for i in range(np.shape(terms[name])[1])
    ]
    return fit_least_squares(np.hstack(blocks), y, names=names)
