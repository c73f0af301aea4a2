"""Many files as one table: every row still knows its file and row, every file is accounted for.

The cells of all files with the headings of the study are put under one another and read once, so
that a column has one kind and alike doubts are one. A file that cannot be read, belongs to another
study or has a name without its parts is set aside and named; nothing else is lost.
"""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa

from motorlearn.design import ImportRecipe
from motorlearn.exceptions import FileError, InputError
from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.containers.grid import Grid, refuse_vast_table
from motorlearn.trials.containers.opening import open_grid
from motorlearn.trials.importing.pieces import (
    Piece,
    marks_of,
    named_twice,
    other_decimal_mark,
    refusals,
    rows_set_aside,
)
from motorlearn.trials.importing.sources import name_parts
from motorlearn.trials.reading.headings import Headings, find_headings
from motorlearn.trials.reading.set_aside import content_of, set_aside_reasons
from motorlearn.trials.reading.standard import Standard
from motorlearn.trials.study import nothing_set_aside, set_aside_file

FROM_NAME = "in the file name"
"""What stands behind the heading of a column that comes from the names of the files."""


def heading_of_part(part: str) -> str:
    """Heading of the column that holds a part of the names of the files."""
    return f"{part} {FROM_NAME}"


def part_of_heading(heading: str) -> str:
    """Part of the names of the files that a column holds; empty where it is from the files.

    Examples
    --------
    >>> part_of_heading(heading_of_part("session")), part_of_heading("session")
    ('session', '')
    """
    return heading.removesuffix(FROM_NAME).strip() if heading.endswith(FROM_NAME) else ""


@dataclass(frozen=True)
class Joined:
    """Many files as one grid, with the way back.

    Parameters
    ----------
    grid : Grid
        Line 0 holds the headings; ``rows`` number the lines through all files.
    names : ndarray of str
        Name of the file of each line.
    rows : ndarray of int
        Row in that file of each line.
    problems, set_aside : DataFrame
        What was found on the way, under the names of the files.
    parts : tuple of str
        Columns that come from the names.
    taken : tuple of str
        Files that were read.
    """

    grid: Grid
    names: np.ndarray
    rows: np.ndarray
    problems: pd.DataFrame
    set_aside: pd.DataFrame
    parts: tuple[str, ...]
    taken: tuple[str, ...]
    columns: Mapping[str, str] = field(default_factory=dict)

    def back(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Name file and row in a list of problems, changes or rows set aside."""
        if frame.empty:
            return frame
        at = frame["row"].astype("float").to_numpy()
        known = np.isfinite(at) & (at > 0)
        place = np.where(known, at, 0).astype(int)
        sheet = np.where(known, self.names[place], "")
        rows = pd.array(self.rows[place], dtype="Int64")
        rows[~known] = pd.NA
        return frame.assign(file=self.grid.file, sheet=sheet.astype(str), row=rows)

    def settled(self, standard: Standard) -> Standard:
        """What was read, with files and rows in place of line numbers."""
        lines = standard.sheet.rows
        sheet = replace(
            standard.sheet, rows=self.rows[lines], sheet=self.names[lines], file=self.grid.file
        )
        return replace(
            standard,
            sheet=sheet,
            problems=gather([self.problems, self.back(standard.problems)]),
            changes=self.back(standard.changes),
            set_aside=pd.concat([self.set_aside, self.back(standard.set_aside)], ignore_index=True),
        )


def join_files(
    files: Mapping[str, Path],
    recipe: ImportRecipe,
    *,
    heading_line: Callable[[Grid], int | None] | None = None,
) -> Joined:
    """Put the cells of many files under one another.

    Parameters
    ----------
    files : mapping of str to Path
        Name in the study, and the file.
    recipe : ImportRecipe
        How each is opened, which headings are needed, what the names say.
    heading_line : callable, optional
        Finds the line of the headings of a grid, where the recipe does not say it.

    Raises
    ------
    FileError
        If none of the files can be read.
    """
    pieces: list[Piece] = []
    refused: dict[str, str] = {}
    for name, path in files.items():
        for sheet in recipe.sheets or (None,):
            own = name if sheet is None or len(recipe.sheets) == 1 else f"{name}!{sheet.name}"
            said = {} if sheet is None else {"phase": sheet.phase, "session": sheet.session}
            told = {key: str(value) for key, value in said.items() if value}
            opened = _opened(own, path, recipe, sheet.name if sheet else None, heading_line, told)
            if isinstance(opened, str):
                refused[own] = opened
            else:
                pieces.append(opened)
    if not pieces:
        first = next(iter(refused.items()))
        raise FileError("none of these files could be read", [f"{first[0]}: {first[1]}"])
    pieces = _of_one_study(pieces, refused)
    return _joined(pieces, refused, recipe)


def _opened(
    name: str,
    path: Path,
    recipe: ImportRecipe,
    sheet: str | None,
    heading_line: Callable[[Grid], int | None] | None,
    told: Mapping[str, str],
) -> "Piece | str":
    parts = name_parts(name.split("!")[0], recipe.name_parts) if recipe.name_parts else {}
    if parts is None:
        return f"its name does not fit name_parts ({recipe.name_parts}); rename it, or move it out"
    try:
        grid = open_grid(
            path,
            sheet=sheet,
            separator=recipe.separator,
            decimal=recipe.decimal,
            encoding=recipe.encoding,
        )
        headings = find_headings(
            grid,
            {key: new for key, new in recipe.columns.items() if not part_of_heading(key)},
            line=_line(grid, recipe, heading_line),
        )
    except InputError as problem:
        return str(problem)
    keep, aside = _body(grid, headings, name)
    return Piece(name, headings, grid, {**told, **parts}, keep, aside)


def _line(
    grid: Grid, recipe: ImportRecipe, finder: Callable[[Grid], int | None] | None
) -> int | None:
    if recipe.heading_row is None:
        return finder(grid) if finder is not None else None
    lines = np.flatnonzero(grid.rows == recipe.heading_row)
    return int(lines[0]) if len(lines) else None


def _body(grid: Grid, headings: Headings, name: str) -> tuple[np.ndarray, pd.DataFrame]:
    """Which lines under the headings hold data; the others are listed."""
    columns = [column.slice(headings.line + 1) for column in grid.columns]
    keep = np.ones(grid.size - headings.line - 1, dtype=bool)
    reasons = set_aside_reasons(columns, columns, headings)
    if not reasons:
        return keep, nothing_set_aside()
    lines = np.array(sorted(reasons))
    keep[lines] = False
    content = [content_of(columns, line) for line in lines.tolist()]
    listed = {"row": grid.rows[headings.line + 1 :][lines], "content": content}
    reason = [reasons[line] for line in lines.tolist()]
    return keep, pd.DataFrame({"file": "", "sheet": name, "reason": reason} | listed)


def _of_one_study(pieces: list[Piece], refused: dict[str, str]) -> list[Piece]:
    """Set aside files that share less than half of the headings that most files have."""
    counts = Counter(heading for piece in pieces for heading in piece.filled)
    usual = {heading for heading, count in counts.items() if count > len(pieces) / 2}
    kept = []
    for piece in pieces:
        shared = usual & set(piece.filled)
        if usual and len(shared) < max(1, len(usual) / 2):
            refused[piece.name] = (
                f"it has other headings ({', '.join(list(piece.filled)[:6])}) than most files; if "
                "it belongs to another study, move it out of the folder"
            )
        else:
            kept.append(piece)
    return kept


def _joined(pieces: list[Piece], refused: Mapping[str, str], recipe: ImportRecipe) -> Joined:
    label = recipe.label
    bodies = [piece.filled for piece in pieces]
    sizes = np.array([int(piece.keep.sum()) for piece in pieces])
    headings = list(dict.fromkeys(heading for body in bodies for heading in body))
    parts = list(dict.fromkeys(part for piece in pieces for part in piece.parts))
    refuse_vast_table(int(sizes.sum()), len(headings) + len(parts), label)
    columns = [
        _column(heading, [body.get(heading) for body in bodies], sizes) for heading in headings
    ]
    columns += [
        _constant(heading_of_part(part), [piece.parts.get(part, "") for piece in pieces], sizes)
        for part in parts
    ]
    points = Counter(piece.grid.decimal for piece in pieces)
    names = np.concatenate([[""], np.repeat([piece.name for piece in pieces], sizes)])
    rows = np.concatenate(
        [[1], *(p.grid.rows[p.headings.line + 1 :][p.keep] for p in pieces)]
    ).astype(np.int64)
    grid = Grid(
        label,
        tuple(columns),
        np.arange(len(names)),
        evidence=pieces[0].grid.evidence,
        decimal=points.most_common(1)[0][0],
    )
    lost = [set_aside_file(label, name, reason) for name, reason in refused.items()]
    aside = [piece.aside.assign(file=label) for piece in pieces if len(piece.aside)]
    return Joined(
        grid,
        names.astype(object),
        rows,
        _doubts(pieces, refused, recipe, grid.decimal),
        pd.concat([nothing_set_aside(), *lost, *aside], ignore_index=True),
        tuple(parts),
        tuple(piece.name for piece in pieces),
    )


def _doubts(
    pieces: list[Piece], refused: Mapping[str, str], recipe: ImportRecipe, decimal: str
) -> pd.DataFrame:
    """Everything that is doubtful about the files as such."""
    label = recipe.label
    problems = [
        marks_of(pieces, label, recipe),
        refusals(refused, label),
        named_twice(pieces, label),
    ]
    problems += [other_decimal_mark(pieces, decimal, label), rows_set_aside(pieces, label)]
    return gather(problems)


def _column(
    heading: str, columns: Sequence[pa.ChunkedArray | None], sizes: np.ndarray
) -> pa.ChunkedArray:
    chunks: list[pa.Array] = [pa.array([heading], pa.string())]
    for column, size in zip(columns, sizes.tolist(), strict=True):
        if column is None:
            chunks.append(pa.array([""] * size, pa.string()))
        else:
            chunks += [chunk.cast(pa.string()) for chunk in column.chunks]
    return pa.chunked_array([pa.concat_arrays(chunks)])


def _constant(heading: str, values: Sequence[str], sizes: np.ndarray) -> pa.ChunkedArray:
    return pa.chunked_array([pa.array([heading, *np.repeat(values, sizes).tolist()], pa.string())])


def files_that_lack(joined: Joined, table: pd.DataFrame) -> pd.DataFrame:
    """Person and session (or other parts of a name) for which there is no file, once each."""
    parts = [part for part in joined.parts if part != "participant" and part in table]
    if "participant" not in table or not parts or not joined.taken:
        return gather([])
    seen = table[["participant", *parts]].dropna().drop_duplicates()
    every = seen[parts].drop_duplicates()
    usual = every.merge(seen.groupby(parts, as_index=False).size())
    usual = usual[usual["size"] > seen["participant"].nunique() / 2]
    people = seen[["participant"]].drop_duplicates()
    whole = people.merge(usual[parts], how="cross").merge(seen, how="left", indicator=True)
    gone = whole[whole["_merge"] == "left_only"]
    told = [
        f"{row['participant']}: " + ", ".join(f"{part} {row[part]}" for part in parts)
        for row in gone.to_dict("records")
    ]
    if not told:
        return gather([])
    return problem_frame(
        "no file for a participant",
        severity="doubt",
        file=joined.grid.file,
        value=told,
        advice="most participants have a file there; put it into the folder, or note why there is "
        "none",
    )
