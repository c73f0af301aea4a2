"""What this study asks of an outcome: which tests, which groups, what effect, which bound."""

from dataclasses import dataclass
from typing import Any

import pandas as pd

from motorlearn.analysis.scores import RATES, OutcomeScores
from motorlearn.design import Design, Outcome, Stage
from motorlearn.exceptions import InputError
from motorlearn.vocabulary import PRACTICE_PHASE


@dataclass(frozen=True)
class Question:
    """How the outcomes of a study are compared; the plan read once.

    Parameters
    ----------
    design : Design
        The plan.
    stages : tuple of Stage
        Parts of the study that have trials, in the order of the plan.
    groups : tuple of str
        Groups of the plan that have trials, in the order of the plan.
    """

    design: Design
    stages: tuple[Stage, ...]
    groups: tuple[str, ...]

    @property
    def tests(self) -> tuple[Stage, ...]:
        """Tests that have trials."""
        return tuple(stage for stage in self.stages if stage.phase != PRACTICE_PHASE)

    @property
    def primary_outcome(self) -> str:
        """Name of the primary outcome: the declared one, else the first of the plan."""
        primary = self.design.primary
        return primary.outcome if primary is not None else self.design.outcomes[0].name

    @property
    def outcomes(self) -> tuple[Outcome, ...]:
        """Outcomes of the plan, the primary one first."""
        first = self.primary_outcome
        return tuple(sorted(self.design.outcomes, key=lambda outcome: outcome.name != first))

    def role(self, outcome: str) -> str:
        """Role of an outcome: primary, secondary where an analysis of it is planned, else open."""
        if outcome == self.primary_outcome:
            return "primary"
        planned = {entry.outcome for entry in self.design.analyses}
        return "secondary" if outcome in planned else "exploratory"

    @property
    def primary_stage(self) -> Stage | None:
        """Test of the primary comparison, if it has trials.

        The declared one; where none is declared, the last delayed test, else the last test.
        """
        primary = self.design.primary
        if primary is None:
            late = [stage for stage in self.tests if stage.is_delayed] or list(self.tests)
            return late[-1] if late else None
        mine = [stage for stage in self.tests if stage.phase == primary.phase]
        if primary.test:
            mine = [s for s in mine if s.test is not None and s.test.name == primary.test]
        return mine[-1] if mine else None

    @property
    def baseline(self) -> str | None:
        """Stage that scores are adjusted for, where it has trials."""
        primary = self.design.primary
        wanted = primary.baseline if primary is not None else "pretest"
        found = [stage.name for stage in self.tests if wanted in (stage.name, stage.phase)]
        return found[-1] if found else None

    @property
    def reference(self) -> str:
        """Group that others are compared with: the primary's second, else the first."""
        primary = self.design.primary
        named = primary.groups if primary is not None else ()
        return named[1] if len(named) > 1 and named[1] in self.groups else self.groups[0]

    @property
    def pair(self) -> tuple[str, str] | None:
        """The two tests whose change is told: the first, and the primary or last one."""
        if len(self.tests) < 2:
            return None
        late = self.primary_stage
        last = late if late is not None and late != self.tests[0] else self.tests[-1]
        return self.tests[0].name, last.name

    def effect(self, outcome: str) -> str:
        """Scale of the comparison; the primary outcome's is declared."""
        primary = self.design.primary
        return (
            primary.effect if primary is not None and primary.outcome == outcome else "difference"
        )

    def variance(self, outcome: str) -> str:
        """Whether groups may differ in spread in the analysis of covariance; of the primary."""
        primary = self.design.primary
        mine = primary is not None and primary.outcome == outcome
        return primary.variance if primary is not None and mine else "equal"

    def bound(self, scores: OutcomeScores) -> float | None:
        """Smallest effect of interest on the scale of the scores; of the primary outcome only.

        A bound in hits for an outcome that is told as a rate is put in rates.
        """
        primary, smallest = self.design.primary, self.design.smallest_effect
        if primary is None or smallest is None or primary.outcome != scores.outcome.name:
            return None
        value = smallest.value
        if primary.effect == "ratio":
            return 1 / value if value < 1 else value
        if scores.outcome.name in RATES and value >= 1:
            tests = [test for test in self.design.tests if test.phase == primary.phase]
            return value / tests[-1].trials
        return value

    def options(self, scores: OutcomeScores) -> dict[str, Any]:
        """Options of the comparison of phases for one outcome."""
        primary = self.design.primary
        named = primary is not None and bool(primary.groups)
        return {
            "group": "group",
            "phase": "stage",
            "baseline": self.baseline,
            "attempts": scores.attempts,
            "out_of": scores.out_of,
            "phases": [stage.name for stage in self.stages],
            "groups": list(self.groups),
            "reference": self.reference,
            "pairs": "reference" if named else "all",
            "better": scores.outcome.better,
            "effect": self.effect(scores.outcome.name),
            "variance": self.variance(scores.outcome.name),
            "equivalence": self.bound(scores),
        }


def question_of(design: Design, table: pd.DataFrame, stages: tuple[Stage, ...]) -> Question:
    """Read from plan and trials what can be asked.

    Raises
    ------
    InputError
        If two outcomes of the plan are one column, or a group that the primary comparison names
        has no trials.
    """
    present = set(table["group"].dropna().astype("str"))
    groups = tuple(name for name in design.group_names if name in present)
    named = design.primary.groups if design.primary is not None else ()
    absent = [name for name in named if name not in present]
    if absent:
        raise InputError(
            "a group of the primary comparison has no trials",
            absent,
            "add its rows, or correct primary.groups in study.toml or the column 'group'",
        )
    _refuse_twins(design)
    return Question(design, stages, groups or tuple(sorted(present)))


def _refuse_twins(design: Design) -> None:
    names = [outcome.name for outcome in design.outcomes]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(
            "two outcomes of the plan are one column",
            twice,
            "keep one [[outcomes]] entry for each column in study.toml",
        )
