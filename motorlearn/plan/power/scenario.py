"""What power is computed for: the planned comparison, its tests and its assumptions, as numbers."""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from motorlearn.design import Assumptions
from motorlearn.exceptions import InputError
from motorlearn.plan.power.latent import log_odds_of, rate_moments, uncut_mean

Effect = Literal["difference", "ratio"]
STAND_IN_UNIT = "standard deviations between people"
"""Unit of scores where the plan assumes nothing about them."""
Aim = Literal["difference", "equivalence", "non-inferiority", "superiority", "minimum effect"]


@dataclass(frozen=True)
class Scenario:
    """The planned comparison as numbers.

    Parameters
    ----------
    counts : bool
        Whether scores are hits of so many attempts.
    effect : {"difference", "ratio"}
        How groups are compared.
    model : {"ancova", "linear mixed", "binomial mixed", "paired"}
        The planned analysis.
    assumed : Assumptions
        Parameters of the population; means are those of scores as they are read.
    better : int
        1 where higher scores are better, -1 where lower ones are.
    phases : tuple of str
        Phase of each test.
    done : ndarray, shape (tests,)
        Share of the gain that is present at each test.
    baseline, primary : int
        Numbers of the two tests compared; baseline -1 where there is none.
    trials_at : tuple of int
        Trials in each test.
    ratio : ndarray, shape (groups,)
        Group sizes relative to their mean.
    contrast : ndarray, shape (groups,)
        Weights of the primary contrast.
    low, high : float
        Bounds of the score.
    unit : str
        Unit of raw effects.
    outcome : str
        Name of the primary outcome.
    joint : bool
        Whether all groups are tested together.
    variance : {"equal", "by group"}
        Residual variance of the analysis of covariance and of the linear mixed model.
    aim : {"difference", "equivalence", "non-inferiority", "superiority", "minimum effect"}
        What is to be shown.
    bound : float
        Smallest effect of interest, against which equivalence is shown; NaN where none is needed.
    clustered : bool
        Whether clusters are allocated, and their means analysed.
    carriers : tuple of int
        Groups that have the effect; by default the first of the contrast.
    within : bool
        Whether each person meets every group.
    hypothesis : tuple of tuple of float
        Rows of weights of the groups that a joint test of factors says are all zero; of all
        groups together none are needed.
    warnings : tuple of str
        What was assumed because the plan does not say it.
    """

    counts: bool
    effect: Effect
    model: str
    assumed: Assumptions
    better: int
    phases: tuple[str, ...]
    done: np.ndarray
    baseline: int
    primary: int
    trials_at: tuple[int, ...]
    ratio: np.ndarray
    contrast: np.ndarray
    low: float
    high: float
    unit: str
    outcome: str = ""
    joint: bool = False
    variance: str = "equal"
    aim: Aim = "difference"
    bound: float = math.nan
    clustered: bool = False
    carriers: tuple[int, ...] = ()
    within: bool = False
    hypothesis: tuple[tuple[float, ...], ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def first(self) -> int:
        """Number of the group that carries the effect."""
        return int(np.argmax(self.contrast))

    @property
    def crossed(self) -> bool:
        """Whether the contrast is one of more than two cells."""
        return not self.joint and int(np.count_nonzero(self.contrast)) > 2

    def scale_of_cells(self, sizes: np.ndarray) -> tuple[float, float]:
        """Variance of the contrast in residual variances, and its degrees of freedom."""
        return float(np.sum(self.contrast**2 / sizes)), float(sizes.sum() - len(sizes))

    @property
    def condition_correlation(self) -> float:
        """Correlation of people's true scores between conditions within people."""
        return self.assumed.condition_correlation or 0.0

    @property
    def trials(self) -> int:
        """Trials in the primary test."""
        return self.trials_at[self.primary]

    def with_trials(self, trials: int) -> "Scenario":
        """Give the same scenario with another number of trials, the same in each test."""
        return replace(self, trials_at=(trials,) * len(self.trials_at))

    def sizes(self, n: int) -> np.ndarray:
        """People per group where the mean size is n."""
        sizes: np.ndarray = np.maximum(np.round(n * self.ratio).astype(int), 1)
        return sizes

    @property
    def raw_unit(self) -> float:
        """Raw units in one unit of the simulated score: attempts where hits are counted."""
        return float(self.trials) if self.unit == "hits" else 1.0

    @property
    def no_effect(self) -> float:
        """The raw effect that stands for none."""
        return 1.0 if self.effect == "ratio" else 0.0

    def mean_at(self, test: int) -> float:
        """Mean score of the reference group at a test, as it is read: raw units, or hit rate."""
        change = self.better * self.assumed.gain * self.done[test]
        if self.counts:
            p = self.assumed.baseline
            return 1 / (1 + math.exp(-(math.log(p / (1 - p)) + change)))
        return float(self.assumed.baseline + change)

    def declared_change(self) -> float:
        """Change from the baseline to the primary test that the plan assumes, an improvement.

        In raw units, or as a ratio.
        """
        before, after = self.mean_at(self.baseline), self.mean_at(self.primary)
        if self.effect == "ratio":
            return after / before
        return self.better * (after - before) * self.raw_unit

    @property
    def reference_mean(self) -> float:
        """Mean score that an effect at the primary test is counted from, as it is read."""
        return self.mean_at(self.baseline if self.model == "paired" else self.primary)

    def mean_with(self, effect: float) -> float:
        """Mean score at the primary test of the group that carries an effect."""
        mean = self.reference_mean
        if self.effect == "ratio":
            shifted = mean * effect
        else:
            shifted = mean + self.better * effect / self.raw_unit
        if not self._inside(shifted):
            score = "hit rate out of 0 to 1" if self.counts else "mean out of the score's bounds"
            raise InputError(f"the effect takes the {score}", [effect], "take a smaller one")
        return shifted

    def _inside(self, mean: float) -> bool:
        low, high = (0.0, 1.0) if self.counts else (self.low, self.high)
        return low < mean < high

    def is_possible(self, effect: float) -> bool:
        """Whether the mean with an effect lies inside the bounds of the score."""
        mean = self.reference_mean
        if self.effect == "ratio":
            return self._inside(mean * effect)
        return self._inside(mean + self.better * effect / self.raw_unit)

    def latent_mean(self, test: int) -> float:
        """Mean of what is drawn for the reference group at a test: log odds, or uncut scores."""
        at = self.baseline if self.model == "paired" and test == self.primary else test
        return self._latent(self.mean_at(at), test)

    def _latent(self, mean: float, test: int) -> float:
        if self.counts:
            return log_odds_of(mean, self.assumed.between_sd)
        if self.effect == "ratio":
            return mean
        return uncut_mean(mean, self._drawn_sd(test), self.low, self.high)

    def _drawn_sd(self, test: int) -> float:
        noise = (self.assumed.within_sd or 0.0) ** 2 / self.trials_at[test]
        return math.sqrt(self.assumed.between_sd**2 + noise)

    def latent_shift(self, effect: float) -> float:
        """What an effect adds to what is drawn; for ratios of scores, to their logarithms."""
        if self.effect == "ratio" and not self.counts:
            return math.log(effect)
        return self._latent(self.mean_with(effect), self.primary) - self.latent_mean(self.primary)

    def true_sd(self, test: int) -> float:
        """Standard deviation of true scores at a test: raw units, or hit rate."""
        if self.counts:
            return math.sqrt(rate_moments(self.latent_mean(test), self.assumed.between_sd)[1])
        return self.assumed.between_sd

    def score_sd(self, test: int | None = None) -> float:
        """Standard deviation of people's scores at a test: raw units, or hit rate.

        By default at the primary test.
        """
        test = self.primary if test is None else test
        if not self.counts:
            return self._drawn_sd(test)
        mean, variance = rate_moments(self.latent_mean(test), self.assumed.between_sd)
        return math.sqrt(variance + (mean * (1 - mean) - variance) / self.trials_at[test])

    def reliability(self, test: int) -> float:
        """Share of the variance of scores at a test that is between people."""
        return self.true_sd(test) ** 2 / self.score_sd(test) ** 2

    def score_correlation(self) -> float:
        """Correlation of people's scores at the baseline and the primary test."""
        both = (self.baseline, self.primary)
        kept = math.prod(math.sqrt(self.reliability(test)) for test in both)
        return self.assumed.stability * kept

    def latent_variance(self) -> float:
        """Variance of people's scores at the primary test on the scale that is drawn."""
        a = self.assumed
        if self.counts:
            p = self.reference_mean
            return a.between_sd**2 + 1 / (self.trials * p * (1 - p))
        return self.score_sd() ** 2

    def from_d(self, d: float) -> float:
        """Raw effect (or ratio) of a standardised one, d times the SD of scores."""
        if self.effect == "ratio":
            mean = self.reference_mean
            return (mean + self.better * d * self.score_sd()) / mean
        return d * self.score_sd() * self.raw_unit

    def to_d(self, effect: float) -> float:
        """Standardised effect of a raw one (or of a ratio), positive for improvement."""
        if self.effect == "ratio":
            return self.better * (effect - 1) * self.reference_mean / self.score_sd()
        return effect / self.raw_unit / self.score_sd()

    def on_analysis(self, effect: float) -> float:
        """The effect on the scale of the analysis: hit rates, logs, log odds or raw units."""
        if self.model == "binomial mixed":
            return self.latent_shift(effect)
        if self.effect == "ratio":
            return math.log(effect)
        return self.better * effect / self.raw_unit

    def from_analysis(self, value: float) -> float | None:
        """The effect that has a value on the scale of the analysis; None where there is none."""
        if self.model == "binomial mixed":
            mean = self.latent_mean(self.primary) + value
            rate = rate_moments(mean, self.assumed.between_sd)[0]
            return self._as_effect(rate - self.reference_mean)
        if self.effect == "ratio":
            ratio = math.exp(value)
            return ratio if self._inside(ratio * self.reference_mean) else None
        return self._as_effect(value)

    def _as_effect(self, change: float) -> float | None:
        mean = self.reference_mean
        if not self._inside(mean + change):
            return None
        if self.effect == "ratio":
            return (mean + change) / mean
        return self.better * change * self.raw_unit
