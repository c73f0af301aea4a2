"""The generator of invented studies, on arrays: people, practice, forgetting, landing points.

For participant i, task v and trial t the ring lands at x ~ N(b_x s, 0.75 sigma),
y ~ N(b_y s, sigma) with log sigma = a_i + L + d_v + e, where L = gain_i exp(-k_i j) falls with the
number j of practice trials of the same task, rises again by forgetting, and e is the effect of the
practice schedule in that phase. All lengths are in centimetres.
"""

from dataclasses import dataclass

import numpy as np
import scipy

from motorlearn.plan.simulation.presets import Preset
from motorlearn.plan.timetable import DEFAULT_DELAY, Timetable

_WARM_UP_TRIALS = 2.0
_RESTART_TRIALS = 5.0


@dataclass(frozen=True)
class People:
    """True values of the participants, one entry each.

    Parameters
    ----------
    log_sd : ndarray
        Log of the spread that is left after endless practice.
    gain, rate : ndarray
        Log spread that practice takes off, and how fast per trial of a task.
    forgetting : ndarray
        Share of the improvement lost seven days after practice.
    bias_x, bias_y : ndarray
        Aiming bias in cm before any practice.
    """

    log_sd: np.ndarray
    gain: np.ndarray
    rate: np.ndarray
    forgetting: np.ndarray
    bias_x: np.ndarray
    bias_y: np.ndarray


def draw_people(experienced: np.ndarray, preset: Preset, rng: np.random.Generator) -> People:
    """Draw the true values of the participants.

    Parameters
    ----------
    experienced : ndarray of bool, shape (people,)
        Who has experience; half the people are expected to.
    preset : Preset
        Parameters of the population.
    rng : Generator
        Source of chance.
    """
    n = len(experienced)
    rest = np.sqrt(max(preset.log_sd_between**2 - preset.experience**2, 0.0))
    shift = np.where(experienced, -preset.experience, preset.experience)
    return People(
        log_sd=preset.log_sd + shift + rest * rng.standard_normal(n),
        gain=preset.gain_median * np.exp(preset.gain_log_sd * rng.standard_normal(n)),
        rate=preset.rate_median * np.exp(preset.rate_log_sd * rng.standard_normal(n)),
        forgetting=np.clip(rng.normal(preset.forgetting_delayed, preset.forgetting_sd, n), 0, 1),
        bias_x=rng.normal(*preset.bias_x, n),
        bias_y=rng.normal(*preset.bias_y, n),
    )


def practised(tasks: np.ndarray, is_practice: np.ndarray) -> np.ndarray:
    """Count the practice trials of the same task before each trial.

    Parameters
    ----------
    tasks : ndarray of int, shape (people, trials)
        Task of each trial.
    is_practice : ndarray of bool, shape (trials,)
        Which trials are practice.

    Examples
    --------
    >>> practised(np.array([[0, 0, 1, 0]]), np.array([False, True, True, True]))
    array([[0, 0, 0, 1]])
    """
    counts = np.zeros(tasks.shape, dtype=int)
    for task in range(int(tasks.max()) + 1):
        here = tasks == task
        done = np.cumsum(here & is_practice, axis=1)
        counts = np.where(here, done - (here & is_practice), counts)
    return counts


def log_spread(
    people: People,
    tasks: np.ndarray,
    shifts: np.ndarray,
    plan: Timetable,
    preset: Preset,
) -> np.ndarray:
    """Log of the true landing spread of each trial.

    Parameters
    ----------
    people : People
        True values, one per participant.
    tasks : ndarray of int, shape (people, trials)
        Task of each trial.
    shifts : ndarray, shape (people, events)
        Effect of the person's schedule in each event.
    plan : Timetable
        What happens when.
    preset : Preset
        Parameters of the population.

    Returns
    -------
    ndarray, shape (people, trials)
    """
    left = people.gain[:, None] * np.exp(-people.rate[:, None] * practised(tasks, plan.is_practice))
    lost = _forgotten(people, plan, preset)[:, plan.event]
    left = left + (people.gain[:, None] - left) * lost
    difficulty = np.resize(preset.task_difficulty, int(tasks.max()) + 1)
    spread: np.ndarray = (
        people.log_sd[:, None]
        + left
        + difficulty[tasks]
        + shifts[:, plan.event]
        + _start_cost(plan, preset)
    )
    return spread


def draw_landings(
    people: People,
    spread: np.ndarray,
    plan: Timetable,
    preset: Preset,
    rng: np.random.Generator,
) -> tuple[np.ndarray, np.ndarray]:
    """Draw where the rings come to rest.

    Returns
    -------
    x, y : ndarray, shape (people, trials)
        Landing point in cm: to the right of, and beyond, the centre of the target.
    """
    shape = spread.shape
    noise_x, noise_y = (_correlated(shape, plan, preset, rng) for _ in range(2))
    mishit = rng.random(shape) < preset.mishit_share
    sigma = np.exp(spread) * np.where(mishit, preset.mishit_factor, 1.0)
    shares = np.array([preset.bias_share.get(event.phase, 1.0) for event in plan.events])
    share = shares[plan.event]
    x = people.bias_x[:, None] * share + preset.aspect * sigma * noise_x
    y = people.bias_y[:, None] * share + sigma * noise_y
    return x, y


def _forgotten(people: People, plan: Timetable, preset: Preset) -> np.ndarray:
    """Share of the improvement that is lost, per participant and event."""
    lost = np.zeros((len(people.gain), len(plan.events)))
    for number, event in enumerate(plan.events):
        if event.phase in ("retention", "transfer"):
            lost[:, number] = people.forgetting * _delay_factor(event.delay_days)
        elif event.phase in ("posttest", "progress"):
            lost[:, number] = preset.forgetting_immediate
    return np.clip(lost, 0.0, 1.0)


def _delay_factor(days: float) -> float:
    return float(np.log1p(days) / np.log1p(DEFAULT_DELAY))


def _start_cost(plan: Timetable, preset: Preset) -> np.ndarray:
    """Warm-up at the start of a test, restart at the start of a further session, transfer."""
    cost = np.zeros(len(plan.event))
    practice_seen = False
    for number, event in enumerate(plan.events):
        here = plan.event == number
        position = plan.position[here]
        if event.is_practice:
            cost[here] = preset.restart * practice_seen * np.exp(-position / _RESTART_TRIALS)
            practice_seen = True
        else:
            past = position + event.warm_up
            cost[here] = preset.warm_up * np.exp(-past / _WARM_UP_TRIALS)
            cost[here] += preset.transfer_cost * (event.phase == "transfer")
    return cost


def _correlated(
    shape: tuple[int, int], plan: Timetable, preset: Preset, rng: np.random.Generator
) -> np.ndarray:
    """Standard normal noise with first-order autocorrelation inside each event."""
    rho = preset.serial_correlation
    noise = rng.standard_normal(shape)
    for number in range(len(plan.events)):
        here = plan.event == number
        part = noise[:, here]
        part[:, 1:] *= np.sqrt(1 - rho**2)
        noise[:, here] = scipy.signal.lfilter([1.0], [1.0, -rho], part, axis=1)
    return noise
