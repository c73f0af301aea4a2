"""Regression to the mean: one group, chosen for a poor pretest, gets better by itself."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn import digits
from motorlearn.tables import Table
from motorlearn.teaching.demonstrations.demonstration import Demonstration, check_settings
from motorlearn.teaching.demonstrations.two_groups import (
    difference,
    estimate_columns,
    mean_interval,
)

LIMITS: Final[dict[str, tuple[float, float]]] = {
    "tested": (20, 2000),
    "chosen": (0.1, 1),
    "attempts": (5, 200),
    "spread": (0, 3),
    "effect": (-2, 2),
}


@dataclass(frozen=True)
class RegressionToMean(Demonstration):
    """Pretest and posttest of people chosen for a poor pretest, with or without a control group.

    Parameters
    ----------
    people : DataFrame
        ``participant, group, pretest, posttest, ability``: hits in both tests, and the hits that
        the person's ability would give on average before the programme. Groups are ``programme``,
        ``control`` and ``not chosen``.
    changes : DataFrame
        ``comparison, estimate, conf_low, conf_high``: mean change in hits of each group, and the
        difference of the changes where there is a control group.
    """

    people: pd.DataFrame
    changes: pd.DataFrame

    def tables(self) -> list[Table]:
        """The changes."""
        columns = estimate_columns("comparison", "change", "hits", 1)
        title = "Change from pretest to posttest"
        return [Table("regression-to-mean", title, columns, self.changes, (self.conclusion,))]


def regression_to_mean(
    *,
    tested: int = 200,
    chosen: float = 0.25,
    attempts: int = 20,
    spread: float = 0.5,
    effect: float = 0.0,
    control: bool = False,
    seed: int = 1,
) -> RegressionToMean:
    """Test many people, keep those with the poorest scores, and test these again.

    Log odds of a hit are normal over people; `effect` is added to them between the tests for the
    programme group alone. Half of the people who are chosen are the control group where there is
    one; otherwise all of them follow the programme.

    Parameters
    ----------
    tested : int
        People tested at first, 20 to 2000.
    chosen : float
        Share of them that is chosen, the poorest scores first, 0.1 to 1.
    attempts : int
        Attempts in each test, 5 to 200.
    spread : float
        Standard deviation between people of the log odds of a hit, 0 to 3.
    effect : float
        What the programme truly does to the log odds, -2 to 2; 0 is nothing at all.
    control : bool
        Whether a control group is kept, allocated by lot.
    seed : int
        Seed of the people and their tests.

    Returns
    -------
    RegressionToMean
        More hits are better; a positive change is an improvement.

    Raises
    ------
    InputError
        If a setting is outside its range.

    References
    ----------
    Barnett, A. G., van der Pols, J. C., & Dobson, A. J. (2005). Regression to the mean: what it is
    and how to deal with it. *International Journal of Epidemiology*, 34, 215-220.
    https://doi.org/10.1093/ije/dyh299

    Examples
    --------
    >>> alone = regression_to_mean(effect=0)
    >>> bool(alone.changes["conf_low"][0] > 0)
    True
    """
    given = check_settings(
        {
            "tested": tested,
            "chosen": chosen,
            "attempts": attempts,
            "spread": spread,
            "effect": effect,
        },
        LIMITS,
    )
    people = _people(int(tested), chosen, int(attempts), spread, effect, control, seed)
    changes = _changes(people)
    return RegressionToMean(
        settings={**given, "control": control, "seed": seed},
        conclusion=_conclusion(changes, control, effect),
        text=_text(people, int(attempts)),
        people=people,
        changes=changes,
    )


def _people(
    tested: int,
    chosen: float,
    attempts: int,
    spread: float,
    effect: float,
    control: bool,
    seed: int,
) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    odds = spread * rng.standard_normal(tested) - 0.4
    pretest = rng.binomial(attempts, _rate(odds))
    # Two lots: the one that cuts equal scores must not be the one that allocates.
    luck, cut, lot = rng.random((3, tested))
    kept = max(4, round(chosen * tested))
    rank = np.lexsort((cut, pretest)).argsort()
    group = np.where(rank < kept, "programme", "not chosen").astype(object)
    if control:
        group[np.flatnonzero(rank < kept)[lot[rank < kept].argsort()[: kept // 2]]] = "control"
    after = _rate(odds + effect * (group == "programme"))
    posttest = stats.binom.ppf(luck, attempts, after)
    return pd.DataFrame(
        {
            "participant": [f"p{i + 1:04d}" for i in range(tested)],
            "group": pd.array(group, dtype="str"),
            "pretest": pretest,
            "posttest": np.where(group == "not chosen", np.nan, posttest),
            "ability": attempts * _rate(odds),
        }
    )


def _rate(odds: np.ndarray) -> np.ndarray:
    rate: np.ndarray = 1 / (1 + np.exp(-odds))
    return rate


def _changes(people: pd.DataFrame) -> pd.DataFrame:
    gain = {
        group: (rows["posttest"] - rows["pretest"]).to_numpy(float)
        for group, rows in people.groupby("group")
        if group != "not chosen"
    }
    rows = [("programme group", *mean_interval(gain["programme"]))]
    if "control" in gain:
        rows.append(("control group", *mean_interval(gain["control"])))
        rows.append(("programme minus control", *difference(gain["programme"], gain["control"])))
    return pd.DataFrame(rows, columns=["comparison", "estimate", "conf_low", "conf_high"])


def _written(row: pd.Series) -> str:
    span = digits.interval(row["conf_low"], row["conf_high"], 1)
    return f"{digits.number(row['estimate'], 1)} hits (95 % CI {span})"


def _conclusion(changes: pd.DataFrame, control: bool, effect: float) -> str:
    truth = (
        "the programme does nothing here"
        if effect == 0
        else "how much of it the programme caused cannot be told"
    )
    if not control:
        return (
            f"The group changed by {_written(changes.iloc[0])} with nobody to compare it with; "
            f"{truth}."
        )
    return (
        f"Without practice the control group changed by {_written(changes.iloc[1])}; the programme "
        f"is worth the difference, {_written(changes.iloc[2])}."
    )


def _text(people: pd.DataFrame, attempts: int) -> str:
    chosen = people[people["group"] != "not chosen"]
    means = "; ".join(
        f"{group} group of {len(rows)}: {digits.number(rows['pretest'].mean(), 1)} hits before, "
        f"{digits.number(rows['posttest'].mean(), 1)} after"
        for group, rows in chosen.groupby("group", sort=True)
    )
    return (
        f"Scores of {attempts} attempts before and after, one line per person. {len(people)} "
        f"people were tested and the {len(chosen)} with the poorest scores were chosen. {means}. "
        f"The mean of everybody before was {digits.number(people['pretest'].mean(), 1)} hits; "
        "people chosen for a poor score come back towards their own ability."
    )
