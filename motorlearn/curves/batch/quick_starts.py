"""Where quick searches start: the peaks of a grid that may hold the highest place of a learner."""

from dataclasses import dataclass

import numpy as np

WORTH = 0.5
"""Share of the fall around a node that its peak may rise above it; an eighth an axis is usual."""
INSIDE = 0.95
"""Farthest that a start lies from its node, in nodes."""


@dataclass(frozen=True)
class Nodes:
    """Nodes of two log rates, and unit vectors there in single precision, one row per node."""

    axes: tuple[np.ndarray, np.ndarray]
    unit: np.ndarray

    @property
    def shape(self) -> tuple[int, int]:
        """Number of nodes along both axes."""
        return len(self.axes[0]), len(self.axes[1])


def peaks(nodes: Nodes, explained: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Learner and log rates of every peak that can be the highest, learners in order.

    ``explained`` has one row per node and one column per learner.
    """
    rows, columns = nodes.shape
    count = explained.shape[1]
    cube = explained.reshape(rows, columns, count)
    # No peak rises above its node by more than a share of the node's height.
    least = _largest_near(cube)
    np.maximum(least, explained.max(axis=0) / (1 + WORTH), out=least)
    node, learner = np.divmod(np.flatnonzero(cube >= least), count)
    order = np.argsort(learner, kind="stable")
    learner, node = learner[order], node[order]
    i, j = np.divmod(node, columns)
    middle = np.clip(i, 1, rows - 2) * columns + np.clip(j, 1, columns - 2)
    flat = cube.ravel()
    around = {
        (a, b): flat[(middle + a * columns + b) * count + learner].astype(float)
        for a in (-1, 0, 1)
        for b in (-1, 0, 1)
    }
    here = flat[node * count + learner].astype(float)
    fall = here - np.minimum.reduce(list(around.values()))
    top = np.maximum.reduceat(here, np.searchsorted(learner, np.arange(count)))
    worth = here + WORTH * fall >= top[learner]
    shift = _vertex(around)
    shift[(middle != node)] = 0.0
    place = np.stack([i, j], axis=1)[worth] + shift[worth]
    point = [np.interp(p, np.arange(len(a)), a) for p, a in zip(place.T, nodes.axes)]
    return learner[worth], np.stack(point, axis=1)


def _vertex(around: dict[tuple[int, int], np.ndarray]) -> np.ndarray:
    """How many nodes away the top of the parabola through nine nodes is; 0 where it has none."""
    here = around[0, 0]
    slope = [(around[1, 0] - around[-1, 0]) / 2, (around[0, 1] - around[0, -1]) / 2]
    a = around[1, 0] + around[-1, 0] - 2 * here
    c = around[0, 1] + around[0, -1] - 2 * here
    b = (around[1, 1] - around[1, -1] - around[-1, 1] + around[-1, -1]) / 4
    volume = a * c - b * b
    down = (a < 0) & (c < 0) & (volume > 0.05 * a * c)
    safe = np.where(down, volume, 1.0)
    first = np.where(down, (b * slope[1] - c * slope[0]) / safe, 0.0)
    second = np.where(down, (b * slope[0] - a * slope[1]) / safe, 0.0)
    found: np.ndarray = np.clip(np.stack([first, second], axis=1), -INSIDE, INSIDE)
    return found


def _largest_near(cube: np.ndarray) -> np.ndarray:
    """Largest of each value and its eight neighbours on the first two axes."""
    wide = cube.copy()
    np.maximum(wide[:, 1:], cube[:, :-1], out=wide[:, 1:])
    np.maximum(wide[:, :-1], cube[:, 1:], out=wide[:, :-1])
    found = wide.copy()
    np.maximum(found[1:], wide[:-1], out=found[1:])
    np.maximum(found[:-1], wide[1:], out=found[:-1])
    return found
