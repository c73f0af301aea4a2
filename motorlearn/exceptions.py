"""The error tree: every exception the toolkit raises on purpose.

Each message is one sentence that names the cause, the values that offend and what to do about it.
"""

from collections.abc import Iterable


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

    def __reduce__(self):
        return (type(self), (self.cause, self.values or None, self.remedy))


class FileError(InputError):
    """A file or folder is missing, empty, unreadable or unsafe."""


class ColumnError(InputError):
    """A table lacks a column that is needed, or has it twice."""


class DesignError(InputError):
    """The study's design file contradicts itself or says something unknown."""


class FormulaError(InputError):
    """A model formula asks for something outside the fixed list of names and functions."""


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
    if remedy:
        text += f"; {remedy}"
    return text + "."


def _plain(value: object) -> str:
    return repr(value.item() if hasattr(value, "item") else value)
