"""Clips whose landmarks are scored: where the coordinates are, what is measured, how it scores."""

from typing import Literal, Self

from pydantic import Field, model_validator

from motorlearn.design.base import Name, Section
from motorlearn.vocabulary import LANDMARKS_NEEDED

View = Literal["", "side", "front", "behind", "above"]
Point = tuple[float, float]


class LandmarkQuantity(Section):
    """A quantity of technique: which landmarks, and when it is read.

    ``at`` is an event (``release``) or the two events that bound a phase.
    """

    name: Name
    kind: Literal[
        "joint angle", "segment inclination", "trunk rotation", "height above", "hand path"
    ]
    landmarks: tuple[Name, ...]
    at: Name | tuple[Name, Name]
    statistic: Literal["value", "minimum", "maximum", "mean", "range", "length"] = "value"

    @model_validator(mode="after")
    def _has_its_landmarks(self) -> Self:
        needed = LANDMARKS_NEEDED[self.kind]
        if len(self.landmarks) != needed:
            raise ValueError(
                f"{self.name!r} is a {self.kind}, which needs {needed} landmarks and has "
                f"{len(self.landmarks)}"
            )
        if isinstance(self.at, str) != (self.statistic == "value"):
            raise ValueError(
                f"{self.name!r}: 'value' is read at one event, every other statistic over the "
                "phase between two"
            )
        if (self.kind == "hand path") != (self.statistic == "length"):
            raise ValueError(f"{self.name!r}: 'length' is read of a hand path, and only of it")
        return self


class LandmarkItem(Section):
    """An item of the checklist as bands of a quantity: lower limit, upper limit, score."""

    item: Name
    quantity: Name
    bands: tuple[tuple[float, float, float], ...] = Field(min_length=1)
    otherwise: float = 0.0
    cue: str = ""
    source: str = ""


class LandmarkClips(Section):
    """Files of coordinates, one for each clip, and the checklist that is scored on them.

    ``folder`` holds one CSV for each clip, named as the raters know it. ``left_handed`` names
    people, or clips, that are mirrored first. ``plumb`` holds the foot and the top of something
    upright in the picture, where the camera was tilted. ``event`` is the column of the files that
    labels events; ``release`` is the landmark whose peak speed is the event of that name.
    """

    folder: Name = "clips"
    rater: Name = "landmarks"
    rate: float = Field(gt=0)
    unit: str = ""
    view: View = ""
    flip_up: bool = False
    least: float | None = Field(default=None, ge=0, le=1)
    cutoff: float | None = Field(default=None, gt=0)
    longest_gap: int = Field(default=0, ge=0)
    release: str = ""
    event: str = ""
    plumb: tuple[Point, Point] | None = None
    left_handed: tuple[str, ...] = ()
    separator: str = Field(default=",", min_length=1, max_length=1)
    decimal: str = Field(default=".", min_length=1, max_length=1)
    quantities: tuple[LandmarkQuantity, ...] = Field(min_length=1)
    items: tuple[LandmarkItem, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _holds_together(self) -> Self:
        names = [entry.name for entry in self.quantities]
        for what, given in (("quantity", names), ("item", [one.item for one in self.items])):
            twice = sorted({name for name in given if given.count(name) > 1})
            if twice:
                raise ValueError(f"{what} named twice: {', '.join(twice)}")
        strange = sorted({entry.quantity for entry in self.items} - set(names))
        if strange:
            raise ValueError(
                f"items ask for quantities that are not measured: {', '.join(strange)}"
            )
        if self.cutoff is not None and self.cutoff >= self.rate / 2:
            raise ValueError(
                f"the cut-off of {self.cutoff:g} Hz is not below half the {self.rate:g} frames "
                "per second"
            )
        return self
