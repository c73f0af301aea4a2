"""An analysis as a report tells it: each outcome with its voice, and drawings kept from before."""

from dataclasses import dataclass, field

import pandas as pd

from motorlearn.analysis import OutcomeAnalysis, StudyAnalysis, contrast_row
from motorlearn.compare import BlockComparison, PhaseComparison
from motorlearn.design import Design, Outcome, Stage, own_name_of_test
from motorlearn.report.figure_cache import Kept
from motorlearn.results import Refused
from motorlearn.trials import Study
from motorlearn.wording.voice import Voice, decimals_for

RATE_DECIMALS = 2


@dataclass(frozen=True)
class OutcomeView:
    """One outcome and how a report speaks about it."""

    analysis: OutcomeAnalysis
    voice: Voice

    @property
    def outcome(self) -> Outcome:
        """The outcome with the unit and label that its scores have."""
        return self.voice.outcome

    @property
    def comparison(self) -> PhaseComparison | Refused:
        """Groups at every part of the study."""
        return self.analysis.comparison

    @property
    def practice(self) -> BlockComparison | Refused:
        """Groups over blocks of practice."""
        return self.analysis.practice


@dataclass(frozen=True)
class StudyView:
    """What a report shows.

    Parameters
    ----------
    analysis : StudyAnalysis
        The answers.
    outcomes : tuple of OutcomeView
        The primary outcome first.
    kept : Kept
        Drawings of an earlier report that may be taken over.
    """

    analysis: StudyAnalysis
    outcomes: tuple[OutcomeView, ...]
    kept: Kept = field(default_factory=Kept)

    @property
    def study(self) -> Study:
        """What was read."""
        return self.analysis.study

    @property
    def design(self) -> Design:
        """The plan."""
        return self.analysis.design

    @property
    def table(self) -> pd.DataFrame:
        """Trials with a column ``stage``."""
        return self.analysis.table

    @property
    def stages(self) -> tuple[Stage, ...]:
        """Parts of the study that have trials."""
        return self.analysis.stages

    @property
    def groups(self) -> list[str]:
        """Groups that have people."""
        return self.analysis.groups

    @property
    def departures(self) -> pd.DataFrame:
        """What was done otherwise than planned."""
        return self.analysis.departures

    def name_of(self, phase: str) -> str:
        """A test as a reader knows it: by its own name where its phase is given more than once."""
        return own_name_of_test(self.design, phase)

    @property
    def decimal(self) -> str:
        """Decimal sign of the report."""
        return self.outcomes[0].voice.decimal


def view_of(analysis: StudyAnalysis, *, decimal: str) -> StudyView:
    """Give every outcome its voice: unit, decimals that suit its spread, names of tests."""
    outcomes = tuple(
        OutcomeView(entry, _voice(entry, analysis.design, decimal))
        for entry in analysis.details.values()
    )
    return StudyView(analysis, outcomes)


def _voice(entry: OutcomeAnalysis, design: Design, decimal: str) -> Voice:
    places = decimals_for(_spread(entry.cells))
    rate = entry.is_rate or entry.high == 1
    return Voice(design, entry.outcome, min(places, RATE_DECIMALS) if rate else places, decimal)


def _spread(cells: pd.DataFrame) -> float:
    """Smallest SD of scores in a part of the study; with one person a cell, of all scores."""
    within = cells.groupby(["group", "phase"], observed=True)["score"].std().min()
    return float(within if pd.notna(within) else cells["score"].std())


def primary_contrast(found: StudyView, entry: OutcomeView) -> pd.Series | None:
    """Contrast of an outcome that the plan asks for at the primary test, where there is one."""
    stage = found.analysis.question.primary_stage
    if isinstance(entry.comparison, Refused) or stage is None:
        return None
    return contrast_row(entry.comparison, found.analysis.question, stage.name)
