"""An invented study of a plan: trials, participants, ratings, with realistic gaps."""

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.exceptions import DesignError, InputError
from motorlearn.plan.arguments import a_plan, seed_number
from motorlearn.plan.schedules.task_orders import draw_orders
from motorlearn.plan.simulation.attrition import Mishaps, draw_mishaps
from motorlearn.plan.simulation.enrolment import enrol
from motorlearn.plan.simulation.generator import People, draw_landings, draw_people, log_spread
from motorlearn.plan.simulation.own_outcomes import own_outcomes
from motorlearn.plan.simulation.presets import Preset, find_preset
from motorlearn.plan.simulation.ratings import FILMED, draw_ratings
from motorlearn.plan.simulation.within import (
    days_between,
    enrol_in_orders,
    periods_of,
    told_once,
    withdrew,
)
from motorlearn.plan.timetable import Event, Timetable, timetable
from motorlearn.trials import Study, Trials

_CENTIMETRES = {"cm": 1.0, "m": 0.01, "mm": 10.0}
_RADIUS = 20.0
_ENOUGH_FOR_A_SLIP = 20
FIRST_DAY = datetime.date(2025, 3, 3)
"""Invented date of the first session of the first participants."""


@dataclass(frozen=True)
class Truth:
    """What the generator knows and a reader of the data does not.

    Parameters
    ----------
    preset : Preset
        Parameters of the population.
    people : DataFrame
        True values, one row per participant: ``participant, group, schedule, log_sd, gain, rate,
        forgetting, bias_x, bias_y``.
    log_spread : DataFrame
        Mean true log spread per ``participant, phase``.
    """

    preset: Preset
    people: pd.DataFrame
    log_spread: pd.DataFrame


@dataclass(frozen=True)
class _Drawn:
    """Everything that was drawn, before gaps are cut into it."""

    plan: Timetable
    enrolled: pd.DataFrame
    people: People
    tasks: np.ndarray
    spread: np.ndarray
    x: np.ndarray
    y: np.ndarray
    own: dict[str, np.ndarray]
    mishaps: Mishaps
    rating_seed: np.random.SeedSequence
    period: int = 0
    start: float = 0.0


def simulate_study(
    design: Design, *, seed: int, preset: str | Preset = "laboratory", missing: bool = True
) -> Study:
    """Make an invented study of a plan, with landing points, hits, ratings and gaps.

    Outcomes of the plan that landing points do not give (times, speeds, points) are drawn from the
    same skill of each person at each trial.

    Parameters
    ----------
    design : Design
        The plan; every group needs a size.
    seed : int
        Seed; the same plan, seed and preset give the same study.
    preset : str or Preset
        What is true: ``laboratory``, ``null``, ``applied``, ``spread-rates``, ``imbalance``.
    missing : bool
        Whether people withdraw, tests are missed and trials are void.

    Returns
    -------
    Study
        With trials, participants and ratings. What is true is not in it, see
        :func:`motorlearn.plan.true_values`.

    Raises
    ------
    DesignError
        If a group has no size or a test cannot be placed in time.

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "blocked", "schedule": "blocked", "size": 4},
    ...                {"name": "random", "schedule": "random", "size": 4}],
    ...     "tasks": [{"name": "straight"}, {"name": "lob"}],
    ...     "target": {"radius": 20},
    ...     "practice": [{"session": 1, "day": 0, "trials_per_block": 12}],
    ...     "tests": [{"phase": "retention", "trials": 10, "interval_days": 7}],
    ...     "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
    ... })
    >>> study = simulate_study(plan, seed=1, missing=False)
    >>> len(study.trials.table)
    176
    """
    if a_plan(design).single_case is not None:
        raise InputError(
            "studies of one athlete to five are not invented yet",
            None,
            "draw their conditions with motorlearn.plan.draw_single_case",
        )
    drawn = _draw(a_plan(design), seed, find_preset(preset), missing)
    units = {"length": design.units.get("length", "cm"), **design.units}
    scale = _scale(units["length"])
    rows = pd.concat([_trial_table(design, part, scale) for part in drawn], ignore_index=True)
    people = _in_order(_listed_people(design, drawn, seed))
    place = pd.Series(np.arange(len(people)), index=people["participant"].to_numpy())
    order = np.argsort(rows["participant"].map(place).to_numpy(), kind="stable")
    return Study(
        design=design,
        trials=Trials(rows.iloc[order].reset_index(drop=True), units=units),
        participants=people,
        ratings=None if design.within is not None else _rating_table(drawn),
    )


def _listed_people(design: Design, drawn: list[_Drawn], seed: int) -> pd.DataFrame:
    tables = [_participant_table(part) for part in drawn]
    if design.within is None:
        return pd.concat(tables, ignore_index=True)
    return told_once(tables, enrol_in_orders(design, _streams(seed)[0]))


def _in_order(people: pd.DataFrame) -> pd.DataFrame:
    return people.sort_values("participant", ignore_index=True)


def _scale(unit: str) -> float:
    if unit not in _CENTIMETRES:
        raise DesignError(
            "the unit of length cannot be simulated", [unit], f"use {', '.join(_CENTIMETRES)}"
        )
    return _CENTIMETRES[unit]


def true_values(
    design: Design, *, seed: int, preset: str | Preset = "laboratory", missing: bool = True
) -> Truth:
    """Give what is true in the study that :func:`simulate_study` makes of the same arguments."""
    chosen = find_preset(preset)
    parts = _draw(a_plan(design), seed, chosen, missing)
    people = pd.concat(
        [
            part.enrolled[["participant", "group", "schedule"]].assign(**vars(part.people))
            for part in parts
        ]
    )
    long = pd.concat([_mean_spread(part) for part in parts], ignore_index=True)
    return Truth(chosen, _in_order(people), long)


def _mean_spread(part: _Drawn) -> pd.DataFrame:
    means = pd.DataFrame(part.spread, index=pd.Index(part.enrolled["participant"]))
    by_phase = means.T.groupby(part.plan.phase, sort=False).mean().T
    return by_phase.rename_axis(columns="phase").stack().rename("log_spread").reset_index()


def _draw(design: Design, seed: int, preset: Preset, missing: bool) -> list[_Drawn]:
    """Draw everybody at once, or group by group where the groups practise differently."""
    if any(group.size is None for group in design.groups):
        raise DesignError(
            "a group has no planned size",
            [group.name for group in design.groups if group.size is None],
            "give each group a size",
        )
    places, persons, orders, flight, gaps, _, own = _streams(seed)
    chance = _Chance(
        orders, flight, own, gaps, np.random.SeedSequence(seed_number(seed)).spawn(7)[5]
    )
    enrolled = enrol(design, places) if design.within is None else enrol_in_orders(design, places)
    people = draw_people(enrolled["experienced"].to_numpy(bool), preset, persons)
    if design.within is not None:
        return _draw_periods(design, enrolled, people, preset, chance, missing, persons)
    people.log_sd[(enrolled["group"] == design.group_names[-1]).to_numpy()] += (
        preset.baseline_imbalance
    )
    return _draw_groups(design, enrolled, people, preset, chance, missing)


def _streams(seed: int) -> list[np.random.Generator]:
    """Sources of chance: places, persons, orders, flight, gaps, ratings, outcomes of one's own."""
    streams = np.random.SeedSequence(seed_number(seed)).spawn(7)
    return [np.random.default_rng(stream) for stream in streams]


def _draw_periods(
    design: Design,
    enrolled: pd.DataFrame,
    people: People,
    preset: Preset,
    chance: "_Chance",
    missing: bool,
    persons: np.random.Generator,
) -> list[_Drawn]:
    """Draw what everybody does in each period, under the condition of that period."""
    parts: list[_Drawn] = []
    gone: set[str] = set()
    step = days_between(design)
    for period, now, own in periods_of(design, enrolled, people, preset.log_sd_between, persons):
        for part in _draw_groups(design, now, own, preset, chance, missing):
            names = part.enrolled["participant"].to_numpy()
            part.mishaps.absent[np.isin(names, list(gone))] = True
            parts.append(replace(part, period=period, start=step * (period - 1)))
        drawn = [part for part in parts if part.period == period]
        gone |= {name for part in drawn for name in _stopped(part)}
    return parts


def _stopped(part: _Drawn) -> list[str]:
    return [str(name) for name in part.enrolled.loc[withdrew(part.mishaps), "participant"]]


def _draw_groups(
    design: Design,
    enrolled: pd.DataFrame,
    people: People,
    preset: Preset,
    chance: "_Chance",
    missing: bool,
) -> list[_Drawn]:
    parts = []
    for name in (None,) if design.practice_is_shared else design.group_names:
        here = np.ones(len(enrolled), bool) if name is None else (enrolled["group"] == name)
        some = People(**{key: values[here] for key, values in vars(people).items()})
        plan = timetable(design, name)
        parts.append(_draw_part(design, plan, enrolled[here], some, preset, chance, missing))
    return parts


class _Chance(NamedTuple):
    """Sources of chance, one for each thing that is drawn."""

    orders: np.random.Generator
    flight: np.random.Generator
    own: np.random.Generator
    gaps: np.random.Generator
    ratings: np.random.SeedSequence


def _draw_part(
    design: Design,
    plan: Timetable,
    enrolled: pd.DataFrame,
    people: People,
    preset: Preset,
    chance: _Chance,
    missing: bool,
) -> _Drawn:
    """Draw what people who share a timetable do."""
    enrolled, tasks = draw_orders(design, plan, enrolled, chance.orders)
    if missing:
        _run_one_in_wrong_order(tasks, plan, enrolled["schedule"].to_numpy(), chance.orders)
    shifts = np.array(
        [
            [preset.shift(event.phase, _schedule_in(event, usual)) for event in plan.events]
            for usual in enrolled["schedule"]
        ]
    )
    spread = log_spread(people, tasks, shifts, plan, preset)
    x, y = draw_landings(people, spread, plan, preset, chance.flight)
    phases = [str(phase) for phase in plan.phase]
    own = own_outcomes(design, spread, preset.log_sd, chance.own, phases=phases, tasks=tasks)
    mishaps = draw_mishaps(plan, _last_score(spread, plan), chance.gaps, on=missing)
    return _Drawn(plan, enrolled, people, tasks, spread, x, y, own, mishaps, chance.ratings)


def _schedule_in(event: Event, usual: str) -> str:
    """Schedule whose effect acts in an event: that of the session in practice, else the group's."""
    return event.order if event.is_practice and event.order != "own" else usual


def _run_one_in_wrong_order(
    tasks: np.ndarray, plan: Timetable, schedule: np.ndarray, rng: np.random.Generator
) -> None:
    """Let one person do the first session in the order of somebody of another schedule."""
    practice = [number for number, event in enumerate(plan.events) if event.is_practice]
    others = np.flatnonzero(schedule != schedule[-1])
    if len(schedule) < _ENOUGH_FOR_A_SLIP or not practice or not len(others):
        return
    wrong = rng.choice(np.flatnonzero(schedule == schedule[-1]))
    here = plan.event == practice[0]
    tasks[wrong, here] = tasks[rng.choice(others), here]


def _last_score(spread: np.ndarray, plan: Timetable) -> np.ndarray:
    """Standard score of the immediate test, or of the last practice where there is none."""
    here = plan.phase == "posttest" if (plan.phase == "posttest").any() else plan.is_practice
    return _standard(spread[:, here].mean(axis=1)) if here.any() else np.zeros(len(spread))


def _standard(values: np.ndarray) -> np.ndarray:
    standard: np.ndarray = (values - values.mean()) / (values.std() or 1.0)
    return standard


def _trial_table(design: Design, drawn: _Drawn, scale: float) -> pd.DataFrame:
    plan, kept = drawn.plan, ~drawn.mishaps.absent
    people = drawn.enrolled
    names = np.array([task.name for task in design.tasks] or ["task"], dtype=object)
    person, trial = np.nonzero(kept)
    void = drawn.mishaps.void[kept]
    x, y = (_to_a_millimetre(values[kept], void != "") for values in (drawn.x, drawn.y))
    radius = np.hypot(x, y)
    limit = design.target.radius / scale if design.target is not None else _RADIUS
    decimals = max(0, round(1 - np.log10(scale)))
    hit = pd.array(np.where(np.isnan(radius), 0, radius <= limit), dtype="Int64")
    hit[np.isnan(radius)] = pd.NA
    own = {name: np.where(void != "", np.nan, v[kept]) for name, v in drawn.own.items()}
    if design.outcome("error") is not None:
        own["error"] = np.round(y * scale, decimals)
    period = {"period": drawn.period} if drawn.period else {}
    return pd.DataFrame(
        {
            "participant": people["participant"].to_numpy()[person],
            **period,
            "group": people["group"].to_numpy()[person],
            "phase": plan.phase[trial],
            "session": plan.session[trial],
            "block": plan.block[trial],
            "trial": plan.trial[trial],
            "task": names[drawn.tasks[kept]],
            "hit": hit,
            "x": np.round(x * scale, decimals),
            "y": np.round(y * scale, decimals),
            "radial_error": np.round(radius * scale, decimals),
            **own,
            "feedback": plan.feedback[trial].astype(int),
            "void": pd.array(np.where(void == "", None, void), dtype="str"),
            "date": _dates(drawn)[person, plan.event[trial]],
        }
    ).astype({"participant": "str", "group": "str", "phase": "str", "task": "str", "date": "str"})


def _to_a_millimetre(values: np.ndarray, void: np.ndarray) -> np.ndarray:
    return np.where(void, np.nan, np.round(values, 1) + 0.0)


def _dates(drawn: _Drawn) -> np.ndarray:
    """Invented date of each participant's events: four people start on a Monday to Wednesday."""
    start = drawn.enrolled.index.to_numpy() // 4
    start = start // 3 * 7 + start % 3
    delayed = np.array([event.phase in ("retention", "transfer") for event in drawn.plan.events])
    days = np.array([np.floor(event.day) + drawn.start for event in drawn.plan.events])
    offset = start[:, None] + days + delayed * drawn.mishaps.day_shift[:, None]
    dates = np.datetime64(FIRST_DAY) + offset.astype(int)
    return np.asarray(np.datetime_as_string(dates))


def _participant_table(drawn: _Drawn) -> pd.DataFrame:
    table = drawn.enrolled.drop(columns=["schedule", "experienced"])
    return table.assign(status=drawn.mishaps.status).astype({"group": "str", "status": "str"})


def _rating_table(drawn: Sequence[_Drawn]) -> pd.DataFrame:
    plan = drawn[0].plan
    filmed = [phase for phase in FILMED if (plan.phase == phase).any()]
    if not filmed:
        filmed = [next(event.phase for event in plan.events if not event.is_practice)]
    skill = np.split(
        -_standard(np.concatenate([part.people.log_sd for part in drawn])),
        np.cumsum([len(part.enrolled) for part in drawn])[:-1],
    )
    parts = []
    for phase in filmed:
        for part, own in zip(drawn, skill, strict=True):
            present = ~part.mishaps.absent[:, part.plan.phase == phase].all(axis=1)
            people = part.enrolled.loc[present, ["participant"]].assign(phase=phase)
            parts.append(people.assign(skill=own[present]))
    clips = pd.concat(parts, ignore_index=True)
    rng = np.random.default_rng(drawn[0].rating_seed)
    ratings = draw_ratings(clips[["participant", "phase"]], clips["skill"].to_numpy(), rng)
    return ratings.astype({"participant": "str", "phase": "str", "item": "str", "rater": "str"})
