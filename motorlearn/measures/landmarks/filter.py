"""Smoothing of landmark coordinates: zero-lag low-pass, residual analysis, short gaps."""

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike

from motorlearn.exceptions import InputError


@dataclass(frozen=True)
class ResidualAnalysis:
    """What remains of a signal after smoothing, over cut-off frequencies.

    ``noise`` is the straight line through the high frequencies read at 0 Hz; ``cutoff`` is where
    the residual first falls to it.
    """

    cutoffs: np.ndarray
    residuals: np.ndarray
    noise: float
    slope: float
    cutoff: float


def low_pass(values: ArrayLike, *, rate: float, cutoff: float, order: int = 2) -> np.ndarray:
    r"""Smooth with a Butterworth filter run forwards and backwards, so that nothing is delayed.

    Two passes would halve the power below ``cutoff``, so that the filter's own cut-off is raised:
    :math:`\tan(\pi f'/f_s) = \tan(\pi f/f_s)\,(\sqrt2 - 1)^{-1/(2\,order)}`, on the scale of the
    bilinear transform, which holds at every frame rate.

    Parameters
    ----------
    values : array_like, shape (n_frames,) or (n_frames, n_columns)
        Coordinates, none missing.
    rate : float
        Frames per second.
    cutoff : float
        Frequency in hertz at which the power is halved.
    order : int
        Order of one pass; the effective order is twice this.

    Raises
    ------
    InputError
        If a value is missing, the cut-off is not below half the rate, or there are too few frames.

    References
    ----------
    Robertson, D. G. E. and Dowling, J. J. (2003). Journal of Electromyography and Kinesiology, 13,
    569-573. doi:10.1016/S1050-6411(03)00080-4.

    Examples
    --------
    >>> import numpy as np
    >>> still = low_pass(np.full(50, 3.0), rate=100, cutoff=6)
    >>> bool(np.allclose(still, 3))
    True
    """
    track = np.asarray(values, dtype=float)
    if not 0 < cutoff < rate / 2:
        raise InputError(
            "the cut-off frequency does not suit the frame rate",
            [cutoff],
            f"choose one above 0 and below {rate / 2:.3g} Hz, half the frame rate",
        )
    wide = np.tan(np.pi * cutoff / rate) / (np.sqrt(2) - 1) ** (1 / (2 * order))
    raised = rate / np.pi * np.arctan(wide)
    if not np.isfinite(track).all():
        raise InputError(
            "coordinates are missing in some frames",
            np.flatnonzero(~np.isfinite(track.reshape(len(track), -1)).all(axis=1)),
            "fill short gaps first or cut the clip",
        )
    sections = scipy.signal.butter(order, raised, fs=rate, output="sos")
    shortest = shortest_clip(order)
    if len(track) <= shortest:
        raise InputError("too few frames to filter", [len(track)], f"use more than {shortest}")
    smooth: np.ndarray = scipy.signal.sosfiltfilt(sections, track, axis=0)
    return smooth


def shortest_clip(order: int = 2) -> int:
    """Number of frames a track must exceed to be smoothed.

    Examples
    --------
    >>> shortest_clip()
    9
    """
    return 3 * (2 * ((order + 1) // 2) + 1)


def residual_analysis(
    values: ArrayLike, *, rate: float, cutoffs: ArrayLike | None = None, order: int = 2
) -> ResidualAnalysis:
    """Find the cut-off at which smoothing removes about as much as the noise amounts to.

    The residual is the root mean square of raw minus smoothed coordinates. Above some frequency
    only noise is removed and the residual falls along a straight line; that line, fitted to the
    highest third of the cut-offs and read at 0 Hz, estimates the noise.

    References
    ----------
    Winter, D. A. (2009). Biomechanics and Motor Control of Human Movement, 4th ed., ch. 3.
    doi:10.1002/9780470549148.
    """
    track = np.asarray(values, dtype=float).reshape(len(np.asarray(values)), -1)
    highest = 0.9 * _highest_cutoff(rate, order)
    tried = (
        np.linspace(highest / 60, highest, 60)
        if cutoffs is None
        else np.sort(np.asarray(cutoffs, dtype=float))
    )
    if len(tried) < 6:
        raise InputError("a residual analysis needs at least six cut-offs", [len(tried)])
    residuals = np.array(
        [_residual(track, low_pass(track, rate=rate, cutoff=one, order=order)) for one in tried]
    )
    high = len(tried) - max(3, len(tried) // 3)
    slope, noise = np.polyfit(tried[high:], residuals[high:], 1)
    below = np.flatnonzero(residuals <= noise)
    chosen = tried[below[0]] if below.size else tried[-1]
    return ResidualAnalysis(tried, residuals, float(noise), float(slope), float(chosen))


def fill_gaps(values: ArrayLike, *, longest: int) -> np.ndarray:
    """Bridge gaps of up to so many frames by straight lines; longer ones and the ends stay open.

    Examples
    --------
    >>> fill_gaps([1.0, float("nan"), 3.0], longest=1).tolist()
    [1.0, 2.0, 3.0]
    """
    track = np.asarray(values, dtype=float)
    if track.ndim > 1:
        return np.stack([fill_gaps(column, longest=longest) for column in track.T], axis=1)
    open_frames = ~np.isfinite(track)
    if not open_frames.any() or open_frames.all():
        return track.copy()
    position = np.arange(len(track))
    bridged = np.interp(
        position, position[~open_frames], track[~open_frames], left=np.nan, right=np.nan
    )
    edges = np.flatnonzero(np.diff(np.concatenate([[0], open_frames.astype(int), [0]])))
    filled = track.copy()
    for start, stop in edges.reshape(-1, 2):
        if stop - start <= longest:
            filled[start:stop] = bridged[start:stop]
    return filled


def _highest_cutoff(rate: float, order: int) -> float:
    return float(rate / 2 * (np.sqrt(2) - 1) ** (1 / (2 * order)))


def _residual(track: np.ndarray, smooth: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.sum((track - smooth) ** 2, axis=1))))
