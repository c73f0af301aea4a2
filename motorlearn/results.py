"""The shape every result has: numbers, the recipe that made them, and one table to print.

A result is a frozen dataclass beside the function that makes it. It inherits :class:`Result`,
declares every field and says in ``tables`` how it is shown; text, HTML and JSON follow from that.
"""

import dataclasses
import functools
import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.metadata import version
from typing import Any, ParamSpec, Self, TypeVar

import numpy as np
import pandas as pd

import motorlearn
from motorlearn.exceptions import FitError, InputError, RefusedError
from motorlearn.rows import LEFT_OUT
from motorlearn.tables import Table, to_html, to_text

_DAMAGE = (
    ArithmeticError,
    AttributeError,
    LookupError,
    MemoryError,
    RuntimeError,
    TypeError,
    ValueError,
)


P = ParamSpec("P")
R = TypeVar("R")


SOFTWARE = ("motorlearn", "numpy", "scipy", "pandas", "statsmodels")
"""What numbers come from; figures and files have libraries of their own."""


@functools.cache
def _versions() -> tuple[tuple[str, str], ...]:
    return tuple((name, version(name)) for name in SOFTWARE[1:])


def software_versions() -> dict[str, str]:
    """Versions of the software that numbers come from, by name.

    Examples
    --------
    >>> list(software_versions())
    ['motorlearn', 'numpy', 'scipy', 'pandas', 'statsmodels']
    """
    return {"motorlearn": motorlearn.__version__, **dict(_versions())}


def nobody_left_out() -> pd.DataFrame:
    """Give the empty list of what was left out."""
    return LEFT_OUT.frame()


@dataclass(frozen=True)
class Recipe:
    """How a result was made, in full, so that it can be made again.

    Parameters
    ----------
    call : str
        Name of the public function.
    columns : mapping of str to str
        Role of each column used, for example ``{"outcome": "radial_error"}``.
    options : mapping
        Every option as it was used, defaults included.
    n : int
        Rows that were analysed.
    left_out : DataFrame
        One row per participant and reason: ``participant, group, reason, rows``.
    seed : int or None
        Seed of the random numbers, if any were drawn.
    engine : str
        The numerical method in words.
    converged : bool
        Whether the optimiser's own claim held when it was re-checked.
    message : str
        What the optimiser or the checks said.
    at_bound : tuple of str
        Parameters that ended at a bound.
    versions : mapping of str to str
        Software that the numbers come from, by name.
    """

    call: str
    columns: Mapping[str, str] = field(default_factory=dict)
    options: Mapping[str, Any] = field(default_factory=dict)
    n: int = 0
    left_out: pd.DataFrame = field(default_factory=nobody_left_out, repr=False)
    seed: int | None = None
    engine: str = ""
    converged: bool = True
    message: str = ""
    at_bound: tuple[str, ...] = ()
    versions: Mapping[str, str] = field(default_factory=software_versions, repr=False)


@dataclass(frozen=True)
class Refused:
    """What could not be computed, and why; it stands where the number would have stood."""

    reason: str

    @property
    def told(self) -> str:
        """The reason as the end of a sentence, with one full stop."""
        return f"{self.reason.removesuffix('.')}."

    def __str__(self) -> str:
        return f"not computed: {self.reason}"

    def __bool__(self) -> bool:
        return False


def or_refused(compute: Callable[P, R]) -> "Callable[P, R | Refused]":
    """Decorator: give the reason in place of a result that these data do not allow."""

    @functools.wraps(compute)
    def computed(*arguments: P.args, **options: P.kwargs) -> R | Refused:
        try:
            return compute(*arguments, **options)
        except (InputError, RefusedError, FitError) as problem:
            return Refused(str(problem))

    return computed


MAIN_CELLS = 8
"""Cells of the main row that the short form of a result names."""


class Result:
    """Base of every result: printing and JSON from declared fields only."""

    def __init_subclass__(cls, **options: Any) -> None:
        """Give every result the short form, which a dataclass would otherwise replace."""
        super().__init_subclass__(**options)
        if "__repr__" not in cls.__dict__:
            cls.__repr__ = Result._short  # type: ignore[method-assign,assignment]

    def _short(self) -> str:
        """What it is, how many rows, the main row, how to see more."""
        tables = self.tables()
        if not tables:
            return f"{type(self).__name__} without a table; its fields hold what there is."
        first, recipe = tables[0], getattr(self, "recipe", None)
        size = f", n = {recipe.n}" if isinstance(recipe, Recipe) and recipe.n else ""
        cells = first.cells()
        row = list(zip(first.headings, cells[0], strict=True))[:MAIN_CELLS] if len(cells) else []
        main = "; ".join(f"{heading} {cell}".strip() for heading, cell in row if cell != "–")
        others = ", ".join(table.name for table in tables[1:])
        return (
            f"{type(self).__name__}: {first.title} ({len(first.rows)} rows{size})"
            + (f". First row: {main}" if main else "")
            + (f". Further tables: {others}" if others else "")
            + ". print() shows tables, .to_frame() gives values."
        )

    def tables(self) -> Sequence[Table]:
        """Tables that show this result, the most important one first."""
        raise NotImplementedError

    def to_frame(self) -> pd.DataFrame:
        """Raw values of the first table."""
        return self.tables()[0].rows.copy()

    def __str__(self) -> str:
        return "\n\n".join(to_text(table) for table in self.tables())

    def _repr_html_(self) -> str:
        return "".join(to_html(table) for table in self.tables())

    def to_json(self) -> str:
        """Write every declared field as JSON that :meth:`from_json` reads back."""
        return json.dumps(self.stored(), ensure_ascii=False)

    def stored(self) -> dict[str, Any]:
        """Every declared field in the types of JSON, as :meth:`to_json` writes it."""
        return {"result": type(self).__name__, **_fields(self)}

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Read a result back from JSON; no code is run.

        Raises
        ------
        InputError
            If the text is damaged or holds another result.
        """
        try:
            stored = json.loads(text)
            name = stored.pop("result", None) if isinstance(stored, dict) else None
            if name != cls.__name__:
                raise InputError(
                    f"this JSON does not hold a {cls.__name__}", [name], "use the class it names"
                )
            built: Self = _build(cls, stored)
            return built
        except InputError:
            raise
        except _DAMAGE as problem:
            raise InputError(
                f"the stored {cls.__name__} is damaged",
                [f"{type(problem).__name__}: {problem}"],
                "take the file as it was written, or make the result again",
            ) from problem


def _fields(thing: Any) -> dict[str, Any]:
    return {entry.name: encode(getattr(thing, entry.name)) for entry in dataclasses.fields(thing)}


def encode(value: Any) -> Any:
    """Turn a field into JSON types; arrays, frames and nested records are tagged."""
    match value:
        case None | bool() | str() | int():
            return value
        case float():
            return value if math.isfinite(value) else {"float": str(value)}
        case np.generic():
            return encode(value.item())
        case np.ndarray():
            return {
                "array": [encode(entry) for entry in value.ravel().tolist()],
                "shape": list(value.shape),
                "dtype": str(value.dtype),
            }
        case pd.DataFrame():
            columns = {str(name): encode(column.tolist()) for name, column in value.items()}
            kinds = {str(name): str(column.dtype) for name, column in value.items()}
            return {"frame": columns, "kinds": kinds, "rows": len(value)}
        case Mapping():
            return {"mapping": [[encode(key), encode(entry)] for key, entry in value.items()]}
        case tuple() | list():
            items = [encode(entry) for entry in value]
            return {"tuple": items} if isinstance(value, tuple) else items
        case _ if dataclasses.is_dataclass(value):
            return {"record": type(value).__name__, "fields": _fields(value)}
        case _ if value is pd.NA:
            return None
    raise InputError("a result holds something JSON cannot carry", [type(value).__name__])


_RECORDS = {"Recipe": Recipe, "Refused": Refused}


def decode(value: Any) -> Any:
    """Turn what :func:`encode` wrote back into Python, NumPy and pandas objects."""
    if isinstance(value, list):
        return [decode(entry) for entry in value]
    if not isinstance(value, dict):
        return value
    if "float" in value:
        return float(value["float"])
    if "array" in value:
        return np.array(decode(value["array"]), dtype=value["dtype"]).reshape(value["shape"])
    if "frame" in value:
        return _decode_frame(value)
    if "mapping" in value:
        return {decode(key): decode(entry) for key, entry in value["mapping"]}
    if "tuple" in value:
        return tuple(decode(entry) for entry in value["tuple"])
    if value.get("record") in _RECORDS:
        return _build(_RECORDS[value["record"]], value["fields"])
    raise InputError("this JSON holds a record of an unknown kind", [value.get("record")])


def register_record(cls: type) -> type:
    """Class decorator: let a frozen dataclass that is a field of a result be read back."""
    _RECORDS[cls.__name__] = cls
    return cls


def _decode_frame(value: dict[str, Any]) -> pd.DataFrame:
    columns = {name: decode(entries) for name, entries in value["frame"].items()}
    frame = pd.DataFrame(columns, index=pd.RangeIndex(value["rows"]))
    for name, kind in value["kinds"].items():
        if kind != "category":
            frame[name] = frame[name].astype(kind)
    return frame


def _build(cls: type, fields: dict[str, Any]) -> Any:
    expected = {entry.name for entry in dataclasses.fields(cls)}
    if set(fields) != expected:
        raise InputError(
            f"the stored {cls.__name__} does not have the fields of this version",
            sorted(expected ^ set(fields)),
            "make the result again",
        )
    return cls(**{name: decode(entry) for name, entry in fields.items()})
