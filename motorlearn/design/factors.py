"""The ``[[factors]]`` of a plan: what groups are crossed by, and which group has which levels."""

from collections.abc import Mapping, Sequence
from itertools import product
from typing import Any, Protocol

from pydantic import Field

from motorlearn.design.base import Name, Section
from motorlearn.design.sections import Group, Primary

JOIN = "-"
"""What joins the levels of a cell in the name of its group, where the plan gives it none."""


class Factor(Section):
    """A factor between people: every person is at one of its levels.

    The groups of the plan are the cells of its factors. ``levels`` are in order, the first is the
    one that others are compared with; ``label`` is what a reader calls the factor.
    """

    name: Name
    levels: tuple[Name, ...] = Field(min_length=2)
    label: str = ""

    @property
    def words(self) -> str:
        """The factor as a reader sees it."""
        return self.label or self.name


class Compared(Protocol):
    """What of a plan says which groups are compared."""

    @property
    def factors(self) -> tuple[Factor, ...]: ...
    @property
    def groups(self) -> tuple[Group, ...]: ...
    @property
    def primary(self) -> Primary | None: ...


def with_cells(content: Any) -> Any:
    """A plan whose groups come from its factors, or have the levels of the cell they name."""
    if not isinstance(content, Mapping):
        return content
    factors = content.get("factors")
    if not factors or not isinstance(factors, list | tuple):
        return content
    levels = [_levels_of(entry) for entry in factors]
    if not all(levels):
        return content
    cells = {JOIN.join(cell): list(cell) for cell in product(*levels)}
    groups = content.get("groups") or [{"name": name} for name in cells]
    if not isinstance(groups, list | tuple):
        return content
    return {**content, "groups": [_with_levels(group, cells) for group in groups]}


def _with_levels(group: Any, cells: Mapping[str, list[str]]) -> Any:
    """A group that has the name of a cell and says no levels, with those of the cell."""
    if not isinstance(group, Mapping) or group.get("levels") or group.get("name") not in cells:
        return group
    return {**group, "levels": cells[str(group["name"])]}


def _levels_of(entry: Any) -> list[str]:
    given = entry.levels if isinstance(entry, Factor) else None
    if isinstance(entry, Mapping):
        given = entry.get("levels")
    known = isinstance(given, list | tuple) and all(isinstance(level, str) for level in given)
    return list(given) if known and given else []


def check_factors(factors: Sequence[Factor], groups: Sequence[Group]) -> None:
    """Refuse factors that say nothing and groups that are not their cells.

    Raises
    ------
    ValueError
        In one sentence: a factor or level named twice, a group at a level that its factor lacks,
        a cell without a group or with two.
    """
    _refuse_twice("factor", [factor.name for factor in factors])
    for factor in factors:
        _refuse_twice(f"level of factor {factor.name!r}", factor.levels)
    with_levels = [group for group in groups if group.levels]
    if not factors:
        if with_levels:
            raise ValueError(
                f"group {with_levels[0].name!r} has levels and the plan has no [[factors]]; "
                "name them with their levels"
            )
        return
    if len(factors) != 2:
        raise ValueError(
            f"[[factors]] are two and this plan has {len(factors)} "
            f"({', '.join(factor.name for factor in factors)}); name the levels of one factor, or "
            "the cells of more, as [[groups]]"
        )
    for group in groups:
        _check_levels(group, factors)
    held = [group.levels for group in groups]
    cells = list(product(*(factor.levels for factor in factors)))
    empty = [cell for cell in cells if cell not in held]
    if empty:
        raise ValueError(
            f"no group has the levels {' and '.join(empty[0])}; every cell of the factors needs a "
            "[[groups]] entry, or leave the groups out and they are made from the factors"
        )
    twice = [cell for cell in cells if held.count(cell) > 1]
    if twice:
        raise ValueError(f"two groups have the levels {' and '.join(twice[0])}; give each its own")


def _check_levels(group: Group, factors: Sequence[Factor]) -> None:
    names = [factor.name for factor in factors]
    if len(group.levels) != len(factors):
        raise ValueError(
            f"group {group.name!r} needs one level for each factor ({', '.join(names)}), for "
            f"example levels = [{', '.join(repr(factor.levels[0]) for factor in factors)}]"
        )
    for factor, level in zip(factors, group.levels):
        if level not in factor.levels:
            raise ValueError(
                f"group {group.name!r} is at {level!r}, which is no level of {factor.name!r}: "
                f"{', '.join(factor.levels)}"
            )


def _refuse_twice(what: str, names: Sequence[str]) -> None:
    twice = sorted({name for name in names if list(names).count(name) > 1})
    if twice:
        raise ValueError(f"{what} named twice: {', '.join(twice)}")


def check_primary_factors(primary: Primary, factors: Sequence[Factor]) -> None:
    """Refuse a primary main effect or interaction that the plan's factors do not have.

    Raises
    ------
    ValueError
        In one sentence.
    """
    if not primary.factors:
        if primary.levels:
            raise ValueError("primary.levels are levels of primary.factors, which is missing")
        return
    known = {factor.name: factor for factor in factors}
    unknown = [name for name in primary.factors if name not in known]
    if unknown:
        raise ValueError(
            f"primary.factors names what is no factor of the plan: {', '.join(unknown)}; its "
            f"factors are {', '.join(known) or 'none'}"
        )
    _refuse_twice("primary.factors", primary.factors)
    if primary.groups:
        raise ValueError(
            "primary.groups and primary.factors exclude each other: a pair of groups, or a main "
            "effect or interaction"
        )
    named = [known[name] for name in primary.factors]
    if len(named) == 1 and primary.levels:
        _check_two_levels(primary.levels, named[0])
        return
    if primary.levels:
        raise ValueError("primary.levels go with one factor, not with an interaction")
    large = [factor for factor in named if len(factor.levels) > 2]
    if large and (primary.aim != "difference" or primary.effect != "difference"):
        raise ValueError(
            f"factor {large[0].name!r} has more than two levels ({', '.join(large[0].levels)}), so "
            "its effect is one joint test and no single number that could be held against a bound "
            "or be a ratio; set primary.aim and primary.effect to 'difference', name two levels of "
            "one factor in primary.levels, or make a pair of groups primary"
        )


def _check_two_levels(levels: tuple[str, ...], factor: Factor) -> None:
    known = [level for level in levels if level in factor.levels]
    if len(known) != 2 or len(levels) != 2 or levels[0] == levels[1]:
        raise ValueError(
            f"primary.levels needs two different levels of {factor.name!r} "
            f"({', '.join(factor.levels)}), the first minus the second"
        )


def levels_by_group(design: Compared) -> dict[str, dict[str, str]]:
    """Level of each factor in each group; empty where the plan has no factors.

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = {"study": {"title": "Ring push"}, "tests": [{"phase": "retention", "trials": 20}],
    ...         "factors": [{"name": "order", "levels": ["blocked", "random"]},
    ...                     {"name": "feedback", "levels": ["always", "faded"]}],
    ...         "outcomes": [{"name": "hit", "better": "higher"}]}
    >>> levels_by_group(design_from_mapping(plan))["random-faded"]
    {'order': 'random', 'feedback': 'faded'}
    """
    names = [factor.name for factor in design.factors]
    return {group.name: dict(zip(names, group.levels)) for group in design.groups if group.levels}


def groups_by_level(design: Compared) -> dict[str, dict[str, tuple[str, ...]]] | None:
    """By factor, by level in order, the groups at that level; None where there are no factors."""
    if not design.factors:
        return None
    of_group = levels_by_group(design)
    return {
        factor.name: {
            level: tuple(name for name, own in of_group.items() if own[factor.name] == level)
            for level in factor.levels
        }
        for factor in design.factors
    }


def primary_levels(design: Compared) -> tuple[str, str] | None:
    """Level and reference of the primary main effect, or of the first factor of an interaction."""
    primary = design.primary
    if primary is None or not primary.factors:
        return None
    if primary.levels:
        return primary.levels[0], primary.levels[1]
    factor = next(entry for entry in design.factors if entry.name in primary.factors)
    return factor.levels[1], factor.levels[0]


def joint_term(design: Compared) -> str:
    """Term of the primary effect where it is more than one number; empty where it is not.

    A main effect of three levels or an interaction with a factor of three is tested by one F test.

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = {"study": {"title": "Ring push"}, "tests": [{"phase": "retention", "trials": 20}],
    ...         "factors": [{"name": "order", "levels": ["blocked", "random"]},
    ...                     {"name": "aid", "levels": ["always", "faded", "never"]}],
    ...         "outcomes": [{"name": "hit", "better": "higher"}],
    ...         "primary": {"outcome": "hit", "factors": ["order", "aid"], "baseline": None}}
    >>> joint_term(design_from_mapping(plan))
    'order:aid'
    """
    primary = design.primary
    if primary is None or not primary.factors or primary.levels:
        return ""
    named = [factor for factor in design.factors if factor.name in primary.factors]
    several = any(len(factor.levels) > 2 for factor in named)
    return ":".join(factor.name for factor in named) if several else ""


def primary_words(design: Compared) -> str:
    """What the primary comparison compares: groups, a main effect, an interaction or everything."""
    primary = design.primary
    if primary is None or not primary.factors:
        return " against ".join(primary.groups) if primary is not None else ""
    words = {factor.name: factor.words for factor in design.factors}
    if len(primary.factors) == 2:
        return f"interaction of {' and '.join(words[factor.name] for factor in design.factors)}"
    other = next(factor.words for factor in design.factors if factor.name not in primary.factors)
    if joint_term(design):
        return f"{words[primary.factors[0]]}, all levels together, averaged over {other}"
    pair = " against ".join(primary_levels(design) or ())
    return f"{words[primary.factors[0]]}, {pair}, averaged over {other}"
