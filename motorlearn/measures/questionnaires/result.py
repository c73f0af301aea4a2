"""What scoring a questionnaire gives."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pandas as pd

from motorlearn.results import Recipe, Result
from motorlearn.rows import Schema
from motorlearn.tables import Column, Table

SCORES = Schema(
    (
        Column("participant"),
        Column("time"),
        Column("scale"),
        Column("score", kind="number"),
        Column("answered", kind="count"),
        Column("items", kind="count"),
    )
)
MEANS = Schema(
    (
        Column("scale"),
        Column("time"),
        Column("n", "people", "count"),
        Column("mean", kind="number"),
        Column("sd", "SD", "number"),
        Column("too_few", "too few answers", "count"),
    )
)
RELIABILITY = Schema(
    (
        Column("scale"),
        Column("time"),
        Column("coefficient"),
        Column("estimate", kind="number"),
        Column("conf_low", "lower", "number"),
        Column("conf_high", "upper", "number"),
        Column("n", "people with all answers", "count"),
        Column("items", kind="count"),
        Column("reason"),
    ),
    shown=("scale", "time", "coefficient", "estimate", "conf_low", "conf_high", "n", "items"),
)


@dataclass(frozen=True)
class Questionnaire(Result):
    """Scale scores of a questionnaire, and how well its items hold together.

    Attributes
    ----------
    scores : DataFrame
        ``participant, time, scale, score, answered, items``: mean of the answers of a scale,
        reversed items turned; missing where fewer than ``minimum_answered`` were given. Columns of
        ``keep`` stand behind them.
    means : DataFrame
        ``scale, time, n, mean, sd, too_few``.
    reliability : DataFrame
        ``scale, time, coefficient, estimate, conf_low, conf_high, n, items, reason``: alpha and
        omega of the people who answered every item of the scale.
    recipe : Recipe
        How it was made.
    """

    scores: pd.DataFrame = field(repr=False)
    means: pd.DataFrame
    reliability: pd.DataFrame
    recipe: Recipe = field(repr=False)

    @property
    def scales(self) -> list[str]:
        """Scales in the order they were given."""
        return list(dict.fromkeys(self.scores["scale"]))

    def of(self, scale: str) -> pd.DataFrame:
        """Scores of one scale, as a comparison of times takes them."""
        return self.scores[self.scores["scale"] == scale].reset_index(drop=True)

    def tables(self) -> Sequence[Table]:
        """Means of the scales, then alpha and omega."""
        return (
            MEANS.table("scales", "Scale scores", self.means),
            RELIABILITY.table("reliability", "How well items hold together", self.reliability),
        )
