"""Variability of practice: one distance or several, tested at the old and at a new one."""

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

GROUPS = ("one distance", "several distances")
PRESETS = {"schema": (3.0, 1.0, 0.3), "especial": (3.0, 1.0, 1.0), "null": (0.0, 1.0, 1.0)}
"""Cost of variety in practice in cm, and how steeply error grows with the distance from what was
practised, after constant and after variable practice."""


def variability(
    *,
    preset: str = "schema",
    far: float = 2,
    steepness: float = 3,
    per_group: int = 24,
    seed: int = 1,
) -> PracticeCourse:
    """Simulate practice at one distance or at several, and tests at the old and at a new one.

    A test `far` metres away from the practised distance adds ``steepness·far`` cm after practice at
    one distance, and the preset's share of that after practice at several.

    Parameters
    ----------
    preset : {"schema", "especial", "null"}
        ``schema``: variety costs in practice and pays at new distances. ``especial``: it costs at
        the old distance and pays nowhere. ``null``: it does nothing.
    far : float
        How far the new distance is from the old one, 0 to 4 m.
    steepness : float
        Cm of error for each metre, 0 to 5.
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
    >>> practice, old, new = variability(per_group=300).differences["estimate"]
    >>> practice > 0 > new
    True
    """
    costs, constant, variable = choose(preset, PRESETS)
    given = check_settings(
        {"far": far, "steepness": steepness, "per_group": per_group},
        {"far": (0, 4), "steepness": (0, 5), **PEOPLE},
    )
    learned = 12 + 16 * np.exp(-0.25 * np.arange(9))
    away = steepness * far * np.array([constant, variable])
    cost = costs * np.array([0.0, 1.0])
    expected = np.array(
        [[*(learned[:8] + cost[g]), learned[8] + cost[g] / 2, learned[8] + away[g] + cost[g] / 2]
         for g in range(2)]
    )  # fmt: skip
    plan = Plan(
        GROUPS,
        blocks(8),
        ("old distance", "new distance"),
        expected,
        (
            Comparison("end of practice", ("block 7", "block 8")),
            Comparison("test, old distance", ("old distance",)),
            Comparison("test, new distance", ("new distance",)),
        ),
    )
    story = f"Eight blocks at one or several distances, tests at the old one and {far:g} m away."
    return practise(plan, {"preset": preset, **given, "seed": seed}, story)


def _picture(shown: PracticeCourse) -> Scene:
    tests = {"old distance": "old", "new distance": "new\ndistance"}
    return course_scene(shown, tests, top=45, reach=16, against="Several\nminus one distance")


LESSON = Lesson(
    "variability",
    "One distance or several",
    "One group practises at one distance, the other at several around it. Both are then tested at "
    "a distance {far} m away that nobody has practised. Who errs less there?",
    (*GROUPS, OPEN),
    (
        Control("preset", "What is true", "schema", choices=tuple(PRESETS)),
        Control("far", "How far the new distance is (m)", 2.0, 0, 4, 0.25, page=(0, 1, 2, 4)),
        Control("steepness", "Error for each metre (cm)", 3, 0, 5, 1, page=(0, 1, 3, 5)),
        Control("per_group", "People per group", 24, 6, 100),
    ),
    variability,
    _picture,
    lambda shown: erred_less(shown.differences.iloc[2], GROUPS),
    message="Variety costs in practice; whether it pays is asked by a transfer test at something "
    "new, not by a test at what one group has practised.",
    contested="A review of 73 experiments found that about half could not address the prediction, "
    "and little consistent support in the rest, neither with adults nor with children.",
    null={"preset": "null", "steepness": 0},
    sources=(
        Source("Van Rossum (1990). Schmidt's schema theory: the empirical base of the variability "
               "of practice hypothesis. Human Movement Science, 9, 387-435.",
               "", "abstract"),
        Source("Carson & Wiegand (1979). Motor schema formation and retention in young children. "
               "Journal of Motor Behavior, 11, 247-251.", "",
               "abstract"),
        Source("Schmidt (1975). A schema theory of discrete motor skill learning. Psychological "
               "Review, 82, 225-260.", "", "from memory"),
    ),
    seed=2,
)  # fmt: skip
"""The lesson."""
