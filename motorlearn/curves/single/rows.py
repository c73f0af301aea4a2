"""The rows of one learner: what is missing, what cannot be used, which likelihood they ask."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from motorlearn.curves.forms import Form
from motorlearn.curves.options import one_of
from motorlearn.curves.single.problem import Sessions
from motorlearn.exceptions import InputError


@dataclass(frozen=True)
class Rows:
    """Usable rows in the order given; ``used`` marks them among all rows."""

    n: np.ndarray
    y: np.ndarray
    weights: np.ndarray
    binomial: bool
    used: np.ndarray
    warnings: tuple[str, ...]


def usable_rows(
    practice: ArrayLike,
    outcome: ArrayLike,
    *,
    attempts: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    repeated: str = "refuse",
) -> Rows:
    """Check one learner's rows; missing outcomes (NaN) are set aside, infinite ones are refused.

    Raises
    ------
    InputError
        For columns of different length, infinite values, practice counts that are missing or
        occur twice, hits that are not whole numbers from 0 to the attempts, weights not above 0.
    """
    n, y = as_numbers(practice, "practice"), as_numbers(outcome, "the outcome", hits=True)
    if n.shape != y.shape or n.ndim != 1:
        raise InputError("practice and outcome differ in length", [n.shape, y.shape])
    if not np.all(np.isfinite(n)):
        raise InputError("practice counts are missing or infinite", n[~np.isfinite(n)])
    if np.any(np.isinf(y)):
        raise InputError("outcomes are infinite", y[np.isinf(y)], "mark missing outcomes as empty")
    check_size(n, "practice counts")
    check_size(y, "outcomes")
    said = _as_given(n)
    used = ~np.isnan(y)
    binomial, m = _likelihood(y, used, attempts, weights)
    used &= ~np.isnan(m)
    n, y, m = n[used], y[used], m[used]
    check_repeats(n, y, binomial=binomial, repeated=repeated)
    if binomial:
        check_hits(y, m)
    elif np.any(m <= 0) or not np.all(np.isfinite(m)):
        raise InputError("weights must be above 0", m[~(m > 0)])
    return Rows(n, y, m, binomial, used, _doubts(y, binomial) + said)


LARGEST, SMALLEST = 1e100, 1e-100
"""Size of numbers whose squares a computer still holds."""


def of_plain_size(values: np.ndarray) -> bool:
    """Whether there are values, all finite, neither too large nor all too small."""
    return bool(values.size and SMALLEST <= max(-values.min(), values.max()) <= LARGEST)


def check_size(values: np.ndarray, what: str) -> None:
    """Refuse numbers so large, or all so small, that their squares cannot be held."""
    if of_plain_size(values):
        return
    size = np.abs(values[np.isfinite(values)])
    if size.size and size.max() > LARGEST:
        raise InputError(
            f"{what} are too large", size[size > LARGEST], "give them in a larger unit"
        )
    if size.size and 0 < size.max() < SMALLEST:
        raise InputError(f"{what} are too small", [size.max()], "take a smaller unit")


def as_numbers(
    values: Any, what: str, *, hits: bool = False, rows: Sequence[Any] | None = None
) -> np.ndarray:
    """Give a float array, or say what is no number and where.

    Dates and complex numbers are none; True and False are where they may be ``hits``. ``rows`` are
    numbers of the rows, where these are not all rows of a table.
    """
    if values is None:
        raise InputError(f"{what} is missing")
    try:
        plain = np.asarray(values)
    except ValueError as problem:
        raise InputError(f"{what} must be one row of numbers", [values]) from problem
    given = values if isinstance(values, list | tuple) else _objects(plain)
    if plain.dtype.kind in "cmM":
        raise InputError(f"{what} holds something that is not a number", [plain.dtype.name])
    _refuse_truth(plain, given, what, hits)
    try:
        if hasattr(values, "to_numpy"):
            found: np.ndarray = values.to_numpy(dtype=float, na_value=np.nan)
            return found
        return plain.astype(float)
    except (TypeError, ValueError, OverflowError) as problem:
        raise InputError(
            f"{what} holds something that is not a number", _no_numbers(plain, rows), _remedy(plain)
        ) from problem


def _objects(plain: np.ndarray) -> list[Any]:
    return plain.ravel().tolist() if plain.dtype.kind == "O" else []


def _refuse_truth(plain: np.ndarray, given: Sequence[Any], what: str, hits: bool) -> None:
    """Refuse True and False among numbers; alone they may be hits and misses."""
    true = [value for value in given if isinstance(value, bool | np.bool_)]
    if plain.dtype.kind == "b" and not hits:
        true = plain.ravel()[:1].tolist()
    elif hits and len(true) == sum(not _absent(value) for value in given):
        true = []
    if true:
        raise InputError(f"{what} holds True or False among numbers", true[:1], "write a number")
    if any(isinstance(value, complex) for value in given):
        raise InputError(f"{what} holds something that is not a number", _no_numbers(plain))


def _no_numbers(plain: np.ndarray, rows: Sequence[Any] | None = None) -> list[Any]:
    """What is no number, with its row where there are several."""
    if plain.ndim != 1:
        return [plain.tolist()]
    named = range(1, len(plain) + 1) if rows is None else rows
    found = [(row, value) for row, value in zip(named, plain.tolist()) if not _numeric(value)]
    return [f"{value} in row {row}" for row, value in found]


def _absent(value: Any) -> bool:
    """Whether a value is missing, in any of its spellings."""
    return value is None or repr(value) == "<NA>" or (isinstance(value, float) and value != value)


def _numeric(value: Any) -> bool:
    try:
        float(value)
    except (TypeError, ValueError, OverflowError):
        return _absent(value)
    return True


def _remedy(plain: np.ndarray) -> str:
    commas = any(isinstance(value, str) and "," in value for value in plain.ravel().tolist())
    return "write decimals with a point" if commas else "mark missing values as empty"


RUNS_OF_PEOPLE = 3
"""Runs of practice counts, one after the other, from which rows look like several people."""


def _as_given(n: np.ndarray) -> tuple[str, ...]:
    """Say so where the rows look like several people one after the other."""
    runs = 1 + int(np.sum(n[1:] < n[:-1]))
    counts = len(np.unique(n))
    if runs < RUNS_OF_PEOPLE or counts < 3 or len(n) < 0.8 * runs * counts:
        return ()
    return (
        f"The practice counts begin anew {runs - 1} times, as if {runs} people stood one after "
        "the other. The curve of a pool or an average is not the curve of a learner; fit each "
        "learner with fit_curves, or all of them with fit_population_curve.",
    )


def _likelihood(
    y: np.ndarray, used: np.ndarray, attempts: Any, weights: Any
) -> tuple[bool, np.ndarray]:
    if attempts is not None and weights is not None:
        raise InputError("attempts and weights cannot both be given")
    if attempts is not None:
        return True, _as_long(attempts, "attempts", y)
    if weights is not None:
        return False, _as_long(weights, "weights", y)
    return hit_or_miss(y[used]), np.ones(y.shape)


def _as_long(values: Any, what: str, y: np.ndarray) -> np.ndarray:
    numbers = as_numbers(values, what)
    if numbers.shape not in ((), y.shape):
        raise InputError(f"{what} and outcome differ in length", [numbers.shape, y.shape])
    return np.broadcast_to(numbers, y.shape).copy()


def hit_or_miss(y: np.ndarray) -> bool:
    """Whether outcomes are hits and misses: both 0 and 1, and nothing else."""
    return bool(np.all((y == 0) | (y == 1)) and np.any(y == 0) and np.any(y == 1))


def check_hits(hits: np.ndarray, attempts: np.ndarray) -> None:
    """Refuse counts that cannot be hits among attempts."""
    wrong = (hits < 0) | (hits > attempts) | (hits != np.rint(hits))
    if np.any(wrong):
        raise InputError(
            "hits must be whole numbers from 0 to the attempts of their row",
            hits[wrong],
            "give hits, not hit rates",
        )
    if np.any((attempts < 1) | (attempts != np.rint(attempts))):
        raise InputError("attempts must be whole numbers of at least 1", attempts[attempts < 1])


def check_repeats(n: np.ndarray, y: np.ndarray, *, binomial: bool, repeated: str) -> None:
    """Refuse practice counts that occur twice by mistake; blocks of equal size pass."""
    one_of(repeated, ("refuse", "allow"), "way with repeated counts")
    counts, times = np.unique(n, return_counts=True)
    if repeated == "allow" or not len(times) or times.max() == 1:
        return
    remedy = "remove the copies, or give repeated='allow' where several trials share a count"
    if np.median(times) <= 1:
        raise InputError("practice counts occur more than once", counts[times > 1], remedy)
    pairs, copies = np.unique(np.stack([n, y], axis=1), axis=0, return_counts=True)
    if not binomial and np.all(copies % 2 == 0):
        raise InputError("every row occurs twice", pairs[:5, 0], remedy)


def check_counts(form: Form, n: np.ndarray, first: float) -> None:
    """Refuse practice counts below what the form is defined for."""
    low = n[n < form.least_count]
    if len(low):
        raise InputError(
            f"the {form.title} curve needs practice counts of at least {form.least_count:g}",
            low,
            "count the first trial as 1",
        )
    if first < form.least_count:
        raise InputError(f"first is below the least count of the {form.title} curve", [first])


def _labels(labels: Any) -> np.ndarray:
    """Labels as an array; of lists of different length there is none."""
    try:
        return np.asarray(labels)
    except ValueError as problem:
        raise InputError("session must name one session for each row", [labels]) from problem


def session_terms(
    labels: ArrayLike, n: np.ndarray, used: np.ndarray, kind: str = "warm-up"
) -> Sessions:
    """Sessions in the order in which practice meets them."""
    names = _labels(labels)
    if names.shape != used.shape:
        raise InputError("session and outcome differ in length", [names.shape, used.shape])
    names = names[used]
    empty = [name for name in names.tolist() if name is None or name != name]
    if empty:
        raise InputError("some rows name no session", empty)
    order = list(dict.fromkeys(names[np.argsort(n, kind="stable")].tolist()))
    member = np.array([order.index(name) for name in names.tolist()])
    begin = np.array([n[member == k].min() for k in range(len(order))])
    if len(order) < 2:
        raise InputError("a restart term needs at least two sessions", order)
    return Sessions(tuple(order), member, n - begin[member], begin, kind)


def _doubts(y: np.ndarray, binomial: bool) -> tuple[str, ...]:
    shares = len(y) and not binomial and y.min() >= 0 and y.max() <= 1 and y.max() > y.min()
    if not shares:
        return ()
    return (
        "All outcomes lie between 0 and 1. If they are hit rates, give hits and attempts "
        "instead: least squares on rates is not appropriate.",
    )
