"""What this study asks of an outcome: which tests, which groups, what effect, which bound."""

from dataclasses import dataclass

import pandas as pd

from motorlearn.design import (
    Design,
    Outcome,
    Stage,
    groups_by_level,
    smallest_effect_of,
    stages_of,
)
from motorlearn.exceptions import InputError
from motorlearn.vocabulary import PRACTICE_PHASE


@dataclass(frozen=True)
class Asked:
    """What the plan asks of one outcome.

    Parameters
    ----------
    outcome : Outcome
        The entry of the plan.
    role : str
        ``primary``, ``secondary`` where an analysis of it is planned, else ``exploratory``.
    effect : str
        Scale of the comparison; the primary outcome's is declared.
    variance : str
        Whether groups may differ in spread in the analysis of covariance; of the primary outcome.
    bound : float or None
        Smallest effect of interest on the scale of the scores; of the primary outcome only.
    bound_unit : str
        ``score``, or ``sd`` where the bound is in standard deviations within groups.
    covariates : tuple of str
        Columns that are adjusted for beside the baseline; of the primary outcome.
    """

    outcome: Outcome
    role: str
    effect: str
    variance: str
    bound: float | None
    bound_unit: str = "score"
    covariates: tuple[str, ...] = ()


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
    outcomes : tuple of Asked
        Outcomes of the plan with what is asked of each, the primary one first.
    """

    design: Design
    stages: tuple[Stage, ...]
    groups: tuple[str, ...]
    outcomes: tuple[Asked, ...]

    @property
    def tests(self) -> tuple[Stage, ...]:
        """Tests that have trials."""
        return tuple(stage for stage in self.stages if stage.phase != PRACTICE_PHASE)

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
    def reference_first(self) -> list[str]:
        """Groups in the order of the plan, but the reference before the others."""
        return [self.reference, *(name for name in self.groups if name != self.reference)]

    @property
    def anova_stages(self) -> list[str] | None:
        """Stages of the analysis of variance over parts of the study; None for all."""
        if self.design.anova.parts != "tests":
            return None
        return [stage.name for stage in self.tests] or None

    @property
    def factors(self) -> dict[str, dict[str, tuple[str, ...]]] | None:
        """Groups by factor and level; None without factors, or while a cell has no trials."""
        whole = set(self.groups) == set(self.design.group_names)
        return groups_by_level(self.design) if whole else None

    @property
    def pair(self) -> tuple[str, str] | None:
        """The two tests whose change is told: the first, and the primary or last one."""
        if len(self.tests) < 2:
            return None
        late = self.primary_stage
        last = late if late is not None and late != self.tests[0] else self.tests[-1]
        return self.tests[0].name, last.name


def question_of(design: Design, table: pd.DataFrame, only: str | None = None) -> Question:
    """Read from plan and trials what can be asked, of all outcomes or of one.

    Raises
    ------
    InputError
        If two outcomes of the plan are one column, the plan has no outcome ``only``, or a group
        that the primary comparison names has no trials.
    """
    present = set(table["group"].dropna().unique().astype("str"))
    groups = tuple(name for name in design.group_names if name in present)
    named = design.primary.groups if design.primary is not None else ()
    absent = [name for name in named if name not in present]
    if absent:
        raise InputError(
            "a group of the primary comparison has no trials",
            absent,
            "add its rows, or correct primary.groups in study.toml or the column 'group'",
        )
    held = set(table["stage"].unique())
    stages = tuple(stage for stage in stages_of(design) if stage.name in held)
    return Question(design, stages, groups or tuple(sorted(present)), _outcomes(design, only))


def _outcomes(design: Design, only: str | None) -> tuple[Asked, ...]:
    names = [outcome.name for outcome in design.outcomes]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(
            "two outcomes of the plan are one column",
            twice,
            "keep one [[outcomes]] entry for each column in study.toml",
        )
    if only is not None and only not in names:
        remedy = f"its outcomes are {', '.join(names)}"
        raise InputError("the plan has no such outcome", [only], remedy)
    first = names[0] if design.primary is None else design.primary.outcome
    ordered = sorted(design.outcomes, key=lambda outcome: outcome.name != first)
    return tuple(
        _asked(outcome, design, first) for outcome in ordered if only in (None, outcome.name)
    )


def _asked(outcome: Outcome, design: Design, first: str) -> Asked:
    primary, rules = design.primary, outcome.times
    effect = "ratio" if rules is not None and rules.scale == "log" else "difference"
    if outcome.name != first:
        planned = {entry.outcome for entry in design.analyses}
        role = "secondary" if outcome.name in planned else "exploratory"
        return Asked(outcome, role, effect, "equal", None)
    if primary is None:
        return Asked(outcome, "primary", effect, "equal", None)
    smallest = design.smallest_effect
    return Asked(
        outcome,
        "primary",
        primary.effect,
        primary.variance,
        _bound(design),
        "score" if smallest is None else smallest.unit,
        primary.covariates,
    )


def _bound(design: Design) -> float | None:
    """The declared bound; one in hits for an outcome that is told as a rate is put in rates."""
    primary, value = design.primary, smallest_effect_of(design)
    if primary is None or value is None:
        return None
    if design.smallest_effect is not None and design.smallest_effect.in_sd:
        return value
    if primary.effect == "ratio":
        return 1 / value if value < 1 else value
    return value
