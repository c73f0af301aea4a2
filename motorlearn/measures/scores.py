"""From trials to scores: one row per person, phase, task or whatever is asked for."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.exceptions import ColumnError, InputError
from motorlearn.measures.aim import aim_by_group, mean_by_group
from motorlearn.measures.hits import hit_rate, wilson_interval
from motorlearn.measures.landing import contradicting, landing_by_group
from motorlearn.measures.registry import measures_for, registered_by_group
from motorlearn.measures.times import time_by_group
from motorlearn.trials.counted import counted_rows
from motorlearn.vocabulary import PHASES

_OUTCOMES = ("hit", "hits", "error", "x", "y", "radial_error", "time")
_LARGEST = 1e100


def score_trials(
    table: pd.DataFrame,
    by: str | Sequence[str],
    *,
    registered: Sequence[str] | None = None,
) -> pd.DataFrame:
    """Score the trials of each group of rows with every measure the columns allow.

    Parameters
    ----------
    table : DataFrame
        Trials or sets of attempts in standard columns: ``hit`` (0/1) or ``hits`` and
        ``attempts``; ``error``; ``x`` and ``y``, or ``radial_error``; ``time``.
    by : str or sequence of str
        Columns that name a group of rows, for example ``["participant", "phase"]``.
    registered : sequence of str, optional
        Which measures of :func:`register_measure` are computed; by default all that find their
        columns.

    Returns
    -------
    DataFrame
        The columns of ``by``; ``n`` (rows); ``n_missing`` (rows that are void or lack one of the
        outcomes); then, for the columns there are, ``attempts, hits, hit_rate, hit_low, hit_high``
        (95 % Wilson interval; empty where several participants are pooled, because their attempts
        are not independent); ``n_error, constant_error, absolute_constant_error, variable_error,
        variable_error_corrected, absolute_error, total_error``; ``n_landing, mean_radial_error,
        centroid_radial_error, bivariate_variable_error, bivariate_variable_error_corrected``;
        ``n_time, mean_time``. Where rows have coordinates or a radial error, the mean takes either
        and ``n_radial`` counts them; coordinates go first, and ``n_contradicting`` counts the rows
        whose radial error is not their distance from the target (only where there are such rows).
        Variable errors need two trials; the corrected ones are what very many trials would show.
        Each ``n_…`` counts the values its scores rest on. All divisors are n. Rows with a reason in
        ``void`` are counted but not scored. Registered measures come last, each as a column of its
        name, empty for groups without a value of each of its columns.
        Groups come in ascending order, phases in the order of a study.

    Raises
    ------
    ColumnError
        If a column of ``by`` or every outcome is absent, or a column has the name of a registered
        measure.
    InputError
        If a value is impossible: text, infinite, a hit other than 0 or 1, hits above attempts; if
        a registered measure fails, or gives no number.

    Examples
    --------
    >>> trials = pd.DataFrame({"participant": ["a", "a", "b", "b"], "hit": [1, 0, 1, None]})
    >>> scores = score_trials(trials, "participant")
    >>> scores[["participant", "n", "n_missing", "attempts", "hits"]].values.tolist()
    [['a', 2, 0, 2, 1], ['b', 2, 1, 1, 1]]
    """
    names = _check_columns(table, by)
    own = measures_for(table, registered)
    if not own:
        _check_outcomes(table)
    if table.empty:
        raise InputError("there are no trials to score", remedy="check that the file has rows")
    keys, codes = _groups(table, names)
    columns = _standard_scores(table, codes, len(keys), names)
    use = counted_rows(table)
    columns |= registered_by_group(own, table[use], codes[use], keys)
    return _in_study_order(pd.concat([keys, pd.DataFrame(columns)], axis=1), names)


def _standard_scores(
    table: pd.DataFrame, codes: NDArray[np.intp], groups: int, names: list[str]
) -> dict[str, NDArray[Any]]:
    values = {name: numbers(table, name) for name in (*_OUTCOMES, "attempts") if name in table}
    void = ~counted_rows(table)
    for column in values.values():
        column[void] = np.nan
    missing = _missing(values, void)
    columns: dict[str, NDArray[Any]] = {
        "n": np.bincount(codes, minlength=groups),
        "n_missing": np.bincount(codes[missing], minlength=groups),
    }
    columns |= _hit_scores(values, codes, groups)
    if "hit_low" in columns and "participant" in table and "participant" not in names:
        pooled = table.groupby(codes)["participant"].nunique().to_numpy() > 1
        columns |= {c: np.where(pooled, np.nan, columns[c]) for c in ("hit_low", "hit_high")}
    if "error" in values:
        columns |= aim_by_group(values["error"], codes, groups)
    columns |= _landing_scores(values, codes, groups)
    if "time" in values:
        columns |= time_by_group(values["time"], codes, groups)
    return columns


def _missing(values: dict[str, NDArray[Any]], void: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Rows that are void or lack an outcome; hits without their attempts are lacking."""
    lacking = {name: np.isnan(values[name]) for name in _OUTCOMES if name in values}
    if "hits" in lacking:
        lacking["hits"] = lacking["hits"] | np.isnan(values["attempts"])
    if "hit" in lacking and "hits" in lacking:
        lacking = {"hits": lacking["hit"] & lacking["hits"]}
    missing = void.copy()
    for one in lacking.values():
        missing |= one
    return missing


def numbers(table: pd.DataFrame, name: str) -> NDArray[np.float64]:
    """Read a column as floats with NaN for missing; anything else that is not a number is named.

    Raises
    ------
    InputError
        If the column holds text, infinite values, or any whose square a computer cannot hold.

    Examples
    --------
    >>> numbers(pd.DataFrame({"x": [1, None]}), "x").tolist()
    [1.0, nan]
    """
    column = table[name]
    if not pd.api.types.is_numeric_dtype(column):
        converted = pd.to_numeric(column, errors="coerce")
        text = column[converted.isna() & column.notna()]
        if len(text):
            raise InputError(
                f"column {name!r} holds text where a number is needed",
                text.unique(),
                "correct these cells or read the file with ml.read_trials, which lists them",
            )
        column = converted
    values: NDArray[np.float64] = column.to_numpy(dtype=float, na_value=np.nan, copy=True)
    if np.isinf(values).any():
        raise InputError(
            f"column {name!r} holds infinite values",
            values[np.isinf(values)],
            "leave missing cells empty",
        )
    vast = np.abs(values) > _LARGEST
    if vast.any():
        raise InputError(
            f"column {name!r} holds numbers that are too large",
            values[vast],
            "correct them, or give them in a larger unit",
        )
    return values


def _check_columns(table: pd.DataFrame, by: str | Sequence[str]) -> list[str]:
    if not isinstance(table, pd.DataFrame):
        raise InputError(
            "scores are made from a table",
            [type(table).__name__],
            "pass a DataFrame, for example trials.table",
        )
    if by is None:
        raise InputError(
            "nothing says which rows belong together", ["by=None"], "use by=[] for one score of all"
        )
    names = [by] if isinstance(by, str) else list(by)
    twice = sorted({str(name) for name in table.columns[table.columns.duplicated()]})
    if twice:
        raise ColumnError("the table has a column twice", twice, "rename one of them")
    absent = [name for name in names if name not in table]
    if absent:
        raise ColumnError(
            "the table lacks a column to group by",
            absent,
            f"its columns are {', '.join(map(str, table.columns))}",
        )
    alone = "x" if "x" in table and "y" not in table else "y"
    if alone in table and not {"x", "y"} <= set(table.columns):
        raise ColumnError(
            "a landing point needs both x and y", [alone], "for one dimension use 'error'"
        )
    if "hits" in table and "attempts" not in table:
        raise ColumnError(
            "hits cannot be scored without the attempts", ["attempts"], "add the column"
        )
    return names


def _check_outcomes(table: pd.DataFrame) -> None:
    if not set(_OUTCOMES) & set(table.columns):
        raise ColumnError(
            "the table has no outcome to score", None, f"it needs one of {', '.join(_OUTCOMES)}"
        )


def _groups(table: pd.DataFrame, names: list[str]) -> tuple[pd.DataFrame, NDArray[np.intp]]:
    if not names:
        return pd.DataFrame(index=[0]), np.zeros(len(table), dtype=np.intp)
    grouped = table.groupby(names, sort=True, observed=True, dropna=False)
    codes = grouped.ngroup().to_numpy(dtype=np.intp)
    first = np.full(codes.max() + 1, -1)
    first[codes[::-1]] = np.arange(len(table))[::-1]
    return table[names].iloc[first].reset_index(drop=True), codes


def _hit_scores(
    values: dict[str, NDArray[Any]], codes: NDArray[np.intp], groups: int
) -> dict[str, NDArray[Any]]:
    if "hit" not in values and "hits" not in values:
        return {}
    hits, attempts = _hits_and_attempts(values)
    present = ~np.isnan(hits)
    k = np.bincount(codes[present], hits[present], minlength=groups)
    n = np.bincount(codes[present], attempts[present], minlength=groups)
    low, high = wilson_interval(k, n)
    return {
        "attempts": n.astype(np.int64),
        "hits": k.astype(np.int64),
        "hit_rate": hit_rate(k, n),
        "hit_low": low,
        "hit_high": high,
    }


def _hits_and_attempts(values: dict[str, NDArray[Any]]) -> tuple[NDArray[Any], NDArray[Any]]:
    if "hit" in values:
        hits, attempts = values["hit"].copy(), np.ones_like(values["hit"])
        wrong = ~np.isnan(hits) & (hits != 0) & (hits != 1)
        if wrong.any():
            raise InputError(
                "a hit is 1 and a miss is 0",
                hits[wrong],
                "put counts into the columns 'hits' and 'attempts'",
            )
    else:
        hits = np.full_like(values["hits"], np.nan)
        attempts = hits.copy()
    if "hits" in values:
        k, n = values["hits"], values["attempts"]
        use = ~np.isnan(k) & ~np.isnan(n)
        wrong = use & ((k < 0) | (k > n) | (k % 1 != 0) | (n % 1 != 0))
        if wrong.any():
            raise InputError(
                "hits must be whole numbers between 0 and the attempts",
                [f"{a:g} of {b:g}" for a, b in zip(k[wrong], n[wrong])],
                "correct these rows",
            )
        _refuse_both(hits, k, n, use)
        hits, attempts = np.where(use, k, hits), np.where(use, n, attempts)
    return hits, attempts


def _refuse_both(
    hit: NDArray[Any], k: NDArray[Any], n: NDArray[Any], use: NDArray[np.bool_]
) -> None:
    apart = use & ~np.isnan(hit) & ~((n == 1) & (k == hit))
    if apart.any():
        raise InputError(
            "rows hold a single hit beside hits of several attempts",
            [f"hit {h:g} beside {a:g} of {b:g}" for h, a, b in zip(hit[apart], k[apart], n[apart])],
            "leave 'hit' empty where 'hits' and 'attempts' are given",
        )


def _landing_scores(
    values: dict[str, NDArray[Any]], codes: NDArray[np.intp], groups: int
) -> dict[str, NDArray[Any]]:
    radial = values.get("radial_error")
    if radial is not None and (radial < 0).any():
        raise InputError(
            "a radial error is a distance and cannot be negative",
            radial[radial < 0],
            "put signed errors into the column 'error'",
        )
    found: dict[str, NDArray[Any]] = {}
    if "x" in values:
        found = landing_by_group(values["x"], values["y"], codes, groups)
        distance = np.hypot(values["x"], values["y"])
        if radial is not None:
            apart = contradicting(values["x"], values["y"], radial)
            if apart.any():
                found["n_contradicting"] = np.bincount(codes[apart], minlength=groups)
            distance = np.where(np.isnan(distance), radial, distance)
        radial = distance
    if radial is None:
        return {}
    present = ~np.isnan(radial)
    n = np.bincount(codes[present], minlength=groups)
    counted = {"n_radial": n} if "radial_error" in values and "x" in values else {"n_landing": n}
    mean = mean_by_group(radial[present], codes[present], groups)
    return counted | found | {"mean_radial_error": mean}


def _in_study_order(scores: pd.DataFrame, names: list[str]) -> pd.DataFrame:
    if "phase" not in names or not set(scores["phase"].dropna()) <= set(PHASES):
        return scores
    rank = {name: number for number, name in enumerate(PHASES)}
    return scores.sort_values(
        names, key=lambda c: c.map(rank) if c.name == "phase" else c, kind="stable"
    ).reset_index(drop=True)
