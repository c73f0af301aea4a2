"""Ceiling and floor: the same gain in ability, read from a test that ends."""

import numpy as np
import pandas as pd

from motorlearn import digits
from motorlearn.teaching.demonstrations.demonstration import check_settings
from motorlearn.teaching.demonstrations.illustration import (
    Illustration,
    estimates_of,
    number_words,
    series_of,
)
from motorlearn.teaching.demonstrations.lesson import OPEN, Control, Lesson, Source
from motorlearn.teaching.demonstrations.practice_course import PEOPLE
from motorlearn.teaching.demonstrations.scene import Panel, Scene, few, mark, rows_of
from motorlearn.teaching.demonstrations.two_groups import difference, mean_interval

GROUPS = ("beginners", "advanced")
ATTEMPTS, SPREAD = 20, 0.5


def ceiling(
    *,
    advance: float = 2.0,
    start: float = 0.5,
    gain: float = 1.0,
    per_group: int = 24,
    seed: int = 1,
) -> Illustration:
    """Simulate two groups whose ability grows by the same amount, tested by hits of 20.

    Log odds of a hit are normal over people with standard deviation 0.5, around those of `start` in
    beginners and `advance` more in advanced people; practice adds `gain` to everybody.

    Parameters
    ----------
    advance : float
        By how much advanced people are ahead, in log odds, 0 to 5.
    start : float
        Hit rate of the middle beginner before practice, 0.02 to 0.9.
    gain : float
        What practice adds to everybody, in log odds, 0 to 3.
    per_group : int
        People in each group, 4 to 500.
    seed : int
        Seed of the people.

    Returns
    -------
    Illustration
        Gains in hits of 20, and advanced minus beginners.

    Raises
    ------
    InputError
        If a setting is outside its range.

    Examples
    --------
    >>> beginners, advanced, apart = ceiling(per_group=300).estimates["estimate"]
    >>> bool(beginners > advanced > 0), bool(apart < -1)
    (True, True)
    """
    given = check_settings(
        {"advance": advance, "start": start, "gain": gain, "per_group": per_group},
        {"advance": (0, 5), "start": (0.02, 0.9), "gain": (0, 3), **PEOPLE},
    )
    rng = np.random.default_rng(seed)
    n = int(per_group)
    odds = np.log(start / (1 - start)) + SPREAD * rng.standard_normal((n, 2)).T
    odds = odds + advance * np.array([[0], [1]])
    tests = [rng.binomial(ATTEMPTS, 1 / (1 + np.exp(-odds - more))) for more in (0.0, gain)]
    return _result(np.stack(tests), {**given, "seed": seed})


def _result(tests: np.ndarray, settings: dict[str, float]) -> Illustration:
    gains = tests[1] - tests[0]
    rows = estimates_of(
        [
            *((f"gain of {group}", *mean_interval(gains[g])) for g, group in enumerate(GROUPS)),
            ("advanced minus beginners", *difference(gains[1], gains[0])),
        ]
    )
    series = pd.concat(
        [series_of(group, tests[0][g], tests[1][g]) for g, group in enumerate(GROUPS)],
        ignore_index=True,
    )
    full = int((tests[1][1] == ATTEMPTS).sum())
    said = "; ".join(f"{r['what']} {number_words(r, 'hits')}" for _, r in rows.iterrows())
    return Illustration(
        settings=settings,
        conclusion="Everybody's ability grew by the same "
        f"{digits.number(settings['gain'], 1)} in log odds: {said}.",
        text=f"Hits of {ATTEMPTS} before and after, one line per person. {full} of "
        f"{tests.shape[2]} advanced people hit every time afterwards. {said}.",
        series=series,
        estimates=rows,
        unit="hits",
    )


def _picture(shown: Illustration) -> Scene:
    marks = []
    for look, group in enumerate(GROUPS):
        rows = shown.named(group)
        marks.append(mark("pairs", few(rows["x"], 25), few(rows["y"], 25), look=look))
        means = [rows["x"].mean(), rows["y"].mean()]
        marks.append(mark("line", [0, 1], means, look=look, name=group))
    panels = (
        Panel("", f"Hits of {ATTEMPTS}", (-0.2, 1.2), (-0.6, 20.6), tuple(marks), rules=(0, 20),
              ticks={0.0: "before", 1.0: "after"}),
        Panel("Hits", "", (-12, 12), rows=rows_of(shown.estimates), rules=(0,),
              title="Gain, 95 % CI"),
    )  # fmt: skip
    return Scene(panels, "Thin lines: people; thick: means; dashed: the ends of the test")


def _answer(shown: Illustration) -> str:
    row = shown.estimates.iloc[2]
    if row["conf_high"] < 0:
        return GROUPS[0]
    return GROUPS[1] if row["conf_low"] > 0 else OPEN


LESSON = Lesson(
    "ceiling",
    "Who gained more hits",
    "Beginners and advanced people practise, and the ability of everybody grows by exactly the "
    "same amount. In hits of 20, which group gains more?",
    (*GROUPS, OPEN),
    (
        Control("advance", "Head start of the advanced (log odds)", 2.0, 0.0, 5.0, 0.5,
                page=(0.0, 1.0, 2.0, 3.0, 4.0)),
        Control("start", "Hit rate of beginners before", 0.5, 0.02, 0.9, 0.02,
                page=(0.02, 0.1, 0.3, 0.5, 0.8)),
        Control("gain", "Gain of everybody (log odds)", 1.0, 0.0, 3.0, 0.5, page=(0.0, 1.0, 2.0)),
        Control("per_group", "People per group", 24, 6, 100),
    ),
    ceiling,
    _picture,
    _answer,
    message="A test that ends makes gains look smaller near its ends. A difference in gains that "
    "does not cross may vanish on another scale: make the test harder, or model hits on log odds.",
    contested="Which scale is the right one is not told by the data; interactions that do not "
    "cross over can be removed by a change of scale.",
    null={"gain": 0.0},
    sources=(
        Source("Wagenmakers, Krypotos, Criss & Iverson (2012). On the interpretation of removable "
               "interactions: a survey of the field 33 years after Loftus. Memory & Cognition, 40, "
               "145-160.", "10.3758/s13421-011-0158-0", "page"),
    ),
    draws=2,
)  # fmt: skip
"""The lesson."""
