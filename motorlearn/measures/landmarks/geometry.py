"""Angles, inclinations, rotations and paths of body landmarks, in degrees and the input's unit.

A landmark is an array of shape (n_frames, 2) or (n_frames, 3). Angles do not change when the whole
picture is moved, turned or enlarged; inclinations and rotations refer to a stated upward axis.
"""

import numpy as np
from numpy.typing import ArrayLike

from motorlearn.exceptions import InputError

Floats = np.ndarray


def joint_angle(proximal: ArrayLike, joint: ArrayLike, distal: ArrayLike) -> Floats:
    r"""Inner angle at a joint between two segments, 0 (folded) to 180 degrees (straight).

    :math:`\theta = \operatorname{atan2}(|u \times v|,\; u \cdot v)` with
    :math:`u = proximal - joint` and :math:`v = distal - joint`, which keeps its precision near 0
    and 180 degrees.

    Parameters
    ----------
    proximal, joint, distal : array_like, shape (..., 2) or (..., 3)
        Coordinates, for example of shoulder, elbow and wrist.

    Returns
    -------
    ndarray, shape (...)
        Degrees; NaN where two landmarks coincide or one is missing.

    Raises
    ------
    InputError
        If landmarks do not have two or three coordinates each.

    Examples
    --------
    >>> float(joint_angle([0, 1], [0, 0], [1, 0]))
    90.0
    """
    proximal, joint, distal = _together(proximal, joint, distal)
    return _angle_between(proximal - joint, distal - joint)


def signed_angle(first: ArrayLike, second: ArrayLike) -> Floats:
    """Angle from one planar direction to another, counter-clockwise positive, -180 to 180 degrees.

    Parameters
    ----------
    first, second : array_like, shape (..., 2)
        Directions.

    Examples
    --------
    >>> float(signed_angle([1, 0], [0, 1])), float(signed_angle([0, 1], [1, 0]))
    (90.0, -90.0)
    """
    u, v = _together(first, second)
    if u.shape[-1] != 2:
        raise InputError("a signed angle is defined in a plane only", [u.shape[-1]])
    cross = u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]
    return _defined(np.degrees(np.arctan2(cross, np.sum(u * v, axis=-1))), u, v)


def segment_inclination(start: ArrayLike, end: ArrayLike, *, up: int = 1) -> Floats:
    """Angle of a segment above the horizontal, -90 (straight down) to 90 degrees (straight up).

    Parameters
    ----------
    start, end : array_like, shape (..., 2) or (..., 3)
        Ends of the segment, for example shoulder and elbow.
    up : int
        Position of the upward axis among the coordinates.

    Examples
    --------
    >>> round(float(segment_inclination([0, 0], [1, 1])), 1)
    45.0
    """
    start, end = _together(start, end)
    along = end - start
    level = np.delete(along, _axis(up, along), axis=-1)
    angle = np.degrees(np.arctan2(along[..., up], np.linalg.norm(level, axis=-1)))
    return _defined(angle, along)


def line_rotation(
    first_left: ArrayLike,
    first_right: ArrayLike,
    second_left: ArrayLike,
    second_right: ArrayLike,
    *,
    up: int = 1,
) -> Floats:
    """Rotation of one left-right line against another about the upward axis, in degrees.

    With hips first and shoulders second this is the rotation of the trunk, seen from above; it is
    counter-clockwise positive and continuous over frames. Two-dimensional landmarks are taken as
    a view from above.

    Parameters
    ----------
    first_left, first_right, second_left, second_right : array_like, shape (n_frames, 2 or 3)
        Ends of the two lines.
    up : int
        Position of the upward axis among three coordinates.

    Examples
    --------
    >>> hips, shoulders = ([-1, 0, 0], [1, 0, 0]), ([-1, 1, 1], [1, 1, -1])
    >>> float(line_rotation(*hips, *shoulders))
    45.0
    """
    corners = _together(first_left, first_right, second_left, second_right)
    first, second = corners[1] - corners[0], corners[3] - corners[2]
    if first.shape[-1] == 3:
        seen_from_above = [(_axis(up, first) + 1) % 3, (up + 2) % 3]
        first, second = first[..., seen_from_above], second[..., seen_from_above]
    return _continuous(signed_angle(first, second))


def rotation_range(rotation: ArrayLike) -> float:
    """Greatest minus smallest rotation over the frames, in degrees.

    Examples
    --------
    >>> rotation_range([-10.0, 35.0, 20.0])
    45.0
    """
    angles = np.asarray(rotation, dtype=float)
    seen = angles[np.isfinite(angles)]
    return float(np.ptp(seen)) if seen.size else np.nan


def height_above(upper: ArrayLike, lower: ArrayLike, *, up: int = 1) -> Floats:
    """Height of one landmark above another, negative where it is below, in the input's unit.

    Examples
    --------
    >>> float(height_above([0, 30], [5, 25]))
    5.0
    """
    upper, lower = _together(upper, lower)
    difference = upper - lower
    height: Floats = difference[..., _axis(up, difference)]
    return height


def path_length(points: ArrayLike) -> float:
    """Length of the way a landmark travels over the frames, in the input's unit.

    Frames in which it is missing are bridged by a straight line.

    Examples
    --------
    >>> path_length([[0, 0], [3, 4], [3, 10]])
    11.0
    """
    (way,) = _together(points)
    seen = way[np.isfinite(way).all(axis=-1)]
    return float(np.linalg.norm(np.diff(seen, axis=0), axis=-1).sum()) if len(seen) else np.nan


def _together(*landmarks: ArrayLike) -> list[Floats]:
    arrays = [np.asarray(landmark, dtype=float) for landmark in landmarks]
    sizes = {array.shape[-1] if array.ndim else 0 for array in arrays}
    if len(sizes) > 1 or sizes - {2, 3}:
        raise InputError(
            "landmarks need two coordinates each, or three each", sorted(sizes), "check the mapping"
        )
    return arrays


def _axis(up: int, points: Floats) -> int:
    if not 0 <= up < points.shape[-1]:
        raise InputError("the upward axis is not among the coordinates", [up])
    return up


def _angle_between(u: Floats, v: Floats) -> Floats:
    squared = np.sum(u * u, axis=-1) * np.sum(v * v, axis=-1)
    dot = np.sum(u * v, axis=-1)
    if u.shape[-1] == 2:
        cross = np.abs(u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0])
    else:
        cross = np.linalg.norm(np.cross(u, v), axis=-1)
    angle = np.degrees(np.arctan2(cross, dot))
    return np.where(squared > 0, angle, np.nan)


def _defined(angle: Floats, *directions: Floats) -> Floats:
    lengths = np.min([np.linalg.norm(one, axis=-1) for one in directions], axis=0)
    return np.where(lengths > 0, angle, np.nan)


def _continuous(angle: Floats) -> Floats:
    """Undo jumps of a whole turn between seen frames, and start within half a turn."""
    angle = np.asarray(angle, dtype=float)
    if angle.ndim == 0:
        return angle
    seen = np.isfinite(angle)
    smooth = angle.copy()
    smooth[seen] = np.unwrap(angle[seen], period=360.0)
    return smooth
