"""The primary conclusion without the values that the plan put in the place of others."""

from dataclasses import replace

import pandas as pd

from motorlearn.analysis.outcome import compared
from motorlearn.analysis.questions import Question
from motorlearn.analysis.scores import scores_of
from motorlearn.analysis.staged import staged_trials
from motorlearn.audit import Sensitivity
from motorlearn.audit.sensitivity.as_recorded import as_recorded_rows
from motorlearn.compare import PhaseComparison
from motorlearn.exceptions import InputError
from motorlearn.results import Refused
from motorlearn.trials import Study, as_recorded

MOST_RULES = 6
"""Replacement rules that are undone one by one; more are undone together only."""


def with_replacements_undone(
    found: Sensitivity | Refused,
    comparison: PhaseComparison,
    study: Study,
    question: Question,
    stage: str,
) -> Sensitivity | Refused:
    """Add the conclusion without the plan's replacements, together and rule by rule."""
    log = study.trials.replaced
    if isinstance(found, Refused) or log.empty:
        return found
    rules = list(dict.fromkeys(log["rule"]))
    undone: list[tuple[str, str | None]] = [("without the plan's replacements", None)]
    if 1 < len(rules) <= MOST_RULES:
        undone += [(f"without the replacement of {rule}", rule) for rule in rules]
    rows = [_row(name, rule, comparison, study, question, stage) for name, rule in undone]
    return replace(found, table=pd.concat([found.table, *rows], ignore_index=True))


def _row(
    name: str,
    rule: str | None,
    comparison: PhaseComparison,
    study: Study,
    question: Question,
    stage: str,
) -> pd.DataFrame:
    log = study.trials.replaced
    cells = len(log) if rule is None else int((log["rule"] == rule).sum())
    try:
        table = staged_trials(as_recorded(study, rule))
        asked = question.outcomes[0]
        other = compared(scores_of(table, asked.outcome, study.design), asked, question)
    except InputError as problem:
        other = Refused(str(problem))
    note = f"{cells} cells as recorded"
    return as_recorded_rows(name, note, comparison, other, stage, study)
