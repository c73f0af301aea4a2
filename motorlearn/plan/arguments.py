"""Arguments that a caller or a command line hands in, checked and put in words."""

import math
from collections.abc import Iterable, Sequence
from typing import TypeGuard

import numpy as np

from motorlearn.design import Design
from motorlearn.exceptions import InputError


def _is_number(value: object) -> TypeGuard[float]:
    numeric = isinstance(value, int | float | np.integer | np.floating)
    return numeric and not isinstance(value, bool | np.bool_)


def whole_number(name: str, value: object, least: int = 1) -> int:
    """Give a whole number of at least so much.

    Raises
    ------
    InputError
        If the value is text, missing, not whole or too small.

    Examples
    --------
    >>> whole_number("trials", 12)
    12
    """
    if not _is_number(value) or not math.isfinite(value):
        raise InputError(f"{name} must be a whole number", [value], f"give {least} or more")
    if int(value) != value or value < least:
        raise InputError(f"{name} must be {least} or more, a whole number", [value])
    return int(value)


def seed_number(value: object) -> int:
    """Give a seed: a whole number of 0 or more, chosen by a person and never by the clock.

    Raises
    ------
    InputError
        If there is none, or it is no such number.
    """
    if value is None:
        raise InputError(
            "there is no seed",
            None,
            "choose a whole number beforehand, so that the draw can be made again and checked",
        )
    return whole_number("the seed", value, 0)


def whole_numbers(name: str, value: object, least: int = 1) -> tuple[int, ...]:
    """Give one or several whole numbers of at least so much as a tuple.

    Raises
    ------
    InputError
        If there is none, or one is text, missing, not whole or too small.
    """
    several = isinstance(value, Sequence | np.ndarray) and not isinstance(value, str)
    values = tuple(value) if several else (value,)  # type: ignore[arg-type]
    if not values:
        raise InputError(f"{name} must be {least} or more, a whole number", None, "give one")
    return tuple(whole_number(name, entry, least) for entry in values)


def a_plan(value: object) -> Design:
    """Give a plan that was read, and nothing else.

    Raises
    ------
    InputError
        If it is a file name, a dictionary or something else.
    """
    if not isinstance(value, Design):
        raise InputError(
            "a plan that was read is needed",
            [str(value)[:80]],
            "read it with motorlearn.read_design",
        )
    return value


def share(name: str, value: object, low: float = 0.0, high: float = 1.0) -> float:
    """Give a number between two limits, the limits included.

    Raises
    ------
    InputError
        If the value is text, missing or outside.
    """
    if not _is_number(value) or not low <= value <= high:
        raise InputError(f"{name} must be a number from {low:g} to {high:g}", [value])
    return float(value)


def distinct_names(what: str, values: object) -> list[str]:
    """Give names as text, each once; a single text is refused, as it would be cut into letters.

    Raises
    ------
    InputError
        If there are none, one comes twice, or they are no list.
    """
    if isinstance(values, str | bytes) or not isinstance(values, Iterable):
        raise InputError(f"{what} must be a list of names", [values], "put the names in brackets")
    names = [str(value).strip() for value in values]
    if not names or "" in names or len(set(names)) < len(names):
        raise InputError(f"{what} must be named, each once", names, "name each once")
    return names
