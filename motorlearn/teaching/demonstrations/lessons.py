"""The lessons by name: the first six are declared here, the others beside their simulations."""

from typing import Final

import pandas as pd

from motorlearn.exceptions import InputError
from motorlearn.teaching.demonstrations import pictures
from motorlearn.teaching.demonstrations.averaged_curves import AveragedCurves, averaged_curves
from motorlearn.teaching.demonstrations.classics import (
    adaptation,
    after_a_gap,
    baseline_adjustment,
    ceiling,
    feedback_schedules,
    individual_differences,
    many_outcomes,
    optional_stopping,
    part_and_whole,
    pauses,
    power_or_exponential,
    specificity,
    speed_and_accuracy,
    variability,
)
from motorlearn.teaching.demonstrations.feedback_dependence import feedback_dependence
from motorlearn.teaching.demonstrations.lesson import Control as Control
from motorlearn.teaching.demonstrations.lesson import Lesson as Lesson
from motorlearn.teaching.demonstrations.lesson import Source, nearest
from motorlearn.teaching.demonstrations.pooled_trials import pooled_trials
from motorlearn.teaching.demonstrations.practice_and_tests import practice_and_tests
from motorlearn.teaching.demonstrations.regression_to_mean import (
    RegressionToMean,
    regression_to_mean,
)
from motorlearn.teaching.demonstrations.twenty_attempts import twenty_attempts

_PER_GROUP: Final = Control("per_group", "People per group", 24, 6, 100)
_UNTOLD: Final = "cannot be said from practice"
_POOLED: Final = {0.01: "1 %", 0.05: "5 %", 0.10: "10 %", 0.25: "25 %", 0.5: "50 %"}


def _form(shown: AveragedCurves) -> str:
    """Which form the averages of classes prefer."""
    average: pd.Series = shown.shares.iloc[1]
    if average["conf_low"] > 0.5:
        return "exponential"
    return "power" if average["conf_high"] < 0.5 else "either"


def _change(shown: RegressionToMean) -> str:
    row = shown.changes.iloc[0]
    if row["conf_low"] > 0:
        return "a gain"
    return "a loss" if row["conf_high"] < 0 else "no change"


_FIRST = (
    Lesson(
        "practice and tests",
        "Two orders of practice",
        "Two groups practise three tasks, one task after the other (blocked) or mixed (random). "
        "In practice one of them makes smaller errors. Who makes smaller errors {days} days later?",
        ("blocked", "random", _UNTOLD),
        (
            Control(
                "preset", "What is true", "laboratory", choices=("laboratory", "applied", "null")
            ),
            Control("days", "Days until the retention test", 7.0, 0, 28, 1, page=(0, 1, 7, 14, 28)),
            Control("forgetting", "Share of the gain forgotten in a week", 0.35, 0.05, 0.9, 0.05,
                    page=(0.05, 0.35, 0.6, 0.9)),
            _PER_GROUP,
        ),
        practice_and_tests,
        pictures.practice_and_tests_scene,
        lambda shown: _UNTOLD,
        message="Performance in practice is not learning: only a test after a gap can speak of it, "
        "and the number that counts is how far the gap between the groups moved.",
        contested="Random practice helped retention in the laboratory; in applied settings a "
        "meta-analysis of 54 studies found next to nothing. The demonstration assumes an effect.",
        null={"preset": "null"},
        sources=(
            Source("Czyż, Wójcik, Solarská & Kiper (2024). High contextual interference improves "
                   "retention in motor learning. Scientific Reports, 14, 15974.",
                   "10.1038/s41598-024-65753-3", "abstract"),
            Source("Salmoni, Schmidt & Walter (1984). Knowledge of results and motor learning. "
                   "Psychological Bulletin, 95, 355-386.", "10.1037/0033-2909.95.3.355"),
        ),
        draws=2,
    ),
    Lesson(
        "twenty attempts",
        "Nine hits before, thirteen after",
        "One person hits 9 of 20 before a programme and 13 of 20 after it. Has this "
        "person changed?",
        ("yes", "no", "cannot be said"),
        (
            Control("attempts", "Attempts in the test", 20, 5, 100, page=(5, 10, 20, 40, 100)),
            Control("hit_rate", "True hit rate", 0.6, 0.05, 0.95, 0.05,
                    page=(0.1, 0.3, 0.5, 0.6, 0.8, 0.95)),
            Control("spread", "How much people differ (SD of log odds)", 0.7, 0.1, 2.0, 0.1,
                    page=(0.2, 0.7, 1.5)),
        ),
        twenty_attempts,
        pictures.twenty_attempts_scene,
        lambda shown: "cannot be said",
        message="Twenty attempts are few: one person's score moves by several hits when nothing "
        "about the person changes.",
        contested="That attempts are independent with one rate is assumed; streaks and fatigue "
        "make scores scatter more.",
        null={"attempts": 20},
        sources=(
            Source("Wilson (1927). Probable inference, the law of succession, and statistical "
                   "inference. Journal of the American Statistical Association, 22, 209-212.",
                   "10.1080/01621459.1927.10502953"),
        ),
        draws=2,
    ),
    Lesson(
        "pooled trials",
        "Counting attempts, or people",
        "Two groups of {per_group} people do not differ at all. Each person has {attempts} "
        "attempts, and every attempt is counted as if it came from another person. How often is "
        "p below .05?",
        tuple(_POOLED.values()),
        (
            Control("per_group", "People per group", 15, 5, 60, page=(8, 15, 60)),
            Control("attempts", "Attempts per person", 20, 1, 100, page=(1, 5, 20, 50, 100)),
            Control("spread", "How much people differ (SD of log odds)", 0.7, 0.0, 2.0, 0.1,
                    page=(0.0, 0.3, 0.7, 1.4)),
            Control("studies", "Simulated studies", 2000, 100, 5000, 100),
        ),
        pooled_trials,
        pictures.pooled_trials_scene,
        lambda shown: nearest(shown.false_positives["share"][0], _POOLED),
        message="Trials are not people: attempts of one person are alike, so a test that counts "
        "them as people promises 5 % and keeps nothing of it.",
        contested="Nothing, for the arithmetic. Whether to use one score per person or a model "
        "with a term for the person is a matter of convenience.",
        null={"spread": 0.0},
        sources=(
            Source("Hurlbert (1984). Pseudoreplication and the design of ecological field "
                   "experiments. Ecological Monographs, 54, 187-211.", "10.2307/1942661"),
        ),
        draws=1,
    ),
    Lesson(
        "averaged curves",
        "A curve for a whole class",
        "Every learner in these classes improves along an exponential curve. Which curve will fit "
        "the average of a class?",
        ("exponential", "power", "either"),
        (
            Control("spread", "How much learning rates differ (SD of log)", 1.3, 0.0, 2.0, 0.1,
                    page=(0.0, 0.7, 1.0, 1.3, 1.6)),
            Control("median_rate", "Median rate per trial", 0.10, 0.02, 0.3, 0.01,
                    page=(0.05, 0.1, 0.2)),
            Control("learners", "Learners in a class", 24, 3, 60),
            Control("noise", "Noise of a trial (cm)", 1.5, 0.5, 6.0, 0.5, page=(0.5, 1.5, 3.0)),
        ),
        averaged_curves,
        pictures.averaged_curves_scene,
        _form,
        message="The average learner need not exist: averages of curves of one form take another "
        "form, so fit people, then average what you found.",
        contested="Averaging favours the power function; that single learners are exponential was "
        "found in 40 data sets and is assumed here.",
        null={"spread": 0.0},
        sources=(
            Source("Heathcote, Brown & Mewhort (2000). The power law repealed. Psychonomic "
                   "Bulletin & Review, 7, 185-207.", "10.3758/BF03212979", "abstract"),
            Source("Murre & Chessa (2011). Power laws from individual differences in learning and "
                   "forgetting. Psychonomic Bulletin & Review, 18, 592-597.",
                   "10.3758/s13423-011-0076-y"),
        ),
        draws=1,
    ),
    Lesson(
        "regression to the mean",
        "One group that was chosen for a poor score",
        "The people with the poorest pretest (a share of {chosen}) follow a programme. Its true "
        "effect is {effect}. What will their posttest show?",
        ("a gain", "no change", "a loss"),
        (
            Control("chosen", "Share of people chosen", 0.25, 0.1, 1.0, 0.05,
                    page=(0.1, 0.25, 0.5, 1.0)),
            Control("attempts", "Attempts in each test", 20, 5, 100, page=(10, 20, 100)),
            Control("spread", "How much people differ (SD of log odds)", 0.5, 0.0, 2.0, 0.1),
            Control("effect", "True effect of the programme (log odds)", 0.0, -1.0, 1.0, 0.1,
                    page=(-0.5, 0.0, 0.5)),
            Control("control", "Keep a control group", False),
        ),
        regression_to_mean,
        pictures.regression_to_mean_scene,
        _change,
        message="Who is chosen for a poor score comes back by itself; only a control group chosen "
        "in the same way shows what the programme did.",
        contested="Nothing, for the arithmetic; how large it is depends on the reliability of "
        "the test.",
        null={"effect": 0.0, "chosen": 1.0},
        sources=(
            Source("Barnett, van der Pols & Dobson (2005). Regression to the mean: what it is and "
                   "how to deal with it. International Journal of Epidemiology, 34, 215-220.",
                   "10.1093/ije/dyh299"),
        ),
        draws=2,
    ),
    Lesson(
        "feedback dependence",
        "How often to tell the error",
        "One group is told its error after every trial, the other on one trial of {every}. {days} "
        "days later both are tested without being told. Who makes smaller errors?",
        ("every trial", "now and then", _UNTOLD),
        (
            Control(
                "preset", "What is true", "guidance", choices=("guidance", "null", "information")
            ),
            Control("every", "Second group: feedback on one trial of", 3, 2, 12,
                    page=(2, 3, 6, 12)),
            Control("days", "Days until the test", 2.0, 0, 28, 1, page=(0, 2, 7, 28)),
            _PER_GROUP,
        ),
        feedback_dependence,
        pictures.feedback_dependence_scene,
        lambda shown: _UNTOLD,
        message="Feedback helps while it lasts; what it taught is seen only where all are tested "
        "without it.",
        contested="Whether feedback on every trial creates dependence is open: each preset "
        "assumes one answer, and the practice picture looks much the same in all three.",
        null={"preset": "null"},
        sources=(
            Source("Salmoni, Schmidt & Walter (1984). Knowledge of results and motor learning. "
                   "Psychological Bulletin, 95, 355-386.", "10.1037/0033-2909.95.3.355"),
            Source("Winstein & Schmidt (1990). Reduced frequency of knowledge of results enhances "
                   "motor skill learning. Journal of Experimental Psychology: Learning, Memory, "
                   "and Cognition, 16, 677-691.", "10.1037/0278-7393.16.4.677"),
        ),
        draws=2,
    ),
)  # fmt: skip

_MORE = (
    after_a_gap,
    pauses,
    specificity,
    variability,
    feedback_schedules,
    part_and_whole,
    speed_and_accuracy,
    adaptation,
    power_or_exponential,
    baseline_adjustment,
    ceiling,
    optional_stopping,
    many_outcomes,
    individual_differences,
)

LESSONS: Final[dict[str, Lesson]] = {
    lesson.name: lesson for lesson in (*_FIRST, *(more.LESSON for more in _MORE))
}
"""Lessons by name."""


def find_lesson(name: str) -> Lesson:
    """Give a lesson by its name; hyphens count as spaces.

    Raises
    ------
    InputError
        If there is no such lesson.

    Examples
    --------
    >>> find_lesson("power-or-exponential").name
    'power or exponential'
    """
    plain = name.strip().lower().replace("-", " ")
    if plain not in LESSONS:
        names = [known.replace(" ", "-") for known in LESSONS]
        half = len(names) // 2
        raise InputError(
            f"there is no such demonstration as {name[:40]!r}; there are {', '.join(names[:half])}",
            remedy=f"and {', '.join(names[half:])}",
        )
    return LESSONS[plain]
