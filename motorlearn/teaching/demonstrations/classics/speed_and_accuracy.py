"""Speed and accuracy: who is more skilled when one is faster and the other more accurate."""

import numpy as np
import pandas as pd

from motorlearn.linear import ancova, welch
from motorlearn.teaching.demonstrations.demonstration import check_settings
from motorlearn.teaching.demonstrations.illustration import (
    Illustration,
    estimates_of,
    number_words,
    series_of,
)
from motorlearn.teaching.demonstrations.lesson import OPEN, Control, Lesson, Source, erred_less
from motorlearn.teaching.demonstrations.practice_course import PEOPLE
from motorlearn.teaching.demonstrations.scene import Panel, Scene, few, mark, rows_of

GROUPS = ("told to be fast", "told to be accurate")


def speed_and_accuracy(
    *,
    emphasis: float = 0.3,
    skill: float = 0.0,
    per_group: int = 24,
    seed: int = 1,
) -> Illustration:
    r"""Simulate two groups on one trade-off of speed and accuracy, moved apart by instruction.

    .. math:: \log error = \log 14 - \log(time / 0.8) - skill \cdot group + e

    Error falls as movements take longer. The instruction moves the mean time by `emphasis` (a
    ratio, as its logarithm) and does nothing else; `skill` is what truly separates the groups.

    Parameters
    ----------
    emphasis : float
        By how much the instruction parts the groups in log time, 0 to 0.6.
    skill : float
        By how much the second group is truly better, in log error, -0.5 to 0.5.
    per_group : int
        People in each group, 4 to 500.
    seed : int
        Seed of the people.

    Returns
    -------
    Illustration
        Estimates are second minus first group, in log units; less error is better.

    Raises
    ------
    InputError
        If a setting is outside its range.

    Examples
    --------
    >>> shown = speed_and_accuracy(per_group=300)
    >>> time, error, same_speed = shown.estimates["estimate"]
    >>> time > 0 > error, bool(abs(same_speed) < 0.1)
    (True, True)
    """
    given = check_settings(
        {"emphasis": emphasis, "skill": skill, "per_group": per_group},
        {"emphasis": (0, 0.6), "skill": (-0.5, 0.5), **PEOPLE},
    )
    n = int(per_group)
    drawn = np.random.default_rng(seed).standard_normal((n, 2, 2)).transpose(2, 1, 0)
    group = np.array([[0.0], [1.0]])
    time = np.log(0.8) + emphasis * (group - 0.5) + 0.15 * drawn[0]
    error = np.log(14) - (time - np.log(0.8)) - skill * group + 0.15 * drawn[1]
    return _result(time, error, {**given, "seed": seed})


def _result(time: np.ndarray, error: np.ndarray, settings: dict[str, float]) -> Illustration:
    n = time.shape[1]
    at_once = [welch(values[1], values[0]) for values in (time, error)]
    adjusted = ancova(error.ravel(), np.repeat([0, 1], n), time.ravel()).difference(1, 0)
    rows = estimates_of(
        [
            (name, e.estimate, e.conf_low, e.conf_high)
            for name, e in zip(
                ("movement time", "error", "error at equal time"), [*at_once, adjusted], strict=True
            )
        ]
    )
    series = pd.concat(
        [series_of(g, np.exp(time[k]), np.exp(error[k])) for k, g in enumerate(GROUPS)],
        ignore_index=True,
    )
    said = "; ".join(f"{r['what']} {number_words(r, '', 2)}" for _, r in rows.iterrows())
    return Illustration(
        settings=settings,
        conclusion=f"Told to be accurate minus told to be fast, in log units: {said}.",
        text=f"Mean movement time and mean error of {2 * n} people. {said}.",
        series=series,
        estimates=rows,
        unit="log units",
    )


def _picture(shown: Illustration) -> Scene:
    marks = []
    for look, group in enumerate(GROUPS):
        rows = shown.named(group)
        marks.append(mark("dots", few(rows["x"], 50), few(rows["y"], 50), name=group, look=look))
        marks.append(mark("points", [rows["x"].mean()], [rows["y"].mean()], look=look))
    time = np.linspace(0.45, 1.5, 25)
    marks.append(mark("line", time, 14 * 0.8 / time, look=-1, name="one trade-off"))
    panels = (
        Panel("Movement time (s)", "Mean error (cm)", (0.4, 1.6), (0, 40), tuple(marks),
              weight=1.4),
        Panel("Accurate minus fast (log units)", "", (-1.1, 1.1), rows=rows_of(shown.estimates),
              rules=(0,), title="Difference, 95 % CI"),
    )  # fmt: skip
    return Scene(panels, "Dots: people; large: group means; grey line: one and the same skill")


LESSON = Lesson(
    "speed and accuracy",
    "Faster, or more accurate",
    "One group was told to push fast, the other to push accurately. The first is faster, the "
    "second errs less. Which group has more skill?",
    (*GROUPS, OPEN),
    (
        Control("emphasis", "Instruction parts them by (log time)", 0.3, 0, 0.6, 0.05,
                page=(0.0, 0.2, 0.3, 0.4, 0.6)),
        Control("skill", "True advantage of the second (log)", 0.0, -0.5, 0.5, 0.1,
                page=(-0.4, -0.2, 0.0, 0.2, 0.4)),
        Control("per_group", "People per group", 24, 6, 100, page=(12, 24, 60)),
    ),
    speed_and_accuracy,
    _picture,
    lambda shown: erred_less(shown.estimates.iloc[2], GROUPS),
    message="Speed buys error: two groups can sit on one trade-off and differ in both numbers. "
    "Record both, fix one, or compare at equal speed.",
    contested="The trade-off is linear in speed for fast aimed movements and logarithmic in Fitts' "
    "tasks; comparing at equal speed assumes that its slope is the same in both groups.",
    null={"skill": 0.0},
    sources=(
        Source("MacKenzie (1992). Fitts' law as a research and design tool in human-computer "
               "interaction. Human-Computer Interaction, 7, 91-139.", "", "page"),
        Source("Guiard, Olafsdottir & Perrault (2011). On the measurement of movement difficulty "
               "in the standard approach to Fitts' law. PLoS ONE, 6, e24389.",
               "10.1371/journal.pone.0024389", "abstract"),
        Source("Schmidt, Zelaznik, Hawkins, Frank & Quinn (1979). Motor-output variability. "
               "Psychological Review, 86, 415-451.", "", "from memory"),
    ),
    draws=2,
)  # fmt: skip
"""The lesson."""
