"""The sections of a study plan, each by itself."""

from typing import Literal, Self

from pydantic import Field, model_validator

from motorlearn.design.base import DAYS_IN_WEEK, Effort, Name, Section, Title
from motorlearn.design.programme import Fault, SkillPhase
from motorlearn.vocabulary import DELAYED_PHASES, SHORTEST_DELAY_DAYS

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
