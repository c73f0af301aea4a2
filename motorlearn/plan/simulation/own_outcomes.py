"""Invented scores of outcomes that are no landing points: times, speeds, points."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from motorlearn.design import Design, Outcome

LANDING: Final = (
    "hit",
    "hits",
    "hit_rate",
    "x",
    "y",
    "error",
    "radial_error",
    "mean_radial_error",
    "centroid_radial_error",
    "bivariate_variable_error",
)
"""Outcomes that follow from landing points."""

_TRIAL_SD: Final = 0.20
_USUAL: Final = 10.0
_STEEPNESS: Final = 2.0


def own_outcomes(
    design: Design,
    spread: np.ndarray,
    final: float,
    rng: np.random.Generator,
    *,
    phases: Sequence[str] = (),
    tasks: np.ndarray | None = None,
) -> dict[str, np.ndarray]:
    """Draw every planned outcome that landing points do not give.

    Skill is how far the log spread of a trial lies below the population's ``final`` one. A time or
    speed is ``base exp(∓ skill)`` with lognormal noise, where the base is the assumed baseline of
    the primary outcome, or 10; a score between two limits follows a logistic curve of skill and is
    rounded where both limits are whole. An outcome with a target is drawn around it, with that
    time as the spread.

    Parameters
    ----------
    design : Design
        The plan.
    spread : ndarray, shape (people, trials)
        True log spread of each trial.
    final : float
        Log spread of the population after endless practice.
    rng : Generator
        Source of chance.
    phases : sequence of str, length trials
        Phase of each trial, which may have a target of its own.
    tasks : ndarray of int, shape (people, trials), optional
        Place of each trial's task in the plan, which may have a target too.

    Returns
    -------
    dict of str to ndarray, shape (people, trials)
    """
    drawn = {}
    for outcome in design.outcomes:
        if outcome.name in LANDING and not outcome.column:
            continue
        skill = final - spread + _TRIAL_SD * rng.standard_normal(spread.shape)
        values = _scored(outcome, skill, design)
        if outcome.has_target:
            around = _targets(outcome, design, phases, tasks, spread.shape)
            values = np.round(around + values * rng.standard_normal(spread.shape), 3)
        drawn[outcome.recorded] = values
    return drawn


def _targets(
    outcome: Outcome,
    design: Design,
    phases: Sequence[str],
    tasks: np.ndarray | None,
    shape: tuple[int, ...],
) -> np.ndarray:
    """Target of each trial: of its task, else of its phase, else the common one, else 0."""
    target = np.full(shape, outcome.target or 0.0)
    for place, phase in enumerate(phases):
        target[:, place] = outcome.targets.get(phase, outcome.target or 0.0)
    if tasks is not None:
        for number, task in enumerate(design.tasks):
            if task.name in outcome.targets:
                target[tasks == number] = outcome.targets[task.name]
    return target


def _scored(outcome: Outcome, skill: np.ndarray, design: Design) -> np.ndarray:
    sign = 1.0 if outcome.better == "higher" else -1.0
    if outcome.low is not None and outcome.high is not None:
        share = 1 / (1 + np.exp(-sign * _STEEPNESS * (skill + 0.5)))
        values = outcome.low + (outcome.high - outcome.low) * share
        whole = float(outcome.low).is_integer() and float(outcome.high).is_integer()
        return np.round(values, 0 if whole else 3)
    values = _base(outcome, design) * np.exp(sign * skill)
    return np.round(np.clip(values, outcome.low, outcome.high), 3)


def _base(outcome: Outcome, design: Design) -> float:
    """Final level: that which practice takes the assumed baseline to, or 10 units."""
    assumed, primary = design.assumptions, design.primary
    if assumed is None or primary is None or primary.outcome != outcome.name:
        return _USUAL
    sign = 1.0 if outcome.better == "higher" else -1.0
    final = assumed.baseline + sign * assumed.gain
    return final if final > 0 else _USUAL
