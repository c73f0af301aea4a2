"""Whether a method is told as it was or as it will be: in a report, or in a plan to come."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

_TO_COME: Final = ContextVar("whether the method that is told is still to come", default=False)


@contextmanager
def to_come() -> Iterator[None]:
    """Tell every method inside in the future.

    Examples
    --------
    >>> with to_come():
    ...     f"The target {was()} a disc."
    'The target will be a disc.'
    >>> f"The target {was()} a disc."
    'The target was a disc.'
    """
    token = _TO_COME.set(True)
    try:
        yield
    finally:
        _TO_COME.reset(token)


def was() -> str:
    """``was``, or ``will be`` of what is to come."""
    return told("was", "will be")


def were() -> str:
    """``were``, or ``will be`` of what is to come."""
    return told("were", "will be")


def told(past: str, future: str) -> str:
    """The past of a verb, or its future where the method is still to come."""
    return future if _TO_COME.get() else past
