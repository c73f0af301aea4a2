"""Targets of an outcome: one for all trials, or others by phase, test or task."""

import numpy as np
import pandas as pd

from motorlearn.design.outcomes import Outcome
from motorlearn.design.schema import Design
from motorlearn.design.stages import stage_column, stages_of


def target_of_rows(table: pd.DataFrame, outcome: Outcome, design: Design) -> pd.Series:
    """Target of every row: of its test, else of its task, else of its phase, else the common one.

    Parameters
    ----------
    table : DataFrame
        Trials with ``phase``; ``task``, ``test`` and ``session`` where there are some.
    outcome : Outcome
        An outcome with a target.
    design : Design
        The plan.

    Returns
    -------
    Series
        In the unit of the outcome; missing where no target is declared.

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = design_from_mapping({
    ...     "study": {"title": "Ring push"}, "groups": [{"name": "all"}],
    ...     "tests": [{"phase": "retention", "trials": 2}, {"phase": "transfer", "trials": 2}],
    ...     "outcomes": [{"name": "angle", "better": "lower", "unit": "deg", "column": "reached",
    ...                   "target": 40, "targets": {"transfer": 60}}]})
    >>> rows = pd.DataFrame({"phase": ["retention", "transfer"]})
    >>> target_of_rows(rows, plan.outcomes[0], plan).tolist()
    [40.0, 60.0]
    """
    common = np.nan if outcome.target is None else float(outcome.target)
    target = pd.Series(common, index=table.index, dtype="float64")
    own = {s.name: s.test.name for s in stages_of(design) if s.test is not None and s.test.name}
    places = [table["phase"], stage_column(table, design).map(own)]
    if "task" in table:
        places.insert(1, table["task"])
    for names in places:
        known = names.astype("object").map(outcome.targets).astype("float64")
        target = known.fillna(target)
    return target
