"""A checklist on landmarks written in a file: from coordinates to scores in two calls."""

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import pandas as pd

from motorlearn.exceptions import FileError, InputError
from motorlearn.measures.landmarks.motion import with_release
from motorlearn.measures.landmarks.posture import (
    ChecklistItem,
    Quantity,
    measure_posture,
    score_checklist,
)
from motorlearn.measures.landmarks.tracks import Landmarks, read_landmarks


@dataclass(frozen=True)
class LandmarkPlan:
    """How clips are read, which quantities are measured and how a checklist scores them.

    Parameters
    ----------
    quantities : tuple of Quantity
        What is measured.
    items : tuple of ChecklistItem
        The study's own items as limits on these quantities.
    rate : float
        Frames per second.
    unit, view : str
        Unit of the coordinates; where the camera stood.
    flip_up : bool
        Whether the upward axis points down in the files.
    least : float or None
        Least likelihood of a point that is believed.
    cutoff : float or None
        Cut-off of the low-pass in hertz; not smoothed where None.
    longest_gap : int
        Longest gap in frames that is bridged by a straight line.
    release : str
        Landmark whose peak speed is the event ``release``; none where empty.
    event : str
        Column of the files that labels events, empty where a frame is none; no column where empty.
    plumb : tuple of two points, optional
        Foot and top of something upright in the picture, as digitised, where the camera was tilted.
    separator, decimal : str
        How the files are written.
    """

    quantities: tuple[Quantity, ...]
    items: tuple[ChecklistItem, ...]
    rate: float
    unit: str = ""
    view: str = ""
    flip_up: bool = False
    least: float | None = None
    cutoff: float | None = None
    longest_gap: int = 0
    release: str = ""
    event: str = ""
    plumb: tuple[tuple[float, float], tuple[float, float]] | None = None
    separator: str = ","
    decimal: str = "."

    def read(self, source: str | Path | pd.DataFrame, *, left_handed: bool = False) -> Landmarks:
        """Read one clip as planned; that of a left-hander is mirrored."""
        clip = read_landmarks(
            source, rate=self.rate, unit=self.unit, view=self.view, flip_up=self.flip_up,
            least=self.least, event=self.event or None, separator=self.separator,
            decimal=self.decimal,
        )  # fmt: skip
        if self.plumb is not None:
            clip = clip.levelled(*((x, -y if self.flip_up else y) for x, y in self.plumb))
        if left_handed:
            clip = clip.mirrored()
        if self.cutoff is not None:
            clip = clip.smoothed(cutoff=self.cutoff, longest_gap=self.longest_gap)
        return with_release(clip, self.release) if self.release else clip

    def score(
        self,
        clips: Mapping[str, str | Path | pd.DataFrame],
        *,
        left_handed: Iterable[str] = (),
    ) -> pd.DataFrame:
        """Score the checklist on clips.

        Parameters
        ----------
        clips : mapping of str to path or DataFrame
            Files by the name of the clip, as the raters know it.
        left_handed : iterable of str
            Clips of left-handers.

        Returns
        -------
        DataFrame
            As :func:`motorlearn.measures.score_checklist` gives it.

        Raises
        ------
        InputError
            If a clip said to be a left-hander's is not among the clips, or one cannot be scored;
            the message names it.
        """
        left = set(left_handed)
        strange = sorted(left - set(clips))
        if strange:
            raise InputError("clips of left-handers are not among the clips", strange)
        postures = []
        for name, source in clips.items():
            try:
                clip = self.read(source, left_handed=name in left)
                postures.append(measure_posture(clip, self.quantities, clip=str(name)))
            except InputError as problem:
                raise InputError(
                    f"clip {name}: {problem.cause}", problem.values, problem.remedy
                ) from problem
        return score_checklist(postures, self.items)


def read_landmark_plan(source: str | Path) -> LandmarkPlan:
    """Read the plan of landmarks from a TOML file beside the study.

    The keys are those of :class:`LandmarkPlan`; ``[[quantities]]`` and ``[[items]]`` have those of
    :class:`motorlearn.measures.Quantity` and :class:`motorlearn.measures.ChecklistItem`.

    Raises
    ------
    FileError
        If the file is absent or no TOML.
    InputError
        If a key is unknown or lacking, or an item asks for a quantity that is not measured.

    Examples
    --------
    >>> import tempfile
    >>> text = '''
    ... rate = 100
    ... release = "wrist"
    ... [[quantities]]
    ... name = "elbow at release"
    ... kind = "joint angle"
    ... landmarks = ["shoulder", "elbow", "wrist"]
    ... at = "release"
    ... [[items]]
    ... item = "arm nearly straight"
    ... quantity = "elbow at release"
    ... bands = [[150, 180, 2], [120, 150, 1]]
    ... '''
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     _ = Path(folder, "landmarks.toml").write_text(text, encoding="utf-8")
    ...     plan = read_landmark_plan(Path(folder, "landmarks.toml"))
    ...
    >>> plan.rate, plan.quantities[0].landmarks, plan.items[0].bands
    (100, ('shoulder', 'elbow', 'wrist'), ((150.0, 180.0, 2.0), (120.0, 150.0, 1.0)))
    """
    path = Path(source)
    if not path.is_file():
        raise FileError("there is no such plan of landmarks", [str(path)])
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise FileError(f"the plan of landmarks is no TOML: {problem}", [str(path)]) from problem
    quantities = tuple(_quantity(row) for row in content.pop("quantities", ()))
    items = tuple(_item(row) for row in content.pop("items", ()))
    plan: LandmarkPlan = _made(
        LandmarkPlan, "the plan of landmarks", content | {"quantities": quantities, "items": items}
    )
    lacking = {item.quantity for item in items} - {quantity.name for quantity in quantities}
    if lacking or not items:
        raise InputError(
            "the checklist has no items" if not items else "items ask for quantities not measured",
            sorted(lacking),
            "add [[quantities]] and [[items]]",
        )
    return plan


def _quantity(row: Mapping[str, Any]) -> Quantity:
    given = dict(row)
    for name in ("landmarks", "at"):
        if isinstance(given.get(name), list):
            given[name] = tuple(given[name])
    found: Quantity = _made(Quantity, "a quantity", given)
    return found


def _item(row: Mapping[str, Any]) -> ChecklistItem:
    given = dict(row)
    bands = given.get("bands", ())
    if not bands or any(len(band) != 3 for band in bands):
        raise InputError(
            "a checklist item needs bands of three numbers: lower, upper, score",
            [given.get("item")],
        )
    given["bands"] = tuple(tuple(float(number) for number in band) for band in bands)
    found: ChecklistItem = _made(ChecklistItem, "a checklist item", given)
    return found


def _made(kind: Any, what: str, given: Mapping[str, Any]) -> Any:
    known = [field.name for field in fields(kind)]
    strange = [name for name in given if name not in known]
    if strange:
        raise InputError(f"{what} has an unknown key", strange, f"use {', '.join(known)}")
    try:
        return kind(**given)
    except TypeError as problem:
        raise InputError(f"{what} lacks a key: {problem}") from problem
