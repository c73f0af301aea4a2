"""Landmark tracks of one clip: reading any digitiser's table, events, phases and smoothing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.exceptions import ColumnError, FileError, InputError
from motorlearn.measures.landmarks.filter import (
    ResidualAnalysis,
    fill_gaps,
    low_pass,
    residual_analysis,
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
    """

    points: Mapping[str, np.ndarray]
    frames: np.ndarray
    rate: float = np.nan
    events: Mapping[str, int] = field(default_factory=dict)
    unit: str = ""
    up: int = 1
    treatment: tuple[str, ...] = ()

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
        return residual_analysis(self[name], rate=self._known_rate())

    def smoothed(self, *, cutoff: float, order: int = 2, longest_gap: int = 0) -> "Landmarks":
        """Give the tracks after a zero-lag Butterworth low-pass, gaps up to a length bridged."""
        rate = self._known_rate()
        smooth, bridged = {}, 0
        for name, track in self.points.items():
            whole = fill_gaps(track, longest=longest_gap)
            bridged += int(np.sum(np.isfinite(whole).all(axis=1) & ~np.isfinite(track).all(axis=1)))
            smooth[name] = low_pass(whole, rate=rate, cutoff=cutoff, order=order)
        words = [
            f"zero-lag Butterworth low-pass, cut-off {cutoff:g} Hz, "
            f"order {2 * order} after both passes"
        ]
        if bridged:
            words.insert(0, f"{bridged} missing landmark frames bridged by straight lines")
        return replace(self, points=smooth, treatment=(*self.treatment, *words))

    def _known_rate(self) -> float:
        if not np.isfinite(self.rate):
            raise InputError("the frame rate is unknown", remedy="give rate= in frames per second")
        return self.rate


def read_landmarks(
    source: str | Path | pd.DataFrame,
    *,
    points: Mapping[str, Sequence[str]],
    frame: str | None = None,
    event: str | None = None,
    rate: float = np.nan,
    unit: str = "",
    up: int = 1,
    flip_up: bool = False,
    separator: str = ",",
    decimal: str = ".",
) -> Landmarks:
    """Read landmark coordinates per frame from any digitising tool's table.

    Parameters
    ----------
    source : path or DataFrame
        CSV file, or the table itself, with one row per frame.
    points : mapping of str to sequence of str
        Columns of each landmark: ``{"elbow": ("elbow_x", "elbow_y")}``; two or three each.
    frame : str, optional
        Column of frame numbers; rows are put in their order. Without it, rows are frames.
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
    table = source if isinstance(source, pd.DataFrame) else _read(source, separator, decimal)
    columns = [column for group in points.values() for column in group]
    named = [name for name in (frame, event) if name is not None]
    absent = [name for name in [*columns, *named] if name not in table.columns]
    if absent:
        raise ColumnError("the landmark table lacks a column", absent, "correct points=")
    if table.empty or not points:
        raise InputError("the landmark table has no frames or no landmarks")
    if frame is not None:
        _refuse_repeats(table[frame], "a frame occurs twice")
        table = table.sort_values(frame)
    tracks = {name: _track(table, group) for name, group in points.items()}
    if flip_up:
        turn = np.ones(len(next(iter(points.values()))))
        turn[up] = -1
        tracks = {name: track * turn for name, track in tracks.items()}
    frames = table[frame].to_numpy() if frame is not None else np.arange(len(table))
    events = _events(table[event]) if event is not None else {}
    return Landmarks(tracks, frames, rate, events, unit, up)


def _read(source, separator: str, decimal: str) -> pd.DataFrame:
    path = Path(source)
    if not path.is_file():
        raise FileError("there is no such landmark file", [str(path)])
    try:
        return pd.read_csv(path, sep=separator, decimal=decimal, encoding="utf-8-sig")
    except (UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as problem:
        raise FileError(
            "the landmark file is not a readable CSV", [str(path)], "check separator and encoding"
        ) from problem


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
    return numbers.to_numpy(dtype=float)


def _events(labels: pd.Series) -> dict[str, int]:
    text = labels.fillna("").astype(str).str.strip()
    found = text[text != ""]
    _refuse_repeats(found, "an event occurs twice")
    return {label: int(place) for place, label in enumerate(text) if label}


def _refuse_repeats(values: pd.Series, cause: str) -> None:
    twice = values[values.duplicated()]
    if len(twice):
        raise InputError(cause, twice.unique(), "keep one row of each")
