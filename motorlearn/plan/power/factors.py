"""Power of a main effect or of an interaction: weights of the cells, and which cells carry it."""

import math
from itertools import product

import numpy as np

from motorlearn.design import Design, Factor, joint_term, levels_by_group, primary_levels


def effect_weights(design: Design) -> np.ndarray:
    """Weights of the groups in the primary effect of the factors.

    A main effect weighs the cells of a level alike, so that it is an average over the other factor;
    an interaction is a difference of differences.

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = {"study": {"title": "Ring push"}, "tests": [{"phase": "retention", "trials": 20}],
    ...         "factors": [{"name": "order", "levels": ["blocked", "random"]},
    ...                     {"name": "feedback", "levels": ["always", "faded"]}],
    ...         "outcomes": [{"name": "hit", "better": "higher"}],
    ...         "primary": {"outcome": "hit", "factors": ["order"], "baseline": None}}
    >>> effect_weights(design_from_mapping(plan)).tolist()
    [-0.5, -0.5, 0.5, 0.5]
    """
    primary = design.primary
    assert primary is not None
    level, reference = primary_levels(design) or ("", "")
    if joint_term(design):
        return _largest_step(design)
    of_group = levels_by_group(design)
    sign = {level: 1.0, reference: -1.0}
    if len(primary.factors) == 2:
        other = design.factors[1]
        second = {other.levels[1]: 1.0, other.levels[0]: -1.0}
        first = design.factors[0].name
        return np.array([sign[own[first]] * second[own[other.name]] for own in of_group.values()])
    name = primary.factors[0]
    weights = np.array([sign.get(own[name], 0.0) for own in of_group.values()])
    found: np.ndarray = weights / np.sum(weights > 0)
    return found


def _largest_step(design: Design) -> np.ndarray:
    """Of a joint test: last level minus first, of one factor averaged over the other or of both."""
    assert design.primary is not None
    names, of_group = design.primary.factors, levels_by_group(design)
    weights = np.ones(len(of_group))
    for factor in design.factors:
        step = {factor.levels[-1]: 1.0, factor.levels[0]: -1.0}
        if factor.name in names:
            weights *= [step.get(own[factor.name], 0.0) for own in of_group.values()]
    found: np.ndarray = weights / (np.sum(weights > 0) if len(names) == 1 else 1)
    return found


def joint_hypothesis(design: Design) -> tuple[tuple[float, ...], ...]:
    """Rows of weights of the groups that the joint test of the primary effect sets to zero."""
    asked = joint_term(design).split(":")
    if asked == [""]:
        return ()
    of_group = levels_by_group(design).values()
    steps = [
        _steps(factor) if factor.name in asked else [_mean(factor)] for factor in design.factors
    ]
    return tuple(
        tuple(
            math.prod(step[own[factor.name]] for factor, step in zip(design.factors, both))
            for own in of_group
        )
        for both in product(*steps)
    )


def _steps(factor: Factor) -> list[dict[str, float]]:
    """Weights of the levels in each level minus the first."""
    first, *others = factor.levels
    none = dict.fromkeys(factor.levels, 0.0)
    return [none | {level: 1.0, first: -1.0} for level in others]


def _mean(factor: Factor) -> dict[str, float]:
    return dict.fromkeys(factor.levels, 1 / len(factor.levels))


def carriers_of(design: Design, contrast: np.ndarray) -> tuple[int, ...]:
    """Groups whose people have the effect: every cell of a level, or for an interaction one cell.

    An interaction of size E is one cell that stands off by E from what the others add up to; a
    simple effect of that cell, not a main effect.
    """
    first = int(np.argmax(contrast))
    if design.primary is None or len(design.primary.factors) != 1:
        last = int(np.flatnonzero(contrast == contrast.max())[-1])
        return (last,) if design.primary is not None and design.primary.factors else (first,)
    return tuple(int(place) for place in np.flatnonzero(contrast > 0))
