"""How the parameters of a population curve lie in one vector: group cells, spread, residual."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

HEIGHT, AMOUNT, RATE = range(3)
"""Rows of a learner's parameters: asymptote, gain or start, log rate."""


@dataclass(frozen=True)
class Layout:
    """Which parameters there are.

    ``differ`` says for asymptote, amount and log rate whether each group has its own;
    ``vary`` which of them differ between learners. The log rate comes first among those that
    vary, so that the others are Gaussian once it is given. ``extra`` counts what all learners have
    in common beside that (noise, sessions, a second rate); it stands at the end of the vector.
    ``diagonal`` keeps covariances between learners at 0.
    """

    groups: int
    differ: tuple[bool, ...]
    vary: tuple[int, ...]
    residual: bool
    extra: int = 0
    diagonal: bool = False

    @cached_property
    def order(self) -> tuple[int, ...]:
        """Varying parameters, log rate first."""
        return tuple(sorted(self.vary, key=lambda row: (row != RATE, row)))

    @cached_property
    def rows(self) -> tuple[int, ...]:
        """Parameter (asymptote, amount, log rate) of each fixed effect."""
        return tuple(
            row for row, own in enumerate(self.differ) for _ in range(self.groups if own else 1)
        )

    @cached_property
    def fixed(self) -> int:
        """Number of fixed effects."""
        return sum(self.groups if own else 1 for own in self.differ)

    def differences(self, rows: tuple[int, ...]) -> np.ndarray:
        """Places of the differences between groups in some parameters."""
        later = [k > 0 and self.rows[k - 1] == row for k, row in enumerate(self.rows)]
        wanted = [k for k, row in enumerate(self.rows) if later[k] and row in rows]
        return np.array(wanted, int)

    @cached_property
    def triangle(self) -> tuple[np.ndarray, np.ndarray]:
        """Places of the free entries of the Cholesky factor."""
        if self.diagonal:
            diagonal = np.arange(len(self.vary))
            return diagonal, diagonal
        return np.tril_indices(len(self.vary))

    @property
    def size(self) -> int:
        """Length of the parameter vector."""
        return self.fixed + len(self.triangle[0]) + self.residual + self.extra

    def log_sigma(self, point: np.ndarray) -> float:
        """Logarithm of the residual SD."""
        return float(point[self.size - self.extra - 1])

    def common(self, point: np.ndarray) -> np.ndarray:
        """What all learners have in common beside cells, spread and residual."""
        return point[self.size - self.extra :]

    def cells(self, point: np.ndarray) -> np.ndarray:
        """Parameters of each group, shape (groups, 3); later groups are stored as differences."""
        found: np.ndarray = self.choice @ point[: self.fixed]
        return found

    def root(self, point: np.ndarray) -> np.ndarray:
        """Cholesky root in full: rows asymptote, amount, log rate; one column per random effect."""
        small = np.zeros((len(self.vary),) * 2)
        small[self.triangle] = point[self.fixed : self.fixed + len(self.triangle[0])]
        full = np.zeros((3, len(self.vary)))
        full[list(self.order)] = small
        return full

    def scores(
        self,
        each: np.ndarray,
        group: np.ndarray,
        root: np.ndarray,
        log_sigma: np.ndarray,
        common: np.ndarray | None = None,
    ) -> np.ndarray:
        """Gradient of each learner, from those by own parameters, root and log residual SD.

        ``each`` has shape (learners, 3), ``root`` (learners, 3, effects), ``log_sigma``
        (learners,), ``common`` (learners, extra); the result has one row per learner.
        """
        columns = []
        for row, own in enumerate(self.differ):
            columns.append(each[:, row])
            if own:
                columns += [each[:, row] * (group == k) for k in range(1, self.groups)]
        inner = root[:, list(self.order)][:, self.triangle[0], self.triangle[1]]
        columns += list(inner.T)
        columns += [log_sigma] if self.residual else []
        columns += list(common.T) if common is not None else []
        return np.stack(columns, axis=1)

    def levers(self, root: np.ndarray) -> np.ndarray:
        """How the vector moves what a learner of each group has, shape (groups, 10, size).

        The ten are asymptote, amount, log rate; the covariance of asymptote and amount with the log
        rate given (11, 12, 22); log residual SD; and asymptote, amount and log rate once more, by
        what they move with the standardised log rate.
        """
        found = self._still.copy()
        place, row, column = self._spread
        own, other = root[row, column], root[1 - row, column]
        found[:, 3 + 2 * row, place] = 2 * own
        found[:, 4, place] = other
        return found

    @cached_property
    def _still(self) -> np.ndarray:
        """The levers that do not change with the point."""
        found = np.zeros((self.groups, 10, self.size))
        found[:, : len(self.differ), : self.fixed] = self.choice
        for place, (row, column) in enumerate(self._entries, self.fixed):
            found[:, 7 + row, place] = float(column < self._first)
        if self.residual:
            found[:, 6, self.size - self.extra - 1] = 1.0
        return found

    @cached_property
    def choice(self) -> np.ndarray:
        """Which fixed effects make up each parameter of each group, shape (groups, 3, fixed)."""
        found, at = np.zeros((self.groups, len(self.differ), self.fixed)), 0
        for row, own in enumerate(self.differ):
            found[:, row, at] = 1.0
            if own:
                found[range(1, self.groups), row, range(at + 1, at + self.groups)] = 1.0
            at += self.groups if own else 1
        return found

    def bent(self, spread: np.ndarray) -> np.ndarray:
        """Second derivatives that come from the covariance being a square of its root.

        ``spread`` are derivatives by the covariance of asymptote and amount (11, 12, 22).
        """
        found = np.zeros((self.size, self.size))
        both = np.array([2 * spread[0], spread[1], 2 * spread[2]])
        one, other, pair = self._squared
        found[one, other] = both[pair]
        return found

    @cached_property
    def _squared(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Places of pairs of entries in one column of the root, and which covariance they bend."""
        place, row, column = self._spread
        one, other = np.nonzero(np.equal.outer(column, column))
        return place[one], place[other], row[one] + row[other]

    @cached_property
    def _entries(self) -> tuple[tuple[int, int], ...]:
        """Row (asymptote, amount, log rate) and column of the free entries of the root."""
        return tuple((self.order[a], int(b)) for a, b in zip(*self.triangle))

    @property
    def _first(self) -> int:
        """Columns of the root that belong to the log rate."""
        return int(RATE in self.vary)

    @cached_property
    def _spread(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Places in the vector, rows and columns of the entries beside those of the log rate."""
        places = enumerate(self._entries, self.fixed)
        kept = [(at, row, column) for at, (row, column) in places if column >= self._first]
        place, row, column = np.array(kept, int).reshape(-1, 3).T
        return place, row, column

    def point(
        self,
        cells: np.ndarray,
        spread: np.ndarray,
        log_sigma: float,
        common: np.ndarray | None = None,
    ) -> np.ndarray:
        """Vector from group cells and independent standard deviations of the three parameters."""
        parts = []
        for row, own in enumerate(self.differ):
            column = cells[:, row]
            parts.append([column[0], *(column[1:] - column[0])] if own else [column.mean()])
        small = np.diag(spread[list(self.order)])
        parts.append(small[self.triangle])
        rest = np.zeros(self.extra) if common is None else common
        return np.concatenate([*parts, [log_sigma] if self.residual else [], rest])

    def embed(self, other: "Layout", point: np.ndarray) -> np.ndarray:
        """A vector of a layout with fewer group differences, as a start in this one and back."""
        cells, mine = other.cells(point), []
        for row, own in enumerate(self.differ):
            column = cells[:, row]
            mine.append([column[0], *(column[1:] - column[0])] if own else [column.mean()])
        return np.concatenate([*mine, point[other.fixed :]])
