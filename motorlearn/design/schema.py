"""A whole study plan: its sections held against each other, and its table in a notebook."""

from typing import Any, Self

import pandas as pd
from pydantic import Field, model_validator

from motorlearn.design.allocation import Allocation, Schedules
from motorlearn.design.exclusions import Exclusion, Replacement
from motorlearn.design.factors import (
    Factor,
    check_factors,
    check_primary_factors,
    primary_words,
    with_cells,
)
from motorlearn.design.interim import InterimPlan
from motorlearn.design.landmarks import LandmarkClips
from motorlearn.design.multiverse import MultiversePlan
from motorlearn.design.outcomes import Outcome
from motorlearn.design.practice import Practice, drills_in, sessions_of
from motorlearn.design.programme import (
    AnovaPlan,
    Assumptions,
    Checklist,
    CurvePlan,
    Drill,
    Load,
    PlannedAnalysis,
    Programme,
    Sample,
    StoppingRule,
    check_lengths,
    check_skill,
)
from motorlearn.design.questionnaires import QuestionnairePlan
from motorlearn.design.recipe import ImportRecipe
from motorlearn.design.sections import (
    Files,
    Group,
    Primary,
    Skill,
    StudySection,
    Target,
    Task,
    Test,
    Threshold,
)
from motorlearn.design.single_case import PlanOfAny, SingleCasePlan
from motorlearn.design.smallest import SmallestEffect
from motorlearn.design.within import WithinPeople, check_within, counterbalanced
from motorlearn.digits import count
from motorlearn.tables import Column, Table, to_html
from motorlearn.vocabulary import TEST_PHASES


class Design(PlanOfAny):
    """A whole study plan."""

    study: StudySection
    skill: Skill = Skill()
    sample: Sample = Sample()
    factors: tuple[Factor, ...] = ()
    groups: tuple[Group, ...] = Field(min_length=1)
    within: WithinPeople | None = None
    tasks: tuple[Task, ...] = ()
    target: Target | None = None
    programme: Programme | None = None
    drills: tuple[Drill, ...] = ()
    checklist: Checklist | None = None
    landmarks: LandmarkClips | None = None
    practice: tuple[Practice, ...] = ()
    single_case: SingleCasePlan | None = None
    tests: tuple[Test, ...] = Field(default=(), validate_default=True)
    outcomes: tuple[Outcome, ...] = Field(min_length=1)
    questionnaires: tuple[QuestionnairePlan, ...] = ()
    primary: Primary | None = None
    smallest_effect: SmallestEffect | None = None
    assumptions: Assumptions | None = None
    analyses: tuple[PlannedAnalysis, ...] = ()
    anova: AnovaPlan = AnovaPlan()
    curve: CurvePlan = CurvePlan()
    exclusions: tuple[Exclusion, ...] = ()
    replacements: tuple[Replacement, ...] = ()
    multiverse: MultiversePlan | None = None
    interim: InterimPlan | None = None
    thresholds: tuple[Threshold, ...] = ()
    stopping: tuple[StoppingRule, ...] = ()
    load: Load = Load()
    allocation: Allocation = Allocation()
    schedules: Schedules = Schedules()
    units: dict[str, str] = Field(default_factory=dict)
    files: Files = Files()
    recipe: ImportRecipe | None = Field(default=None, alias="import")

    def _repr_html_(self) -> str:
        return to_html(plan_table(self))

    @property
    def group_names(self) -> tuple[str, ...]:
        """Names of the groups in the order of the plan."""
        return tuple(group.name for group in self.groups)

    @property
    def sequences(self) -> tuple[tuple[str, ...], ...]:
        """Orders in which people meet the groups; none where each person is in one group."""
        if self.within is None:
            return ()
        return self.within.sequences or counterbalanced(self.group_names)

    @property
    def phases(self) -> tuple[str, ...]:
        """Phases the plan contains, in the order of a study."""
        present = {test.phase for test in self.tests}
        practised = ("acquisition",) if self.practice else ()
        order = ("pretest", *practised, *(phase for phase in TEST_PHASES if phase != "pretest"))
        return tuple(phase for phase in order if phase in present or phase == "acquisition")

    def drills_in(self, week: int, group: str | None = None) -> tuple[Drill, ...]:
        """Drills practised in a week of the programme, by everybody or by one group."""
        drills = (d for d in self.drills if group is None or not d.groups or group in d.groups)
        return drills_in(week, tuple(drills))

    def practice_of(self, group: str) -> tuple[Practice, ...]:
        """Practice sessions of one group."""
        return tuple(entry for entry in self.practice if entry.is_of(group))

    @property
    def practice_is_shared(self) -> bool:
        """Whether all groups practise the same sessions, their orders of tasks apart."""
        return all(set(self.group_names) <= set(e.groups) for e in self.practice if e.groups)

    @property
    def last_practice_day(self) -> float | None:
        """Day of the last practice session, where there is any practice."""
        return max((session.day for session in self.practice), default=None)

    def test(self, phase: str) -> Test | None:
        """Find the last test of a phase."""
        return next((test for test in reversed(self.tests) if test.phase == phase), None)

    @property
    def has_delayed_test(self) -> bool:
        """Whether any test can speak about learning."""
        return any(test.is_delayed for test in self.tests)

    def outcome(self, name: str) -> Outcome | None:
        """Find an outcome by name."""
        return next((entry for entry in self.outcomes if entry.name == name), None)

    @model_validator(mode="before")
    @classmethod
    def _groups_are_cells(cls, content: Any) -> Any:
        return with_cells(content)

    @model_validator(mode="after")
    def _names_agree(self) -> Self:
        check_factors(self.factors, self.groups)
        check_within(
            self.within,
            self.group_names,
            clusters=self.allocation.clusters,
            factors=len(self.factors),
        )
        named = (
            ("group", self.group_names),
            ("task", [task.name for task in self.tasks]),
            ("drill", [drill.name for drill in self.drills]),
            ("questionnaire", [entry.name for entry in self.questionnaires]),
        )
        for what, names in named:
            twice = sorted({name for name in names if list(names).count(name) > 1})
            if twice:
                raise ValueError(f"{what} named twice: {', '.join(twice)}")
        if self.anova.parts == "tests" and len(self.tests) < 2:
            raise ValueError("anova.parts = 'tests' needs two tests; take it out")
        check_skill(self.skill.phases, self.skill.faults, self.drills, self.checklist)
        check_lengths(self.drills, self.units.get("length", ""))
        if self.drills and self.programme is None and not self.practice:
            raise ValueError("there are drills but no programme; say how many weeks and sessions")
        self._groups_are_known()
        if any(drill.trials_per_session for drill in self.drills):
            self._take_dose_from_drills()
        if self.single_case is not None:
            self.__dict__["practice"] = self.single_case.sessions_of(self.practice, self.primary)
        if self.primary is not None:
            self._primary_agrees(self.primary)
        return self

    def _groups_are_known(self) -> None:
        sessions = [(f"practice session {entry.session}", entry.groups) for entry in self.practice]
        drills = [(f"drill {drill.name!r}", drill.groups) for drill in self.drills]
        for what, named in (*sessions, *drills):
            unknown = [name for name in named if name not in self.group_names]
            if unknown:
                raise ValueError(f"{what} names groups the plan lacks: {', '.join(unknown)}")

    def _take_dose_from_drills(self) -> None:
        """Fill the practice sessions from the programme; both may be given if they agree."""
        sessions = sessions_of(self.programme, self.drills, self.group_names)
        if self.practice and self.practice != sessions:
            raise ValueError(
                "the dose is given twice, by practice sessions and by drills; keep one of them"
            )
        self.__dict__["practice"] = sessions

    def _primary_agrees(self, primary: Primary) -> None:
        check_primary_factors(primary, self.factors)
        if self.outcome(primary.outcome) is None:
            raise ValueError(
                f"primary.outcome {primary.outcome!r} is not among the outcomes: "
                f"{', '.join(entry.name for entry in self.outcomes)}"
            )
        unknown = [name for name in primary.groups if name not in self.group_names]
        if unknown:
            raise ValueError(f"primary.groups names groups the plan lacks: {', '.join(unknown)}")
        names = [test.name for test in self.tests if test.phase == primary.phase]
        if primary.test and primary.test not in names:
            raise ValueError(
                f"primary.test {primary.test!r} is not the name of a {primary.phase} test: "
                f"{', '.join(name for name in names if name) or 'none has a name'}"
            )
        if primary.phase not in self.phases:
            raise ValueError(f"primary.phase {primary.phase!r} is not a test of this plan")


def plan_table(design: Design) -> Table:
    """Question, groups, practice, tests, outcomes and the primary comparison of a plan."""
    primary, smallest = design.primary, design.smallest_effect
    asked = "none declared"
    if primary is not None:
        pair = primary_words(design) or "all groups"
        asked = f"{primary.outcome} at {primary.test or primary.phase}, {pair}, {primary.effect}"
    rows = [
        ("question", design.study.question or "not stated"),
        *([("factors", _factors(design))] if design.factors else []),
        ("groups", ", ".join(_sized(group.name, group.size) for group in design.groups)),
        *_within(design),
        ("practice", _practice(design)),
        (
            "tests",
            ", ".join(f"{test.label} ({count(test.trials, 'trial')})" for test in design.tests),
        ),
        ("outcomes", ", ".join(_unit(entry.name, entry.unit) for entry in design.outcomes)),
        ("primary comparison", asked),
        ("smallest effect", "none declared" if smallest is None else smallest.told),
    ]
    frame = pd.DataFrame(rows, columns=["part", "plan"])
    return Table("plan", design.study.title, (Column("part"), Column("plan")), frame)


def _factors(design: Design) -> str:
    return "; ".join(f"{one.words}: {', '.join(one.levels)}" for one in design.factors)


def _within(design: Design) -> list[tuple[str, str]]:
    """That people meet every group, in which orders; nothing where each is in one group."""
    if design.within is None:
        return []
    orders = "; ".join(" then ".join(order) for order in design.sequences)
    return [("within people", f"everybody meets every group, by {design.within.by}: {orders}")]


def _practice(design: Design) -> str:
    """Sessions and trials, group by group where these differ."""
    doses: dict[str, list[str]] = {}
    for name in design.group_names:
        own = design.practice_of(name)
        dose = f"{count(len(own), 'session')}, {count(sum(one.trials for one in own), 'trial')}"
        doses.setdefault(dose if own else "none", []).append(name)
    if len(doses) == 1:
        return next(iter(doses))
    return "; ".join(f"{', '.join(names)}: {dose}" for dose, names in doses.items())


def _sized(name: str, size: int | None) -> str:
    return name if size is None else f"{name} (n = {size})"


def _unit(name: str, unit: str) -> str:
    return f"{name} ({unit})" if unit else name
