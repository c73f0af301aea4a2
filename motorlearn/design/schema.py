"""The sections of a study plan."""

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from motorlearn.vocabulary import DELAYED_PHASES, TEST_PHASES

Name = Annotated[str, Field(min_length=1, max_length=80)]
Schedule = Literal[
    "blocked", "serial", "random", "constant", "variable", "increasing", "own", "none"
]


class Section(BaseModel):
    """Base of every section: unknown keys are refused, values are never coerced silently."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=False)


class StudySection(Section):
    """What the study is about: title, question, people in charge of it."""

    title: Name
    question: str = ""
    seed: int | None = None
    ethics_approval: str = ""
    data_licence: str = ""


class Skill(Section):
    """Classification of the skill (Gentile 1972; Poulton 1957; common textbook scheme)."""

    name: str = ""
    timing: Literal["discrete", "serial", "continuous"] | None = None
    environment: Literal["open", "closed"] | None = None
    movement: Literal["gross", "fine"] | None = None


class Group(Section):
    """A practice group and the schedule it practises under."""

    name: Name
    schedule: Schedule = "own"
    size: int | None = Field(None, ge=1)
    description: str = ""


class Task(Section):
    """A task variant."""

    name: Name
    description: str = ""
    distance: float | None = Field(None, gt=0)


class Target(Section):
    """The target whose hit or miss is scored, in the unit of length."""

    radius: float = Field(gt=0)
    tolerance: float = Field(0.0, ge=0)


class Practice(Section):
    """One practice session."""

    session: int = Field(ge=1)
    day: float
    blocks: int = Field(1, ge=1)
    trials_per_block: int = Field(ge=1)
    feedback: str = ""
    feedback_every: int | None = Field(None, ge=0)


class Test(Section):
    """One test: its phase, when it is given and what it consists of."""

    phase: Literal["pretest", "progress", "posttest", "retention", "transfer"]
    name: str = ""
    session: int | None = Field(None, ge=1)
    day: float | None = None
    trials: int = Field(ge=1)
    interval_days: float | None = Field(None, ge=0)
    window_days: float = Field(1.0, ge=0)
    feedback: bool = False
    warm_up_trials: int = Field(0, ge=0)
    order: Literal["blocked", "serial", "random", "blocked-and-random"] = "random"
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
    def label(self) -> str:
        """Name of the test as a reader sees it."""
        return self.name or self.phase


class Outcome(Section):
    """A score: where it comes from, its unit and which direction is better."""

    name: Name
    unit: str = ""
    better: Literal["lower", "higher"]
    label: str = ""
    low: float | None = None
    high: float | None = None


class Primary(Section):
    """The one comparison the study stands on, declared beforehand."""

    outcome: Name
    phase: Literal["progress", "posttest", "retention", "transfer"] = "retention"
    groups: tuple[str, ...] = ()
    baseline: str | None = "pretest"
    effect: Literal["difference", "ratio"] = "difference"


class SmallestEffect(Section):
    """The smallest effect of interest on the scale of the primary comparison.

    For a difference, raw units (2 hits, 2.5 cm); for a ratio, the ratio that would matter (0.9
    means that one tenth less, or one ninth more, would matter).
    """

    value: float = Field(gt=0)
    reason: str = ""


class Exclusion(Section):
    """A rule for leaving out data, decided before the data were seen."""

    rule: Name
    reason: str = ""


class Allocation(Section):
    """How participants came to their groups."""

    unit: Name = "participant"
    method: Literal["blocks", "minimisation", "cluster", "simple", "none", "own"] = "blocks"
    strata: tuple[str, ...] = ()
    block_size: int | None = Field(None, ge=1)
    seed: int | None = None


class Files(Section):
    """Names of the data files inside the study folder."""

    trials: str = "trials.csv"
    participants: str | None = None
    ratings: str | None = None


class Design(Section):
    """A whole study plan."""

    study: StudySection
    skill: Skill = Skill()
    groups: tuple[Group, ...] = Field(min_length=1)
    tasks: tuple[Task, ...] = ()
    target: Target | None = None
    practice: tuple[Practice, ...] = ()
    tests: tuple[Test, ...] = Field(min_length=1)
    outcomes: tuple[Outcome, ...] = Field(min_length=1)
    primary: Primary | None = None
    smallest_effect: SmallestEffect | None = None
    exclusions: tuple[Exclusion, ...] = ()
    allocation: Allocation = Allocation()
    units: dict[str, str] = Field(default_factory=dict)
    files: Files = Files()

    @property
    def group_names(self) -> tuple[str, ...]:
        """Names of the groups in the order of the plan."""
        return tuple(group.name for group in self.groups)

    @property
    def phases(self) -> tuple[str, ...]:
        """Phases the plan contains, in the order of a study."""
        present = {test.phase for test in self.tests}
        practised = ("acquisition",) if self.practice else ()
        order = ("pretest", *practised, *(phase for phase in TEST_PHASES if phase != "pretest"))
        return tuple(phase for phase in order if phase in present or phase == "acquisition")

    @property
    def has_delayed_test(self) -> bool:
        """Whether any test can speak about learning."""
        return any(test.phase in DELAYED_PHASES for test in self.tests)

    def outcome(self, name: str) -> Outcome | None:
        """Find an outcome by name."""
        return next((entry for entry in self.outcomes if entry.name == name), None)

    @model_validator(mode="after")
    def _names_agree(self) -> Self:
        for what, names in (("group", self.group_names), ("task", [t.name for t in self.tasks])):
            twice = sorted({name for name in names if list(names).count(name) > 1})
            if twice:
                raise ValueError(f"{what} named twice: {', '.join(twice)}")
        if self.primary is not None:
            self._primary_agrees(self.primary)
        return self

    def _primary_agrees(self, primary: Primary) -> None:
        if self.outcome(primary.outcome) is None:
            raise ValueError(
                f"primary.outcome {primary.outcome!r} is not among the outcomes: "
                f"{', '.join(entry.name for entry in self.outcomes)}"
            )
        unknown = [name for name in primary.groups if name not in self.group_names]
        if unknown:
            raise ValueError(f"primary.groups names groups the plan lacks: {', '.join(unknown)}")
        if primary.phase not in self.phases:
            raise ValueError(f"primary.phase {primary.phase!r} is not a test of this plan")
