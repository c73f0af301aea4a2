"""``analyse_study``: what this study asks, answered once for everybody who shows it."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from motorlearn.analysis.beside import Beside, beside_of, nothing_beside, page_beside
from motorlearn.analysis.interim import InterimLook, interim_of
from motorlearn.analysis.judged import judged
from motorlearn.analysis.multiverse import multiverse_of
from motorlearn.analysis.outcome import (
    OutcomeAnalysis,
    analyse_outcome,
    compared,
    outcomes_frame,
)
from motorlearn.analysis.people import people_of
from motorlearn.analysis.primary import Primary, primary_answer
from motorlearn.analysis.questionnaires import questionnaires_of
from motorlearn.analysis.questions import Question, question_of
from motorlearn.analysis.result import StudyAnalysis
from motorlearn.analysis.scores import scores_of
from motorlearn.analysis.single_case import judged_case, single_case_answer, single_cases_of
from motorlearn.analysis.staged import staged_trials
from motorlearn.analysis.variability import spreads_of
from motorlearn.results import Recipe, Refused
from motorlearn.trials import Study


def analyse_study(study: Study, *, outcome: str | None = None, seed: int = 0) -> StudyAnalysis:
    """Answer what a study asks: its primary comparison, all outcomes, and what stands beside them.

    The plan says what is asked: outcome, test, groups, baseline, scale and smallest effect of the
    primary comparison; every outcome is compared at every part of the study. Rows with a reason in
    ``void`` do not count. Report, supervisor's page, class data and notebooks show this answer and
    compute none of their own.

    Parameters
    ----------
    study : Study
        What :func:`motorlearn.read_study` or :func:`motorlearn.simulate_study` gave.
    outcome : str, optional
        Analyse this outcome of the plan only.
    seed : int
        Seed of remedies and variants that draw numbers.

    Returns
    -------
    StudyAnalysis
        ``primary`` is a frame of one row; estimates of a difference are group minus reference,
        those of a ratio group by reference.

    Raises
    ------
    InputError
        If the plan does not fit the data: an outcome that is no column and no known score or has
        no value that counts, two outcomes of one column, a group of the primary comparison
        without trials, tests that no column tells apart.

    Examples
    --------
    >>> import motorlearn as ml
    >>> plan = ml.design.design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "blocked", "size": 8}, {"name": "random", "size": 8}],
    ...     "tests": [{"phase": "pretest", "trials": 20},
    ...               {"phase": "retention", "trials": 20, "interval_days": 7}],
    ...     "outcomes": [{"name": "hits", "better": "higher"}],
    ...     "target": {"radius": 20},
    ... })
    >>> study = ml.simulate_study(plan, seed=3, missing=False)
    >>> found = analyse_study(study)
    >>> found.outcomes[["outcome", "column", "scale", "role"]].values.tolist()
    [['hits', 'hits', 'hits of 20', 'primary']]
    >>> found.primary[["outcome", "test", "n_group"]].values.tolist()
    [['hits', 'Delayed retention', 8]]
    """
    return _answered(study, outcome, seed)


def page_analysis(study: Study, *, seed: int = 0, mixed: bool = True) -> StudyAnalysis:
    """What the supervisor's page shows of an analysis; parts that it does not show are refused.

    Every number is that of :func:`analyse_study`; curves, agreement of raters, technique and speed
    are not computed, nor is the mixed model of trials without ``mixed``, which the sheet to sign
    does not tell.

    Examples
    --------
    >>> import motorlearn as ml
    >>> plan = ml.design.design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "blocked", "size": 8}, {"name": "random", "size": 8}],
    ...     "tests": [{"phase": "pretest", "trials": 20},
    ...               {"phase": "retention", "trials": 20, "interval_days": 7}],
    ...     "outcomes": [{"name": "hits", "better": "higher"}],
    ...     "target": {"radius": 20},
    ... })
    >>> study = ml.simulate_study(plan, seed=3, missing=False)
    >>> found = page_analysis(study, mixed=False)
    >>> found.primary[["outcome", "test", "n_group"]].values.tolist()
    [['hits', 'Delayed retention', 8]]
    >>> found.curves.reason
    "not computed, since the supervisor's page does not show it"
    """
    return _answered(study, None, seed, beside=page_beside if mixed else nothing_beside)


def _answered(
    study: Study, outcome: str | None, seed: int, *, beside: Callable[..., Beside] = beside_of
) -> StudyAnalysis:
    table = staged_trials(study)
    question = question_of(study.design, table, only=outcome)
    scores = [scores_of(table, asked.outcome, study.design) for asked in question.outcomes]
    found = [
        analyse_outcome(entry, asked, question, practice=beside is beside_of)
        for entry, asked in zip(scores, question.outcomes)
    ]
    first, plan = found[0], study.design.single_case
    cases = single_cases_of(scores, question, seed)
    if plan is None:
        answer = primary_answer(first.name, first.comparison, question)
        judgement: Any = judged(first.comparison, answer, study, question, seed)
    else:
        answer = single_case_answer(first, cases[first.name], plan)
        judgement = judged_case(cases[first.name], study, seed)
    look = interim_of(study.design, answer.primary)
    level = 1 - look.level if isinstance(look, InterimLook) else 0.95
    people = people_of(study, table, first.comparison, question.groups)
    return StudyAnalysis(
        study=study,
        question=question,
        table=table,
        scores=scores[0],
        **vars(answer),
        outcomes=outcomes_frame(found),
        details={entry.name: entry for entry in found},
        people=people,
        spreads=spreads_of(scores, question, study, seed),
        questionnaires=questionnaires_of(study, people.roster, seed),
        single_cases=cases,
        **beside(study, scores[0], first.cells, question, seed),
        **judgement,
        multiverse=multiverse_of(study, table, question, answer.primary, level),
        interim=look,
        recipe=_recipe(len(table), first, outcome, seed),
    )


def primary_comparison(study: Study) -> Primary:
    """The primary row alone, as :func:`analyse_study` gives it; quick, for many studies.

    Raises
    ------
    InputError
        As :func:`analyse_study`.
    """
    table = staged_trials(study)
    question = _at_its_tests(question_of(study.design, table))
    asked = question.outcomes[0]
    comparison = compared(scores_of(table, asked.outcome, study.design), asked, question)
    return primary_answer(asked.outcome.name, comparison, question)


def _at_its_tests(question: Question) -> Question:
    """Only the parts that a declared comparison of two groups needs: its test and the baseline."""
    primary, stage = question.design.primary, question.primary_stage
    if primary is None or stage is None or len(primary.groups) != 2:
        return question
    needed = {stage.name, question.baseline}
    stages = tuple(entry for entry in question.stages if entry.name in needed)
    return replace(question, stages=stages)


def _recipe(n: int, first: OutcomeAnalysis, outcome: str | None, seed: int) -> Recipe:
    comparison = first.comparison
    recipe = Recipe("analyse_study", {"outcome": first.column}, {"outcome": outcome}, n)
    recipe = replace(recipe, seed=seed)
    if isinstance(comparison, Refused):
        return replace(recipe, message=comparison.reason)
    done = comparison.recipe
    return replace(recipe, n=done.n, left_out=done.left_out, engine=done.engine)
