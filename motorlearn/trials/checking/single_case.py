"""Rules for a study of one athlete to five: conditions, phases, and the draw of the plan."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from motorlearn.design import Design, SingleCasePlan
from motorlearn.exceptions import InputError
from motorlearn.trials.checking.problems import gather
from motorlearn.trials.counted import counted_rows
from motorlearn.trials.reading.sheet import Sheet
from motorlearn.vocabulary import PRACTICE_PHASE


def in_one_phase(table: pd.DataFrame, design: Design) -> pd.DataFrame:
    """Sessions of a single case that name no phase of the study are practice."""
    if design.single_case is None or "phase" in table:
        return table
    return table.assign(phase=PRACTICE_PHASE)


def check_single_case(sheet: Sheet, design: Design) -> pd.DataFrame:
    """Check conditions and sessions against the plan of a single case; nothing for other plans."""
    plan = design.single_case
    if plan is None:
        return gather([])
    if not sheet.has("participant", "session", plan.column):
        lacking = [n for n in ("participant", "session", plan.column) if not sheet.has(n)]
        return sheet.problem(
            "column of a single case missing",
            severity="error",
            column=lacking[0],
            value="",
            advice="every row needs participant, session and the condition of the session "
            f"({plan.conditions[0]} or {plan.conditions[1]})",
        )
    table = sheet.table
    used = np.flatnonzero(counted_rows(table) & table["session"].notna().to_numpy())
    named = table[plan.column].iloc[used].astype("str")
    strange = used[(~named.isin(plan.conditions) & table[plan.column].iloc[used].notna())]
    if len(strange):
        return sheet.problems(
            "condition not in the plan",
            strange,
            column=plan.column,
            severity="error",
            advice=f"the plan has {plan.conditions[0]} and {plan.conditions[1]}; correct the file, "
            "or the plan",
        )
    return gather(list(_of_cases(sheet, plan, used)))


def _of_cases(sheet: Sheet, plan: SingleCasePlan, used: np.ndarray) -> Iterator[pd.DataFrame]:
    rows = sheet.table.iloc[used].assign(_line=used)
    by = ["participant", *(["task"] if plan.across == "task" and "task" in rows else [])]
    records = {}
    for key, mine in rows.groupby(by, sort=False, observed=True):
        name = ", ".join(str(part) for part in key)
        both = mine.groupby("session")[plan.column].nunique()
        for session in both.index[both > 1]:
            lines = mine.loc[mine["session"] == session, "_line"].to_numpy()[:1]
            yield sheet.problems(
                "session with both conditions",
                lines,
                column=plan.column,
                severity="error",
                advice="give a session one condition, or number the parts of a day as sessions",
            )
        records[name] = _codes(mine, plan)
    for name, codes in records.items():
        yield from (_problem(sheet, plan, *said) for said in _of_record(name, codes, plan))
    yield from (_problem(sheet, plan, *said) for said in _of_all(list(records.values()), plan))


def _codes(rows: pd.DataFrame, plan: SingleCasePlan) -> np.ndarray:
    """Conditions of the sessions of a case: 0 for A, 1 for B, missing where not held."""
    first = rows.groupby("session")[plan.column].first().astype("str")
    longest = max(plan.sessions, int(first.index.max()))
    codes = first.map({plan.conditions[0]: 0.0, plan.conditions[1]: 1.0})
    found: np.ndarray = codes.reindex(range(1, longest + 1)).to_numpy(dtype=float)
    return found


def _of_record(
    name: str, codes: np.ndarray, plan: SingleCasePlan
) -> Iterator[tuple[str, str, str]]:
    if len(codes) > plan.sessions:
        yield (
            "more sessions than planned",
            f"{name}: {len(codes)} of {plan.sessions}",
            "correct the numbers, or say in the record why sessions were added; the randomisation "
            "test stands on the sessions that were planned",
        )
    gone = np.flatnonzero(np.isnan(codes[: plan.sessions])) + 1
    last = np.flatnonzero(~np.isnan(codes))
    if len(gone) and len(last) and gone[0] <= last[-1]:
        inside = [str(number) for number in gone if number <= last[-1] + 1]
        yield (
            "session missing",
            f"{name}: {', '.join(inside)}",
            "it keeps its place and counts in no mean; say in the record why it is missing",
        )
    if np.isnan(codes[-1]) or not plan.randomised or len(codes) > plan.sessions:
        return
    wrong = plan.draw.misfit(codes)
    if wrong:
        yield (
            "conditions do not fit the draw",
            f"{name}: {wrong}",
            "correct the file; if it was done so, there is no randomisation test",
        )


def _of_all(records: list[np.ndarray], plan: SingleCasePlan) -> Iterator[tuple[str, str, str]]:
    over = [not np.isnan(codes[-1]) and len(codes) == plan.sessions for codes in records]
    if plan.design != "multiple baseline" or not plan.randomised or not all(over):
        return
    try:
        plan.draw.check(len(records), plan.sessions)
        wrong = plan.draw.misfit_of_cases(records)
    except InputError as problem:
        wrong = problem.cause
    if wrong:
        yield (
            "conditions do not fit the draw",
            wrong,
            "correct the file or the plan; if it was done so, there is no randomisation test",
        )


def _problem(
    sheet: Sheet, plan: SingleCasePlan, rule: str, value: str, advice: str
) -> pd.DataFrame:
    return sheet.problem(
        rule,
        severity="doubt",
        column=plan.column,
        value=value,
        advice=advice,
    )
