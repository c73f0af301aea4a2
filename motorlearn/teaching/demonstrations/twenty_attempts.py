"""Twenty attempts are few: what chance alone does to a count of hits."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn import digits
from motorlearn.measures.hits import wilson_interval
from motorlearn.measures.precision import binomial_sem, smallest_detectable_change
from motorlearn.tables import Column, Table
from motorlearn.teaching.demonstrations.demonstration import Demonstration, check_settings

LIMITS: Final[dict[str, tuple[float, float]]] = {
    "attempts": (5, 200),
    "hit_rate": (0.05, 0.95),
    "spread": (0.05, 3),
}


@dataclass(frozen=True)
class TwentyAttempts(Demonstration):
    """The spread of one person's hit counts when nothing about the person changes.

    Parameters
    ----------
    counts : DataFrame
        ``hits, probability``: the binomial distribution of the score.
    std_error : float
        Standard deviation of the score over repeats of the test, in hits.
    smallest_change : float
        Smallest detectable change of one person between two tests, 95 %, in hits.
    hit_low, hit_high : float
        Wilson 95 % interval of the hit rate for the most likely score.
    reliability : float
        Correlation between two such tests over people who differ by `spread`.
    repeats : ndarray of int
        Ten simulated tests of the same person.
    """

    counts: pd.DataFrame
    std_error: float
    smallest_change: float
    hit_low: float
    hit_high: float
    reliability: float
    repeats: np.ndarray

    def tables(self) -> list[Table]:
        """One row of key numbers."""
        row = pd.DataFrame(
            {
                "std_error": [self.std_error],
                "smallest_change": [self.smallest_change],
                "hit_low": [self.hit_low],
                "hit_high": [self.hit_high],
                "reliability": [self.reliability],
            }
        )
        columns = (
            Column("std_error", "standard error of a score", "number", "hits", 1),
            Column("smallest_change", "smallest detectable change", "number", "hits", 1),
            Column("hit_low", "hit rate, lower", "number"),
            Column("hit_high", "hit rate, upper", "number"),
            Column("reliability", "retest correlation", "number"),
        )
        title = f"A test of {self.settings['attempts']} attempts"
        return [Table("twenty-attempts", title, columns, row, (self.conclusion,))]


def twenty_attempts(
    *, attempts: int = 20, hit_rate: float = 0.6, spread: float = 0.7, seed: int = 1
) -> TwentyAttempts:
    """Show how far the score of one unchanged person moves from test to test.

    Standard error ``√(n·p·(1 - p))`` hits; smallest detectable change of one person
    ``1.96·√2`` times that.

    Parameters
    ----------
    attempts : int
        Attempts in the test, 5 to 200.
    hit_rate : float
        True hit rate of the person, 0.05 to 0.95.
    spread : float
        Standard deviation between people of the log odds of a hit, 0.05 to 3, for the retest
        correlation.
    seed : int
        Seed of the ten example tests.

    Returns
    -------
    TwentyAttempts
        More hits are better.

    Raises
    ------
    InputError
        If a setting is outside its range.

    References
    ----------
    Wilson, E. B. (1927). Probable inference, the law of succession, and statistical inference.
    *Journal of the American Statistical Association*, 22, 209-212.
    https://doi.org/10.1080/01621459.1927.10502953

    Examples
    --------
    >>> shown = twenty_attempts()
    >>> round(shown.std_error, 2), round(shown.smallest_change, 2)
    (2.19, 6.07)
    >>> round(shown.hit_low, 3), round(shown.hit_high, 3)
    (0.387, 0.781)
    """
    given = check_settings({"attempts": attempts, "hit_rate": hit_rate, "spread": spread}, LIMITS)
    attempts = int(attempts)
    hits = np.arange(attempts + 1)
    error = float(binomial_sem(hit_rate, attempts))
    change = float(smallest_detectable_change(error))
    reliability = retest_correlation(attempts, hit_rate, spread)
    typical = round(attempts * hit_rate)
    low, high = (float(end) for end in wilson_interval(typical, attempts))
    return TwentyAttempts(
        settings={**given, "seed": seed},
        conclusion=_conclusion(attempts, change),
        text=_text(attempts, hit_rate, typical, low, high, error)
        + f" Over people, two such tests correlate {digits.number(reliability, 2)}.",
        counts=pd.DataFrame(
            {"hits": hits, "probability": stats.binom.pmf(hits, attempts, hit_rate)}
        ),
        std_error=error,
        smallest_change=change,
        hit_low=low,
        hit_high=high,
        reliability=reliability,
        repeats=np.random.default_rng(seed).binomial(attempts, hit_rate, 10),
    )


def retest_correlation(attempts: int, hit_rate: float, spread: float) -> float:
    """Correlation of two tests over people whose log odds are normal around the given hit rate.

    ``Var(p) / (Var(p) + E[p(1 - p)] / n)``, integrated by Gauss-Hermite quadrature.

    Examples
    --------
    >>> [round(retest_correlation(20, 0.6, sd), 2) for sd in (0.4, 0.7, 1.0)]
    [0.43, 0.68, 0.8]
    """
    mean, between = hit_rate_moments(hit_rate, spread)
    return between / (between + (mean * (1 - mean) - between) / attempts)


def hit_rate_moments(hit_rate: float, spread: float) -> tuple[float, float]:
    """Mean and variance over people of the hit rate, log odds normal around the given rate.

    Gauss-Hermite quadrature with 61 nodes.

    Examples
    --------
    >>> mean, variance = hit_rate_moments(0.5, 0.7)
    >>> round(mean, 6), round(variance, 4)
    (0.5, 0.025)
    """
    nodes, weights = np.polynomial.hermite_e.hermegauss(61)
    weights = weights / weights.sum()
    p = 1 / (1 + np.exp(-(np.log(hit_rate / (1 - hit_rate)) + spread * nodes)))
    mean = weights @ p
    return float(mean), float(weights @ (p - mean) ** 2)


def _conclusion(attempts: int, change: float) -> str:
    needed = int(np.floor(change)) + 1
    if needed > attempts:
        return f"With {attempts} attempts no change of one person can be told from chance."
    return (
        f"With {attempts} attempts, one person must move by {needed} hits or more before the "
        "change is larger than chance makes it in 95 of 100 retests."
    )


def _text(
    attempts: int, hit_rate: float, typical: int, low: float, high: float, error: float
) -> str:
    likely = stats.binom.ppf([0.025, 0.975], attempts, hit_rate).astype(int)
    return (
        f"Bars of the probability of each score from 0 to {attempts} hits for a person who truly "
        f"hits {digits.percent(hit_rate)}. In 95 of 100 tests the score lies between {likely[0]} "
        f"and {likely[1]}; its standard error is {digits.number(error, 1)} hits. A score of "
        f"{typical} fits any true hit rate from {digits.percent(low)} to {digits.percent(high)}."
    )
