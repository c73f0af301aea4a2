"""Error scores in one dimension: how far, how biased and how scattered signed errors are.

Every standard deviation here has divisor n, because only then ``E² = CE² + VE²`` holds.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from motorlearn.exceptions import InputError

Floats = NDArray[np.float64]


def mean_of_present(values: ArrayLike, axis: int = -1) -> Floats:
    """Mean of the values that are present (not NaN); NaN where there is none.

    Raises
    ------
    InputError
        If a value is infinite.

    Examples
    --------
    >>> float(mean_of_present([1.0, np.nan, 3.0]))
    2.0
    """
    given = np.asarray(values, dtype=float)
    if np.isinf(given).any():
        raise InputError(
            "a score cannot be made from infinite values",
            given[np.isinf(given)].ravel(),
            "mark a missing trial as empty (NaN)",
        )
    present = ~np.isnan(given)
    count = present.sum(axis=axis)
    total = np.where(present, given, 0.0).sum(axis=axis)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)[()]


def constant_error(errors: ArrayLike, *, axis: int = -1) -> Floats:
    """Constant error ``CE = mean(e)``, the bias, in the unit of the error.

    Parameters
    ----------
    errors : array_like
        Signed errors, outcome minus target; missing trials are NaN and left out.
    axis : int
        Axis along which the trials lie.

    Notes
    -----
    Positive is beyond the target. Averaging constant errors of different signs cancels bias; see
    :func:`absolute_constant_error`.

    References
    ----------
    Henry, F. M. (1974). Journal of Motor Behavior, 6, 149-154 (from memory).

    Examples
    --------
    >>> float(constant_error([3, -1, 4, -2, 1]))
    1.0
    """
    return mean_of_present(errors, axis)


def absolute_constant_error(errors: ArrayLike, *, axis: int = -1) -> Floats:
    """Absolute constant error ``|CE| = |mean(e)|``, the size of the bias without its direction.

    Examples
    --------
    >>> float(absolute_constant_error([-3, 1, -4, 2, -1]))
    1.0
    """
    return np.abs(constant_error(errors, axis=axis))


def variable_error(errors: ArrayLike, *, axis: int = -1) -> Floats:
    """Variable error ``VE = sqrt(mean((e - CE)²))``, the scatter, with divisor n.

    NaN where fewer than two trials are present: one trial has no scatter. With few trials it falls
    short of the scatter of very many; see :func:`variable_error_share`.

    Examples
    --------
    >>> round(float(variable_error([3, -1, 4, -2, 1])) ** 2, 12)
    5.2
    """
    given = np.asarray(errors, dtype=float)
    centre = np.expand_dims(constant_error(given, axis=axis), axis)
    spread = np.sqrt(mean_of_present((given - centre) ** 2, axis))
    return np.where((~np.isnan(given)).sum(axis=axis) > 1, spread, np.nan)[()]


def variable_error_share(n: ArrayLike, *, dimensions: int = 1) -> Floats:
    r"""Share of the scatter of very many normal trials that n trials show on average.

    :math:`c = \sqrt{2/n}\,\Gamma(\nu/2 + 1/2)/\Gamma(\nu/2) / \sqrt d` with
    :math:`\nu = d(n-1)` and d dimensions; VE/c is the corrected variable error. NaN below 2.

    Examples
    --------
    >>> variable_error_share([2, 3, 20]).round(2).tolist()
    [0.56, 0.72, 0.96]
    """
    count = np.asarray(n, dtype=float)
    df = np.where(count > 1, dimensions * (count - 1), np.nan)
    mean = np.exp(special.gammaln(df / 2 + 0.5) - special.gammaln(df / 2))
    share: Floats = (mean * np.sqrt(2 / (np.maximum(count, 1) * dimensions)))[()]
    return share


def absolute_error(errors: ArrayLike, *, axis: int = -1) -> Floats:
    """Absolute error ``AE = mean(|e|)``, which mixes bias and scatter.

    Examples
    --------
    >>> float(absolute_error([3, -1, 4, -2, 1]))
    2.2
    """
    return mean_of_present(np.abs(np.asarray(errors, dtype=float)), axis)


def total_error(errors: ArrayLike, *, axis: int = -1) -> Floats:
    """Total error ``E = sqrt(mean(e²))``, with ``E² = CE² + VE²`` (divisor n).

    Examples
    --------
    >>> round(float(total_error([3, -1, 4, -2, 1])) ** 2, 12)
    6.2
    """
    return np.sqrt(mean_of_present(np.square(np.asarray(errors, dtype=float)), axis))


def effective_width(errors: ArrayLike, *, axis: int = -1) -> Floats:
    """Effective target width ``4.133 · SD``: the width that holds 96 % of normal errors.

    The standard deviation has divisor n - 1, as the standard for pointing tasks has it; for
    throws and pushes it is a description of dispersion and nothing more.

    References
    ----------
    ISO/TS 9241-411:2012 (constant 4.133; from memory).

    Examples
    --------
    >>> round(float(effective_width([3, -1, 4, -2, 1])), 3)
    10.537
    """
    given = np.asarray(errors, dtype=float)
    n = (~np.isnan(given)).sum(axis=axis)
    sample_sd = variable_error(given, axis=axis) * np.sqrt(n / np.maximum(n - 1, 1))
    width: Floats = 4.133 * sample_sd
    return width


def aim_by_group(errors: Floats, codes: NDArray[np.intp], groups: int) -> dict[str, NDArray[Any]]:
    """All one-dimensional error scores of many groups of trials in one pass.

    Parameters
    ----------
    errors : array (trials,)
        Signed errors; NaN is left out.
    codes : array of int (trials,)
        Group of each trial, 0 to ``groups - 1``.
    groups : int
        Number of groups.

    Returns
    -------
    dict of str to array (groups,)
        ``n_error`` (values used), the five scores and the corrected variable error; NaN where a
        group has no value, variable errors where it has fewer than two.

    Examples
    --------
    >>> scores = aim_by_group(np.array([1.0, 3.0, -2.0]), np.array([0, 0, 1]), 2)
    >>> scores["constant_error"].tolist()
    [2.0, -2.0]
    """
    present = ~np.isnan(errors)
    e, code = errors[present], codes[present]
    n = np.bincount(code, minlength=groups)
    bias = mean_by_group(e, code, groups)
    spread = np.sqrt(mean_by_group((e - bias[code]) ** 2, code, groups))
    spread = np.where(n > 1, spread, np.nan)
    return {
        "n_error": n,
        "constant_error": bias,
        "absolute_constant_error": np.abs(bias),
        "variable_error": spread,
        "variable_error_corrected": spread / variable_error_share(n),
        "absolute_error": mean_by_group(np.abs(e), code, groups),
        "total_error": np.sqrt(mean_by_group(e**2, code, groups)),
    }


def mean_by_group(values: Floats, codes: NDArray[np.intp], groups: int) -> Floats:
    """Mean of each group of values that are all present; NaN for an empty group.

    Examples
    --------
    >>> mean_by_group(np.array([1.0, 3.0]), np.array([0, 0]), 2).tolist()
    [2.0, nan]
    """
    n = np.bincount(codes, minlength=groups)
    total = np.bincount(codes, weights=values, minlength=groups)
    return np.where(n > 0, total / np.maximum(n, 1), np.nan)
