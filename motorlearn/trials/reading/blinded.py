"""Ratings of clips: whose clips they are comes from the concealed key, at reading."""

from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.exceptions import ColumnError, FileError
from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.containers.grid import Grid
from motorlearn.trials.containers.opening import open_grid
from motorlearn.trials.reading.headings import find_headings
from motorlearn.trials.reading.sheet import first_lines
from motorlearn.trials.reading.standard import Standard, ordered_columns, standardise
from motorlearn.vocabulary import CHANGE_COLUMNS

KEY_FILE: Final = "clips.csv"
CONCEALED: Final = "concealed"
_FROM_KEY: Final = ("participant", "phase", "session", "test")


def names_clips_only(grid: Grid) -> bool:
    """Whether a file of ratings names clips and no people, as it does while rating is blind."""
    names = find_headings(grid).names
    return "clip" in names and "participant" not in names


def find_key(root: Path, ratings: str) -> Path | None:
    """Look for the key of the clips: beside the plan, beside the ratings, in a folder of sheets."""
    beside = (root / ratings).parent
    places = [root, root / CONCEALED, beside, beside / CONCEALED]
    places += sorted(root.glob(f"*/{CONCEALED}"))
    return next((place / KEY_FILE for place in places if (place / KEY_FILE).is_file()), None)


def read_blind(grid: Grid, key: Path | None) -> Standard:
    """Read ratings that name clips, and put person and test beside them from the key.

    Without a key the ratings are read all the same, belong to nobody, and a doubt says where the
    key should be. A clip the key lacks is an error at its cell.

    Raises
    ------
    FileError
        If the key cannot be read.
    ColumnError
        If the key has no clips or no participants.
    """
    standard = standardise(grid, find_headings(grid))
    if key is None:
        return _nobodys(standard)
    people = _read_key(key)
    table = standard.sheet.table
    place = pd.Index(people["clip"]).get_indexer(table["clip"])
    strange = np.flatnonzero(place < 0)
    added = {
        name: people[name].where(people[name] != "").astype("str").array.take(place)
        for name in _FROM_KEY
        if name in people
    }
    for name, values in added.items():
        column = pd.Series(values, dtype="str")
        column[strange] = pd.NA
        table = table.assign(**{name: column})
    if "session" in table:
        table["session"] = pd.to_numeric(table["session"])
    table = table[ordered_columns(list(table))]
    change = (standard.sheet.file, standard.sheet.title, pd.NA, "clip", "", "", "unblinded by key")
    logged = pd.DataFrame([change], columns=list(CHANGE_COLUMNS)).astype({"row": "Int64"})
    sheet = replace(standard.sheet, table=table)
    codes = pd.factorize(table["clip"].where(place < 0))[0]
    found = sheet.problems(
        "clip not in the key",
        first_lines(codes),
        column="clip",
        severity="error",
        advice=f"correct the number of the clip, or the key {key.name}; the rating belongs to "
        "nobody until then",
    )
    return replace(
        standard,
        sheet=sheet,
        problems=gather([standard.problems, found]),
        changes=pd.concat([standard.changes, logged], ignore_index=True),
    )


def _nobodys(standard: Standard) -> Standard:
    table = standard.sheet.table
    nobody = pd.Series(pd.NA, index=table.index, dtype="str")
    table = table.assign(participant=nobody)[ordered_columns(["participant", *table.columns])]
    doubt = problem_frame(
        "ratings are still blind",
        severity="doubt",
        file=standard.sheet.file,
        sheet=standard.sheet.title,
        column=standard.sheet.column("clip"),
        advice="they name clips and no people; once rating is finished, put the folder 'concealed' "
        f"that was written with the sheets, or its file {KEY_FILE}, into the study folder",
    )
    problems = gather([standard.problems, doubt])
    return replace(standard, sheet=replace(standard.sheet, table=table), problems=problems)


def _read_key(path: Path) -> pd.DataFrame:
    grid = open_grid(path)
    headings = find_headings(grid)
    absent = [name for name in ("clip", "participant") if name not in headings.names]
    if absent:
        raise ColumnError("the key of the clips lacks a column", absent, "put back the key")
    start = headings.line + 1
    key = pd.DataFrame(
        {
            name: pd.Series(column.slice(start).to_pylist(), dtype="str").str.strip()
            for name, column in zip(headings.names, grid.columns, strict=True)
        }
    )
    twice = sorted(key.loc[key["clip"].duplicated(), "clip"].unique())
    if twice:
        raise FileError("the key lists a clip twice", twice, "keep one row for each clip")
    return key
