"""The standard columns as a pandera schema, for tables that come from code and not from a file."""

import pandas as pd
import pandera.pandas as pa
from pandera.errors import SchemaErrors

from motorlearn.design import Design
from motorlearn.exceptions import ColumnError
from motorlearn.trials.checking.conditions import (
    check_conditions,
    condition_by_condition,
    conditions_as_groups,
)
from motorlearn.trials.checking.planned import check_plan
from motorlearn.trials.checking.problems import gather
from motorlearn.trials.checking.rules import check_rules
from motorlearn.trials.reading.sheet import Sheet
from motorlearn.vocabulary import COLUMNS

_NUMERIC = ("count", "flag", "number")


def trials_schema() -> pa.DataFrameSchema:
    """Give the schema of a table of trials: the kinds of the standard columns.

    Only ``participant`` is required; further columns are allowed.

    Examples
    --------
    >>> "radial_error" in trials_schema().columns
    True
    """
    columns = {name: _column(name) for name in COLUMNS}
    return pa.DataFrameSchema(columns, strict=False, name="trials")


def check_table(table: pd.DataFrame, *, design: Design | None = None) -> pd.DataFrame:
    """Check a table in memory; gives its problems, with ``row`` the position in the table.

    Parameters
    ----------
    table : DataFrame
        Trials in standard columns.
    design : Design, optional
        The plan to check against.

    Returns
    -------
    DataFrame
        Problems, as of a file.

    Raises
    ------
    ColumnError
        If there is no participant column, or a standard column that holds numbers holds text.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"participant": ["p1", "p2"], "hits": [12, 23], "attempts": 20})
    >>> check_table(table)[["row", "rule"]].values.tolist()
    [[1, 'hits above attempts']]
    """
    try:
        trials_schema().validate(table, lazy=True)
    except SchemaErrors as problem:
        cases = problem.failure_cases
        absent = cases["check"] == "column_in_dataframe"
        names = cases["column"].where(~absent, cases["failure_case"]).unique()
        raise ColumnError(
            "the table lacks a column it needs, or holds text where numbers belong",
            names,
            "read it with read_trials, which names every cell",
        ) from problem
    table = table.reset_index(drop=True)
    places = pd.RangeIndex(len(table)).to_numpy()
    if design is None:
        return gather([check_rules(Sheet(table, places, "table"), phases=())])
    sheet = Sheet(conditions_as_groups(table, design), places, "table")
    ruled = condition_by_condition(sheet, design)
    found = [check_rules(ruled, phases=design.phases), check_plan(ruled, design)]
    return gather([*found, check_conditions(sheet, design)])


def _column(name: str) -> pa.Column:
    meaning = COLUMNS[name]
    numeric = meaning.kind in _NUMERIC
    checks = [pa.Check(pd.api.types.is_numeric_dtype, name="number")] if numeric else []
    return pa.Column(None, checks, nullable=True, required=name == "participant")
