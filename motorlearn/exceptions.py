"""The error tree: every exception the toolkit raises on purpose.

Each message is one sentence that names the cause, the values that offend and what to do about it;
it holds at most 500 signs, none of which a terminal would obey.
"""

import re
from collections.abc import Iterable
from typing import Final, Self

LONGEST: Final = 500
"""Most signs of a message; ``cause`` and ``values`` of the error hold everything."""
_LONGEST_VALUE: Final = 80

UNSEEN: Final = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\ufeff"
    "\xad\u180e\ufff9-\ufffb\ud800-\udfff]"
)
"""Signs no reader sees and a terminal, page or document obeys: controls, signs of no width, signs
that turn the direction of writing, half signs."""


class MotorlearnError(Exception):
    """Root of every error this package raises on purpose."""


class InputError(MotorlearnError, ValueError):
    """What was given cannot be used as it stands.

    Parameters
    ----------
    cause : str
        What is wrong and where, without a final full stop.
    values : iterable, optional
        The offending values; the first five are quoted in the message.
    remedy : str, optional
        What the reader can do next, without a final full stop.
    """

    def __init__(
        self, cause: str, values: Iterable[object] | None = None, remedy: str = ""
    ) -> None:
        self.cause = cause
        self.values = tuple(values) if values is not None else ()
        self.remedy = remedy
        super().__init__(_sentence(cause, self.values, remedy))

    def __reduce__(self) -> tuple[type[Self], tuple[str, tuple[object, ...] | None, str]]:
        return (type(self), (self.cause, self.values or None, self.remedy))


class FileError(InputError):
    """A file or folder is missing, empty, unreadable or unsafe."""


class ColumnError(InputError):
    """A table lacks a column that is needed, or has it twice."""


class DesignError(InputError):
    """The study's design file contradicts itself or says something unknown."""


class FormulaError(InputError):
    """A model formula asks for something outside the fixed list of names and functions."""


class PackageError(MotorlearnError, ImportError):
    """A package that is needed is not installed, as in a browser that lacks it."""


class FitError(MotorlearnError):
    """A model cannot be fitted to these data at all; the message says why."""


class RefusedError(MotorlearnError):
    """The request can be computed but would mislead; the message names the right alternative."""


def _sentence(cause: str, values: tuple[object, ...], remedy: str) -> str:
    text = cause
    if values:
        shown = ", ".join(_plain(value) for value in values[:5])
        more = f" and {len(values) - 5} more" if len(values) > 5 else ""
        text += f" ({shown}{more})"
    last = _cut(printable(f"; {remedy}" if remedy else ""), LONGEST // 2)
    return _cut(printable(text), LONGEST - len(last) - 1) + last + "."


def printable(text: str) -> str:
    """Write the signs that a terminal would obey, or that turn text about, as their escapes.

    Examples
    --------
    >>> print(printable("red\\x1b[31m"))
    red\\x1b[31m
    """
    if text.isprintable():
        return text
    return "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape").decode("ascii")
        for sign in text
    )


def visible(text: str) -> str:
    """Write the signs no reader sees as their escapes; line feeds and tabs stay.

    Examples
    --------
    >>> print(visible("p\\u202e1"))
    p\\u202e1
    """
    return UNSEEN.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), text)


def _plain(value: object) -> str:
    one = hasattr(value, "item") and getattr(value, "size", 1) == 1
    return _cut(repr(value.item() if one else value), _LONGEST_VALUE)  # type: ignore[attr-defined]


def _cut(text: str, most: int) -> str:
    """Cut a text in its middle."""
    half = (most - 1) // 2
    return text if len(text) <= most else f"{text[:half]}…{text[-half:]}"
