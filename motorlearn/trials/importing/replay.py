"""Replay an import recipe: a foreign file becomes rows in standard columns, every change logged."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

from motorlearn.design import ImportRecipe, SheetSource
from motorlearn.exceptions import ColumnError, FileError, InputError
from motorlearn.trials.checking.problems import gather, place, problem_frame
from motorlearn.trials.checking.rules import check_rules
from motorlearn.trials.checking.suspicions import suspicions
from motorlearn.trials.containers.grid import Grid
from motorlearn.trials.containers.opening import open_grid
from motorlearn.trials.importing.many_files import (
    Joined,
    files_that_lack,
    heading_of_part,
    join_files,
    part_of_heading,
)
from motorlearn.trials.importing.names_agree import names_agree
from motorlearn.trials.importing.pieces import short_rows
from motorlearn.trials.importing.sources import source_files, sum_of
from motorlearn.trials.reading.conversion import convert_units
from motorlearn.trials.reading.headings import Headings, find_headings, require_participant
from motorlearn.trials.reading.sheet import Sheet
from motorlearn.trials.reading.standard import Standard, standardise
from motorlearn.trials.reading.trials_file import trials_of
from motorlearn.trials.reading.wide import gather_wide
from motorlearn.trials.study import Trials
from motorlearn.vocabulary import CHANGE_COLUMNS


def import_trials(
    path: str | Path, recipe: ImportRecipe, *, units: Mapping[str, str] | None = None
) -> Trials:
    """Read a file by a recipe and check it; the same file and recipe give the same table.

    Parameters
    ----------
    path : path-like
        The original file; it is never altered.
    recipe : ImportRecipe
        How it is read, as in the ``[import]`` section of a plan.
    units : mapping of str to str, optional
        Units of the study.

    Raises
    ------
    InputError
        If the recipe is strict and the file has an error.
    ColumnError
        If the recipe names a column the file does not have.
    """
    standard = replay(path, recipe, units=units)
    problems = gather([standard.problems, check_rules(standard.sheet), suspicions(standard.sheet)])
    return trials_of(settle(standard, problems, recipe.mode), problems)


def replay(
    path: str | Path, recipe: ImportRecipe, *, units: Mapping[str, str] | None = None
) -> Standard:
    """Read a file by a recipe, without the rules that follow."""
    sources: Sequence[SheetSource | None] = recipe.sheets or (None,)
    parts = [_one_sheet(Path(path), recipe, source, units) for source in sources]
    standard = parts[0] if len(parts) == 1 else _stacked(parts)
    if standard.sheet.table.empty:
        raise FileError("the file has headings but no rows of data", [Path(path).name])
    return _finished(standard, {Path(path).name: Path(path)}, recipe)


def replay_files(
    root: Path, recipe: ImportRecipe, *, units: Mapping[str, str] | None = None
) -> Standard:
    """Read every file that a recipe names, without the rules that follow.

    Raises
    ------
    FileError
        If a name leads to no file, none of the files can be read, or none has a row of data.
    ColumnError
        If nothing says whose rows they are.
    """
    return replay_joined(source_files(root, recipe.sources), recipe, units=units)


def replay_joined(
    files: Mapping[str, Path], recipe: ImportRecipe, *, units: Mapping[str, str] | None = None
) -> Standard:
    """Read these files as one table; see :func:`replay_files`."""
    joined = join_files(files, recipe)
    told = {heading_of_part(part): part for part in joined.parts}
    taken = set(recipe.columns.values()) | {*_own(joined)}
    columns = {key: new for key, new in told.items() if new not in taken} | recipe.columns
    there = {column[0].as_py() for column in joined.grid.columns}
    headings = find_headings(
        joined.grid, {key: new for key, new in columns.items() if key in there}, line=0
    )
    require_participant(joined.grid, headings)
    if recipe.wide:
        standard = gather_wide(joined.grid, headings, recipe, units or {})
    else:
        standard = _long(joined.grid, headings, recipe, units)
    if standard.sheet.table.empty:
        raise FileError("the files have headings but no rows of data", [recipe.label])
    standard = joined.settled(standard)
    lacking = files_that_lack(joined, standard.sheet.table)
    standard = replace(standard, problems=gather([standard.problems, lacking]))
    return _finished(names_agree(standard, joined.parts), files, recipe)


def _own(joined: Joined) -> list[str]:
    """Standard names that headings of the files themselves have."""
    headings = find_headings(joined.grid, line=0)
    return [name for name in headings.names if not part_of_heading(name)]


def _finished(standard: Standard, files: Mapping[str, Path], recipe: ImportRecipe) -> Standard:
    standard = convert_units(standard, recipe.convert)
    return _with_hash(standard, files, recipe)


def settle(standard: Standard, problems: pd.DataFrame, mode: str) -> Standard:
    """Do what the mode says about errors: stop at them, set their rows aside, or only report.

    Raises
    ------
    InputError
        If the mode is ``strict`` and there is an error.
    """
    errors = problems[problems["severity"] == "error"]
    if mode == "strict" and len(errors):
        raise InputError(
            f"the import is strict and found {len(errors)} errors",
            [f"{place(entry)}: {entry['rule']}" for _, entry in errors.head(5).iterrows()],
            "mend them in the file, or set mode = 'lenient' to set their rows aside",
        )
    if mode != "lenient" or errors.empty:
        return standard
    return _set_aside(standard, errors)


def _one_sheet(
    path: Path,
    recipe: ImportRecipe,
    source: SheetSource | None,
    units: Mapping[str, str] | None,
) -> Standard:
    grid = open_grid(
        path,
        sheet=source.name if source else None,
        separator=recipe.separator,
        decimal=recipe.decimal,
        encoding=recipe.encoding,
    )
    if recipe.short_rows == "empty" and len(grid.marks):
        widths = {"": len(grid.columns), grid.sheet: len(grid.columns)}
        grid = replace(grid, marks=short_rows(grid.marks, grid.file, widths))
    line = None if recipe.heading_row is None else _line_of(grid, recipe.heading_row)
    columns = {**recipe.columns}
    headings = find_headings(grid, columns, line=line)
    require_participant(grid, headings)
    if recipe.wide:
        standard = gather_wide(grid, headings, recipe, units or {})
    else:
        standard = _long(grid, headings, recipe, units)
    return _labelled(standard, source)


def _long(
    grid: Grid, headings: Headings, recipe: ImportRecipe, units: Mapping[str, str] | None
) -> Standard:
    standard = standardise(
        grid, headings, levels=recipe.levels, units=units, missing=tuple(recipe.missing)
    )
    reasons = {word.lower(): reason for word, reason in recipe.missing.items()}
    changes = standard.changes
    words = changes[changes["rule"] == "word read as missing"]
    said = words["before"].str.strip().str.lower().map(reasons)
    by_row = dict(zip(words.loc[said.notna(), "row"], said.dropna(), strict=True))
    if not by_row:
        return standard
    table = standard.sheet.table.copy()
    given = pd.Series(standard.sheet.rows, index=table.index).map(by_row)
    before = table["void"] if "void" in table else pd.Series(np.nan, table.index, dtype="str")
    table["void"] = before.where(before.notna(), given).astype("str")
    return replace(standard, sheet=replace(standard.sheet, table=table))


def _line_of(grid: Grid, row: int) -> int:
    lines = np.flatnonzero(grid.rows == row)
    if not len(lines):
        raise ColumnError(f"{grid.file} has no row of that number", [row], "correct heading_row")
    return int(lines[0])


def _labelled(standard: Standard, source: SheetSource | None) -> Standard:
    if source is None or not (source.phase or source.session):
        return standard
    table = standard.sheet.table.copy()
    if source.phase:
        table["phase"] = source.phase
    if source.session:
        table["session"] = source.session
    return replace(standard, sheet=replace(standard.sheet, table=table))


def _stacked(parts: Sequence[Standard]) -> Standard:
    sheets = [part.sheet for part in parts]
    names = np.concatenate(
        [np.full(len(sheet.table), sheet.title, dtype=object) for sheet in sheets]
    )
    columns = dict.fromkeys(name for sheet in sheets for name in sheet.table.columns)
    origins = {name: np.concatenate([_origin(sheet, name) for sheet in sheets]) for name in columns}
    joined = Sheet(
        pd.concat([sheet.table for sheet in sheets], ignore_index=True),
        np.concatenate([sheet.rows for sheet in sheets]),
        sheets[0].file,
        names,
        sheets[0].shown,
        origins,
    )
    return Standard(
        joined,
        gather([part.problems for part in parts]),
        pd.concat([part.changes for part in parts], ignore_index=True),
        pd.concat([part.set_aside for part in parts], ignore_index=True),
        parts[0].units,
    )


def _origin(sheet: Sheet, name: str) -> np.ndarray:
    if sheet.origins is not None and name in sheet.origins:
        return sheet.origins[name]
    return np.full(len(sheet.table), sheet.column(name), dtype=object)


def _with_hash(standard: Standard, files: Mapping[str, Path], recipe: ImportRecipe) -> Standard:
    found, name = sum_of(files), standard.sheet.file
    many = "" if len(files) == 1 else f"{len(files)} files"
    first = pd.DataFrame(
        [(name, "", pd.NA, "", many, f"sha256:{found}", "original file")],
        columns=list(CHANGE_COLUMNS),
    ).astype({"row": "Int64"})
    problems = [standard.problems]
    if recipe.sha256 and recipe.sha256 != found:
        problems.append(
            problem_frame(
                "original file has changed",
                severity="error",
                file=name,
                value=found[:16],
                advice=f"the recipe was made for {_then(recipe, len(files))}; look at what "
                "changed, then import again",
            )
        )
    changes = pd.concat([first, standard.changes], ignore_index=True)
    return replace(standard, problems=gather(problems), changes=changes)


def _then(recipe: ImportRecipe, now: int) -> str:
    if recipe.count is None or recipe.count == now:
        return f"{recipe.sha256[:16]}…"
    return f"{recipe.count} files and there are {now} now"


def _set_aside(standard: Standard, errors: pd.DataFrame) -> Standard:
    sheet = standard.sheet
    names = np.broadcast_to(np.asarray(sheet.sheet, dtype=object), len(sheet.table))
    reasons: dict[int, str] = {}
    here = errors[errors["file"] == sheet.file].dropna(subset=["row"])
    for error in here.itertuples():
        same = (sheet.rows == int(error.row)) & (names == error.sheet)
        narrow = same & _from_column(sheet, str(error.column))
        for line in np.flatnonzero(narrow if narrow.any() else same).tolist():
            reasons.setdefault(line, str(error.rule))
    lines = np.array(sorted(reasons), dtype=int)
    aside = pd.DataFrame(
        {
            "file": sheet.file,
            "sheet": names[lines],
            "row": sheet.rows[lines],
            "reason": [reasons[line] for line in lines.tolist()],
            "content": [_content(sheet.table.iloc[line]) for line in lines.tolist()],
        }
    )
    keep = np.ones(len(sheet.table), dtype=bool)
    keep[lines] = False
    return replace(
        standard,
        sheet=sheet.part(keep),
        set_aside=pd.concat([standard.set_aside, aside], ignore_index=True),
    )


def _from_column(sheet: Sheet, column: str) -> np.ndarray:
    match = np.zeros(len(sheet.table), dtype=bool)
    for labels in (sheet.origins or {}).values():
        match |= labels == column
    return match


def _content(row: pd.Series) -> str:
    return " | ".join(str(value) for value in row if pd.notna(value) and str(value))
