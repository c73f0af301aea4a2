"""Whether tests were given on the day the plan has for them."""

import numpy as np
import pandas as pd

from motorlearn.design import Design, Test
from motorlearn.digits import lapse
from motorlearn.trials.checking.problems import gather
from motorlearn.trials.reading.dates import read_dates
from motorlearn.trials.reading.sheet import Sheet

_WEEK = 6.0


def tests_on_their_day(sheet: Sheet, design: Design, sessions: pd.DataFrame | None) -> pd.DataFrame:
    """Find tests on another day than planned, counted from the dates of the practice sessions.

    A test with an interval is counted from the last session before it, any other from the first
    session, which is the plan's first practice day. A test planned for a week may be on any day of
    that week.
    """
    if sessions is None or sessions.empty or not sheet.has("test", "date"):
        return gather([])
    practised = pd.Series(read_dates(sessions["date"].astype("object").fillna("")).values).dropna()
    if practised.empty:
        return gather([])
    table = sheet.table.reset_index(drop=True)
    found = []
    for test in design.tests:
        rows = table[(table["test"] == test.label) & table["date"].notna()]
        for date, part in rows.groupby("date", sort=False):
            moment = read_dates(pd.Series([str(date)])).values[0]
            shown = "" if np.isnat(moment) else _wrong(test, moment, practised, design)
            if shown:
                found.append(
                    sheet.problems(
                        "test on another day than planned",
                        [int(part.index[0])],
                        column="date",
                        values=[shown],
                        severity="doubt",
                        advice=f"{_planned(test)}; check the date, and record the deviation if it "
                        "is right",
                    )
                )
    return gather(found)


def _wrong(test: Test, moment: np.datetime64, practised: pd.Series, design: Design) -> str:
    """Say on which day a test was, where that is outside its window; empty where it is inside."""
    day = np.timedelta64(1, "D")
    if test.interval_days:
        before = practised[practised <= moment]
        if before.empty:
            return f"{test.label}: before any practice"
        gap = float((moment - before.max().to_datetime64()) / day)
        wrong = abs(gap - test.interval_days) > test.window_days
        return f"{test.label}: {gap:g} days" if wrong else ""
    if test.planned_day is None:
        return ""
    first = min((session.day for session in design.practice), default=0.0)
    at = float((moment - practised.min().to_datetime64()) / day) + first
    early = _WEEK if test.day is None else 0.0
    wrong = not -early - test.window_days <= at - test.planned_day <= test.window_days
    return f"{test.label}: day {at:g}" if wrong else ""


def _planned(test: Test) -> str:
    window = f"give or take {test.window_days:g}"
    if test.interval_days:
        return f"planned: {lapse(test.interval_days)} after the last practice, {window}"
    if test.day is None and test.week is not None:
        return f"planned: in week {test.week}, {window}"
    return f"planned: day {test.planned_day:g}, {window}"
