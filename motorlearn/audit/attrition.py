"""How far groups may differ in missing scores, which falls as more are missing altogether."""

from typing import Final

import numpy as np

# fmt: off
_CAUTIOUS: Final = (
    5.7, 5.8, 5.9, 5.9, 6.0, 6.1, 6.2, 6.3, 6.3, 6.3, 6.3, 6.2, 6.2, 6.1, 6.0, 5.9, 5.9, 5.8, 5.7,
    5.5, 5.4, 5.3, 5.2, 5.1, 4.9, 4.8, 4.7, 4.5, 4.4, 4.3, 4.1, 4.0, 3.8, 3.6, 3.5, 3.3, 3.2, 3.1,
    2.9, 2.8, 2.6, 2.5, 2.3, 2.1, 2.0, 1.8, 1.6, 1.5, 1.3, 1.2, 1.0, 0.9, 0.7, 0.6, 0.4, 0.3, 0.2,
    0.0,
)
_OPTIMISTIC: Final = (
    10.0, 10.1, 10.2, 10.3, 10.4, 10.5, 10.7, 10.8, 10.9, 10.9, 10.9, 10.9, 10.9, 10.9, 10.8, 10.8,
    10.7, 10.6, 10.5, 10.3, 10.2, 10.0, 9.9, 9.7, 9.5, 9.4, 9.2, 9.0, 8.8, 8.6, 8.4, 8.2, 8.0, 7.8,
    7.6, 7.4, 7.2, 7.0, 6.7, 6.5, 6.3, 6.0, 5.8, 5.6, 5.3, 5.1, 4.9, 4.6, 4.4, 4.2, 3.9, 3.7, 3.5,
    3.2, 3.0, 2.8, 2.6, 2.3,
)
# fmt: on


def tolerated_difference(missing: float) -> tuple[float, float]:
    """Cautious and optimistic bound of the difference between groups in the share missing.

    Both are shares, read between the rows of the table at the overall share ``missing``; beyond its
    last row (57 %) no difference is tolerated. The bounds come from a model of who drops out, in
    which dropping out depends strongly (cautious) or less (optimistic) on the score, and keep the
    bias of a difference below .05 standard deviations (that number from memory).

    References
    ----------
    What Works Clearinghouse (2017). Standards handbook, version 4.0, table II.1.
    Deke, J., & Chiang, H. (2017). Evaluation Review, 41, 130-154.
    https://doi.org/10.1177/0193841X16670047

    Examples
    --------
    >>> [round(bound, 3) for bound in tolerated_difference(0.10)]
    [0.063, 0.109]
    >>> [round(bound, 3) for bound in tolerated_difference(0.30)]
    [0.041, 0.084]
    """
    if not missing <= (len(_CAUTIOUS) - 1) / 100:
        return 0.0, 0.0
    rows = np.arange(len(_CAUTIOUS))
    cautious, optimistic = (
        float(np.interp(100 * missing, rows, column)) / 100 for column in (_CAUTIOUS, _OPTIMISTIC)
    )
    return cautious, optimistic
