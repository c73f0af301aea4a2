"""Why averages mislead: the average of exponential learners need not be exponential."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from motorlearn import digits
from motorlearn.curves import AveragingDemonstration, demonstrate_averaging
from motorlearn.measures.hits import wilson_interval
from motorlearn.tables import Column, Table
from motorlearn.teaching.demonstrations.demonstration import Demonstration, check_settings

LIMITS: Final[dict[str, tuple[float, float]]] = {
    "spread": (0, 2),
    "median_rate": (0.01, 0.5),
    "learners": (3, 100),
    "trials": (12, 200),
    "noise": (0.1, 20),
    "classes": (10, 300),
}


@dataclass(frozen=True)
class AveragedCurves(Demonstration):
    """Which curve form fits learners, and which fits their average.

    Parameters
    ----------
    practice : ndarray, shape (trials,)
        Practice counts from 1.
    errors : ndarray, shape (learners, trials)
        Errors in cm of the learners of the first class.
    fitted : DataFrame
        ``trial, mean, exponential, power``: average of the first class and both fits to it.
    shares : DataFrame
        ``level, share, conf_low, conf_high``: how often the exponential has the lower AICc, among
        all learners and among the averages of all classes.
    """

    practice: np.ndarray
    errors: np.ndarray
    fitted: pd.DataFrame
    shares: pd.DataFrame

    def tables(self) -> list[Table]:
        """The shares."""
        columns = (
            Column("level"),
            Column("share", "exponential fits better", "percent"),
            Column("conf_low", "lower", "percent"),
            Column("conf_high", "upper", "percent"),
        )
        title = "Every learner is exponential; which form wins by AICc?"
        return [Table("averaged-curves", title, columns, self.shares, (self.conclusion,))]


def averaged_curves(
    *,
    spread: float = 1.3,
    median_rate: float = 0.10,
    learners: int = 24,
    trials: int = 72,
    noise: float = 1.5,
    classes: int = 100,
    seed: int = 1,
) -> AveragedCurves:
    """Simulate classes of exponential learners, fit every learner and the average of every class.

    Each learner follows ``20 + 15·exp(-rate·(n - 1))`` cm with noise; log rates are normal. Both
    forms, exponential and power with asymptote, have three parameters and are compared by AICc, see
    :func:`motorlearn.curves.demonstrate_averaging`.
    Averaging exponentials over Gamma-distributed rates gives a power law exactly (Murre & Chessa,
    2011); with a wide spread of log-normal rates the average comes close to one.

    Parameters
    ----------
    spread : float
        Standard deviation of the log rates over learners, 0 to 2.
    median_rate : float
        Median rate per trial, 0.01 to 0.5.
    learners : int
        Learners in a class, 3 to 100.
    trials : int
        Trials of each learner, 12 to 200.
    noise : float
        Standard deviation of a single trial in cm, 0.1 to 20.
    classes : int
        Number of classes, 10 to 300.
    seed : int
        Seed of the learners.

    Returns
    -------
    AveragedCurves

    Raises
    ------
    InputError
        If a setting is outside its range.

    References
    ----------
    Heathcote, A., Brown, S., & Mewhort, D. J. K. (2000). The power law repealed: the case for an
    exponential law of practice. *Psychonomic Bulletin & Review*, 7, 185-207.
    https://doi.org/10.3758/BF03212979

    Murre, J. M. J., & Chessa, A. G. (2011). Power laws from individual differences in learning and
    forgetting: mathematical analyses. *Psychonomic Bulletin & Review*, 18, 592-597.
    https://doi.org/10.3758/s13423-011-0076-y

    Examples
    --------
    >>> people, averages = averaged_curves().shares["share"]
    >>> bool(people > 0.9), bool(averages < 0.5)
    (True, True)
    """
    given = check_settings(
        {
            "spread": spread,
            "median_rate": median_rate,
            "learners": learners,
            "trials": trials,
            "noise": noise,
            "classes": classes,
        },
        LIMITS,
    )
    found = demonstrate_averaging(
        rate_sd=spread,
        median_rate=median_rate,
        learners=int(learners),
        trials=int(trials),
        classes=int(classes),
        noise=noise,
        seed=seed,
    )
    shares, fitted = _shares(found), found.curves.rename(columns={"average": "mean"})
    return AveragedCurves(
        settings={**given, "seed": seed},
        conclusion=_conclusion(shares),
        text=_text(shares, given, fitted),
        practice=fitted["trial"].to_numpy(),
        errors=found.learners["score"].to_numpy().reshape(int(learners), -1),
        fitted=fitted,
        shares=shares,
    )


def _shares(found: AveragingDemonstration) -> pd.DataFrame:
    """Shares with Wilson intervals."""
    share, count = found.preferred["exponential"], found.preferred["fits"]
    low, high = wilson_interval((share * count).round(), count)
    return pd.DataFrame(
        {
            "level": ["learner", "average of a class"],
            "share": share,
            "conf_low": low,
            "conf_high": high,
        }
    )


def _conclusion(shares: pd.DataFrame) -> str:
    people, averages = shares["share"]
    whole = (
        f"The exponential fits better in {digits.percent(people)} of learners and in "
        f"{digits.percent(averages)} of class averages"
    )
    if people > 0.5 > averages:
        return f"{whole}: the average has the form of no learner."
    if averages > 0.5:
        return f"{whole}: with learners so alike the average keeps their form."
    return f"{whole}: here the noise hides the form of single learners too."


def _text(shares: pd.DataFrame, given: dict[str, Any], fitted: pd.DataFrame) -> str:
    rows = "; ".join(
        f"{level} {digits.percent(share)} "
        f"(95 % CI {digits.number(100 * low, 0)} to {digits.number(100 * high, 0)} %)"
        for level, share, low, high in shares.itertuples(index=False)
    )
    first, last = fitted["mean"].iloc[[0, -1]]
    return (
        f"Error curves of {given['learners']} learners over {given['trials']} trials with their "
        f"average, which falls from {digits.number(first, 0)} to {digits.number(last, 0)} cm, and "
        f"both fits to it. Log rates spread by {digits.number(given['spread'], 1)}. The "
        f"exponential has the lower AICc: {rows}."
    )
