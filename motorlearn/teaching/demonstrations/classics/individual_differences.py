"""Individual differences: who responded, and who only seems to have."""

from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn import digits
from motorlearn.teaching.demonstrations.demonstration import check_settings
from motorlearn.teaching.demonstrations.illustration import (
    Illustration,
    estimates_of,
    number_words,
    series_of,
)
from motorlearn.teaching.demonstrations.lesson import Control, Lesson, Source
from motorlearn.teaching.demonstrations.practice_course import PEOPLE
from motorlearn.teaching.demonstrations.scene import Panel, Scene, few, mark, rows_of

GROUPS = ("programme", "control")
_VOTES = ("yes, they differ", "no more than chance makes")


def individual_differences(
    *,
    response: float = 0.0,
    gain: float = 4.0,
    noise: float = 4.0,
    per_group: int = 40,
    seed: int = 1,
) -> Illustration:
    """Simulate changes of people whose true response is the same, or differs.

    A change is ``gain + response·u + √2·noise·e`` cm in the programme group and ``√2·noise·e`` in
    the control group. The true spread is estimated by the difference of the two variances.

    Parameters
    ----------
    response : float
        Standard deviation between people of the true response, 0 to 10 cm.
    gain : float
        Mean response, 0 to 10 cm.
    noise : float
        Standard deviation of one test of one person, 0.5 to 10 cm.
    per_group : int
        People in each group, 4 to 500.
    seed : int
        Seed of the people.

    Returns
    -------
    Illustration
        Standard deviations of change with chi-square intervals, in cm, and their ratio with the
        interval of the F distribution.

    Raises
    ------
    InputError
        If a setting is outside its range.

    Examples
    --------
    >>> same = individual_differences(per_group=300).estimates.iloc[2]
    >>> bool(same["conf_low"] < 1 < same["conf_high"])
    True
    """
    given = check_settings(
        {"response": response, "gain": gain, "noise": noise, "per_group": per_group},
        {"response": (0, 10), "gain": (0, 10), "noise": (0.5, 10), **PEOPLE},
    )
    n = int(per_group)
    drawn = np.random.default_rng(seed).standard_normal((n, 3)).T
    changes = np.stack(
        [gain + response * drawn[0] + np.sqrt(2) * noise * drawn[1], np.sqrt(2) * noise * drawn[2]]
    )
    return _result(changes, {**given, "seed": seed})


def _result(changes: np.ndarray, settings: dict[str, Any]) -> Illustration:
    n = changes.shape[1]
    sd = changes.std(axis=1, ddof=1)
    ends = np.sqrt((n - 1) / stats.chi2.ppf([0.975, 0.025], n - 1))
    ratio = sd[0] / sd[1]
    span = ratio / np.sqrt(stats.f.ppf([0.975, 0.025], n - 1, n - 1))
    rows = estimates_of(
        [
            *((f"SD of change, {g} (cm)", s, *(s * ends)) for g, s in zip(GROUPS, sd, strict=True)),
            ("ratio of the two", ratio, *span),
        ]
    )
    ranks = np.arange(1, n + 1) / n * 100
    series = pd.concat(
        [series_of(g, ranks, np.sort(changes[k])) for k, g in enumerate(GROUPS)], ignore_index=True
    )
    worse = [int((changes[k] < 0).sum()) for k in range(2)]
    said = "; ".join(f"{r['what']} {number_words(r)}" for _, r in rows.iterrows())
    return Illustration(
        settings=settings,
        conclusion=f"{worse[0]} of {n} people of the programme got worse, and {worse[1]} of {n} "
        f"of the control group; {said}.",
        text=f"Changes of the people of two groups, ordered from the worst to the best. {said}. "
        f"The mean change of the programme group is {digits.number(changes[0].mean(), 1)} cm.",
        series=series,
        estimates=rows,
        unit="",
    )


def _picture(shown: Illustration) -> Scene:
    marks = tuple(
        mark("line", few(rows["x"]), few(rows["y"]), name=group, look=look)
        for look, group in enumerate(GROUPS)
        for rows in [shown.named(group)]
    )
    panels = (
        Panel("People, worst to best (%)", "Improvement (cm)", (0, 102), (-45, 60), marks,
              rules=(0,), weight=1.3),
        Panel("SD in cm; ratio", "", (0, 20), rows=rows_of(shown.estimates), rules=(1,),
              title="Spread, 95 % CI"),
    )  # fmt: skip
    return Scene(panels, "Each line: one group, sorted; grey line on the right: a ratio of 1")


def _answer(shown: Illustration) -> str:
    return _VOTES[0] if shown.estimates["conf_low"][2] > 1 else _VOTES[1]


LESSON = Lesson(
    "individual differences",
    "Who responded",
    "In a programme some people improved by a lot and some got worse. A control group did "
    "nothing. Do people differ in how they respond to the programme?",
    _VOTES,
    (
        Control("response", "True SD of the response (cm)", 0.0, 0.0, 10.0, 1.0,
                page=(0.0, 2.0, 4.0, 8.0)),
        Control("noise", "SD of one test of one person (cm)", 4.0, 0.5, 10.0, 0.5,
                page=(1.0, 2.0, 4.0)),
        Control("gain", "Mean response (cm)", 4.0, 0.0, 10.0, 1.0, page=(0.0, 4.0)),
        Control("per_group", "People per group", 40, 6, 200, page=(12, 40, 120)),
    ),
    individual_differences,
    _picture,
    _answer,
    message="Sorted changes always run from bad to good. Who responded is asked by comparing the "
    "spread with a control group, or by repeating the programme, not by counting.",
    contested="That people learn at different rates is plain; how much of the spread of one "
    "before-after change it makes is disputed, and few studies kept the control group to tell.",
    null={"response": 0.0, "gain": 0.0},
    sources=(
        Source("Dankel & Loenneke (2020). A method to stop analyzing random error and start "
               "analyzing differential responders to exercise. Sports Medicine.",
               "10.1007/s40279-019-01147-0", "abstract"),
        Source("Williamson, Atkinson & Batterham (2016). British Journal of Sports Medicine, "
               "50, e4.",
               "", "abstract"),
        Source("Voisin, Jacques, Lucia, Bishop & Eynon (2019). Statistical considerations for "
               "exercise protocols aimed at measuring trainability. Exercise and Sport Sciences "
               "Reviews, 47, 37-45.", "10.1249/JES.0000000000000176", "abstract"),
    ),
    draws=2,
)  # fmt: skip
"""The lesson."""
