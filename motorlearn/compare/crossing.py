"""Two factors between people: which group is which cell, and what an effect asks of the cells."""

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.compare.participants import levels_of
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.vocabulary import CROSSED

JOIN = "-"
MAIN, INTERACTION, SIMPLE = "main effect", "interaction", "simple effect"
JOINT = "joint test"
"""Effect of a row that tests several contrasts together and has no estimate."""

Factors = Mapping[str, Mapping[Any, Sequence[Hashable]]]
"""By factor, by level in order: the groups at that level."""


@dataclass(frozen=True)
class CellContrast:
    """One question asked of the cells, with one weight for each group.

    Parameters
    ----------
    kind : {"main effect", "interaction", "simple effect"}
        A main effect is averaged over the levels of the other factor with equal weight.
    term : str
        Factor or factors, joined by ``:``.
    group, reference : hashable
        Levels of the first factor of the term.
    factor : str
        The other factor.
    at, at_reference : hashable
        Level of the other factor, or nothing; of an interaction the difference at ``at`` minus
        that at ``at_reference``.
    weights : tuple of float
        Weight of each group.
    """

    kind: str
    term: str
    group: Hashable
    reference: Hashable
    factor: str
    at: Hashable
    at_reference: Hashable
    weights: tuple[float, ...]


@dataclass(frozen=True)
class Crossing:
    """Groups as the cells of two factors.

    Parameters
    ----------
    names : tuple of str
        The factors.
    levels : tuple of tuple
        Their levels in order, the first is the reference.
    grid : array of int (levels, levels)
        Position in the groups of each cell.
    groups : int
        Number of groups.
    """

    names: tuple[str, str]
    levels: tuple[tuple[Hashable, ...], tuple[Hashable, ...]]
    grid: NDArray[np.intp]
    groups: int

    @property
    def terms(self) -> tuple[str, str, str]:
        """Both factors and their interaction."""
        return (*self.names, ":".join(self.names))

    def codes(self, groups: NDArray[np.intp]) -> dict[str, NDArray[np.intp]]:
        """Level of each participant by factor, from the group's position."""
        found = {}
        for axis, name in enumerate(self.names):
            of_group = np.zeros(self.groups, dtype=np.intp)
            for cell in np.ndindex(self.grid.shape):
                of_group[self.grid[cell]] = cell[axis]
            found[name] = of_group[groups]
        return found

    def hypothesis(self, term: str) -> NDArray[np.float64]:
        """Rows of weights of the groups that a term says are all zero, cells of equal weight."""
        steps = [_steps(len(levels)) for levels in self.levels]
        means = [np.full((1, len(levels)), 1 / len(levels)) for levels in self.levels]
        asked = [term in (name, self.terms[2]) for name in self.names]
        rows = np.kron(*(step if on else mean for step, mean, on in zip(steps, means, asked)))
        return self._placed(rows)

    def level_means(self) -> Iterator[tuple[str, Hashable, NDArray[np.float64]]]:
        """Factor, level and weights of each marginal mean."""
        for axis, name in enumerate(self.names):
            for place, level in enumerate(self.levels[axis]):
                cells = np.zeros(self.grid.shape)
                cells[(place, slice(None)) if axis == 0 else (slice(None), place)] = 1
                yield name, level, self._placed((cells / cells.sum()).reshape(1, -1))[0]

    def contrasts(self) -> list[CellContrast]:
        """Main effects, the interaction and simple effects, every pair of levels."""
        return [
            *self._main(0),
            *self._main(1),
            *self._product(),
            *self._simple(0),
            *self._simple(1),
        ]

    def _main(self, axis: int) -> Iterator[CellContrast]:
        other = 1 - axis
        share = np.full(len(self.levels[other]), 1 / len(self.levels[other]))
        for low, high in combinations(range(len(self.levels[axis])), 2):
            yield self._one(MAIN, axis, (high, low), share, "", "")

    def _simple(self, axis: int) -> Iterator[CellContrast]:
        other = self.levels[1 - axis]
        for place, at in enumerate(other):
            for low, high in combinations(range(len(self.levels[axis])), 2):
                yield self._one(SIMPLE, axis, (high, low), np.eye(len(other))[place], at, "")

    def _product(self) -> Iterator[CellContrast]:
        second = self.levels[1]
        for low, high in combinations(range(len(self.levels[0])), 2):
            for first, last in combinations(range(len(second)), 2):
                share = np.eye(len(second))[last] - np.eye(len(second))[first]
                yield self._one(INTERACTION, 0, (high, low), share, second[last], second[first])

    def _one(
        self,
        kind: str,
        axis: int,
        pair: tuple[int, int],
        share: NDArray[np.float64],
        at: Hashable,
        at_reference: Hashable,
    ) -> CellContrast:
        size = len(self.levels[axis])
        step = np.eye(size)[pair[0]] - np.eye(size)[pair[1]]
        cells = np.outer(step, share) if axis == 0 else np.outer(share, step)
        return CellContrast(
            kind,
            self.terms[2] if kind == INTERACTION else self.names[axis],
            self.levels[axis][pair[0]],
            self.levels[axis][pair[1]],
            self.names[1 - axis],
            at,
            at_reference,
            tuple(self._placed(cells.reshape(1, -1))[0].tolist()),
        )

    def _placed(self, cells: NDArray[np.float64]) -> NDArray[np.float64]:
        """Weights of cells as weights of groups, shape (rows, groups)."""
        found = np.zeros((len(cells), self.groups))
        found[:, self.grid.ravel()] = cells
        return found


def _steps(levels: int) -> NDArray[np.float64]:
    return np.hstack([-np.ones((levels - 1, 1)), np.eye(levels - 1)])


def crossing_of(factors: Factors, groups: Sequence[Hashable]) -> Crossing:
    """Place the groups in the cells of two factors.

    Raises
    ------
    InputError
        If there are not two factors of two levels or more, or a cell has no group or two.
    """
    if len(factors) != 2:
        raise InputError(
            "a comparison crosses two factors", list(factors), "name two, or one column of groups"
        )
    single = [name for name, levels in factors.items() if len(levels) < 2]
    if single:
        raise InputError(
            "a factor has one level only, so nothing is compared over it",
            [f"{name}: {', '.join(map(str, factors[name]))}" for name in single],
            "leave that factor out and name the other one as the group",
        )
    levels = [tuple(by_level) for by_level in factors.values()]
    one, other = factors.values()
    shape = (len(levels[0]), len(levels[1]))
    grid = np.zeros(shape, dtype=np.intp)
    for i, j in np.ndindex(shape):
        both = set(one[levels[0][i]]) & set(other[levels[1][j]])
        here = [group for group in groups if group in both]
        if len(here) != 1:
            what = "nobody" if not here else f"more than one group ({', '.join(map(str, here))})"
            raise InputError(
                f"a cell of the factors {' and '.join(factors)} holds {what}",
                [f"{levels[0][i]}, {levels[1][j]}"],
                "main effects and interaction need people in every cell; compare the groups there "
                "are, with one column of groups",
            )
        grid[i, j] = list(groups).index(here[0])
    if grid.size != len(groups):
        placed = set(grid.ravel().tolist())
        raise InputError(
            "a group is in no cell of the factors",
            [group for i, group in enumerate(groups) if i not in placed],
            "give its level of each factor",
        )
    first, second = factors
    return Crossing((first, second), (levels[0], levels[1]), grid, len(groups))


@dataclass(frozen=True)
class Placed:
    """A table with one column of groups, what that column is, and how its groups are crossed."""

    table: pd.DataFrame
    group: str | None
    groups: Sequence[Hashable] | None
    factors: Factors | None


def placed_groups(
    table: pd.DataFrame,
    group: str | Sequence[str] | None,
    groups: Sequence[Hashable] | None,
    factors: Factors | None,
) -> Placed:
    """One column of groups; of two columns of factors, a new one of their cells.

    Raises
    ------
    ColumnError, InputError
        If a column is absent, named twice or empty somewhere.
    """
    if group is None or isinstance(group, str) or not isinstance(table, pd.DataFrame):
        return Placed(table, group if isinstance(group, str) else None, groups, factors)
    names = list(group)
    _check_columns(table, names)
    levels = [levels_of(table[name]) for name in names]
    label = CROSSED.join(names)
    cells = table[names[0]].astype(str) + JOIN + table[names[1]].astype(str)
    order = [JOIN.join(map(str, cell)) for cell in product(*levels)]
    crossed = {
        name: {
            level: [JOIN.join(map(str, c)) for c in product(*levels) if c[axis] == level]
            for level in levels[axis]
        }
        for axis, name in enumerate(names)
    }
    there = [cell for cell in order if (cells == cell).any()]
    return Placed(table.assign(**{label: cells}), label, groups or there, crossed)


def _check_columns(table: pd.DataFrame, names: Sequence[str]) -> None:
    if len(names) != 2 or len(set(names)) != 2:
        raise InputError(
            "groups are one column, or two different columns of factors",
            list(names),
            "name each factor once, for example group=['order', 'feedback']",
        )
    absent = [name for name in names if name not in table]
    if absent:
        raise ColumnError(
            "the table lacks a column that is needed",
            absent,
            f"its columns are {', '.join(map(str, table.columns))}",
        )
    for name in names:
        if table[name].isna().any():
            raise InputError(
                f"column {name!r} is empty in {int(table[name].isna().sum())} rows",
                table.index[table[name].isna()][:10],
                "give everybody a level, or leave these rows out yourself",
            )


def labels_of(effect: Mapping[Any, Any]) -> tuple[str, str]:
    """What is compared with what in a row of effects, each side in words.

    Examples
    --------
    >>> labels_of({"kind": "simple effect", "group": "random", "reference": "blocked",
    ...            "at": "faded", "at_reference": ""})
    ('random with faded', 'blocked with faded')
    """
    group, reference, at = str(effect["group"]), str(effect["reference"]), effect["at"]
    if effect["kind"] == SIMPLE:
        return f"{group} with {at}", f"{reference} with {at}"
    if effect["kind"] == INTERACTION:
        step = f"({group} − {reference})"
        return f"{step} with {at}", f"{step} with {effect['at_reference']}"
    return group, reference
