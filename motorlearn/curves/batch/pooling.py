"""Whether what looks like a learner is a pool or an average of several people."""

import numpy as np
import pandas as pd

from motorlearn.curves.batch.chunks import changes
from motorlearn.vocabulary import COLUMNS

POOLED_UNITS = {
    "arm",
    "block",
    "class",
    "condition",
    "group",
    "groups",
    "phase",
    "schedule",
    "session",
    "task",
    "team",
    "treatment",
}
"""Names of columns that tell sets of people or stretches of practice apart, never people."""
SPREADS = {"ci", "count", "n_participants", "sd", "se", "sem", "std", "stderr", "variance"}
"""Names of columns that stand beside means."""
MOST_ROWS_LOOKED_AT = 200_000


def pooled_people(table: pd.DataFrame, by: tuple[str, ...], practice: str, outcome: str) -> str:
    """Say what shows that the rows of a learner are those of several people; empty if nothing.

    Three things show it: every column of ``by`` names sets of people; the table holds means with
    their spread; or practice counts repeat within a learner and another column tells the repeats
    apart as people would be, each of its values with a curve of its own.
    """
    if {name.lower() for name in by} <= POOLED_UNITS:
        return f"{', '.join(by)} names sets of people"
    part = table.iloc[:MOST_ROWS_LOOKED_AT]
    names = {str(name).lower() for name in table.columns} - {name.lower() for name in by}
    once = _once(part, by, practice)
    if names & SPREADS and once:
        return f"the column {min(names & SPREADS)} stands beside means"
    if "participant" in table.columns and "participant" not in by:
        several = part.groupby(list(by), observed=True)["participant"].nunique()
        return "the column participant tells people apart" if (several > 1).any() else ""
    if once:
        return ""
    for name in table.columns:
        if name not in (*by, practice, outcome) and _like_people(part, name, by, practice):
            return f"the column {name} tells people apart"
    return ""


def _once(part: pd.DataFrame, by: tuple[str, ...], practice: str) -> bool:
    """Whether no learner has a practice count twice; rows in order are told without sorting."""
    kind = part[practice].dtype
    if len(by) == 1 and isinstance(kind, np.dtype) and kind.kind in "iuf":
        change, values = changes(part[by[0]]), part[practice].to_numpy()
        if change is not None and np.all(change | (values[1:] > values[:-1])):
            return bool(part[by[0]].iloc[np.r_[0, np.flatnonzero(change) + 1]].is_unique)
    return not part.duplicated([*by, practice]).any()


def _like_people(part: pd.DataFrame, name: str, by: tuple[str, ...], practice: str) -> bool:
    """Whether a column splits the repeats of practice counts into curves of their own."""
    column = part[name]
    wordy = isinstance(column.dtype, pd.CategoricalDtype | pd.StringDtype) or column.dtype == object
    if str(name).lower() in (set(COLUMNS) | POOLED_UNITS) or column.isna().any():
        return False
    if not wordy and not pd.api.types.is_integer_dtype(column):
        return False
    groups = part.groupby([*by, name], observed=True)
    if groups.ngroups <= part.groupby(list(by), observed=True).ngroups:
        return False
    own = part.drop_duplicates([*by, name])
    nested = own[name].is_unique and len(part.drop_duplicates(list(by))) > 1
    if not wordy and not nested:
        return False
    counts = part.groupby(list(by), observed=True)[practice].nunique()
    each = groups[practice].nunique().groupby(level=list(range(len(by)))).median()
    alone = not part.duplicated([*by, name, practice]).any()
    return bool(alone and np.all(each.to_numpy() >= 0.5 * counts.to_numpy()))
