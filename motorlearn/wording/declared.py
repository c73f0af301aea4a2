"""What a plan declares beside its analysis, in sentences for method and registration."""

from collections.abc import Iterator

from motorlearn.design import Design, combinations_declared, people_planned
from motorlearn.linear import interim_boundaries
from motorlearn.wording.interim import few_for_mixed, planned_sentence
from motorlearn.wording.voice import listed

_SCALES = {"difference": "differences of raw scores", "ratio": "ratios, from logarithms"}


def looks_paragraph(design: Design) -> str:
    """Looks at the primary comparison that a plan declares; empty where it declares none."""
    plan, people = design.interim, people_planned(design)
    if plan is None or people is None:
        return ""
    bounds = interim_boundaries(plan.fractions, spending=plan.spending, level=plan.level)
    mixed = design.primary is not None and design.primary.model == "linear mixed"
    few = few_for_mixed(people / max(len(design.groups), 1)) if mixed else ""
    return (
        planned_sentence(
            [round(share * people) for share in plan.fractions],
            [float(level) for level in bounds.p],
            plan.spending,
            plan.level,
        )
        + " A look at another number of people spends by its own share of the people planned, and "
        "is told (Lan & DeMets, 1983)." + (f" {few}" if few else "")
    )


def alternatives_paragraph(design: Design) -> str:
    """Alternatives to the primary analysis that a plan declares; empty where it declares none."""
    plan = design.multiverse
    if plan is None:
        return ""
    why = f" Reason: {plan.reason.rstrip('.')}." if plan.reason else ""
    return (
        f"Beside the primary analysis, all {combinations_declared(design):,} combinations of these "
        f"declared choices and the plan's own are run and described, without a test (Steegen et "
        f"al., 2016): {'; '.join(_alternatives(design))}.{why}"
    )


def _alternatives(design: Design) -> Iterator[str]:
    plan = design.multiverse
    assert plan is not None
    lists: dict[str, list[str]] = {
        "outcome": [name.replace("_", " ") for name in plan.outcomes],
        "scale": [_SCALES[name] for name in plan.effects],
        "covariates": [listed(list(names)) or "none" for names in plan.covariates],
        "model": [str(name) for name in plan.models],
        "exclusions": [f"{e.rule} undone" if e.undo else e.rule for e in plan.exclusions],
    }
    yield from (f"{name}: {', '.join(found)}" for name, found in lists.items() if found)
