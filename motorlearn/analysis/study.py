"""``analyse_study``: what this study asks, answered once for everybody who shows it."""

from dataclasses import replace
from typing import Any

import pandas as pd

from motorlearn.analysis import beside, people
from motorlearn.analysis.outcome import OutcomeAnalysis, analyse_outcome, compared
from motorlearn.analysis.primary import Primary, primary_answer
from motorlearn.analysis.questions import Question, question_of
from motorlearn.analysis.result import OUTCOME_COLUMNS, People, StudyAnalysis
from motorlearn.analysis.scores import scores_of
from motorlearn.audit import check_assumptions, sensitivity
from motorlearn.compare import PhaseComparison
from motorlearn.design import Design, stage_column, stages_of, tests_not_told_apart
from motorlearn.exceptions import InputError
from motorlearn.mixed import MixedFit
from motorlearn.results import Recipe, Refused, nobody_left_out, or_refused
from motorlearn.trials import Study

MODEL_SIMULATIONS = 200
"""Data sets that the audit of the mixed model simulates; shares are known to about 0.035."""


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
    question, table = _asked(study)
    chosen = _chosen(question, outcome)
    scores = {entry.name: scores_of(table, entry, study.design) for entry in chosen}
    details = {name: analyse_outcome(entry, question) for name, entry in scores.items()}
    first = next(iter(details.values()))
    answer = primary_answer(first.name, first.comparison, question)
    mixed = beside.trial_model(next(iter(scores.values())), question)
    return StudyAnalysis(
        study=study,
        question=question,
        table=table,
        scores=next(iter(scores.values())),
        **vars(answer),
        outcomes=_outcomes(details),
        details=details,
        people=_people(study, table, first, question),
        mixed=mixed,
        mixed_audit=_audit_of_model(mixed, study, seed),
        **_curves_and_raters(study, first),
        **_judged(first, answer, study, question, seed),
        recipe=_recipe(table, first, outcome, seed),
    )


def primary_comparison(study: Study) -> Primary:
    """The primary row alone, as :func:`analyse_study` gives it; quick, for many studies.

    Raises
    ------
    InputError
        As :func:`analyse_study`.
    """
    question, table = _asked(study)
    first = question.outcomes[0]
    comparison = compared(scores_of(table, first, study.design), question)
    return primary_answer(first.name, comparison, question)


def _asked(study: Study) -> tuple[Question, pd.DataFrame]:
    """What the plan asks of these data, and the trials with their stage."""
    table = _staged(study)
    return question_of(study.design, table, _stages(study.design, table)), table


def _staged(study: Study) -> pd.DataFrame:
    """Trials with a stage and a group in every row."""
    table, design = study.trials.table, study.design
    absent = [name for name in ("participant", "phase") if name not in table]
    if absent:
        raise InputError("the trials lack a column", absent, "add it, or map it at import")
    if "group" not in table:
        if len(design.group_names) > 1:
            raise InputError(
                "the trials do not say who is in which group",
                list(design.group_names),
                "add a column 'group', or a file of participants that has it",
            )
        table = table.assign(group=design.group_names[0])
    merged = tests_not_told_apart(table, design)
    if merged:
        raise InputError(
            "tests of one phase cannot be told apart",
            [f"{phase}: {', '.join(names)}" for phase, names in merged.items()],
            "add a column 'test' with their names, or give each test a session of its own",
        )
    return table.assign(stage=stage_column(table, design))


def _stages(design: Design, table: pd.DataFrame) -> Any:
    present = set(table["stage"])
    return tuple(stage for stage in stages_of(design) if stage.name in present)


def _chosen(question: Question, only: str | None) -> Any:
    if only is None:
        return question.outcomes
    chosen = [outcome for outcome in question.outcomes if outcome.name == only]
    if not chosen:
        known = ", ".join(outcome.name for outcome in question.outcomes)
        raise InputError("the plan has no such outcome", [only], f"its outcomes are {known}")
    return chosen


def _outcomes(details: dict[str, OutcomeAnalysis]) -> pd.DataFrame:
    rows = [
        {
            "outcome": entry.name,
            "column": entry.column,
            "attempts": entry.attempts,
            "unit": entry.unit,
            "scale": _scale(entry),
            "better": entry.better,
            "role": entry.role,
        }
        for entry in details.values()
    ]
    return pd.DataFrame(rows, columns=list(OUTCOME_COLUMNS))


def _scale(entry: OutcomeAnalysis) -> str:
    if entry.out_of is not None:
        return f"hits of {entry.out_of:g}"
    return "rate" if entry.is_rate else entry.unit


def _people(
    study: Study, table: pd.DataFrame, first: OutcomeAnalysis, question: Question
) -> People:
    roster = people.roster(study, table)
    there = people.presence(table, roster, study.design)
    left_out = (
        first.comparison.recipe.left_out
        if isinstance(first.comparison, PhaseComparison)
        else nobody_left_out()
    )
    groups = list(question.groups)
    return People(
        roster,
        there,
        people.participant_flow(there, groups),
        people.attrition(there, left_out, groups),
    )


def _curves_and_raters(study: Study, first: OutcomeAnalysis) -> dict[str, Any]:
    found: dict[str, Any] = dict.fromkeys(("raters", "curves", "population"))
    ratings = study.ratings
    if ratings is not None and beside.has_ratings(ratings):
        found["raters"] = beside.agreement(ratings)
    if beside.has_curves(first.cells):
        found["curves"] = beside.learners_curves(first.cells)
        found["population"] = beside.population_curve(first.cells)
    return found


def _judged(
    first: OutcomeAnalysis, answer: Primary, study: Study, question: Question, seed: int
) -> dict[str, Any]:
    """Assumptions of the primary comparison and the same conclusion in other ways."""
    comparison, stage = first.comparison, question.primary_stage
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
    return {"audit": audit, "sensitivity": variants}


def _audit_of_model(mixed: MixedFit | Refused, study: Study, seed: int) -> Any:
    if isinstance(mixed, Refused):
        return None
    return or_refused(check_assumptions)(
        mixed, study=study, seed=seed, simulations=MODEL_SIMULATIONS
    )


def _recipe(table: pd.DataFrame, first: OutcomeAnalysis, outcome: str | None, seed: int) -> Recipe:
    comparison = first.comparison
    recipe = Recipe("analyse_study", {"outcome": first.column}, {"outcome": outcome}, len(table))
    recipe = replace(recipe, seed=seed)
    if isinstance(comparison, Refused):
        return replace(recipe, message=comparison.reason)
    done = comparison.recipe
    return replace(recipe, n=done.n, left_out=done.left_out, engine=done.engine)
