"""From one row per participant and one column per test to one row per participant and test."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pyarrow as pa

from motorlearn.design import ImportRecipe, WideColumn
from motorlearn.exceptions import ColumnError
from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.checking.rules import OUTCOMES
from motorlearn.trials.containers.grid import Grid
from motorlearn.trials.reading.headings import Headings
from motorlearn.trials.reading.notation import SCORE_RULES, Score, read_score
from motorlearn.trials.reading.sheet import Sheet
from motorlearn.trials.reading.standard import Standard, ordered_columns, standardise
from motorlearn.vocabulary import CHANGE_COLUMNS

_LOGGED = frozenset(SCORE_RULES) - {"attempts unknown"}


@dataclass(frozen=True)
class _Part:
    """The rows that one wide column gives."""

    table: pd.DataFrame
    label: str
    problems: pd.DataFrame
    changes: pd.DataFrame


def gather_wide(
    grid: Grid, headings: Headings, recipe: ImportRecipe, units: Mapping[str, str]
) -> Standard:
    """Turn the wide columns of a recipe into rows, ordered by row of the file, then by column.

    Raises
    ------
    ColumnError
        If the recipe names a heading the file does not have.
    """
    used = {entry.heading for entry in recipe.wide}
    used |= {entry.attempts_in for entry in recipe.wide if entry.attempts_in}
    absent = sorted(used - set(headings.originals))
    if absent:
        raise ColumnError(
            f"the import recipe names headings that {grid.file} does not have",
            absent,
            "its headings are " + ", ".join(map(repr, headings.originals)),
        )
    kept = [place for place, original in enumerate(headings.originals) if original not in used]
    base = standardise(
        replace(grid, columns=tuple(grid.columns[place] for place in kept)),
        _chosen(headings, kept),
        levels=recipe.levels,
        units=units,
        whole=(grid, tuple(kept)),
    )
    lines = np.searchsorted(grid.rows, base.sheet.rows)
    parts = [_part(grid, headings, base.sheet, entry, recipe, lines) for entry in recipe.wide]
    return _joined(base, parts)


def _joined(base: Standard, parts: list[_Part]) -> Standard:
    size = len(base.sheet.table)
    table = pd.concat([part.table for part in parts], ignore_index=True)
    rows = np.tile(base.sheet.rows, len(parts))
    labels = np.repeat(np.array([part.label for part in parts], dtype=object), size)
    order = np.lexsort((np.repeat(np.arange(len(parts)), size), rows))
    table = table.iloc[order].reset_index(drop=True)
    names = ordered_columns(list(table.columns))
    scored = [name for name in (*OUTCOMES, "attempts") if name in names]
    sheet = Sheet(
        table[names],
        rows[order],
        base.sheet.file,
        base.sheet.sheet,
        base.sheet.shown,
        dict.fromkeys(scored, labels[order]),
    )
    problems = gather([base.problems, *(part.problems for part in parts)])
    changes = [base.changes, *(part.changes for part in parts)]
    filled = [frame for frame in changes if len(frame)]
    logged = pd.concat(filled, ignore_index=True) if filled else base.changes
    return replace(base, sheet=sheet, problems=problems, changes=logged)


def _part(
    grid: Grid,
    headings: Headings,
    base: Sheet,
    entry: WideColumn,
    recipe: ImportRecipe,
    lines: np.ndarray,
) -> _Part:
    texts = _texts(grid, headings, entry.heading, lines)
    attempts = _attempts(grid, headings, entry, lines)
    decimal = "." if grid.lettered and not recipe.decimal else recipe.decimal or grid.decimal
    scores = [
        read_score(text, entry.notation, attempts=n, decimal=decimal, missing=recipe.missing)
        for text, n in zip(texts, attempts, strict=True)
    ]
    label = _label(grid, headings, entry.heading)
    return _Part(
        _part_table(base.table, entry, scores),
        label,
        _part_problems(base, label, texts, scores),
        _part_changes(base, label, texts, scores),
    )


def _part_table(kept: pd.DataFrame, entry: WideColumn, scores: list[Score]) -> pd.DataFrame:
    table = kept.assign(phase=entry.phase)
    if entry.session is not None:
        table["session"] = entry.session
    if entry.task:
        table["task"] = entry.task
    table[entry.score] = [score.value for score in scores]
    if entry.score == "hits":
        table["attempts"] = [score.attempts for score in scores]
    reasons = pd.Series([score.missing or None for score in scores], dtype="str")
    table["void"] = reasons if "void" not in kept else kept["void"].fillna(reasons)
    return table


def _part_problems(base: Sheet, label: str, texts: list[str], scores: list[Score]) -> pd.DataFrame:
    found = []
    for rule in dict.fromkeys(score.rule for score in scores if score.rule):
        lines = [place for place, score in enumerate(scores) if score.rule == rule]
        severity, advice = SCORE_RULES[rule]
        found.append(
            problem_frame(
                rule,
                severity=severity,
                file=base.file,
                sheet=base.title,
                row=base.rows[lines],
                column=label,
                value=[texts[line] for line in lines],
                advice=advice,
            )
        )
    return gather(found)


def _part_changes(base: Sheet, label: str, texts: list[str], scores: list[Score]) -> pd.DataFrame:
    rows = [
        (base.file, base.title, int(row), label, text, _written(score), score.rule)
        for row, text, score in zip(base.rows, texts, scores, strict=True)
        if score.rule in _LOGGED
    ]
    return pd.DataFrame(rows, columns=list(CHANGE_COLUMNS)).astype({"row": "Int64"})


def _written(score: Score) -> str:
    if score.value != score.value:
        return score.missing
    return f"{score.value:.15g}" + (f" of {score.attempts:g}" if "read" in score.rule else "")


def _texts(grid: Grid, headings: Headings, heading: str, lines: np.ndarray) -> list[str]:
    column = grid.columns[headings.originals.index(heading)]
    return [text.strip() for text in column.take(pa.array(lines)).to_pylist()]


def _attempts(grid: Grid, headings: Headings, entry: WideColumn, lines: np.ndarray) -> list[float]:
    if not entry.attempts_in:
        return [float("nan") if entry.attempts is None else float(entry.attempts)] * len(lines)
    texts = _texts(grid, headings, entry.attempts_in, lines)
    return [read_score(text, "number").value for text in texts]


def _label(grid: Grid, headings: Headings, heading: str) -> str:
    letter = grid.letter(headings.originals.index(heading)) if grid.lettered else ""
    return f"{heading} [{letter}]" if letter else heading


def _chosen(headings: Headings, kept: list[int]) -> Headings:
    return replace(
        headings,
        originals=tuple(headings.originals[place] for place in kept),
        names=tuple(headings.names[place] for place in kept),
    )
