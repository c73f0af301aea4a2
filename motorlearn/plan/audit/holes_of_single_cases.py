"""Holes in a plan of one athlete to five."""

from collections.abc import Iterator
from typing import Final

from motorlearn.design import Design
from motorlearn.measures.single_case import count_assignments
from motorlearn.plan.audit.hole import Hole

NOT_ASKED: Final = frozenset(
    {
        "no pretest",
        "no delayed test",
        "one group",
        "no sample size",
        "no primary comparison",
        "no smallest effect of interest",
        "small groups",
        "no random allocation",
        "hits only",
    }
)
"""Topics that a study of groups is asked for and a single case is not."""
ENOUGH: Final = 5
"""Sessions of a phase below which its level and spread are hardly known."""
_STANDARDS: Final = (
    "What Works Clearinghouse single-case standards, Kratochwill et al. 2013, Remedial Spec Educ "
    "34:26-38, doi:10.1177/0741932512452794 (from memory)"
)


def of_single_case(design: Design, holes: list[Hole]) -> list[Hole]:
    """Holes of a plan, without those that a single case is not asked for, and with its own."""
    if design.single_case is None:
        return holes
    return [*_own(design), *(hole for hole in holes if hole.topic not in NOT_ASKED)]


def _own(design: Design) -> Iterator[Hole]:
    plan = design.single_case
    assert plan is not None
    if not plan.randomised:
        yield Hole(
            "nothing drawn by lot", "act", "single_case.randomised",
            "start points or conditions are not drawn",
            "there is no randomisation test, and a change can have any cause of that time",
            "set randomised = true and draw with 'motorlearn sheets'",
            "Kratochwill & Levin 2010, Psychol Methods 15:124-144, doi:10.1037/a0017736 "
            "(from memory)",
        )  # fmt: skip
    else:
        yield from _few_ways(design)
    if plan.is_phased and plan.draw.minimum < ENOUGH:
        yield Hole(
            "short phases", "look", "single_case.minimum",
            f"a phase may have {plan.draw.minimum} sessions",
            "its level, trend and spread are hardly known",
            f"allow no phase of fewer than {ENOUGH} sessions",
            _STANDARDS,
        )  # fmt: skip
    if plan.design == "AB":
        yield Hole(
            "one change", "look", "single_case.design",
            "B starts once and stays",
            "anything else of that time, and practice going on, can have made the difference",
            "give A back (ABAB), stagger the start over athletes or skills, or alternate",
            _STANDARDS,
        )  # fmt: skip


def _few_ways(design: Design) -> Iterator[Hole]:
    plan = design.single_case
    assert plan is not None
    cases = plan.cases or design.groups[0].size or 1
    ways = count_assignments(plan.draw, [plan.sessions] * cases)
    least = 1 / ways if plan.expected == "better" else _least(plan.is_phased, ways)
    if least > 0.05:
        yield Hole(
            "too few ways to draw", "act", "single_case.starts",
            f"the draw has {ways} outcomes for {cases} case{'s' if cases > 1 else ''}",
            f"p cannot fall below {least:.3g}, so nothing can be significant at 5 %",
            "allow more start points, add athletes, or plan more sessions: 20 outcomes at least "
            "(40 where conditions alternate and the test is two-sided)",
            "algebra",
        )  # fmt: skip


def _least(phased: bool, ways: int) -> float:
    """Smallest p; in an alternation every order has its mirror image, which is as far out."""
    return 1 / ways if phased else 2 / ways
