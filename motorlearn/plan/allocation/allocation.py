"""Allocation of participants or clusters to groups, with balance, audit log and concealed list."""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

import motorlearn
from motorlearn.exceptions import InputError
from motorlearn.plan.allocation.assignment import minimise, permuted_blocks
from motorlearn.plan.allocation.enrolled import (
    checked_people,
    checked_ratio,
    checked_sizes,
    units_of,
)
from motorlearn.plan.allocation.predictability import Predictability, predictability
from motorlearn.plan.arguments import seed_number, share
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table

METHODS: Final = ("blocks", "minimisation", "simple")
_FEW_CLUSTERS: Final = 10


@dataclass(frozen=True)
class Scheme:
    """The rules of an allocation.

    Parameters
    ----------
    method : str
        ``blocks``, ``minimisation`` or ``simple``.
    ratio : mapping of str to int
        Groups with the ratio of their sizes.
    strata : tuple of str
        Columns inside whose levels the groups are balanced.
    block_sizes : tuple of int
        Sizes a block may have; none where there are no blocks.
    cluster : str or None
        Column of what is allocated as a whole.
    certainty : float
        Probability that minimisation takes the best group.
    """

    method: str
    ratio: Mapping[str, int]
    strata: tuple[str, ...]
    block_sizes: tuple[int, ...]
    cluster: str | None
    certainty: float

    @property
    def shares(self) -> np.ndarray:
        """Ratio of the groups as an array."""
        return np.array(list(self.ratio.values()), dtype=int)

    @property
    def options(self) -> dict[str, Any]:
        """The rules as an audit log keeps them."""
        sizes = self.block_sizes
        return {
            "method": self.method,
            "groups": dict(self.ratio),
            "strata": list(self.strata),
            "block_size": None if not sizes else sizes[0] if len(sizes) == 1 else list(sizes),
            "cluster": self.cluster,
            "certainty": self.certainty if self.method == "minimisation" else None,
        }


@dataclass(frozen=True)
class AllocationList(Result):
    """Who is in which group, and how that came about.

    Parameters
    ----------
    table : DataFrame
        ``sequence, participant, group`` and the strata and cluster used, in order of enrolment.
    balance : DataFrame
        Number of people per group, in all and per level of each stratum:
        ``stratum, level``, one column per group.
    log : mapping
        Audit log: method, seed, options, versions, and SHA-256 sums of what went in and came out.
    warnings : tuple of str
        What must be kept in mind in the analysis.
    recipe : Recipe
        How the list was made.
    withdrawn : tuple of str
        Who withdrew; they keep their row, so that nobody else moves.
    predictability : Predictability or None
        How well somebody who knows the earlier allocations can tell the next one.
    """

    table: pd.DataFrame
    balance: pd.DataFrame
    log: Mapping[str, Any]
    warnings: tuple[str, ...]
    recipe: Recipe
    withdrawn: tuple[str, ...] = ()
    predictability: Predictability | None = None

    def tables(self) -> Sequence[Table]:
        """Balance and list."""
        counted = [name for name in self.balance.columns if name not in ("stratum", "level")]
        balance = Table(
            "balance",
            "Participants per group",
            (Column("stratum"), Column("level"), *(Column(g, kind="count") for g in counted)),
            self.balance,
            (*self.warnings, *self._notes()),
        )
        columns = tuple(
            Column(name, kind="count" if name == "sequence" else "text") for name in self.table
        )
        return (balance, Table("allocation", "Allocation list", columns, self.table))

    def _notes(self) -> list[str]:
        notes = [f"Seed {self.log['seed']}, SHA-256 {self.log['result_sha256']}"]
        if self.withdrawn:
            notes.append(f"Withdrew, counted in the groups: {', '.join(self.withdrawn)}")
        told = self.predictability
        if told is not None and not np.isnan(told.guessed):
            notes.append(
                "Somebody who knows all earlier allocations and the rule guesses "
                f"{100 * told.guessed:.0f} % of the next ones right (chance: "
                f"{100 * told.chance:.0f} %): keep the list from those who enrol."
            )
        return notes

    @property
    def active(self) -> pd.DataFrame:
        """The list without those who withdrew."""
        return self.table[~self.table["participant"].isin(self.withdrawn)].reset_index(drop=True)

    @property
    def concealed(self) -> pd.DataFrame:
        """The list to be kept by somebody who neither enrols nor tests."""
        return self.table.copy()

    @property
    def for_data_entry(self) -> pd.DataFrame:
        """The same people without their groups, for those who enrol, test and enter data."""
        return self.table.drop(columns="group")


def allocate(
    participants: pd.DataFrame | Sequence[str],
    groups: Sequence[str] | Mapping[str, int],
    *,
    strata: Sequence[str] | str | None = None,
    seed: int,
    method: str = "blocks",
    block_size: int | Sequence[int] | None = None,
    cluster: str | None = None,
    certainty: float = 0.8,
) -> AllocationList:
    """Allocate participants, or clusters of them, to groups.

    The list is drawn once and kept. Who comes later is added by
    :func:`motorlearn.plan.continue_allocation`, which moves nobody.

    Parameters
    ----------
    participants : DataFrame or sequence of str
        In order of enrolment: identifiers, or a table with ``participant`` and the columns named
        by `strata` and `cluster`.
    groups : sequence of str or mapping of str to int
        Groups, or groups with the ratio of their sizes.
    strata : str or sequence of str, optional
        Columns inside whose levels the groups are balanced.
    seed : int
        Seed; fix it before the first person is enrolled.
    method : {"blocks", "minimisation", "simple"}
        Permuted blocks in every stratum; minimisation of the sum over strata of the range of group
        counts, the best group being taken with probability `certainty`; or one free draw per
        person.
    block_size : int or sequence of int, optional
        People in a block, by default twice the sum of the ratio; of several sizes one is drawn for
        each block, which makes the next allocation harder to guess.
    cluster : str, optional
        Column of the class or team: all members get the same group.
    certainty : float
        Probability that minimisation takes the best group.

    Returns
    -------
    AllocationList

    Raises
    ------
    InputError
        If a participant is named twice, also in another spelling, a stratum is missing, divides
        people into single persons or varies inside a cluster, the block size does not hold the
        ratio, the certainty is no probability above chance, or there is no seed.

    References
    ----------
    Pocock, S. J., & Simon, R. (1975). Sequential treatment assignment with balancing for prognostic
    factors in the controlled clinical trial. *Biometrics*, 31, 103-115.
    https://doi.org/10.2307/2529712

    Examples
    --------
    >>> import motorlearn as ml
    >>> people = [f"P{i:02d}" for i in range(1, 13)]
    >>> allocation = ml.allocate(people, ["blocked", "random"], seed=1)
    >>> allocation.table["group"].value_counts().tolist()
    [6, 6]
    """
    ratio = checked_ratio(groups)
    factors = [strata] if isinstance(strata, str) else _strata(strata)
    people = checked_people(participants, factors, cluster)
    scheme = checked_scheme(
        method, ratio, factors, block_size=block_size, cluster=cluster, certainty=certainty
    )
    seed = seed_number(seed)
    units = units_of(people, factors, cluster)
    codes = assign(units, scheme, np.random.default_rng(seed))
    return listed(people, groups_of(people, units, codes, scheme), scheme, seed)


def _strata(strata: object) -> list[str]:
    if strata is None:
        return []
    if not isinstance(strata, Iterable):
        raise InputError("strata must be a list of columns", [strata], "put names in brackets")
    return [str(name) for name in strata]


def checked_scheme(
    method: str,
    ratio: Mapping[str, int],
    strata: Sequence[str],
    *,
    block_size: int | Sequence[int] | None,
    cluster: str | None,
    certainty: float,
) -> Scheme:
    """Give the rules of an allocation, checked.

    Raises
    ------
    InputError
        If the method is unknown, a block does not hold the ratio, or the certainty is no
        probability above chance.
    """
    if method not in METHODS:
        raise InputError("there is no such method", [method], f"choose one of {', '.join(METHODS)}")
    sizes = checked_sizes(block_size, ratio) if method == "blocks" else ()
    certainty = share("certainty", certainty, 1 / len(ratio))
    return Scheme(method, dict(ratio), tuple(strata), sizes, cluster, certainty)


def assign(units: pd.DataFrame, scheme: Scheme, rng: np.random.Generator) -> np.ndarray:
    """Draw the group number of each unit of a new list."""
    shares = scheme.shares
    if scheme.method == "simple":
        return rng.choice(len(shares), len(units), p=shares / shares.sum())
    if scheme.method == "minimisation":
        return minimise(coded_factors(units, scheme), shares, scheme.certainty, rng)
    return permuted_blocks(strata_of(units, scheme), shares, scheme.block_sizes, rng)


def coded_factors(units: pd.DataFrame, scheme: Scheme) -> np.ndarray:
    """Levels of each stratum as numbers, shape (units, strata)."""
    levels = [pd.factorize(units[name])[0] for name in scheme.strata]
    return np.column_stack(levels or [np.zeros(len(units), dtype=int)])


def strata_of(units: pd.DataFrame, scheme: Scheme) -> np.ndarray:
    """Number of the combination of strata each unit is in."""
    if not scheme.strata:
        return np.zeros(len(units), dtype=int)
    strata: np.ndarray = units.groupby(list(scheme.strata), sort=False).ngroup().to_numpy()
    return strata


def groups_of(
    people: pd.DataFrame, units: pd.DataFrame, codes: np.ndarray, scheme: Scheme
) -> pd.Series:
    """Name of the group of each person, by the unit that was allocated."""
    column = scheme.cluster or "participant"
    names = np.array(list(scheme.ratio), dtype=object)[codes]
    given = dict(zip(units[column], names, strict=True))
    return people[column].map(given).astype("str")


def listed(
    people: pd.DataFrame,
    groups: pd.Series,
    scheme: Scheme,
    seed: int,
    *,
    before: Mapping[str, Any] | None = None,
    withdrawn: Sequence[str] = (),
) -> AllocationList:
    """Make the list of people and groups, with its balance and audit log."""
    table = people.assign(group=groups)
    table.insert(0, "sequence", np.arange(1, len(table) + 1))
    earlier = {} if before is None else {"continued": _steps(before), "withdrawn": list(withdrawn)}
    log = _audit_log(people, table, seed, scheme) | earlier
    units = units_of(people, scheme.strata, scheme.cluster)
    return AllocationList(
        table=table,
        balance=_balance(table, list(scheme.strata), list(scheme.ratio)),
        log=log,
        warnings=_warnings(units, people, scheme),
        recipe=Recipe("allocate", options=scheme.options, n=len(table), seed=seed),
        withdrawn=tuple(withdrawn),
        predictability=predictability(
            scheme.method, list(scheme.ratio.values()), scheme.block_sizes, scheme.certainty
        ),
    )


def _steps(before: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The states that a list has been through, with their sums, the newest last."""
    kept = ("participants", "result_sha256", "motorlearn", "numpy", "withdrawn")
    return [
        *before.get("continued", []),
        {name: before[name] for name in kept if name in before},
    ]


def _balance(table: pd.DataFrame, factors: list[str], groups: list[str]) -> pd.DataFrame:
    whole = table["group"].value_counts().reindex(groups, fill_value=0)
    rows = [{"stratum": "all", "level": "all", **whole.to_dict()}]
    for name in factors:
        counts = pd.crosstab(table[name], table["group"]).reindex(columns=groups, fill_value=0)
        rows += [
            {"stratum": name, "level": level, **line.to_dict()} for level, line in counts.iterrows()
        ]
    return pd.DataFrame(rows)


def _audit_log(
    people: pd.DataFrame, table: pd.DataFrame, seed: int, scheme: Scheme
) -> dict[str, Any]:
    return {
        "seed": seed,
        **scheme.options,
        "participants": len(table),
        "motorlearn": motorlearn.__version__,
        "numpy": np.__version__,
        "generator": "numpy.random.default_rng (PCG64)",
        "input_sha256": sum_of(people),
        "result_sha256": sum_of(table),
    }


def sum_of(frame: pd.DataFrame) -> str:
    """SHA-256 sum of the headings and cells of a list, all as text."""
    content = json.dumps([list(frame.columns), *frame.astype("str").to_numpy().tolist()])
    return hashlib.sha256(content.encode("utf-8")).hexdigest()


def _warnings(units: pd.DataFrame, people: pd.DataFrame, scheme: Scheme) -> tuple[str, ...]:
    notes = []
    if scheme.method == "blocks" and scheme.strata:
        counts = np.bincount(strata_of(units, scheme))
        if np.mean(counts < sum(scheme.ratio.values())) > 0.5:
            notes.append(
                f"Most of the {len(counts)} combinations of strata hold fewer people than there "
                "are places in the smallest block, so blocks balance little: use fewer strata, or "
                "minimisation."
            )
    cluster = scheme.cluster
    if cluster is None:
        return tuple(notes)
    few = (
        f" With {len(units)} clusters only a comparison of cluster means, or a permutation of "
        "clusters, can be defended."
        if len(units) < _FEW_CLUSTERS
        else ""
    )
    notes.append(
        f"{len(units)} clusters ({cluster}) were allocated, {len(people)} participants will be "
        f"scored: analyse what was allocated (means of {cluster}, or a model with a random effect "
        f"of {cluster}).{few}"
    )
    return tuple(notes)
