"""Every trial counted: drills, warm-up and tests, per participant and week, against limits."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from motorlearn.design import Design
from motorlearn.design.base import DAYS_IN_WEEK
from motorlearn.plan.timetable import timetable
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table
from motorlearn.vocabulary import PRACTICE_PHASE, STANDING_CAUTION

CAUTION = (
    "Limits are those entered in the plan, with their source. The toolkit knows no safe number "
    "and predicts no injury. Pain, numbness or loss of control stops the session and goes to a "
    f"health professional. {STANDING_CAUTION}"
)
_PERIODS = {"session": "session", "day": "date", "week": "week"}


@dataclass(frozen=True)
class ThrowLoad(Result):
    """Planned load of one participant.

    Parameters
    ----------
    events : DataFrame
        ``phase, label, session, day, week, trials, warm_up, total, maximal``: one row per practice
        session and test; ``maximal`` counts the trials at maximal effort.
    weeks : DataFrame
        ``week, practice, tests, warm_up, total, maximal, change``: sums per week; ``change`` is
        against the week before.
    breaches : DataFrame
        ``period, per, effort, trials, limit, source``: where a limit of the plan is exceeded.
    recipe : Recipe
        How it was made.
    """

    events: pd.DataFrame
    weeks: pd.DataFrame
    breaches: pd.DataFrame
    recipe: Recipe

    def tables(self) -> Sequence[Table]:
        """Load per week, and breaches of limits."""
        counted = ("week", "practice", "tests", "warm_up", "total", "maximal", "change")
        columns = tuple(Column(name, kind="count") for name in counted)
        weeks = Table(
            "load", "Planned trials per participant and week", columns, self.weeks, (CAUTION,)
        )
        limits = Table(
            "limits",
            "Where the plan goes above a limit",
            (
                Column("period"),
                Column("effort"),
                Column("trials", kind="count"),
                Column("limit", kind="count"),
                Column("source"),
            ),
            self.breaches,
        )
        return (weeks, limits) if len(self.breaches) else (weeks,)


def throw_load(design: Design) -> ThrowLoad:
    """Count every planned trial of a participant and hold it against the plan's limits.

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = design_from_mapping({
    ...     "study": {"title": "Ring push"}, "groups": [{"name": "all"}],
    ...     "practice": [{"session": 1, "day": 0, "trials_per_block": 40, "effort": "maximal"}],
    ...     "tests": [{"phase": "posttest", "trials": 20, "warm_up_trials": 5, "interval_days": 0}],
    ...     "outcomes": [{"name": "hits", "better": "higher"}],
    ...     "load": {"limits": [{"trials": 60, "per": "day", "source": "our club"}]},
    ... })
    >>> load = throw_load(plan)
    >>> load.weeks["total"].tolist(), load.breaches["trials"].tolist()
    ([65], [65])
    """
    events = _events(design)
    shared = design.practice_is_shared
    weeks = _weeks(events) if shared else _heaviest(design)
    return ThrowLoad(
        events=events,
        weeks=weeks,
        breaches=pd.concat(
            [
                _breaches(_events(design, name), design)
                for name in ((None,) if shared else design.group_names)
            ],
            ignore_index=True,
        ).drop_duplicates(ignore_index=True),
        recipe=Recipe("throw_load", n=int(events["total"].sum())),
    )


def _heaviest(design: Design) -> pd.DataFrame:
    """Week by week the load of the group that practises most in it."""
    every = pd.concat([_weeks(_events(design, name)) for name in design.group_names])
    most = every.sort_values("total", ascending=False, kind="stable").drop_duplicates("week")
    weeks = most.sort_values("week", ignore_index=True)
    return weeks.assign(change=weeks["total"].diff())


def _events(design: Design, group: str | None = None) -> pd.DataFrame:
    rows = [
        {
            "phase": event.phase,
            "label": event.label,
            "session": event.session,
            "day": event.day,
            "week": int(event.day // DAYS_IN_WEEK) + 1,
            "trials": event.trials,
            "warm_up": event.warm_up,
            "total": event.trials + event.warm_up,
            "maximal": event.maximal,
        }
        for event in timetable(design, group).events
    ]
    return pd.DataFrame(rows)


def _weeks(events: pd.DataFrame) -> pd.DataFrame:
    practised = events["phase"] == PRACTICE_PHASE
    parts = events.assign(
        practice=events["trials"].where(practised, 0), tests=events["trials"].where(~practised, 0)
    )
    summed = parts.groupby("week")[["practice", "tests", "warm_up", "total", "maximal"]].sum()
    every = range(int(events["week"].min()), int(events["week"].max()) + 1)
    weeks = summed.reindex(every, fill_value=0).rename_axis("week")
    return weeks.assign(change=weeks["total"].diff()).reset_index()


def _breaches(events: pd.DataFrame, design: Design) -> pd.DataFrame:
    rows = []
    keyed = events.assign(date=events["day"] // 1)
    for limit in design.load.limits:
        column = "maximal" if limit.effort == "maximal" else "total"
        sums = keyed.groupby(_PERIODS[limit.per])[column].sum()
        rows += [
            {
                "period": f"{limit.per} {int(period)}",
                "per": limit.per,
                "effort": limit.effort,
                "trials": int(trials),
                "limit": limit.trials,
                "source": limit.source,
            }
            for period, trials in sums.items()
            if trials > limit.trials
        ]
    return pd.DataFrame(rows, columns=["period", "per", "effort", "trials", "limit", "source"])
