"""Kinds of contrasts between levels: pairs, against a reference, trends, Helmert, or one's own."""

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from motorlearn.exceptions import InputError

Array = NDArray[np.float64]
Kind = str | Mapping[str, Sequence[float]]

KINDS = ("pairwise", "reference", "polynomial", "helmert")


def kind_in_words(kind: Kind) -> str:
    """Name of a kind of contrast, for the recipe."""
    return kind if isinstance(kind, str) else "custom"


def contrast_weights(
    names: Sequence[str], kind: Kind, reference: object = None
) -> tuple[list[str], Array]:
    """Labels and weights (k, levels) of the contrasts of a kind.

    Raises
    ------
    InputError
        If the kind or the reference is not known, or weights of one's own do not fit the levels.

    Examples
    --------
    >>> contrast_weights(["a", "b", "c"], "helmert")[0]
    ['b - mean of a', 'c - mean of a, b']
    """
    if len(names) < 2:
        raise InputError("a contrast needs at least two levels", names, "name another column")
    if isinstance(kind, Mapping):
        return _own(names, kind)
    if kind not in KINDS:
        raise InputError(
            "the kind of contrast is not known",
            [kind],
            f"use one of {KINDS}, or weights by name such as "
            "{'late - early': [-1, 0, 1]}, one for each level",
        )
    if kind == "polynomial":
        return _polynomial(len(names))
    if kind == "helmert":
        return _helmert(names)
    return _pairs(names, kind, reference)


def _pairs(names: Sequence[str], kind: str, reference: object) -> tuple[list[str], Array]:
    base = names[0] if reference is None else str(reference)
    if base not in names:
        raise InputError("the reference is not a level", [reference], f"use one of {names}")
    start, count = list(names).index(base), len(names)
    pairs = (
        list(combinations(range(count), 2))
        if kind == "pairwise" and reference is None
        else [(start, other) for other in range(count) if other != start]
    )
    weights = np.zeros((len(pairs), count))
    for line, (first, second) in zip(weights, pairs, strict=True):
        line[first], line[second] = -1, 1
    return [f"{names[second]} - {names[first]}" for first, second in pairs], weights


def _polynomial(count: int) -> tuple[list[str], Array]:
    names = ["linear", "quadratic", "cubic", "quartic", "quintic"][: count - 1]
    steps = np.arange(count) - (count - 1) / 2
    q, r = np.linalg.qr(np.vander(steps, len(names) + 1, increasing=True))
    return names, (q * np.sign(np.diag(r))).T[1:]


def _helmert(names: Sequence[str]) -> tuple[list[str], Array]:
    weights = np.zeros((len(names) - 1, len(names)))
    for i, line in enumerate(weights, start=1):
        line[:i], line[i] = -1 / i, 1
    labels = [f"{names[i]} - mean of {', '.join(names[:i])}" for i in range(1, len(names))]
    return labels, weights


def _own(names: Sequence[str], given: Mapping[str, Sequence[float]]) -> tuple[list[str], Array]:
    """Weights of one's own, which sum to zero so that they compare."""
    if not given:
        raise InputError("no contrast is given", None, "give weights by name")
    for label, line in given.items():
        values = np.asarray(line, dtype=float)
        if values.shape != (len(names),) or not np.isfinite(values).all() or not values.any():
            raise InputError(
                f"the contrast {label!r} does not have one number for each of {len(names)} levels",
                list(np.ravel(line)),
                f"the levels are {', '.join(names)}",
            )
        if abs(values.sum()) > 1e-8 * np.abs(values).sum():
            raise InputError(
                f"the weights of the contrast {label!r} do not sum to zero",
                [float(values.sum())],
                "a contrast compares: let its weights sum to zero",
            )
    return [str(label) for label in given], np.array([list(line) for line in given.values()], float)
