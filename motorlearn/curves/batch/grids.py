"""Nodes and cells of the log rate for one set of practice counts, with the basis on each."""

from dataclasses import dataclass

import numpy as np

from motorlearn.curves.forms import Form

DEGREE, WIDE_DEGREE = 9, 11
"""Degrees of the polynomials on cells and around nodes."""
CELLS, OVERLAP = 2, 1.3
"""Cells between two nodes, and how far a cell's polynomial reaches beyond the cell."""
DENSE, SPARSE = 0.55, 0.8
BENDS_FROM = 0.02
"""Rate times range from which the basis bends enough to need dense nodes."""


@dataclass(frozen=True)
class Stretches:
    """Stretches of the log rate, and the basis on each as polynomials, lowest power first.

    Polynomials are in ``t = (log rate - centre) / width``: ``basis`` holds the basis at every
    practice count, centred and of length 1, ``turn`` the sum of squares of its derivative by the
    log rate, ``square`` the sum of squares of the centred basis, ``mean`` the mean of the basis.
    """

    centres: np.ndarray
    widths: np.ndarray
    basis: np.ndarray
    square: np.ndarray
    mean: np.ndarray
    turn: np.ndarray

    @classmethod
    def laid(cls, centres: np.ndarray, widths: np.ndarray, beyond: np.ndarray) -> "Stretches":
        """Interpolate the basis of practice ``beyond`` the smallest count."""
        points, turn = interpolation(DEGREE)
        rates = np.exp(centres[:, None] + widths[:, None] * points)
        fallen = rates[:, None, :] * beyond[:, None]
        height, tilt = -np.expm1(-fallen), fallen * np.exp(-fallen)
        mean = height.mean(axis=1, keepdims=True)
        centred, tilt = height - mean, tilt - tilt.mean(axis=1, keepdims=True)
        length = np.linalg.norm(centred, axis=1, keepdims=True)
        unit = centred / length
        aside = (tilt - unit * np.sum(unit * tilt, axis=1, keepdims=True)) / length
        return cls(
            centres,
            widths,
            np.swapaxes(unit @ turn.T, 1, 2).copy(),
            turn @ (length[:, 0] ** 2).T,
            turn @ mean[:, 0].T,
            turn @ np.sum(aside**2, axis=1).T,
        )


@dataclass(frozen=True)
class Grid:
    """Nodes of the log rate for one set of practice counts, and the cells between them.

    ``search`` holds the basis at every node, centred and of length 1; ``edges`` the ends of the
    cells.
    """

    centres: np.ndarray
    search: np.ndarray
    edges: np.ndarray
    cells: Stretches
    origin: float
    first: float
    progress: float


def interpolation(degree: int) -> tuple[np.ndarray, np.ndarray]:
    """Points between -1 and 1, and what turns values there into coefficients."""
    points = np.cos(np.pi * (np.arange(degree + 1) + 0.5) / (degree + 1))
    return points, np.linalg.inv(np.vander(points, increasing=True))


def shares_one_scale(form: Form) -> bool:
    """Whether the log basis is the rate times a function of practice alone."""
    if len(form.rates) != 1:
        return False
    n = np.array([1.0, 2.0, 5.0])
    return np.allclose(form.log_basis(n, [2.0], 1.0), 2 * form.log_basis(n, [1.0], 1.0))


def make_grid(form: Form, n: np.ndarray, first: float) -> Grid:
    """Lay out the nodes for some practice counts."""
    x = -form.log_basis(n, [1.0], first)
    origin = float(x.min())
    beyond = x - origin
    low, high = np.log(form.bounds(n)[0])
    whole = float(beyond.max())
    bend = min(max(np.log(BENDS_FROM / whole), low), high)
    few = max(int(np.ceil((bend - low) / SPARSE)), 1)
    many = max(int(np.ceil((high - bend) / DENSE)), 1)
    centres = np.concatenate(
        [np.linspace(low, bend, few, endpoint=False), np.linspace(bend, high, many + 1)]
    )
    at_centre = -np.expm1(-np.exp(centres) * beyond[:, None])
    at_centre -= at_centre.mean(axis=0)
    parts = np.diff(centres)[:, None] * (np.arange(CELLS) / CELLS)
    edges = np.append((centres[:-1, None] + parts).ravel(), centres[-1])
    half = np.diff(edges) / 2
    top = float(-form.log_basis(np.array(first), [1.0], first)) - origin
    return Grid(
        centres,
        at_centre / np.linalg.norm(at_centre, axis=0),
        edges,
        Stretches.laid(edges[:-1] + half, OVERLAP * half, beyond),
        origin,
        top,
        whole,
    )
