"""Error scores in two dimensions, from landing points relative to the target centre.

Every mean square here has divisor n, because only then ``mean(r²) = SRE² + BVE²`` holds.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.measures.aim import (
    Floats,
    mean_by_group,
    mean_of_present,
    variable_error_share,
)


def mean_radial_error(x: ArrayLike, y: ArrayLike, *, axis: int = -1) -> Floats:
    """Mean radial error ``MRE = mean(sqrt(x² + y²))``, in the unit of the coordinates.

    Parameters
    ----------
    x, y : array_like
        Landing points relative to the target centre; a point with a missing coordinate is left
        out.
    axis : int
        Axis along which the trials lie.

    References
    ----------
    Hancock, G. R., Butler, M. S., & Fischman, M. G. (1995). Journal of Motor Behavior, 27,
    241-250. https://doi.org/10.1080/00222895.1995.9941714 (definitions; from memory)

    Examples
    --------
    >>> float(mean_radial_error([3, 0, -3, 0], [4, 0, 4, 8]))
    4.5
    """
    return mean_of_present(np.hypot(*_points(x, y)), axis)


def centroid_radial_error(x: ArrayLike, y: ArrayLike, *, axis: int = -1) -> Floats:
    """Subject-centroid radial error ``SRE = sqrt(x̄² + ȳ²)``: the size of the bias.

    Examples
    --------
    >>> float(centroid_radial_error([3, 0, -3, 0], [4, 0, 4, 8]))
    4.0
    """
    return np.hypot(*(mean_of_present(side, axis) for side in _points(x, y)))


def bivariate_variable_error(x: ArrayLike, y: ArrayLike, *, axis: int = -1) -> Floats:
    """Bivariate variable error ``BVE = sqrt(mean((x - x̄)² + (y - ȳ)²))``, divisor n.

    NaN where fewer than two points are present: one point has no scatter.

    Examples
    --------
    >>> round(float(bivariate_variable_error([3, 0, -3, 0], [4, 0, 4, 8])) ** 2, 12)
    12.5
    """
    away = [side - np.expand_dims(mean_of_present(side, axis), axis) for side in _points(x, y)]
    squares = away[0] ** 2 + away[1] ** 2
    several = (~np.isnan(squares)).sum(axis=axis) > 1
    return np.where(several, np.sqrt(mean_of_present(squares, axis)), np.nan)[()]


@dataclass(frozen=True)
class Ellipse:
    """Ellipse of landing points around their centroid.

    Parameters
    ----------
    centre_x, centre_y : float
        Centroid.
    semi_major, semi_minor : float
        Half axes, in the unit of the coordinates.
    angle : float
        Direction of the major axis in degrees, counter-clockwise from the x axis, -90 to 90.
    area : float
        ``π · semi_major · semi_minor``, in squared units.
    share : float
        Share of a bivariate normal distribution inside.
    n : int
        Landing points used.
    """

    centre_x: float
    centre_y: float
    semi_major: float
    semi_minor: float
    angle: float
    area: float
    share: float
    n: int


def landing_ellipse(x: ArrayLike, y: ArrayLike, *, share: float = 0.95) -> Ellipse:
    """Ellipse that holds a share of normally scattered landing points.

    The half axes are ``sqrt(q · eigenvalue)`` of the covariance with divisor n, with q the chi²
    quantile of ``share`` on 2 degrees of freedom; the area is ``π · q · sqrt(det S)``.

    Raises
    ------
    InputError
        If fewer than three landing points are present or ``share`` is not inside 0 to 1.

    Examples
    --------
    >>> shape = landing_ellipse([2, -2, 0, 0], [0, 0, 1, -1], share=0.5)
    >>> round(shape.semi_major, 4), round(shape.semi_minor, 4), abs(shape.angle)
    (1.6651, 0.8326, 0.0)
    """
    if not 0 < share < 1:
        raise InputError("the share inside an ellipse lies between 0 and 1", [share])
    points = np.vstack([side.ravel() for side in _points(x, y)])
    points = points[:, ~np.isnan(points).any(axis=0)]
    n = points.shape[1]
    if n < 3:
        raise InputError("an ellipse needs at least three landing points", [n], "pool more trials")
    centre = points.mean(axis=1)
    spread = (points - centre[:, None]) @ (points - centre[:, None]).T / n
    values, vectors = np.linalg.eigh(spread)
    minor, major = np.sqrt(stats.chi2.ppf(share, 2) * np.maximum(values, 0.0))
    angle = np.degrees(np.arctan2(vectors[1, 1], vectors[0, 1]))
    return Ellipse(
        float(centre[0]),
        float(centre[1]),
        float(major),
        float(minor),
        float((angle + 90) % 180 - 90),
        float(np.pi * major * minor),
        share,
        n,
    )


def hit_probability(radius: float, spread: ArrayLike) -> Floats:
    """Chance of landing within ``radius`` when both coordinates scatter alike without bias.

    ``P = 1 - exp(-R² / (2 σ²))``, the Rayleigh distribution of the radial error.

    Examples
    --------
    >>> round(float(hit_probability(20.0, 20.0)), 4)
    0.3935
    """
    return -np.expm1(-0.5 * (radius / np.asarray(spread, dtype=float)) ** 2)


def landing_by_group(
    x: Floats, y: Floats, codes: NDArray[np.intp], groups: int
) -> dict[str, NDArray[Any]]:
    """All two-dimensional error scores of many groups of trials in one pass.

    Returns
    -------
    dict of str to array (groups,)
        ``n_landing`` (points used), ``mean_radial_error``, ``centroid_radial_error``,
        ``bivariate_variable_error`` and its corrected form; NaN where a group has no point, the
        variable errors where it has fewer than two.

    Examples
    --------
    >>> points = np.array([3.0, 0.0, -3.0, 0.0]), np.array([4.0, 0.0, 4.0, 8.0])
    >>> landing_by_group(*points, np.zeros(4, int), 1)["mean_radial_error"].tolist()
    [4.5]
    """
    present = ~(np.isnan(x) | np.isnan(y))
    x, y, codes = x[present], y[present], codes[present]
    mean_x = mean_by_group(x, codes, groups)
    mean_y = mean_by_group(y, codes, groups)
    away = (x - mean_x[codes]) ** 2 + (y - mean_y[codes]) ** 2
    n = np.bincount(codes, minlength=groups)
    spread = np.where(n > 1, np.sqrt(mean_by_group(away, codes, groups)), np.nan)
    return {
        "n_landing": n,
        "mean_radial_error": mean_by_group(np.hypot(x, y), codes, groups),
        "centroid_radial_error": np.hypot(mean_x, mean_y),
        "bivariate_variable_error": spread,
        "bivariate_variable_error_corrected": spread / variable_error_share(n, dimensions=2),
    }


def _points(x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
    across, along = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if across.shape != along.shape:
        raise InputError("landing points need as many x as y values", [across.shape, along.shape])
    missing = np.isnan(across) | np.isnan(along)
    return np.where(missing, np.nan, across), np.where(missing, np.nan, along)


def contradicting(x: Floats, y: Floats, radial: Floats) -> NDArray[np.bool_]:
    """Rows whose radial error is not the distance of x and y from the target, beyond rounding.

    Values may differ by one and a half steps of the coarsest of the three columns.

    Examples
    --------
    >>> contradicting(np.array([3.0, 3.0]), np.array([4.0, 4.0]), np.array([5.0, 9.0])).tolist()
    [False, True]
    """
    step = 10.0 ** -min(_decimals(one) for one in (x, y, radial))
    distance = np.hypot(x, y)
    apart: NDArray[np.bool_] = np.abs(distance - radial) > 1.5 * step + 1e-9 * distance
    return apart


def _decimals(values: Floats) -> int:
    """Most digits behind the point, six at most."""
    known = values[np.isfinite(values)]
    written = (places for places in range(6) if np.allclose(known, known.round(places), 0, 1e-9))
    return next(written, 6)
