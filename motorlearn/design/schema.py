"""The sections of a study plan."""

from typing import Any, Literal, Self

from pydantic import Field, model_validator

from motorlearn.design.allocation import Allocation, Schedules
from motorlearn.design.base import DAYS_IN_WEEK, Effort, Name, Section, Title
from motorlearn.design.exclusions import Exclusion, Replacement
from motorlearn.design.factors import Factor, check_factors, check_primary_factors, with_cells
from motorlearn.design.interim import InterimPlan
from motorlearn.design.landmarks import LandmarkClips
from motorlearn.design.multiverse import MultiversePlan
from motorlearn.design.outcomes import Outcome
from motorlearn.design.overview import plan_table
from motorlearn.design.practice import Practice, drills_in, sessions_of
from motorlearn.design.programme import (
    AnovaPlan,
    Assumptions,
    Checklist,
    CurvePlan,
    Drill,
    Fault,
    Load,
    PlannedAnalysis,
    Programme,
    Sample,
    SkillPhase,
    StoppingRule,
    check_lengths,
    check_skill,
)
from motorlearn.design.questionnaires import QuestionnairePlan
from motorlearn.design.recipe import ImportRecipe
from motorlearn.design.single_case import PlanOfAny, SingleCasePlan
from motorlearn.design.smallest import SmallestEffect
from motorlearn.design.within import WithinPeople, check_within, counterbalanced
from motorlearn.tables import to_html
from motorlearn.vocabulary import DELAYED_PHASES, SHORTEST_DELAY_DAYS, TEST_PHASES

Schedule = Literal[
    "blocked", "serial", "random", "constant", "variable", "increasing", "own", "none"
]


class StudySection(Section):
    """What the study is about: title, question, people in charge of it."""

    title: Title
    question: str = ""
    seed: int | None = None
    registration: str = ""
    ethics_approval: str = ""
    data_licence: str = ""


class Skill(Section):
    """Classification of the skill (Gentile 1972; Poulton 1957; common textbook scheme).

    ``phases`` and ``faults`` break it down: what each phase should look like, and what goes wrong.
    """

    name: str = ""
    timing: Literal["discrete", "serial", "continuous"] | None = None
    environment: Literal["open", "closed"] | None = None
    movement: Literal["gross", "fine"] | None = None
    phases: tuple[SkillPhase, ...] = ()
    faults: tuple[Fault, ...] = ()


class Group(Section):
    """A practice group and the schedule it practises under.

    ``yoked_to`` names the group whose choices its members were given, each those of a partner; the
    column ``pair`` says who belongs together.
    Where the plan has factors, ``levels`` are the group's, one for each factor in their order.
    """

    name: Name
    levels: tuple[str, ...] = ()
    schedule: Schedule = "own"
    size: int | None = Field(default=None, ge=1)
    yoked_to: str = ""
    description: str = ""


class Task(Section):
    """A task variant."""

    name: Name
    description: str = ""
    distance: float | None = Field(default=None, gt=0)


class Target(Section):
    """The target whose hit or miss is scored, in the unit of length."""

    radius: float = Field(gt=0)
    tolerance: float = Field(default=0.0, ge=0)


class Test(Section):
    """One test: its phase, when it is given and what it consists of.

    ``day`` counts from the first practice session (day 0); ``week`` stands for the end of that week
    of the programme; ``interval_days`` is the time since the last practice.
    """

    phase: Literal["pretest", "progress", "posttest", "retention", "transfer"]
    name: str = ""
    session: int | None = Field(default=None, ge=1)
    day: float | None = None
    week: int | None = Field(default=None, ge=1)
    trials: int = Field(ge=1)
    interval_days: float | None = Field(default=None, ge=0)
    window_days: float = Field(default=1.0, ge=0)
    feedback: bool = False
    warm_up_trials: int = Field(default=0, ge=0)
    warm_up: str = ""
    order: Literal["blocked", "serial", "random", "blocked-and-random"] = "random"
    effort: Effort = "usual"
    distance: float | None = Field(default=None, gt=0)
    blinded: bool | None = None
    description: str = ""

    @model_validator(mode="after")
    def _delayed_tests_need_a_gap(self) -> Self:
        if self.phase == "retention" and self.interval_days is not None and self.interval_days == 0:
            raise ValueError(
                "a retention test needs a gap without practice; call a test straight after "
                "practice 'posttest' and one inside the programme 'progress'"
            )
        return self

    @property
    def is_delayed(self) -> bool:
        """Whether it can speak about more than performance: its gap decides, not its name alone.

        Where the plan names no gap the phase is taken at its word.
        """
        known = self.interval_days is None or self.interval_days >= SHORTEST_DELAY_DAYS
        return self.phase in DELAYED_PHASES and known

    @property
    def planned_day(self) -> float | None:
        """Day the test is planned for: as given, or the last day of its week."""
        if self.day is None and self.week is not None:
            return self.week * DAYS_IN_WEEK - 1
        return self.day

    @property
    def label(self) -> str:
        """Name of the test as a reader sees it."""
        return self.name or self.phase


class Primary(Section):
    """The one comparison the study stands on, declared beforehand.

    ``variance = "by group"`` gives every group a residual variance of its own in the analysis of
    covariance and in the mixed model of scores, as Welch's t does: choose it where groups differ in
    size and may differ in spread.
    ``test`` is the name of the test where its phase is given more than once; the last by default.
    Three groups or more are tested together. Equivalence, non-inferiority and a minimum effect
    are against the smallest effect of interest. ``covariates`` are columns of the trials or of the
    file of participants that are adjusted for beside the baseline. In a plan with factors,
    ``factors`` names one for its main effect (``levels``: the first minus the second; by default
    the second level minus the first), averaged over the other factor, or both for their
    interaction.
    """

    outcome: Name
    phase: Literal["progress", "posttest", "retention", "transfer"] = "retention"
    test: str = ""
    groups: tuple[str, ...] = ()
    factors: tuple[str, ...] = ()
    levels: tuple[str, ...] = ()
    baseline: str | None = "pretest"
    effect: Literal["difference", "ratio"] = "difference"
    model: Literal["ancova", "linear mixed", "binomial mixed"] = "ancova"
    variance: Literal["equal", "by group"] = "equal"
    covariates: tuple[Name, ...] = ()
    aim: Literal[
        "difference", "equivalence", "non-inferiority", "superiority", "minimum effect"
    ] = "difference"


class Threshold(Section):
    """A threshold of an assumption check the study sets itself, with its source."""

    name: Name
    look: float | None = None
    act: float | None = None
    source: Name


class Files(Section):
    """Names of the data files inside the study folder."""

    trials: str = "trials.csv"
    participants: str | None = None
    ratings: str | None = None
    sessions: str | None = None


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
