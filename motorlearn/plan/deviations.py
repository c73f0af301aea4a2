"""Plan against conduct: what was done otherwise than planned, and which analyses were planned."""

import functools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from motorlearn import digits
from motorlearn.design import Design
from motorlearn.digits import count
from motorlearn.measures import switch_rate
from motorlearn.plan.schedules.schedule import draw_order
from motorlearn.plan.timetable import Event, timetable
from motorlearn.results import Recipe, Result
from motorlearn.rows import Row, Schema
from motorlearn.tables import Column, Table
from motorlearn.trials import Study, planned_rows
from motorlearn.trials.checking.conditions import conditions_as_groups
from motorlearn.trials.checking.planned import still_to_come
from motorlearn.trials.checking.single_case import in_one_phase
from motorlearn.trials.checking.trial_counts import planned_trials
from motorlearn.vocabulary import PRACTICE_PHASE

DEVIATION = Schema(
    (
        Column("topic"),
        Column("where"),
        Column("planned"),
        Column("actual"),
        Column("people", kind="count"),
        Column("participants"),
    )
)
_ORDER_DRAWS = 50
_ORDER_SLACK = 0.15
_KINDS = ("blocked", "serial", "random")
EXPLORATORY = "exploratory"


@dataclass(frozen=True)
class Deviations(Result):
    """What was done otherwise than planned.

    Parameters
    ----------
    table : DataFrame
        ``topic, where, planned, actual, people, participants``: number of people concerned and who
        they are, separated by commas.
    analyses : DataFrame
        ``outcome, phase, method, label``: primary, secondary, sensitivity or exploratory.
    recipe : Recipe
        How it was made.
    """

    table: pd.DataFrame
    analyses: pd.DataFrame
    recipe: Recipe

    def tables(self) -> Sequence[Table]:
        """Deviations, and the labels of analyses where there are any."""
        shown = DEVIATION.table("deviations", "Plan and conduct", self.table)
        if self.analyses.empty:
            return (shown,)
        labels = tuple(Column(name) for name in ("outcome", "phase", "method", "label"))
        return (shown, Table("analyses", "Planned and other analyses", labels, self.analyses))


def compare_with_plan(study: Study, *, analyses: Sequence[tuple[str, str, str]] = ()) -> Deviations:
    """List what was done otherwise than planned.

    Numbers per group, missed tests, dose, order of practice, intervals, feedback and phases that
    the plan lacks; and a label for each analysis. Phases after the last one that has data are still
    to come.

    Parameters
    ----------
    study : Study
        What was read.
    analyses : sequence of (outcome, phase, method)
        Analyses that were done.

    Returns
    -------
    Deviations

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> from motorlearn.plan import simulate_study
    >>> plan = design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "blocked", "schedule": "blocked", "size": 4},
    ...                {"name": "random", "schedule": "random", "size": 4}],
    ...     "tasks": [{"name": "straight"}, {"name": "lob"}],
    ...     "practice": [{"session": 1, "day": 0, "trials_per_block": 12}],
    ...     "tests": [{"phase": "retention", "trials": 10, "interval_days": 7}],
    ...     "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
    ...     "primary": {"outcome": "radial_error", "groups": ["random", "blocked"]},
    ... })
    >>> study = simulate_study(plan, seed=1, missing=False)
    >>> found = compare_with_plan(study, analyses=[("radial_error", "retention", "ancova"),
    ...                                            ("hit", "retention", "ancova")])
    >>> found.analyses["label"].tolist()
    ['primary', 'exploratory']
    """
    study = _condition_by_condition(study)
    table = in_one_phase(planned_rows(study).reset_index(drop=True), study.design)
    rules = (_numbers, _phases, _dose, _orders, _intervals, _feedback)
    rows = [row for rule in rules for row in rule(study, table)]
    labels = [(*entry, analysis_label(study.design, *entry)) for entry in analyses]
    return Deviations(
        table=DEVIATION.frame(rows),
        analyses=pd.DataFrame(labels, columns=["outcome", "phase", "method", "label"]),
        recipe=Recipe("compare_with_plan", n=len(table)),
    )


def _condition_by_condition(study: Study) -> Study:
    """Each person under each condition as one, where the plan says that people meet them all."""
    table = conditions_as_groups(study.trials.table, study.design)
    if study.design.within is None or not {"participant", "group"} <= set(table):
        return study
    names = table["participant"].astype(str) + " (" + table["group"].astype(str) + ")"
    trials = replace(study.trials, table=table.assign(participant=names))
    return replace(study, trials=trials, participants=None)


def analysis_label(design: Design, outcome: str, phase: str, method: str) -> str:
    """Say whether an analysis was planned: primary, secondary, sensitivity or exploratory."""
    primary = design.primary
    if primary is not None and (outcome, phase, method) == (
        primary.outcome,
        primary.phase,
        primary.model,
    ):
        return "primary"
    for planned in design.analyses:
        if (planned.outcome, planned.phase, planned.method) == (outcome, phase, method):
            return planned.role
    return EXPLORATORY


def _row(topic: str, where: str, planned: str, actual: str, who: Sequence[str] = ()) -> Row:
    return DEVIATION.row(
        topic=topic,
        where=where,
        planned=planned,
        actual=actual,
        people=len(who),
        participants=", ".join(map(str, who)),
    )


def _numbers(study: Study, table: pd.DataFrame) -> Iterator[Row]:
    people = study.participants if study.participants is not None else table
    if "group" not in people.columns:
        return
    counts = people.drop_duplicates("participant")["group"].value_counts()
    for group in study.design.groups:
        found = int(counts.get(group.name, 0))
        if group.size is not None and found != group.size:
            yield _row(
                "group size", group.name, count(group.size, "person"), count(found, "person")
            )


def _phases(study: Study, table: pd.DataFrame) -> Iterator[Row]:
    design, whole = study.design, _everybody(study, table)
    later = still_to_come(design.phases, set(table["phase"].dropna()))
    for phase in design.phases:
        everybody = _practising(study, table) if phase == PRACTICE_PHASE else whole
        there = table.loc[table["phase"] == phase, "participant"].unique()
        absent = sorted(everybody - set(there))
        unrecorded = phase == PRACTICE_PHASE and len(absent) == len(everybody)
        if unrecorded and study.sessions is not None and len(study.sessions):
            yield from _attendance(design, study.sessions)
        elif absent and phase not in later:
            yield _row(
                "practice not recorded" if unrecorded else "no trials",
                phase,
                count(len(everybody), "person"),
                count(len(everybody) - len(absent), "person"),
                absent,
            )
    for phase in table["phase"].dropna().unique():
        if phase not in design.phases:
            who = sorted(set(table.loc[table["phase"] == phase, "participant"]))
            yield _row("phase not planned", str(phase), "none", count(len(who), "person"), who)


def _attendance(design: Design, log: pd.DataFrame) -> Iterator[Row]:
    """Sessions held and missed, where a log of sessions stands in the place of trials."""
    held, planned = sorted(log["session"].dropna().unique()), len(design.practice)
    if len(held) < planned:
        yield _row(
            "sessions not noted", PRACTICE_PHASE, count(planned, "session"), f"{len(held)} noted"
        )
    there = log[log["present"] == 1] if "present" in log else log
    listed = log["participant"].dropna().unique()
    done = there.groupby("participant")["session"].nunique().reindex(listed, fill_value=0)
    missed = done[done < len(held)]
    if len(missed):
        actual = f"{_span(missed)} attended"
        who = sorted(map(str, missed.index))
        yield _row(
            "sessions missed", PRACTICE_PHASE, f"{count(len(held), 'session')} held", actual, who
        )


def _dose(study: Study, table: pd.DataFrame) -> Iterator[Row]:
    if study.design.practice_is_shared or "group" not in table:
        yield from _group_dose(planned_trials(study.design), table)
        return
    for group, rows in table.groupby("group", sort=False):
        yield from _group_dose(planned_trials(study.design, str(group)), rows)


def _group_dose(planned_of: Mapping[str, int], table: pd.DataFrame) -> Iterator[Row]:
    for phase, planned in planned_of.items():
        rows = table[table["phase"] == phase]
        size = rows["attempts"] if "attempts" in rows else pd.Series(1, index=rows.index)
        done = size.groupby(rows["participant"]).sum()
        for word, odd in (("fewer", done[done < planned]), ("more", done[done > planned])):
            if len(odd):
                actual = f"{_span(odd)} {'trial' if int(odd.max()) == 1 else 'trials'}"
                yield _row(
                    f"{word} trials", phase, count(planned, "trial"), actual, sorted(odd.index)
                )


def _span(values: pd.Series) -> str:
    low, high = int(values.min()), int(values.max())
    return f"{low}" if low == high else f"{low} to {high}"


def _orders(study: Study, table: pd.DataFrame) -> Iterator[Row]:
    """Find people whose practice of a session looks like another schedule than their group's."""
    n_tasks = len(study.design.tasks)
    if n_tasks < 2 or "task" not in table or "group" not in table:
        return
    order = [name for name in ("session", "block", "trial") if name in table]
    practice = table[table["phase"] == PRACTICE_PHASE].sort_values(order, kind="stable")
    schedules = {group.name: group.schedule for group in study.design.groups}
    for event in timetable(study.design).events:
        if not event.is_practice:
            continue
        here = practice[practice["session"] == event.session] if "session" in practice else practice
        if event.groups:
            here = here[here["group"].isin(event.groups)]
        most = study.design.schedules.max_run
        usual = _usual_rates(event.trials, event.block_size, n_tasks, most)
        yield from _session_orders(event, here, schedules, usual)


def _session_orders(
    event: Event, rows: pd.DataFrame, schedules: Mapping[str, str], usual: Mapping[str, float]
) -> Iterator[Row]:
    odd: dict[tuple[str, str], list[str]] = {}
    for (person, group), part in rows.groupby(["participant", "group"], sort=False):
        planned = schedules.get(str(group), "own") if event.order == "own" else event.order
        if planned not in usual or len(part) < event.trials / 2:
            continue
        rate = switch_rate(part["task"].tolist())
        nearest = min(usual, key=lambda kind: abs(usual[kind] - rate))
        if abs(rate - usual[planned]) > _ORDER_SLACK and nearest != planned:
            odd.setdefault((planned, nearest), []).append(str(person))
    for (planned, nearest), who in odd.items():
        text = digits.number(usual[planned], 2)
        yield _row(
            "practice order",
            event.label,
            f"{planned} (switch rate about {text})",
            f"like {nearest} (about {digits.number(usual[nearest], 2)})",
            who,
        )


@functools.cache
def _usual_rates(trials: int, block_size: int, n_tasks: int, max_run: int) -> Mapping[str, float]:
    """Switch rates of orders drawn as planned; sessions of one size share them."""
    rng = np.random.default_rng(0)
    drawn = functools.partial(
        draw_order, n_tasks=n_tasks, trials=trials, block_size=block_size, max_run=max_run, rng=rng
    )
    return {
        kind: float(
            np.mean(
                [
                    switch_rate(drawn(kind).tolist())
                    for _ in range(_ORDER_DRAWS if kind == "random" else 1)
                ]
            )
        )
        for kind in _KINDS
        if trials >= 2
    }


def _intervals(study: Study, table: pd.DataFrame) -> Iterator[Row]:
    if "date" not in table:
        return
    day = pd.to_datetime(table["date"], errors="coerce").dt.normalize()
    last = day[table["phase"] == PRACTICE_PHASE].groupby(table["participant"]).max()
    for test in study.design.tests:
        if not test.interval_days:
            continue
        first = day[table["phase"] == test.phase].groupby(table["participant"]).min()
        gap = (first - last).dt.days.dropna()
        odd = gap[(gap - test.interval_days).abs() > test.window_days]
        if len(odd):
            yield _row(
                "interval",
                test.label,
                f"{test.interval_days:g} days, give or take {test.window_days:g}",
                f"{_span(odd)} days",
                sorted(odd.index),
            )


def _feedback(study: Study, table: pd.DataFrame) -> Iterator[Row]:
    if "feedback" not in table:
        return
    told = table[table["feedback"].fillna(0).astype(float) > 0]
    for test in study.design.tests:
        who = sorted(set(told.loc[told["phase"] == test.phase, "participant"]))
        if who and not test.feedback:
            yield _row("feedback in a test", test.label, "none", "given", who)


def _everybody(study: Study, table: pd.DataFrame) -> set[str]:
    people = study.participants if study.participants is not None else table
    return set(people["participant"].dropna())


def _practising(study: Study, table: pd.DataFrame) -> set[str]:
    """Everybody but the people of groups that are tested only."""
    people = study.participants if study.participants is not None else table
    if "group" not in people:
        return _everybody(study, table)
    without = {name for name in study.design.group_names if not study.design.practice_of(name)}
    return set(people.loc[~people["group"].isin(without), "participant"].dropna())
