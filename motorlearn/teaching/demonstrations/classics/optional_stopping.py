"""Optional stopping: test, add people, test again, stop when p is below .05."""

from typing import Any

import numpy as np
import pandas as pd

from motorlearn import digits
from motorlearn.linear import ancova_batch
from motorlearn.teaching.demonstrations.demonstration import check_settings
from motorlearn.teaching.demonstrations.illustration import (
    Illustration,
    estimates_of,
    series_of,
    share_of,
    share_words,
)
from motorlearn.teaching.demonstrations.lesson import Control, Lesson, Source, nearest
from motorlearn.teaching.demonstrations.scene import FAINT_LOOK, Panel, Scene, mark

EXAMPLES = 8
_VOTES = {0.05: "5 %", 0.15: "15 %", 0.25: "25 %", 0.50: "50 %"}


def optional_stopping(
    *,
    looks: int = 5,
    step: int = 10,
    effect: float = 0.0,
    split: bool = False,
    studies: int = 2000,
    seed: int = 1,
) -> Illustration:
    """Simulate studies of two groups that are tested again after every few people.

    After each `step` people per group the t test of everybody so far is run
    (:func:`motorlearn.linear.ancova_batch` without a covariate); the study stops at the first p
    below .05, or below .05 divided by the number of looks where the error rate is split among them.

    Parameters
    ----------
    looks : int
        How often the data are tested at most, 1 to 20.
    step : int
        People added to each group before a test, 5 to 40.
    effect : float
        True difference in standard deviations, -1 to 1.
    split : bool
        Whether the .05 are split evenly among the looks (Bonferroni).
    studies : int
        Simulated studies, 100 to 20 000.
    seed : int
        Seed of the studies.

    Returns
    -------
    Illustration
        Share of studies that stopped with a finding, and share that found it at the last look.

    Raises
    ------
    InputError
        If a setting is outside its range.

    Examples
    --------
    >>> ever, once = optional_stopping().estimates["estimate"]
    >>> bool(ever > 0.11), bool(once < 0.07)
    (True, True)
    """
    given = check_settings(
        {"looks": looks, "step": step, "effect": effect, "studies": studies},
        {"looks": (1, 20), "step": (5, 40), "effect": (-1, 1), "studies": (100, 20_000)},
    )
    p = looked_at(int(looks), int(step), effect, int(studies), seed)
    level = 0.05 / int(looks) if split else 0.05
    return _result(p, level, {**given, "split": split, "seed": seed})


def looked_at(looks: int, step: int, effect: float, studies: int, seed: int) -> np.ndarray:
    """p values at each look, shape (studies, looks)."""
    drawn = np.random.default_rng(seed).standard_normal((studies, looks * step, 2))
    drawn[..., 1] += effect
    columns = []
    for look in range(1, looks + 1):
        people = drawn[:, : look * step].transpose(0, 2, 1).reshape(studies, -1)
        columns.append(ancova_batch(people, np.repeat([0, 1], look * step)).p)
    return np.stack(columns, axis=1)


def _result(p: np.ndarray, level: float, settings: dict[str, Any]) -> Illustration:
    ever = np.minimum.accumulate(p, axis=1) < level
    rows = estimates_of(
        [
            share_of(
                "found by stopping at the first p below the limit", int(ever[:, -1].sum()), len(p)
            ),
            share_of("found with one test at the end", int((p[:, -1] < 0.05).sum()), len(p)),
        ]
    )
    x = np.arange(1, p.shape[1] + 1)
    shares = np.array([share_of("", int(column.sum()), len(p))[1:] for column in ever.T])
    series = [series_of("found so far", x, *shares.T)]
    series += [series_of(f"study {k + 1}", x, p[k]) for k in range(min(EXAMPLES, len(p)))]
    found, once = (share_words(rows.iloc[k]) for k in range(2))
    truth = "no difference" if settings["effect"] == 0 else "a true difference"
    return Illustration(
        settings=settings,
        conclusion=f"With {truth} and {p.shape[1]} looks, {found} of studies end with p below "
        f"{digits.plain(level, 2)}; with one test at the end {once} have p below .05.",
        text=f"p values of {EXAMPLES} studies at each look, and the share of {len(p)} studies that "
        f"have stopped with a finding by then: {found} at the last look; one test at the end: "
        f"{once}.",
        series=pd.concat(series, ignore_index=True),
        estimates=rows,
        unit="",
    )


def _picture(shown: Illustration) -> Scene:
    studies = tuple(
        mark("line", rows["x"], rows["y"], look=FAINT_LOOK, name="single studies" if k == 0 else "")
        for k, name in enumerate(
            n for n in shown.series["series"].unique() if n.startswith("study")
        )
        for rows in [shown.named(name)]
    )
    found = shown.named("found so far")
    rate = mark("points", found["x"], 100 * found["y"], look=1, low=100 * found["low"],
                high=100 * found["high"], name="studies with a finding")  # fmt: skip
    panels = (
        Panel("Look at the data", "p value", (0.5, 10.5), (0, 1), studies, rules=(0.05,)),
        Panel("Look at the data", "Studies that found something (%)", (0.5, 10.5), (0, 100),
              (rate,), rules=(5,)),
    )  # fmt: skip
    return Scene(panels, "Dashed: .05 and 5 %")


LESSON = Lesson(
    "optional stopping",
    "Just a few more people",
    "Nothing is going on. After every {step} people per group somebody tests, stops if p is below "
    ".05, and otherwise adds {step} more, up to {looks} times. In how many studies is something "
    "found?",
    tuple(_VOTES.values()),
    (
        Control("looks", "Looks at the data", 5, 1, 10, page=(1, 2, 3, 5, 10)),
        Control("step", "People added to each group", 10, 5, 40, page=(5, 10, 20)),
        Control("effect", "True difference (SD)", 0.0, -1.0, 1.0, 0.1, page=(0.0, 0.3)),
        Control("split", "Split the .05 among the looks", False),
    ),
    optional_stopping,
    _picture,
    lambda shown: nearest(shown.estimates["estimate"][0], _VOTES),
    message="Each look is another chance to be fooled. Looks are honest where they were planned "
    "and share out the error rate.",
    contested="That unplanned looks inflate errors is arithmetic. Whether and how to correct is "
    "seen differently by those who test sequentially by plan, and by Bayesians.",
    null={"effect": 0.0, "split": False},
    sources=(
        Source("Simmons, Nelson & Simonsohn (2011). False-positive psychology. Psychological "
               "Science, 22, 1359-1366.", "10.1177/0956797611417632", "abstract"),
        Source("Armitage, McPherson & Rowe (1969). Repeated significance tests on accumulating "
               "data. Journal of the Royal Statistical Society A, 132, "
               "235-244.", "", "from memory"),
    ),
    draws=1,
)  # fmt: skip
"""The lesson."""
