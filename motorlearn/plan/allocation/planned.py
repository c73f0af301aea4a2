"""The allocation that a plan asks for: its sizes, its method, its unit and its seed."""

from dataclasses import replace

import numpy as np
import pandas as pd

from motorlearn.design import Design
from motorlearn.design.ratio import group_ratio
from motorlearn.exceptions import InputError
from motorlearn.plan.allocation.allocation import (
    AllocationList,
    allocate,
    checked_scheme,
    groups_of,
    listed,
)
from motorlearn.plan.allocation.assignment import exact_blocks
from motorlearn.plan.allocation.enrolled import checked_people
from motorlearn.plan.arguments import seed_number

SEQUENCE_JOIN = " then "
"""Between the conditions in the name of the order in which a person meets them."""

_METHODS = {"blocks": "blocks", "cluster": "blocks", "minimisation": "minimisation"}


def allocate_plan(
    design: Design, people: pd.DataFrame | None = None, *, seed: int | None = None
) -> AllocationList:
    """Allocate people as the plan says.

    Groups get the sizes of the plan exactly where everybody whom the plan counts is on the list and
    blocks without strata are planned, otherwise in the ratio of the sizes. Where the plan allocates
    classes or teams, these are allocated as a whole.

    Parameters
    ----------
    design : Design
        The plan.
    people : DataFrame, optional
        ``participant``, the strata and the unit of the plan. By default as many numbered people as
        the plan has.
    seed : int, optional
        Instead of the plan's; the log and a warning then say so.

    Returns
    -------
    AllocationList

    Raises
    ------
    InputError
        If the plan does not allocate by chance, has no seed or no sizes, or its strata or clusters
        need a list of people.

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "programme", "size": 30}, {"name": "usual", "size": 10}],
    ...     "tests": [{"phase": "retention", "trials": 10, "interval_days": 7}],
    ...     "outcomes": [{"name": "hits", "better": "higher"}],
    ...     "allocation": {"seed": 3},
    ... })
    >>> allocate_plan(plan).table["group"].value_counts().tolist()
    [30, 10]
    """
    way = design.allocation
    if way.method in ("none", "own"):
        raise InputError(
            "the plan does not allocate people by chance",
            [f"allocation.method = {way.method!r}"],
            "give a list of participants with their groups, or plan another method",
        )
    used = way.seed if seed is None else seed
    sizes = [group.size for group in design.groups]
    ratio = dict(zip(design.group_names, group_ratio(sizes), strict=True))
    if design.within is not None:
        # Each person meets every group: orders are drawn, and a group's size is that of all.
        sizes = sizes[:1]
        ratio = {SEQUENCE_JOIN.join(order): 1 for order in design.sequences}
    listed_people = _numbered(design, sizes) if people is None else people
    cluster = None if way.method != "cluster" and way.unit == "participant" else way.unit
    full = len(listed_people) == sum(size or 0 for size in sizes)
    plain = way.method == "blocks" and not way.strata and cluster is None
    if full and plain and design.within is None:
        drawn = _exact(design, listed_people, ratio, used)
    else:
        drawn = allocate(
            listed_people,
            ratio,
            strata=list(way.strata),
            seed=used,  # type: ignore[arg-type]
            method=_METHODS.get(way.method, way.method),
            block_size=_block_size(design),
            cluster=cluster,
        )
    if way.seed is None or used == way.seed:
        return drawn
    told = f"The seed {used} was used in place of the plan's allocation.seed, {way.seed}."
    log = {**drawn.log, "seed_of_plan": way.seed}
    return replace(drawn, log=log, warnings=(*drawn.warnings, told))


def _block_size(design: Design) -> int | tuple[int, ...] | None:
    return design.allocation.block_size


def _numbered(design: Design, sizes: list[int | None]) -> pd.DataFrame:
    way = design.allocation
    if any(size is None for size in sizes) or way.strata or way.method == "cluster":
        named = ", ".join(way.strata) or way.unit
        raise InputError(
            "the plan names no number of people"
            if None in sizes
            else f"who has which {named} is known from a list of participants only",
            None,
            "give a table of participants with one row per person (--participants FILE)"
            + (", or set size under [[groups]]" if None in sizes else ""),
        )
    n = sum(size or 0 for size in sizes)
    width = max(2, len(str(n)))
    return pd.DataFrame({"participant": [f"P{i + 1:0{width}d}" for i in range(n)]})


def _exact(
    design: Design, participants: pd.DataFrame, ratio: dict[str, int], seed: int | None
) -> AllocationList:
    people = checked_people(participants, (), None)
    scheme = checked_scheme(
        "blocks", ratio, (), block_size=_block_size(design), cluster=None, certainty=0.8
    )
    seed = seed_number(seed)
    sizes = np.array([group.size for group in design.groups])
    codes = exact_blocks(sizes, scheme.shares, scheme.block_sizes, np.random.default_rng(seed))
    return listed(people, groups_of(people, people, codes, scheme), scheme, seed)
