"""Choices of the primary comparison and their declared alternatives, with scores by choice."""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.analysis.crossed import with_columns
from motorlearn.analysis.questions import Question
from motorlearn.analysis.scores import scores_of
from motorlearn.compare.alternatives import alternative_contrast
from motorlearn.compare.clusters import Clusters, unit_scores
from motorlearn.compare.covariates import Covariates, covariates_of
from motorlearn.compare.participants import Columns, PhaseScores, score_participants
from motorlearn.design import AlternativeExclusion, Outcome, model_of
from motorlearn.exceptions import FitError, InputError
from motorlearn.rows import Row
from motorlearn.trials import Study
from motorlearn.trials.counted import VOID
from motorlearn.trials.ruled import rows_of_rule

AS_PLANNED = "as planned"


@dataclass(frozen=True)
class Choice:
    """One combination: a choice in each respect, in the order of the columns of a multiverse."""

    exclusion: str
    outcome: str
    effect: str
    covariates: tuple[str, ...]
    model: str

    @property
    def named(self) -> dict[str, str]:
        """The choices as a reader sees them."""
        return vars(self) | {"covariates": ", ".join(self.covariates) or "none"}


def choices_of(question: Question) -> Iterator[Choice]:
    """Every declared combination, the plan's own first."""
    plan, primary = question.design.multiverse, question.design.primary
    assert plan is not None and primary is not None
    lists: tuple[tuple[Any, ...], ...] = (
        (AS_PLANNED, *(entry.rule for entry in plan.exclusions)),
        (primary.outcome, *plan.outcomes),
        (primary.effect, *plan.effects),
        (primary.covariates, *plan.covariates),
        (model_of(question.design), *plan.models),
    )
    yield from (Choice(*one) for one in itertools.product(*map(dict.fromkeys, lists)))


@dataclass(frozen=True)
class _Scored:
    """Scores of one exclusion and outcome, or why there are none."""

    data: PhaseScores | None
    rows: pd.DataFrame
    columns: Columns | None
    clusters: Clusters | None = None
    reason: str = ""


@dataclass
class Alternatives:
    """Contrasts of one pair of groups by choice; scores and covariates are made once each.

    Parameters
    ----------
    study : Study
        The study.
    table : DataFrame
        Its trials with a column ``stage``.
    question : Question
        What the plan asks.
    pair : tuple of (str, str)
        Group and reference of the primary comparison.
    level : float
        Level of intervals.
    """

    study: Study
    table: pd.DataFrame
    question: Question
    pair: tuple[str, str]
    level: float
    _scored: dict[tuple[str, str], _Scored] = field(default_factory=dict)
    _adjusted: dict[tuple[str, str, tuple[str, ...]], Covariates | None] = field(
        default_factory=dict
    )

    def contrast(self, choice: Choice) -> Row | str:
        """The contrast of a combination, or why it can't be computed."""
        stage = self.question.primary_stage
        assert stage is not None
        key = (choice.exclusion, choice.outcome)
        if key not in self._scored:
            self._scored[key] = self._scores(*key)
        scored = self._scored[key]
        if scored.data is None:
            return scored.reason
        try:
            row = alternative_contrast(
                scored.data,
                self.pair,
                phase=stage.name,
                baseline=self.question.baseline,
                model=choice.model,
                effect=choice.effect,
                covariates=self._covariates(scored, choice),
                clusters=scored.clusters,
                level=self.level,
            )
        except (InputError, FitError) as problem:
            return _cause(problem)
        return row if np.isfinite(row["p"]) else str(row["reason"] or "it has no test")

    def outcome(self, name: str) -> Outcome:
        """An outcome of the plan."""
        found = self.question.design.outcome(name)
        assert found is not None
        return found

    def _covariates(self, scored: _Scored, choice: Choice) -> Covariates | None:
        key = (choice.exclusion, choice.outcome, choice.covariates)
        if key not in self._adjusted:
            assert scored.data is not None and scored.columns is not None
            if choice.covariates and scored.clusters is not None:
                raise InputError("covariates of people do not go with classes that were allocated")
            rows = with_columns(scored.rows, self._people(choice.covariates), choice.covariates)
            self._adjusted[key] = covariates_of(
                rows, scored.columns, scored.data, choice.covariates
            )
        return self._adjusted[key]

    def _people(self, names: tuple[str, ...]) -> pd.DataFrame:
        """A table that holds the columns of covariates: trials, or the file of participants."""
        people, table = self.study.participants, self.table
        for name in names:
            if name in table or name == "participant":
                continue
            if people is None or name not in people:
                raise InputError(f"covariate {name!r} is in no file")
            known = people.drop_duplicates("participant").set_index("participant")[name]
            table = table.assign(**{name: table["participant"].map(known)})
        return table

    def _scores(self, exclusion: str, outcome: str) -> _Scored:
        design, stage = self.question.design, self.question.primary_stage
        assert stage is not None and design.multiverse is not None
        rule = next((r for r in design.multiverse.exclusions if r.rule == exclusion), None)
        phases = [name for name in (self.question.baseline, stage.name) if name is not None]
        try:
            table = _without(self.table, rule, self.study) if rule is not None else self.table
            scores = scores_of(table, self.outcome(outcome), design)
            rows, told = scores.stage_rows, (scores.attempts, scores.out_of)
            columns = Columns(scores.column, "group", "stage", "participant", *told)
            data = score_participants(
                rows, columns, phases=phases, groups=list(self.question.groups)
            )
            if rule is not None and rule.beyond_sd is not None:
                data = _within_spread(data, rule.beyond_sd)
            unit = design.allocation.clusters or "participant"
            data, clusters = unit_scores(rows, columns, data, unit)
        except InputError as problem:
            return _Scored(None, self.table, None, reason=_cause(problem))
        return _Scored(data, rows, columns, clusters)


def _cause(problem: InputError | FitError) -> str:
    return str(getattr(problem, "cause", problem))


def _without(table: pd.DataFrame, rule: AlternativeExclusion, study: Study) -> pd.DataFrame:
    """Trials with a reason in ``void`` where another exclusion leaves them out, or none again."""
    if rule.beyond_sd is not None:
        return table
    void = table[VOID].copy() if VOID in table else pd.Series(pd.NA, table.index, dtype="str")
    if rule.undo:
        planned = {entry.rule: entry.reason for entry in study.design.exclusions}
        meant = (void == planned[rule.rule]).fillna(False).to_numpy(dtype=bool)
        told: Any = pd.NA
    else:
        absent = rule.column and rule.column not in table
        if absent:
            raise InputError(f"the trials have no column {rule.column!r}")
        meant, told = rows_of_rule(rule, rule.column, table, study.design), rule.rule
    if not meant.any():
        raise InputError("the rule touches no trial, so this would be the plan's own choice again")
    return table.assign(**{VOID: void.mask(pd.Series(meant, index=table.index), told)})


def _within_spread(data: PhaseScores, beyond: float) -> PhaseScores:
    """Scores without people beyond so many standard deviations of their group at either test."""
    out = np.zeros(len(data.codes), dtype=bool)
    for code in range(len(data.groups)):
        mine = data.codes == code
        scores = data.scores[mine]
        enough = (~np.isnan(scores)).sum(axis=0) > 2
        for place in np.flatnonzero(enough):
            one = scores[:, place]
            away = np.abs(one - np.nanmean(one)) > beyond * np.nanstd(one, ddof=1)
            out[np.flatnonzero(mine)[away]] = True
    if not out.any():
        raise InputError(
            f"nobody lies beyond {beyond:g} SD, so this would be the plan's own choice again"
        )
    scores = np.where(out[:, None], np.nan, data.scores)
    return replace(data, scores=scores, trials=np.where(out[:, None], 0, data.trials))
