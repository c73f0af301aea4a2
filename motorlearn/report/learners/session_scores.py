"""A learner's own sessions under the two conditions of a single case, for the page to hand out."""

import pandas as pd

from motorlearn import digits
from motorlearn.trials import Study, counted_rows


def session_scores(study: Study, person: str, outcome: str, unit: str) -> pd.DataFrame:
    """``label, score``: every session with its condition, in words; empty for other plans."""
    plan, table = study.design.single_case, study.trials.table
    none = pd.DataFrame(columns=["label", "score"])
    if plan is None or not {plan.column, "session", outcome} <= set(table):
        return none
    mine = table[counted_rows(table) & (table["participant"].astype("str") == person)]
    mine = mine.dropna(subset=[outcome, "session"])
    if mine.empty:
        return none
    by = ["session", plan.column, *(["task"] if plan.across == "task" and "task" in mine else [])]
    means = mine.groupby(by, sort=True, observed=True)[outcome].mean().reset_index()
    space = f" {unit}" if unit else ""
    labels = [
        ", ".join([f"Session {row['session']:g}", *(str(row[name]) for name in by[1:])])
        for row in means.to_dict("records")
    ]
    scores = [f"{digits.significant(value)}{space}" for value in means[outcome]]
    return pd.DataFrame({"label": labels, "score": scores})
