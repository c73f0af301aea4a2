"""Covariance of the random effects of one grouping factor, Ψ = Λ Λ', and its free parameters.

θ holds the free entries of the lower triangular factor Λ. Correlated terms share a block; terms of
different blocks are independent. A column of Λ may change sign without changing Ψ, so θ is free
and the edge of the parameter space, a variance of zero, is an ordinary smooth point θ = 0.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SPARE_PEOPLE = 4


def carries_free_covariance(people: int, groups: int, tests: int) -> bool:
    """Whether people are enough for scores that covary freely between tests.

    A free covariance of T tests has T(T + 1) / 2 entries; with fewer people than that and four
    more, less the groups, its Kenward-Roger tests were seen to fail or to exceed their rate.

    Examples
    --------
    >>> carries_free_covariance(12, 2, 3), carries_free_covariance(11, 2, 3)
    (True, False)
    """
    return people - groups >= tests * (tests + 1) / 2 + SPARE_PEOPLE


@dataclass(frozen=True)
class Structure:
    """Which entries of Λ are free.

    Parameters
    ----------
    blocks : tuple of tuple of int
        Positions of the random terms that are correlated with one another.
    """

    blocks: tuple[tuple[int, ...], ...]

    @property
    def size(self) -> int:
        """Number of random terms per level, q."""
        return sum(len(block) for block in self.blocks)

    @cached_property
    def entries(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Rows and columns of the free entries of Λ."""
        pairs = [
            (block[i], block[j])
            for block in self.blocks
            for j in range(len(block))
            for i in range(j, len(block))
        ]
        rows, columns = np.array(pairs, dtype=np.intp).reshape(-1, 2).T
        return rows, columns

    @property
    def n_free(self) -> int:
        """Number of free entries."""
        return len(self.entries[0])

    @property
    def start(self) -> Array:
        """θ of the identity."""
        rows, columns = self.entries
        found: Array = (rows == columns).astype(float)
        return found

    def factor(self, theta: Array) -> Array:
        """Λ of shape (q, q, R) from θ of shape (R, t)."""
        lam = np.zeros((self.size, self.size, theta.shape[0]))
        rows, columns = self.entries
        lam[rows, columns] = theta.T
        return lam

    def theta_gradient(self, slope: Array, lam: Array) -> Array:
        """Gradient in θ, shape (R, t), from a symmetric gradient in Ψ of shape (q, q, R)."""
        rows, columns = self.entries
        found: Array = 2 * np.einsum("abr,bcr->acr", slope, lam)[rows, columns].T
        return found

    def theta_of(self, covariance: Array) -> Array:
        """θ of a covariance matrix (q, q); a tiny ridge keeps singular ones in reach."""
        theta = np.zeros((self.size, self.size))
        for block in self.blocks:
            part = covariance[np.ix_(block, block)]
            values, vectors = np.linalg.eigh(part)
            root = vectors * np.sqrt(np.clip(values, 0, None))
            triangle = np.linalg.qr(root.T)[1].T
            theta[np.ix_(block, block)] = triangle * np.where(np.diag(triangle) < 0, -1.0, 1.0)
        return theta[self.entries]


def correlated(size: int) -> Structure:
    """Structure of one fully correlated block."""
    return Structure((tuple(range(size)),))
