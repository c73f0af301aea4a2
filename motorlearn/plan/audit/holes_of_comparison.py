"""Holes in the comparison of a plan: groups, allocation, size, primary comparison."""

from collections.abc import Iterator

from motorlearn import digits
from motorlearn.design import Design
from motorlearn.plan.audit.hole import Hole
from motorlearn.plan.power.closed_form import detectable_effect
from motorlearn.vocabulary import SMALL_GROUP

_INTERFERENCE = {"blocked", "serial", "random", "increasing"}
_MAGILL = (
    "Magill & Hall 1990, Hum Mov Sci 9:241-289, doi:10.1016/0167-9457(90)90005-X (from memory)"
)


def one_group(design: Design) -> Iterator[Hole]:
    """Say what one group cannot show."""
    if len(design.groups) == 1:
        yield Hole(
            "one group",
            "act",
            "groups",
            "everybody follows the same programme",
            "a change cannot be told from repeated testing, maturation, other practice or "
            "regression to the mean; no statement about this programme against another is possible",
            "add a second group (another programme, or usual practice, offered the programme "
            "afterwards), or a baseline of several tests before the programme",
            "Campbell & Stanley 1963, Experimental and Quasi-Experimental Designs for Research "
            "(from memory)",
        )


def allocation(design: Design) -> Iterator[Hole]:
    """Look at how people come to their groups."""
    if len(design.groups) == 1:
        return
    if not design.allocation.by_chance:
        yield Hole(
            "no random allocation",
            "act",
            "allocation.method",
            "groups are formed by other means than chance",
            "groups may differ from the start in ways nobody measured",
            "allocate by permuted blocks or minimisation with motorlearn.allocate",
        )
    elif design.allocation.method != "cluster" and design.allocation.seed is None:
        yield Hole(
            "no seed",
            "look",
            "allocation.seed",
            "the allocation has no seed",
            "nobody can make the list again and check it",
            "set a seed before the first person is enrolled and keep the audit log",
        )
    if design.allocation.unit != "participant" or design.allocation.method == "cluster":
        yield Hole(
            "clusters allocated",
            "act",
            "allocation.unit",
            f"what is allocated is the {design.allocation.unit}, what is scored is the participant",
            "people of one cluster resemble one another; an analysis of participants finds "
            "an effect too often where there is none (design effect 1 + (k - 1) ICC)",
            "analyse cluster means or a model with a random effect of the cluster, and plan the "
            "number of clusters",
            "design effect of cluster samples (algebra)",
        )


def group_sizes(design: Design) -> Iterator[Hole]:
    """Look at the planned numbers."""
    without = [group.name for group in design.groups if group.size is None]
    if without:
        yield Hole(
            "no sample size",
            "act",
            "groups.size",
            f"no size is planned for {', '.join(without)}",
            "stopping when the result looks good is possible and cannot be ruled out",
            "plan the size with motorlearn.power, allow for drop-outs, write it down",
        )
    sizes = [group.size for group in design.groups if group.size is not None]
    if len(sizes) >= 2 and min(sizes) < SMALL_GROUP:
        effect = detectable_effect(min(sizes), power=0.8)
        yield Hole(
            "small groups",
            "look",
            "groups.size",
            f"the smallest {'cell' if design.factors else 'group'} has {min(sizes)} people",
            f"a comparison of two such {'cells' if design.factors else 'groups'} without a "
            f"covariate finds only effects of d = {digits.number(effect, 2)} or more with a power "
            f"of 80 %{'; a main effect rests on all cells' if design.factors else ''}",
            "plan more people, more trials per person and a pretest as covariate; see "
            "motorlearn.power",
            "power of the two-sample t test",
        )


def primary_comparison(design: Design) -> Iterator[Hole]:
    """Look for one comparison that was declared beforehand."""
    if design.primary is None:
        yield Hole(
            "no primary comparison",
            "act",
            "primary",
            "no outcome, test and contrast is named as the one the study stands on",
            "with several outcomes and tests one will look good by chance",
            "declare primary.outcome, primary.phase and primary.groups",
        )
        return
    if design.primary.phase not in ("retention", "transfer") and design.has_delayed_test:
        yield Hole(
            "primary test is not delayed",
            "act",
            "primary.phase",
            f"the primary comparison is at the {design.primary.phase} test",
            "it can show a difference in performance only",
            'set phase = "retention"',
        )
    if len(design.groups) > 2 and not (design.primary.groups or design.primary.factors):
        yield Hole(
            "contrast not named",
            "look",
            "primary.groups",
            f"there are {len(design.groups)} groups and the primary contrast is not named",
            "any of the pairs could be chosen afterwards",
            "name the two groups of the contrast",
        )
    if design.smallest_effect is None:
        yield Hole(
            "no smallest effect of interest",
            "look",
            "smallest_effect",
            "nothing says which effect would matter",
            "a result that is not significant cannot be read as 'too small to matter'",
            "declare the smallest effect of interest in raw units, with a reason",
            "Lakens 2017, Soc Psychol Personal Sci 8:355-362, doi:10.1177/1948550617697177 "
            "(entry read)",
        )


def tasks_of_schedules(design: Design) -> Iterator[Hole]:
    """Look at whether a practice order has something to order."""
    kinds = {group.schedule for group in design.groups} & _INTERFERENCE
    if len(kinds) < 2:
        return
    if len(design.tasks) < 2:
        yield Hole(
            "nothing to order",
            "act",
            "tasks",
            "groups differ in practice order, but there are fewer than two tasks",
            "blocked and random practice of one task are the same",
            "add task variants",
        )
    elif not any(task.description for task in design.tasks):
        yield Hole(
            "tasks not described",
            "look",
            "tasks",
            "nothing says how the tasks differ",
            "variants that differ in one parameter only (distance, say) interfere little, so the "
            "effect of the order may be small",
            "describe the tasks; choose ones with different movement patterns",
            _MAGILL,
        )


def outcomes(design: Design) -> Iterator[Hole]:
    """Look for outcomes without a unit and for the question."""
    bare = [
        outcome.name
        for outcome in design.outcomes
        if not outcome.unit and outcome.name not in ("hit", "hits", "hit_rate", "score")
    ]
    if bare:
        yield Hole(
            "outcome without unit",
            "look",
            "outcomes.unit",
            f"no unit is given for {', '.join(bare)}",
            "tables and figures cannot name it, and units may be mixed",
            "give the unit",
        )
    if not design.study.question:
        yield Hole(
            "no question",
            "look",
            "study.question",
            "the question is not written down",
            "the comparison cannot be checked against it",
            "state it as a contrast: outcome, test, groups, adjustment",
        )


RULES = (
    one_group,
    allocation,
    group_sizes,
    primary_comparison,
    tasks_of_schedules,
    outcomes,
)
