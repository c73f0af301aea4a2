"""Landmark files as digitisers write them: one or more rows of headings, frames, likelihoods."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.exceptions import FileError, InputError

COORDINATES: Final = ("x", "y", "z")
LIKELIHOODS: Final = ("likelihood", "confidence", "probability", "visibility")
ABSENT: Final = "frame absent from the file"
"""Column that marks frames which were put in."""

MOST_HEADINGS: Final = 6
MOST_ABSENT: Final = 100_000
"""Frames that may be put in; more are a mistaken number."""


@dataclass(frozen=True)
class Headed:
    """A table with what its headings say: columns of each landmark, likelihoods, frames."""

    table: pd.DataFrame
    points: Mapping[str, Sequence[str]]
    likelihood: Mapping[str, str]
    frame: str | None


def read_table(
    source: str | Path, separator: str, decimal: str, *, headings: bool = True
) -> pd.DataFrame:
    """Read a CSV with one row of headings, or every row as text where there are more.

    Raises
    ------
    FileError
        If the file does not exist or is not a readable CSV.
    """
    path = Path(source)
    if not path.is_file():
        raise FileError("there is no such landmark file", [str(path)])
    try:
        if headings:
            return pd.read_csv(path, sep=separator, decimal=decimal, encoding="utf-8-sig")
        return pd.read_csv(path, sep=separator, header=None, dtype=str, encoding="utf-8-sig")
    except (UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as problem:
        raise FileError(
            "the landmark file is not a readable CSV", [str(path)], "check separator and encoding"
        ) from problem


def is_likelihood(name: str) -> bool:
    """Whether a column heading names a likelihood.

    Examples
    --------
    >>> is_likelihood("wrist_likelihood"), is_likelihood("wrist_z")
    (True, False)
    """
    return _split(str(name))[1] in LIKELIHOODS


def read_headings(source: str | Path | pd.DataFrame, separator: str, decimal: str) -> Headed:
    """Read a table whose headings name landmarks and coordinates.

    Raises
    ------
    InputError
        If no heading names a coordinate, or a landmark lacks ``y``.
    """
    if not isinstance(source, pd.DataFrame):
        text = read_table(source, separator, decimal, headings=False)
        if sum(bool(_split(str(cell))[1]) for cell in text.iloc[0]) > 1:
            source = read_table(source, separator, decimal)
    if isinstance(source, pd.DataFrame):
        raw = source.columns.to_frame(index=False).T.astype(str).reset_index(drop=True)
        body = source.set_axis(range(source.shape[1]), axis=1)
    else:
        first = _first_numbers(text, decimal)
        raw, body = text.iloc[:first], _as_numbers(text.iloc[first:], decimal)
    return _sorted_out(raw, body)


def _first_numbers(text: pd.DataFrame, decimal: str) -> int:
    for row in range(min(MOST_HEADINGS + 1, len(text))):
        cells = _as_numbers(text.iloc[[row]], decimal).iloc[0]
        given = text.iloc[row].notna()
        if given.any() and cells[given].notna().all() and row > 0:
            return row
    raise InputError(
        "the landmark file has no rows of numbers under its headings",
        [str(value) for value in text.iloc[0].head(3)],
        "check separator and decimal sign",
    )


def _as_numbers(text: pd.DataFrame, decimal: str) -> pd.DataFrame:
    def number(cell: object) -> object:
        return cell.strip().replace(decimal, ".") if isinstance(cell, str) else cell

    found = text.map(number).apply(pd.to_numeric, errors="coerce")
    return found.reset_index(drop=True)


def _sorted_out(raw: pd.DataFrame, body: pd.DataFrame) -> Headed:
    rows = [[str(cell).strip() for cell in raw.iloc[place]] for place in range(len(raw))]
    last = rows[-1]
    if len(rows) > 1 and sum(cell.lower() in (*COORDINATES, *LIKELIHOODS) for cell in last) > 1:
        known = (*COORDINATES, *LIKELIHOODS)
        named = [(n, c.lower() if c.lower() in known else "") for n, c in zip(rows[-2], last)]
    else:
        named = [_split(cell) for cell in last]
    points: dict[str, dict[str, str]] = {}
    sure: dict[str, str] = {}
    names: dict[int, str] = {}
    for place, (name, what) in enumerate(named):
        names[place] = f"{name} {what}" if what else last[place]
        if what in COORDINATES:
            points.setdefault(name, {})[what] = names[place]
        elif what in LIKELIHOODS:
            sure[name] = names[place]
    body = body.rename(columns=names)
    lacking = [name for name, found in points.items() if not {"x", "y"} <= set(found)]
    if not points or lacking:
        raise InputError(
            "the headings do not name x and y of a landmark",
            lacking or [" ".join(row[:4]) for row in rows],
            "name columns like 'elbow_x', or give points=",
        )
    first_is_frame = named[0][1] not in (*COORDINATES, *LIKELIHOODS)
    frame = str(body.columns[0]) if first_is_frame else None
    columns = {n: tuple(found[c] for c in COORDINATES if c in found) for n, found in points.items()}
    return Headed(body, columns, {n: c for n, c in sure.items() if n in points}, frame)


def _split(heading: str) -> tuple[str, str]:
    """Landmark and coordinate of a heading such as ``elbow_x``."""
    for sign in ("_", " ", ".", "-"):
        name, found, what = heading.strip().rpartition(sign)
        if found and what.lower() in (*COORDINATES, *LIKELIHOODS):
            return name.strip(), what.lower()
    return heading, ""


def in_order(table: pd.DataFrame, frame: str) -> pd.DataFrame:
    """Put frames in the order of their numbers, absent ones in as empty rows.

    Frames that step by more than one throughout are taken as they are.

    Raises
    ------
    InputError
        If a frame has no whole number, or occurs twice.
    """
    numbers = pd.to_numeric(table[frame], errors="coerce")
    odd = table[frame][numbers.isna() | (numbers % 1 != 0)]
    if len(odd):
        raise InputError("frames are not whole numbers", odd.unique(), f"correct {frame!r}")
    refuse_repeats(numbers.astype(int), "a frame occurs twice")
    ordered = table.assign(**{frame: numbers.astype(int)}).sort_values(frame)
    steps = np.diff(ordered[frame])
    step = int(np.gcd.reduce(steps)) if len(steps) else 1
    whole = np.arange(ordered[frame].iloc[0], ordered[frame].iloc[-1] + 1, step)
    if len(whole) - len(ordered) > MOST_ABSENT:
        raise InputError("frame numbers are far apart", [int(steps.max())], f"correct {frame!r}")
    if len(whole) == len(ordered):
        return ordered.reset_index(drop=True)
    filled = ordered.set_index(frame).reindex(whole)
    filled[ABSENT] = ~np.isin(whole, ordered[frame])
    return filled.rename_axis(frame).reset_index()


def refuse_repeats(values: pd.Series, cause: str) -> None:
    """Refuse a value that stands twice."""
    twice = values[values.duplicated()]
    if len(twice):
        raise InputError(cause, twice.unique(), "keep one row of each")
