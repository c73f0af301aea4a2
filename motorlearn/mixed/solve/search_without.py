"""A linear mixed model without each level of its one grouping factor, all searched side by side."""

from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from motorlearn.mixed.solve.engine import Cells, Solution, Working, group_starts, working
from motorlearn.mixed.solve.factors import Factor
from motorlearn.mixed.solve.linear import LinearOneFactor, Replicates
from motorlearn.mixed.solve.optimise import (
    Minimum,
    expected_decrease,
    minimise,
    polish,
    positive_inverse,
)
from motorlearn.mixed.solve.search_linear import curvatures, linear_model, without_fixed_part

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_MOST_NUMBERS = 2_000_000
"""Numbers that one array of a search may hold; more levels are searched in several goes."""
_SADDLE = -1e-4


class WithoutEach(LinearOneFactor):
    """The criterion of the same model, each replicate without one group of rows.

    Every sum over the rows is that of all of them less that of the group. ``left`` (R,) are the
    groups, in the order of the sums; all rows have a weight of one.
    """

    def __init__(
        self, whole: LinearOneFactor, x: Array, cells: Cells, starts: Index, left: Index
    ) -> None:
        super().__init__(whole.sums, whole.structure, whole.reml)
        sums, self.left = self.sums, left
        weighted = x * cells.weight[:, None]
        own = np.add.reduceat(weighted[:, :, None] * x[:, None], starts)[left]
        self.xx = sums.xx - own
        self.xy = sums.xy[0] - np.add.reduceat(weighted * cells.y[:, None], starts)[left]
        square = cells.weight * cells.y**2 + cells.within_cell
        self.yy = sums.yy[0] - np.add.reduceat(square, starts)[left]
        self.own_df: Array = whole.df - np.add.reduceat(cells.rows, starts)[left]
        self.df = cast(Any, self.own_df)

    def replicates(self, which: Index) -> Replicates:
        """Sums of all rows less those of the group that each replicate goes without."""
        zy = np.repeat(self.sums.zy, len(which), axis=1)
        parts = self.xx[which], self.xy[which], self.yy[which], self.own_df[which]
        return Replicates(zy, *parts, self.left[which])


def solve_without_each(
    x: Array, factor: Factor, cells: Cells, *, reml: bool, start: list[Array]
) -> list[Solution | None]:
    """Fit the model without each level in turn; None where the search met a saddle.

    ``start`` holds the covariances of the whole fit, relative to the residual variance. The
    solutions hold no effects of single levels.
    """
    work = working(x, [factor])
    cells, base = without_fixed_part(work, cells)
    whole = linear_model(work, cells, reml)
    assert isinstance(whole, LinearOneFactor)
    starts = group_starts(factor.index)
    theta = np.maximum(np.abs(work.theta(start)), 0.05) * np.where(work.theta(start) < 0, -1, 1)
    found: list[Solution | None] = [None] * factor.n_levels
    size = max(1, _MOST_NUMBERS // max(1, whole.sums.zx.size))
    for first in range(0, len(starts), size):
        left = np.arange(first, min(first + size, len(starts)))
        model = WithoutEach(whole, work.x, cells, starts, left)
        for place, solution in zip(left, _search(work, model, theta, base), strict=True):
            found[factor.index[starts[place]]] = solution
    return found


def _search(work: Working, model: WithoutEach, theta: Array, base: Array) -> list[Solution | None]:
    count = len(model.left)
    guess = np.diag(np.maximum(theta**2, 0.01) / (2.0 * work.factors[0].n_levels))
    found = minimise(model.objective, np.tile(theta, (count, 1)), np.tile(guess, (count, 1, 1)))
    curve, _ = curvatures(model, found.x)
    better = polish(model.objective, found, curve)
    curve, full = curvatures(model, better.x)
    bends = np.linalg.eigvalsh(curve)
    saddle = bends[:, 0] <= _SADDLE * np.maximum(1.0, np.abs(bends[:, -1]))
    solutions = _solutions(work, model, better, (curve, full), base)
    return [None if bad else solution for bad, solution in zip(saddle, solutions, strict=True)]


def _solutions(
    work: Working, model: WithoutEach, found: Minimum, curves: tuple[Array, Array], base: Array
) -> list[Solution]:
    curve, full = curves
    here = model.evaluate(found.x, np.arange(len(model.left)))
    sigma, back = np.sqrt(here.rss / model.df), work.back
    vcov = sigma[:, None, None] ** 2 * np.linalg.inv(here.cross)
    decrease = expected_decrease(curve, here.gradient)
    spread = 2 * positive_inverse(full)
    out = []
    for r, theta in enumerate(found.x):
        slopes = [-vcov[r] @ slope @ vcov[r] / sigma[r] ** 2 for slope in here.cross_slope[r]]
        slopes.append(2 * vcov[r] / sigma[r])
        out.append(
            Solution(
                beta=back @ (here.beta[r] + base),
                vcov=back @ vcov[r] @ back.T,
                psi=[sigma[r] ** 2 * psi for psi in work.psi(theta)],
                sigma=float(sigma[r]),
                deviance=float(here.value[r]),
                theta=theta,
                modes=[],
                spread=[],
                gradient=here.gradient[r],
                hessian=curve[r],
                expected_decrease=float(decrease[r]),
                iterations=found.iterations,
                vcov_slopes=np.array([back @ slope @ back.T for slope in slopes]),
                variance_vcov=spread[r],
                scaled_psi=work.scaled_psi(theta),
            )
        )
    return out
