"""One score per participant and phase, and an account of everything that is not in it."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.exceptions import ColumnError, InputError
from motorlearn.measures.scores import numbers
from motorlearn.rows import LEFT_OUT, Row
from motorlearn.trials.counted import counted_rows, void_reasons
from motorlearn.vocabulary import PHASES

Scores = NDArray[np.float64]
Codes = NDArray[np.intp]


@dataclass(frozen=True)
class Columns:
    """Which column plays which part."""

    outcome: str
    group: str | None
    phase: str
    participant: str
    attempts: str | None = None
    out_of: float | None = None

    def used(self) -> dict[str, str]:
        """Roles and columns, those that are played."""
        return {role: name for role, name in vars(self).items() if isinstance(name, str)}


@dataclass(frozen=True)
class PhaseScores:
    """Scores of participants by phase.

    Parameters
    ----------
    participants : array (n,)
        Identifiers, sorted.
    codes : array of int (n,)
        Group of each participant, a position in ``groups``.
    groups, phases : tuple
        Levels in the order in which they are compared.
    scores : array (n, phases)
        Mean of the trials, or hits by attempts; NaN where there is none.
    trials : array (n, phases)
        Trials or attempts behind each score.
    left_out : DataFrame
        ``participant, group, reason, rows``.
    rows : int
        Rows of the table that were used.
    """

    participants: NDArray[Any]
    codes: NDArray[np.intp]
    groups: tuple[Hashable, ...]
    phases: tuple[Hashable, ...]
    scores: NDArray[np.float64]
    trials: NDArray[np.int64]
    left_out: pd.DataFrame
    rows: int

    def at(self, phase: Hashable) -> NDArray[np.float64]:
        """Scores of one phase."""
        return self.scores[:, self.phases.index(phase)]

    def tidy(self) -> pd.DataFrame:
        """One row per participant and phase that has a score."""
        people, phases = np.nonzero(self.trials > 0)
        return pd.DataFrame(
            {
                "participant": self.participants[people],
                "group": [self.groups[code] for code in self.codes[people]],
                "phase": [self.phases[i] for i in phases],
                "score": self.scores[people, phases],
                "n_trials": self.trials[people, phases],
            }
        )


_LARGEST = 1e75

ONE_GROUP = "all"
"""Name of the group where the table names none."""


def score_participants(
    table: pd.DataFrame,
    columns: Columns,
    *,
    phases: Sequence[Hashable] | None = None,
    groups: Sequence[Hashable] | None = None,
) -> PhaseScores:
    """Average the trials of each participant in each phase.

    Raises
    ------
    ColumnError
        If a column is absent.
    InputError
        If identifiers are missing, a participant is in two groups, a value is impossible, a phase
        or group that is asked for has no rows, or the scores do not vary at all.
    """
    used = _rows_asked_for(table, columns, phases, groups)
    group = used[columns.group] if columns.group else pd.Series(ONE_GROUP, index=used.index)
    group_names = levels_of(group) if groups is None else tuple(groups)
    phase_names = _phase_levels(used[columns.phase], phases)
    value, weight = _values(used, columns)
    people, names = pd.factorize(used[columns.participant], sort=True)
    codes = _one_group_each(people, names, pd.Index(group_names).get_indexer(group), group_names)
    cell = people * len(phase_names) + pd.Index(phase_names).get_indexer(used[columns.phase])
    present = ~np.isnan(value)
    shape = (len(names), len(phase_names))
    trials = np.bincount(cell[present], weight[present], minlength=shape[0] * shape[1])
    total = np.bincount(cell[present], value[present], minlength=shape[0] * shape[1])
    scores = np.where(trials > 0, total / np.maximum(trials, 1), np.nan).reshape(shape)
    scores *= columns.out_of or 1.0
    _refuse_unusable(scores, columns.outcome)
    labels = np.asarray(names)
    lost = _lost_rows(
        used, columns, present, labels[people], np.array(group_names, object)[codes[people]]
    )
    lost += _lost_cells(scores, labels, codes, group_names, phase_names)
    return PhaseScores(
        labels,
        codes,
        group_names,
        phase_names,
        scores,
        trials.reshape(shape).astype(np.int64),
        LEFT_OUT.frame(lost),
        int(present.sum()),
    )


def usable_rows(
    table: pd.DataFrame,
    columns: Columns,
    *,
    phases: Sequence[Hashable] | None = None,
    groups: Sequence[Hashable] | None = None,
) -> pd.DataFrame:
    """Rows that count, as ``participant, group, phase, score, attempts``.

    Raises
    ------
    ColumnError, InputError
        As :func:`score_participants`.
    """
    used = _rows_asked_for(table, columns, phases, groups)
    value, weight = _values(used, columns)
    rows = pd.DataFrame(
        {
            "participant": used[columns.participant].to_numpy(),
            "group": used[columns.group].to_numpy() if columns.group else ONE_GROUP,
            "phase": used[columns.phase].to_numpy(),
            "score": value,
            "attempts": weight,
        }
    )
    return rows[rows["score"].notna()].reset_index(drop=True)


def _rows_asked_for(
    table: pd.DataFrame,
    columns: Columns,
    phases: Sequence[Hashable] | None,
    groups: Sequence[Hashable] | None,
) -> pd.DataFrame:
    if not isinstance(table, pd.DataFrame):
        raise InputError(
            "phases are compared in a table",
            [type(table).__name__],
            "pass a DataFrame, for example study.trials.table",
        )
    absent = [name for name in columns.used().values() if name not in table]
    if absent:
        raise ColumnError(
            "the table lacks a column that is needed",
            absent,
            f"its columns are {', '.join(map(str, table.columns))}",
        )
    if table.empty:
        raise InputError("the table has no rows", remedy="check that the file was read")
    for role in ("participant", "group", "phase"):
        name = getattr(columns, role)
        if name and table[name].isna().any():
            raise InputError(
                f"column {name!r} is empty in {int(table[name].isna().sum())} rows",
                table.index[table[name].isna()],
                "name the rows' " + role + " or leave these rows out yourself",
            )
    keep = _asked(table, columns.phase, phases) & _asked(table, columns.group, groups)
    return table[keep]


def _asked(table: pd.DataFrame, column: str | None, levels: Sequence[Hashable] | None) -> pd.Series:
    if column is None or levels is None:
        return pd.Series(True, index=table.index)
    known = table[column].unique()
    unknown = [level for level in levels if level not in known]
    if unknown:
        raise InputError(
            f"column {column!r} has no row with this value",
            unknown,
            f"it holds {', '.join(map(str, known))}",
        )
    return table[column].isin(list(levels))


def levels_of(values: pd.Series) -> tuple[Hashable, ...]:
    """Levels that occur, in the order of the categories or sorted."""
    present = set(values.unique())
    if isinstance(values.dtype, pd.CategoricalDtype):
        return tuple(level for level in values.cat.categories if level in present)
    return tuple(sorted(present, key=lambda level: (isinstance(level, str), level)))


def _phase_levels(values: pd.Series, asked: Sequence[Hashable] | None) -> tuple[Hashable, ...]:
    if asked is not None:
        return tuple(asked)
    if isinstance(values.dtype, pd.CategoricalDtype):
        return levels_of(values)
    present = list(values.unique())
    if set(present) <= set(PHASES):
        return tuple(phase for phase in PHASES if phase in present)
    return tuple(present)


def _values(
    used: pd.DataFrame, columns: Columns
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    value = numbers(used, columns.outcome)
    weight = np.ones_like(value)
    if columns.attempts is not None:
        weight = numbers(used, columns.attempts)
        with_both = ~np.isnan(value) & ~np.isnan(weight)
        wrong = with_both & ~((value >= 0) & (value <= weight) & (weight > 0))
        if wrong.any():
            raise InputError(
                f"{columns.outcome!r} must lie between 0 and {columns.attempts!r}",
                [f"{a:g} of {b:g}" for a, b in zip(value[wrong], weight[wrong])],
                "correct these rows",
            )
        value = np.where(with_both, value, np.nan)
    elif columns.outcome == "hits" and "attempts" in used and used["attempts"].nunique() > 1:
        raise InputError(
            "counts of hits with unequal attempts cannot be compared as they are",
            used["attempts"].unique(),
            "score them by their attempts: attempts='attempts'",
        )
    value[~counted_rows(used)] = np.nan
    if np.isnan(value).all():
        raise InputError(
            f"column {columns.outcome!r} holds no value that counts",
            remedy="check the columns 'void' and the outcome",
        )
    return value, weight


def _one_group_each(
    people: Codes, names: pd.Index, codes: Codes, group_names: tuple[Hashable, ...]
) -> Codes:
    low = np.full(len(names), len(group_names))
    high = np.full(len(names), -1)
    np.minimum.at(low, people, codes)
    np.maximum.at(high, people, codes)
    if (low != high).any():
        raise InputError(
            "a participant is in two groups",
            np.asarray(names)[low != high],
            "correct the group, or give each person one identifier",
        )
    if len(names) < 2:
        raise InputError(
            "a comparison needs at least two participants", names, "add the other participants"
        )
    return high.astype(np.intp)


def why_flat(y: NDArray[np.float64], codes: NDArray[np.intp], present: tuple[Hashable, ...]) -> str:
    """Say where no spread is left, with the scores of groups in which everyone has the same."""
    reason, check = "the scores leave no residual spread", "check that they were not copied or"
    own = [y[codes == place] for place in range(len(present))]
    if any(np.ptp(scores) > 0 for scores in own):
        return f"{reason} beside what they are adjusted for; {check} made from a formula"
    told = ", ".join(f"{name} {scores[0]:g}" for name, scores in zip(present, own, strict=True))
    return f"{reason}: everyone in a group has the same score ({told}); {check} typed in once"


def _refuse_unusable(scores: NDArray[np.float64], outcome: str) -> None:
    present = scores[~np.isnan(scores)]
    largest = np.abs(present).max()
    if largest > _LARGEST or 0 < largest < 1 / _LARGEST:
        raise InputError(
            f"scores of {outcome!r} are too large or too small to be squared",
            [largest],
            "change the unit or correct the values",
        )
    if present.max() == present.min():
        raise InputError(
            f"every score of {outcome!r} is the same",
            present[:1],
            "an outcome that never varies (everyone at one end of the scale, for example) tells no "
            "groups or phases apart",
        )


def _lost_rows(
    used: pd.DataFrame,
    columns: Columns,
    present: NDArray[np.bool_],
    people: NDArray[Any],
    groups: NDArray[Any],
) -> list[Row]:
    if present.all():
        return []
    void = void_reasons(used)
    why = np.where(void != "", void, f"no value in {columns.outcome!r}")
    lost = pd.DataFrame({"participant": people, "group": groups, "reason": why}, index=used.index)[
        ~present
    ]
    counted = lost.groupby(["participant", "group", "reason"], sort=True).size()
    return [
        LEFT_OUT.row(participant=person, group=group, reason=reason, rows=int(rows))
        for (person, group, reason), rows in counted.items()
    ]


def _lost_cells(
    scores: Scores,
    labels: NDArray[Any],
    codes: Codes,
    group_names: tuple[Hashable, ...],
    phase_names: tuple[Hashable, ...],
) -> list[Row]:
    return [
        LEFT_OUT.row(
            participant=labels[person],
            group=group_names[codes[person]],
            reason=f"no score at {phase_names[phase]}: not compared there, not in the mixed ANOVA",
        )
        for person, phase in zip(*np.nonzero(np.isnan(scores)))
    ]
