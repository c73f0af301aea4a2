"""What quick searches tell of the best curves: parameters, and variances from inner products."""

from dataclasses import dataclass

import numpy as np

CLEAR = 1e-5
"""Determinant of columns of length 1 from which their products have digits enough."""


@dataclass(frozen=True)
class Plain:
    """Natural parameters; variances are multiples of the residual variance.

    ``sure`` says whose products have digits enough and whose parameters lie inside their bounds.
    """

    asymptote: np.ndarray
    gain: np.ndarray
    rates: tuple[np.ndarray, ...]
    var_asymptote: np.ndarray
    var_gain: np.ndarray
    var_rates: tuple[np.ndarray, ...]
    progress: np.ndarray
    change: np.ndarray
    sure: np.ndarray


def inner(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Inner products of rows."""
    found: np.ndarray = np.einsum("ij,ij->i", a, b)
    return found


def inverse_of_three(
    gram: tuple[np.ndarray, ...],
) -> tuple[list[list[np.ndarray]], np.ndarray]:
    """Inverses of symmetric matrices (upper triangle row by row), and which of them are clear."""
    a, b, c, d, e, f = gram
    aa, ab, ac = d * f - e * e, c * e - b * f, b * e - c * d
    bb, bc, cc = a * f - c * c, b * c - a * e, a * d - b * b
    volume = a * aa + b * ab + c * ac
    with np.errstate(all="ignore"):
        clear = volume > CLEAR * a * d * f
        aa, ab, ac, bb, bc, cc = (part / volume for part in (aa, ab, ac, bb, bc, cc))
    return [[aa, ab, ac], [ab, bb, bc], [ac, bc, cc]], clear


def quadratic(matrix: list[list[np.ndarray]], v: tuple[np.ndarray, ...]) -> np.ndarray:
    """Quadratic forms of three numbers."""
    found: np.ndarray = sum(matrix[i][j] * v[i] * v[j] for i in range(3) for j in range(3))
    return found
