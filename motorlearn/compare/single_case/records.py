"""One score per case and session, and the condition it was made under."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from motorlearn.exceptions import ColumnError, InputError
from motorlearn.trials.counted import counted_rows


@dataclass(frozen=True)
class Record:
    """Sessions of one case in order; sessions that were not held are missing.

    Attributes
    ----------
    name : str
        The athlete, or the athlete and the skill.
    scores, codes : ndarray of float, shape (sessions,)
        Score of each session; 0 for A, 1 for B, missing where the session was not held.
    trials : ndarray of int, shape (sessions,)
        Trials, or attempts, behind each score.
    """

    name: str
    scores: np.ndarray
    codes: np.ndarray
    trials: np.ndarray

    @property
    def held(self) -> np.ndarray:
        """Places of the sessions that have a score."""
        return np.flatnonzero(~np.isnan(self.scores))

    @property
    def phases(self) -> np.ndarray:
        """Number of the phase of every session; a missing one belongs to the phase before it."""
        known = pd.Series(self.codes).ffill().bfill().to_numpy()
        numbers: np.ndarray = np.concatenate([[1], 1 + np.cumsum(np.diff(known) != 0)])
        return numbers


@dataclass(frozen=True)
class Places:
    """Columns of a table of single cases."""

    outcome: str
    participant: str
    phase: str
    session: str
    case: str | None
    attempts: str | None


def records_of(
    table: pd.DataFrame, places: Places, conditions: tuple[str, str] | None, sessions: int | None
) -> tuple[list[Record], tuple[str, str]]:
    """Records of all cases and the names of A and B.

    Raises
    ------
    ColumnError
        If a column is lacking.
    InputError
        If there are not two conditions, a session has both, or nothing counts.
    """
    rows = _rows(table, places)
    names = conditions or _conditions(rows, places.phase)
    strange = sorted(set(rows["condition"]) - set(names))
    if strange:
        raise InputError(
            "a session has a condition that is neither A nor B",
            strange,
            f"the two are {names[0]!r} and {names[1]!r}; correct the column {places.phase!r}, or "
            "name the conditions",
        )
    keys = list(dict.fromkeys(rows["case"]))
    longest = int(max(sessions or 0, rows["session"].max()))
    found = [_record(name, rows[rows["case"] == name], names, longest) for name in keys]
    return found, names


def _rows(table: pd.DataFrame, places: Places) -> pd.DataFrame:
    named = [places.outcome, places.participant, places.phase, places.session]
    wanted = named + [name for name in (places.case, places.attempts) if name is not None]
    absent = [name for name in dict.fromkeys(wanted) if name not in table]
    if absent:
        raise ColumnError("the table lacks a column that is needed", absent, "name the right one")
    rows = table[counted_rows(table)].dropna(subset=[places.participant]).reset_index(drop=True)
    score = pd.to_numeric(rows[places.outcome], errors="coerce").astype("float64")
    session = pd.to_numeric(rows[places.session], errors="coerce")
    rows = rows[score.notna() & session.notna() & rows[places.phase].notna()]
    if rows.empty:
        raise InputError(
            f"no session has a score of {places.outcome!r} and a condition",
            None,
            f"fill the columns {places.outcome!r}, {places.phase!r} and {places.session!r}",
        )
    _refuse_broken_sessions(session[rows.index])
    case = rows[places.participant].astype("str")
    if places.case is not None:
        case = case + ", " + rows[places.case].astype("str")
    return pd.DataFrame(
        {
            "case": case,
            "condition": rows[places.phase].astype("str"),
            "session": session[rows.index].astype(int),
            "score": score[rows.index],
            "attempts": 1.0 if places.attempts is None else rows[places.attempts].astype(float),
        }
    )


def _refuse_broken_sessions(session: pd.Series) -> None:
    wrong = session[(session < 1) | (session % 1 != 0)]
    if len(wrong):
        raise InputError("sessions are numbered 1, 2, 3, …", wrong.unique(), "number them so")


def _conditions(rows: pd.DataFrame, column: str) -> tuple[str, str]:
    """The two conditions, the one of the first session first."""
    found = list(dict.fromkeys(rows.sort_values("session", kind="stable")["condition"]))
    if len(found) != 2:
        raise InputError(
            f"a single case is compared under two conditions, and {column!r} holds {len(found)}",
            found,
            "name the two with conditions=(A, B), and leave the rows of others out",
        )
    return found[0], found[1]


def _record(name: str, rows: pd.DataFrame, names: tuple[str, str], longest: int) -> Record:
    both = rows.groupby("session")["condition"].nunique()
    if (both > 1).any():
        raise InputError(
            f"a session of {name} has both conditions",
            both.index[both > 1].tolist(),
            "give each session one condition, or number the parts of a day as sessions",
        )
    grouped = rows.groupby("session")
    sums, attempts = grouped["score"].sum(), grouped["attempts"].sum()
    index = pd.RangeIndex(1, longest + 1)
    code = grouped["condition"].first().map({names[0]: 0.0, names[1]: 1.0})
    record = Record(
        name,
        (sums / attempts).reindex(index).to_numpy(),
        code.reindex(index).to_numpy(dtype=float),
        attempts.reindex(index).fillna(0).to_numpy().astype(int),
    )
    for number, condition in enumerate(names):
        if not (record.codes == number).any():
            raise InputError(
                f"{name} has no session under {condition!r}",
                None,
                "wait for these sessions, or leave this case out",
            )
    return record


def told_as(records: list[Record], out_of: float | None) -> list[Record]:
    """Rates told as hits of so many, or as they are."""
    if out_of is None:
        return records
    return [replace(record, scores=record.scores * out_of) for record in records]
