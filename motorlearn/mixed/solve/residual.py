"""Covariance of residuals within a person, R, and its free parameters.

``levels``: no correlation, a variance for each level. ``free``: an unstructured covariance of the
levels. ``equal``: one variance, and a free correlation for each pair of levels. In all three R is
linear in its natural parameters γ (variances and covariances), as Kenward-Roger takes them; the
search runs over unbounded φ, from which γ follows: logarithms of variances, rows of the Cholesky
factor with logarithms on its diagonal, and rows of ones and free entries brought to length one.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ResidualShape:
    """Which covariances of the residuals are free: ``kind`` as above, ``size`` levels."""

    kind: str
    size: int

    @cached_property
    def below(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Rows and columns of the entries below the diagonal."""
        return np.tril_indices(self.size, -1)

    @property
    def n_free(self) -> int:
        """Number of parameters."""
        pairs = 0 if self.kind == "levels" else self.size * (self.size - 1) // 2
        return pairs + (1 if self.kind == "equal" else self.size)

    def matrix(self, phi: Array) -> Array:
        """R of shape (K, T, T) from φ of shape (K, n_free)."""
        count, size = phi.shape[0], self.size
        out = np.zeros((count, size, size), dtype=phi.dtype)
        at = np.arange(size)
        if self.kind == "levels":
            out[:, at, at] = np.exp(phi)
            return out
        rows, columns = self.below
        if self.kind == "free":
            out[:, at, at] = np.exp(phi[:, :size])
            out[:, rows, columns] = phi[:, size:]
            return out @ out.swapaxes(1, 2)
        out[:, at, at] = 1.0
        out[:, rows, columns] = phi[:, 1:]
        out = out / np.sqrt(np.sum(out * out, axis=2))[:, :, None]
        found: Array = np.exp(phi[:, :1, None]) * (out @ out.swapaxes(1, 2))
        return found

    def natural(self, matrix: Array) -> Array:
        """γ of shape (K, n_free) from R."""
        diagonal = np.diagonal(matrix, axis1=1, axis2=2)
        if self.kind == "levels":
            return diagonal
        rows, columns = self.below
        first = diagonal if self.kind == "free" else diagonal[:, :1]
        return np.concatenate([first, matrix[:, rows, columns]], axis=1)

    def slopes(self, phi: Array) -> Array:
        """Derivatives ∂γ/∂φ, (K, γ, φ), by a complex step, exact to rounding."""
        step = 1e-30
        out = np.empty((phi.shape[0], self.n_free, self.n_free))
        for j in range(self.n_free):
            moved = phi.astype(complex)
            moved[:, j] += 1j * step
            out[:, :, j] = self.natural(self.matrix(moved)).imag / step
        return out

    def entries(self) -> list[Array]:
        """∂R/∂γ for each natural parameter, a list of (T, T)."""
        diagonal = (
            [np.eye(self.size)] if self.kind == "equal" else list(map(np.diag, np.eye(self.size)))
        )
        out: list[Array] = list(diagonal)
        if self.kind != "levels":
            for a, b in zip(*self.below, strict=True):
                both = np.zeros((self.size, self.size))
                both[a, b] = both[b, a] = 1.0
                out.append(both)
        return out

    def gradient(self, by_matrix: Array) -> Array:
        """Gradient in γ, (K, n_free), from a symmetric gradient in the entries of R, (K, T, T)."""
        out = np.zeros((len(by_matrix), self.n_free))
        for column, entry in enumerate(self.entries()):
            out[:, column] = np.einsum("kab,ab->k", by_matrix, entry)
        return out

    def start(self, covariance: Array) -> Array:
        """φ of a covariance matrix that is positive definite."""
        spread = np.sqrt(np.diag(covariance))
        if self.kind == "levels":
            return 2 * np.log(spread)
        rows, columns = self.below
        if self.kind == "free":
            lower = np.linalg.cholesky(covariance)
            return np.concatenate([np.log(np.diag(lower)), lower[rows, columns]])
        lower = np.linalg.cholesky(covariance / np.outer(spread, spread))
        lower = lower / np.diag(lower)[:, None]
        return np.concatenate([[np.log(np.mean(spread**2))], lower[rows, columns]])
