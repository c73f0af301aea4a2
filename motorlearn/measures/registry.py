"""Measures of one's own: registered once, scored, analysed and reported like the standard ones."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from numbers import Real
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.exceptions import ColumnError, InputError, MotorlearnError
from motorlearn.measures.cards import CARDS, DIRECTIONS, Card, keep_own_card
from motorlearn.vocabulary import COLUMNS

Function = Callable[[pd.DataFrame], float]

_COUNTS = (
    "n",
    "n_missing",
    "n_error",
    "n_landing",
    "n_radial",
    "n_contradicting",
    "n_time",
    "n_trials",
    "stage",
)
"""Columns of tables of scores that are no measures."""
_LONGEST_NAME: Final = 80
_FAILURES = (
    MotorlearnError, ArithmeticError, AssertionError, AttributeError, BufferError, EOFError,
    ImportError, LookupError, MemoryError, NameError, OSError, RuntimeError, TypeError, ValueError,
)  # fmt: skip
"""What a function of somebody else's may raise: the families of errors of Python."""


@dataclass(frozen=True)
class RegisteredMeasure:
    """A measure of one's own.

    Parameters
    ----------
    name : str
        Name of its column in tables of scores, and of the outcome in a plan.
    function : callable
        Takes the counted rows of one cell, returns one number.
    columns : tuple of str
        Columns that it needs.
    card : Card
        Its definition card.
    """

    name: str
    function: Function
    columns: tuple[str, ...]
    card: Card

    def has_values(self, rows: pd.DataFrame) -> bool:
        """Whether each of its columns holds a value in these rows."""
        return bool(rows[list(self.columns)].notna().any().all())

    def score(self, rows: pd.DataFrame, cell: str) -> float:
        """Score of the rows of one cell, NaN where one of its columns holds no value.

        Raises
        ------
        InputError
            If the function raises an error or returns anything but one number; infinity is none.
        """
        if not self.has_values(rows):
            return np.nan
        try:
            value: object = self.function(rows.copy())
        except _FAILURES as problem:
            raise InputError(
                f"the registered measure {self.name!r} fails at {cell}",
                [f"{type(problem).__name__}: {problem}"],
                "mend its function and register it again, or take it out with forget_measure",
            ) from problem
        if value is pd.NA:
            return np.nan
        if not isinstance(value, Real) or isinstance(value, bool) or np.isinf(float(value)):
            raise InputError(
                f"the registered measure {self.name!r} gives no number at {cell}",
                [value if np.isscalar(value) else type(value).__name__],
                "let its function return one finite number, or NaN where it cannot be computed",
            )
        return float(value)


_REGISTERED: dict[str, RegisteredMeasure] = {}


def register_measure(
    name: str,
    function: Function,
    *,
    columns: str | Sequence[str],
    unit: str = "",
    better: str,
    meaning: str,
    replace: bool = False,
) -> RegisteredMeasure:
    """Make a measure of one's own known to scores, plans and reports.

    :func:`score_trials` then gives it as a further column wherever ``columns`` are present, and a
    plan may name it under ``[[outcomes]]``. It is known in this run of Python only: register it
    again in every notebook or script that needs it.

    Parameters
    ----------
    name : str
        Letters, digits and underscores; no standard column and no standard measure.
    function : callable
        Takes the DataFrame of the counted rows of one cell (one person at one test, say; all
        columns, void rows left out, single values may be missing) and returns one number, NaN
        where it cannot be computed. A cell where one of ``columns`` is empty is not asked for.
    columns : str or sequence of str
        Columns the function needs.
    unit : str
        Unit of the measure, ``cm``, or the quantity whose unit it has, ``length`` or ``time``.
    better : str
        ``lower``, ``higher``, ``nearer zero`` or ``neither``.
    meaning : str
        Definition in one sentence or as an equation, for the definition card.
    replace : bool
        Whether a registered measure of this name is replaced; standard ones never are.

    Returns
    -------
    RegisteredMeasure
        The measure with its definition card.

    Raises
    ------
    InputError
        If the name is taken or unfit, or one of the other values is.

    Examples
    --------
    >>> measure = register_measure(
    ...     "farthest", lambda rows: rows["error"].abs().max(), columns="error", unit="cm",
    ...     better="lower", meaning="max(|e|)",
    ... )
    >>> trials = pd.DataFrame({"participant": ["a", "a"], "error": [1.0, -3.0]})
    >>> from motorlearn.measures import score_trials
    >>> score_trials(trials, "participant")["farthest"].tolist()
    [3.0]
    >>> forget_measure("farthest")
    """
    _check_name(name, replace)
    needed = (columns,) if isinstance(columns, str) else tuple(columns)
    if not needed or not all(isinstance(column, str) and column for column in needed):
        raise InputError(
            f"the measure {name!r} needs the names of its columns",
            needed,
            'name what its function reads, for example columns=["x", "y"]',
        )
    if not callable(function):
        raise InputError(
            f"the measure {name!r} needs a function",
            [function],
            "pass a function that takes a DataFrame of rows and returns one number",
        )
    if better not in DIRECTIONS:
        raise InputError(
            f"the direction of {name!r} is not known", [better], f"say {', '.join(DIRECTIONS)}"
        )
    if not isinstance(meaning, str) or not meaning.strip() or not isinstance(unit, str):
        raise InputError(
            f"the measure {name!r} needs a meaning and a unit in words",
            [meaning, unit],
            "define it in one sentence or as an equation; leave unit='' where it has none",
        )
    source = "own measure, registered by the author of the analysis"
    card = Card(name, name.replace("_", " "), "", meaning, unit, better, "", source)
    measure = RegisteredMeasure(name, function, needed, card)
    _REGISTERED[name] = measure
    keep_own_card(name, card)
    return measure


def _check_name(name: str, replace: bool) -> None:
    fit = isinstance(name, str) and name.isidentifier() and len(name) <= _LONGEST_NAME
    if not fit:
        raise InputError(
            "a measure's name is of letters, digits and underscores and begins with no digit",
            [name],
            "choose another, for example worst_quarter",
        )
    if name in COLUMNS or name in _COUNTS:
        raise InputError("a standard column has this name", [name], "choose another")
    if name in CARDS:
        raise InputError("a standard measure has this name", [name], "choose another")
    if name in _REGISTERED and not replace:
        raise InputError(
            "a measure of this name is registered",
            [name],
            "choose another, or pass replace=True",
        )


def registered_measures() -> dict[str, RegisteredMeasure]:
    """Return the measures that are registered, by name, in the order of registration.

    Examples
    --------
    >>> registered_measures()
    {}
    """
    return dict(_REGISTERED)


def forget_measure(name: str) -> None:
    """Take a registered measure and its definition card out again.

    Raises
    ------
    InputError
        If no measure of this name is registered.

    Examples
    --------
    >>> _ = register_measure(
    ...     "trials_made", len, columns="trial", better="neither", meaning="number of trials"
    ... )
    >>> forget_measure("trials_made")
    >>> registered_measures()
    {}
    """
    _named(name)
    del _REGISTERED[name]
    keep_own_card(name, None)


def _named(name: str) -> RegisteredMeasure:
    if name not in _REGISTERED:
        listed = ", ".join(_REGISTERED) or "none is"
        raise InputError(
            "no measure of this name is registered",
            [name],
            f"register it with register_measure; registered now: {listed}",
        )
    return _REGISTERED[name]


def measures_for(
    table: pd.DataFrame, names: Sequence[str] | None = None
) -> tuple[RegisteredMeasure, ...]:
    """Registered measures whose columns are all in a table; with ``names`` only these.

    Raises
    ------
    ColumnError
        If the table has a column of the name of one of them.
    InputError
        If one of ``names`` is not registered.
    """
    asked = list(_REGISTERED.values()) if names is None else [_named(name) for name in names]
    taken = [measure.name for measure in asked if measure.name in table]
    if taken:
        raise ColumnError(
            "a column of the table has the name of a registered measure",
            taken,
            "rename the column, or take the measure out with forget_measure",
        )
    return tuple(one for one in asked if set(one.columns) <= set(table.columns))


def registered_by_group(
    measures: Sequence[RegisteredMeasure],
    rows: pd.DataFrame,
    codes: NDArray[np.intp],
    keys: pd.DataFrame,
) -> dict[str, NDArray[np.float64]]:
    """Score every group of counted rows with registered measures.

    Parameters
    ----------
    measures : sequence of RegisteredMeasure
        The measures, as :func:`measures_for` gives them.
    rows : DataFrame
        Rows that count.
    codes : ndarray of int, shape (rows,)
        Number of the group of each row: its row in ``keys``.
    keys : DataFrame
        What names each group; without columns where all rows are one group.
    """
    found = {measure.name: np.full(len(keys), np.nan) for measure in measures}
    if not measures:
        return found
    for code, at in pd.Series(range(len(rows))).groupby(codes).indices.items():
        group = rows.iloc[at]
        cell = ", ".join(f"{name} {keys[name].iloc[code]}" for name in keys) or "all rows"
        for measure in measures:
            found[measure.name][code] = measure.score(group, cell)
    return found
