"""What the analysis of a study gives: one answer that everybody shows."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import pandas as pd

from motorlearn.analysis.interim import InterimLook
from motorlearn.analysis.landmarks import LandmarkScores
from motorlearn.analysis.multiverse import Multiverse
from motorlearn.analysis.outcome import OUTCOME_COLUMNS, OutcomeAnalysis, options_of
from motorlearn.analysis.people import People
from motorlearn.analysis.questionnaires import QuestionnaireAnalysis, results_of
from motorlearn.analysis.questions import Question
from motorlearn.analysis.scores import OutcomeScores
from motorlearn.analysis.speed import SpeedBeside
from motorlearn.analysis.technique import TechniqueChange
from motorlearn.analysis.variability import SpreadBeside
from motorlearn.audit import Audit, Sensitivity
from motorlearn.compare import PhaseComparison, SingleCase, schemas
from motorlearn.compare.crossing import JOINT
from motorlearn.curves import CurveFits, PopulationCurve
from motorlearn.design import Design, Stage
from motorlearn.measures import Agreement
from motorlearn.mixed import MixedFit
from motorlearn.plan import compare_with_plan
from motorlearn.results import Recipe, Refused, Result, encode
from motorlearn.tables import Column, Table
from motorlearn.trials import Study


@dataclass(frozen=True)
class StudyAnalysis(Result):
    """Everything that a study asks, answered once.

    Attributes
    ----------
    study : Study
        What was analysed; not part of the JSON.
    question : Question
        What the plan asks of these data; not part of the JSON.
    table : DataFrame
        Trials with a column ``stage``; not part of the JSON.
    scores : OutcomeScores
        Rows and columns that the primary outcome is made from; not part of the JSON.
    primary : DataFrame
        One row: ``outcome, phase, test, group, reference, effect, null, estimate, conf_low,
        conf_high, df, statistic, p, g, n_group, n_reference``. In a study of one group the
        ``reference`` is the earlier test of the paired change. Where it could not be computed the
        numbers are missing and ``refused`` says why.
    refused : str
        Why there is no primary answer; empty where there is one.
    adjusted : bool
        Whether the primary row is adjusted for the baseline.
    method : str
        How the primary row was computed.
    equivalence : DataFrame
        Two one-sided tests of the primary row; empty where no bound was declared.
    outcomes : DataFrame
        ``outcome, column, attempts, unit, scale, better, role``, the primary one first.
    details : mapping of str to OutcomeAnalysis
        By outcome: comparison, practice, scores by cell, change of each person.
    people : People
        Roster, presence, flow, attrition.
    raters : Agreement, Refused or None
        Agreement of raters; None where nothing was rated.
    landmarks : LandmarkScores, Refused or None
        Clips scored from landmarks beside the raters; None where the plan asks for none.
    mixed : MixedFit or Refused
        Mixed model of trials at the first and the primary test.
    mixed_audit : Audit, Refused or None
        Assumptions of that model.
    curves, population : CurveFits, PopulationCurve, Refused or None
        Learning curves of practice; None where practice is too short for one.
    technique, speed : TechniqueChange, SpeedBeside, Refused or None
        What stands beside the primary outcome; None where nothing was rated, or no speed noted.
    audit : Audit or Refused
        Assumptions of the primary comparison.
    sensitivity : Sensitivity, Refused or None
        The primary conclusion in other defensible ways; None in a study of one group.
    multiverse : Multiverse, Refused or None
        The primary comparison in every combination of choices that the plan declares; None where
        it declares no alternatives.
    interim : InterimLook, Refused or None
        Which look of a planned sequence this is; None where the plan declares no looks.
    single_cases : mapping of str to SingleCase or Refused
        By outcome, where the plan has a section ``single_case``; else empty.
    spreads : mapping of str to SpreadBeside or Refused
        By outcome that is a variable error: the model of level and spread of its trials.
    questionnaires : sequence of QuestionnaireAnalysis
        Scale scores, alpha and omega, change over times of every questionnaire of the plan.
    recipe : Recipe
        How it was made.
    """

    study: Study = field(repr=False)
    question: Question = field(repr=False)
    table: pd.DataFrame = field(repr=False)
    scores: OutcomeScores = field(repr=False)
    primary: pd.DataFrame
    refused: str
    adjusted: bool
    method: str
    equivalence: pd.DataFrame
    outcomes: pd.DataFrame
    details: Mapping[str, OutcomeAnalysis] = field(repr=False)
    people: People = field(repr=False)
    raters: Agreement | Refused | None = field(repr=False)
    landmarks: LandmarkScores | Refused | None = field(repr=False)
    mixed: MixedFit | Refused = field(repr=False)
    mixed_audit: Audit | Refused | None = field(repr=False)
    curves: CurveFits | Refused | None = field(repr=False)
    population: PopulationCurve | Refused | None = field(repr=False)
    technique: TechniqueChange | Refused | None = field(repr=False)
    speed: SpeedBeside | Refused | None = field(repr=False)
    audit: Audit | Refused = field(repr=False)
    sensitivity: Sensitivity | Refused | None = field(repr=False)
    multiverse: Multiverse | Refused | None = field(repr=False)
    interim: InterimLook | Refused | None = field(repr=False)
    single_cases: Mapping[str, SingleCase | Refused] = field(repr=False)
    spreads: Mapping[str, SpreadBeside | Refused] = field(repr=False)
    questionnaires: Sequence[QuestionnaireAnalysis] = field(repr=False)
    recipe: Recipe = field(repr=False)

    @property
    def design(self) -> Design:
        """The plan."""
        return self.study.design

    @property
    def stages(self) -> tuple[Stage, ...]:
        """Parts of the study that have trials."""
        return self.question.stages

    @cached_property
    def departures(self) -> pd.DataFrame:
        """What was done otherwise than planned; computed when it is first asked for."""
        return compare_with_plan(self.study).table

    @property
    def groups(self) -> list[str]:
        """Groups that have people, in the order of the plan."""
        present = set(self.people.roster["group"].astype("str"))
        planned = [name for name in self.design.group_names if name in present]
        return planned + sorted(present - set(planned))

    @property
    def allocated(self) -> dict[str, int]:
        """People allocated to each group."""
        counts = self.people.roster["group"].value_counts()
        return {group: int(counts.get(group, 0)) for group in self.groups}

    @property
    def first(self) -> OutcomeAnalysis:
        """Analysis of the primary outcome."""
        return next(iter(self.details.values()))

    @property
    def options(self) -> dict[str, Any]:
        """Options of :func:`motorlearn.compare_phases` by which the primary outcome is compared."""
        return options_of(self.scores, self.question.outcomes[0], self.question)

    @property
    def comparisons(self) -> dict[str, PhaseComparison | Refused]:
        """Comparison of phases by outcome."""
        return {name: entry.comparison for name, entry in self.details.items()}

    @property
    def beside(self) -> dict[str, Any]:
        """What stands beside the comparisons, by name; what the study has no data for is absent."""
        named: dict[str, Any] = {
            **{f"{name}: single case": found for name, found in self.single_cases.items()},
            **results_of(self.questionnaires),
            **{f"{name}: model of spread": found for name, found in self.spreads.items()},
            "technique": self.technique,
            "speed": self.speed,
            "agreement": self.raters,
            "landmarks": self.landmarks,
            "assumptions": self.audit,
            "sensitivity": self.sensitivity,
            "multiverse": self.multiverse,
            "interim look": self.interim,
            "curves": self.curves,
            "population curve": self.population,
            "mixed model": self.mixed,
            "assumptions of the mixed model": self.mixed_audit,
        }
        away = ("mixed model",) if self.single_cases else ()
        return {k: result for k, result in named.items() if result is not None and k not in away}

    def tables(self) -> Sequence[Table]:
        """The primary answer, then the outcomes."""
        notes = (f"Not computed: {self.refused}",) if self.refused else (self.method,)
        return (
            Table("primary", "Primary comparison", _PRIMARY, self.primary, notes),
            Table("outcomes", "Outcomes of the study", _OUTCOMES, self.outcomes),
        )

    def __repr__(self) -> str:
        row = self.primary.iloc[0]
        what = f"StudyAnalysis of {self.design.study.title!r}: {self.people.count} people"
        if self.refused:
            return f"{what}; primary comparison not computed: {self.refused}"
        size = (
            f"{row['group']} against {row['reference']}: {row['effect']} {row['estimate']:.4g} "
            f"[{row['conf_low']:.4g}, {row['conf_high']:.4g}]"
        )
        if row["effect"] == JOINT:
            size = f"{row['group']}: F {row['statistic']:.4g}"
        return (
            f"{what}; {row['outcome']} at {row['test']}, {size}, p {row['p']:.3g}. "
            "See .primary, .outcomes, .comparisons, .people, .audit; print() shows tables."
        )

    def to_json(self) -> str:
        """Write what was computed as JSON; the study itself stays in its files."""
        stored = {
            name: encode(value)
            for name, value in vars(self).items()
            if name not in ("study", "question", "table", "scores")
        }
        return json.dumps({"result": type(self).__name__, **stored}, ensure_ascii=False)


_PRIMARY = (
    Column("outcome"),
    Column("phase"),
    Column("test"),
    *schemas.PAIR,
    schemas.ESTIMATE,
    *schemas.INTERVAL,
    *schemas.T,
    schemas.G[0],
    *schemas.SIZES,
)
_OUTCOMES = tuple(Column(name) for name in OUTCOME_COLUMNS)
