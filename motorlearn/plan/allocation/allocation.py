"""Allocation of participants or clusters to groups, with balance, audit log and concealed list."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

import motorlearn
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.plan.allocation.assignment import minimise, permuted_blocks
from motorlearn.results import Recipe, Result
from motorlearn.tables import Column, Table

METHODS: Final = ("blocks", "minimisation", "simple")
_FEW_CLUSTERS: Final = 10


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
    """

    table: pd.DataFrame
    balance: pd.DataFrame
    log: Mapping[str, Any]
    warnings: tuple[str, ...]
    recipe: Recipe

    def tables(self) -> Sequence[Table]:
        """Balance and list."""
        counted = [name for name in self.balance.columns if name not in ("stratum", "level")]
        balance = Table(
            "balance",
            "Participants per group",
            (Column("stratum"), Column("level"), *(Column(g, kind="count") for g in counted)),
            self.balance,
            (*self.warnings, f"Seed {self.log['seed']}, SHA-256 {self.log['result_sha256']}"),
        )
        columns = tuple(
            Column(name, kind="count" if name == "sequence" else "text") for name in self.table
        )
        return (balance, Table("allocation", "Allocation list", columns, self.table))

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
    block_size: int | None = None,
    cluster: str | None = None,
    certainty: float = 0.8,
) -> AllocationList:
    """Allocate participants, or clusters of them, to groups.

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
    block_size : int, optional
        People in a block, by default twice the sum of the ratio.
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
        If a participant is named twice, a stratum is missing or varies inside a cluster, the block
        size does not hold the ratio.

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
    ratio = dict(groups) if isinstance(groups, Mapping) else dict.fromkeys(groups, 1)
    factors = [strata] if isinstance(strata, str) else list(strata or ())
    people = _checked(participants, factors, cluster)
    if method not in METHODS:
        raise InputError("there is no such method", [method], f"choose one of {', '.join(METHODS)}")
    _check_groups(groups, ratio)
    units = _units(people, factors, cluster)
    size = block_size or 2 * sum(ratio.values())
    codes = _assign(units[factors], ratio, method, size, certainty, np.random.default_rng(seed))
    column = cluster or "participant"
    given = dict(zip(units[column], np.array(list(ratio), dtype=object)[codes], strict=True))
    table = people.assign(group=people[column].map(given).astype("str"))
    table.insert(0, "sequence", np.arange(1, len(table) + 1))
    options = {
        "method": method,
        "groups": ratio,
        "strata": factors,
        "block_size": size if method == "blocks" else None,
        "cluster": cluster,
        "certainty": certainty if method == "minimisation" else None,
    }
    return AllocationList(
        table=table,
        balance=_balance(table, factors, list(ratio)),
        log=_audit_log(people, table, seed, options),
        warnings=_warnings(units, people, cluster),
        recipe=Recipe("allocate", options=options, n=len(table), seed=seed),
    )


def _checked(participants, factors: list[str], cluster: str | None) -> pd.DataFrame:
    wanted = ["participant", *factors, *([cluster] if cluster else [])]
    if isinstance(participants, pd.DataFrame):
        frame = participants
    else:
        frame = pd.DataFrame({"participant": list(participants)})
    absent = [name for name in wanted if name not in frame.columns]
    if absent:
        raise ColumnError("the list of participants lacks a column", absent, "add it")
    people = frame[wanted].reset_index(drop=True)
    if people.empty:
        raise InputError("there is nobody to allocate")
    twice = people["participant"][people["participant"].duplicated()].tolist()
    if twice:
        raise InputError("a participant is listed twice", twice, "keep one row per person")
    unknown = people.loc[people.isna().any(axis=1), "participant"].tolist()
    if unknown:
        raise InputError(
            "a stratum, cluster or identifier is missing", unknown, "complete it before allocating"
        )
    return people.astype("str")


def _check_groups(groups, ratio: Mapping[str, int]) -> None:
    if len(ratio) < 2 or len(ratio) < len(groups):
        raise InputError("allocation needs two groups or more, each named once", list(groups))
    if any(int(share) != share or share < 1 for share in ratio.values()):
        raise InputError("the ratio of group sizes is in whole numbers", list(ratio.values()))


def _units(people: pd.DataFrame, factors: list[str], cluster: str | None) -> pd.DataFrame:
    if cluster is None:
        return people
    mixed = (
        [
            str(name)
            for name, members in people.groupby(cluster)[factors]
            if (members.nunique() > 1).any()
        ]
        if factors
        else []
    )
    if mixed:
        raise InputError(
            "a stratum differs inside a cluster", mixed, "use strata that describe whole clusters"
        )
    return people.drop_duplicates(cluster).reset_index(drop=True)


def _assign(factors: pd.DataFrame, ratio, method: str, size: int, certainty: float, rng):
    shares = np.array(list(ratio.values()), dtype=int)
    if method == "simple":
        return rng.choice(len(shares), len(factors), p=shares / shares.sum())
    levels = [pd.factorize(factors[name])[0] for name in factors.columns]
    if method == "minimisation":
        coded = np.column_stack(levels or [np.zeros(len(factors), dtype=int)])
        return minimise(coded, shares, certainty, rng)
    if size % shares.sum():
        raise InputError(
            "the block size does not hold the ratio of the groups",
            [size],
            f"take a multiple of {shares.sum()}",
        )
    both = factors.groupby(list(factors.columns), sort=False).ngroup() if levels else None
    strata = np.zeros(len(factors), dtype=int) if both is None else both.to_numpy()
    return permuted_blocks(strata, shares, size, rng)


def _balance(table: pd.DataFrame, factors: list[str], groups: list[str]) -> pd.DataFrame:
    whole = table["group"].value_counts().reindex(groups, fill_value=0)
    rows = [{"stratum": "all", "level": "all", **whole.to_dict()}]
    for name in factors:
        counts = pd.crosstab(table[name], table["group"]).reindex(columns=groups, fill_value=0)
        rows += [
            {"stratum": name, "level": level, **line.to_dict()} for level, line in counts.iterrows()
        ]
    return pd.DataFrame(rows)


def _audit_log(people: pd.DataFrame, table: pd.DataFrame, seed: int, options) -> dict[str, Any]:
    return {
        "seed": seed,
        **options,
        "participants": len(table),
        "motorlearn": motorlearn.__version__,
        "numpy": np.__version__,
        "generator": "numpy.random.default_rng (PCG64)",
        "input_sha256": _sum_of(people),
        "result_sha256": _sum_of(table),
    }


def _sum_of(frame: pd.DataFrame) -> str:
    content = json.dumps([list(frame.columns), *frame.astype("str").to_numpy().tolist()])
    return hashlib.sha256(content.encode("utf-8")).hexdigest()


def _warnings(units: pd.DataFrame, people: pd.DataFrame, cluster: str | None) -> tuple[str, ...]:
    if cluster is None:
        return ()
    few = (
        f" With {len(units)} clusters only a comparison of cluster means, or a permutation of "
        "clusters, can be defended."
        if len(units) < _FEW_CLUSTERS
        else ""
    )
    return (
        f"{len(units)} clusters ({cluster}) were allocated, {len(people)} participants will be "
        f"scored: analyse what was allocated (means of {cluster}, or a model with a random effect "
        f"of {cluster}).{few}",
    )
