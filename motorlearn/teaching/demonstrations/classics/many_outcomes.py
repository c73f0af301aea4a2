"""Many outcomes: test each of them, report the one that differs."""

from typing import Any

import numpy as np
import pandas as pd

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
from motorlearn.teaching.demonstrations.scene import Panel, Scene, mark

MOST = 20
_VOTES = {0.05: "5 %", 0.15: "15 %", 0.35: "35 %", 0.60: "60 %"}


def many_outcomes(
    *,
    outcomes: int = 8,
    correlation: float = 0.3,
    per_group: int = 20,
    effect: float = 0.0,
    studies: int = 1000,
    seed: int = 1,
) -> Illustration:
    """Simulate studies of two groups with several outcomes, each tested at .05.

    Scores are normal, any two outcomes correlate by `correlation`, and each is tested by the t test
    of :func:`motorlearn.linear.ancova_batch`. Holm's procedure finds something in a study where the
    smallest p is below .05 divided by the number of outcomes, as :func:`motorlearn.linear.holm`
    says.

    Parameters
    ----------
    outcomes : int
        Outcomes tested, 1 to 20.
    correlation : float
        Correlation of any two outcomes, 0 to 0.95.
    per_group : int
        People in each group, 4 to 200.
    effect : float
        True difference in every outcome, in standard deviations, -1 to 1.
    studies : int
        Simulated studies, 100 to 10 000.
    seed : int
        Seed of the studies.

    Returns
    -------
    Illustration
        Share of studies in which something was found: in any outcome, in any by Holm, in the first.

    Raises
    ------
    InputError
        If a setting is outside its range.

    Examples
    --------
    >>> shares = many_outcomes(correlation=0, outcomes=10).estimates["estimate"]
    >>> bool(0.35 < shares[0] < 0.45), bool(shares[1] < 0.07)
    (True, True)
    """
    given = check_settings(
        {"outcomes": outcomes, "correlation": correlation, "per_group": per_group,
         "effect": effect, "studies": studies},
        {"outcomes": (1, MOST), "correlation": (0, 0.95), "per_group": (4, 200),
         "effect": (-1, 1), "studies": (100, 10_000)},
    )  # fmt: skip
    p = tested(int(outcomes), correlation, int(per_group), effect, int(studies), seed)
    return _result(p, {**given, "seed": seed})


def tested(
    k: int, correlation: float, n: int, effect: float, studies: int, seed: int
) -> np.ndarray:
    """p values of the outcomes, shape (studies, outcomes)."""
    rng = np.random.default_rng(seed)
    shared = np.sqrt(correlation) * rng.standard_normal((studies, 2 * n))
    shared += effect * np.repeat([0, 1], n)
    codes = np.repeat([0, 1], n)
    own = np.sqrt(1 - correlation)
    columns = [
        ancova_batch(shared + own * rng.standard_normal(shared.shape), codes).p for _ in range(k)
    ]
    return np.stack(columns, axis=1)


def _result(p: np.ndarray, settings: dict[str, Any]) -> Illustration:
    smallest = np.minimum.accumulate(p, axis=1)
    k = np.arange(1, p.shape[1] + 1)
    any_found, holm_found = (smallest < 0.05).sum(0), (smallest < 0.05 / k).sum(0)
    rows = estimates_of(
        [
            share_of("any outcome below .05", int(any_found[-1]), len(p)),
            share_of("any outcome by Holm", int(holm_found[-1]), len(p)),
            share_of("the one named before", int(any_found[0]), len(p)),
        ]
    )
    series = [
        series_of(name, k, *np.array([share_of("", int(c), len(p))[1:] for c in counts]).T)
        for name, counts in (("any below .05", any_found), ("any by Holm", holm_found))
    ]
    said = "; ".join(f"{r['what']}: {share_words(r)}" for _, r in rows.iterrows())
    return Illustration(
        settings=settings,
        conclusion=f"Studies that found something with {p.shape[1]} outcomes: {said}.",
        text=f"Share of {len(p)} studies that find something, by the number of outcomes tested. "
        f"{said}.",
        series=pd.concat(series, ignore_index=True),
        estimates=rows,
        unit="",
    )


def _picture(shown: Illustration) -> Scene:
    marks = tuple(
        mark("line", rows["x"], 100 * rows["y"], name=name, look=look, low=100 * rows["low"],
             high=100 * rows["high"])
        for look, name in enumerate(shown.series["series"].unique())
        for rows in [shown.named(name)]
    )  # fmt: skip
    panel = Panel("Outcomes tested", "Studies that found something (%)", (0, MOST + 1), (0, 100),
                  marks, rules=(5,))  # fmt: skip
    return Scene((panel,), "Dashed: 5 %; bands: 95 % CI of the simulation")


LESSON = Lesson(
    "many outcomes",
    "Everything that could be measured",
    "Nothing is going on. A study measures {outcomes} things that correlate by {correlation}, and "
    "tests each. In how many such studies is at least one p below .05?",
    tuple(_VOTES.values()),
    (
        Control("outcomes", "Outcomes tested", 8, 1, MOST, page=(1, 2, 4, 8, 12, 20)),
        Control("correlation", "Correlation of any two", 0.3, 0.0, 0.9, 0.1,
                page=(0.0, 0.3, 0.6, 0.9)),
        Control("effect", "True difference in each (SD)", 0.0, -1.0, 1.0, 0.1, page=(0.0, 0.4)),
        Control("per_group", "People per group", 20, 6, 100),
    ),
    many_outcomes,
    _picture,
    lambda shown: nearest(shown.estimates["estimate"][0], _VOTES),
    message="One primary outcome, named before, keeps the promised 5 %; a family of tests needs a "
    "correction, or is called exploration.",
    contested="That many tests inflate errors is arithmetic; which tests form one family is a "
    "judgement.",
    null={"effect": 0.0},
    sources=(
        Source("Simmons, Nelson & Simonsohn (2011). False-positive psychology. Psychological "
               "Science, 22, 1359-1366.", "10.1177/0956797611417632", "abstract"),
        Source("Holm (1979). A simple sequentially rejective multiple test procedure. Scandinavian "
               "Journal of Statistics, 6, 65-70.", "", "from memory"),
    ),
    draws=2,
)  # fmt: skip
"""The lesson."""
