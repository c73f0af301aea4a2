"""The linear mixed model of the house's mixed route, fitted to many studies at once.

``score ~ cell`` with one cell per group and test, the cells of the baseline put together, and a
free covariance of a person's tests; tests by Kenward and Roger, or with a variance for each group.
With few people only the baseline and the primary test are taken, as the route does.
"""

from dataclasses import replace

import numpy as np

from motorlearn.linear import jackknife_by_group
from motorlearn.mixed.solve.covariance import carries_free_covariance
from motorlearn.plan.power.free_covariance import kenward_roger, search
from motorlearn.plan.power.simulated_scores import Batch, cell_contrast, cells_of


def fit_scores(
    batch: Batch, contrast: np.ndarray, variance: str = "equal"
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Contrast of groups at the primary test, from every test there is.

    Parameters
    ----------
    batch : Batch
        Scores on the scale of the analysis; NaN where a test was missed.
    contrast : ndarray, shape (groups,)
        Weights of the groups.
    variance : {"equal", "by group"}
        One covariance for all groups, or errors that let each group scatter in its own way.

    Returns
    -------
    estimate, std_error, df : ndarray, shape (studies,)
        NaN where the search did not converge.
    """
    batch = tests_used(batch, len(contrast))
    cells = cells_of(batch, len(contrast))
    x = np.eye(int(cells.max()) + 1)[cells]
    with np.errstate(all="ignore"):
        unit = np.nanstd(batch.scores, axis=(1, 2), keepdims=True)
        unit = np.where(unit > 0, unit, 1.0)
        centre = np.nanmean(batch.scores, axis=(1, 2), keepdims=True)
        point, good = search((batch.scores - centre) / unit, x)
        weights = cell_contrast(batch, contrast)
        found = kenward_roger(point, x, weights)
        if variance == "by group":
            y, codes = (batch.scores - centre) / unit, batch.groups
            own = jackknife_by_group(y, x, point.inverse, codes, weights)
            spread = own.std_error**2 * found.variance / found.plain
            found = replace(found, variance=spread, df=own.df)
    good &= np.isfinite(found.variance) & (found.variance > 0)
    good &= np.isfinite(found.df) & (found.df > 0)
    scale, safe = unit[:, 0, 0], np.where(good, found.variance, 1.0)
    numbers = (found.estimate * scale, np.sqrt(safe) * scale, found.df)
    estimate, error, df = (np.where(good, values, np.nan) for values in numbers)
    return estimate, error, df


def tests_used(batch: Batch, groups: int) -> Batch:
    """All tests, or only the baseline and the primary one where people are few."""
    people, tests = batch.scores.shape[1:]
    if carries_free_covariance(people, groups, tests):
        return batch
    used = [batch.baseline, batch.primary] if batch.baseline >= 0 else [batch.primary]
    return replace(
        batch,
        scores=batch.scores[:, :, used],
        baseline=len(used) - 2,
        primary=len(used) - 1,
        attempts=batch.attempts[used],
    )
