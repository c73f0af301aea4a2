"""What one outcome of a study shows: comparison, practice, scores by cell, people's changes."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.analysis.allocated import refuse_conditions, tested_by
from motorlearn.analysis.crossed import with_columns
from motorlearn.analysis.points import points_of
from motorlearn.analysis.questions import Asked, Question
from motorlearn.analysis.scores import OutcomeScores
from motorlearn.compare import BlockComparison, PhaseComparison, compare_blocks, compare_phases
from motorlearn.design import Outcome
from motorlearn.exceptions import InputError
from motorlearn.linear import holm
from motorlearn.measures import IndividualChanges, individual_changes
from motorlearn.results import Refused, or_refused, register_record
from motorlearn.trials import no_cuts
from motorlearn.vocabulary import PRACTICE_PHASE

OUTCOME_COLUMNS = ("outcome", "column", "attempts", "unit", "scale", "better", "role")


@register_record
@dataclass(frozen=True)
class OutcomeAnalysis:
    """What is known about one outcome.

    Attributes
    ----------
    name, column : str
        Name in the plan, and the column or measure its scores come from.
    attempts : str or None
        Column of attempts, where the score is hits among attempts.
    out_of : float or None
        Hits are told as hits of so many.
    unit, label, better, role, effect : str
        Unit and name of the scores, direction of better, role in the plan, scale of the effect.
    low, high : float or None
        Limits of the scale.
    comparison : PhaseComparison or Refused
        Groups at every part of the study.
    practice : BlockComparison or Refused
        Groups over blocks of practice.
    cells : DataFrame
        Participants' scores by block of practice and by test.
    points, by_task : DataFrame
        Group means of these cells, and by task.
    changes : IndividualChanges or Refused
        Change of each person between the first and the primary test, by own limits.
    change_stages : tuple of (str, str) or None
        These two tests.
    time_rules : mapping or None
        Rules of the plan for a time, by the names they have there.
    cuts : DataFrame
        What these left out: ``rule, group, people, cut, times, most_of_one``; empty without rules.
    """

    name: str
    column: str
    attempts: str | None
    out_of: float | None
    unit: str
    label: str
    better: str
    role: str
    effect: str
    low: float | None
    high: float | None
    comparison: PhaseComparison | Refused
    practice: BlockComparison | Refused
    cells: pd.DataFrame = field(repr=False)
    points: pd.DataFrame = field(repr=False)
    by_task: pd.DataFrame = field(repr=False)
    changes: IndividualChanges | Refused
    change_stages: tuple[str, str] | None
    time_rules: Mapping[str, Any] | None = None
    cuts: pd.DataFrame = field(default_factory=no_cuts, repr=False)

    @property
    def outcome(self) -> Outcome:
        """The outcome with the unit and label that its scores have."""
        return Outcome(
            name=self.name, unit=self.unit, better=self.better, label=self.label,  # type: ignore[arg-type]
            low=self.low, high=self.high,
        )  # fmt: skip

    @property
    def is_rate(self) -> bool:
        """Whether scores are shares of attempts."""
        return self.attempts is not None and self.out_of is None

    @property
    def scale(self) -> str:
        """What the scores are told in."""
        if self.out_of is not None:
            return f"hits of {self.out_of:g}"
        return "rate" if self.is_rate else self.unit

    @property
    def person_changes(self) -> pd.DataFrame:
        """Change of everybody between ``change_stages``, with own limits where these are known.

        ``participant, group, change, conf_low, conf_high, verdict``, in the unit of the scores.
        """
        names = ["participant", "group", "change", "conf_low", "conf_high", "verdict"]
        if self.change_stages is None:
            return pd.DataFrame(columns=names)
        wide = self.cells.pivot_table(
            index=["participant", "group"],
            columns="phase",
            values="score",
            observed=True,
            sort=False,
        ).reindex(columns=list(self.change_stages))
        first, second = self.change_stages
        changes = (wide[second] - wide[first]).rename("change").reset_index()
        if isinstance(self.changes, Refused):
            return changes.assign(conf_low=np.nan, conf_high=np.nan, verdict=None)[names]
        own = self.changes.people.set_index("participant").reindex(changes["participant"])
        scale = self.out_of or 1.0
        return changes.assign(
            conf_low=(own["conf_low"] * scale).to_numpy(),
            conf_high=(own["conf_high"] * scale).to_numpy(),
            verdict=own["verdict"].to_numpy(),
        )[names]


NOT_ON_PAGE = Refused("not computed, since the supervisor's page does not show it")


def analyse_outcome(
    scores: OutcomeScores,
    asked: Asked,
    question: Question,
    *,
    practice: bool = True,
) -> OutcomeAnalysis:
    """Compute everything that the study asks of one outcome, blocks of practice where asked."""
    outcome = scores.outcome
    return OutcomeAnalysis(
        name=outcome.name,
        column=scores.column,
        attempts=scores.attempts,
        out_of=scores.out_of,
        unit=outcome.unit,
        label=outcome.label,
        better=outcome.better,
        role=asked.role,
        effect=asked.effect,
        low=outcome.low,
        high=outcome.high,
        comparison=compared(scores, asked, question),
        practice=_practice(scores, question) if practice else NOT_ON_PAGE,
        changes=_changes(scores, question),
        change_stages=question.pair,
        time_rules=None if outcome.times is None else outcome.times.model_dump(),
        cuts=no_cuts() if scores.timed is None else scores.timed.cuts,
        **points_of(scores, question),
    )


def options_of(scores: OutcomeScores, asked: Asked, question: Question) -> dict[str, Any]:
    """Options by which :func:`motorlearn.compare_phases` compares an outcome as the plan asks."""
    primary = question.design.primary
    tested = tested_by(scores.table, question.design)
    return tested | {
        "phase": "stage",
        "baseline": question.baseline,
        "attempts": scores.attempts,
        "out_of": scores.out_of,
        "phases": [stage.name for stage in question.stages],
        "groups": list(question.groups),
        "reference": question.reference,
        "pairs": "reference" if primary is not None and primary.groups else "all",
        "better": scores.outcome.better,
        "effect": asked.effect,
        "variance": asked.variance,
        "equivalence": asked.bound,
        "equivalence_unit": asked.bound_unit,
        "covariates": asked.covariates,
        "factors": question.factors,
        "anova_phases": question.anova_stages,
    }


@or_refused
def compared(scores: OutcomeScores, asked: Asked, question: Question) -> PhaseComparison:
    """Groups at every part of the study, as the plan asks."""
    _refuse_single_cases(question)
    options = options_of(scores, asked, question)
    rows = with_columns(scores.stage_rows, scores.table, asked.covariates)
    found = compare_phases(rows, scores.column, **options)
    primary = question.design.primary
    if asked.role != "primary" or primary is None:
        return found
    return replace(found, contrasts=_primary_alone(found.contrasts, question))


def _refuse_single_cases(question: Question) -> None:
    if question.design.single_case is not None:
        raise InputError(
            "a single case is compared session by session, not person by person",
            remedy="see its own part of the analysis, single_cases",
        )


def _primary_alone(contrasts: pd.DataFrame, question: Question) -> pd.DataFrame:
    """The one primary contrast is a family of its own; the others at its test are corrected."""
    stage, primary = question.primary_stage, question.design.primary
    if stage is None or primary is None or len(primary.groups) != 2:
        return contrasts
    named = contrasts["group"].isin(primary.groups) & contrasts["reference"].isin(primary.groups)
    at = contrasts["phase"] == stage.name
    p_adjusted = contrasts["p_adjusted"].copy()
    for adjusted in (False, True):
        family = at & (contrasts["adjusted"] == adjusted)
        p_adjusted[family & named] = contrasts["p"][family & named]
        others = contrasts["p"][family & ~named]
        if len(others):
            p_adjusted[others.index] = holm(others.to_numpy(dtype=float))
    return contrasts.assign(p_adjusted=p_adjusted)


@or_refused
def _practice(scores: OutcomeScores, question: Question) -> BlockComparison:
    _refuse_single_cases(question)
    if not (scores.table["phase"] == PRACTICE_PHASE).any():
        raise InputError("no trials of practice were recorded")
    if not scores.blocks:
        raise InputError(
            "the rows of practice carry neither block nor session",
            remedy="add a column 'block' or 'session' to see change over practice",
        )
    tested = tested_by(scores.table, question.design)
    tested.pop("period", None)
    return compare_blocks(
        scores.practice_rows,
        scores.column,
        **tested,
        block=scores.blocks,
        attempts=scores.attempts,
        out_of=scores.out_of,
        groups=list(question.groups),
        factors=question.factors,
    )


@or_refused
def _changes(scores: OutcomeScores, question: Question) -> IndividualChanges:
    refuse_conditions(question.design, "the change of each person")
    if question.pair is None:
        raise InputError("there is one test only, so nobody's change can be told")
    if scores.measured:
        raise InputError(
            f"{scores.column} is one value a test, without a spread of trials to judge a person's "
            "change by"
        )
    return individual_changes(
        scores.table,
        scores.column,
        tests=question.pair,
        better=scores.outcome.better,
        phase="stage",
    )


def outcomes_frame(details: Iterable[OutcomeAnalysis]) -> pd.DataFrame:
    """One row per outcome: ``outcome, column, attempts, unit, scale, better, role``."""
    rows = [
        [entry.name if name == "outcome" else getattr(entry, name) for name in OUTCOME_COLUMNS]
        for entry in details
    ]
    return pd.DataFrame(rows, columns=list(OUTCOME_COLUMNS))
