"""The primary conclusion by other rules for times: no cut-offs, others, with wrong trials."""

from dataclasses import replace
from typing import Any

import pandas as pd

from motorlearn.analysis.outcome import compared
from motorlearn.analysis.questions import Question
from motorlearn.analysis.scores import scores_of
from motorlearn.analysis.staged import staged_trials
from motorlearn.audit import Sensitivity
from motorlearn.audit.sensitivity.as_recorded import as_recorded_rows
from motorlearn.compare import PhaseComparison
from motorlearn.design import TimeRules
from motorlearn.exceptions import InputError
from motorlearn.results import Refused
from motorlearn.trials import Study


def with_other_time_rules(
    found: Sensitivity | Refused,
    comparison: PhaseComparison,
    study: Study,
    question: Question,
    stage: str,
) -> Sensitivity | Refused:
    """Add the conclusion without the plan's cut-offs, with the others it names, and so on."""
    rules = question.outcomes[0].outcome.times
    if isinstance(found, Refused) or rules is None:
        return found
    rows = [
        _row(name, changed, comparison, study, question, stage)
        for name, changed in other_rules(rules).items()
    ]
    return replace(found, table=pd.concat([found.table, *rows], ignore_index=True))


def other_rules(rules: TimeRules) -> dict[str, dict[str, Any]]:
    """Rules that are tried beside those of the plan: what is changed, by the name of the variant.

    Examples
    --------
    >>> list(other_rules(TimeRules(slowest=3.0, reason="looked away")))
    ['without cut-offs of times', 'with medians of times']
    """
    found: dict[str, dict[str, Any]] = {}
    if rules.bounds:
        found["without cut-offs of times"] = {"fastest": None, "slowest": None}
    for low, high in rules.other_cut_offs:
        name = f"with cut-offs of {low:g} and {high:g}"
        found[name] = {"fastest": low or None, "slowest": high}
    if rules.errors == "left out":
        found["with times of wrong trials"] = {"errors": "kept"}
    if rules.summary == "mean":
        found["with medians of times"] = {"summary": "median"}
    else:
        found["with means of times"] = {"summary": "mean"}
    return found


def _row(
    name: str,
    changed: dict[str, Any],
    comparison: PhaseComparison,
    study: Study,
    question: Question,
    stage: str,
) -> pd.DataFrame:
    asked = question.outcomes[0]
    rules = asked.outcome.times
    assert rules is not None
    outcome = asked.outcome.model_copy(update={"times": rules.model_copy(update=changed)})
    other: PhaseComparison | Refused
    note = ""
    try:
        scores = scores_of(staged_trials(study), outcome, study.design)
        other = compared(scores, replace(asked, outcome=outcome), question)
        if scores.timed is not None:
            note = f"{int(scores.timed.cuts['cut'].sum())} times left out"
    except InputError as problem:
        other = Refused(str(problem))
    return as_recorded_rows(name, note, comparison, other, stage, study)
