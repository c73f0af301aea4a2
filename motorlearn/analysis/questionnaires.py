"""Questionnaires of a study: scale scores, how items hold together, change over times."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from motorlearn.compare import PhaseComparison, compare_phases
from motorlearn.design import QuestionnairePlan, groups_by_level
from motorlearn.exceptions import InputError
from motorlearn.measures import Questionnaire, score_questionnaire
from motorlearn.results import Refused, or_refused, register_record
from motorlearn.trials import Study

GROUP = "group"


@register_record
@dataclass(frozen=True)
class QuestionnaireAnalysis:
    """One questionnaire.

    Attributes
    ----------
    name : str
        Its name in the plan.
    scored : Questionnaire or Refused
        Scale scores, alpha and omega.
    changes : mapping of str to PhaseComparison or Refused
        By scale: groups (two factors where the plan has them) and times; empty where people
        answered once.
    """

    name: str
    scored: Questionnaire | Refused
    changes: Mapping[str, PhaseComparison | Refused] = field(repr=False)


def questionnaires_of(study: Study, people: pd.DataFrame, seed: int) -> list[QuestionnaireAnalysis]:
    """Every questionnaire of the plan.

    Parameters
    ----------
    study : Study
        The study; its tables of answers are in ``questionnaires``.
    people : DataFrame
        ``participant, group`` of everybody.
    seed : int
        Seed of the bootstrap.
    """
    return [_of(plan, study, people, seed) for plan in study.design.questionnaires]


def _of(
    plan: QuestionnairePlan, study: Study, people: pd.DataFrame, seed: int
) -> QuestionnaireAnalysis:
    scored = _scored(plan, study, people, seed)
    if isinstance(scored, Refused) or not plan.time:
        return QuestionnaireAnalysis(plan.name, scored, {})
    there = set(people[GROUP].dropna().astype("str"))
    whole = there == set(study.design.group_names)
    groups = {
        "group": GROUP if len(there) > 1 else None,
        "factors": groups_by_level(study.design) if whole else None,
    }
    changes = {name: _change(scored.of(name), plan, groups) for name in scored.scales}
    return QuestionnaireAnalysis(plan.name, scored, changes)


@or_refused
def _scored(
    plan: QuestionnairePlan, study: Study, people: pd.DataFrame, seed: int
) -> Questionnaire:
    table = study.questionnaires.get(plan.name)
    if table is None:
        raise InputError(
            "the answers of a questionnaire are not there yet",
            [plan.file],
            "put the file into the folder of the study",
        )
    groups = people.drop_duplicates("participant").set_index("participant")[GROUP].astype("str")
    groups.index = groups.index.astype("str")
    if "participant" not in table:
        raise InputError(
            "the answers do not say whose they are", [plan.file], "add a column 'participant'"
        )
    known = table["participant"].astype("str")
    strange = sorted(set(known.dropna()) - set(groups.index))
    if strange:
        raise InputError(
            "somebody answered who is not among the participants", strange,
            "correct the identifier, or add the person",
        )  # fmt: skip
    return score_questionnaire(
        table.assign(**{GROUP: known.map(groups)}),
        scales=plan.scales,
        answers=plan.answers,
        item=plan.item or None,
        response=plan.response,
        reversed=plan.reversed,
        score=plan.score,
        minimum_answered=plan.minimum_answered,
        time=plan.time or None,
        keep=[GROUP],
        seed=seed,
    )


@or_refused
def _change(
    scores: pd.DataFrame, plan: QuestionnairePlan, groups: Mapping[str, Any]
) -> PhaseComparison:
    times = [str(time) for time in plan.times] or list(dict.fromkeys(scores["time"].astype("str")))
    return compare_phases(
        scores.assign(time=scores["time"].astype("str")),
        "score",
        **groups,
        phase="time",
        phases=times,
        baseline=times[0] if plan.adjusted else None,
    )


def results_of(found: Sequence[QuestionnaireAnalysis]) -> dict[str, Any]:
    """Results by name, as they stand among the others of a study."""
    named: dict[str, Any] = {}
    for entry in found:
        named[f"questionnaire {entry.name}"] = entry.scored
        for scale, change in entry.changes.items():
            named[f"questionnaire {entry.name}, {scale}: change"] = change
    return named
