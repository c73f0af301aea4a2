"""How practice sessions went, from the log of sessions: who was there, pain, fatigue."""

from collections.abc import Iterator

import pandas as pd

from motorlearn import digits
from motorlearn.digits import count
from motorlearn.report.writers.contents import Text
from motorlearn.tables import Column, Table
from motorlearn.trials import Study

_PAIN = ("pain_before", "pain_after")
_FATIGUE = ("fatigue_before", "fatigue_after")


def session_blocks(study: Study) -> Iterator[Text | Table]:
    """Give a sentence and a table on the sessions, where there is a log of them."""
    log = study.sessions
    if log is None or log.empty or log["session"].isna().all():
        return
    there = log[log["present"] == 1] if "present" in log else log
    attended = there.groupby("participant")["session"].nunique()
    attended = attended.reindex(log["participant"].unique(), fill_value=0)
    held = log["session"].nunique()
    said = (
        f"Of {count(held, 'practice session')} noted, participants were at "
        f"{digits.number(attended.mean(), 1)} on average "
        f"({attended.min():g} to {attended.max():g})."
    )
    yield Text(f"{said} {_pain_words(log)} {{tab:sessions}} has each session.".replace("  ", " "))
    yield Table(
        "sessions",
        "Practice sessions as they were noted",
        (
            Column("session", kind="count"),
            Column("date"),
            Column("present"),
            Column("pain", "with pain", "count"),
            Column("worst", "worst pain of 10", "count"),
            Column("fatigue", "mean fatigue of 10", "number", decimals=1),
        ),
        pd.DataFrame([_session(number, rows) for number, rows in log.groupby("session")]),
        ("Pain and fatigue as they were told; a blank does not say that there was none.",),
    )


def _session(number: object, rows: pd.DataFrame) -> dict[str, object]:
    pain, tired = _worst(rows, _PAIN), _worst(rows, _FATIGUE)
    dates = rows["date"].dropna().astype("str") if "date" in rows else pd.Series(dtype="str")
    dates = dates[dates != ""].str[:10]
    present = (rows["present"] == 1).sum() if "present" in rows else len(rows)
    return {
        "session": number,
        "date": "" if dates.empty else dates.iloc[0],
        "present": f"{present} of {len(rows)}",
        "pain": (pain > 0).sum() if pain.notna().any() else None,
        "worst": pain.max() if pain.notna().any() else None,
        "fatigue": tired.mean(),
    }


def _worst(rows: pd.DataFrame, names: tuple[str, str]) -> pd.Series:
    known = [name for name in names if name in rows]
    return rows[known].max(axis=1) if known else pd.Series(float("nan"), index=rows.index)


def _pain_words(log: pd.DataFrame) -> str:
    pain = _worst(log, _PAIN)
    if pain.isna().all():
        return "Pain was not noted."
    sore = log[pain > 0]
    if sore.empty:
        return "Nobody told of pain."
    people = count(sore["participant"].nunique(), "participant")
    sessions = count(sore["session"].nunique(), "session")
    return f"Pain was told of by {people} at {sessions}, {pain.max():g} of 10 at worst."
