"""What was noted at practice sessions: who was there, pain, fatigue, which criterion was met."""

from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.containers.opening import open_grid
from motorlearn.trials.reading.field_pages import Page, field_pages
from motorlearn.trials.reading.headings import find_headings, require_participant
from motorlearn.trials.reading.values import read_number

YES: Final = frozenset({"yes", "y", "1", "true", "ja", "oui", "x", "✓"})
NO: Final = frozenset({"no", "n", "0", "false", "nein", "non", "-"})
SCALES: Final = ("pain_before", "pain_after", "fatigue_before", "fatigue_after")
_WORST: Final = 10
_PRINTED: Final = ("participant", "session")


def read_sessions(path: str | Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Read a log of sessions: our own workbook with a page a session, or a table of any kind.

    Returns
    -------
    (sessions, problems) : DataFrame, DataFrame
        ``participant, session, date, present, pain_before, …``, one row per person and session that
        has an entry; ``present`` and ``met: …`` are 1, 0 or missing. Problems as everywhere.

    Raises
    ------
    FileError
        If the file cannot be read.
    """
    pages = [page for page in field_pages(path) if page.kind == "session"]
    found: list[pd.DataFrame] = []
    rows = _from_pages(pages) if pages else _from_table(path)
    if rows.empty:
        return pd.DataFrame(columns=["participant", "session", "date"]), gather([])
    for name in [n for n in rows if n in SCALES]:
        rows[name] = _numbers(rows, name, found)
    for name in [n for n in rows if n == "present" or n.startswith("met: ")]:
        rows[name] = _yes_or_no(rows, name, found)
    session = pd.to_numeric(rows["session"], errors="coerce") if "session" in rows else np.nan
    told = [name for name in rows if name not in (*_PRINTED, "date", *_PLACE)]
    entered = rows[told].replace("", pd.NA).notna().any(axis=1)
    kept = rows.assign(session=session)[entered].drop(columns=list(_PLACE))
    return kept.reset_index(drop=True), gather(found)


_PLACE: Final = ("_file", "_sheet", "_row")


def _from_pages(pages: list[Page]) -> pd.DataFrame:
    lines = [
        {
            "session": page.facts.get("session", ""),
            "date": page.facts.get("date", ""),
            **cells,
            "_file": page.grid.file,
            "_sheet": page.grid.sheet,
            "_row": page.row(line),
        }
        for page in pages
        for line, cells in page.lines
        if "participant" in cells
    ]
    names = ["participant", "session", "date", *_PLACE]
    names += [heading for page in pages for heading in page.headings if heading]
    columns = list(dict.fromkeys(names))
    return pd.DataFrame([{name: line.get(name, "") for name in columns} for line in lines])


def _from_table(path: str | Path) -> pd.DataFrame:
    grid = open_grid(path)
    headings = find_headings(grid)
    require_participant(grid, headings)
    start = headings.line + 1
    rows = pd.DataFrame(
        {
            name: pd.Series(column.slice(start).to_pylist(), dtype="object").str.strip()
            for name, column in zip(headings.names, grid.columns, strict=True)
        }
    )
    return rows.assign(_file=grid.file, _sheet=grid.sheet, _row=grid.rows[start:])


def _numbers(rows: pd.DataFrame, name: str, found: list[pd.DataFrame]) -> pd.Series:
    read = rows[name].map(lambda text: read_number(text)[0] if text else np.nan).astype(float)
    odd = (rows[name] != "") & ~read.between(0, _WORST)
    _say(
        rows[odd],
        name,
        "not on the scale",
        "write a whole number from 0 none to 10 worst; read as missing",
        found,
    )
    return read.where(~odd)


def _yes_or_no(rows: pd.DataFrame, name: str, found: list[pd.DataFrame]) -> pd.Series:
    words = rows[name].str.lower()
    read = pd.Series(np.nan, index=rows.index)
    read[words.isin(YES)] = 1.0
    read[words.isin(NO)] = 0.0
    odd = (words != "") & read.isna()
    _say(rows[odd], name, "neither yes nor no", "write yes or no; read as missing", found)
    return read


def _say(rows: pd.DataFrame, name: str, rule: str, advice: str, found: list[pd.DataFrame]) -> None:
    for _, row in rows.iterrows():
        found.append(
            problem_frame(
                rule,
                severity="doubt",
                file=row["_file"],
                sheet=row["_sheet"],
                row=row["_row"],
                column=name,
                value=row[name],
                advice=advice,
            )
        )
