"""Pooled trials deceive: counting trials as if they were people finds differences in chance."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn import digits
from motorlearn.measures.hits import wilson_interval
from motorlearn.measures.precision import design_effect
from motorlearn.tables import Column, Table
from motorlearn.teaching.demonstrations.demonstration import Demonstration, check_settings
from motorlearn.teaching.demonstrations.twenty_attempts import hit_rate_moments

LIMITS: Final[dict[str, tuple[float, float]]] = {
    "per_group": (3, 200),
    "attempts": (1, 200),
    "spread": (0, 3),
    "hit_rate": (0.05, 0.95),
    "studies": (10, 20_000),
}


@dataclass(frozen=True)
class PooledTrials(Demonstration):
    """How often two ways of testing find a difference between two groups that do not differ.

    Parameters
    ----------
    pooled_p, people_p : ndarray, shape (studies,)
        p values of the chi-square test of all trials, and of the t test of people's counts.
    false_positives : DataFrame
        ``test, share, conf_low, conf_high``: share of studies with p < .05, Wilson 95 % interval.
    design_effect : float
        ``1 + (k - 1)·ICC`` of the trials: by how much pooling understates the variance.
    """

    pooled_p: np.ndarray
    people_p: np.ndarray
    false_positives: pd.DataFrame
    design_effect: float

    def tables(self) -> list[Table]:
        """The false positives of both tests."""
        columns = (
            Column("test"),
            Column("share", "false positives", "percent", decimals=1),
            Column("conf_low", "lower", "percent", decimals=1),
            Column("conf_high", "upper", "percent", decimals=1),
        )
        title = "Studies of two identical groups in which p < .05"
        return [Table("pooled-trials", title, columns, self.false_positives, (self.conclusion,))]


def pooled_trials(
    *,
    per_group: int = 15,
    attempts: int = 20,
    spread: float = 0.7,
    hit_rate: float = 0.6,
    studies: int = 2000,
    seed: int = 1,
) -> PooledTrials:
    """Simulate studies of two groups from one population and test them in two ways.

    Parameters
    ----------
    per_group : int
        People in each group, 3 to 200.
    attempts : int
        Attempts of each person, 1 to 200.
    spread : float
        Standard deviation between people of the log odds of a hit, 0 to 3.
    hit_rate : float
        Hit rate of the middle person, 0.05 to 0.95.
    studies : int
        Number of simulated studies, 10 to 20 000.
    seed : int
        Seed of the studies.

    Returns
    -------
    PooledTrials

    Raises
    ------
    InputError
        If a setting is outside its range.

    References
    ----------
    Hurlbert, S. H. (1984). Pseudoreplication and the design of ecological field experiments.
    *Ecological Monographs*, 54, 187-211. https://doi.org/10.2307/1942661

    Examples
    --------
    >>> share = pooled_trials().false_positives["share"]
    >>> bool(share[0] > 0.15), bool(share[1] < 0.07)
    (True, True)
    """
    given = check_settings(
        {
            "per_group": per_group,
            "attempts": attempts,
            "spread": spread,
            "hit_rate": hit_rate,
            "studies": studies,
        },
        LIMITS,
    )
    n, k, repeats = int(per_group), int(attempts), int(studies)
    rng = np.random.default_rng(seed)
    odds = np.log(hit_rate / (1 - hit_rate)) + spread * rng.standard_normal((repeats, 2, n))
    hits = rng.binomial(k, 1 / (1 + np.exp(-odds)))
    pooled, people = pooled_p_values(hits, k), people_p_values(hits)
    shares = [_share("all trials pooled", pooled), _share("one score per person", people)]
    table = pd.DataFrame(shares, columns=["test", "share", "conf_low", "conf_high"])
    mean, variance = hit_rate_moments(hit_rate, spread)
    effect = design_effect(k, variance / (mean * (1 - mean)))
    return PooledTrials(
        settings={**given, "seed": seed},
        conclusion=_conclusion(table),
        text=_text(table, n, k, repeats, effect),
        pooled_p=pooled,
        people_p=people,
        false_positives=table,
        design_effect=effect,
    )


def pooled_p_values(hits: np.ndarray, attempts: int) -> np.ndarray:
    """p values of the two-by-two chi-square test of all trials, without correction.

    Parameters
    ----------
    hits : ndarray of int, shape (studies, 2, people)
        Hits of each person.
    attempts : int
        Attempts of each person.

    Examples
    --------
    >>> import numpy as np
    >>> float(pooled_p_values(np.array([[[30], [50]]]), 100)[0].round(5))
    0.00389
    """
    trials = hits.shape[-1] * attempts
    rates = hits.sum(-1) / trials
    mean = rates.mean(-1)
    variance = 2 * mean * (1 - mean) / trials
    distance = rates[:, 0] - rates[:, 1]
    square = np.divide(distance**2, variance, out=np.zeros_like(mean), where=variance > 0)
    return np.asarray(stats.chi2.sf(square, 1), dtype=float)


def people_p_values(hits: np.ndarray) -> np.ndarray:
    """p values of Student's t test of the people's counts; 1 where every count is equal."""
    n = hits.shape[-1]
    means, variances = hits.mean(-1), hits.var(-1, ddof=1)
    error = np.sqrt(variances.sum(-1) / n)
    distance = np.abs(means[:, 0] - means[:, 1])
    statistic = np.divide(distance, error, out=np.zeros_like(error), where=error > 0)
    return np.asarray(2 * stats.t.sf(statistic, 2 * n - 2), dtype=float)


def _share(name: str, p: np.ndarray) -> tuple[str, float, float, float]:
    count = int((p < 0.05).sum())
    low, high = wilson_interval(count, len(p))
    return name, count / len(p), float(low), float(high)


def _conclusion(table: pd.DataFrame) -> str:
    pooled, people = (digits.percent(share, 1) for share in table["share"])
    return (
        f"Two groups that do not differ look different in {pooled} of studies when trials are "
        f"pooled, and in {people} when each person counts once; 5 % was promised."
    )


def _text(table: pd.DataFrame, n: int, k: int, studies: int, effect: float) -> str:
    rows = "; ".join(
        f"{name} {digits.percent(share, 1)} "
        f"(95 % CI {digits.number(100 * low, 1)} to {digits.number(100 * high, 1)} %)"
        for name, share, low, high in table.itertuples(index=False)
    )
    return (
        f"Histograms of {studies} p values of studies of two identical groups of {n} people with "
        f"{k} attempts each. Share below .05: {rows}. Pooling understates the variance by a factor "
        f"of {digits.number(effect, 1)}. Right p values would be spread evenly from 0 to 1."
    )
