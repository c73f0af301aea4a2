"""What was not declared primary, in one table: every outcome at every test."""

from collections.abc import Iterator
from typing import Any

import pandas as pd

from motorlearn.compare import PhaseComparison, pair_in_words
from motorlearn.compare.crossing import INTERACTION, MAIN, SIMPLE, labels_of
from motorlearn.report.sections.exhibits import shown_contrasts
from motorlearn.report.sections.primary import estimate_and_reach
from motorlearn.report.view import OutcomeView, StudyView, primary_contrast
from motorlearn.tables import Column, Table
from motorlearn.vocabulary import PRACTICE_PHASE
from motorlearn.wording.factors import words_of

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
    rows = [row for entry in found.outcomes for row in _rows(found, entry)]
    notes: tuple[str, ...] = ()
    if len(rows) > MANY and several:
        rows, notes = _fewer(found, rows)
    if not rows:
        return None
    frame = pd.DataFrame(rows).drop(columns="pair")
    crossed = "effects of the factors" if found.design.factors else ""
    what = crossed or (
        f"{found.outcomes[0].voice.several} compared" if several else "change since the first test"
    )
    estimates = "Ratios have no unit. " if (frame.pop("effect") == "ratio").any() else ""
    adjusted = "Adjusted for the baseline where there is one. " if several else ""
    notes = (f"{adjusted}{estimates}g: Hedges' g, corrected for small samples.", *notes)
    return Table("secondary", f"Secondary results: {what}", _COLUMNS, frame, notes)


def _fewer(
    found: StudyView, rows: list[dict[str, Any]]
) -> tuple[list[dict[str, Any]], tuple[str, ...]]:
    """Of many rows those of the declared pair; of two factors all but the simple effects."""
    if found.design.factors:
        kept = [row for row in rows if row["pair"][0] != SIMPLE] or rows
        return kept, ("Simple effects are in the appendix.",)
    first = found.analysis.primary.iloc[0]
    pair = (first["group"], first["reference"])
    kept = [row for row in rows if row["pair"] == pair] or rows
    return kept, (f"Contrasts of {pair[0]} and {pair[1]} only.",)


def _rows(found: StudyView, entry: OutcomeView) -> Iterator[dict[str, Any]]:
    """Effects of the factors where there are two, contrasts of groups, or changes of one group."""
    crossed = isinstance(entry.comparison, PhaseComparison) and len(entry.comparison.effects)
    if crossed and found.design.factors:
        return _effects(found, entry)
    return (_contrasts if len(found.groups) > 1 else _changes)(found, entry)


def _effects(found: StudyView, entry: OutcomeView) -> Iterator[dict[str, Any]]:
    """Main effects and interactions of the tests, but the primary one; simple effects last."""
    assert isinstance(entry.comparison, PhaseComparison)
    rows = entry.comparison.effects
    rows = rows[rows["adjusted"]] if rows["adjusted"].any() else rows
    main = primary_contrast(found, entry) if entry is found.outcomes[0] else None
    simple = rows["kind"] == SIMPLE
    for row in pd.concat([rows[~simple], rows[simple]]).to_dict("records"):
        group, reference = labels_of(row)
        same = main is not None and (
            row["phase"] == main["phase"]
            and row["kind"] == main["kind"]
            and {group, reference} == {main["group"], main["reference"]}
        )
        if same or not _is_test(entry, row["phase"]) or pd.isna(row["estimate"]):
            continue
        over = f", averaged over {words_of(entry.voice, row['factor'])}"
        said = pair_in_words(group, reference, row["effect"])
        said += over if row["kind"] == MAIN else ", interaction" * (row["kind"] == INTERACTION)
        n = entry.voice.sizes(row)
        yield _row(entry, row, row["phase"], said, n, (row["kind"], row["term"]))


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
        n = entry.voice.sizes(row)
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
        said = f"against {entry.voice.stage(pair[0]).inside}"
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
