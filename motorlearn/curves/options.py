"""Options of the curves: what a caller may give, said once for every public call."""

from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import numpy as np

from motorlearn.exceptions import ColumnError, InputError

RESTARTS = ("warm-up", "savings", "both")
"""What sessions do: a loss that fades within them, forgetting between them, or both."""
LARGEST = 1e308
"""Numbers beyond this are none that a float holds."""
DRAWS_IS_OLD = (
    "The option draws is called simulations now; the old name works until version 3 and does the "
    "same."
)


def check_level(level: Any) -> float:
    """Give the confidence level, or refuse what is none.

    Examples
    --------
    >>> check_level(0.9)
    0.9
    """
    if not is_number(level) or not 0 < level < 1:
        remedy = "write 95 % as 0.95" if is_number(level) and 1 < level < 100 else ""
        raise InputError("the confidence level lies between 0 and 1", [level], remedy)
    return float(level)


def check_first(first: Any) -> float:
    """Give the practice count of the first trial, or refuse what is none."""
    return finite(first, "first, the practice count of the first trial, must be a finite number")


def check_simulations(
    simulations: Any, draws: Any = None, *, least: int = 1
) -> tuple[int, tuple[str, ...]]:
    """Give the number of simulations, and what to say where it came by its old name."""
    given = simulations if draws is None else draws
    if not whole(given) or given < least:
        raise InputError(f"simulations must be a whole number of at least {least}", [given])
    return int(given), () if draws is None else (DRAWS_IS_OLD,)


def check_seed(seed: Any) -> int | None:
    """Give a seed that the random numbers take."""
    if seed is not None and (not whole(seed) or seed < 0):
        raise InputError("the seed must be a whole number of at least 0", [seed])
    return None if seed is None else int(seed)


def check_fixed(fixed: Any, known: Sequence[str], title: str) -> dict[str, float]:
    """Give the terms that are held, or refuse unknown terms and values that are no numbers."""
    if fixed is None:
        return {}
    if not isinstance(fixed, Mapping):
        raise InputError("fixed must name terms with their values, as {'asymptote': 20}", [fixed])
    unknown = [name for name in fixed if name not in known]
    if unknown:
        raise InputError(
            f"the {title} curve has no such term to fix", unknown, f"choose {', '.join(known)}"
        )
    held = {
        name: finite(value, f"a fixed value is not a finite number: {name}")
        for name, value in fixed.items()
    }
    if {"asymptote", "gain", "start"} <= set(held):
        raise InputError("asymptote, gain and start cannot all be fixed: two settle the third")
    return held


def one_of(value: Any, known: Sequence[str], what: str) -> str:
    """Give one of a few words, or name them."""
    if not isinstance(value, str) or value not in known:
        raise InputError(f"there is no such {what}", [value], f"choose {', '.join(known)}")
    return value


def check_column(name: Any, what: str) -> None:
    """Refuse what cannot be the name of one column."""
    if not isinstance(name, str):
        raise InputError(f"{what} must be the name of a column", [name])


def check_table(table: Any, names: Sequence[str], what: str) -> None:
    """Refuse a table without rows, or without a column that is needed, or with two of it."""
    held = list(table.columns)
    absent = [name for name in names if name not in held]
    if absent:
        raise ColumnError(f"the table lacks columns that {what}", absent)
    twice = [name for name in names if held.count(name) > 1]
    if twice:
        raise ColumnError("the table has columns of the same name", twice, "rename one of them")
    if not len(table):
        raise InputError("the table has no rows")


def check_labels(table: Any, names: Sequence[str]) -> None:
    """Refuse columns that should name people, groups or sessions and do not in some rows."""
    for name in names:
        column = table[name]
        empty = np.flatnonzero(column.isna()) + 1
        if empty.size:
            raise InputError(f"column {name!r} is empty in rows", empty)
        if column.dtype.kind == "O":
            wrong = [value for value in column.tolist() if not isinstance(value, Hashable)]
            if wrong:
                raise InputError(
                    f"column {name!r} holds what cannot be a name", wrong[:1], "write words"
                )


def names_of(given: Any, what: str) -> tuple[str, ...]:
    """One name or several, as a tuple."""
    names = (given,) if isinstance(given, str) else given
    if not isinstance(names, list | tuple) or not all(isinstance(name, str) for name in names):
        raise InputError(f"{what} must hold names", [given])
    return tuple(names)


def finite(value: Any, cause: str) -> float:
    """Give a finite float or refuse with a cause."""
    if not is_number(value) or not np.isfinite(value):
        raise InputError(cause, [value])
    return float(value)


def is_number(value: Any) -> bool:
    """Whether this is one real number, none too large for a float."""
    one = isinstance(value, int | float | np.integer | np.floating) and not isinstance(value, bool)
    return one and not (isinstance(value, int) and abs(value) > LARGEST)


def whole(value: Any) -> bool:
    """Whether this is one whole number."""
    return is_number(value) and bool(np.isfinite(value)) and value == int(value)
