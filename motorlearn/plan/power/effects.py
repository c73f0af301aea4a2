"""Which effects power is computed for: none, the smallest of interest, and published ones."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from motorlearn.design import Design, smallest_effect_of
from motorlearn.exceptions import InputError
from motorlearn.plan.arguments import share
from motorlearn.plan.power.prior_effects import prior_of_age, prior_pair
from motorlearn.plan.power.scenario import STAND_IN_UNIT, Scenario

NO_COMMON_UNIT = (
    "The smallest effect of interest has no row: it is in raw units, and stand-in scores have "
    "none. Enter [assumptions], or declare it in standard deviations (unit = 'sd')."
)


@dataclass(frozen=True)
class Effect:
    """An effect at the primary test, in raw units or as a ratio, with its name.

    ``is_none`` where a finding would be false: no effect, or one at the bound of equivalence.
    """

    value: float
    name: str
    is_none: bool = False


def planned_effects(
    design: Design, plan: Scenario, given: Sequence[float] | None
) -> tuple[Effect, ...]:
    """List the effects, the absence of any always among them."""
    if plan.aim in ("equivalence", "non-inferiority"):
        return _against_a_bound(plan, given)
    none = Effect(plan.no_effect, "none", True)
    if given is not None:
        return (none, *_given(plan, given))
    effects = [none]
    if design.smallest_effect is not None and has_its_unit(design, plan):
        effects.append(Effect(smallest_of_interest(design, plan), "smallest of interest"))
    if plan.model == "paired":
        change = plan.declared_change()
        if change != plan.no_effect:
            effects.append(Effect(change, "gain of the plan"))
        named = [(d, f"change of d = {d:g}") for d in (0.2, 0.5)]
    else:
        phase = plan.phases[plan.primary]
        pair = prior_pair(phase).itertuples()
        named = [(row.effect, f"{row.setting}: d = {row.effect:g}") for row in pair]
        own = prior_of_age(phase, design.sample).dropna(subset="effect").itertuples()
        named += [(row.effect, f"{row.people}: d = {row.effect:g}") for row in own]
    usual = [Effect(plan.from_d(d), name) for d, name in named]
    return (*effects, *(effect for effect in usual if plan.is_possible(effect.value)))


def _given(plan: Scenario, given: Sequence[float]) -> list[Effect]:
    if isinstance(given, str) or not isinstance(given, Iterable):
        raise InputError("effects must be a list of numbers", [given], "put them in brackets")
    values = [share("an effect", value, -math.inf, math.inf) for value in given]
    wrong = [value for value in values if not math.isfinite(value)]
    wrong += [value for value in values if plan.effect == "ratio" and value <= 0]
    if wrong:
        remedy = "a ratio is positive, and 1 stands for none" if plan.effect == "ratio" else ""
        raise InputError("an effect cannot be used", wrong, remedy)
    return [Effect(value, "given") for value in values if value != plan.no_effect]


def _against_a_bound(plan: Scenario, given: Sequence[float] | None) -> tuple[Effect, ...]:
    """Effects for equivalence: the bound, where claims would be false, and none."""
    edge = -abs(plan.bound)
    if plan.effect == "ratio":
        edge = math.exp(-plan.better * abs(math.log(plan.bound)))
    effects = [Effect(edge, "worse by the bound", True), Effect(plan.no_effect, "none")]
    return (*effects, *([] if given is None else _given(plan, given)))


def has_its_unit(design: Design, plan: Scenario) -> bool:
    """Whether the smallest effect of interest can be told on the scale of the scores.

    Stand-in scores are in standard deviations; an effect in raw units is none of theirs.
    """
    smallest = design.smallest_effect
    return smallest is None or smallest.in_sd or plan.unit != STAND_IN_UNIT


def smallest_of_interest(design: Design, plan: Scenario) -> float:
    """The declared smallest effect as an improvement in raw units (or a ratio), NaN without one."""
    smallest = design.smallest_effect
    if smallest is None:
        return math.nan
    if smallest.in_sd:
        return plan.from_d(smallest.value)
    return improvement(plan, smallest_effect_of(design) or smallest.value)


def improvement(plan: Scenario, value: float) -> float:
    """Turn a ratio round where it would be a loss: 0.9 stands for 1 / 0.9 where more is better."""
    worse = plan.effect == "ratio" and (value - 1) * plan.better < 0
    return 1 / value if worse else value
