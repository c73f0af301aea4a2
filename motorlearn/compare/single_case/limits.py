"""What a study of one athlete to five cannot show."""

import numpy as np
import pandas as pd

from motorlearn.compare.single_case.records import Record
from motorlearn.design.randomisation import Randomisation
from motorlearn.measures.single_case import Randomised
from motorlearn.results import Refused

FEW = 5
"""Sessions below which a phase is called short."""


def statements(
    records: list[Record],
    design: str,
    draw: Randomisation | None,
    test: Randomised | Refused,
    phases: pd.DataFrame,
) -> tuple[str, ...]:
    """Say it, the weightiest first."""
    people = "this athlete" if len(records) == 1 else "these athletes"
    said = [
        f"The study speaks about {people} in these sessions, about performance while a condition "
        "was on, and about nobody else."
    ]
    if design == "AB":
        said.append(
            "With one change from A to B, anything else that happened at that time, practice "
            "going on included, can have made the difference."
        )
    if isinstance(test, Refused):
        said.append(f"There is no randomisation test: {test.reason}")
    elif test.smallest_p > 0.05:
        said.append(
            f"The conditions could have been drawn in {test.assignments} ways, so p cannot be "
            f"below {test.smallest_p:.3g}: no result could have been significant at 5 %."
        )
    if design == "alternating":
        said.append(
            "Conditions that alternate can carry over from one session to the next, which makes "
            "their difference too small or too large."
        )
    if draw is None and design != "alternating":
        said.append(
            "An improvement that was under way before the change looks like an effect of B."
        )
    return (*said, *_short(phases), *_missing(records))


def _short(phases: pd.DataFrame) -> list[str]:
    few = phases[phases["n"] < FEW]
    if few.empty:
        return []
    return [
        f"{len(few)} of {len(phases)} phases have fewer than {FEW} sessions (fewest "
        f"{int(few['n'].min())}); their level, trend and spread are hardly known."
    ]


def _missing(records: list[Record]) -> list[str]:
    said = []
    for record in records:
        gone = np.flatnonzero(np.isnan(record.scores)) + 1
        if len(gone):
            named = ", ".join(str(number) for number in gone)
            said.append(
                f"{record.name} has no score in session {named}; it keeps its place in the draw "
                "and counts in no mean, which is fair only if it is missing for no reason of A "
                "or B."
            )
    return said
