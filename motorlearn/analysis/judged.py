"""Assumptions of the primary comparison, and the same conclusion in other ways.

Beside the variants that the audit computes from a comparison stand those that need the study again:
without the plan's replacements of values, and by other rules for times.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, TypedDict

import pandas as pd

from motorlearn.analysis.outcome import compared
from motorlearn.analysis.primary import Primary
from motorlearn.analysis.questions import Asked, Question
from motorlearn.analysis.scores import scores_of
from motorlearn.analysis.staged import staged_trials
from motorlearn.audit import Audit, Sensitivity, check_assumptions, sensitivity
from motorlearn.audit.sensitivity.as_recorded import as_recorded_rows
from motorlearn.compare import PhaseComparison
from motorlearn.design import TimeRules
from motorlearn.exceptions import InputError
from motorlearn.results import Refused, or_refused
from motorlearn.trials import Study, as_recorded

MOST_RULES = 6
"""Replacement rules that are undone one by one; more are undone together only."""
Again = tuple[str, str, PhaseComparison | Refused]
"""A variant: its name, a note, and the comparison that was made again."""


class Judged(TypedDict):
    """Fields of the analysis of a study."""

    audit: Audit | Refused
    sensitivity: Sensitivity | Refused | None


def judged(
    comparison: PhaseComparison | Refused,
    answer: Primary,
    study: Study,
    question: Question,
    seed: int,
) -> Judged:
    """Judge the primary comparison; of one group its assumptions alone."""
    stage = question.primary_stage
    if isinstance(comparison, Refused):
        return {"audit": comparison, "sensitivity": None}
    between = len(comparison.contrasts) > 0
    if answer.refused and between:
        reason = Refused(answer.refused)
        return {"audit": reason, "sensitivity": reason}
    phases = [stage.name] if stage is not None and between else None
    audit = or_refused(check_assumptions)(comparison, study=study, phases=phases, seed=seed)
    variants = None
    if between and stage is not None:
        variants = or_refused(sensitivity)(comparison, study=study, phase=stage.name, seed=seed)
    if isinstance(variants, Refused) or study.design.within is not None:
        return {"audit": audit, "sensitivity": variants}
    if variants is not None and stage is not None:
        variants = with_the_study_again(variants, comparison, study, question, stage.name)
    return {"audit": audit, "sensitivity": variants}


def with_the_study_again(
    found: Sensitivity,
    comparison: PhaseComparison,
    study: Study,
    question: Question,
    stage: str,
) -> Sensitivity:
    """Add the conclusion without the plan's replacements, and by other rules for times."""
    others = (*_undone(study, question), *_otherwise_timed(study, question))
    rows = [
        as_recorded_rows(name, note, comparison, other, stage, study)
        for name, note, other in others
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


def _undone(study: Study, question: Question) -> Iterator[Again]:
    log = study.trials.replaced
    rules = list(dict.fromkeys(log["rule"])) if len(log) else []
    undone: list[tuple[str, str | None]] = []
    if rules:
        undone = [("without the plan's replacements", None)]
    if 1 < len(rules) <= MOST_RULES:
        undone += [(f"without the replacement of {rule}", rule) for rule in rules]
    for name, rule in undone:
        cells = len(log) if rule is None else int((log["rule"] == rule).sum())
        other, _ = _again(as_recorded(study, rule), question.outcomes[0], question)
        yield name, f"{cells} cells as recorded", other


def _otherwise_timed(study: Study, question: Question) -> Iterator[Again]:
    asked = question.outcomes[0]
    rules = asked.outcome.times
    if rules is None:
        return
    for name, changed in other_rules(rules).items():
        outcome = asked.outcome.model_copy(update={"times": rules.model_copy(update=changed)})
        other, cut = _again(study, replace(asked, outcome=outcome), question)
        yield name, f"{cut} times left out" if cut is not None else "", other


def _again(
    study: Study, asked: Asked, question: Question
) -> tuple[PhaseComparison | Refused, int | None]:
    """The comparison of the primary outcome, and how many times its rules left out."""
    try:
        scores = scores_of(staged_trials(study), asked.outcome, study.design)
        cut = None if scores.timed is None else int(scores.timed.cuts["cut"].sum())
        return compared(scores, asked, question), cut
    except InputError as problem:
        return Refused(str(problem)), None
