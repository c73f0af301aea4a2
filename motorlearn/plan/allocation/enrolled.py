"""The list of people to allocate: identifiers, strata and clusters, checked by name."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import pandas as pd

from motorlearn.exceptions import ColumnError, InputError
from motorlearn.plan.arguments import distinct_names, whole_number
from motorlearn.trials.reading.identifiers import plain_identifier

_TAKEN: Final = ("participant", "group", "sequence")
_FEW_LEVELS = 6


def checked_people(
    participants: pd.DataFrame | Sequence[str],
    factors: Sequence[str],
    cluster: str | None,
    *,
    count_levels: bool = True,
) -> pd.DataFrame:
    """Give the columns that an allocation uses, as text, in order of enrolment.

    With ``count_levels`` a stratum that divides people into single persons is refused.

    Raises
    ------
    InputError
        If there is nobody, somebody is listed twice (also in another spelling), a value is missing,
        or a stratum divides people into single persons.
    """
    _check_columns(factors, cluster)
    frame = people_frame(participants)
    wanted = ["participant", *factors, *([cluster] if cluster else [])]
    absent = [name for name in wanted if name not in frame.columns]
    if absent:
        raise ColumnError("the list of participants lacks a column", absent, "add it")
    people = frame[wanted].reset_index(drop=True)
    if people.empty:
        raise InputError("there is nobody to allocate")
    empty = people.isna() | people.astype("str").apply(lambda column: column.str.strip() == "")
    unknown = people.loc[empty.any(axis=1), "participant"].tolist()
    if unknown:
        raise InputError(
            "a stratum, cluster or identifier is missing", unknown, "complete it before allocating"
        )
    people = people.astype("str").apply(lambda column: column.str.strip())
    _check_names(people["participant"].tolist())
    if count_levels:
        _check_levels(people, factors)
    return people


def people_frame(participants: pd.DataFrame | Sequence[str]) -> pd.DataFrame:
    """Give a list of identifiers as a table; a table as it is.

    Raises
    ------
    InputError
        If it is neither.
    """
    if isinstance(participants, pd.DataFrame):
        return participants
    if isinstance(participants, str | bytes) or not isinstance(
        participants, Sequence | np.ndarray | pd.Series | pd.Index
    ):
        raise InputError(
            "participants must be a list of identifiers or a table",
            [participants],
            'put the identifiers in brackets, for example ["P01", "P02"]',
        )
    return pd.DataFrame({"participant": list(participants)})


def _check_columns(factors: Sequence[str], cluster: str | None) -> None:
    used = [*factors, *([cluster] if cluster else [])]
    taken = [name for name in used if name in _TAKEN]
    if taken:
        raise InputError(
            "a column of the allocation list itself cannot be a stratum or cluster",
            taken,
            "name a property that people had before they were allocated",
        )
    if len(set(used)) < len(used):
        raise InputError("a stratum or cluster is named twice", used, "name each column once")


def _check_names(names: list[str]) -> None:
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError("a participant is listed twice", twice, "keep one row per person")
    spelled: dict[str, list[str]] = defaultdict(list)
    for name in names:
        spelled[plain_identifier(name) or name].append(name)
    alike = [", ".join(same) for same in spelled.values() if len(same) > 1]
    if alike:
        raise InputError(
            "identifiers look like one person spelled in several ways",
            alike,
            "keep one row per person, or give identifiers that differ in more than case, signs "
            "and leading zeros",
        )


def _check_levels(people: pd.DataFrame, factors: Sequence[str]) -> None:
    for name in factors:
        levels = people[name].nunique()
        if levels > max(_FEW_LEVELS, len(people) // 2):
            raise InputError(
                f"the stratum {name!r} divides {len(people)} people into {levels} levels, so that "
                "nothing can be balanced in them",
                people[name].unique(),
                "make a few classes of it, for example below and above 15 years",
            )


def units_of(people: pd.DataFrame, factors: Sequence[str], cluster: str | None) -> pd.DataFrame:
    """Give one row per unit that is allocated: the person, or the cluster.

    Raises
    ------
    InputError
        If a stratum differs inside a cluster.
    """
    if cluster is None:
        return people
    mixed: list[str] = []
    if factors:
        for name, members in people.groupby(cluster)[list(factors)]:
            if (members.nunique() > 1).any():
                mixed.append(str(name))
    if mixed:
        raise InputError(
            "a stratum differs inside a cluster", mixed, "use strata that describe whole clusters"
        )
    return people.drop_duplicates(cluster).reset_index(drop=True)


def checked_ratio(groups: Sequence[str] | Mapping[str, int]) -> dict[str, int]:
    """Give the ratio of the groups by name.

    Raises
    ------
    InputError
        If there are fewer than two groups, one is named twice, or a share is not whole.
    """
    names = distinct_names("groups", groups)
    if len(names) < 2:
        raise InputError("allocation needs two groups or more, each named once", names)
    if not isinstance(groups, Mapping):
        return dict.fromkeys(names, 1)
    shares = zip(names, groups.values(), strict=True)
    return {
        name: whole_number(f"the ratio of group sizes of {name!r}, in whole numbers,", share)
        for name, share in shares
    }


def checked_sizes(
    block_size: int | Sequence[int] | None, ratio: Mapping[str, int]
) -> tuple[int, ...]:
    """Give the sizes that blocks may have; by default twice the sum of the ratio.

    Raises
    ------
    InputError
        If a size does not hold the ratio.
    """
    unit = sum(ratio.values())
    if block_size is None:
        return (2 * unit,)
    several = isinstance(block_size, Sequence | np.ndarray) and not isinstance(block_size, str)
    given = list(block_size) if several else [block_size]  # type: ignore[arg-type]
    sizes = tuple(whole_number("block_size", size) for size in given)
    bad = [size for size in sizes if size % unit]
    if bad or not sizes:
        raise InputError(
            "the block size does not hold the ratio of the groups",
            bad or None,
            f"take a multiple of {unit}",
        )
    return sizes
