"""Two factors in the names of codes: ``1=choice:yes+rule:odd`` says the levels of a group."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from motorlearn.design.factors import JOIN
from motorlearn.exceptions import InputError


@dataclass(frozen=True)
class Crossed:
    """Names of groups by their code, and the factors that they cross with their levels."""

    names: dict[str, str]
    factors: dict[str, list[str]] = field(default_factory=dict)


def crossed(groups: Mapping[str, str]) -> Crossed:
    """Read levels of factors from names of groups; names that say none stay as they are.

    Raises
    ------
    InputError
        If some names say levels and others do not, or say other factors.

    Examples
    --------
    >>> told = {"1": "order:blocked+aid:always", "2": "order:random+aid:always"}
    >>> crossed(told)
    Crossed(names={'1': 'blocked-always', '2': 'random-always'}, \
factors={'order': ['blocked', 'random'], 'aid': ['always']})
    >>> crossed({"1": "blocked", "2": "random"}).factors
    {}
    """
    said = {
        code: [part.partition(":") for part in name.split("+")] for code, name in groups.items()
    }
    if not any(sign for parts in said.values() for _, sign, _ in parts):
        return Crossed(dict(groups))
    named = [tuple(factor.strip() for factor, _, _ in parts) for parts in said.values()]
    blank = any(
        not f.strip() or not level.strip() for parts in said.values() for f, _, level in parts
    )
    if blank or len(set(named)) != 1:
        raise InputError(
            "names of groups say different factors",
            list(groups.values()),
            "give every group a level of each, for example 1=order:blocked+aid:always",
        )
    levels = {code: [level.strip() for _, _, level in parts] for code, parts in said.items()}
    factors = {
        name: _in_order([own[i] for own in levels.values()]) for i, name in enumerate(named[0])
    }
    return Crossed({code: JOIN.join(own) for code, own in levels.items()}, factors)


def _in_order(levels: Sequence[str]) -> list[str]:
    return list(dict.fromkeys(levels))
