"""Schedules of feedback: after every trial, faded out, or only outside a band."""

from collections.abc import Callable

import numpy as np
from scipy import stats

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

GROUPS = ("every trial", "faded", "band")
PRESETS = {"guidance": (0.35, 1.0), "null": (1.0, 1.0), "information": (1.0, 0.1)}
"""What a trial with feedback and a trial without it teach, as shares of the full rate."""
BLOCKS, RATE, SPREAD, HELP = 10, 0.28, 10.0, 6.0

Share = Callable[[int, float], float]
"""Block and error left in, share of its trials with feedback out."""


def feedback_schedules(
    *,
    preset: str = "guidance",
    last: float = 0.1,
    band: float = 15,
    days: float = 2,
    per_group: int = 24,
    seed: int = 1,
) -> PracticeCourse:
    """Simulate three schedules of feedback, and a test without any.

    A block with feedback on a share s of its trials teaches ``s·w1 + (1 - s)·w0`` of the full rate
    and shows ``6·s`` cm less error than there is. The share is 1 for one group, falls evenly from 1
    to `last` for the second, and is the share of errors outside the band for the third, whose
    errors have the standard deviation 10 cm around an aim that is off by the error left.

    Parameters
    ----------
    preset : {"guidance", "null", "information"}
        What trials with and without feedback teach.
    last : float
        Share of trials with feedback in the last block of the faded group, 0 to 1.
    band : float
        Half width of the band inside which nothing is said, 0 to 40 cm.
    days : float
        Days until the test without feedback, 0 to 60.
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
    >>> shown = feedback_schedules(per_group=300)
    >>> bool(shown.differences["estimate"].iloc[2] < 0)
    True
    """
    worth = choose(preset, PRESETS)
    given = check_settings(
        {"last": last, "band": band, "days": days, "per_group": per_group},
        {"last": (0, 1), "band": (0, 40), "days": (0, 60), **PEOPLE},
    )
    shares: tuple[Share, ...] = (
        lambda b, left: 1.0,
        lambda b, left: 1 + (last - 1) * b / (BLOCKS - 1),
        lambda b, left: _outside(left, band),
    )
    lost = forgotten(days, 0.25, at_once=0.0)
    plan = Plan(
        GROUPS,
        blocks(BLOCKS),
        ("test",),
        np.array([_expected(share, worth, lost) for share in shares]),
        tuple(
            Comparison(f"{GROUPS[g]}, {where}", moment, groups=(0, g))
            for where, moment in (("practice", blocks(BLOCKS)[-2:]), ("test", ("test",)))
            for g in (1, 2)
        ),
    )
    story = (
        f"Ten blocks with feedback after every trial, faded to {last:g} of the trials, or only "
        f"when the error is over {band:g} cm; a test without feedback after {days:g} days."
    )
    return practise(plan, {"preset": preset, **given, "seed": seed}, story)


def _outside(left: float, band: float) -> float:
    """Share of trials that land outside the band when the aim is off by so much."""
    return float(stats.norm.sf(band, left, SPREAD) + stats.norm.cdf(-band, left, SPREAD))


def _expected(share: Share, worth: tuple[float, float], lost: float) -> list[float]:
    left, course = 24.0, []
    for block in range(BLOCKS):
        told = share(block, left)
        course.append(10 + left - HELP * told * left / 24)
        left *= np.exp(-RATE * (told * worth[0] + (1 - told) * worth[1]))
    return [*course, 10 + left + (24 - left) * lost]


def _picture(shown: PracticeCourse) -> Scene:
    tests = {"test": f"{shown.settings['days']:g} d later,\nnothing said"}
    against = "Group minus\nevery trial"
    return course_scene(shown, tests, top=45, reach=14, against=against)


def _answer(shown: PracticeCourse) -> str:
    rows = shown.differences.iloc[2:]
    if (rows["conf_high"] < 0).all():
        return "both others"
    if (rows["conf_low"] > 0).all():
        return GROUPS[0]
    return OPEN


LESSON = Lesson(
    "feedback schedules",
    "When to tell the error",
    "One group is told its error after every trial. For another this is faded out; a third is told "
    "only when it misses by more than {band} cm. {days} days later nobody is told anything. Who "
    "errs less?",
    (GROUPS[0], "both others", OPEN),
    (
        Control("preset", "What is true", "guidance", choices=tuple(PRESETS)),
        Control("last", "Faded: share told in the last block", 0.1, 0, 1, 0.1,
                page=(0.0, 0.1, 1.0)),
        Control("band", "Band inside which nothing is said (cm)", 15, 0, 40, 5,
                page=(0, 5, 15, 30)),
        Control("days", "Days until the test", 2, 0, 28, 1, page=(0, 2, 14)),
        Control("per_group", "People per group", 24, 6, 100),
    ),
    feedback_schedules,
    _picture,
    _answer,
    message="A band fades feedback by itself as people get better. What a schedule does to "
    "learning is seen only where all are tested alike, without feedback.",
    contested="That less feedback helps learning (guidance) has support and contradiction; "
    "published effects in this field are inflated by selective reporting. The two other presets "
    "are as thinkable as guidance.",
    null={"preset": "null"},
    sources=(
        Source("Schmidt, Young, Swinnen & Shapiro (1989). Summary knowledge of results for skill "
               "acquisition: support for the guidance hypothesis. Journal of Experimental "
               "Psychology: Learning, Memory, and Cognition, 15, 352-359.", "", "abstract"),
        Source("Cruz et al. (2018). Bandwidth knowledge of results persists on motor skills "
               "acquisition. Motricidade, 14, 107-114.", "10.6063/motricidade.14294", "abstract"),
        Source("Aoyagi et al. (2019). Feedback protocol of 'fading knowledge of results'. Journal "
               "of Physical Therapy Science, 31, 687-691.", "10.1589/jpts.31.687", "abstract"),
        Source("McKay et al. (2022). Meta-analytic findings of the self-controlled motor learning "
               "literature: underpowered, biased, and lacking evidential value. Meta-Psychology.",
               "10.15626/mp.2021.2803", "abstract"),
    ),
    seed=2,
    draws=1,
)  # fmt: skip
"""The lesson."""
