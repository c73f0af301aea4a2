"""Answers of a questionnaire as they stand in their file: headings as given, numbers as numbers."""

from pathlib import Path

import pandas as pd

from motorlearn.design import QuestionnairePlan
from motorlearn.exceptions import FileError
from motorlearn.trials.containers.opening import open_grid
from motorlearn.trials.importing.sources import fitted
from motorlearn.trials.reading.values import MISSING_WORDS


def answers_of(plan: QuestionnairePlan, path: str | Path) -> pd.DataFrame:
    """Answers of a questionnaire as its plan reads them: times in headings are taken apart.

    Raises
    ------
    FileError
        As ``read_answers``; if no heading holds an item and a time of the plan.
    """
    table = read_answers(path, participant=plan.participant)
    if not plan.headings:
        return table
    return taken_apart(
        table, plan.headings, plan.time, [str(time) for time in plan.times], Path(path).name
    )


def taken_apart(
    table: pd.DataFrame, headings: str, time: str, times: list[str], file: str
) -> pd.DataFrame:
    """A row for each person and time, where headings such as ``t1_fun`` held the time.

    Examples
    --------
    >>> wide = pd.DataFrame({"participant": ["P01"], "t1_fun": [3], "t2_fun": [5]})
    >>> taken_apart(wide, "t{time}_{item}", "time", ["1", "2"], "mood.csv").values.tolist()
    [['P01', 1, 3], ['P01', 2, 5]]
    """
    parts = {str(name): fitted(str(name), headings) or {} for name in table}
    held = {name: told for name, told in parts.items() if told.get("time") in times}
    lacking = [when for when in times if when not in {told["time"] for told in held.values()}]
    if lacking:
        raise FileError(
            f"no heading of {file} holds an item at a time of the questionnaire",
            lacking,
            f"correct headings ({headings}) or times",
        )
    rest = table.drop(columns=list(held))
    if time in rest:
        raise FileError(
            f"{file} tells the time of an answer in a column and in headings",
            [time, *held][:6],
            "keep one of them",
        )
    rows = [
        rest.assign(
            **{time: when},
            **{told["item"]: table[name] for name, told in held.items() if told["time"] == when},
        )
        for when in times
    ]
    long = pd.concat(rows).sort_index(kind="stable").reset_index(drop=True)
    return long.assign(**{time: _numbers(long[time], ".")})


def read_answers(path: str | Path, *, participant: str = "participant") -> pd.DataFrame:
    """Read a table of answers, long or wide; its headings are those of the questionnaire.

    A column is read as numbers where every entry is one or a word such as ``NA`` that stands for a
    missing one; the participant stays text and is called ``participant``.

    Raises
    ------
    FileError
        If the file cannot be read, or two columns have one heading.
    """
    grid = open_grid(path)
    headings = [text.strip() for text in grid.line(0)]
    twice = sorted({name for name in headings if name and headings.count(name) > 1})
    if twice:
        raise FileError(f"{grid.file} has two columns of one heading", twice, "rename one of them")
    columns = {
        name: pd.Series(column.to_pylist()[1:], dtype="str").str.strip()
        for name, column in zip(headings, grid.columns)
        if name
    }
    table = pd.DataFrame({n: c.mask(c == "") for n, c in columns.items()}).dropna(how="all")
    for name in table:
        if name != participant:
            table[name] = _numbers(table[name], grid.decimal)
    return table.rename(columns={participant: "participant"}).reset_index(drop=True)


def _numbers(column: pd.Series, decimal: str) -> pd.Series:
    """The column as numbers where every entry is one, or a word that stands for a missing one."""
    given = column.mask(column.str.lower().isin(MISSING_WORDS))
    plain = given if decimal == "." else given.str.replace(decimal, ".", regex=False)
    numbers = pd.to_numeric(plain, errors="coerce")
    only_words = column.notna().any() and given.isna().all()
    return column if only_words or (numbers.isna() & given.notna()).any() else numbers
