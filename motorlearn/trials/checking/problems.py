"""Problems in data: how one is recorded, and how ten thousand are shown."""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from motorlearn.digits import count
from motorlearn.exceptions import printable, visible
from motorlearn.vocabulary import PROBLEM_COLUMNS, SEVERITIES

_ORDER: Final = {severity: place for place, severity in enumerate(SEVERITIES)}
_LONGEST: Final = {"file": 120, "sheet": 120, "column": 120, "advice": 500}
_LONGEST_VALUE: Final = 200
_HEADS: Final = {"error": "must be mended", "doubt": "please look", "note": "good to know"}


def problem_frame(
    rule: str,
    *,
    severity: str,
    advice: str | Sequence[str],
    file: str = "",
    sheet: str | Sequence[str] | np.ndarray = "",
    row: Any = pd.NA,
    column: Any = "",
    value: Any = "",
) -> pd.DataFrame:
    """Make a list of problems of one rule; row, column, value and advice may be sequences."""
    parts: dict[str, Any] = {
        "file": file,
        "sheet": sheet,
        "row": row,
        "column": column,
        "value": value,
        "rule": rule,
        "severity": severity,
        "advice": advice,
    }
    lengths = {len(part) for part in parts.values() if _is_sequence(part)}
    size = lengths.pop() if lengths else 1
    if not size:
        return gather([])
    if isinstance(value, pd.Series):
        parts["value"] = value.array
    if isinstance(advice, pd.Series):
        parts["advice"] = advice.array
    frame = pd.DataFrame(parts, index=pd.RangeIndex(size), columns=list(PROBLEM_COLUMNS))
    frame["row"] = frame["row"].astype("Int64")
    for name, most in _LONGEST.items():
        frame[name] = _short(frame[name], most)
    if not isinstance(frame["value"].dtype, pd.StringDtype) or _unprintable(frame["value"]):
        frame["value"] = frame["value"].map(_shown).astype("str")
    return frame


def _short(texts: pd.Series, most: int) -> pd.Series:
    """Show the signs no reader sees in texts of a message, and cut the long ones."""
    known = texts.unique()
    shown = {text: visible(text) for text in known if isinstance(text, str)}
    cut = {
        text: said[: most - 1] + "…" if len(said) > most else said for text, said in shown.items()
    }
    if all(text == said for text, said in cut.items()):
        return texts
    return texts.map(lambda text: cut.get(text, text))


def gather(frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Join lists of problems, the weightiest first, then by file, sheet and row."""
    filled = [frame for frame in frames if len(frame)]
    if not filled:
        return pd.DataFrame(columns=list(PROBLEM_COLUMNS))
    joined = pd.concat(filled, ignore_index=True)
    weight = joined["severity"].map(_ORDER)
    order = joined.assign(_weight=weight).sort_values(
        ["_weight", "file", "sheet", "row"], kind="stable", na_position="first"
    )
    return order.drop(columns="_weight").reset_index(drop=True)


def place(problem: pd.Series) -> str:
    """Name the place of one problem as a reader looks for it.

    Examples
    --------
    >>> import pandas as pd
    >>> place(pd.Series({"file": "wk.xlsx", "sheet": "Tests", "row": 7, "column": "hits [C]"}))
    'wk.xlsx, Tests!C7 (hits)'
    """
    column, letter = split_column(str(problem["column"]))
    row = "" if pd.isna(problem["row"]) else str(int(problem["row"]))
    if letter:
        sheet = f"{problem['sheet']}!" if problem["sheet"] else ""
        spot = f"{sheet}{letter}{row} ({column})"
    else:
        parts = [problem["sheet"], f"row {row}" if row else "", column]
        spot = ", ".join(part for part in parts if part)
    return ", ".join(part for part in (str(problem["file"]), spot) if part)


def split_column(text: str) -> tuple[str, str]:
    """Split ``heading [C]``, as problems in workbooks name a column, into heading and letter."""
    head, bracket, letter = text.rpartition(" [")
    if bracket and letter.endswith("]") and letter[:-1].isalpha() and letter[:-1].isupper():
        return head, letter[:-1]
    return text, ""


def problem_counts(problems: pd.DataFrame) -> pd.DataFrame:
    """Count problems by rule: ``severity, rule, count, places, advice``, the weightiest first.

    ``places`` names the first five cells of each rule.
    """
    names = ["severity", "rule", "count", "places", "advice"]
    if problems.empty:
        return pd.DataFrame(columns=names)
    rows = []
    for (severity, rule), part in problems.groupby(["severity", "rule"], sort=False, observed=True):
        shown = [_with_value(entry) for _, entry in part.head(5).iterrows()]
        more = f" and {len(part) - 5} more" if len(part) > 5 else ""
        advice = _joined(part["advice"])
        rows.append((severity, rule, len(part), "; ".join(shown) + more, advice))
    frame = pd.DataFrame(rows, columns=names)
    weight = frame["severity"].map(_ORDER)
    order = np.lexsort((-frame["count"].to_numpy(), weight.to_numpy()))
    return frame.iloc[order].reset_index(drop=True)


def problem_list(problems: pd.DataFrame) -> str:
    """Write problems for a console: grouped by rule, counted, the first places of each.

    Examples
    --------
    >>> print(problem_list(problem_frame("hits above attempts", severity="error",
    ...     advice="check the sheet", file="trials.csv", row=8, column="hits", value=23)))
    1 error, 0 doubts, 0 notes.
    <BLANKLINE>
    ERROR (must be mended)
      hits above attempts: 1
        trials.csv, row 8, hits: 23
        → check the sheet
    """
    if problems.empty:
        return "No problems found."
    lines = [summary(problems)]
    counts = problem_counts(problems)
    for severity in SEVERITIES:
        part = counts[counts["severity"] == severity]
        if len(part):
            lines += ["", f"{severity.upper()} ({_HEADS[severity]})"]
        for entry in part.itertuples():
            lines.append(f"  {entry.rule}: {entry.count}")
            lines += [f"    {spot}" for spot in str(entry.places).split("; ")]
            lines.append(f"    → {entry.advice}")
    return "\n".join(lines)


def summary(problems: pd.DataFrame) -> str:
    """Say how many problems of each severity there are; those that are alike are one question.

    Examples
    --------
    >>> alike = problem_frame("trial twice", severity="doubt", advice="look", row=[3, 4, 5])
    >>> summary(alike)
    '0 errors, 3 doubts (1 question), 0 notes.'
    """
    parts = []
    for severity in SEVERITIES:
        mine = problems[problems["severity"] == severity]
        number, kinds = len(mine), mine["rule"].nunique()
        alike = f" ({count(kinds, 'question')})" if severity == "doubt" and kinds < number else ""
        parts.append(count(number, severity) + alike)
    return ", ".join(parts) + "."


def _with_value(problem: pd.Series) -> str:
    value = problem["value"]
    shown = value if len(value) <= 60 else value[:57] + "…"
    return f"{place(problem)}: {shown}" if shown else place(problem)


def _joined(advice: pd.Series) -> str:
    distinct = advice.unique()
    return distinct[0] if len(distinct) == 1 else f"{distinct[0]} (and similar, see the full list)"


def _shown(value: Any) -> str:
    if value is None or value is pd.NA or value != value:
        return ""
    if isinstance(value, float | np.floating):
        number = float(value)
        return str(int(number)) if number.is_integer() and abs(number) < 1e15 else f"{number:.6g}"
    text = printable(str(value)[: _LONGEST_VALUE + 1])
    return text if len(text) <= _LONGEST_VALUE else text[: _LONGEST_VALUE - 1] + "…"


def _unprintable(texts: pd.Series) -> bool:
    odd = texts.str.contains(r"[^[:print:]]|[^\x00-\x7f]", regex=True)
    return bool((odd | (texts.str.len() > _LONGEST_VALUE)).any())


def _is_sequence(part: object) -> bool:
    return isinstance(part, list | tuple | np.ndarray | pd.Series | pd.Index)
