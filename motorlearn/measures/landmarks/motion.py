"""Speed of a landmark, and the release as the peak of the hand's speed."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from motorlearn.exceptions import InputError
from motorlearn.measures.landmarks.tracks import Landmarks

SLOW_CAMERA: Final = 100.0
"""Frames per second below which a fast hand moves far between two frames (custom)."""


AS_GOOD: Final = 0.01
"""Share of the peak speed within which two frames cannot be told apart (custom)."""


@dataclass(frozen=True)
class Release:
    """Release as the peak of the hand's speed.

    Attributes
    ----------
    position : int
        Position among the frames that is nearest.
    time, time_low, time_high : float
        Seconds from the first frame, and the limits between which the peak lies.
    speed : float
        Speed at the peak, in the unit of the coordinates per second.
    caution : str
        What this frame rate cannot show; empty where it is fast.
    """

    position: int
    time: float
    time_low: float
    time_high: float
    speed: float
    caution: str


def speed(clip: Landmarks, name: str) -> np.ndarray:
    r"""Speed of a landmark by central differences, in its unit per second.

    :math:`v_i = |p_{i+1} - p_{i-1}|\,f_s/2`; NaN at both ends and beside empty frames.

    Parameters
    ----------
    clip : Landmarks
        Tracks with a known frame rate; smoothed ones, because differences magnify noise.
    name : str
        Landmark.

    Returns
    -------
    ndarray, shape (n_frames,)

    Raises
    ------
    InputError
        If the frame rate is unknown or there are fewer than three frames.
    """
    track, rate = clip[name], clip.known_rate()
    if len(track) < 3:
        raise InputError("a speed needs at least three frames", [len(track)])
    found = np.full(len(track), np.nan)
    found[1:-1] = np.linalg.norm(track[2:] - track[:-2], axis=1) * rate / 2
    return found


def find_release(clip: Landmarks, hand: str) -> Release:
    """Find the release as the peak of the hand's speed, between the frames about it.

    The peak is placed by a parabola through the fastest frame and its neighbours. It is known to
    one frame either way, or as far as the speed stays within 1 % of its peak, where that is wider.

    Raises
    ------
    InputError
        If no speed is known, or the fastest frame is at an end or beside an empty one.

    Examples
    --------
    >>> t = np.arange(41) / 200
    >>> way = np.column_stack([np.tanh(30 * (t - 0.1)), 0 * t])
    >>> found = find_release(Landmarks({"wrist": way}, np.arange(41), rate=200), "wrist")
    >>> round(found.time, 4)
    0.1
    """
    fast, rate = speed(clip, hand), clip.known_rate()
    if not np.isfinite(fast).any():
        raise InputError("the hand is missing in too many frames", [hand], "bridge short gaps")
    top = int(np.nanargmax(fast))
    near = fast[max(top - 1, 0) : top + 2]
    if len(near) < 3 or not np.isfinite(near).all():
        raise InputError(
            "the hand is fastest at an end of the clip or beside an empty frame",
            [int(clip.frames[top])],
            "cut the clip after the release, or bridge the gap",
        )
    bend = near[0] - 2 * near[1] + near[2]
    shift = 0.5 * (near[0] - near[2]) / bend if bend < 0 else 0.0
    peak = near[1] - 0.25 * (near[0] - near[2]) * shift
    caution = ""
    if rate < SLOW_CAMERA:
        caution = (
            f"At {rate:g} frames per second a release is known to {1000 / rate:.0f} ms either way "
            "at best, and the peak speed is too low by an unknown amount."
        )
    first, last = _about(fast, top)
    return Release(
        position=top,
        time=float((top + shift) / rate),
        time_low=first / rate,
        time_high=last / rate,
        speed=float(peak),
        caution=caution,
    )


def _about(fast: np.ndarray, top: int) -> tuple[int, int]:
    """First and last frame of the peak: where the speed is as good as greatest, one frame more."""
    below = np.flatnonzero(~(fast >= (1 - AS_GOOD) * fast[top]))
    before, after = below[below < top], below[below > top]
    return min(int(before[-1]), top - 1), max(int(after[0]), top + 1)


def with_release(clip: Landmarks, hand: str, event: str = "release") -> Landmarks:
    """Give the clip with the release as an event; its uncertainty is added to the treatment."""
    found = find_release(clip, hand)
    words = (
        f"{event} at the peak speed of {hand}, frame {clip.frames[found.position]}, known to "
        f"{1000 * (found.time_high - found.time_low) / 2:.0f} ms either way"
    )
    said = (words, found.caution) if found.caution else (words,)
    return replace(
        clip,
        events={**clip.events, event: found.position},
        treatment=(*clip.treatment, *said),
    )
