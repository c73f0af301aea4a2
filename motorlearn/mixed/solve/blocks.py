"""Many small symmetric matrices at once.

A batch of q × q matrices is one array of shape (q, q, ...): the matrix indices come first, so that
every step of an algorithm is one vector operation over all groups and replicates.
"""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def cholesky(matrices: Array) -> Array:
    """Lower Cholesky factors of a batch of shape (q, q, ...)."""
    size = matrices.shape[0]
    lower = np.zeros(matrices.shape)
    for j in range(size):
        pivot = matrices[j, j] - sum(lower[j, k] ** 2 for k in range(j))
        lower[j, j] = np.sqrt(pivot)
        for i in range(j + 1, size):
            rest = matrices[i, j] - sum(lower[i, k] * lower[j, k] for k in range(j))
            lower[i, j] = rest / lower[j, j]
    return lower


def solve_lower(lower: Array, right: Array) -> Array:
    """Solve L x = b for a batch; ``right`` has shape (q, ...)."""
    out = np.empty(right.shape)
    for i in range(lower.shape[0]):
        out[i] = (right[i] - sum(lower[i, k] * out[k] for k in range(i))) / lower[i, i]
    return out


def solve_upper(lower: Array, right: Array) -> Array:
    """Solve L' x = b for a batch; ``right`` has shape (q, ...)."""
    size = lower.shape[0]
    out = np.empty(right.shape)
    for i in reversed(range(size)):
        rest = right[i] - sum(lower[k, i] * out[k] for k in range(i + 1, size))
        out[i] = rest / lower[i, i]
    return out


def log_determinant(lower: Array) -> Array:
    """Log determinant of L L' for a batch of factors."""
    found: Array = 2 * sum(np.log(lower[i, i]) for i in range(lower.shape[0]))
    return found


def inverse_lower(lower: Array) -> Array:
    """Inverse of a batch of lower triangular factors."""
    out = np.zeros(lower.shape)
    for j in range(lower.shape[0]):
        out[j, j] = 1 / lower[j, j]
        for i in range(j + 1, lower.shape[0]):
            rest = sum(lower[i, k] * out[k, j] for k in range(j, i))
            out[i, j] = -rest / lower[i, i]
    return out


def segment_sums(values: Array, starts: NDArray[np.intp]) -> Array:
    """Sum the last axis over consecutive segments that begin at ``starts``."""
    return np.add.reduceat(values, starts, axis=-1)
