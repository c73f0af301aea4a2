"""Part and whole: parts practised first, or the whole from the start."""

import numpy as np

from motorlearn.teaching.demonstrations.demonstration import check_settings
from motorlearn.teaching.demonstrations.lesson import OPEN, Control, Lesson, Source, erred_less
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

GROUPS = ("whole", "parts first")
RATE, PART_BLOCKS, WHOLE_BLOCKS = 0.25, 6, 2


def part_and_whole(
    *,
    coupling: float = 0.5,
    focus: float = 1.0,
    days: float = 2,
    per_group: int = 24,
    seed: int = 1,
) -> PracticeCourse:
    """Simulate eight blocks of the whole task, or six of its parts and two of the whole.

    The error is ``10 + 18·((1 - c)·exp(-r·parts) + c·exp(-r·together))`` cm with the coupling c:
    blocks of parts train the parts, `focus` times as well as blocks of the whole do, and nothing of
    how they go together.

    Parameters
    ----------
    coupling : float
        Share of the difficulty that lies in how the parts go together, 0 to 1.
    focus : float
        What a block of parts teaches of them against a block of the whole, 0.5 to 3.
    days : float
        Days until the test, 0 to 60.
    per_group : int
        People in each group, 4 to 500.
    seed : int
        Seed of the people.

    Returns
    -------
    PracticeCourse
        Errors in cm: less is better. While parts are practised, their error is that of a part.

    Raises
    ------
    InputError
        If a setting is outside its range.

    Examples
    --------
    >>> bool(part_and_whole(coupling=0.8, per_group=300).differences["estimate"][1] > 1)
    True
    >>> bool(part_and_whole(coupling=0, focus=2, per_group=300).differences["estimate"][1] < 0)
    True
    """
    given = check_settings(
        {"coupling": coupling, "focus": focus, "days": days, "per_group": per_group},
        {"coupling": (0, 1), "focus": (0.5, 3), "days": (0, 60), **PEOPLE},
    )
    count = PART_BLOCKS + WHOLE_BLOCKS
    n = np.arange(count + 1)
    parts = np.minimum(n, PART_BLOCKS) * focus + np.maximum(n - PART_BLOCKS, 0)
    together = np.maximum(n - PART_BLOCKS, 0)
    left = np.array([_left(coupling, n, n), _left(coupling, parts, together)])
    practice = 10 + 18 * left[:, :count]
    practice[1, :PART_BLOCKS] = 7 + 9 * np.exp(-RATE * parts[:PART_BLOCKS])
    lost = forgotten(days, 0.25, at_once=0.0)
    end = left[:, count]
    tested = 10 + 18 * (end + (1 - end) * lost)
    plan = Plan(
        GROUPS,
        blocks(count),
        ("test",),
        np.column_stack([practice, tested]),
        (
            Comparison("block 1, part against whole", ("block 1",)),
            Comparison("test of the whole", ("test",)),
        ),
    )
    story = (
        f"Eight blocks of the whole task, or six of its parts and two of the whole; a test of the "
        f"whole after {days:g} days. A part is easier, so the first six blocks cannot be compared."
    )
    return practise(plan, {**given, "seed": seed}, story)


def _left(coupling: float, parts: np.ndarray, together: np.ndarray) -> np.ndarray:
    return np.asarray(
        (1 - coupling) * np.exp(-RATE * parts) + coupling * np.exp(-RATE * together), float
    )


def _picture(shown: PracticeCourse) -> Scene:
    tests = {"test": f"whole,\n{shown.settings['days']:g} d later"}
    against = "Parts first\nminus whole"
    return course_scene(shown, tests, top=40, reach=20, against=against, dots=("test",))


LESSON = Lesson(
    "part and whole",
    "Parts first, or the whole at once",
    "Eight blocks of practice: one group does the whole movement, the other its parts for six "
    "blocks and then the whole for two. {days} days later both do the whole. Who errs less?",
    (*GROUPS, OPEN),
    (
        Control("coupling", "Difficulty that lies in joining the parts (share)", 0.5, 0, 1, 0.1,
                page=(0.0, 0.1, 0.2, 0.3, 0.5, 0.8)),
        Control("focus", "What a block of parts teaches of them (1: as a whole one)", 1.0, 0.5, 3.0,
                0.5, page=(0.5, 1.0, 2.0)),
        Control("days", "Days until the test", 2, 0, 28, 1, page=(0, 2, 14)),
        Control("per_group", "People per group", 24, 6, 100),
    ),
    part_and_whole,
    _picture,
    lambda shown: erred_less(shown.differences.iloc[1], GROUPS),
    message="Parts can be practised apart as far as the task comes apart: what joins them (its "
    "organisation) is learned only in the whole. The easy first blocks of the parts say nothing.",
    contested="The rule by complexity and organisation is taught widely; a meta-analysis of 20 "
    "articles supported it on the whole, with several comparisons resting on too few studies.",
    null={"coupling": 0.0, "focus": 1.0},
    sources=(
        Source("Fontana, Furtado, Mazzardo & Gallagher (2009). Whole and part practice: a "
               "meta-analysis. Perceptual and Motor Skills, 109, 517-530.",
               "10.2466/PMS.109.2.517-530", "page"),
        Source("Naylor & Briggs (1963). Effects of task complexity and task organization on the "
               "relative efficiency of part and whole training methods. Journal of Experimental "
               "Psychology, 65, 217-224.", "", "from memory"),
    ),
    seed=2,
    draws=2,
)  # fmt: skip
"""The lesson."""
