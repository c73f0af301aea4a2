"""The lessons: what is asked, what may be predicted, what can be set, how it is shown."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.style import Drawing
from motorlearn.teaching.demonstrations import drawings
from motorlearn.teaching.demonstrations.averaged_curves import averaged_curves
from motorlearn.teaching.demonstrations.demonstration import Demonstration
from motorlearn.teaching.demonstrations.feedback_dependence import feedback_dependence
from motorlearn.teaching.demonstrations.pooled_trials import pooled_trials
from motorlearn.teaching.demonstrations.practice_and_tests import practice_and_tests
from motorlearn.teaching.demonstrations.regression_to_mean import regression_to_mean
from motorlearn.teaching.demonstrations.twenty_attempts import twenty_attempts


@dataclass(frozen=True)
class Control:
    """One setting that a lecturer may change: a number in a range, a choice, or yes and no."""

    name: str
    label: str
    start: Any
    low: float = 0
    high: float = 1
    step: float = 1
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class Lesson:
    """A demonstration with its question, its predictions and its controls."""

    name: str
    title: str
    question: str
    predictions: tuple[str, ...]
    controls: tuple[Control, ...]
    compute: Callable[..., Demonstration]
    draw: Callable[..., Drawing]
    seed: int = 1


_PER_GROUP: Final = Control("per_group", "People per group", 24, 6, 100)

_ALL = (
    Lesson(
        "practice and tests",
        "Performance is not learning",
        "Two groups practise three tasks, one task after the other (blocked) or mixed (random). "
        "The blocked group makes smaller errors in practice. Who makes smaller errors a week "
        "later?",
        ("blocked", "random", "cannot be said from practice"),
        (
            Control(
                "preset", "What is true", "laboratory", choices=("laboratory", "applied", "null")
            ),
            Control("days", "Days until the retention test", 7.0, 0, 28, 1),
            Control("forgetting", "Share of the gain forgotten in a week", 0.35, 0.05, 0.9, 0.05),
            _PER_GROUP,
        ),
        practice_and_tests,
        drawings.draw_practice_and_tests,
    ),
    Lesson(
        "twenty attempts",
        "Twenty attempts are few",
        "One person hits 9 of 20 before a programme and 13 of 20 after it. Has this "
        "person changed?",
        ("yes", "no", "cannot be said"),
        (
            Control("attempts", "Attempts in the test", 20, 5, 100),
            Control("hit_rate", "True hit rate", 0.6, 0.05, 0.95, 0.05),
            Control("spread", "How much people differ (SD of log odds)", 0.7, 0.1, 2.0, 0.1),
        ),
        twenty_attempts,
        drawings.draw_twenty_attempts,
    ),
    Lesson(
        "pooled trials",
        "Pooled trials deceive",
        "Two groups of 15 people do not differ at all. Each person has 20 attempts. A test of all "
        "600 attempts as if each came from another person is run. How often is p below .05?",
        ("1 %", "5 %", "10 %", "25 %"),
        (
            Control("per_group", "People per group", 15, 5, 60),
            Control("attempts", "Attempts per person", 20, 1, 100),
            Control("spread", "How much people differ (SD of log odds)", 0.7, 0.0, 2.0, 0.1),
            Control("studies", "Simulated studies", 2000, 100, 5000, 100),
        ),
        pooled_trials,
        drawings.draw_pooled_trials,
    ),
    Lesson(
        "averaged curves",
        "The average learner does not exist",
        "Every learner in these classes improves along an exponential curve. Which curve will fit "
        "the average of a class?",
        ("exponential", "power", "either"),
        (
            Control("spread", "How much learning rates differ (SD of log)", 1.3, 0.0, 2.0, 0.1),
            Control("median_rate", "Median rate per trial", 0.10, 0.02, 0.3, 0.01),
            Control("learners", "Learners in a class", 24, 3, 60),
            Control("noise", "Noise of a trial (cm)", 1.5, 0.5, 6.0, 0.5),
        ),
        averaged_curves,
        drawings.draw_averaged_curves,
    ),
    Lesson(
        "regression to the mean",
        "One group that was chosen for a poor score",
        "The quarter with the poorest pretest follows a programme that does nothing. What will "
        "their posttest show?",
        ("a gain", "no change", "a loss"),
        (
            Control("chosen", "Share of people chosen", 0.25, 0.1, 1.0, 0.05),
            Control("attempts", "Attempts in each test", 20, 5, 100),
            Control("spread", "How much people differ (SD of log odds)", 0.5, 0.0, 2.0, 0.1),
            Control("effect", "True effect of the programme (log odds)", 0.0, -1.0, 1.0, 0.1),
            Control("control", "Keep a control group", False),
        ),
        regression_to_mean,
        drawings.draw_regression_to_mean,
    ),
    Lesson(
        "feedback dependence",
        "Feedback helps while it lasts",
        "One group is told its error after every trial, the other now and then. Two days later "
        "both are tested without being told. Who makes smaller errors?",
        ("every trial", "now and then", "cannot be said from practice"),
        (
            Control(
                "preset", "What is true", "guidance", choices=("guidance", "null", "information")
            ),
            Control("every", "Second group: feedback on one trial of", 3, 2, 12),
            Control("days", "Days until the test", 2.0, 0, 28, 1),
            _PER_GROUP,
        ),
        feedback_dependence,
        drawings.draw_feedback_dependence,
    ),
)

LESSONS: Final = {lesson.name: lesson for lesson in _ALL}
"""Lessons by name."""


def find_lesson(name: str) -> Lesson:
    """Give a lesson by its name.

    Raises
    ------
    InputError
        If there is no such lesson.
    """
    if name not in LESSONS:
        raise InputError(
            "there is no such demonstration", [name], f"choose one of {', '.join(LESSONS)}"
        )
    return LESSONS[name]
