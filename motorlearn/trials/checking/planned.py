"""Rules that compare a study's data with its plan."""

from collections.abc import Callable
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.design import Design, Test, tests_not_told_apart
from motorlearn.digits import lapse
from motorlearn.trials.checking.declared import outcomes_recorded, yoked_pairs
from motorlearn.trials.checking.problems import gather
from motorlearn.trials.checking.rules import OUTCOMES, unknown_labels
from motorlearn.trials.checking.single_case import check_single_case
from motorlearn.trials.checking.trial_counts import trial_counts
from motorlearn.trials.counted import counted_rows
from motorlearn.trials.reading.dates import ADVICE, Dates, dates_of_days, read_dates
from motorlearn.trials.reading.sheet import Sheet, codes, first_lines
from motorlearn.vocabulary import PRACTICE_PHASE


def check_plan(sheet: Sheet, design: Design) -> pd.DataFrame:
    """Check a sheet of trials against every rule that follows from the plan."""
    return gather([rule(sheet, design) for rule in _RULES])


def labels_in_plan(sheet: Sheet, design: Design) -> pd.DataFrame:
    """Find phases, groups and tasks that the plan does not name."""
    plan = {
        "phase": design.phases,
        "group": design.group_names,
        "task": tuple(task.name for task in design.tasks),
    }
    return gather(
        [
            unknown_labels(
                sheet,
                column,
                known,
                rule=f"{column} not in the plan",
                severity="error",
                advice=f"the plan has {', '.join(known)}; correct the file, or the plan",
            )
            for column, known in plan.items()
            if known and sheet.has(column)
        ]
    )


def phases_have_data(sheet: Sheet, design: Design) -> pd.DataFrame:
    """Find phases and groups of the plan without a single row; practice may go unrecorded."""
    found = []
    for column, wanted in (("phase", design.phases), ("group", design.group_names)):
        if not sheet.has(column):
            continue
        present = set(sheet.table[column].dropna().unique())
        absent = [name for name in wanted if name not in present]
        later = still_to_come(wanted, present) if column == "phase" else ()
        found += [_without_data(sheet, column, name) for name in absent if name not in later]
        found += [_to_come(sheet, name) for name in later]
    return gather(found)


def still_to_come(phases: tuple[str, ...], present: set[str]) -> tuple[str, ...]:
    """Phases after the last one that has data: a study that is still going on."""
    reached = [place for place, name in enumerate(phases) if name in present]
    return phases[max(reached) + 1 :] if reached else ()


def _to_come(sheet: Sheet, name: str) -> pd.DataFrame:
    return sheet.problem(
        TO_COME,
        severity="doubt",
        column="phase",
        value=name,
        advice="the plan has it, and no later phase has data: to come, or rows are missing",
    )


def practice_in_the_log(problems: pd.DataFrame, sessions: pd.DataFrame | None) -> pd.DataFrame:
    """Make practice without trials a note where a log of sessions says who was there."""
    if sessions is None or sessions.empty:
        return problems
    here = problems["rule"].isin((UNRECORDED, TO_COME)) & (problems["value"] == PRACTICE_PHASE)
    advice = "who was there stands in the log of sessions; there is no practice curve"
    return problems.assign(
        severity=problems["severity"].mask(here, "note"),
        advice=problems["advice"].mask(here, advice),
    )


UNRECORDED: Final = "practice not recorded"
TO_COME: Final = "test without data yet"


def _without_data(sheet: Sheet, column: str, name: str) -> pd.DataFrame:
    unrecorded = column == "phase" and name == PRACTICE_PHASE
    return sheet.problem(
        UNRECORDED if unrecorded else f"{column} without data",
        severity="doubt" if unrecorded else "error",
        column=column,
        value=name,
        advice="the plan has practice and the file has none of its trials, so there is no practice "
        "curve and the dose cannot be checked; add the rows if practice was recorded"
        if unrecorded
        else "the plan has it and the file does not; add the rows, or change the plan",
    )


def tests_told_apart(sheet: Sheet, design: Design) -> pd.DataFrame:
    """Find phases with several tests whose rows do not say which test they belong to."""
    if not sheet.has("phase"):
        return gather([])
    return gather(
        [
            sheet.problem(
                "tests of one phase cannot be told apart",
                severity="error",
                column="phase",
                value=phase,
                advice=f"the plan has {len(names)} tests of this phase ({', '.join(names)}); add "
                "a column 'test' with these names, or give each test a session of its own",
            )
            for phase, names in tests_not_told_apart(sheet.table, design).items()
        ]
    )


def hits_agree(sheet: Sheet, design: Design) -> pd.DataFrame:
    """Find hit flags that contradict the landing point, given the target's radius."""
    places = sheet.has("x", "y")
    if design.target is None or not sheet.has("hit") or not (places or sheet.has("radial_error")):
        return gather([])
    table = sheet.table
    hit = table["hit"].to_numpy(dtype=float)
    if places:
        distance = np.hypot(table["x"].to_numpy(dtype=float), table["y"].to_numpy(dtype=float))
    else:
        distance = table["radial_error"].to_numpy(dtype=float)
    beyond = distance - design.target.radius
    unclear = np.abs(beyond) <= design.target.tolerance + 1e-9 * design.target.radius
    lines = np.flatnonzero(
        np.isfinite(hit) & np.isfinite(distance) & ~unclear & ((beyond <= 0) != (hit == 1))
    )
    return sheet.problems(
        "hit contradicts landing point",
        lines,
        column="hit",
        values=[f"{hit[line]:g} at {distance[line]:.4g}" for line in lines],
        severity="error",
        advice=f"the target has radius {design.target.radius:g}; check the flag, the landing "
        "point and its unit",
    )


def outcomes_in_range(sheet: Sheet, design: Design) -> pd.DataFrame:
    """Find values outside the limits that the plan gives an outcome."""
    found = []
    for outcome in design.outcomes:
        name, unlimited = outcome.recorded, outcome.low is None and outcome.high is None
        if not sheet.has(name) or unlimited or outcome.has_target:
            continue
        values = sheet.table[name].to_numpy(dtype=float)
        low = -np.inf if outcome.low is None else outcome.low
        high = np.inf if outcome.high is None else outcome.high
        found.append(
            sheet.problems(
                "value outside the plan's limits",
                np.flatnonzero((values < low) | (values > high)),
                column=name,
                severity="error",
                advice=f"the plan allows {low:g} to {high:g} {outcome.unit}".rstrip(),
            )
        )
    return gather(found)


def intervals_in_window(sheet: Sheet, design: Design) -> pd.DataFrame:
    """Find tests outside the planned interval after practice, and sessions out of order."""
    timed = [test for test in design.tests if (test.interval_days or 0) >= 0.5]
    if not sheet.has("phase") or not timed:
        return gather([])
    if not sheet.has("date") and not sheet.has("day"):
        return sheet.problem(
            "interval cannot be checked",
            severity="doubt",
            advice="the plan sets an interval after practice; add a column 'date'",
        )
    if sheet.has("date"):
        dates = read_dates(sheet.table["date"])
    else:
        dates = dates_of_days(sheet.table["day"])
    people = codes(sheet.table["participant"])
    found = [_date_doubts(sheet, dates), _sessions_in_order(sheet, dates, people)]
    last = _extreme(people, dates.values, sheet.table["phase"] == PRACTICE_PHASE, np.maximum)
    found += [_outside_window(sheet, test, dates, people, last) for test in timed]
    return gather(found)


def _outside_window(
    sheet: Sheet, test: Test, dates: Dates, people: np.ndarray, last: np.ndarray
) -> pd.DataFrame:
    here = (sheet.table["phase"] == test.phase).to_numpy()
    if test.session is not None and sheet.has("session"):
        this = (sheet.table["session"] == test.session).to_numpy()
        here = here & this if (here & this).any() else here
    lines = first_lines(np.where(here & ~np.isnat(dates.values), people, -1))
    gap = (dates.values[lines] - last[people[lines]]) / np.timedelta64(1, "D")
    allowed = test.window_days + 1e-9
    wrong = ~np.isnat(last[people[lines]]) & (np.abs(gap - (test.interval_days or 0)) > allowed)
    names = sheet.table["participant"].to_numpy()
    return sheet.problems(
        f"{test.phase} interval outside its window",
        lines[wrong],
        column="date" if sheet.has("date") else "day",
        values=[f"{names[line]}: {days:.3g} days" for line, days in zip(lines[wrong], gap[wrong])],
        severity="doubt",
        advice=f"planned: {lapse(test.interval_days or 0.0)} after the last practice, give or take "
        f"{test.window_days:g}; check the date, and record the deviation if it is right",
    )


def _sessions_in_order(sheet: Sheet, dates: Dates, people: np.ndarray) -> pd.DataFrame:
    if not sheet.has("session"):
        return gather([])
    session = sheet.table["session"].to_numpy(dtype=float)
    known = (people >= 0) & np.isfinite(session) & ~np.isnat(dates.values)
    order = np.lexsort((session[known], people[known]))
    lines = np.flatnonzero(known)[order]
    who, when, number = people[lines], dates.values[lines], session[lines]
    latest = pd.Series(when.astype("int64")).groupby(who).cummax().to_numpy()
    day = np.timedelta64(1, "D").astype("timedelta64[s]").astype(int)
    behind = when.astype("int64") // day < latest // day
    later = np.r_[False, (who[1:] == who[:-1]) & (number[1:] > number[:-1])]
    wrong = np.sort(lines[behind & later])
    return sheet.problems(
        "sessions out of order",
        wrong,
        column="date" if sheet.has("date") else "day",
        severity="error",
        advice="this session is dated before an earlier one of the same person",
    )


def _date_doubts(sheet: Sheet, dates: Dates) -> pd.DataFrame:
    if not dates.doubts:
        return gather([])
    numbers, labels = pd.factorize(sheet.table["date"])
    first = first_lines(numbers)
    frames = []
    for line, label in zip(first, labels, strict=True):
        rule = dates.doubts.get(str(label).strip())
        if rule:
            frames.append(
                sheet.problems(rule, [line], column="date", severity="doubt", advice=ADVICE[rule])
            )
    return gather(frames)


def _extreme(people: np.ndarray, stamps: np.ndarray, rows: pd.Series, take: np.ufunc) -> np.ndarray:
    """Latest (or earliest) date of each person among some rows."""
    known = rows.to_numpy() & (people >= 0) & ~np.isnat(stamps)
    size = int(people.max(initial=-1)) + 1
    best = np.full(size, np.iinfo(np.int64).min)
    take.at(best, people[known], stamps[known].astype("int64"))
    return best.astype("datetime64[s]")


def unrecorded_outcomes(sheet: Sheet, design: Design) -> pd.DataFrame:
    """Count trials that are not void and yet have none of the planned outcomes."""
    planned = [outcome.column for outcome in design.outcomes if outcome.column]
    names = [name for name in dict.fromkeys((*planned, *OUTCOMES)) if sheet.has(name)]
    if not names:
        return gather([])
    empty = sheet.table[names].isna().all(axis=1).to_numpy() & counted_rows(sheet.table)
    return sheet.problems(
        "trial without an outcome",
        np.flatnonzero(empty),
        column=names[0],
        severity="note",
        advice="kept as missing; give the reason in column 'void' where it is known",
    )


_RULES: Final[tuple[Callable[[Sheet, Design], pd.DataFrame], ...]] = (
    labels_in_plan,
    phases_have_data,
    tests_told_apart,
    hits_agree,
    outcomes_in_range,
    outcomes_recorded,
    yoked_pairs,
    trial_counts,
    intervals_in_window,
    unrecorded_outcomes,
    check_single_case,
)
