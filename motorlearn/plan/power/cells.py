"""Cells of the mixed route: one mean per group and test, the groups alike at the baseline."""

import numpy as np

from motorlearn.plan.power.simulated_scores import Batch


def cells_of(batch: Batch, groups: int) -> np.ndarray:
    """Number of the cell of each person at each test, shape (people, tests).

    Cell 0 is the baseline of everybody, as allocation by chance implies.
    """
    tests = len(batch.attempts)
    after = [test for test in range(tests) if test != batch.baseline]
    number = np.zeros((groups, tests), dtype=int)
    for place, test in enumerate(after):
        number[:, test] = 1 + place * groups + np.arange(groups)
    if batch.baseline < 0:
        number -= 1
    return np.asarray(number[batch.groups], dtype=int)


def cell_contrast(batch: Batch, contrast: np.ndarray) -> np.ndarray:
    """Weights of the cells in the contrast of groups at the primary test."""
    groups = len(contrast)
    cells = cells_of(batch, groups)
    weights = np.zeros(int(cells.max()) + 1)
    for group in range(groups):
        member = int(np.flatnonzero(batch.groups == group)[0])
        weights[cells[member, batch.primary]] += contrast[group]
    return weights
