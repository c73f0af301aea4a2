"""Several tests of one family."""

import numpy as np
from numpy.typing import ArrayLike

from motorlearn.exceptions import InputError
from motorlearn.linear.least_squares import Floats


def holm(p: ArrayLike) -> Floats:
    """Holm's adjusted p values; missing ones (NaN) stay missing and do not count.

    References
    ----------
    Holm, S. (1979). Scandinavian Journal of Statistics, 6, 65-70.

    Examples
    --------
    >>> holm([0.01, 0.04, 0.03]).round(3).tolist()
    [0.03, 0.06, 0.06]
    """
    given = np.asarray(p, dtype=float)
    present = ~np.isnan(given)
    if (given[present] < 0).any() or (given[present] > 1).any():
        raise InputError("a p value lies between 0 and 1", given[present])
    adjusted = np.full(given.shape, np.nan)
    values = given[present]
    order = np.argsort(values, kind="stable")
    steps = values[order] * np.arange(values.size, 0, -1)
    ranked = np.minimum(np.maximum.accumulate(steps), 1.0)
    adjusted[np.flatnonzero(present)[order]] = ranked
    return adjusted
