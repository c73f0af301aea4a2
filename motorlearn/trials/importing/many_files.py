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
from motorlearn.trials.importing.sources import name_parts
from motorlearn.trials.reading.headings import Headings, find_headings
from motorlearn.trials.reading.set_aside import content_of, set_aside_reasons
from motorlearn.trials.reading.standard import Standard
from motorlearn.trials.study import nothing_set_aside, set_aside_file

FROM_NAME = "in the file name"
"""What stands behind the heading of a column that comes from the names of the files."""

_UNCERTAIN = "decimal mark uncertain"


@dataclass(frozen=True)
class _Piece:
    """One file that is read: its headings, its body, and where the body stood."""

    name: str
    headings: Headings
    grid: Grid
    parts: Mapping[str, str]
    keep: np.ndarray
    aside: pd.DataFrame

    @property
    def filled(self) -> dict[str, pa.ChunkedArray]:
        """Columns under their headings; one without heading and cells is none."""
        start = self.headings.line + 1
        found = {}
        for place, (heading, top) in enumerate(
            zip(self.headings.originals, self.grid.line(self.headings.line), strict=True)
        ):
            column = self.grid.columns[place].slice(start)
            if top.strip() or any(text.strip() for text in column.to_pylist()):
                found[heading] = column.filter(pa.array(self.keep))
        return found


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
    pieces: list[_Piece] = []
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
    pieces = _of_one_study(pieces, recipe, refused)
    return _joined(pieces, refused, recipe)


def _opened(
    name: str,
    path: Path,
    recipe: ImportRecipe,
    sheet: str | None,
    heading_line: Callable[[Grid], int | None] | None,
    told: Mapping[str, str],
) -> "_Piece | str":
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
            {key: new for key, new in recipe.columns.items() if not key.endswith(FROM_NAME)},
            line=_line(grid, recipe, heading_line),
        )
    except InputError as problem:
        return str(problem)
    keep, aside = _body(grid, headings, name)
    return _Piece(name, headings, grid, {**told, **parts}, keep, aside)


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


def _of_one_study(
    pieces: list[_Piece], recipe: ImportRecipe, refused: dict[str, str]
) -> list[_Piece]:
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


def _joined(pieces: list[_Piece], refused: Mapping[str, str], recipe: ImportRecipe) -> Joined:
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
        _constant(f"{part} {FROM_NAME}", [piece.parts.get(part, "") for piece in pieces], sizes)
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
    problems = [_marks(pieces, label, recipe), _refusals(refused, label), _twice(pieces, label)]
    problems += [_other_mark(pieces, grid.decimal, label), _blank(pieces, label)]
    lost = [set_aside_file(label, name, reason) for name, reason in refused.items()]
    aside = [piece.aside.assign(file=label) for piece in pieces if len(piece.aside)]
    return Joined(
        grid,
        names.astype(object),
        rows,
        gather(problems),
        pd.concat([nothing_set_aside(), *lost, *aside], ignore_index=True),
        tuple(parts),
        tuple(piece.name for piece in pieces),
    )


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


def _marks(pieces: Sequence[_Piece], label: str, recipe: ImportRecipe) -> pd.DataFrame:
    """Doubts about cells, each under its file; what is said of many files is said once."""
    sure = any("uncertain" not in piece.grid.evidence.get("decimal mark", "") for piece in pieces)
    frames = [p.grid.marks.assign(file=label, sheet=p.name) for p in pieces if len(p.grid.marks)]
    found = gather(frames)
    if found.empty:
        return found
    if sure or recipe.decimal:
        found = found[found["rule"] != _UNCERTAIN]
    if recipe.short_rows == "empty":
        found = _short_rows(found, label, {p.name: len(p.headings.originals) for p in pieces})
    whole = found["row"].isna()
    once = [
        _alike(part, label)
        for _, part in found[whole].groupby(["rule", "severity", "column", "advice"], sort=False)
    ]
    return gather([found[~whole], *once])


def _short_rows(found: pd.DataFrame, label: str, headings: Mapping[str, int]) -> pd.DataFrame:
    """Rows with fewer fields than headings become one note: their values at the end are missing."""
    width = found["value"].str.extract(r"^(\d+) fields ", expand=False).astype("float")
    short = (found["rule"] == RAGGED) & (width <= found["sheet"].map(headings))
    if not short.any():
        return found
    note = problem_frame(
        "rows without their last values",
        severity="note",
        file=label,
        value=f"{int(short.sum())} rows of {found.loc[short, 'sheet'].nunique()} files",
        advice="read as missing, as the import recipe says (short_rows)",
    )
    return gather([found[~short], note])


RAGGED = "row with another number of fields"


def _alike(part: pd.DataFrame, label: str) -> pd.DataFrame:
    if len(part) == 1:
        return part
    value = f"{len(part)} files, the first {part['sheet'].iloc[0]}"
    return part.head(1).assign(file=label, sheet="", value=value)


def _refusals(refused: Mapping[str, str], label: str) -> pd.DataFrame:
    return gather(
        [
            problem_frame(
                "file set aside",
                severity="error",
                file=label,
                sheet=name,
                value=name,
                advice=reason,
            )
            for name, reason in refused.items()
        ]
    )


def _twice(pieces: Sequence[_Piece], label: str) -> pd.DataFrame:
    """Two files whose names say the same."""
    said: dict[tuple[tuple[str, str], ...], list[str]] = {}
    for piece in pieces:
        if piece.parts:
            said.setdefault(tuple(sorted(piece.parts.items())), []).append(piece.name)
    return gather(
        [
            problem_frame(
                TWO_FILES,
                severity="error",
                file=label,
                sheet=names[-1],
                value=" and ".join(names),
                advice="both are "
                + ", ".join(f"{part} {value}" for part, value in key)
                + ": keep one of them, or say in its name what sets it apart",
            )
            for key, names in said.items()
            if len(names) > 1
        ]
    )


TWO_FILES = "two files of the same"


def _other_mark(pieces: Sequence[_Piece], point: str, label: str) -> pd.DataFrame:
    other = [
        piece.name
        for piece in pieces
        if piece.grid.decimal != point
        and "uncertain" not in piece.grid.evidence.get("decimal mark", "uncertain")
    ]
    if not other:
        return gather([])
    word = "point" if point == "." else "comma"
    return problem_frame(
        "files with another decimal mark",
        severity="doubt",
        file=label,
        sheet=other[0],
        value=f"{len(other)} of {len(pieces)} files: {', '.join(other[:5])}",
        advice=f"most files have a decimal {word}; numbers of these were read with it where they "
        "could be: save them alike",
    )


def _blank(pieces: Sequence[_Piece], label: str) -> pd.DataFrame:
    rows = [piece.aside for piece in pieces if len(piece.aside)]
    if not rows:
        return gather([])
    frames = []
    for reason, part in pd.concat(rows, ignore_index=True).groupby("reason", sort=False):
        blank = reason == "blank row"
        frames.append(
            problem_frame(
                "row set aside",
                severity="note" if blank else "doubt",
                file=label,
                sheet=str(part["sheet"].iloc[0]),
                row=int(part["row"].iloc[0]),
                value=f"{len(part)} rows of {part['sheet'].nunique()} files",
                advice=f"{reason}: not in the table",
            )
        )
    return gather(frames)


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
