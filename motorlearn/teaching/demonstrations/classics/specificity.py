"""Specificity of practice: practised with an aid or without it, tested in both ways."""

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

GROUPS = ("practised with the line", "practised without")
PRESETS = {"specific": (5.0, 1.0), "general": (5.0, 0.0), "null": (0.0, 0.0)}
"""What the aid takes off an error in cm, and whether practice sticks to its own conditions."""


def specificity(
    *,
    preset: str = "specific",
    cost: float = 6,
    practice: int = 8,
    per_group: int = 24,
    seed: int = 1,
) -> PracticeCourse:
    """Simulate practice with and without a line to aim along, and tests of both kinds.

    The line takes 5 cm off the error while it is there. A test in the other condition than the
    practised one costs `cost` cm, more after more practice: ``cost·(1 - exp(-blocks/4))``.

    Parameters
    ----------
    preset : {"specific", "general", "null"}
        ``specific``: a change of conditions costs. ``general``: it does not. ``null``: the line
        does nothing at all.
    cost : float
        What a change of conditions costs after long practice, 0 to 12 cm.
    practice : int
        Practice blocks, 2 to 16.
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
    >>> shown = specificity(preset="general", per_group=300)
    >>> bool(abs(shown.differences["estimate"][2]) < 1)
    True
    """
    helps, sticks = choose(preset, PRESETS)
    given = check_settings(
        {"cost": cost, "practice": practice, "per_group": per_group},
        {"cost": (0, 12), "practice": (2, 16), **PEOPLE},
    )
    count = int(practice)
    learned = 12 + 16 * np.exp(-0.25 * np.arange(count + 1))
    change = sticks * cost * (1 - np.exp(-count / 4))
    end = learned[-1]
    aided = [*(learned[:-1] - helps), end - helps, end + change]
    alone = [*learned[:-1], end - helps + change, end]
    plan = Plan(
        GROUPS,
        blocks(count),
        ("test with line", "test without"),
        np.array([aided, alone]),
        (
            Comparison("end of practice", (f"block {count}",)),
            Comparison("test with the line", ("test with line",)),
            Comparison("test without", ("test without",)),
        ),
    )
    story = f"{count} blocks with or without a line to aim along, then tests of both kinds."
    return practise(plan, {"preset": preset, **given, "seed": seed}, story)


def _picture(shown: PracticeCourse) -> Scene:
    tests = {"test with line": "with", "test without": "without"}
    return course_scene(shown, tests, top=40, reach=14, against="Without\nminus with line")


LESSON = Lesson(
    "specificity",
    "Practice with an aid",
    "One group practises {practice} blocks with a line on the floor to aim along, the other "
    "without. In practice the line helps. Who errs less in a test without the line?",
    (*GROUPS, OPEN),
    (
        Control("preset", "What is true", "specific", choices=tuple(PRESETS)),
        Control("practice", "Practice blocks", 8, 2, 16, 1, page=(2, 4, 8, 16)),
        Control("cost", "What a change of conditions costs (cm)", 6, 0, 12, 1, page=(0, 3, 6, 12)),
        Control("per_group", "People per group", 24, 6, 100),
    ),
    specificity,
    _picture,
    lambda shown: erred_less(shown.differences.iloc[2], GROUPS),
    message="What was practised includes the conditions it was practised in: a test that matches "
    "one group's practice (transfer-appropriate processing) favours that group, so test both ways.",
    contested="Whether practice grows more specific with its amount, or people learn to do with "
    "less feedback, was found both ways; size and cause of the cost depend on the task.",
    null={"preset": "null"},
    sources=(
        Source("Proteau, Marteniuk & Lévesque (1992). A sensorimotor basis for motor learning: "
               "evidence indicating specificity of practice. Quarterly Journal of Experimental "
               "Psychology, 44A, 557-575.", "10.1080/14640749208401298", "page"),
        Source("Morris, Bransford & Franks (1977). Levels of processing versus transfer "
               "appropriate processing. Journal of Verbal Learning and Verbal Behavior, 16, "
               "519-533.",
               "", "from memory"),
    ),
    seed=2,
)  # fmt: skip
"""The lesson."""
