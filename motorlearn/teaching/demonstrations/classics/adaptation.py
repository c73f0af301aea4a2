"""Adaptation and after-effect: a rotated view, its removal, and its return."""

from typing import Any

import numpy as np

from motorlearn import digits
from motorlearn.teaching.demonstrations.demonstration import check_settings
from motorlearn.teaching.demonstrations.illustration import (
    Illustration,
    estimates_of,
    number_words,
    series_of,
)
from motorlearn.teaching.demonstrations.lesson import Control, Lesson, Source, choose
from motorlearn.teaching.demonstrations.scene import Panel, Scene, mark, rows_of
from motorlearn.teaching.demonstrations.two_groups import mean_interval

PRESETS = {
    "two processes": ((0.59, 0.21), (0.998, 0.06)),
    "one process": ((0.98, 0.12), (0.0, 0.0)),
    "aiming off": ((0.0, 0.0), (0.0, 0.0)),
    "null": ((0.0, 0.0), (0.0, 0.0)),
}
"""Retention and learning rate of a fast and a slow process, from trial to trial; illustrative."""
PHASES = (("straight view", 16), ("rotated", 80), ("straight again", 32), ("rotated again", 40))
BIN = 4


def adaptation(
    *,
    preset: str = "two processes",
    rotation: float = 30,
    per_group: int = 16,
    seed: int = 1,
) -> Illustration:
    r"""Simulate throws through a view that is rotated, straight again, and rotated again.

    .. math:: error_n = rotation_n - f_n - s_n, \quad f_{n+1} = A_f f_n + B_f error_n, \quad
        s_{n+1} = A_s s_n + B_s error_n

    Two processes learn from the same error: a fast one that forgets fast and a slow one that keeps
    (Smith, Ghazizadeh & Shadmehr, 2006). ``aiming off`` is a person who sees the rotation, aims
    beside the target by a rule, and stops as soon as it is gone.

    Parameters
    ----------
    preset : {"two processes", "one process", "aiming off", "null"}
        What changes from throw to throw; ``null`` is a person who does not change at all.
    rotation : float
        Rotation of the view, 0 to 60 degrees.
    per_group : int
        People, 4 to 200.
    seed : int
        Seed of their throws.

    Returns
    -------
    Illustration
        Errors of direction in degrees, positive on the side of the rotation.

    Raises
    ------
    InputError
        If a setting is outside its range or the preset is unknown.

    Examples
    --------
    >>> first, after, saved = adaptation().estimates["estimate"]
    >>> bool(first > 15), bool(after < -10), bool(saved < 0)
    (True, True, True)
    """
    rates = choose(preset, PRESETS)
    given = check_settings(
        {"rotation": rotation, "per_group": per_group}, {"rotation": (0, 60), "per_group": (4, 200)}
    )
    turned = np.repeat([0.0, rotation, 0.0, rotation], [count for _, count in PHASES])
    n = int(per_group)
    noise = np.random.default_rng(seed).normal(0, 4, (n, len(turned)))
    errors = _throw(turned, rates, noise, aims=preset == "aiming off")
    settings = {"preset": preset, **given, "seed": seed}
    return _result(errors, settings)


def _throw(turned: np.ndarray, rates: Any, noise: np.ndarray, *, aims: bool) -> np.ndarray:
    (keep_fast, learn_fast), (keep_slow, learn_slow) = rates
    fast, slow = np.zeros(len(noise)), np.zeros(len(noise))
    errors = np.empty_like(noise)
    for trial, turn in enumerate(turned):
        seen = trial > 0 and turned[trial - 1] == turn
        rule = 0.9 * turn if aims and seen else 0.0
        error = turn - fast - slow - rule
        errors[:, trial] = error + noise[:, trial]
        fast = keep_fast * fast + learn_fast * errors[:, trial]
        slow = keep_slow * slow + learn_slow * errors[:, trial]
    return errors


def _result(errors: np.ndarray, settings: dict[str, Any]) -> Illustration:
    starts = np.cumsum([0, *(count for _, count in PHASES)])
    first, again = (errors[:, s : s + 8].mean(1) for s in starts[[1, 3]])
    early = errors[:, starts[2] : starts[2] + 4].mean(1)
    rows = estimates_of(
        [
            ("first throws, rotated", *mean_interval(errors[:, starts[1] : starts[1] + 4].mean(1))),
            ("first throws after it", *mean_interval(early)),
            ("second time minus first", *mean_interval(again - first)),
        ]
    )
    binned = errors.reshape(len(errors), -1, BIN).mean(-1)
    intervals = np.array([mean_interval(column) for column in binned.T])
    x = np.arange(binned.shape[1]) * BIN + (BIN + 1) / 2
    series = series_of("error of direction", x, intervals[:, 0], intervals[:, 1], intervals[:, 2])
    said = "; ".join(f"{r['what']} {number_words(r, 'degrees')}" for _, r in rows.iterrows())
    last = digits.number(float(intervals[(starts[2] // BIN) - 1, 0]), 1)
    return Illustration(
        settings=settings,
        conclusion=f"Errors of direction: {said}.",
        text="Mean error of direction over throws: 16 with a straight view, 80 rotated by "
        f"{digits.number(settings['rotation'], 0)} degrees, 32 straight, 40 rotated again. The "
        f"last four of the 80 erred by {last} degrees. {said}.",
        series=series,
        estimates=rows,
        unit="degrees",
    )


def _picture(shown: Illustration) -> Scene:
    rows = shown.series
    line = mark("line", rows["x"], rows["y"], low=rows["low"], high=rows["high"])
    ends = np.cumsum([0, *(count for _, count in PHASES)])
    names = ("straight", "rotated", "straight", "rotated\nagain")
    places = {float(a + b) / 2: name for a, b, name in zip(ends[:-1], ends[1:], names, strict=True)}
    walls = tuple(mark("line", [end, end], [-60, 60], look=-1) for end in ends[1:-1])
    panels = (
        Panel("168 throws", "Error of direction (degrees)", (0, 168), (-45, 65), (*walls, line),
              ticks=places, rules=(0,), weight=1.9),
        Panel("Degrees", "", (-65, 65), rows=rows_of(shown.estimates), rules=(0,),
              title="Mean, 95 % CI"),
    )  # fmt: skip
    return Scene(panels, "Means of four throws, 95 % CI over people")


def _answer(shown: Illustration) -> str:
    row = shown.estimates.iloc[1]
    if row["conf_high"] < 0:
        return "beside it, on the other side"
    return "beside it, as at first" if row["conf_low"] > 0 else "at the target"


LESSON = Lesson(
    "adaptation",
    "Throwing through a rotated view",
    "After 80 throws through a view rotated by {rotation} degrees people hit the target again. "
    "Then the view is straight, and nobody says so. Where do the first throws go?",
    ("at the target", "beside it, as at first", "beside it, on the other side"),
    (
        Control("preset", "What is true", "two processes", choices=tuple(PRESETS)),
        Control("rotation", "Rotation (degrees)", 30, 0, 60, 5, page=(0, 10, 20, 30, 45, 60)),
        Control("per_group", "People", 16, 6, 60, page=(8, 16, 40)),
    ),
    adaptation,
    _picture,
    _answer,
    message="An after-effect shows that something was learned that does not stop by deciding to; a "
    "strategy leaves none. Coming back to the rotation is faster than the first time (savings).",
    contested="Two processes with fixed rates make savings after few straight throws, and fail "
    "after a full wash-out, where rates themselves or remembered strategies must have changed.",
    null={"preset": "null", "rotation": 0},
    sources=(
        Source("Zarahn, Weston, Liang, Mazzoni & Krakauer (2008). Explaining savings for "
               "visuomotor adaptation: linear time-invariant state-space models are not "
               "sufficient. Journal of Neurophysiology, 100, 2537-2548. "
               "PMC2585408", "", "abstract"),
        Source("Ethier, Zee & Shadmehr (2008). Spontaneous recovery of motor memory during saccade "
               "adaptation. Journal of Neurophysiology, 99, 2577-2583.", "", "abstract"),
        Source("Smith, Ghazizadeh & Shadmehr (2006). Interacting adaptive processes with different "
               "timescales underlie short-term motor learning. PLoS Biology, 4, e179.",
               "10.1371/journal.pbio.0040179", "from memory"),
    ),
    draws=1,
)  # fmt: skip
"""The lesson."""
