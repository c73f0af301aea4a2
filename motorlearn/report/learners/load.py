"""Trials that each learner really had, held against the limits of the plan."""

from typing import Final

import pandas as pd

from motorlearn.design import Design, stage_column, stages_of
from motorlearn.design.base import DAYS_IN_WEEK
from motorlearn.plan.timetable import timetable
from motorlearn.trials import Study
from motorlearn.vocabulary import PRACTICE_PHASE

NAMES: Final = ("participant", "per", "period", "effort", "trials", "limit")
_PERIODS: Final = {"session": "label", "day": "date", "week": "week"}


def load_above_limits(study: Study) -> pd.DataFrame:
    """Sessions, days and weeks in which somebody was above a limit, by what was attended.

    Practice counts with the drills and the warm-up of every session the learner was at, tests with
    theirs where the learner took them.

    Returns
    -------
    DataFrame
        ``participant, per, period, effort, trials, limit``.
    """
    done, found = _attended(study), [pd.DataFrame(columns=list(NAMES))]
    for limit in study.design.load.limits if len(done) else ():
        load = "maximal" if limit.effort == "maximal" else "total"
        sums = done.groupby(["participant", _PERIODS[limit.per]], as_index=False)[load].sum()
        sums.columns = pd.Index(["participant", "period", "trials"])
        above = sums[sums["trials"] > limit.trials]
        found.append(
            above.assign(per=limit.per, effort=limit.effort, limit=limit.trials)[list(NAMES)]
        )
    return pd.concat(found, ignore_index=True)


def _attended(study: Study) -> pd.DataFrame:
    """Sessions and tests that each person was at, with their trials."""
    done = pd.concat([_sessions(study), _tests(study)], ignore_index=True)
    if done.empty:
        return done
    people = study.trials.table if study.participants is None else study.participants
    group: str | pd.Series = study.design.group_names[0]
    if "group" in people:
        groups = people.drop_duplicates("participant").set_index("participant")["group"]
        group = done["participant"].map(groups).astype("object")
    done = done.assign(group=group)
    return done.merge(_events(study.design), on=["group", "phase", "label"])


def _sessions(study: Study) -> pd.DataFrame:
    log = study.sessions
    if log is None or log.empty:
        return pd.DataFrame(columns=["participant", "phase", "label"])
    there = log[log["present"] != 0] if "present" in log else log
    known = there[there["session"].notna()].drop_duplicates(["participant", "session"])
    labels = known["session"].map(lambda session: f"practice session {session:g}")
    return pd.DataFrame(
        {"participant": known["participant"], "phase": PRACTICE_PHASE, "label": labels}
    )


def _tests(study: Study) -> pd.DataFrame:
    table, design = study.trials.table, study.design
    if table.empty:
        return pd.DataFrame(columns=["participant", "phase", "label"])
    named = {s.name: s.test.label for s in stages_of(design) if s.test is not None}
    label = stage_column(table, design).map(named)
    taken = table.assign(label=label)[["participant", "phase", "label"]]
    return taken[label.notna()].drop_duplicates()


def _events(design: Design) -> pd.DataFrame:
    rows = [
        {
            "group": group,
            "phase": event.phase,
            "label": f"practice session {event.session}" if event.is_practice else event.label,
            "date": event.day // 1,
            "week": int(event.day // DAYS_IN_WEEK) + 1,
            "total": event.trials + event.warm_up,
            "maximal": event.maximal,
        }
        for group in design.group_names
        for event in timetable(design, group).events
    ]
    return pd.DataFrame(rows)
