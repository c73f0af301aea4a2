"""Baseline adjustment: test alone, change scores, or the test adjusted for the baseline."""

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
)
from motorlearn.teaching.demonstrations.lesson import Control, Lesson, Source, choose
from motorlearn.teaching.demonstrations.scene import Panel, Scene, mark, rows_of

WAYS = ("test alone", "change scores", "adjusted for the baseline")
ORIGINS = ("by lot", "ready-made groups")


def baseline_adjustment(
    *,
    origin: str = "by lot",
    gap: float = 0.5,
    correlation: float = 0.6,
    effect: float = 0.0,
    per_group: int = 20,
    studies: int = 1000,
    seed: int = 1,
) -> Illustration:
    """Simulate studies whose groups differ before anything is done, and analyse them in three ways.

    Both tests have the standard deviation 1 and correlate by `correlation` in each group. Groups
    made by lot that happen to differ by `gap` come from one population: what is expected of them
    afterwards differs by ``correlation·gap``. Ready-made groups that truly differ keep the whole
    gap.

    Parameters
    ----------
    origin : {"by lot", "ready-made groups"}
        Where the difference before comes from.
    gap : float
        Second minus first group before, in standard deviations, -1 to 1.
    correlation : float
        Correlation of the two tests within a group, 0 to 0.95.
    effect : float
        What the programme of the second group truly does, -1 to 1.
    per_group : int
        People in each group, 4 to 200.
    studies : int
        Simulated studies, 100 to 10 000.
    seed : int
        Seed of the studies.

    Returns
    -------
    Illustration
        For each way the mean estimate over studies and the range of 95 % of them; the series
        ``p below .05`` holds the share of studies with a finding.

    Raises
    ------
    InputError
        If a setting is outside its range.

    Examples
    --------
    >>> baseline_adjustment(studies=4000).estimates["estimate"].round(1).abs().tolist()
    [0.3, 0.2, 0.0]
    """
    kept = choose(origin, dict(zip(ORIGINS, (correlation, 1.0), strict=True)))
    given = check_settings(
        {"gap": gap, "correlation": correlation, "effect": effect, "per_group": per_group,
         "studies": studies},
        {"gap": (-1, 1), "correlation": (0, 0.95), "effect": (-1, 1), "per_group": (4, 200),
         "studies": (100, 10_000)},
    )  # fmt: skip
    n = int(per_group)
    before, noise = np.random.default_rng(seed).standard_normal((2, int(studies), 2 * n))
    codes = np.repeat([0, 1], n)
    before = _centred(before, codes) + gap * codes
    own = before - gap * codes
    after = correlation * own + kept * gap * codes + np.sqrt(1 - correlation**2) * noise
    after += effect * codes
    found = {
        WAYS[0]: ancova_batch(after, codes),
        WAYS[1]: ancova_batch(after - before, codes),
        WAYS[2]: ancova_batch(after, codes, before),
    }
    return _result(found, {"origin": origin, **given, "seed": seed})


def _centred(values: np.ndarray, codes: np.ndarray) -> np.ndarray:
    """Take the mean of each group off, so that groups differ before by exactly the gap."""
    means = np.stack([values[:, codes == g].mean(1) for g in (0, 1)], axis=1)
    return np.asarray(values - means[:, codes])


def _result(found: dict[str, Any], settings: dict[str, Any]) -> Illustration:
    rows = [
        (way, batch.estimate.mean(), *np.quantile(batch.estimate, [0.025, 0.975]))
        for way, batch in found.items()
    ]
    shares = [share_of(way, int((b.p < 0.05).sum()), len(b.p)) for way, b in found.items()]
    table = estimates_of(rows)
    series = pd.concat(
        [
            series_of(way, [k + 1.0], share, low, high)
            for k, (way, share, low, high) in enumerate(shares)
        ],
        ignore_index=True,
    )
    means = "; ".join(f"{r[0]} {digits.number(r[1], 2)}" for r in rows)
    rates = "; ".join(f"{way} {digits.percent(share)}" for way, share, _, _ in shares)
    return Illustration(
        settings=settings,
        conclusion=f"The truth is {digits.number(settings['effect'], 1)} SD; mean estimates: "
        f"{means}.",
        text=f"Estimates of three analyses over {settings['studies']:g} studies whose groups "
        f"differ by {digits.number(settings['gap'], 1)} SD before. Mean estimates: {means}. "
        f"Studies with p below .05: {rates}.",
        series=series,
        estimates=table,
        unit="SD",
    )


def _picture(shown: Illustration) -> Scene:
    rows = rows_of(shown.estimates)
    bars = mark("bars", shown.series["x"], 100 * shown.series["y"], low=100 * shown.series["low"],
                high=100 * shown.series["high"])  # fmt: skip
    panels = (
        Panel("Second minus first group (SD)", "", (-2.4, 2.4), rows=rows,
              rules=(shown.settings["effect"],), title="Mean and 95 % of studies", weight=1.4),
        Panel("", "Studies with p < .05 (%)", (0.4, 3.6), (0, 100), (bars,), rules=(5,),
              ticks={1.0: "test", 2.0: "change", 3.0: "adjusted"}),
    )  # fmt: skip
    return Scene(panels, "Grey line on the left: the truth; dashed on the right: 5 %")


def _answer(shown: Illustration) -> str:
    """The one way that is near the truth; open where none or several are."""
    away = (shown.estimates["estimate"] - shown.settings["effect"]).abs()
    near = [way for way, distance in zip(WAYS, away, strict=True) if distance < 0.05]
    return near[0] if len(near) == 1 else "more than one, or none"


LESSON = Lesson(
    "baseline adjustment",
    "Groups that differ before",
    "Two groups differ by {gap} SD before anything is done. They were formed: {origin}. Which "
    "analysis of the test afterwards is right on average?",
    (*WAYS, "more than one, or none"),
    (
        Control("origin", "How groups were formed", "by lot", choices=ORIGINS),
        Control("gap", "Difference before (SD)", 0.5, -1.0, 1.0, 0.1, page=(0.0, 0.2, 0.5, 1.0)),
        Control("correlation", "Correlation of the two tests", 0.6, 0.0, 0.9, 0.1,
                page=(0.0, 0.3, 0.6, 0.9)),
        Control("effect", "True effect (SD)", 0.0, -1.0, 1.0, 0.1, page=(0.0, 0.5)),
        Control("per_group", "People per group", 20, 6, 100),
    ),
    baseline_adjustment,
    _picture,
    _answer,
    message="Groups made by lot come back towards each other, so adjust for the baseline. Groups "
    "that were there before need not, and then change scores and adjustment contradict each other.",
    contested="For ready-made groups neither analysis is right without an assumption about what "
    "would have happened (Lord's paradox); for groups made by lot adjustment is agreed on.",
    null={"effect": 0.0, "gap": 0.0},
    sources=(
        Source("Egbewale, Lewis & Sim (2014). Bias, precision and statistical power of analysis of "
               "covariance in the analysis of randomized trials with baseline imbalance. BMC "
               "Medical Research Methodology, 14, 49.", "10.1186/1471-2288-14-49", "abstract"),
        Source("van Breukelen (2013). ANCOVA versus CHANGE from baseline in nonrandomized studies: "
               "the difference. Multivariate Behavioral Research, 48, 895-922.", "", "abstract"),
        Source("Senn (2006). Change from baseline and analysis of covariance revisited. "
               "Statistics in Medicine, 25, 4334-4344.", "10.1002/sim.2682", "abstract"),
    ),
    draws=1,
)  # fmt: skip
"""The lesson."""
