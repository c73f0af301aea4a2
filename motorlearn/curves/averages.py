"""The averaging trap: the average of exponential curves is not an exponential curve."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from motorlearn.curves.batch.learners import fit_curves
from motorlearn.curves.options import check_seed, finite, whole
from motorlearn.curves.single.learner import fit_curve
from motorlearn.curves.single.rows import as_numbers
from motorlearn.exceptions import InputError
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table

EQUAL = 1e-6
"""Difference of criteria below which two forms are the same curve."""


def average_of_exponentials(time: ArrayLike, shape: float, scale: float) -> np.ndarray:
    r"""Give the average of exponential curves whose rates follow a Gamma distribution.

    .. math:: \int_0^\infty e^{-rt}\, \mathrm{Gamma}(r; a, b)\, dr = (1 + t/b)^{-a}

    A power law with prior practice, although no single curve is one.

    Parameters
    ----------
    time : array of float
        Practice after the first trial, at least 0.
    shape, scale : float
        Shape ``a`` and rate parameter ``b`` of the Gamma distribution, both above 0.

    References
    ----------
    Murre, J. M. J., & Chessa, A. G. (2011). Power laws from individual differences in learning
    and forgetting. Psychonomic Bulletin & Review, 18, 592-597.
    https://doi.org/10.3758/s13423-011-0076-y

    Examples
    --------
    >>> average_of_exponentials([0, 5, 20], 2.0, 5.0).round(4)
    array([1.  , 0.25, 0.04])
    """
    time = as_numbers(time, "time")
    shape, scale = (finite(x, "shape and scale must be finite numbers") for x in (shape, scale))
    if not (shape > 0 and scale > 0) or np.any(time < 0):
        raise InputError("shape and scale must be above 0 and time at least 0", [shape, scale])
    return np.exp(-shape * np.log1p(time / scale))


LARGEST_SIZE = 10_000


@dataclass(frozen=True)
class AveragingDemonstration(Result):
    """What averaging does to learners who all follow exponential curves.

    ``preferred``: share of simulated classes (for the averages) and of learners (one by one) for
    which each form leads by AICc. ``curves``: average score and both fits to it in the first
    class; ``learners``: scores of that class.
    """

    preferred: pd.DataFrame
    curves: pd.DataFrame
    learners: pd.DataFrame
    rate_sd: float
    recipe: Recipe = field(default_factory=lambda: Recipe("demonstrate_averaging"), repr=False)

    def tables(self) -> Sequence[Table]:
        """Share in which the exponential leads."""
        columns = (
            Column("level", "fitted to"),
            Column("exponential", kind="percent"),
            Column("power", kind="percent"),
            Column("fits", kind="count"),
        )
        title = (
            f"Form with the lower AICc; every learner is exponential, log-rate SD {self.rate_sd:g}"
        )
        return (Table("averaging", title, columns, self.preferred),)


def _sizes(learners: Any, trials: Any, classes: Any) -> tuple[int, int, int]:
    sizes = {"learners": (learners, 1), "trials": (trials, 6), "classes": (classes, 1)}
    for name, (size, least) in sizes.items():
        if not whole(size) or isinstance(size, bool) or not least <= size <= LARGEST_SIZE:
            raise InputError(
                f"{name} must be a whole number from {least} to {LARGEST_SIZE}", [size]
            )
    return int(learners), int(trials), int(classes)


def _numbers(rate_sd: Any, median_rate: Any, noise: Any) -> tuple[float, float, float]:
    spread = finite(rate_sd, "rate_sd must be a finite number")
    rate = finite(median_rate, "median_rate must be a finite number")
    size = finite(noise, "noise must be a finite number")
    if spread < 0 or size < 0 or rate <= 0:
        raise InputError(
            "spread and noise must be at least 0, and the rate above 0", [spread, size, rate]
        )
    return spread, rate, size


def demonstrate_averaging(
    *,
    rate_sd: float = 1.3,
    median_rate: float = 0.10,
    learners: int = 24,
    trials: int = 72,
    classes: int = 40,
    noise: float = 3.0,
    seed: int = 0,
) -> AveragingDemonstration:
    """Show that averages of exponential learners look like a power law once rates differ enough.

    Parameters
    ----------
    rate_sd, median_rate : float
        SD of the log rate between learners and their median rate per trial.
    learners, trials, classes : int
        Learners per class, trials per learner, simulated classes.
    noise : float
        SD of single scores, where curves fall by 15 from 35.
    seed : int
        Seed of the random numbers.

    Examples
    --------
    >>> shown = demonstrate_averaging(classes=5)
    >>> shown.preferred["level"].tolist()
    ['single learners', 'averages']
    """
    learners, trials, classes = _sizes(learners, trials, classes)
    rate_sd, median_rate, noise = _numbers(rate_sd, median_rate, noise)
    rng = np.random.default_rng(check_seed(seed))
    n = np.arange(1.0, trials + 1)
    shape = (classes, learners, 1)
    rate = np.exp(np.log(median_rate) + rate_sd * rng.normal(size=shape))
    scores = 20 + 15 * np.exp(-rate * (n - 1)) + noise * rng.normal(size=(*shape[:2], trials))
    means = scores.mean(axis=1)
    single = _share(scores.reshape(-1, trials), n, "single learners")
    together = _share(means, n, "averages")
    fits = {form: fit_curve(n, means[0], form=form) for form in ("exponential", "power")}
    curves = pd.DataFrame(
        {"trial": n, "average": means[0], **{name: fit.fitted for name, fit in fits.items()}}
    )
    rows = pd.DataFrame(
        {
            "participant": np.repeat([f"p{k + 1:02d}" for k in range(learners)], trials),
            "trial": np.tile(n.astype(int), learners),
            "score": scores[0].ravel(),
        }
    )
    options = {
        "rate_sd": rate_sd,
        "median_rate": median_rate,
        "learners": learners,
        "trials": trials,
        "classes": classes,
        "noise": noise,
    }
    recipe = Recipe("demonstrate_averaging", options=options, n=scores.size, seed=seed)
    return AveragingDemonstration(pd.DataFrame([single, together]), curves, rows, rate_sd, recipe)


def _share(scores: np.ndarray, n: np.ndarray, level: str) -> dict[str, object]:
    """Share of curves whose AICc is lowest for each form; equals count half for each.

    Forms are equal where both are the same step: rounding must not choose.
    """
    table = pd.DataFrame(
        {
            "unit": np.repeat(np.arange(len(scores)), len(n)),
            "trial": np.tile(n, len(scores)),
            "score": scores.ravel(),
        }
    )
    found = fit_curves(table, "score", practice="trial", by="unit").preferred
    best, equal = found["best"], found["lead"] < EQUAL
    wins = {form: (best == form).where(~equal, 0.5) for form in ("exponential", "power")}
    shares = {form: float(won.mean()) for form, won in wins.items()}
    return {"level": level, **shares, "fits": len(scores)}
