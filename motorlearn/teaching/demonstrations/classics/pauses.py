"""Distribution of practice: trials on end, or with pauses between them."""

import numpy as np

from motorlearn.teaching.demonstrations.demonstration import check_settings
from motorlearn.teaching.demonstrations.lesson import (
    OPEN,
    Control,
    Lesson,
    Source,
    choose,
    erred_less,
)
from motorlearn.teaching.demonstrations.practice_and_tests import forgotten
from motorlearn.teaching.demonstrations.practice_course import (
    PEOPLE,
    Comparison,
    Plan,
    PracticeCourse,
    blocks,
    course_scene,
    practise,
)
from motorlearn.teaching.demonstrations.scene import Scene

GROUPS = ("without pauses", "with pauses")
PRESETS = {"performance": (8.0, 1.0), "learning": (8.0, 0.5), "null": (0.0, 1.0)}
"""Fatigue in cm at the end of practice on end, and what a tired trial teaches of a rested one's."""


def pauses(
    *,
    preset: str = "performance",
    rest: float = 30,
    days: float = 2,
    per_group: int = 24,
    seed: int = 1,
) -> PracticeCourse:
    """Simulate the same number of trials with and without pauses, and rested tests.

    Practice on end adds ``F·(1 - exp(-block/2))`` cm of fatigue, of which pauses of `rest` seconds
    leave ``exp(-rest/10)``; a tired trial teaches the preset's share of a rested one. Both groups
    are rested at the test, and forget alike.

    Parameters
    ----------
    preset : {"performance", "learning", "null"}
        ``performance``: fatigue shows in practice only. ``learning``: tired trials teach half as
        much, too. ``null``: pauses do nothing.
    rest : float
        Seconds between trials in the group with pauses, 0 to 120.
    days : float
        Days until the test, 0 to 60.
    per_group : int
        People in each group, 4 to 500.
    seed : int
        Seed of the people.

    Returns
    -------
    PracticeCourse
        Errors in cm: less is better.

    Raises
    ------
    InputError
        If a setting is outside its range or the preset is unknown.

    Examples
    --------
    >>> practice, test, change = pauses(per_group=300).differences["estimate"]
    >>> practice < -4, abs(test) < 1
    (True, True)
    """
    tired, worth = choose(preset, PRESETS)
    given = check_settings(
        {"rest": rest, "days": days, "per_group": per_group},
        {"rest": (0, 120), "days": (0, 60), **PEOPLE},
    )
    left = np.array([1.0, np.exp(-rest / 10)])[:, None]
    fatigue = tired * left * (1 - np.exp(-np.arange(1, 9) / 2))
    teaches = 1 - (1 - worth) * left
    excess = 16 * np.exp(-0.3 * teaches * np.arange(9))
    end = excess[:, 8]
    tested = 12 + end + (16 - end) * forgotten(days, 0.25, at_once=0.0)
    expected = np.column_stack([12 + excess[:, :8] + fatigue, tested])
    plan = Plan(
        GROUPS,
        blocks(8),
        ("test",),
        expected,
        (
            Comparison("end of practice", ("block 7", "block 8")),
            Comparison("rested test", ("test",)),
            Comparison("change", ("test",), ("block 7", "block 8")),
        ),
    )
    story = f"Eight blocks, trials on end or with {rest:g} s between, a test after {days:g} days."
    return practise(plan, {"preset": preset, **given, "seed": seed}, story)


def _picture(shown: PracticeCourse) -> Scene:
    tests = {"test": f"{shown.settings['days']:g} d\nlater"}
    against = "With pauses\nminus without"
    return course_scene(shown, tests, top=45, reach=14, against=against, dots=("test",))


LESSON = Lesson(
    "pauses",
    "Pauses between trials",
    "Two groups do the same number of trials: one on end, the other with {rest} s between them. "
    "{days} days later both come back rested. Who errs less then?",
    (*GROUPS, OPEN),
    (
        Control("preset", "What is true", "performance", choices=tuple(PRESETS)),
        Control("rest", "Seconds between trials", 30, 0, 120, 5, page=(0, 5, 10, 30, 60)),
        Control("days", "Days until the test", 2, 0, 28, 1, page=(0, 2, 7, 28)),
        Control("per_group", "People per group", 24, 6, 100),
    ),
    pauses,
    _picture,
    lambda shown: erred_less(shown.differences.iloc[1], GROUPS),
    message="Fatigue lowers performance while it lasts; whether it lowers learning is seen only at "
    "a test where everybody is rested.",
    contested="A meta-analysis of pauses between trials concluded that practice on end depresses "
    "performance and learning, by absolute retention; others argue for no effect on learning. Days "
    "between sessions are another question than seconds between trials.",
    null={"preset": "null"},
    sources=(
        Source("Lee & Genovese (1988). Distribution of practice in motor skill acquisition: "
               "learning and performance effects reconsidered. Research Quarterly for Exercise "
               "and Sport, 59, 277-287.", "", "abstract"),
        Source("Shea, Lai, Black & Park (2000). Spacing practice sessions across days benefits the "
               "learning of motor skills. Human Movement Science, 19, 737-760.",
               "10.1016/S0167-9457(00)00021-X", "abstract"),
    ),
    seed=2,
    draws=2,
)  # fmt: skip
"""The lesson."""
