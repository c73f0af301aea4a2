"""Technique from landmarks: quantities at events and in phases, and a checklist scored on them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np
import pandas as pd

from motorlearn.exceptions import ColumnError, InputError
from motorlearn.measures.landmarks.geometry import (
    height_above,
    joint_angle,
    line_rotation,
    path_length,
    rotation_range,
    segment_inclination,
)
from motorlearn.measures.landmarks.tracks import CAUTION, Landmarks
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table
from motorlearn.vocabulary import LANDMARKS_NEEDED

LANDMARKS: Final = "landmarks"
"""Source of a score that was computed from coordinates."""

PEOPLE: Final = "raters"
"""Source of a score that a person gave."""

Kind = Literal["joint angle", "segment inclination", "trunk rotation", "height above", "hand path"]
Statistic = Literal["value", "minimum", "maximum", "mean", "range", "length"]

_TRACKS: dict[str, Callable[..., np.ndarray]] = {
    "joint angle": lambda up, *points: joint_angle(*points),
    "segment inclination": lambda up, *points: segment_inclination(*points, up=up),
    "trunk rotation": lambda up, *points: line_rotation(*points, up=up),
    "height above": lambda up, *points: height_above(*points, up=up),
    "hand path": lambda up, *points: points[0],
}
_STATISTICS: dict[str, Callable[[np.ndarray], float]] = {
    "minimum": lambda track: float(np.nanmin(track)),
    "maximum": lambda track: float(np.nanmax(track)),
    "mean": lambda track: float(np.nanmean(track)),
    "range": rotation_range,
    "length": path_length,
}
_ANGLES = ("joint angle", "segment inclination", "trunk rotation")


@dataclass(frozen=True)
class Quantity:
    """A quantity of technique: which landmarks, and when it is read.

    Parameters
    ----------
    name : str
        Name under which it is reported.
    kind : {"joint angle", "segment inclination", "trunk rotation", "height above", "hand path"}
        What is measured.
    landmarks : tuple of str
        Three for a joint angle (proximal, joint, distal); two for an inclination (start, end) and
        a height (upper, lower); four for trunk rotation (left hip, right hip, left shoulder,
        right shoulder); one for a path.
    at : str or (str, str)
        An event, or the two events that bound a phase.
    statistic : {"value", "minimum", "maximum", "mean", "range", "length"}
        ``value`` at an event; one of the others over a phase; ``length`` for a path.
    """

    name: str
    kind: Kind
    landmarks: tuple[str, ...]
    at: str | tuple[str, str]
    statistic: Statistic = "value"

    def __post_init__(self) -> None:
        if self.kind not in _TRACKS:
            raise InputError("the kind of quantity is unknown", [self.kind], f"use {list(_TRACKS)}")
        needed = LANDMARKS_NEEDED[self.kind]
        if len(self.landmarks) != needed:
            raise InputError(f"{self.name}: {self.kind} needs {needed} landmarks", self.landmarks)
        at_event = isinstance(self.at, str)
        path = self.kind == "hand path"
        fits = (self.statistic == "value") == at_event and (self.statistic == "length") == path
        if not fits or (not at_event and self.statistic not in _STATISTICS):
            raise InputError(
                f"{self.name}: the statistic does not fit",
                [self.statistic],
                "read 'value' at an event, 'length' of a path over a phase, and minimum, maximum, "
                "mean or range over a phase",
            )

    @property
    def when(self) -> str:
        """Event or phase in words."""
        return self.at if isinstance(self.at, str) else f"{self.at[0]} to {self.at[1]}"


@dataclass(frozen=True)
class ChecklistItem:
    """A checklist item as limits on one quantity.

    Parameters
    ----------
    item : str
        Name of the item on the raters' checklist.
    quantity : str
        Name of the quantity.
    bands : tuple of (float, float, float)
        Lower limit, upper limit, score; the first band that holds the value counts.
    otherwise : float
        Score outside all bands.
    cue : str
        What to tell the performer where the score is not the best.
    source : str
        Where the limits come from.
    """

    item: str
    quantity: str
    bands: tuple[tuple[float, float, float], ...]
    otherwise: float = 0.0
    cue: str = ""
    source: str = ""

    def score(self, value: float) -> float:
        """Score of a value; NaN where it is missing."""
        if not np.isfinite(value):
            return np.nan
        inside = (score for low, high, score in self.bands if low <= value <= high)
        return float(next(inside, self.otherwise))


@dataclass(frozen=True)
class Posture(Result):
    """Quantities of technique of one clip.

    Attributes
    ----------
    values : DataFrame
        ``clip, quantity, kind, when, statistic, value, unit``.
    caution : str
        What these numbers can and cannot say.
    recipe : Recipe
        Frames, treatment of the coordinates and options.
    treatment : tuple of str
        What was done to the coordinates, and what the frame rate cannot show.
    """

    values: pd.DataFrame
    caution: str
    recipe: Recipe
    treatment: tuple[str, ...] = field(default=())

    def tables(self) -> list[Table]:
        """One table of quantities, with the caution beneath."""
        columns = (
            Column("quantity", "quantity"),
            Column("when", "when"),
            Column("statistic", "statistic"),
            Column("value", "value", "number", decimals=1),
            Column("unit", "unit"),
        )
        notes = (*self.treatment, self.caution)
        return [Table("posture", "Technique from landmarks", columns, self.values, notes)]


def measure_posture(
    landmarks: Landmarks, quantities: Sequence[Quantity], *, clip: str = ""
) -> Posture:
    """Read quantities of technique from the landmarks of one clip.

    Parameters
    ----------
    landmarks : Landmarks
        Tracks and events.
    quantities : sequence of Quantity
        What to read.
    clip : str
        Name of the clip, as the raters know it.

    Raises
    ------
    InputError
        If a landmark or an event is absent.

    Examples
    --------
    >>> import numpy as np
    >>> arm = {"shoulder": [[0, 0]], "elbow": [[1, 0]], "wrist": [[1, 1]]}
    >>> clip = Landmarks({k: np.array(v, float) for k, v in arm.items()}, np.array([1]),
    ...                  events={"top": 0})
    >>> elbow = Quantity("elbow angle", "joint angle", ("shoulder", "elbow", "wrist"), "top")
    >>> float(measure_posture(clip, [elbow]).values["value"].iloc[0])
    90.0
    """
    names = [quantity.name for quantity in quantities]
    if len(set(names)) < len(names):
        raise InputError("two quantities have the same name", names)
    rows = [
        {
            "clip": clip,
            "quantity": quantity.name,
            "kind": quantity.kind,
            "when": quantity.when,
            "statistic": quantity.statistic,
            "value": _read_quantity(landmarks, quantity),
            "unit": "°" if quantity.kind in _ANGLES else landmarks.unit,
        }
        for quantity in quantities
    ]
    treatment = tuple(landmarks.treatment) or ("coordinates as digitised, not smoothed",)
    recipe = Recipe(
        call="measure_posture",
        options={"up": landmarks.up, "rate": float(landmarks.rate)},
        n=len(landmarks.frames),
        engine="; ".join(treatment),
    )
    return Posture(pd.DataFrame(rows), CAUTION, recipe, treatment)


def score_checklist(
    postures: Sequence[Posture] | Posture,
    checklist: Sequence[ChecklistItem],
    *,
    rater: str = "landmarks",
) -> pd.DataFrame:
    """Score a checklist on measured quantities, in the form of a table of ratings.

    Parameters
    ----------
    postures : Posture or sequence of Posture
        One per clip.
    checklist : sequence of ChecklistItem
        Items as limits on quantities.
    rater : str
        Name under which the scores stand beside those of the raters.

    Returns
    -------
    DataFrame
        ``clip, item, rater, score, source, value, cue, limits_from, caution``; ``source`` is
        ``landmarks``. :func:`with_landmark_scores` puts them beside the ratings of people.

    Raises
    ------
    InputError
        If an item refers to a quantity that was not measured.
    """
    given = [postures] if isinstance(postures, Posture) else list(postures)
    rows = []
    for posture in given:
        measured = posture.values.set_index("quantity")
        for entry in checklist:
            if entry.quantity not in measured.index:
                raise InputError(
                    f"item {entry.item!r} needs a quantity that was not measured",
                    [entry.quantity],
                    f"measured: {', '.join(measured.index)}",
                )
            value = float(measured.loc[entry.quantity, "value"])
            rows.append(_scored(entry, value, str(measured["clip"].iloc[0]), rater))
    return pd.DataFrame(rows)


def with_landmark_scores(ratings: pd.DataFrame, scores: pd.DataFrame) -> pd.DataFrame:
    """Put scores from landmarks beside the ratings of people, each marked by its ``source``.

    Raises
    ------
    ColumnError
        If the ratings lack ``clip``, ``item``, ``rater`` or ``score``.
    InputError
        If a person among the raters has the name under which the landmarks stand.

    Examples
    --------
    >>> ratings = pd.DataFrame({"clip": ["1"], "item": ["grip"], "rater": ["A"], "score": [2]})
    >>> landmarks = ratings.assign(rater="landmarks", score=1.0, source="landmarks")
    >>> with_landmark_scores(ratings, landmarks)["source"].tolist()
    ['raters', 'landmarks']
    """
    needed = ["clip", "item", "rater", "score"]
    absent = [name for name in needed if name not in ratings]
    if absent:
        raise ColumnError("the ratings lack a column", absent, "give clip, item, rater and score")
    shared = sorted(set(ratings["rater"].astype(str)) & set(scores["rater"].astype(str)))
    if shared:
        raise InputError("a rater has the name of the landmarks", shared, "rename one of them")
    people = ratings.assign(source=PEOPLE, clip=ratings["clip"].astype(str))
    return pd.concat([people, scores[[*needed, "source"]]], ignore_index=True)


def _scored(entry: ChecklistItem, value: float, clip: str, rater: str) -> Mapping[str, object]:
    score = entry.score(value)
    best = max(score for _, _, score in entry.bands)
    return {
        "clip": clip,
        "item": entry.item,
        "rater": rater,
        "score": score,
        "source": LANDMARKS,
        "value": value,
        "cue": entry.cue if np.isfinite(score) and score < best else "",
        "limits_from": entry.source,
        "caution": CAUTION,
    }


_NEEDS_HEIGHT = ("segment inclination", "height above")


def _check_view(landmarks: Landmarks, quantity: Quantity) -> None:
    """Refuse what a single camera cannot see from where it stood."""
    if landmarks.dimensions == 3:
        return
    from_above = landmarks.view == "above"
    if quantity.kind == "trunk rotation" and not from_above:
        raise InputError(
            f"{quantity.name}: a turn about the upright axis cannot be seen by one camera unless "
            "it films from above",
            [landmarks.view or "view not given"],
            "film from above and say view='above', or use coordinates in space",
        )
    if quantity.kind in _NEEDS_HEIGHT and from_above:
        raise InputError(
            f"{quantity.name}: {quantity.kind} cannot be seen from above",
            [landmarks.view],
            "film from the side",
        )


def _read_quantity(landmarks: Landmarks, quantity: Quantity) -> float:
    _check_view(landmarks, quantity)
    track = _TRACKS[quantity.kind](landmarks.up, *(landmarks[name] for name in quantity.landmarks))
    if isinstance(quantity.at, str):
        return float(track[landmarks.event(quantity.at)])
    phase = track[landmarks.between(*quantity.at)]
    if not np.isfinite(phase).any():
        return np.nan
    return _STATISTICS[quantity.statistic](phase)
