"""Figures of landmarks: a stick figure with its angles, and the choice of a cut-off."""

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes

from motorlearn import digits
from motorlearn.exceptions import InputError
from motorlearn.figures.drawing.levels import COLOURS
from motorlearn.figures.drawing.style import (
    FAINT,
    INK,
    PAPER,
    SOFT_INK,
    Drawing,
    SizeName,
    canvas,
    house,
)
from motorlearn.measures import Landmarks
from motorlearn.measures.landmarks.geometry import joint_angle
from motorlearn.measures.landmarks.tracks import CAUTION
from motorlearn.vocabulary import capitalised


def stick_figure(
    clip: Landmarks,
    segments: Sequence[tuple[str, str]],
    *,
    at: str | int = 0,
    angles: Sequence[tuple[str, str, str]] = (),
    path_of: str | None = None,
    across: int = 0,
    size: SizeName = "thesis",
    ax: Axes | None = None,
) -> Drawing:
    """Draw the landmarks of one frame, joined by segments, with joint angles written beside.

    Parameters
    ----------
    clip : Landmarks
        Tracks of one clip.
    segments : sequence of (str, str)
        Landmarks to join.
    at : str or int
        Event, or position among the frames.
    angles : sequence of (str, str, str)
        Joints to measure: proximal, joint, distal.
    path_of : str, optional
        Landmark whose way over the clip is drawn.
    across : int
        Position of the axis that is drawn to the right; the upward one is drawn up.
    size : {"column", "thesis", "page", "slide"}
        Where the figure will be used.
    ax : Axes, optional
        Axes to draw into.

    Raises
    ------
    InputError
        If a landmark, event or frame is absent, or a landmark of a segment is missing there.
    """
    frame = clip.event(at) if isinstance(at, str) else at
    if not 0 <= frame < len(clip.frames):
        raise InputError("the clip has no such frame", [frame], f"it has {len(clip.frames)}")
    axes_of = [across, clip.up]
    place = _places(clip, segments, frame)
    said = []
    with house(size) as chosen:
        figure, (axes,) = canvas(size, height=1.3, ax=ax)
        if path_of is not None:
            way = clip[path_of][:, axes_of]
            axes.plot(*way.T, color=FAINT, linestyle=(0, (2, 1.5)))
        for first, last in segments:
            ends = np.stack([place[first], place[last]])[:, axes_of]
            axes.plot(
                *ends.T, color=INK, linewidth=2 * chosen.line, solid_capstyle="round", zorder=2
            )
        for name, point in place.items():
            side = _free_side(name, segments, place, across)
            axes.plot(*point[axes_of], "o", color=COLOURS[0], markersize=1.4 * chosen.marker)
            _write(axes, point[axes_of], name, SOFT_INK, 2 * chosen.marker * side)
        for proximal, joint, distal in angles:
            value = float(joint_angle(*(clip[name][frame] for name in (proximal, joint, distal))))
            text, side = f"{digits.number(value, 0)}°", _free_side(joint, segments, place, across)
            said.append(f"{joint} {text}")
            _write(axes, clip[joint][frame][axes_of], text, INK, -2 * chosen.marker * side)
        axes.set_aspect("equal", adjustable="datalim")
        axes.margins(0.18)
        unit = f" ({clip.unit})" if clip.unit else ""
        axes.set_xlabel(f"to the right{unit}")
        axes.set_ylabel(f"up{unit}")
    when = f"at {at}" if isinstance(at, str) else f"in frame {clip.frames[frame]}"
    treatment = "; ".join(clip.treatment) or "coordinates as digitised"
    caption = (
        f"Landmarks {when}; joint angles in degrees. {capitalised(treatment)}."
        + (f" Dotted: way of {path_of}." if path_of else "")
        + f" {CAUTION}"
    )
    alt = f"Stick figure {when}" + (f"; angles: {', '.join(said)}." if said else ".")
    return Drawing("stick-figure", figure, caption, f"{alt} {CAUTION}", given=ax)


def _places(
    clip: Landmarks, segments: Sequence[tuple[str, str]], frame: int
) -> dict[str, np.ndarray]:
    """Landmarks of the segments in one frame; refused where one is missing there."""
    names = dict.fromkeys(name for segment in segments for name in segment)
    place = {name: clip[name][frame] for name in names}
    lost = [name for name, point in place.items() if not np.isfinite(point).all()]
    if lost:
        raise InputError("landmarks are missing in this frame", lost, "choose another frame")
    return place


def cutoff_choice(
    clip: Landmarks, name: str, *, size: SizeName = "thesis", ax: Axes | None = None
) -> Drawing:
    """Draw what smoothing removes over the cut-off frequency, and the cut-off that follows."""
    found = clip.residuals(name)
    unit = f" ({clip.unit})" if clip.unit else ""
    with house(size):
        figure, (axes,) = canvas(size, ax=ax)
        axes.plot(found.cutoffs, found.residuals, color=INK)
        x = np.array([0.0, found.cutoffs[-1]])
        axes.plot(x, found.noise + found.slope * x, color=SOFT_INK, linestyle=(0, (4, 2)))
        axes.plot(found.cutoff, np.interp(found.cutoff, found.cutoffs, found.residuals), "o",
                  color=COLOURS[0])  # fmt: skip
        axes.annotate(
            f"{digits.number(found.cutoff, 1)} Hz",
            (found.cutoff, found.noise), (10, 8), textcoords="offset points",
        )  # fmt: skip
        axes.set_xlim(0, found.cutoffs[-1])
        axes.set_ylim(0, min(float(found.residuals.max()), 4 * found.noise))
        axes.set_xlabel("cut-off frequency (Hz)")
        axes.set_ylabel(f"residual of {name}{unit}")
    caption = (
        f"Residual analysis of {name}: root mean square of raw minus smoothed coordinates. Dashed: "
        "line through the highest third of the cut-offs, whose value at 0 Hz estimates the noise; "
        f"the curve falls to it at {digits.number(found.cutoff, 1)} Hz."
    )
    alt = (
        f"Falling curve of residuals of {name} over cut-off frequency; noise "
        f"{digits.significant(found.noise)}, chosen cut-off {digits.number(found.cutoff, 1)} Hz."
    )
    return Drawing("cutoff-choice", figure, caption, alt, given=ax)


def _free_side(
    name: str,
    segments: Sequence[tuple[str, str]],
    place: Mapping[str, np.ndarray],
    across: int,
) -> int:
    """Side of a landmark that its segments leave free: 1 for right, -1 for left."""
    ends = [b if a == name else a for a, b in segments if name in (a, b)]
    reach = sum(float(place[end][across] - place[name][across]) for end in ends)
    return -1 if reach > 0 else 1


def _write(axes: Axes, point: np.ndarray, text: str, colour: str, offset: float) -> None:
    """Write beside a point: to its right where the offset is positive, otherwise to its left."""
    axes.annotate(
        text,
        tuple(point),
        (offset, 0.0),
        textcoords="offset points",
        color=colour,
        ha="left" if offset > 0 else "right",
        va="center",
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.8},
    )
