"""Values that are possible but strange: units that may be mixed, results far from the others.

Suspicions are asked, never applied; an outlier is flagged, never dropped.
"""

from collections.abc import Collection, Mapping
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.exceptions import ColumnError
from motorlearn.trials.checking.defaults import repeated_values
from motorlearn.trials.checking.problems import gather, problem_frame
from motorlearn.trials.reading.dates import read_dates
from motorlearn.trials.reading.sheet import Sheet, cell_codes

MAD_TO_SD: Final = 1.482602218505602
"""1 / Φ⁻¹(3/4): makes the median absolute deviation estimate the SD of a normal variable."""

_TIME_OF_DAY: Final = r"\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?"
_LEAST: Final = 4
_ATTEMPTS: Final = 10
_ROOM: Final = ((50.0, 3.0), (10.0, 1.5), (0.0, 1.15))
_FACTORS: Final = {
    "x": ((100.0, "m and cm"), (10.0, "cm and mm"), (1000.0, "m and mm")),
    "y": ((100.0, "m and cm"), (10.0, "cm and mm"), (1000.0, "m and mm")),
    "radial_error": ((100.0, "m and cm"), (10.0, "cm and mm"), (1000.0, "m and mm")),
    "error": ((100.0, "m and cm"), (10.0, "cm and mm"), (1000.0, "m and mm")),
    "time": ((1000.0, "s and ms"), (60.0, "min and s")),
    "speed": ((3.6, "km/h and m/s"),),
}


def suspicions(
    sheet: Sheet, *, declared: Mapping[str, Collection[float]] | None = None
) -> pd.DataFrame:
    """Ask about everything that is possible but strange.

    Parameters
    ----------
    sheet : Sheet
        What was read.
    declared : mapping of str to collection of float, optional
        Sizes of values, by column, that rules of the plan speak of.
    """
    rules = (
        mixed_units,
        far_from_others,
        floor_and_ceiling,
        clocks_run_forward,
    )
    asked = repeated_values(sheet, declared or {})
    return gather([*(rule(sheet) for rule in rules), asked])


def mixed_units(sheet: Sheet) -> pd.DataFrame:
    """Ask about sessions of a person whose values differ from the rest by the factor of a unit.

    The typical size (median of absolute values) of each person and session is compared with the
    median of these over the file. The factors looked at are those between common units; a ratio
    near a factor is asked about, the larger the factor the less near it has to be.
    """
    found = []
    for name, factors in _FACTORS.items():
        if not sheet.has(name):
            continue
        sizes = _typical_sizes(sheet, name)
        if len(sizes) < _LEAST:
            continue
        ratio = sizes["size"] / sizes["size"].median()
        for factor, units in factors:
            room = next(width for least, width in _ROOM if factor >= least)
            near = ((ratio * factor).between(1 / room, room)) | (
                (ratio / factor).between(1 / room, room)
            )
            if near.any() and near.mean() < 0.5:
                found.append(_asked(sheet, name, sizes[near], ratio[near], units))
    return gather(found)


def outliers(
    table: pd.DataFrame,
    outcome: str,
    *,
    by: tuple[str, ...] = ("participant", "phase"),
    width: float = 3.0,
) -> pd.DataFrame:
    """Flag values further than so many scaled median absolute deviations from the median.

    A value v of a cell (for example one person's trials of one phase) is flagged if
    ``|v − median| > width · 1.4826 · MAD``, with MAD the median of ``|v − median|`` in the cell. A
    cell of fewer than five values, or with a MAD of zero, flags nothing.

    Parameters
    ----------
    table : DataFrame
        Trials in standard columns.
    outcome : str
        Column of values, in its own unit.
    by : tuple of str
        Columns that make a cell.
    width : float
        Number of scaled deviations; 3 is common practice.

    Returns
    -------
    DataFrame
        The flagged rows: their index in ``table``, the ``by`` columns, ``value``, ``median``,
        ``low`` and ``high``.

    Raises
    ------
    ColumnError
        If a column is absent.

    References
    ----------
    Leys, Ley, Klein, Bernard & Licata (2013), Journal of Experimental Social Psychology 49,
    764-766, doi:10.1016/j.jesp.2013.03.013 (the rule; from memory).

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"participant": "p1", "phase": "pretest",
    ...     "time": [9.0, 10.0, 10.5, 11.0, 12.0, 30.0]})
    >>> outliers(table, "time")["value"].tolist()
    [30.0]
    """
    absent = [name for name in (outcome, *by) if name not in table.columns]
    if absent:
        raise ColumnError("the table lacks columns that are needed to look for outliers", absent)
    values = pd.Series(table[outcome].to_numpy(dtype=float), index=table.index)
    cells = pd.Series(cell_codes(table, list(by)), index=table.index)
    median = values.groupby(cells).transform("median")
    deviation = (values - median).abs()
    spread = MAD_TO_SD * deviation.groupby(cells).transform("median")
    count = values.groupby(cells).transform("count")
    flagged = (deviation > width * spread) & (spread > 0) & (count > _LEAST)
    result = table.loc[flagged, list(by)].copy()
    result["value"] = values[flagged]
    result["median"] = median[flagged]
    result["low"] = (median - width * spread)[flagged]
    result["high"] = (median + width * spread)[flagged]
    return result


def far_from_others(sheet: Sheet) -> pd.DataFrame:
    """Count, per outcome, the values far from the others of the same person and phase."""
    found = []
    by = tuple(name for name in ("participant", "phase") if sheet.has(name))
    for name in ("radial_error", "error", "time", "speed"):
        if not sheet.has(name):
            continue
        flagged = outliers(sheet.table, name, by=by)
        if len(flagged):
            first = sheet.rows[flagged.index[0]]
            found.append(
                problem_frame(
                    "values far from the others",
                    severity="note",
                    file=sheet.file,
                    sheet=sheet.title,
                    row=first,
                    column=sheet.column(name),
                    value=f"{len(flagged)} of {int(sheet.table[name].notna().sum())}",
                    advice="beyond the median ± 3 scaled MAD of the person and phase; nothing was "
                    "dropped; motorlearn.trials.outliers lists them",
                )
            )
    return gather(found)


def floor_and_ceiling(sheet: Sheet) -> pd.DataFrame:
    """Note people who hit always or never in a phase of ten attempts or more."""
    if not sheet.has("phase") or not (sheet.has("hit") or sheet.has("hits", "attempts")):
        return gather([])
    table = sheet.table
    single = sheet.has("hit")
    hits = table["hit" if single else "hits"].to_numpy(dtype=float)
    tried = np.where(np.isfinite(hits), 1.0 if single else table.get("attempts", 1.0), np.nan)
    frame = pd.DataFrame(
        {
            "cell": cell_codes(table, ["participant", "phase"]),
            "hits": hits,
            "attempts": tried,
            "line": np.arange(len(table)),
        }
    )
    sums = frame.groupby("cell").agg(
        hits=("hits", "sum"), attempts=("attempts", "sum"), line=("line", "first")
    )
    extreme = (sums["hits"] == 0) | (sums["hits"] == sums["attempts"])
    sums = sums[extreme & (sums["attempts"] >= _ATTEMPTS)]
    lines = sums["line"].to_numpy(dtype=int)
    who, phase = (table[name].to_numpy()[lines] for name in ("participant", "phase"))
    shown = zip(who, phase, sums["hits"], sums["attempts"], strict=True)
    return sheet.problems(
        "always or never hit",
        lines,
        column="hit" if single else "hits",
        values=[f"{name}, {part}: {k:g} of {n:g}" for name, part, k, n in shown],
        severity="note",
        advice="at the floor or the ceiling a test cannot show a change in that direction",
    )


def clocks_run_forward(sheet: Sheet) -> pd.DataFrame:
    """Ask about times of day that fall from one trial to the next of a person and session.

    The time stands in ``date``, or alone in a column of the file's own.
    """
    column = _clock_column(sheet.table)
    if column is None:
        return gather([])
    stamps = _stamps(sheet.table, column)
    keys = [key for key in ("participant", "phase", "session") if sheet.has(key)]
    cells = cell_codes(sheet.table, keys)
    order = np.lexsort(
        [
            *(sheet.table[n].to_numpy() for n in ("trial", "block") if sheet.has(n)),
            cells,
        ]
    )
    same = cells[order][1:] == cells[order][:-1]
    falls = stamps[order][1:] < stamps[order][:-1]
    lines = np.sort(order[1:][same & falls])
    return sheet.problems(
        "clock runs backwards",
        lines,
        column=column,
        severity="doubt",
        advice="earlier than the trial before it: past midnight, a clock that was reset, or trials "
        "out of order?",
    )


def _clock_column(table: pd.DataFrame) -> str | None:
    """The column that tells the time of day: dates with times, or nothing but times."""
    texts = [str(name) for name in table if not pd.api.types.is_numeric_dtype(table[name])]
    for name in sorted(texts, key=lambda name: name != "date"):
        first = table[name].dropna().astype("str").head(1000).str.strip()
        if name == "date" and first.str.contains(":", regex=False).any():
            return name
        if len(first) and first.str.fullmatch(_TIME_OF_DAY).all():
            return name
    return None


def _stamps(table: pd.DataFrame, column: str) -> np.ndarray:
    """Moments of a column of clocks, on their dates where these stand in another column."""
    if column == "date":
        return read_dates(table["date"]).values
    clock = table[column].astype("str").str.strip()
    full = clock.where(clock.str.count(":") != 1, clock + ":00")
    passed = pd.to_timedelta(full, errors="coerce").to_numpy(dtype="timedelta64[us]")
    if "date" not in table or pd.api.types.is_numeric_dtype(table["date"]):
        return np.asarray(np.datetime64("2000-01-01", "us") + passed)
    return np.asarray(read_dates(table["date"]).values.astype("datetime64[us]") + passed)


def _typical_sizes(sheet: Sheet, name: str) -> pd.DataFrame:
    keys = [key for key in ("participant", "session") if sheet.has(key)]
    frame = pd.DataFrame(
        {
            "cell": cell_codes(sheet.table, keys),
            "size": np.abs(sheet.table[name].to_numpy(dtype=float)),
            "line": np.arange(len(sheet.table)),
        }
    )
    sizes = frame.groupby("cell").agg(
        size=("size", "median"), n=("size", "count"), line=("line", "first")
    )
    return sizes[(sizes["n"] >= _LEAST) & (sizes["size"] > 0)]


def _asked(
    sheet: Sheet, name: str, sizes: pd.DataFrame, ratio: pd.Series, units: str
) -> pd.DataFrame:
    lines = sizes["line"].to_numpy(dtype=int)
    return sheet.problems(
        "unit may be mixed",
        lines,
        column=name,
        values=[
            f"typical size {size:.3g}, {part:.3g} times the others'"
            for size, part in zip(sizes["size"], ratio, strict=True)
        ],
        severity="doubt",
        advice=f"this person's session may be in another unit ({units}); nothing was converted: "
        "ask, then declare a conversion in the import recipe",
    )
