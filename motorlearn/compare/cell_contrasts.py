"""Differences between cells of a fitted model, whichever of two cells is asked first."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Self

import pandas as pd

from motorlearn.linear.hypotheses import Estimate
from motorlearn.mixed.means import contrasts
from motorlearn.mixed.result import MixedFit


@dataclass(frozen=True)
class CellContrasts:
    """Every contrast of two levels of the term ``cell`` of a fit, and where it stands.

    Parameters
    ----------
    every : DataFrame
        Contrasts, each of a later cell minus an earlier one.
    places : mapping of (str, str) to int
        Row of each pair of cells, the earlier first.
    """

    every: pd.DataFrame
    places: Mapping[tuple[str, str], int]

    @classmethod
    def of(cls, fit: MixedFit, cells: Iterable[str], *, level: float, scale: str = "link") -> Self:
        """Contrasts of the cells that the model has."""
        places = {pair: place for place, pair in enumerate(combinations(sorted(cells), 2))}
        every = pd.DataFrame()
        if places:
            every = contrasts(fit, "cell", adjust="none", scale=scale, level=level)
        return cls(every, places)

    def difference(self, one: str, other: str) -> Estimate | None:
        """A cell minus another, or None where the model lacks one of them."""
        turn = 1.0 if (other, one) in self.places else -1.0
        place = self.places.get((other, one), self.places.get((one, other)))
        if place is None:
            return None
        found = self.every.iloc[place]
        low, high = sorted((turn * found["conf_low"], turn * found["conf_high"]))
        return Estimate(
            estimate=turn * found["estimate"],
            std_error=found["std_error"],
            df=found["df"],
            statistic=turn * found["statistic"],
            p=found["p"],
            conf_low=low,
            conf_high=high,
        )
