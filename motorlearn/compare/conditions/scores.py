"""Scores of people by condition and phase, with the period and the sequence of each."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.compare.participants import (
    Codes,
    Columns,
    PhaseScores,
    Scores,
    levels_of,
    score_participants,
)
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.rows import LEFT_OUT
from motorlearn.vocabulary import CROSSED

_ROW = "\0row"
_CELL = "\0cell"


@dataclass(frozen=True)
class Within:
    """Columns of a design within people.

    Parameters
    ----------
    factors : tuple of str
        One or two factors that each person meets in all their levels.
    period : str or None
        What changes places with the condition: the period, or the task or hand.
    sequence : str or None
        Column of the group between people; in a crossover that of the sequence.
    """

    factors: tuple[str, ...]
    period: str | None
    sequence: str | None


@dataclass(frozen=True)
class ConditionScores:
    """Scores of people by condition and phase.

    Parameters
    ----------
    long : PhaseScores
        One row per person and condition; its groups are the conditions.
    cells : array (people, conditions, phases)
        The same scores, NaN where there is none.
    people : array (people,)
        Identifiers.
    within : Within
        The columns.
    levels : tuple of tuple
        Levels of each factor; their product, the last varying fastest, is the conditions.
    places : array of int (people, conditions)
        Period of each condition of a person, a position in ``periods``; -1 where there is none.
    periods : tuple
        Levels of the period.
    sequence : array of int (people,)
        Group of each person, a position in ``sequences``.
    sequences : tuple
        The groups; in a crossover without such a column, the orders in which people met the
        conditions.
    """

    long: PhaseScores
    cells: Scores
    people: NDArray[Any]
    within: Within
    levels: tuple[tuple[Hashable, ...], ...]
    places: Codes
    periods: tuple[Hashable, ...]
    sequence: Codes
    sequences: tuple[Hashable, ...]

    @property
    def conditions(self) -> tuple[Hashable, ...]:
        """Names of the conditions."""
        return self.long.groups

    def tidy(self) -> pd.DataFrame:
        """One row per person, condition and phase that has a score; ``group`` is the condition."""
        found = self.long.tidy()
        names = dict(zip(self.long.participants, self.people[self.rows[0]]))
        return found.assign(participant=[names[row] for row in found["participant"]])

    @property
    def rows(self) -> tuple[Codes, Codes]:
        """Person and condition of each row of ``long``."""
        person, condition = np.divmod(self.long.participants.astype(np.intp), len(self.conditions))
        return person, condition


def score_conditions(
    table: pd.DataFrame,
    columns: Columns,
    within: Within,
    *,
    phases: Sequence[Hashable] | None = None,
    conditions: Sequence[Hashable] | None = None,
) -> ConditionScores:
    """Average the trials of each person under each condition in each phase.

    Raises
    ------
    ColumnError
        If a column is absent.
    InputError
        If a condition is missing in a row, a person met one condition in two periods or is in two
        groups, or nobody met two conditions.
    """
    _check_columns(table, columns, within)
    levels = _levels(table, within, conditions)
    rows, names = _crossed(table, columns, within, levels)
    marked = replace(columns, participant=_ROW, group=_CELL)
    long = score_participants(rows, marked, phases=phases, groups=names)
    count = len(names)
    people, _ = pd.factorize(rows[columns.participant], sort=True)
    labels = np.asarray(np.sort(rows[columns.participant].unique()))
    person, condition = np.divmod(long.participants.astype(np.intp), count)
    cells = np.full((len(labels), count, len(long.phases)), np.nan)
    cells[person, condition] = long.scores
    _somebody_met_two(cells, within)
    code = pd.Index(names).get_indexer(rows[_CELL])
    places, periods = _places(rows, people, code, (len(labels), count), within, labels)
    sequence, sequences = _sequences(rows, people, within, labels, places, periods, names)
    left_out = _named(long.left_out, labels, count)
    found = ConditionScores(
        replace(long, left_out=left_out),
        cells, labels, within, levels, places, periods, sequence, sequences,
    )  # fmt: skip
    return replace(found, long=replace(found.long, left_out=_with_absent(found)))


def _check_columns(table: pd.DataFrame, columns: Columns, within: Within) -> None:
    if not isinstance(table, pd.DataFrame):
        raise InputError("phases are compared in a table", [type(table).__name__])
    wanted = [*within.factors, within.period, within.sequence]
    absent = [name for name in wanted if name is not None and name not in table]
    if absent:
        raise ColumnError(
            "the table lacks the column of a condition, period or group",
            absent,
            f"its columns are {', '.join(map(str, table.columns))}",
        )
    if not 1 <= len(within.factors) <= 2 or len(set(within.factors)) < len(within.factors):
        raise InputError("one or two factors within people can be compared", within.factors)
    if columns.participant not in table:
        raise ColumnError("the table lacks a column that is needed", [columns.participant])
    for name in wanted:
        if name is not None and table[name].isna().any():
            raise InputError(
                f"column {name!r} is empty in {int(table[name].isna().sum())} rows",
                table.loc[table[name].isna(), columns.participant].unique(),
                "fill it in, or leave these rows out yourself",
            )


def _levels(
    table: pd.DataFrame, within: Within, asked: Sequence[Hashable] | None
) -> tuple[tuple[Hashable, ...], ...]:
    found: list[tuple[Hashable, ...]] = []
    for place, name in enumerate(within.factors):
        known = levels_of(table[name])
        if asked is not None and place == 0:
            unknown = [level for level in asked if level not in known]
            if unknown:
                raise InputError(f"column {name!r} has no row with this value", unknown)
            known = tuple(asked)
        if len(known) < 2:
            raise InputError(
                f"{name!r} has one level only, so nothing is compared within people",
                known,
                "add the rows of the other condition, or leave out within=",
            )
        found.append(known)
    return tuple(found)


def _crossed(
    table: pd.DataFrame, columns: Columns, within: Within, levels: tuple[tuple[Hashable, ...], ...]
) -> tuple[pd.DataFrame, tuple[Hashable, ...]]:
    """Rows of the conditions asked for, numbered by person and condition."""
    names = levels[0]
    cell = table[within.factors[0]].astype(object)
    if len(levels) == 2:
        names = tuple(f"{a}{CROSSED}{b}" for a in levels[0] for b in levels[1])
        cell = cell.astype(str) + CROSSED + table[within.factors[1]].astype(str)
    rows = table.assign(**{_CELL: cell})
    rows = rows[rows[_CELL].isin(list(names))]
    if rows[columns.participant].isna().any():
        raise InputError("a row has no participant", rows.index[rows[columns.participant].isna()])
    person, _ = pd.factorize(rows[columns.participant], sort=True)
    code = pd.Index(names).get_indexer(rows[_CELL])
    return rows.assign(**{_ROW: person * len(names) + code}), names


def _somebody_met_two(cells: Scores, within: Within) -> None:
    met = np.isfinite(cells).any(axis=2).sum(axis=1)
    if not (met > 1).any():
        raise InputError(
            f"nobody has scores under two levels of {' and '.join(within.factors)}",
            None,
            "people with one condition each are groups: name the column as group=, not as within=",
        )


def _places(
    rows: pd.DataFrame, people: Codes, code: Codes, shape: tuple[int, int], within: Within,
    labels: NDArray[Any],
) -> tuple[Codes, tuple[Hashable, ...]]:  # fmt: skip
    found = np.full(shape, -1, dtype=np.intp)
    if within.period is None:
        return found, ()
    place, names = pd.factorize(rows[within.period], sort=True)
    pairs = pd.DataFrame({"p": people, "c": code, "at": place}).drop_duplicates()
    twice = pairs.duplicated(["p", "c"], keep=False)
    if twice.any():
        raise InputError(
            f"a participant met one condition in two levels of {within.period!r}",
            labels[pairs.loc[twice, "p"].unique()],
            "each condition of a person has one period (or task, or hand)",
        )
    found[pairs["p"], pairs["c"]] = pairs["at"]
    return found, tuple(names)


def _sequences(
    rows: pd.DataFrame, people: Codes, within: Within, labels: NDArray[Any], places: Codes,
    periods: tuple[Hashable, ...], names: tuple[Hashable, ...],
) -> tuple[Codes, tuple[Hashable, ...]]:  # fmt: skip
    if within.sequence is not None:
        code, groups = pd.factorize(rows[within.sequence], sort=True)
        pairs = pd.DataFrame({"p": people, "g": code}).drop_duplicates()
        twice = pairs["p"].duplicated(keep=False)
        if twice.any():
            raise InputError(
                "a participant is in two groups",
                labels[pairs.loc[twice, "p"].unique()],
                f"{within.sequence!r} stays the same for one person; what changes is named within=",
            )
        return pairs.set_index("p")["g"].sort_index().to_numpy(dtype=np.intp), tuple(groups)
    if not periods:
        return np.zeros(len(labels), dtype=np.intp), ("all",)
    orders = [
        " then ".join(str(names[c]) for c in np.argsort(at, kind="stable") if at[c] >= 0)
        for at in places
    ]
    # Who missed a period belongs to the order that begins, or ends, as theirs does.
    told = [
        order if (at >= 0).all() else _likely(at, places, orders)
        for order, at in zip(orders, places)
    ]
    code, groups = pd.factorize(np.array(told, dtype=object), sort=True)
    return code.astype(np.intp), tuple(groups)


def _likely(at: Codes, places: Codes, orders: list[str]) -> str:
    """Order of the first other person who met the same conditions in the same periods."""
    held = at >= 0
    for other, order in zip(places, orders):
        if (other >= 0).all() and (other[held] == at[held]).all():
            return order
    return orders[[tuple(row) for row in places].index(tuple(at))]


def _named(left_out: pd.DataFrame, labels: NDArray[Any], count: int) -> pd.DataFrame:
    return left_out.assign(
        participant=[labels[int(row) // count] for row in left_out["participant"]]
    )


def _with_absent(found: ConditionScores) -> pd.DataFrame:
    """Who was left out, and who has no score at all under some condition."""
    met = np.isfinite(found.cells).any(axis=2)
    rows = [
        LEFT_OUT.row(
            participant=found.people[person],
            group=found.conditions[condition],
            reason="no score under this condition: not in comparisons within people",
        )
        for person, condition in zip(*np.nonzero(~met))
    ]
    return (
        pd.concat([found.long.left_out, LEFT_OUT.frame(rows)], ignore_index=True)
        if rows
        else (found.long.left_out)
    )
