"""Which times of trials the rules of a plan leave out of an outcome, and how many."""

from typing import Final

import numpy as np
import pandas as pd

from motorlearn.design import Design, Outcome, TimeRules
from motorlearn.digits import count
from motorlearn.exceptions import ColumnError
from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.counted import counted_rows

CUT_COLUMNS: Final = ("rule", "group", "people", "cut", "times", "most_of_one")
"""``rule, group, people, cut, times, most_of_one``: see :func:`count_cuts`."""

MANY: Final = 0.1
"""Share of times beyond a cut-off from which its unit is doubted."""

WRONG: Final = "wrong trials"


def time_cuts(table: pd.DataFrame, column: str, rules: TimeRules) -> pd.Series:
    """The rule that leaves out each time, empty where it stays; errors first, then cut-offs.

    Parameters
    ----------
    table : DataFrame
        Trials.
    column : str
        Column of times.
    rules : TimeRules
        Rules of the plan.

    Raises
    ------
    ColumnError
        If the trials lack a column that the rules name.

    Examples
    --------
    >>> table = pd.DataFrame({"time": [0.05, 0.4, 0.5, 9.0], "hit": [1, 1, 0, 1]})
    >>> rules = TimeRules(errors="left out", fastest=0.1, slowest=3.0, reason="set beforehand")
    >>> time_cuts(table, "time", rules).tolist()
    ['below 0.1', '', 'wrong trials', 'above 3']
    """
    absent = [name for name in rules.columns if name not in table]
    if absent:
        raise ColumnError(
            "the rules for times name a column the trials do not have",
            absent,
            f"they have {', '.join(map(str, table.columns))}",
        )
    times = pd.to_numeric(table[column], errors="coerce")
    found = pd.Series("", index=table.index, dtype="object")
    open_ = times.notna() & counted_rows(table)
    if rules.errors == "left out":
        wrong = _is_wrong(table[rules.error_column], rules)
        found[open_ & wrong] = WRONG
    for side, bound in rules.bounds:
        beyond = times < bound if side == "below" else times > bound
        found[open_ & beyond & (found == "")] = f"{side} {bound:g}"
    return found


def _is_wrong(cells: pd.Series, rules: TimeRules) -> pd.Series:
    if isinstance(rules.error_value, str):
        return cells.astype("str").str.strip() == rules.error_value
    numbers = pd.to_numeric(cells.astype("object"), errors="coerce")
    return numbers.astype("float64") == rules.error_value


def count_cuts(table: pd.DataFrame, column: str, cuts: pd.Series, rules: TimeRules) -> pd.DataFrame:
    """Count what each rule left out, by group.

    Returns
    -------
    DataFrame
        ``rule, group, people`` (who lost a time), ``cut`` (times left out), ``times`` (times
        there were), ``most_of_one`` (largest share of one person's times); a row for every rule,
        also where it left out nothing.

    Examples
    --------
    >>> table = pd.DataFrame({"participant": ["P01", "P01", "P02", "P02"], "group": "random",
    ...                       "time": [0.05, 0.4, 0.5, 9.0], "hit": [1, 1, 0, 1]})
    >>> rules = TimeRules(errors="left out", fastest=0.1, slowest=3.0, reason="set beforehand")
    >>> found = count_cuts(table, "time", time_cuts(table, "time", rules), rules)
    >>> found[["rule", "people", "cut", "times"]].values.tolist()
    [['wrong trials', 1, 1, 4], ['below 0.1', 1, 1, 4], ['above 3', 1, 1, 4]]
    """
    known = pd.to_numeric(table[column], errors="coerce").notna() & counted_rows(table)
    used = table[known].assign(_cut=cuts[known])
    used = used if "group" in used else used.assign(group="all")
    names = [WRONG] if rules.errors == "left out" else []
    names += [f"{side} {bound:g}" for side, bound in rules.bounds]
    lines = []
    for name in names:
        for group, part in used.groupby("group", sort=False, observed=True):
            gone = part["_cut"] == name
            share = gone.groupby(part["participant"]).mean()
            lines.append(
                (name, group, int((share > 0).sum()), int(gone.sum()), len(part), share.max())
            )
    return pd.DataFrame(lines, columns=list(CUT_COLUMNS))


def no_cuts() -> pd.DataFrame:
    """Counts where no rule was declared.

    Examples
    --------
    >>> list(no_cuts()), len(no_cuts())
    (['rule', 'group', 'people', 'cut', 'times', 'most_of_one'], 0)
    """
    return pd.DataFrame([], columns=list(CUT_COLUMNS))


def time_problems(table: pd.DataFrame, design: Design, file: str) -> pd.DataFrame:
    """What a check says of the rules for times: counts, doubtful units, rules without a column."""
    found = []
    for outcome in design.outcomes:
        if outcome.times is not None and outcome.recorded in table:
            found += _of_outcome(table, outcome, outcome.times, file)
    return gather(found)


def _of_outcome(
    table: pd.DataFrame, outcome: Outcome, rules: TimeRules, file: str
) -> list[pd.DataFrame]:
    column = outcome.recorded
    counts = count_cuts(table, column, time_cuts(table, column, rules), rules)
    total = int(counts.drop_duplicates("group")["times"].sum())
    found = []
    for name, part in counts.groupby("rule", sort=False):
        cut, people = int(part["cut"].sum()), int(part["people"].sum())
        if not cut:
            continue
        often = name != WRONG and cut > MANY * total
        found.append(
            problem_frame(
                "many times beyond a cut-off" if often else "times left out as the plan says",
                severity="doubt" if often else "note",
                file=file,
                column=column,
                value=f"{cut} of {total} times, of {count(people, 'participant')}: {name}",
                advice="look whether the cut-off is in the unit of the times"
                if often
                else "the trials stay in the table and count for other outcomes",
            )
        )
    return found + _beyond_shift(table, outcome, rules, file)


def _beyond_shift(
    table: pd.DataFrame, outcome: Outcome, rules: TimeRules, file: str
) -> list[pd.DataFrame]:
    """Times that have no logarithm after the rules."""
    if rules.scale != "log":
        return []
    times = pd.to_numeric(table[outcome.recorded], errors="coerce")
    kept = (time_cuts(table, outcome.recorded, rules) == "") & counted_rows(table)
    low = int(np.sum(kept & (times <= rules.shift)))
    if not low:
        return []
    return [
        problem_frame(
            "times without a logarithm",
            severity="error",
            file=file,
            column=outcome.recorded,
            value=f"{low} times are not above {rules.shift:g}",
            advice="set times.fastest above times.shift in study.toml, or correct these times",
        )
    ]
