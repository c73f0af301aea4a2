"""How many raters and clips a wanted precision of agreement needs."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from motorlearn import digits
from motorlearn.exceptions import InputError
from motorlearn.measures.agreement.icc import MeanSquares, mean_of_raters
from motorlearn.measures.agreement.kappa import chance_corrected_of, choices_of
from motorlearn.measures.agreement.patterns import patterns_of, quantile_interval
from motorlearn.measures.agreement.pivots import pivots
from motorlearn.measures.hits import inside
from motorlearn.results import Recipe, Result
from motorlearn.rows import Schema
from motorlearn.tables import Column, Table

YES_OR_NO = "Fleiss' kappa"
GRID = Schema(
    (
        Column("raters", kind="count"),
        Column("clips", kind="count"),
        Column("ratings", kind="count"),
        Column("width", "mean width", "number"),
        Column("conf_low", "lower", "number"),
        Column("conf_high", "upper", "number"),
        Column("undefined", kind="percent"),
    )
)


@dataclass(frozen=True)
class RatingPlan(Result):
    """Width of the interval of agreement over numbers of raters and clips.

    Attributes
    ----------
    grid : DataFrame
        ``raters, clips, ratings, width, conf_low, conf_high, undefined``: number of ratings, mean
        width of the interval, its mean limits, and share of samples without an estimate.
    coefficient : str
        Coefficient that is planned for.
    recipe : Recipe
        Assumptions, number of simulated samples and seed.
    """

    grid: pd.DataFrame
    coefficient: str
    recipe: Recipe

    def tables(self) -> list[Table]:
        """The grid, with what was assumed beneath."""
        options = self.recipe.options
        level = digits.percent(options["level"])
        note = (
            f"Assumed: agreement {digits.number(options['agreement'])}; {level} intervals; "
            f"{options['simulations']} simulated samples of each size."
        )
        title = f"Precision of {self.coefficient} by raters and clips"
        return [GRID.table("rating_plan", title, self.grid, (note,))]

    def fewest(self, width: float) -> pd.DataFrame:
        """For each number of raters, the fewest clips of the grid that reach a width."""
        reached = self.grid[self.grid["width"] <= width]
        return reached.loc[reached.groupby("raters")["clips"].idxmin()].reset_index(drop=True)


def plan_rating(
    agreement: float,
    *,
    raters: Sequence[int],
    clips: Sequence[int],
    rater_share: float = 0.0,
    averaged: int = 1,
    prevalence: float | None = None,
    level: float = 0.95,
    simulations: int = 200,
    seed: int = 0,
) -> RatingPlan:
    """Width of the interval of agreement that numbers of raters and clips can be expected to give.

    Every clip is scored by every rater. Without ``prevalence`` scores are normal and the
    coefficient is ICC(A,1), or ICC(A,m) of the mean of ``averaged`` raters; with it the rating is
    yes or no, pairs of ratings of a clip are correlated by ``agreement``, and the coefficient is
    Fleiss' kappa.

    Parameters
    ----------
    agreement : float
        Expected ICC(A,1), or kappa.
    raters, clips : sequence of int
        Numbers to try.
    rater_share : float
        Share of the disagreement ``1 - agreement`` that is raters' levels; the rest is error.
    averaged : int
        Raters whose mean is analysed.
    prevalence : float, optional
        Share of yes where the rating is yes or no.
    level, simulations, seed
        Confidence level, samples of each size, seed.

    Raises
    ------
    InputError
        If agreement, share or prevalence is not inside 0 to 1, or fewer than two raters or three
        clips are asked for.

    Examples
    --------
    >>> plan = plan_rating(0.75, raters=[3], clips=[20, 80], simulations=50)
    >>> bool(plan.grid["width"].is_monotonic_decreasing)
    True
    """
    for name, value in (("agreement", agreement), ("prevalence", prevalence)):
        if value is not None and not 0 < value < 1:
            raise InputError(f"the expected {name} lies inside 0 to 1", [value])
    if not 0 <= rater_share < 1 or min(raters) < 2 or min(clips) < 3 or averaged < 1:
        raise InputError(
            "a rating plan needs two raters, three clips and a share of raters from 0 to below 1",
            [f"raters {list(raters)}", f"clips {list(clips)}", f"share {rater_share}"],
        )
    rng = np.random.default_rng(seed)
    rows = []
    for k in raters:
        for n in clips:
            limits = [
                _score_limits(rng, n, k, (agreement, rater_share, averaged), inside(level))
                if prevalence is None
                else _kappa_limits(rng, n, k, agreement, prevalence, level)
                for _ in range(simulations)
            ]
            rows.append({"raters": k, "clips": n, "ratings": k * n, **_summary(np.array(limits))})
    grid = GRID.frame(rows)
    options = {
        "agreement": agreement, "rater_share": rater_share, "averaged": averaged,
        "prevalence": prevalence, "level": level, "simulations": simulations,
    }  # fmt: skip
    coefficient = YES_OR_NO if prevalence is not None else f"ICC(A,{averaged})"
    return RatingPlan(grid, coefficient, Recipe("plan_rating", {}, options, len(grid), seed=seed))


def _summary(limits: np.ndarray) -> dict[str, float]:
    known = np.isfinite(limits[:, 0])
    undefined = {"undefined": float(1 - known.mean())}
    if not known.any():
        return undefined
    low, high = limits[known].mean(axis=0)
    return undefined | {
        "width": float(high - low),
        "conf_low": float(low),
        "conf_high": float(high),
    }


def _score_limits(
    rng: np.random.Generator, n: int, k: int, assumed: tuple[float, float, int], level: float
) -> tuple[float, float]:
    agreement, rater_share, averaged = assumed
    rater, error = (1 - agreement) * rater_share, (1 - agreement) * (1 - rater_share)
    freedom = (n - 1, k - 1, (n - 1) * (k - 1))
    expected = (error + k * agreement, error + n * rater, error)
    items, raters, rest = (e * rng.chisquare(df) / df for e, df in zip(expected, freedom))
    drawn = pivots(MeanSquares(items, raters, rest, np.nan, n, k))
    shares = ((items - rest) / k, (raters - rest) / n)
    estimate = shares[0] / (shares[0] + shares[1] + rest)
    low, high = quantile_interval(drawn.agreement(), estimate, level=level)
    return mean_of_raters(low, averaged), mean_of_raters(high, averaged)


def _kappa_limits(
    rng: np.random.Generator, n: int, k: int, kappa: float, prevalence: float, level: float
) -> tuple[float, float]:
    yes, no = np.array([prevalence, 1 - prevalence]) * (1 - kappa) / kappa
    own = rng.beta(yes, no, size=(n, 1))
    table = (rng.random((n, k)) < own).astype(float)
    codes = np.array([0.0, 1.0])
    drawn = patterns_of(table, codes, ordered=False, simulations=500)
    choices = choices_of(drawn.ratings, codes)
    estimate = float(chance_corrected_of(choices, drawn.seen, "fleiss")[0])
    samples = chance_corrected_of(choices, drawn.draws, "fleiss")
    return quantile_interval(samples, estimate, level=level)
