"""Holes of plans in which each person meets every condition."""

from collections.abc import Iterator

from motorlearn.design import Design
from motorlearn.plan.audit.hole import Hole


def order_of_conditions(design: Design) -> Iterator[Hole]:
    """Look whether the order of conditions is counterbalanced."""
    within = design.within
    if within is None:
        return
    firsts = [order[0] for order in design.sequences]
    counts = {firsts.count(name) for name in design.group_names}
    if len(counts) > 1:
        yield Hole(
            "order not counterbalanced",
            "act",
            "within.sequences",
            "some conditions are met first by more people than others",
            f"the difference between conditions holds that between the places of the {within.by}",
            "leave within.sequences out (it is counterbalanced then) or list orders in which each "
            "condition has each place equally often",
            "Senn 2002, Cross-over Trials in Clinical Research (from memory)",
        )


def carry_over(design: Design) -> Iterator[Hole]:
    """Look at what a first condition leaves behind."""
    within = design.within
    if within is None or within.by != "period":
        return
    told = (
        "no pause between the periods is planned (within.washout_days)"
        if within.washout_days is None
        else f"{within.washout_days:g} days lie between the periods"
    )
    yield Hole(
        "what was learnt carries over",
        "look",
        "within.by, within.washout_days",
        f"people practise under one condition after the other; {told}",
        "what is learnt under the first condition is not washed out by a pause: the second begins "
        "from there, and its effect cannot be told from carry-over",
        "give each condition a task of its own (within.by = 'task') or a hand, or compare groups; "
        "otherwise say that the difference is one under carry-over",
        "Senn 2002, Cross-over Trials in Clinical Research (from memory)",
    )


RULES = (order_of_conditions, carry_over)
