"""After a gap: what is lost, what a warm-up brings back, what is saved."""

import numpy as np

from motorlearn.teaching.demonstrations.demonstration import check_settings
from motorlearn.teaching.demonstrations.lesson import OPEN, Control, Lesson, Source, choose
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

GROUPS = ("straight in", "warmed up first")
PRESETS = {"both": (1.0, 5.0), "warm-up": (0.0, 5.0), "forgetting": (1.0, 0.0), "null": (0.0, 0.0)}
"""Whether the gap is forgotten over, and how many cm the first block lacks of warming up."""
RATE, SAVED, GAIN, FLOOR = 0.35, 1.5, 16.0, 12.0
_AFTER = tuple(f"after {k + 1}" for k in range(3))


def after_a_gap(
    *,
    preset: str = "both",
    days: float = 14,
    forgetting: float = 0.3,
    per_group: int = 24,
    seed: int = 1,
) -> PracticeCourse:
    """Simulate practice, a gap, and a test straight away or after a warm-up without the task.

    Excess error falls by ``exp(-0.35)`` a block, and by ``exp(-0.35·1.5)`` after the gap, which is
    the saving. The gap loses ``1 - (1 + days)^(-b)`` of the gain, `forgetting` of it in a week.
    Those who go straight in lack 5 cm in their first block, which wears off in a block or two.

    Parameters
    ----------
    preset : {"both", "warm-up", "forgetting", "null"}
        What the gap does.
    days : float
        Days without practice, 1 to 60.
    forgetting : float
        Share of the gain lost in 7 days, 0.05 to 0.9.
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
    >>> shown = after_a_gap(preset="warm-up", per_group=200)
    >>> shown.differences["estimate"].round().astype(int).tolist()[:2]
    [5, 0]
    """
    lost, cold = choose(preset, PRESETS)
    given = check_settings(
        {"days": days, "forgetting": forgetting, "per_group": per_group},
        {"days": (1, 60), "forgetting": (0.05, 0.9), **PEOPLE},
    )
    first = GAIN * np.exp(-RATE * np.arange(6))
    share = lost * forgotten(days, forgetting, at_once=0.0)
    start = first[-1] + (GAIN - first[-1]) * share
    after = start * np.exp(-RATE * SAVED * np.arange(3))
    chill = cold * np.exp(-1.5 * np.arange(3))
    expected = FLOOR + np.array([[*first, *(after + chill)], [*first, *after]])
    plan = Plan(
        GROUPS,
        blocks(6),
        _AFTER,
        expected,
        (
            Comparison("lost, straight in", _AFTER[:1], ("block 6",), (0,)),
            Comparison("lost, warmed up first", _AFTER[:1], ("block 6",), (1,)),
            Comparison("what the warm-up saves", _AFTER[:1]),
            Comparison("third block, now and at first", _AFTER[2:], ("block 3",), (0,)),
        ),
    )
    settings = {"preset": preset, **given, "seed": seed}
    return practise(plan, settings, f"Six blocks of practice, then three after {days:g} days.")


def _picture(shown: PracticeCourse) -> Scene:
    tests = dict(zip(_AFTER, ("1st", "2nd", "3rd block\nafter"), strict=True))
    return course_scene(shown, tests, top=40, reach=20, against="Change in error")


def _answer(shown: PracticeCourse) -> str:
    lost, warm = shown.differences.iloc[1], shown.differences.iloc[2]
    forgot, cold = lost["conf_low"] > 0, warm["conf_high"] < 0
    if forgot:
        return "both" if cold else "forgetting"
    return "a lack of warming up" if cold else OPEN


LESSON = Lesson(
    "after a gap",
    "The first trials after a gap",
    "People practise, then pause for {days} days. Half of them go straight in; the others first do "
    "a warm-up that has nothing of the task itself. What is the loss of the first block made of?",
    ("forgetting", "a lack of warming up", "both", OPEN),
    (
        Control("preset", "What is true", "both", choices=tuple(PRESETS)),
        Control("days", "Days without practice", 14, 1, 60, 1, page=(1, 7, 14, 28, 56)),
        Control("forgetting", "Share of the gain forgotten in a week", 0.3, 0.05, 0.9, 0.05,
                page=(0.1, 0.3, 0.6)),
        Control("per_group", "People per group", 24, 6, 100),
    ),
    after_a_gap,
    _picture,
    _answer,
    message="A poor first block is not yet forgetting: what a few trials or a warm-up bring back "
    "was not lost, and relearning is faster than learning was (savings).",
    contested="What a warm-up restores (a set of adjustments, or part of the memory itself) is "
    "disputed. How much is forgotten depends on the task; the course over days is assumed here.",
    null={"preset": "null"},
    sources=(
        Source("Schendel, Shields & Katz (1978). Retention of motor skills: review.", "",
               "abstract"),
        Source("Schmidt & Nacson (1971). Further tests of the activity-set hypothesis for warm-up "
               "decrement. Journal of Experimental Psychology.", "", "abstract"),
        Source("Adams (1961). The second facet of forgetting: a review of warm-up decrement. "
               "Psychological Bulletin, 58, 257-273.", "10.1037/h0044798", "from memory"),
    ),
    seed=2,
    draws=2,
)  # fmt: skip
"""The lesson."""
