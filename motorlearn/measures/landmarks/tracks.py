"""Landmark tracks of one clip: reading any digitiser's table, events, phases and smoothing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.digits import number, plain
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.measures.landmarks.filter import (
    ResidualAnalysis,
    fill_gaps,
    low_pass,
    residual_analysis,
    shortest_clip,
)
from motorlearn.measures.landmarks.headings import (
    ABSENT,
    in_order,
    is_likelihood,
    read_headings,
    read_table,
    refuse_repeats,
)

CAUTION: Final = (
    "Angles from a single camera carry perspective error wherever the movement leaves the image "
    "plane. They are coaching information, not a diagnosis."
)


@dataclass(frozen=True)
class Landmarks:
    """Coordinates of named landmarks over the frames of one clip.

    Attributes
    ----------
    points : mapping of str to ndarray, shape (n_frames, 2 or 3)
        Coordinates, the upward axis pointing up.
    frames : ndarray, shape (n_frames,)
        Frame numbers of the table.
    rate : float
        Frames per second; NaN where unknown.
    events : mapping of str to int
        Position among the frames of each labelled event.
    unit : str
        Unit of the coordinates.
    up : int
        Position of the upward axis.
    treatment : tuple of str
        What was done to the coordinates, in words.
    view : str
        Where the camera stood: ``side``, ``front``, ``behind``, ``above``; empty where unknown or
        where coordinates are in space.
    """

    points: Mapping[str, np.ndarray]
    frames: np.ndarray
    rate: float = np.nan
    events: Mapping[str, int] = field(default_factory=dict)
    unit: str = ""
    up: int = 1
    treatment: tuple[str, ...] = ()
    view: str = ""

    @property
    def dimensions(self) -> int:
        """Number of coordinates of each landmark."""
        return int(next(iter(self.points.values())).shape[-1])

    def __getitem__(self, name: str) -> np.ndarray:
        if name not in self.points:
            raise InputError("there is no such landmark", [name], f"use {', '.join(self.points)}")
        return self.points[name]

    def event(self, name: str) -> int:
        """Position of an event among the frames."""
        if name not in self.events:
            known = ", ".join(self.events) or "none is labelled"
            raise InputError("the clip has no such event", [name], f"events: {known}")
        return self.events[name]

    def between(self, first: str, last: str) -> slice:
        """Frames of a phase, both events included."""
        start, stop = self.event(first), self.event(last)
        if start > stop:
            raise InputError("a phase ends before it starts", [first, last])
        return slice(start, stop + 1)

    def residuals(self, name: str) -> ResidualAnalysis:
        """Residual analysis of one landmark, to choose a cut-off."""
        return residual_analysis(self[name], rate=self.known_rate())

    def smoothed(self, *, cutoff: float, order: int = 2, longest_gap: int = 0) -> "Landmarks":
        """Give the tracks after a zero-lag Butterworth low-pass, gaps up to a length bridged.

        Each unbroken run of frames is smoothed by itself; runs too short for it are emptied.
        """
        rate = self.known_rate()
        smooth, bridged = {}, 0
        for name, track in self.points.items():
            whole = fill_gaps(track, longest=longest_gap)
            bridged += int(np.sum(np.isfinite(whole).all(axis=1) & ~np.isfinite(track).all(axis=1)))
            smooth[name] = _smoothed_runs(whole, rate=rate, cutoff=cutoff, order=order)
        words = [
            f"zero-lag Butterworth low-pass, cut-off {plain(cutoff)} Hz, "
            f"order {2 * order} after both passes"
        ]
        if bridged:
            words.insert(0, f"{bridged} missing landmark frames bridged by straight lines")
        return replace(self, points=smooth, treatment=(*self.treatment, *words))

    def mirrored(self, across: int = 0) -> "Landmarks":
        """Give the clip seen in a mirror, left and right names exchanged.

        A left-hander's movement becomes that of a right-hander, so that one checklist serves both.
        Names are exchanged where ``left`` and ``right`` stand in otherwise equal names.
        """
        turn = np.ones(self.dimensions)
        turn[across] = -1
        points = {
            _other_side(name, self.points): track * turn for name, track in self.points.items()
        }
        return replace(self, points=points, treatment=(*self.treatment, "mirrored, left for right"))

    def levelled(self, lower: Sequence[float], upper: Sequence[float]) -> "Landmarks":
        """Give the tracks of a tilted camera set upright by two points known to be in plumb.

        Parameters
        ----------
        lower, upper : sequence of float
            Coordinates of the foot and the top of something upright in the picture.
        """
        way = np.subtract(upper, lower).astype(float)
        if self.dimensions != 2 or way.shape != (2,) or not np.linalg.norm(way) > 0:
            raise InputError(
                "levelling needs two different points of a picture", [tuple(lower), tuple(upper)]
            )
        across = 1 - self.up
        tilt = np.arctan2(way[across], way[self.up])
        turn = np.empty((2, 2))
        turn[across, across] = turn[self.up, self.up] = np.cos(tilt)
        turn[across, self.up], turn[self.up, across] = -np.sin(tilt), np.sin(tilt)
        points = {name: track @ turn.T for name, track in self.points.items()}
        words = f"levelled by {number(np.degrees(tilt), 1)} degrees"
        return replace(self, points=points, treatment=(*self.treatment, words))

    def trusted(self, likelihood: Mapping[str, np.ndarray], least: float) -> "Landmarks":
        """Give the tracks with every point emptied whose likelihood is below a threshold."""
        if not 0 <= least <= 1:
            raise InputError("a least likelihood lies between 0 and 1", [least])
        points, emptied = dict(self.points), []
        for name, sure in likelihood.items():
            doubtful = ~(sure >= least) & np.isfinite(points[name]).all(axis=1)
            points[name] = np.where(doubtful[:, None], np.nan, points[name])
            if doubtful.any():
                emptied.append(f"{name} {int(doubtful.sum())}")
        words = f"points of likelihood below {plain(least)} emptied: {', '.join(emptied) or 'none'}"
        return replace(self, points=points, treatment=(*self.treatment, words))

    def known_rate(self) -> float:
        """Frames per second, refused where unknown."""
        if not np.isfinite(self.rate):
            raise InputError("the frame rate is unknown", remedy="give rate= in frames per second")
        return self.rate


def read_landmarks(
    source: str | Path | pd.DataFrame,
    *,
    points: Mapping[str, Sequence[str]] | None = None,
    frame: str | None = None,
    event: str | None = None,
    rate: float = np.nan,
    unit: str = "",
    up: int = 1,
    flip_up: bool = False,
    least: float | None = None,
    view: str = "",
    separator: str = ",",
    decimal: str = ".",
) -> Landmarks:
    """Read landmark coordinates per frame from any digitising tool's table.

    Without ``points`` the headings say what the columns are: one row of headings such as
    ``elbow_x``, or several rows of which one names the landmark and the last its coordinate
    (``x``, ``y``, ``z``, ``likelihood``). Frames whose numbers are absent are put in as empty ones.

    Parameters
    ----------
    source : path or DataFrame
        CSV file, or the table itself, with one row per frame.
    points : mapping of str to sequence of str, optional
        Columns of each landmark: ``{"elbow": ("elbow_x", "elbow_y")}``; two or three each.
    frame : str, optional
        Column of frame numbers; rows are put in their order. Without it, rows are frames, or, in a
        file whose headings are read, a first column without a landmark.
    event : str, optional
        Column of event labels, empty where a frame is no event.
    rate : float
        Frames per second.
    unit : str
        Unit of the coordinates.
    up : int
        Position of the upward axis among the coordinates.
    flip_up : bool
        Whether that axis points down in the file, as in most images.
    least : float, optional
        Least likelihood of a point that is believed; those below are emptied. Needed where the
        file has likelihoods.
    view : {"", "side", "front", "behind", "above"}
        Where a single camera stood; some quantities cannot be seen from everywhere.
    separator, decimal : str
        How the CSV is written.

    Raises
    ------
    FileError
        If the file does not exist or is not text.
    ColumnError
        If a column is absent.
    InputError
        If a coordinate is not a number, a frame or an event occurs twice, or there are no frames.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"f": [1, 2], "ex": [0, 1], "ey": [5, 4], "what": ["", "release"]})
    >>> clip = read_landmarks(table, points={"elbow": ("ex", "ey")}, frame="f", event="what")
    >>> clip.event("release"), clip["elbow"].tolist()
    (1, [[0.0, 5.0], [1.0, 4.0]])
    """
    if view not in VIEWS:
        raise InputError("the view is unknown", [view], f"use {', '.join(VIEWS[1:])}")
    sure: Mapping[str, str] = {}
    if points is None:
        found = read_headings(source, separator, decimal)
        table, points, sure, frame = found.table, found.points, found.likelihood, found.frame
    elif isinstance(source, pd.DataFrame):
        table = source
    else:
        table = read_table(source, separator, decimal)
    _check_columns(table, points, [name for name in (frame, event) if name is not None])
    if frame is not None:
        table = in_order(table, frame)
    tracks = {name: _track(table, group) for name, group in points.items()}
    if flip_up:
        turn = np.ones(next(iter(tracks.values())).shape[-1])
        turn[up] = -1
        tracks = {name: track * turn for name, track in tracks.items()}
    frames = table[frame].to_numpy() if frame is not None else np.arange(len(table))
    events = _events(table[event]) if event is not None else {}
    absent = int(table[ABSENT].sum()) if ABSENT in table else 0
    words = (f"{absent} frames absent from the file put in as empty",) if absent else ()
    clip = Landmarks(tracks, frames, rate, events, unit, up, words, view)
    if sure and least is None:
        raise InputError(
            "the file gives likelihoods, and no least likelihood says which points to believe",
            sure,
            "give least=, for example 0.6; 0 believes every point",
        )
    if least is None or not sure:
        return clip
    return clip.trusted({n: table[c].to_numpy(dtype=float) for n, c in sure.items()}, least)


VIEWS: Final = ("", "side", "front", "behind", "above")
"""Where a camera can stand."""


def _check_columns(
    table: pd.DataFrame, points: Mapping[str, Sequence[str]], named: Sequence[str]
) -> None:
    columns = [column for group in points.values() for column in group]
    absent = [name for name in [*columns, *named] if name not in table.columns]
    if absent:
        raise ColumnError("the landmark table lacks a column", absent, "correct points=")
    if table.empty or not points:
        raise InputError("the landmark table has no frames or no landmarks")
    if len({len(group) for group in points.values()}) > 1:
        raise InputError(
            "some landmarks have two coordinates and some three", sorted(points), "give all alike"
        )
    last = [group[-1] for group in points.values() if len(group) == 3]
    doubtful = [name for name in last if is_likelihood(name)]
    if doubtful:
        raise InputError(
            "a likelihood stands in the place of a third coordinate",
            doubtful,
            "give two coordinates, or leave points= out and give least=",
        )


def _smoothed_runs(track: np.ndarray, *, rate: float, cutoff: float, order: int) -> np.ndarray:
    seen = np.isfinite(track).all(axis=1)
    if seen.all():
        return low_pass(track, rate=rate, cutoff=cutoff, order=order)
    smooth = np.full_like(track, np.nan)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], seen.astype(int), [0]])))
    for start, stop in edges.reshape(-1, 2):
        if stop - start > shortest_clip(order):
            smooth[start:stop] = low_pass(track[start:stop], rate=rate, cutoff=cutoff, order=order)
    return smooth


def _other_side(name: str, points: Mapping[str, np.ndarray]) -> str:
    for one, other in (("left", "right"), ("right", "left")):
        if one in name and name.replace(one, other) in points:
            return name.replace(one, other)
    return name


def _track(table: pd.DataFrame, columns: Sequence[str]) -> np.ndarray:
    if len(columns) not in (2, 3):
        raise InputError("a landmark has two or three coordinates", [tuple(columns)])
    raw = table[list(columns)]
    numbers = raw.apply(pd.to_numeric, errors="coerce")
    odd = raw.to_numpy()[(numbers.isna() & raw.notna()).to_numpy()]
    if odd.size:
        raise InputError(
            f"coordinates in {', '.join(columns)} are not numbers", odd, "leave gaps empty"
        )
    track: np.ndarray = numbers.to_numpy(dtype=float)
    return track


def _events(labels: pd.Series) -> dict[str, int]:
    text = labels.fillna("").astype(str).str.strip()
    found = text[text != ""]
    refuse_repeats(found, "an event occurs twice")
    return {label: int(place) for place, label in enumerate(text) if label}
