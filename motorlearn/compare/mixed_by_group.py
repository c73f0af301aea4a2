"""Contrasts of the mixed route whose error lets every group scatter in its own way."""

from dataclasses import dataclass
from typing import Self

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.linear.hypotheses import Estimate, t_estimate
from motorlearn.linear.jackknife import jackknife_by_group
from motorlearn.mixed.result import MixedFit

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class OwnErrors:
    """A fit laid out by people and tests.

    Parameters
    ----------
    y : array (people, tests)
        Scores on the scale of the analysis; NaN where a test was missed.
    x : array (people, tests, cells)
        Which cell a score belongs to.
    inverse : array (people, tests, tests)
        Inverse covariance of the tests that a person took, as all groups together gave it.
    codes : array of int (people,)
        Group of each person.
    cells : tuple of str
        Names of the cells.
    level : float
        Level of the intervals.
    """

    y: Floats
    x: Floats
    inverse: Floats
    codes: NDArray[np.intp]
    cells: tuple[str, ...]
    level: float

    @classmethod
    def of(cls, fit: MixedFit, rows: pd.DataFrame, level: float) -> Self:
        """Lay out the rows that were fitted; columns participant, group, phase, cell and score."""
        part = fit.design.residual
        tests = list(part.levels) if part is not None else []
        person, people = pd.factorize(rows["participant"], sort=True)
        place = pd.Index(tests).get_indexer(rows["phase"])
        cell, cells = pd.factorize(rows["cell"], sort=True)
        y = np.full((len(people), len(tests)), np.nan)
        y[person, place] = rows["score"]
        x = np.zeros((*y.shape, len(cells)))
        x[person, place, cell] = 1.0
        codes = np.zeros(len(people), dtype=np.intp)
        codes[person] = pd.factorize(rows["group"], sort=True)[0]
        here = ~np.isnan(y)
        both = here[:, :, None] & here[:, None, :]
        covariance = np.where(both, fit.residual_covariance, ~here[:, :, None] * np.eye(len(tests)))
        return cls(y, x, np.linalg.inv(covariance) * both, codes, tuple(cells), level)

    def difference(self, cell: str, other: str, usual: float) -> Estimate:
        """Difference of two cells.

        ``usual`` is the standard error by Kenward and Roger with one covariance for all groups.
        What it adds to the plain one, since that covariance is itself estimated, is added here too.
        """
        weights = np.zeros(len(self.cells))
        weights[self.cells.index(cell)] += 1.0
        weights[self.cells.index(other)] -= 1.0
        unit = float(np.nanstd(self.y)) or 1.0
        found = jackknife_by_group(
            self.y[None] / unit, self.x, self.inverse[None] * unit**2, self.codes, weights
        )
        error = found.std_error.item() * usual / found.plain.item()
        return t_estimate(found.estimate.item() * unit, error, found.df.item(), level=self.level)
