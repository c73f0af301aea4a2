"""A kept allocation list: checked against its sums, and continued without moving anybody."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from motorlearn.exceptions import ColumnError, InputError
from motorlearn.plan.allocation.allocation import (
    AllocationList,
    Scheme,
    checked_scheme,
    coded_factors,
    groups_of,
    listed,
    strata_of,
    sum_of,
)
from motorlearn.plan.allocation.assignment import minimise, permuted_blocks, places_left
from motorlearn.plan.allocation.enrolled import checked_people, units_of

_AGAIN = "put the list back as it was drawn; nobody is moved by hand"


def kept_allocation(table: pd.DataFrame, log: Mapping[str, Any]) -> AllocationList:
    """Read an allocation back from its kept list and audit log, and check it against its sums.

    Parameters
    ----------
    table : DataFrame
        ``participant, group``, the strata and the cluster, in the order of enrolment; further
        columns are left aside.
    log : mapping
        Audit log that was kept with the list.

    Returns
    -------
    AllocationList

    Raises
    ------
    InputError
        If the list is not the one that was drawn: its sum, or that of an earlier state, differs.

    Examples
    --------
    >>> import motorlearn as ml
    >>> drawn = ml.allocate(["P01", "P02", "P03", "P04"], ["blocked", "random"], seed=1)
    >>> kept_allocation(drawn.table, drawn.log).table.equals(drawn.table)
    True
    """
    needed = ("seed", "method", "groups", "strata", "result_sha256")
    absent = [name for name in needed if name not in log]
    if absent:
        raise InputError(
            "the groups of this list were not drawn here, so it cannot be continued",
            absent,
            "keep the audit log with the list, or allocate anew before anybody is tested",
        )
    scheme = _scheme(log)
    wanted = ["participant", *scheme.strata, *([scheme.cluster] if scheme.cluster else []), "group"]
    lacking = [name for name in wanted if name not in table.columns]
    if lacking:
        raise ColumnError("the kept allocation list lacks a column", lacking, _AGAIN)
    kept = table[wanted].astype("str").reset_index(drop=True)
    kept.insert(0, "sequence", np.arange(1, len(kept) + 1))
    _check_sums(kept, log)
    people = kept.drop(columns=["sequence", "group"])
    again = listed(
        people, kept["group"], scheme, int(log["seed"]), withdrawn=log.get("withdrawn", ())
    )
    return replace(again, log={**again.log, **log})


def continue_allocation(
    kept: AllocationList,
    newcomers: pd.DataFrame | Sequence[str] = (),
    *,
    withdrawn: Sequence[str] = (),
) -> AllocationList:
    """Add people to a kept allocation, and mark those who withdrew; nobody is moved.

    Rows of the kept list stay as they are. Newcomers get the places that are left in the begun
    block of their stratum, then new blocks; in minimisation, everybody allocated before counts.
    Newcomers of a cluster that was allocated go with it. The draw depends on the seed and on how
    often the list was continued.

    Parameters
    ----------
    kept : AllocationList
        From :func:`motorlearn.allocate`, :func:`kept_allocation` or this function.
    newcomers : DataFrame or sequence of str
        In the order of enrolment, with the strata and the cluster of the list.
    withdrawn : sequence of str
        Identifiers of people who withdrew. They keep their row and their group.

    Returns
    -------
    AllocationList
        ``log["continued"]`` holds the sums of all earlier states.

    Raises
    ------
    InputError
        If the kept list was changed, somebody is on it already, or who withdrew is not on it.

    Examples
    --------
    >>> import motorlearn as ml
    >>> first = ml.allocate(["P01", "P02", "P03"], ["blocked", "random"], seed=1)
    >>> longer = continue_allocation(first, ["P04"])
    >>> longer.table.head(3).equals(first.table), longer.table["group"].value_counts().tolist()
    (True, [2, 2])
    """
    _check_sums(kept.table, kept.log)
    scheme, seed = _scheme(kept.log), int(kept.log["seed"])
    before = kept.table.drop(columns=["sequence", "group"])
    people = _joined(before, newcomers, scheme)
    gone = _withdrawn(kept, withdrawn, people)
    groups = kept.table["group"]
    if len(people) > len(before):
        step = len(kept.log.get("continued", [])) + 1
        rng = np.random.default_rng([seed, step])
        groups = _groups(people, kept.table["group"], scheme, rng)
    return listed(people, groups, scheme, seed, before=kept.log, withdrawn=gone)


def _scheme(log: Mapping[str, Any]) -> Scheme:
    certainty = log.get("certainty")
    return checked_scheme(
        log["method"],
        log["groups"],
        log["strata"],
        block_size=log.get("block_size"),
        cluster=log.get("cluster"),
        certainty=0.8 if certainty is None else certainty,
    )


def _check_sums(table: pd.DataFrame, log: Mapping[str, Any]) -> None:
    """Hold the list, and every earlier state of it, against the sums in the log."""
    for state in (*log.get("continued", []), log):
        part = table.head(state["participants"])
        if len(part) < state["participants"] or sum_of(part) != state["result_sha256"]:
            raise InputError(
                "the kept allocation list is not the one that was drawn: its first "
                f"{state['participants']} rows do not have the sum in its audit log",
                [state["result_sha256"][:16]],
                _AGAIN,
            )
    if len(table) > log["participants"]:
        raise InputError(
            "people stand on the kept allocation list who were not drawn",
            table["participant"].iloc[log["participants"] :],
            "take them off the list and add them as newcomers",
        )


def _joined(
    before: pd.DataFrame, newcomers: pd.DataFrame | Sequence[str], scheme: Scheme
) -> pd.DataFrame:
    if len(newcomers) == 0:
        return before
    new = checked_people(newcomers, scheme.strata, scheme.cluster, count_levels=False)
    known = sorted(set(new["participant"]) & set(before["participant"]))
    if known:
        raise InputError(
            "people are on the allocation list already", known, "give only those who are new"
        )
    both = pd.concat([before, new[list(before.columns)]], ignore_index=True)
    return checked_people(both, scheme.strata, scheme.cluster)


def _withdrawn(
    kept: AllocationList, withdrawn: Sequence[str], people: pd.DataFrame
) -> tuple[str, ...]:
    names = [withdrawn] if isinstance(withdrawn, str) else [str(name) for name in withdrawn]
    unknown = sorted(set(names) - set(people["participant"]))
    if unknown:
        raise InputError("who withdrew is not on the allocation list", unknown, "check the name")
    return tuple(dict.fromkeys([*kept.withdrawn, *names]))


def _groups(
    people: pd.DataFrame, settled: pd.Series, scheme: Scheme, rng: np.random.Generator
) -> pd.Series:
    """Groups of everybody: as kept, and drawn for the units that are new."""
    units = units_of(people, scheme.strata, scheme.cluster)
    column = scheme.cluster or "participant"
    names = {name: number for number, name in enumerate(scheme.ratio)}
    known = dict(zip(people[column], settled, strict=False))
    codes = np.array([names[known[unit]] if unit in known else -1 for unit in units[column]])
    new = codes < 0
    if new.any():
        codes[new] = _draw(units, codes, scheme, rng)
    return groups_of(people, units, codes, scheme)


def _draw(
    units: pd.DataFrame, codes: np.ndarray, scheme: Scheme, rng: np.random.Generator
) -> np.ndarray:
    shares, new = scheme.shares, codes < 0
    if scheme.method == "simple":
        return rng.choice(len(shares), int(new.sum()), p=shares / shares.sum())
    if scheme.method == "minimisation":
        factors = coded_factors(units, scheme)
        return minimise(factors, shares, scheme.certainty, rng, codes[~new])[new]
    strata = strata_of(units, scheme)
    begun = {
        int(level): places_left(
            np.bincount(codes[(strata == level) & ~new], minlength=len(shares)), shares
        )
        for level in np.unique(strata[new])
    }
    return permuted_blocks(strata[new], shares, scheme.block_sizes, rng, begun)
