"""Dates as they are typed: ISO first; an order of day and month is found, never guessed."""

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

_ISO: Final = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ](\d{1,2}):(\d{2})(?::(\d{2}))?.*)?")
_PARTS: Final = re.compile(
    r"(\d{1,2})([/.-])(\d{1,2})\2(\d{2}|\d{4})(?:[T ]+(\d{1,2}):(\d{2})(?::(\d{2}))?)?"
)
_SERIAL: Final = re.compile(r"[2-6]\d{4}(\.\d+)?")


@dataclass(frozen=True)
class Dates:
    """Dates of a column.

    Parameters
    ----------
    values : ndarray of datetime64[s]
        The dates; ``NaT`` where there is none or it cannot be read for certain.
    doubts : dict of str to str
        Text that was not read, with the rule that stopped it.
    order : str
        ``"iso"``, ``"day first"``, ``"month first"`` or ``""``.
    """

    values: np.ndarray
    doubts: dict[str, str]
    order: str


ADVICE: Final = {
    "ambiguous date": "day and month cannot be told apart; write it as year-month-day",
    "dates in two orders": "some have the day first and some the month; write them all as "
    "year-month-day",
    "date as a serial number": "a spreadsheet's day count, from 1900 or 1904; format the cells as "
    "dates and save again",
    "not a date": "write it as year-month-day, or leave it empty",
}


def read_dates(column: pd.Series) -> Dates:
    """Read a column of dates; day and month order is taken from the dates that can be only one.

    Examples
    --------
    >>> import pandas as pd
    >>> read_dates(pd.Series(["03/04/2026", "17/04/2026"])).order
    'day first'
    >>> read_dates(pd.Series(["03/04/2026", "05/04/2026"])).doubts["03/04/2026"]
    'ambiguous date'
    """
    numbers, labels = pd.factorize(column)
    texts = [str(label).strip() for label in labels]
    order = _order(texts)
    stamps: list[np.datetime64] = []
    doubts: dict[str, str] = {}
    for text in texts:
        moment, rule = _read(text, order)
        stamps.append(np.datetime64("NaT", "s") if moment is None else np.datetime64(moment, "s"))
        if rule:
            doubts[text] = rule
    known = np.array([*stamps, np.datetime64("NaT", "s")], dtype="datetime64[s]")
    shown = order if order in ("day first", "month first") else "iso"
    return Dates(known[numbers], doubts, shown)


def dates_of_days(days: pd.Series) -> Dates:
    """Take days counted from any first day as dates, for the intervals between them."""
    numbers = pd.to_numeric(days, errors="coerce").to_numpy(dtype=float)
    known = np.isfinite(numbers)
    stamps = np.full(len(numbers), np.datetime64("NaT", "s"))
    stamps[known] = np.datetime64("2000-01-01", "s") + (numbers[known] * 86400).astype(
        "timedelta64[s]"
    )
    return Dates(stamps, {}, "iso")


def _order(texts: Sequence[str]) -> str:
    parts = [found for text in texts if (found := _PARTS.fullmatch(text))]
    if any(found[2] == "." for found in parts):
        return "day first"
    day_first = any(int(found[1]) > 12 for found in parts)
    month_first = any(int(found[3]) > 12 for found in parts)
    if day_first and month_first:
        return "dates in two orders"
    if day_first or month_first:
        return "day first" if day_first else "month first"
    same = all(int(found[1]) == int(found[3]) for found in parts)
    return "day first" if same else "ambiguous date"


def _read(text: str, order: str) -> tuple[dt.datetime | None, str]:
    if found := _ISO.fullmatch(text):
        return _moment([*map(_number, found.groups())])
    if found := _PARTS.fullmatch(text):
        if order not in ("day first", "month first"):
            return None, order
        first, second, year = int(found[1]), int(found[3]), int(found[4])
        day, month = (first, second) if order == "day first" else (second, first)
        year += 2000 if year < 100 else 0
        return _moment([year, month, day, *map(_number, found.groups()[4:])])
    return None, "date as a serial number" if _SERIAL.fullmatch(text) else "not a date"


def _moment(parts: list[int | None]) -> tuple[dt.datetime | None, str]:
    try:
        return dt.datetime(*(part or 0 for part in parts)), ""  # type: ignore[arg-type]
    except ValueError:
        return None, "not a date"


def _number(text: str | None) -> int | None:
    return None if text is None else int(text)
