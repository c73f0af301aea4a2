"""What is practised in a programme, who may take part, when to stop and how much is too much."""

from typing import Literal, Self

from pydantic import Field, model_validator

from motorlearn.design.base import DAYS_IN_WEEK, Effort, Name, Section


class SkillPhase(Section):
    """A phase of the skill, and what it should look like."""

    name: Name
    key_points: tuple[str, ...] = ()


class Fault(Section):
    """A fault: in which phase, the sign to look for, what it leads to, and the cue against it."""

    name: Name
    phase: str = ""
    sign: str = ""
    consequence: str = ""
    cue: str = ""


class ChecklistItem(Section):
    """One item of the checklist that rates technique."""

    name: Name
    phase: str = ""
    looks_for: str = ""
    cue: str = ""


class Checklist(Section):
    """The user's own checklist of technique, rated on a scale of its own from `low` to `high`.

    ``labels`` say what each whole number of the scale means, from `low` upwards.
    """

    low: int = 0
    high: int = 2
    labels: tuple[str, ...] = ()
    items: tuple[ChecklistItem, ...] = Field(min_length=1)
    raters: tuple[str, ...] = ("A", "B")
    clips_per_test: int = Field(default=2, ge=1)

    @property
    def scores(self) -> tuple[int, ...]:
        """Whole numbers that may be given."""
        return tuple(range(self.low, self.high + 1))

    @property
    def meaning(self) -> str:
        """Scale in words."""
        if not self.labels:
            return f"{self.low} lowest to {self.high} best"
        return ", ".join(f"{n} {label}" for n, label in zip(self.scores, self.labels, strict=True))

    @model_validator(mode="after")
    def _scale_holds(self) -> "Checklist":
        if self.high <= self.low:
            raise ValueError(f"the scale goes from {self.low} to {self.high}; high must be above")
        if self.labels and len(self.labels) != len(self.scores):
            raise ValueError(
                f"the scale {self.low} to {self.high} has {len(self.scores)} scores and "
                f"{len(self.labels)} labels; give one label for each score"
            )
        return self


class Drill(Section):
    """A practice drill: what it is for, how much of it, and what the learner is told.

    ``step`` is its place in a progression, ``part`` says whether a part of the skill or the whole
    is practised. ``distance`` and ``run_up`` (of a moving start) are in ``unit``, or in the plan's
    unit of length where that is empty. ``object`` is what is pushed, struck or thrown; ``none`` for
    a drill without one, which then asks for no hit. ``groups`` names who practises it; left out,
    all do.
    """

    name: Name
    purpose: str = ""
    groups: tuple[Name, ...] = ()
    step: int | None = Field(default=None, ge=1)
    part: Literal["part", "whole"] | None = None
    weeks: tuple[int, ...] = ()
    trials_per_session: int | None = Field(default=None, ge=1)
    minutes: float | None = Field(default=None, gt=0)
    effort: Effort = "usual"
    task: str = ""
    object: str = ""
    partner: bool = False
    target: str = ""
    distance: float | None = Field(default=None, gt=0)
    start: Literal["standing", "moving", "after a run"] = "standing"
    run_up: float | None = Field(default=None, gt=0)
    unit: str = ""
    cues: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    feedback: str = ""
    feedback_from: Literal["", "partner", "coach", "video", "instrument", "self", "none"] = ""
    feedback_about: Literal["", "results", "performance", "both"] = ""
    feedback_every: int | None = Field(default=None, ge=0)
    advance_when: str = ""

    @property
    def has_object(self) -> bool:
        """Whether there is something that can hit or miss."""
        return self.object.strip().lower() != "none"


class DrillDose(Section):
    """What one drill takes of a session: its trials and how often feedback is given."""

    name: Name
    trials: int = Field(ge=1)
    feedback_every: int | None = Field(default=None, ge=0)
    has_object: bool = True


class Programme(Section):
    """The frame of a programme of several weeks.

    ``days`` are the practice days inside a week, 0 to 6; left out, they are spread evenly.
    """

    weeks: int = Field(ge=1)
    sessions_per_week: int = Field(ge=1, le=14)
    days: tuple[int, ...] = ()
    minutes_per_session: float | None = Field(default=None, gt=0)
    warm_up_trials: int = Field(default=0, ge=0)
    place: str = ""
    supervision: str = ""

    def session_days(self) -> tuple[tuple[int, int], ...]:
        """Week and day of each session, weeks from 1 and days from 0."""
        spread = [
            int(number * DAYS_IN_WEEK / self.sessions_per_week)
            for number in range(self.sessions_per_week)
        ]
        inside = self.days or tuple(spread)
        return tuple(
            (week + 1, week * DAYS_IN_WEEK + day) for week in range(self.weeks) for day in inside
        )


class Sample(Section):
    """Who may take part."""

    age_low: float | None = Field(default=None, ge=0)
    age_high: float | None = Field(default=None, ge=0)
    minors: bool | None = None
    include: tuple[str, ...] = ()
    exclude: tuple[str, ...] = ()


class StoppingRule(Section):
    """When a trial, a session or the study stops, and what happens then."""

    rule: Name
    action: str = ""


class LoadLimit(Section):
    """The most trials allowed, as the user's own source has it.

    The toolkit knows no limits of its own: published ones are specific to sport and age.
    """

    trials: int = Field(ge=1)
    per: Literal["session", "day", "week"] = "week"
    effort: Literal["any", "maximal"] = "any"
    source: Name


class Load(Section):
    """Limits of load, and what is asked before and after a session."""

    limits: tuple[LoadLimit, ...] = ()
    pain_scale: str = ""
    fatigue_scale: str = ""
    rest_seconds: float | None = Field(default=None, ge=0)


class PlannedAnalysis(Section):
    """A further analysis decided before the data were seen; anything else is exploratory."""

    outcome: Name
    phase: Name
    method: Name
    role: Literal["secondary", "sensitivity"] = "secondary"


class AnovaPlan(Section):
    """What the analysis of variance over parts of a study, and its pairs, take in.

    With ``parts = "tests"`` practice is left out of it; practice then stands by its blocks, and by
    the comparison of groups in it.
    """

    parts: Literal["tests and practice", "tests"] = "tests and practice"


class CurvePlan(Section):
    """The curve of practice that is fitted to everybody at once.

    ``groups = "together"`` gives all groups one curve, ``"apart"`` each its own. ``vary`` names
    what differs from person to person: few blocks of practice settle a rate for all better than one
    for each. ``form`` is the form of that curve, such as ``"power"`` or ``"s_shaped"``. All three
    are decided before the data are seen.
    """

    groups: Literal["apart", "together"] = "apart"
    vary: tuple[Literal["asymptote", "gain", "rate"], ...] = ("asymptote", "gain", "rate")
    form: Literal["exponential", "power", "power_prior", "apex", "s_shaped", "two_processes"] = (
        "exponential"
    )

    @model_validator(mode="after")
    def _somebody_differs(self) -> Self:
        if not self.vary or len(set(self.vary)) < len(self.vary):
            raise ValueError("vary names asymptote, gain or rate, each once")
        return self


class Assumptions(Section):
    """What the sample size rests on: how the primary outcome is thought to behave.

    Values are in raw units of the primary outcome. For hits ``baseline`` is the hit rate, and
    ``between_sd`` and ``gain`` are on the log-odds scale; ``within_sd`` is not used. ``gain`` is
    positive for improvement, ``forgetting`` the share of it lost at the delayed test,
    ``stability`` the correlation of true scores between two tests. Means are those of people's
    scores as they are read. ``attrition`` is the share of people who are lost by the primary test;
    with ``attrition_slope`` above 0 those who scored worse before leave more often: it is added to
    the log odds of leaving for each standard deviation. ``cluster_size`` and ``cluster_icc`` are
    people of an allocated class and their resemblance, ``condition_correlation`` that of one
    person's true scores under two conditions, where people meet both.
    """

    baseline: float
    between_sd: float = Field(gt=0)
    within_sd: float | None = Field(default=None, ge=0)
    stability: float = Field(default=0.85, ge=0, le=1)
    gain: float = 0.0
    forgetting: float = Field(default=0.35, ge=0, le=1)
    attrition: float = Field(default=0.0, ge=0, lt=1)
    attrition_slope: float = 0.0
    cluster_size: int | None = Field(default=None, ge=2)
    cluster_icc: float = Field(default=0.0, ge=0, lt=1)
    condition_correlation: float | None = Field(default=None, ge=0, le=1)
    source: str = ""


def check_skill(
    phases: tuple[SkillPhase, ...],
    faults: tuple[Fault, ...],
    drills: tuple[Drill, ...],
    checklist: Checklist | None,
) -> None:
    """Refuse phases, faults, drills and items that name one another wrongly.

    Raises
    ------
    ValueError
        With the name that is not there.
    """
    items = checklist.items if checklist is not None else ()
    named = (("phase of the skill", phases), ("fault", faults), ("checklist item", items))
    for what, entries in named:
        names = [entry.name for entry in entries]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"{what} named twice: {', '.join(twice)}")
    known = {phase.name for phase in phases}
    told = [(f"fault {fault.name!r}", fault.phase) for fault in faults]
    told += [(f"checklist item {item.name!r}", item.phase) for item in items]
    for who, phase in told:
        if phase and phase not in known:
            raise ValueError(f"{who} names phase {phase!r}, which [[skill.phases]] does not have")
    there = {fault.name for fault in faults}
    for drill in drills:
        strange = [name for name in drill.faults if name not in there]
        if strange:
            raise ValueError(
                f"drill {drill.name!r} addresses faults that [[skill.faults]] does not have: "
                f"{', '.join(strange)}"
            )


def check_lengths(drills: tuple[Drill, ...], unit: str) -> None:
    """Refuse a run-up whose unit could be read in two ways.

    Raises
    ------
    ValueError
        If a drill has a run-up, the plan's lengths are not in metres, and no unit is given.
    """
    for drill in drills:
        if drill.run_up is not None and not drill.unit and unit not in ("", "m"):
            raise ValueError(
                f"drill {drill.name!r} has a run_up and lengths of the plan are in {unit}; say "
                f'unit = "m" (or "{unit}") in the drill, for its distance and its run_up'
            )
