"""Who was different at the start, and who was lost: standardised differences without p values.

A test of baseline differences in a randomised study asks whether chance did what chance does
(Senn 1994); the size of a difference matters, not its p value.
"""

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import pandas as pd

from motorlearn.exceptions import ColumnError
from motorlearn.trials.counted import counted_rows

LOOK_AT = 0.25
"""Standardised difference beyond which a baseline difference is looked at.

What Works Clearinghouse, standards of baseline equivalence: up to .05 nothing is asked, up to .25
an adjustment, beyond it the groups do not count as alike.
"""


def baseline_differences(
    people: pd.DataFrame, columns: Sequence[str], *, group: str = "group"
) -> pd.DataFrame:
    """Give standardised differences between groups, one row per variable, level and pair.

    For a number, d = (m₁ − m₂) / √((s₁² + s₂²) / 2) with sample SDs; for a share,
    d = (p₁ − p₂) / √((p₁(1 − p₁) + p₂(1 − p₂)) / 2). No p values are given.

    Parameters
    ----------
    people : DataFrame
        One row per person.
    columns : sequence of str
        Variables measured before allocation.
    group : str
        Column of groups.

    Returns
    -------
    DataFrame
        ``variable, level, group, reference, value, reference_value, difference, look``; value is
        a mean or a share, ``look`` is true where the difference is larger than 0.25.

    Raises
    ------
    ColumnError
        If a column is absent.

    References
    ----------
    Austin (2009), Statistics in Medicine 28, 3083-3107, doi:10.1002/sim.3697 (the formulas); Senn
    (1994), Statistics in Medicine 13, 1715-1726, doi:10.1002/sim.4780131703 (both from memory).

    Examples
    --------
    >>> import pandas as pd
    >>> people = pd.DataFrame({"group": list("aaabbb"), "age": [20, 22, 24, 21, 23, 25]})
    >>> baseline_differences(people, ["age"])["difference"].tolist()
    [-0.5]
    """
    absent = [name for name in (group, *columns) if name not in people.columns]
    if absent:
        raise ColumnError("the list of participants lacks columns", absent)
    rows = []
    for name in columns:
        for level, values in _variables(people[name]):
            sides = {label: part.dropna() for label, part in values.groupby(people[group])}
            for first, second in combinations(sides, 2):
                rows.append((name, level, first, second, *_difference(sides, first, second, level)))
    names = ["variable", "level", "group", "reference", "value", "reference_value", "difference"]
    frame = pd.DataFrame(rows, columns=names)
    frame["look"] = frame["difference"].abs() > LOOK_AT
    return frame


def attrition(
    table: pd.DataFrame,
    phase: str,
    *,
    outcome: str,
    people: pd.DataFrame | None = None,
    earlier: str = "pretest",
    group: str = "group",
) -> pd.DataFrame:
    """Count who was lost before a phase, by group, and how they had scored earlier.

    Parameters
    ----------
    table : DataFrame
        Trials in standard columns.
    phase : str
        The test people may be missing from.
    outcome : str
        Column whose presence counts as having been tested, and whose mean is the earlier score.
    people : DataFrame, optional
        Everyone allocated; without it everyone who has any trial.
    earlier : str
        Phase of the earlier score.
    group : str
        Column of groups.

    Returns
    -------
    DataFrame
        ``group, allocated, tested, lost, share_lost, earlier_tested, earlier_lost, difference``:
        the mean earlier score of those tested and of those lost, and their standardised
        difference (NaN where fewer than two people stand on a side).

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"participant": ["p1", "p1", "p2"], "group": "a",
    ...     "phase": ["pretest", "retention", "pretest"], "time": [9.0, 8.0, 12.0]})
    >>> attrition(table, "retention", outcome="time")[["allocated", "lost"]].values.tolist()
    [[2, 1]]
    """
    listed = table if people is None else people
    groups = listed.drop_duplicates("participant").set_index("participant")[group]
    present = table[table[outcome].notna() & counted_rows(table)]
    tested = groups.index.isin(present.loc[present["phase"] == phase, "participant"])
    before = present[present["phase"] == earlier].groupby("participant")[outcome].mean()
    score = groups.index.to_series().map(before)
    rows = []
    for label in groups.dropna().unique():
        here = (groups == label).to_numpy()
        stayed, gone = score[here & tested].dropna(), score[here & ~tested].dropna()
        lost = int((here & ~tested).sum())
        counts = (int(here.sum()), int((here & tested).sum()), lost, lost / here.sum())
        scores = (stayed.mean(), gone.mean(), _standardised(gone, stayed))
        rows.append((label, *counts, *scores))
    names = ["group", "allocated", "tested", "lost", "share_lost"]
    return pd.DataFrame(rows, columns=[*names, "earlier_tested", "earlier_lost", "difference"])


def missing_table(
    table: pd.DataFrame, outcome: str, *, by: Sequence[str] = ("group", "phase")
) -> pd.DataFrame:
    """Count rows and missing outcomes, one row per cell of ``by``: ``n, missing, share``."""
    empty = table[outcome].isna().groupby([table[name] for name in by], sort=False, observed=True)
    frame = empty.agg(n="size", missing="sum").reset_index()
    return frame.assign(share=frame["missing"] / frame["n"])


def _variables(values: pd.Series) -> list[tuple[str, pd.Series]]:
    if pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values):
        return [("", values.astype(float))]
    levels = sorted(values.dropna().unique(), key=str)
    present = values.notna()
    return [(str(level), (values == level).astype(float).where(present)) for level in levels]


def _difference(
    sides: dict[object, pd.Series], first: object, second: object, level: str
) -> tuple[float, float, float]:
    one, two = sides[first], sides[second]
    if not level:
        return float(one.mean()), float(two.mean()), _standardised(one, two)
    p, q = float(one.mean()), float(two.mean())
    spread = np.sqrt((p * (1 - p) + q * (1 - q)) / 2)
    return p, q, (p - q) / spread if spread > 0 else (0.0 if p == q else np.nan)


def _standardised(one: pd.Series, two: pd.Series) -> float:
    if len(one) < 2 or len(two) < 2:
        return float("nan")
    spread = np.sqrt((one.var(ddof=1) + two.var(ddof=1)) / 2)
    gap = one.mean() - two.mean()
    if spread == 0:
        return 0.0 if gap == 0 else float("nan")
    return float(gap / spread)
