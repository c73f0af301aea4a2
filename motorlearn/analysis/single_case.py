"""A study of one athlete to five: conditions within each person, session by session."""

from typing import TypedDict

import numpy as np
import pandas as pd

from motorlearn.analysis.outcome import OutcomeAnalysis
from motorlearn.analysis.primary import Primary
from motorlearn.analysis.questions import Question
from motorlearn.analysis.scores import OutcomeScores
from motorlearn.audit import Audit, check_assumptions
from motorlearn.compare import SingleCase, analyse_single_case
from motorlearn.compare.schemas import EQUIVALENCE
from motorlearn.design import SingleCasePlan
from motorlearn.exceptions import InputError
from motorlearn.measures.single_case import Randomised
from motorlearn.results import Refused, or_refused
from motorlearn.trials import Study

METHOD = (
    "mean of the sessions under B minus mean of those under A, its interval widened by the serial "
    "dependence found; p by what the draw of the plan could have given"
)


def single_cases_of(
    scores: list[OutcomeScores], question: Question, seed: int
) -> dict[str, SingleCase | Refused]:
    """The two conditions within each case, outcome by outcome; empty without such a plan."""
    plan = question.design.single_case
    if plan is None:
        return {}
    return {entry.outcome.name: _compared(entry, plan, seed) for entry in scores}


@or_refused
def _compared(scores: OutcomeScores, plan: SingleCasePlan, seed: int) -> SingleCase:
    skill = "task" if plan.across == "task" else None
    by = ["participant", plan.column, "session", *([skill] if skill else [])]
    absent = [name for name in by if name not in scores.table]
    if absent:
        raise InputError(
            "the trials lack a column that tells the conditions of a single case apart",
            absent,
            f"add it; the conditions are {plan.conditions[0]!r} and {plan.conditions[1]!r}",
        )
    return analyse_single_case(
        scores.rows(by),
        scores.column,
        phase=plan.column,
        case=skill,
        conditions=plan.conditions,
        design=plan.design,
        randomisation=plan.draw if plan.randomised else None,
        sessions=plan.sessions,
        attempts=scores.attempts,
        out_of=scores.out_of,
        unit=scores.outcome.unit,
        better=scores.outcome.better,
        one_sided=plan.expected == "better",
        seed=seed,
    )


def single_case_answer(
    outcome: OutcomeAnalysis, found: SingleCase | Refused, plan: SingleCasePlan
) -> Primary:
    """The primary row of a single case: B against A over all cases."""
    values = dict.fromkeys(
        ("estimate", "conf_low", "conf_high", "df", "statistic", "p", "g"), np.nan
    )
    row: dict[str, object] = {
        "outcome": outcome.name,
        "phase": "acquisition",
        "test": "all sessions",
        "group": plan.conditions[1],
        "reference": plan.conditions[0],
        "effect": "difference",
        "null": 0.0,
        **values,
        "n_group": 0,
        "n_reference": 0,
    }
    if not isinstance(found, Refused):
        row |= _numbers(found)
    refused = found.reason if isinstance(found, Refused) else ""
    return Primary(
        pd.DataFrame([row]), refused, False, "" if refused else METHOD, EQUIVALENCE.frame()
    )


def _numbers(found: SingleCase) -> dict[str, object]:
    """Estimate and interval of the one case, or over the athletes; p of the randomisation test."""
    rows = found.estimates[found.estimates["index"] == "difference"]
    together = found.summary.iloc[0] if isinstance(found.summary, pd.DataFrame) else None
    main = rows.iloc[0] if len(rows) == 1 else together
    numbers: dict[str, object] = {
        "n_group": int(rows["n_b"].sum()),
        "n_reference": int(rows["n_a"].sum()),
    }
    if main is not None:
        numbers |= {name: float(main[name]) for name in ("estimate", "conf_low", "conf_high")}
        numbers["df"] = float(main["df"] if "df" in main else main["n_a"] + main["n_b"] - 2)
    else:
        numbers["estimate"] = float(rows["estimate"].mean())
    if isinstance(found.test, Randomised):
        numbers["p"] = found.test.p
    return numbers


class JudgedCase(TypedDict):
    """Fields of the analysis of a study."""

    audit: Audit | Refused
    sensitivity: None


def judged_case(found: SingleCase | Refused, study: Study, seed: int) -> JudgedCase:
    """Assumptions of the analysis of a single case."""
    if isinstance(found, Refused):
        return {"audit": found, "sensitivity": None}
    audit = or_refused(check_assumptions)(found, study=study, seed=seed)
    return {"audit": audit, "sensitivity": None}
