"""What is practised in a programme, who may take part, when to stop and how much is too much."""

from typing import Literal

from pydantic import Field

from motorlearn.design.base import DAYS_IN_WEEK, Effort, Name, Section


class Drill(Section):
    """A practice drill: what it is for, how much of it, and what the learner is told.

    ``step`` is its place in a progression, ``part`` says whether a part of the skill or the whole
    is practised, ``run_up`` is the distance of a moving start in metres.
    """

    name: Name
    purpose: str = ""
    step: int | None = Field(default=None, ge=1)
    part: Literal["part", "whole"] | None = None
    weeks: tuple[int, ...] = ()
    trials_per_session: int | None = Field(default=None, ge=1)
    effort: Effort = "usual"
    task: str = ""
    target: str = ""
    distance: float | None = Field(default=None, gt=0)
    start: Literal["standing", "moving"] = "standing"
    run_up: float | None = Field(default=None, gt=0)
    feedback: str = ""
    feedback_from: Literal["", "partner", "coach", "video", "instrument", "self", "none"] = ""
    feedback_about: Literal["", "results", "performance", "both"] = ""
    feedback_every: int | None = Field(default=None, ge=0)
    advance_when: str = ""


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


class Assumptions(Section):
    """What the sample size rests on: how the primary outcome is thought to behave.

    Values are in raw units of the primary outcome. For hits ``baseline`` is the hit rate, and
    ``between_sd`` and ``gain`` are on the log-odds scale; ``within_sd`` is not used. ``gain`` is
    positive for improvement, ``forgetting`` the share of it lost at the delayed test,
    ``stability`` the correlation of true scores between two tests.
    """

    baseline: float
    between_sd: float = Field(gt=0)
    within_sd: float | None = Field(default=None, ge=0)
    stability: float = Field(default=0.85, ge=0, le=1)
    gain: float = 0.0
    forgetting: float = Field(default=0.35, ge=0, le=1)
    attrition: float = Field(default=0.0, ge=0, lt=1)
    cluster_size: int | None = Field(default=None, ge=2)
    cluster_icc: float = Field(default=0.0, ge=0, lt=1)
    source: str = ""
