"""Classes, teams or training groups that were allocated as a whole: their means are compared."""

from collections.abc import Hashable, Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from motorlearn.compare.limits import FEW_CLUSTERS, Limit, design_limits
from motorlearn.compare.participants import Codes, Columns, PhaseScores, Scores
from motorlearn.compare.pooling import pooling_inflation
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.rows import Row, Schema
from motorlearn.tables import Column

CLUSTER = Schema(
    (
        Column("phase"),
        Column("clusters", kind="count"),
        Column("people", kind="count"),
        Column("smallest", kind="count"),
        Column("largest", kind="count"),
        Column("icc", "ICC", "number", decimals=3),
        Column("icc_low", "lower", "number", decimals=3),
        Column("icc_high", "upper", "number", decimals=3),
        Column("design_effect", "design effect", "number"),
        Column("counts_as", "people count as", "number", decimals=0),
        Column("false_positives", "5 % test of people finds", "number", decimals=3),
    )
)
"""What it costs that classes were allocated, one row for each part of the study."""


@dataclass(frozen=True)
class Clusters:
    """People and the classes that they were allocated with.

    Parameters
    ----------
    unit : str
        Column of the class, and what one is called.
    people : PhaseScores
        Scores of people by phase.
    codes : array of int (people,)
        Class of each person, a position in ``names``.
    names : array
        Names of the classes.
    groups : array of int (classes,)
        Group of each class, a position in ``people.groups``.
    """

    unit: str
    people: PhaseScores
    codes: Codes
    names: NDArray[Any]
    groups: Codes

    def means(self, scores: Scores) -> Scores:
        """Means of each class over its people with a score; NaN where there is none."""
        there = ~np.isnan(scores)
        count = np.bincount(self.codes[there], minlength=len(self.names))
        total = np.bincount(self.codes[there], scores[there], minlength=len(self.names))
        return np.where(count > 0, total / np.maximum(count, 1), np.nan)

    def scores(self) -> PhaseScores:
        """Classes in the place of people: their means by phase, and the trials behind them."""
        wide = np.column_stack([self.means(column) for column in self.people.scores.T])
        trials = np.zeros(wide.shape, dtype=np.int64)
        np.add.at(trials, self.codes, self.people.trials)
        return replace(
            self.people, participants=self.names, codes=self.groups, scores=wide, trials=trials
        )

    def frame(self) -> pd.DataFrame:
        """Sizes, correlation within classes and design effect at every phase."""
        return CLUSTER.frame([self._row(phase) for phase in self.people.phases])

    def _row(self, phase: Hashable) -> Row:
        scores = self.people.at(phase)
        there = ~np.isnan(scores)
        sizes = np.bincount(self.codes[there], minlength=len(self.names))
        kept = sizes > 0
        known = {
            "phase": phase,
            "clusters": int(kept.sum()),
            "people": int(there.sum()),
            "smallest": int(sizes[kept].min(initial=there.sum())),
            "largest": int(sizes.max(initial=0)),
        }
        mean = self.means(scores)[self.codes]
        squares = np.bincount(
            self.codes[there], (scores - mean)[there] ** 2, minlength=len(self.names)
        )
        total = np.bincount(self.codes[there], scores[there], minlength=len(self.names))
        found = pooling_inflation(total[kept], squares[kept], sizes[kept], self.groups[kept])
        if np.isnan(found.icc):
            return CLUSTER.row(**known)
        low, high = self._icc_interval(mean, scores, there, sizes)
        return CLUSTER.row(
            **known,
            icc=found.icc,
            icc_low=low,
            icc_high=high,
            design_effect=found.design_effect,
            counts_as=float(there.sum()) / found.design_effect,
            false_positives=found.false_positives,
        )

    def _icc_interval(
        self, mean: Scores, scores: Scores, there: NDArray[np.bool_], sizes: NDArray[np.int64]
    ) -> tuple[float, float]:
        """Limits of the ICC by the F ratio of the analysis of variance, cut at 0.

        Exact for classes of one size (Searle, 1971, from memory); the mean size n0 stands in for
        unequal ones.
        """
        group = self.people.codes[there]
        in_group = np.bincount(group)
        of_group = np.bincount(group, scores[there]) / np.maximum(in_group, 1)
        df1 = int((sizes > 0).sum() - (in_group > 0).sum())
        df2 = int(there.sum() - (sizes > 0).sum())
        within = float(np.sum((scores - mean)[there] ** 2)) / df2
        between = float(np.sum((mean[there] - of_group[group]) ** 2)) / df1
        squares = np.bincount(self.groups, sizes.astype(float) ** 2, minlength=len(in_group))
        n0 = (there.sum() - np.sum(squares / np.maximum(in_group, 1))) / df1
        if not within > 0:
            return np.nan, np.nan
        low, high = icc_limits(between / within, (df1, df2), n0)
        return float(low), float(high)

    def limits(self, frame: pd.DataFrame, of_people: Iterable[Limit]) -> tuple[Limit, ...]:
        """That classes were the unit, where there are too few of them, and the limits of people."""
        groups = [str(name) for name in self.people.groups]
        counts = [int(n) for n in np.bincount(self.groups, minlength=len(groups))]
        row = frame.iloc[-1]
        found = [
            Limit(
                "clusters",
                (self.unit, str(row["phase"])),
                (int(row["clusters"]), int(row["smallest"]), int(row["largest"])),
                of=int(row["people"]),
                values=(float(row["icc"]), float(row["design_effect"]), float(row["counts_as"])),
            )
        ]
        few = [(name, n) for name, n in zip(groups, counts) if n < FEW_CLUSTERS]
        if few:
            names, numbers = zip(*few)
            found.append(Limit("few clusters", (self.unit, *names), numbers, of=FEW_CLUSTERS))
        lost = "losses"
        told = (replace(e, kind=f"{lost}, clusters") if e.kind == lost else e for e in of_people)
        return (*found, *told)


def icc_limits(ratio: Any, df: tuple[int, int], size: Any) -> tuple[Any, Any]:
    """Limits at 95 % of an ICC from the F ratio of classes within groups, cut at 0.

    Examples
    --------
    >>> [round(float(limit), 3) for limit in icc_limits(3.0, (10, 48), 5.0)]
    [0.055, 0.635]
    """
    edges = [ratio / stats.f.isf(share, *df) for share in (0.025, 0.975)]
    low, high = (np.maximum((edge - 1) / (edge + size - 1), 0.0) for edge in edges)
    return low, high


def unit_scores(
    table: pd.DataFrame, columns: Columns, people: PhaseScores, unit: str
) -> tuple[PhaseScores, Clusters | None]:
    """Scores of what was allocated: of people as they are, or class means with their classes."""
    if unit == "participant":
        return people, None
    clusters = clusters_of(table, columns, people, unit)
    return clusters.scores(), clusters


def cost_and_limits(
    clusters: Clusters | None, data: PhaseScores, baseline: Hashable | None
) -> tuple[pd.DataFrame, tuple[Limit, ...]]:
    """What it costs that classes were allocated, if they were, and what the design cannot show."""
    if clusters is None:
        return CLUSTER.frame(), design_limits(data, baseline)
    cost = clusters.frame()
    return cost, clusters.limits(cost, design_limits(clusters.people, baseline))


def clusters_of(table: pd.DataFrame, columns: Columns, people: PhaseScores, unit: str) -> Clusters:
    """Find the class of every person.

    Raises
    ------
    ColumnError
        If the column of the class is absent.
    InputError
        If a person has no class or two of them, or a class is in two groups.
    """
    if unit not in table:
        raise ColumnError(
            "the table lacks the column of what was allocated as a whole",
            [unit],
            "add it to the trials or to the participants, one name for each person",
        )
    member = table[[columns.participant, unit]].drop_duplicates()
    member = member[member[columns.participant].isin(set(people.participants))]
    _each_in_one(member, columns.participant, unit)
    of_person = member.set_index(columns.participant)[unit].reindex(people.participants)
    codes, names = pd.factorize(of_person, sort=True)
    pairs = pd.DataFrame({"unit": codes, "group": people.codes}).drop_duplicates()
    twice = pairs["unit"].duplicated(keep=False)
    if twice.any():
        raise InputError(
            f"a {unit} is in two groups",
            [str(names[code]) for code in dict.fromkeys(pairs.loc[twice, "unit"])],
            "it was allocated as a whole: correct the group of its people, or give the two parts "
            "names of their own",
        )
    groups = pairs.set_index("unit")["group"].sort_index().to_numpy(dtype=np.intp)
    return Clusters(unit, people, codes.astype(np.intp), np.asarray(names, dtype=object), groups)


def _each_in_one(member: pd.DataFrame, participant: str, unit: str) -> None:
    empty = member[unit].isna()
    if empty.any():
        raise InputError(
            f"a participant has no {unit}",
            member.loc[empty, participant],
            f"fill the column {unit!r} in every row",
        )
    twice = member[participant].duplicated(keep=False)
    if twice.any():
        raise InputError(
            f"a participant is in more than one {unit}",
            member.loc[twice, participant].unique(),
            f"keep the {unit} that the person was allocated with",
        )
