"""The drawn floor: where a pushed ring comes to rest, for each of the three tasks.

Floor coordinates are in centimetres: the ring starts at (0, 0), y points away from the player and
x to the right. A landing point is given from the centre of the target, as the standard columns want
it.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from motorlearn.exceptions import InputError

FARTHER: Final = 80.0
"""How much farther away the target lies in the transfer test."""
BOARD: Final = 130.0
WALL: Final = (-190.0, 15.0, 180.0)
BAR: Final = 200.0
GLIDE: Final = 0.5
HOP: Final = 1 / 1600
SPEEDS: Final = (40.0, 2400.0)
_TARGETS: Final = {"straight": (0.0, 400.0), "bank": (-40.0, 360.0), "lob": (0.0, 400.0)}

Point = tuple[float, float]
Way = tuple[tuple[Point, ...], str]
"""Corners of the way of a ring, and what stopped it."""


@dataclass(frozen=True)
class Rest:
    """Where a ring came to rest.

    Parameters
    ----------
    x, y : float
        Landing point to the right of and beyond the target centre, in cm.
    path : tuple of (float, float)
        Corners of the ring's way on the floor, from the start to the resting place.
    stopped_by : str
        ``wall`` where the wall stopped the ring, ``bar`` where the hop was too short for the bar,
        otherwise empty.
    """

    x: float
    y: float
    path: tuple[tuple[float, float], ...]
    stopped_by: str = ""

    @property
    def radial_error(self) -> float:
        """Distance from the target centre in cm."""
        return math.hypot(self.x, self.y)


def target(task: str, farther: float = 0.0) -> tuple[float, float]:
    """Give the target centre on the floor.

    Raises
    ------
    InputError
        If the task is unknown.
    """
    if task not in _TARGETS:
        raise InputError("there is no such task", [task], f"choose one of {', '.join(_TARGETS)}")
    x, y = _TARGETS[task]
    return x, y + farther


def roll(task: str, direction: float, speed: float, *, farther: float = 0.0) -> Rest:
    """Let a ring roll after a push.

    ``straight``: it glides ``0.5 s × speed`` in the direction of the push. ``bank``: the same, and
    the board on the right sends it back; a wall across the direct way stops it. ``lob``: it flies
    ``speed² / 1600 cm`` to the other side of the push; a short hop stays in front of the bar.

    Parameters
    ----------
    task : {"straight", "bank", "lob"}
        The task.
    direction : float
        Direction of the push in degrees, 0 straight ahead, positive to the right, -90 to 90.
    speed : float
        Speed of the paddle at release in cm/s on the floor, 40 to 2400.
    farther : float
        How much farther away the target lies, in cm.

    Returns
    -------
    Rest

    Raises
    ------
    InputError
        If the task is unknown or the push is no push.

    Examples
    --------
    >>> roll("straight", 0, 800).radial_error
    0.0
    >>> roll("straight", 0, 700).y
    -50.0
    >>> roll("lob", 10, 800).x < 0
    True
    >>> roll("lob", 0, 400).stopped_by
    'bar'
    """
    centre = target(task, farther)
    if not (math.isfinite(direction) and -90 <= direction <= 90):
        raise InputError("a push must go forwards", [direction], "push away from you")
    if not (math.isfinite(speed) and SPEEDS[0] <= speed <= SPEEDS[1]):
        low, high = SPEEDS
        raise InputError("this is no push", [speed], f"push with {low:g} to {high:g} cm/s")
    angle = math.radians(-direction if task == "lob" else direction)
    length = HOP * speed**2 if task == "lob" else GLIDE * speed
    end = (length * math.sin(angle), length * math.cos(angle))
    path, stopped_by = _WAYS[task](end)
    x, y = path[-1]
    return Rest(x - centre[0], y - centre[1], path, stopped_by)


def _straight(end: Point) -> Way:
    return ((0.0, 0.0), end), ""


def _bank(end: Point) -> Way:
    x, y = end
    left, right, wall = WALL
    at_wall = x * wall / y if y > wall else math.inf
    folded_at_wall = 2 * BOARD - at_wall if at_wall > BOARD else at_wall
    before_board = at_wall <= BOARD
    if left <= folded_at_wall <= right:
        stop = ((folded_at_wall, wall),)
        corner = () if before_board else ((BOARD, y * BOARD / x),)
        return ((0.0, 0.0), *corner, *stop), "wall"
    if x > BOARD:
        return ((0.0, 0.0), (BOARD, y * BOARD / x), (2 * BOARD - x, y)), ""
    return ((0.0, 0.0), end), ""


def _lob(end: Point) -> Way:
    return ((0.0, 0.0), end), "bar" if end[1] < BAR else ""


_WAYS: Final[dict[str, Callable[[Point], Way]]] = {
    "straight": _straight,
    "bank": _bank,
    "lob": _lob,
}
