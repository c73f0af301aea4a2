"""What was not declared primary, in one table: every outcome at every test."""

from collections.abc import Iterator
from typing import Any

import pandas as pd

from motorlearn.compare import PhaseComparison, pair_in_words
from motorlearn.report.sections.exhibits import shown_contrasts
from motorlearn.report.sections.primary import estimate_and_reach
from motorlearn.report.view import OutcomeView, StudyView, primary_contrast
from motorlearn.tables import Column, Table
from motorlearn.vocabulary import PRACTICE_PHASE

MANY = 20
"""A longer table keeps the contrast that was declared, and leaves the others to the appendix."""

_COLUMNS = (
    Column("outcome"),
    Column("test"),
    Column("contrast"),
    Column("estimate", "estimate (95 % CI)"),
    Column("p", "p", "p"),
    Column("g", "g", "number"),
    Column("n"),
)


def secondary_table(found: StudyView) -> Table | None:
    """One row for each comparison of a test that is not the primary one; none where there is none.

    With several groups the contrasts between groups, with one group its change from the first test.
    """
    several = len(found.groups) > 1
    rows = [
        row
        for entry in found.outcomes
        for row in (_contrasts if several else _changes)(found, entry)
    ]
    notes: tuple[str, ...] = ()
    if len(rows) > MANY and several:
        first = found.analysis.primary.iloc[0]
        pair = (first["group"], first["reference"])
        rows = [row for row in rows if row["pair"] == pair] or rows
        notes = (f"Contrasts of {pair[0]} and {pair[1]} only.",)
    if not rows:
        return None
    frame = pd.DataFrame(rows).drop(columns="pair")
    what = (
        f"{found.outcomes[0].voice.several} compared" if several else "change since the first test"
    )
    estimates = "Ratios have no unit. " if (frame.pop("effect") == "ratio").any() else ""
    adjusted = "Adjusted for the baseline where there is one. " if several else ""
    notes = (f"{adjusted}{estimates}g: Hedges' g, corrected for small samples.", *notes)
    return Table("secondary", f"Secondary results: {what}", _COLUMNS, frame, notes)


def _contrasts(found: StudyView, entry: OutcomeView) -> Iterator[dict[str, Any]]:
    shown = shown_contrasts(entry)
    if shown is None:
        return
    main = primary_contrast(found, entry) if entry is found.outcomes[0] else None
    for row in shown.to_dict("records"):
        same = main is not None and all(
            row[name] == main[name] for name in ("phase", "group", "reference", "adjusted")
        )
        if same or not _is_test(entry, row["phase"]) or pd.isna(row["estimate"]):
            continue
        said = pair_in_words(row["group"], row["reference"], row["effect"])
        n = f"{row['n_group']} + {row['n_reference']}"
        yield _row(entry, row, row["phase"], said, n, (row["group"], row["reference"]))


def _changes(found: StudyView, entry: OutcomeView) -> Iterator[dict[str, Any]]:
    if not isinstance(entry.comparison, PhaseComparison):
        return
    told = entry.analysis.change_stages if entry is found.outcomes[0] else None
    tests = found.analysis.question.tests
    for row in entry.comparison.paired.to_dict("records"):
        pair = row["from_phase"], row["to_phase"]
        first = bool(tests) and pair[0] == tests[0].name
        if pair == told or not first or not _is_test(entry, pair[1]) or pd.isna(row["estimate"]):
            continue
        said = f"against {entry.voice.short(pair[0])}"
        yield _row(entry, row, pair[1], said, str(row["n"]), pair)


def _is_test(entry: OutcomeView, stage: str) -> bool:
    return entry.voice.stage(stage).phase != PRACTICE_PHASE


def _row(
    entry: OutcomeView,
    row: dict[str, Any],
    stage: str,
    contrast: str,
    n: str,
    pair: tuple[str, str],
) -> dict[str, Any]:
    voice = entry.voice
    return {
        "outcome": voice.name,
        "test": voice.short(stage),
        "contrast": contrast,
        "estimate": estimate_and_reach(row, voice),
        "p": row["p"],
        "g": row["g"],
        "n": n,
        "pair": pair,
        "effect": row["effect"],
    }
