"""Grouping factors as the engine sees them, and the matrices their designs lead to."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import lapack

from motorlearn.exceptions import FitError
from motorlearn.mixed.solve.covariance import Structure

Array = NDArray[np.float64]

_MOST_PAIRS = 3e7
_WHOLE = 200
"""Rows up to which a matrix is inverted in one go."""


@dataclass
class Factor:
    """A grouping factor for the engine: level of each cell, random terms (N, q), blocks."""

    index: NDArray[np.intp]
    z: Array
    structure: Structure
    n_levels: int

    @property
    def n_effects(self) -> int:
        """Number of random effects."""
        return self.n_levels * self.structure.size

    def matrix(self) -> sparse.csr_array:
        """Random-effects design Z (N, levels · q) as a sparse matrix."""
        n, q = self.z.shape
        columns = (self.index[:, None] * q + np.arange(q)).ravel()
        pointers = np.arange(n + 1) * q
        return sparse.csr_array((self.z.ravel(), columns, pointers), shape=(n, self.n_effects))

    def spread_factor(self, lam: Array) -> sparse.csr_array:
        """Λ repeated for every level, as a block-diagonal sparse matrix."""
        return sparse.kron(sparse.eye_array(self.n_levels), lam, format="csr")


def diagonal_blocks(matrix: Array, size: int) -> Array:
    """Blocks (G, q, q) on the diagonal of a dense matrix."""
    count = matrix.shape[0] // size
    view = matrix.reshape(count, size, count, size)
    return view[np.arange(count), :, np.arange(count), :]


def block_diagonal(blocks: Array) -> sparse.csr_array:
    """Sparse block-diagonal matrix from blocks (G, q, q)."""
    count, size, _ = blocks.shape
    rows = np.arange(count * size).reshape(count, size, 1).repeat(size, axis=2)
    columns = np.arange(count * size).reshape(count, 1, size).repeat(size, axis=1)
    entries = (blocks.ravel(), (rows.ravel(), columns.ravel()))
    return sparse.csr_array(entries, shape=(count * size, count * size))


def invert_positive(matrix: Array) -> tuple[Array, float]:
    """Inverse and log determinant of a dense positive definite matrix.

    A large one is inverted by halves, which leaves most of the work to products of matrices.
    """
    if len(matrix) <= _WHOLE:
        return _invert_whole(matrix)
    half = len(matrix) // 2
    first, log_first = invert_positive(matrix[:half, :half])
    turned = matrix[half:, :half] @ first
    last, log_last = invert_positive(matrix[half:, half:] - turned @ matrix[:half, half:])
    out = np.empty_like(matrix)
    corner = last @ turned
    out[half:, half:] = last
    np.negative(corner, out=out[half:, :half])
    out[:half, half:] = out[half:, :half].T
    np.add(first, turned.T @ corner, out=out[:half, :half])
    return out, log_first + log_last


def _invert_whole(matrix: Array) -> tuple[Array, float]:
    lower, fault = lapack.dpotrf(matrix.T, lower=1, clean=1)
    if fault:
        raise FitError(
            "the system of the random effects is not positive definite; simplify the random part."
        )
    log_determinant = 2 * float(np.sum(np.log(np.diag(lower))))
    inverse, _ = lapack.dpotri(lower, lower=1, overwrite_c=1)
    inverse = inverse.T + inverse
    inverse[np.diag_indices_from(inverse)] /= 2
    return inverse, log_determinant


class Gram:
    """Products A'DA of one sparse matrix A with changing diagonal matrices D.

    The pattern of the result is fixed, so each of its entries is one fixed sum over the rows that
    A's two columns share; building that sum once turns each product into a matrix times a vector.
    """

    def __init__(self, matrix: sparse.csr_array) -> None:
        self.matrix, self.size = matrix, matrix.shape[1]
        lengths = np.diff(matrix.indptr)
        self.planned = int(np.sum(lengths.astype(float) * (lengths + 1) / 2)) < _MOST_PAIRS
        if not self.planned:
            return
        first, second = _pairs(matrix.indptr, lengths)
        low = np.maximum(matrix.indices[first], matrix.indices[second])
        high = np.minimum(matrix.indices[first], matrix.indices[second])
        at = low.astype(np.int64) * self.size + high
        present = np.zeros(self.size**2, dtype=bool)
        present[at] = True
        self.cells = np.flatnonzero(present)
        place = np.zeros(self.size**2, dtype=np.intp)
        place[self.cells] = np.arange(len(self.cells))
        values = matrix.data[first] * matrix.data[second]
        # The pairs of a row of A lie side by side: they are a column of this matrix.
        pointers = np.concatenate([[0], np.cumsum(lengths * (lengths + 1) // 2)])
        shape = (len(self.cells), matrix.shape[0])
        self.sums = sparse.csc_array((values, place[at], pointers), shape=shape)

    def __call__(self, diagonals: Array) -> list[Array]:
        """Dense products for diagonals given as columns (rows of A, k)."""
        if not self.planned:
            return [(self.matrix.T @ (self.matrix * d[:, None])).toarray() for d in diagonals.T]
        out = []
        for entries in (self.sums @ diagonals).T:
            dense = np.zeros(self.size**2)
            dense[self.cells] = entries
            dense = dense.reshape(self.size, self.size)
            corner = np.diag(dense).copy()
            dense = dense + dense.T
            dense[np.diag_indices_from(dense)] = corner
            out.append(dense)
        return out

    def trace(self, diagonal: Array, inner: Array) -> float:
        """tr(A'DA R) for a symmetric matrix R."""
        if not self.planned:
            return float(np.vdot(self(diagonal[:, None])[0], inner))
        return float(diagonal @ self.diagonal(inner))

    def diagonal(self, inner: Array) -> Array:
        """Diagonal of A R A' for a symmetric matrix R."""
        if not self.planned:
            return np.asarray(self.matrix.multiply(self.matrix @ inner).sum(axis=1)).ravel()
        twice = np.where(self.cells % (self.size + 1) == 0, 1.0, 2.0)
        return np.asarray(self.sums.T @ (twice * inner.ravel()[self.cells]))


def _pairs(
    starts: NDArray[np.intp], lengths: NDArray[np.intp]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First and second position of every pair of entries within a row of a sparse matrix."""
    first_of_row = np.repeat(starts[:-1], lengths)
    repeats = np.arange(starts[-1]) - first_of_row + 1
    second = np.repeat(np.arange(starts[-1]), repeats)
    before = np.cumsum(repeats) - repeats
    first = np.arange(int(repeats.sum())) - np.repeat(before - first_of_row, repeats)
    return first, second


def diagonal_of(matrix: sparse.csr_array, size: int) -> Array:
    """Blocks (G, q, q) of a block-diagonal matrix made by :func:`block_diagonal`."""
    out = np.empty((matrix.shape[0] // size, size, size))
    for a in range(size):
        for b in range(size):
            out[:, a, b] = matrix[a::size][:, b::size].diagonal()
    return out
