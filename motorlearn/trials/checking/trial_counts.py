"""Trials that were done, against the trials that were planned."""

from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.trials.checking.problems import gather
from motorlearn.trials.reading.sheet import Sheet
from motorlearn.vocabulary import PRACTICE_PHASE

_ALIKE: Final = 0.8
"""Share of people and phases from which the same multiple of the plan is no accident."""


def trial_counts(sheet: Sheet, design: Design) -> pd.DataFrame:
    """Find participants with more or fewer trials than planned in a phase that has data."""
    if not sheet.has("phase"):
        return gather([])
    present = set(sheet.table["phase"].dropna().unique())
    reached = [name for name in design.phases if name in present]
    if not reached:
        return gather([])
    counts = _counted(sheet, design, reached)
    frames = []
    for rule, severity, part in (
        ("more trials than planned", "doubt", counts[counts["n"] > counts["planned"]]),
        ("fewer trials than planned", "note", counts[counts["n"] < counts["planned"]]),
    ):
        frames.append(
            sheet.problems(
                rule,
                part["line"].to_numpy(dtype=int),
                column="participant",
                values=[
                    f"{entry.participant}, {entry.phase}: {entry.n:g} of {entry.planned:g}"
                    for entry in part.itertuples()
                ],
                severity=severity,
                advice=_why_more(sheet, counts)
                if severity == "doubt"
                else "every trial that was done needs a row, missed and void ones too",
            )
        )
    return gather(frames)


def _why_more(sheet: Sheet, counts: pd.DataFrame) -> str:
    """What rows beyond the plan probably are: those of several raters, or further trials."""
    done = counts[counts["n"] > 0]
    times = done["n"] / done["planned"]
    usual = int(times.median()) if len(times) else 0
    raters = sheet.table["rater"].dropna().unique() if "rater" in sheet.table else ()
    if usual > 1 and ((times == usual).mean() >= _ALIKE or len(raters) == usual):
        named = f" ({', '.join(map(str, raters))})" if len(raters) else ""
        return (
            f"most people have {usual} times the planned trials: are these rows of {usual} "
            f"raters{named}? Ratings belong in ratings.csv, one row for each rater and item; in "
            "trials.csv keep one row a trial"
        )
    return (
        "check for trials entered twice, or give the reason in the study's record; where people "
        "were free to go on, leave the further trials out with [[exclusions]]"
    )


def _counted(sheet: Sheet, design: Design, planned: Sequence[str]) -> pd.DataFrame:
    """Trials of each participant and planned phase (0 where there are none), and a line."""
    table = sheet.table
    one = pd.Series(1, index=table.index)
    size = table["attempts"].where(_is_counted(table), one) if sheet.has("attempts") else one
    rows = pd.DataFrame(
        {
            "participant": table["participant"],
            "phase": table["phase"],
            "n": size,
            "line": np.arange(len(table)),
        }
    )
    first = rows.groupby("participant")["line"].first()
    keys = ["participant", "phase"]
    counts = (
        rows[rows["phase"].isin(list(planned))]
        .groupby(keys)
        .agg(n=("n", "sum"), line=("line", "first"))
    )
    every = pd.MultiIndex.from_product([first.index, list(planned)], names=keys)
    counts = counts.reindex(every).reset_index()
    counts["n"] = counts["n"].fillna(0)
    counts["line"] = counts["line"].fillna(counts["participant"].map(first))
    counts["planned"] = _planned_of(counts, table, design)
    return counts.dropna(subset="planned")


def _is_counted(table: pd.DataFrame) -> pd.Series:
    """Rows that hold a number of attempts, or nothing: the others are one trial each."""
    single = table.reindex(columns=["trial", "hit"]).notna().any(axis=1)
    return table["attempts"].notna() | ~single


def _planned_of(counts: pd.DataFrame, table: pd.DataFrame, design: Design) -> pd.Series:
    """Planned trials of each participant and phase; missing where their group is not known."""
    if design.practice_is_shared or "group" not in table:
        return counts["phase"].map(planned_trials(design))
    group = table.groupby("participant")["group"].first()
    of = {name: planned_trials(design, name) for name in design.group_names}
    own = counts["participant"].map(group)
    told = [of.get(name, {}).get(at) for name, at in zip(own, counts["phase"], strict=True)]
    return pd.Series(told, index=counts.index, dtype="float")


def planned_trials(design: Design, group: str | None = None) -> dict[str, int]:
    """Number of trials per phase in the plan that can have an outcome.

    Practice is that of the group; of a group that is not known, it is told only where all practise
    the same.
    """
    shared = design.practice if design.practice_is_shared else ()
    counts: dict[str, int] = {}
    for session in design.practice_of(group) if group in design.group_names else shared:
        without = sum(part.trials for part in session.parts if not part.has_object)
        counts[PRACTICE_PHASE] = counts.get(PRACTICE_PHASE, 0) + session.trials - without
    for test in design.tests:
        counts[test.phase] = counts.get(test.phase, 0) + test.trials
    return counts
