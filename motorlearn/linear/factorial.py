"""Analysis of variance with several factors between and within participants, and covariates.

As in :mod:`motorlearn.linear.repeated` every test is made on the participants' contrast scores;
here the columns between participants come in terms, each tested by type III or type II.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike

from motorlearn.exceptions import FitError, InputError
from motorlearn.linear.coding import holds, product_columns, sum_columns
from motorlearn.linear.hypotheses import FTest, f_test
from motorlearn.linear.least_squares import Floats
from motorlearn.linear.repeated import (
    RepeatedEffect,
    Sphericity,
    effect_of,
    sphericity,
    within_bases,
)

KINDS = ("III", "II")


def crossed_columns(codes: Mapping[str, ArrayLike]) -> dict[str, Floats]:
    """Sum-coded columns of one or two factors and of their product, by term.

    Parameters
    ----------
    codes : mapping of str to array of int (n,)
        Level of each participant, by factor; every level from 0 on has somebody.

    Examples
    --------
    >>> terms = crossed_columns({"order": [0, 0, 1, 1], "feedback": [0, 1, 0, 1]})
    >>> {name: columns.ravel().tolist() for name, columns in terms.items()}["order:feedback"]
    [1.0, -1.0, -1.0, 1.0]
    """
    main = {}
    for name, given in codes.items():
        level = np.asarray(given, dtype=np.intp)
        main[name] = sum_columns(level, int(level.max()) + 1)
    terms = dict(main)
    if len(main) > 1:
        first, second = main.values()
        terms[":".join(main)] = product_columns(first, second)
    return terms


def factorial_anova(
    scores: ArrayLike,
    terms: Mapping[str, ArrayLike],
    *,
    within: Sequence[tuple[str, int]] = (),
    kind: str = "III",
) -> list[RepeatedEffect]:
    """Analysis of variance of complete scores, terms between participants by factors within them.

    Type III tests each term after all others; type II after those that do not contain it. The
    error of a test is that of the whole model.

    Parameters
    ----------
    scores : array (participants, cells)
        One score per participant and cell within, the last factor of ``within`` fastest; one
        column where nothing varies within participants.
    terms : mapping of str to array (participants, columns)
        Columns between participants: sum-coded factors, their products joined by ``:``, covariates
        as deviations from their mean.
    within : sequence of (name, levels)
        Factors within participants.
    kind : {"III", "II"}
        Type of the sums of squares.

    Returns
    -------
    list of RepeatedEffect
        The terms between participants, then each within effect followed by its products with them.

    Raises
    ------
    InputError
        If a score is missing, the cells do not match, or the type is another.
    FitError
        If there are too few participants or terms that cannot be told apart (an empty cell).

    Examples
    --------
    >>> terms = crossed_columns({"order": [0, 0, 0, 1, 1, 1, 1], "feedback": [0, 1, 1, 0, 0, 1, 1]})
    >>> found = factorial_anova([[3.0], [5], [6], [4], [5], [9], [8]], terms)
    >>> [(effect.term, round(effect.test.statistic, 3)) for effect in found]
    [('order', 16.2), ('feedback', 33.8), ('order:feedback', 1.8)]
    """
    y = np.atleast_2d(np.asarray(scores, dtype=float))
    blocks = {"": np.ones((len(y), 1))}
    blocks |= {name: np.asarray(columns, dtype=float) for name, columns in terms.items()}
    _check(y, blocks, within, kind)
    design = np.hstack(list(blocks.values()))
    df = len(y) - design.shape[1]
    rows: list[tuple[str, FTest, Sphericity | None]] = []
    for names, basis in within_bases(within):
        z = y @ basis
        spread = _spread(design, z)
        shape = sphericity(spread, df) if z.shape[1] > 1 else None
        for term in blocks:
            parts = [part for part in (term, *names) if part]
            if parts:
                test = _test(blocks, term, z, (float(np.trace(spread)), df), kind)
                rows.append((":".join(parts), test, shape))
    pool = float(np.trace(_spread(design, y)))
    return [effect_of(term, test, shape, pool) for term, test, shape in rows]


def _spread(design: Floats, z: Floats) -> Floats:
    left = z - design @ np.linalg.lstsq(design, z, rcond=None)[0]
    found: Floats = left.T @ left
    return found


def _test(
    blocks: Mapping[str, Floats], term: str, z: Floats, error: tuple[float, int], kind: str
) -> FTest:
    """Sum of squares that the term adds to the others, or to those that do not contain it."""
    others = [name for name in blocks if name != term and (kind == "III" or not _in(term, name))]
    small = _squares([blocks[name] for name in others], z)
    large = _squares([blocks[name] for name in (*others, term)], z)
    columns = z.shape[1]
    return f_test(small - large, columns * blocks[term].shape[1], error[0], columns * error[1])


def _in(term: str, other: str) -> bool:
    """Whether another term contains this one; every term contains the mean."""
    return not term or holds(other, term)


def _squares(blocks: Sequence[Floats], z: Floats) -> float:
    if not blocks:
        return float(np.sum(z**2))
    return float(np.trace(_spread(np.hstack(blocks), z)))


def _check(
    y: Floats, blocks: Mapping[str, Floats], within: Sequence[tuple[str, int]], kind: str
) -> None:
    if kind not in KINDS:
        raise InputError("sums of squares are of type II or III", [kind])
    cells = int(np.prod([levels for _, levels in within], dtype=int))
    if y.shape[1] != cells:
        raise InputError(
            "scores need one column per cell of the within factors", [y.shape, *within]
        )
    if not np.isfinite(y).all():
        raise InputError(
            "repeated measures must be complete",
            remedy="leave out participants with a missing cell",
        )
    design = np.hstack(list(blocks.values()))
    if len(y) <= design.shape[1]:
        raise FitError(
            f"{len(y)} complete participants are too few for an analysis of variance of "
            f"{design.shape[1]} means."
        )
    if np.linalg.matrix_rank(design) < design.shape[1]:
        raise FitError(
            "the terms of the analysis of variance cannot be told apart: a cell of the factors is "
            "empty, or a covariate follows from the others."
        )
