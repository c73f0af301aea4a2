"""A value that stands for something else: one number repeated exactly among finely graded ones."""

from collections.abc import Collection, Mapping
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.counted import counted_rows
from motorlearn.trials.reading.sheet import Sheet

MEASURED: Final = ("error", "x", "y", "radial_error", "time", "speed")
"""Standard columns of measurements on a fine scale."""

FEWEST: Final = 10
"""Times a value must be repeated before it is asked about."""

_TIMES: Final = 10
_FINE: Final = 0.5
_PLACES: Final = frozenset({"participant", "session", "block", "trial", "hit", "hits", "attempts"})


def repeated_values(
    sheet: Sheet, declared: Mapping[str, Collection[float]] | None = None
) -> pd.DataFrame:
    """Ask about values that are there exactly, ten times or more and far oftener than others.

    Far oftener is ten times as often as 95 % of the other values. Only columns are looked at of
    which more than half of the other values occur once, that is, which are measured finely: there a
    number that comes again and again is what a device or a person writes when there is nothing to
    measure, until somebody says otherwise: values of the size of ``declared`` ones are left alone.
    """
    found = []
    for name in map(str, sheet.table.columns):
        often, rows = often_repeated(sheet.table, name, (declared or {}).get(name, ()))
        if often.empty:
            continue
        first = int(np.flatnonzero((sheet.table[name] == often.index[0]).to_numpy())[0])
        told = ", ".join(f"exactly {value:g} in {count}" for value, count in often.head(3).items())
        found.append(
            problem_frame(
                "one value again and again",
                severity="doubt",
                file=sheet.file,
                sheet=sheet.sheet if isinstance(sheet.sheet, str) else str(sheet.sheet[first]),
                row=int(sheet.rows[first]),
                column=sheet.column(name),
                value=f"{told} of {rows} rows",
                advice="a default of the device, a limit of the field, or what was measured? Where "
                "it stands for something else, declare [[replacements]] or [[exclusions]] in "
                "study.toml",
            )
        )
    return gather(found)


def often_repeated(
    table: pd.DataFrame, name: str, declared: Collection[float] = ()
) -> tuple["pd.Series[int]", int]:
    """How often each such value of a column is there, and among how many rows."""
    values = _finely_measured(table, name)
    if values is None:
        return pd.Series(dtype=np.int64), 0
    counts = values.value_counts()
    often = counts[counts >= max(FEWEST, _TIMES * counts.quantile(0.95))]
    fine = (counts == 1).sum() >= _FINE * (len(values) - int(often.sum()))
    often = often[[fine and abs(v) not in declared for v in often.index]]
    return often, len(values)


def _finely_measured(table: pd.DataFrame, name: str) -> pd.Series | None:
    """Numbers of a column that is measured with decimals; None for any other column."""
    if name in _PLACES or not pd.api.types.is_float_dtype(table[name]):
        return None
    values = table[name][counted_rows(table) & np.isfinite(table[name].to_numpy(dtype=float))]
    if len(values) < 2 * FEWEST or bool((values == values.round()).all()):
        return None
    return values
