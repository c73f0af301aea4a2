"""Assumptions of the primary comparison, and the same conclusion in other ways."""

from typing import TypedDict

from motorlearn.analysis.primary import Primary
from motorlearn.analysis.questions import Question
from motorlearn.analysis.replaced import with_replacements_undone
from motorlearn.analysis.timed_variants import with_other_time_rules
from motorlearn.audit import Audit, Sensitivity, check_assumptions, sensitivity
from motorlearn.compare import PhaseComparison
from motorlearn.results import Refused, or_refused
from motorlearn.trials import Study


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
    if variants is not None and stage is not None and study.design.within is None:
        variants = with_replacements_undone(variants, comparison, study, question, stage.name)
        variants = with_other_time_rules(variants, comparison, study, question, stage.name)
    return {"audit": audit, "sensitivity": variants}
