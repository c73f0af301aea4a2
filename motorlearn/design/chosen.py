"""What the alternatives and the interim looks of a plan name: all must be in it."""

from collections.abc import Iterator

from motorlearn.design.multiverse import MOST_COMBINATIONS
from motorlearn.design.schema import Design
from motorlearn.vocabulary import PRACTICE_PHASE


def multiverse_clauses(design: Design) -> Iterator[str]:
    """Name what alternatives of the plan cannot be."""
    plan, primary = design.multiverse, design.primary
    if plan is None:
        return
    if primary is None:
        yield "multiverse has alternatives to a primary comparison, and [primary] is missing"
        return
    known = [outcome.name for outcome in design.outcomes]
    unknown = [name for name in plan.outcomes if name not in known]
    if unknown:
        yield (
            f"multiverse.outcomes names {', '.join(unknown)}, which the plan lacks; it has "
            f"{', '.join(known)}"
        )
    rules = {rule.rule for rule in design.exclusions if rule.is_applied}
    for entry in plan.exclusions:
        if entry.undo and entry.rule not in rules:
            yield (
                f"multiverse.exclusions undoes {entry.rule!r}, which is no exclusion that the "
                f"plan applies: {', '.join(sorted(rules)) or 'it applies none'}"
            )
        tests = {test.name for test in design.tests if test.name}
        places = {*design.phases, PRACTICE_PHASE, "tests", *tests}
        lost = [name for name in entry.phases if name not in places]
        if lost:
            yield (
                f"multiverse.exclusions {entry.rule!r} names {', '.join(lost)}; the plan has "
                f"{', '.join(sorted(places))}"
            )
    n = combinations_declared(design)
    if n > MOST_COMBINATIONS:
        yield (
            f"multiverse has {n:,} combinations and {MOST_COMBINATIONS:,} are the most; "
            "name fewer alternatives"
        )
    elif n == 1:
        yield "multiverse names nothing but the plan's own choices; name an alternative"


def combinations_declared(design: Design) -> int:
    """Number of combinations of the plan's own choices and their alternatives.

    Examples
    --------
    >>> import motorlearn as ml
    >>> plan = ml.design.design_from_mapping({
    ...     "study": {"title": "Ring push"},
    ...     "groups": [{"name": "blocked"}, {"name": "random"}],
    ...     "tests": [{"phase": "pretest", "trials": 20},
    ...               {"phase": "retention", "trials": 20, "interval_days": 7}],
    ...     "outcomes": [{"name": "radial_error", "better": "lower"},
    ...                  {"name": "hits", "better": "higher"}],
    ...     "target": {"radius": 20},
    ...     "primary": {"outcome": "radial_error", "groups": ["random", "blocked"]},
    ...     "multiverse": {"outcomes": ["hits"], "models": ["unadjusted"], "reason": "as common"},
    ... })
    >>> combinations_declared(plan)
    4
    """
    plan, primary = design.multiverse, design.primary
    if plan is None or primary is None:
        return 0
    return (
        len({primary.outcome, *plan.outcomes})
        * len({primary.effect, *plan.effects})
        * len({primary.covariates, *plan.covariates})
        * len({model_of(design), *plan.models})
        * (1 + len(plan.exclusions))
    )


def model_of(design: Design) -> str:
    """The plan's own way to compare groups, by its name among the models of the alternatives.

    Examples
    --------
    >>> import motorlearn as ml
    >>> model_of(ml.read_design(ml.trials.shipped_study()))
    'ancova'
    """
    primary = design.primary
    if primary is None or primary.baseline not in design.phases:
        return "unadjusted"
    return "ancova by group" if primary.variance == "by group" else "ancova"


def interim_clauses(design: Design) -> Iterator[str]:
    """Name what interim looks of the plan cannot be."""
    plan, primary = design.interim, design.primary
    if plan is None:
        return
    if primary is None:
        yield "interim plans looks at a primary comparison, and [primary] is missing"
    elif primary.aim != "difference":
        yield (
            f"interim spends the error rate of a difference, and primary.aim is {primary.aim!r}; "
            "leave one of them out"
        )
    others = {
        "[single_case] compares within each case": design.single_case is not None,
        "[within] compares conditions within people": design.within is not None,
        f"allocation.unit is {design.allocation.unit!r}": design.allocation.clusters is not None,
    }
    for why, is_so in others.items():
        if is_so:
            yield f"interim counts people of groups between people, and {why}; leave it out"
    if people_planned(design) is None:
        yield (
            "interim.people is missing and not every group has a size; say how many people there "
            "are at the last look"
        )


def people_planned(design: Design) -> int | None:
    """People compared at the last look: as declared, else the sizes of the groups compared.

    Examples
    --------
    >>> import motorlearn as ml
    >>> plan = ml.read_design(ml.trials.shipped_study())
    >>> [(group.name, group.size) for group in plan.groups], plan.primary.groups
    ([('blocked', 24), ('serial', 24), ('random', 24)], ('random', 'blocked'))
    >>> people_planned(plan)
    48
    """
    if design.interim is not None and design.interim.people is not None:
        return design.interim.people
    named = design.primary.groups if design.primary is not None else ()
    sizes = [group.size for group in design.groups if not named or group.name in named]
    return None if None in sizes else sum(size or 0 for size in sizes)
