"""The smallest effect of interest on the scale of the primary comparison."""

from typing import Final

from motorlearn.design.schema import Design

RATES: Final = ("hit", "hit_rate")
"""Outcomes that are told as a rate; hits declared for them are hits of the test's trials."""


def smallest_effect_of(design: Design) -> float | None:
    """Smallest effect of interest as the primary comparison has it; None where none is declared.

    Hits that are declared for a rate (a value of 1 or more for a difference) are divided by the
    trials of the primary test.

    Examples
    --------
    >>> from motorlearn.design import design_from_mapping
    >>> plan = {"study": {"title": "Ring push"}, "groups": [{"name": "all"}],
    ...         "tests": [{"phase": "retention", "trials": 20}],
    ...         "outcomes": [{"name": "hit", "better": "higher"}],
    ...         "primary": {"outcome": "hit"}, "smallest_effect": {"value": 2}}
    >>> smallest_effect_of(design_from_mapping(plan))
    0.1
    """
    smallest, trials = design.smallest_effect, hits_declared_of(design)
    if smallest is None:
        return None
    return smallest.value / trials if trials else smallest.value


def hits_declared_of(design: Design) -> int | None:
    """Trials of the test of which the smallest effect is so many hits; None where it is none."""
    primary, smallest = design.primary, design.smallest_effect
    if primary is None or smallest is None or smallest.value < 1 or smallest.in_sd:
        return None
    if primary.outcome not in RATES or primary.effect == "ratio":
        return None
    tests = [test for test in design.tests if test.phase == primary.phase]
    named = [test for test in tests if primary.test and test.name == primary.test]
    return (named or tests)[-1].trials
