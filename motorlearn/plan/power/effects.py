"""Which effects power is computed for: none, the smallest of interest, and published ones."""

from collections.abc import Sequence
from dataclasses import dataclass

from motorlearn.design import Design
from motorlearn.exceptions import InputError
from motorlearn.plan.power.prior_effects import prior_pair
from motorlearn.plan.power.scenario import Scenario


@dataclass(frozen=True)
class Effect:
    """An effect at the primary test, in raw units or as a ratio, with its name."""

    value: float
    name: str
    is_none: bool = False


def planned_effects(
    design: Design, plan: Scenario, given: Sequence[float] | None
) -> tuple[Effect, ...]:
    """List the effects, the absence of any always among them."""
    none = Effect(plan.no_effect, "none", True)
    if given is not None:
        wrong = [value for value in given if plan.scale == "ratio" and value <= 0]
        if wrong:
            raise InputError("a ratio is positive", wrong, "1 stands for no effect")
        named = [Effect(float(v), "given") for v in given if float(v) != plan.no_effect]
        return (none, *named)
    effects = [none]
    if design.smallest_effect is not None:
        value = improvement(plan, design.smallest_effect.value)
        effects.append(Effect(value, "smallest of interest"))
    if plan.model == "paired":
        return (*effects, *(Effect(plan.from_d(d), f"change of d = {d:g}") for d in (0.2, 0.5)))
    for row in prior_pair(plan.phases[plan.primary]).itertuples():
        effects.append(Effect(plan.from_d(row.effect), f"{row.setting}: d = {row.effect:g}"))
    return tuple(effects)


def improvement(plan: Scenario, value: float) -> float:
    """Turn a ratio round where it would be a loss: 0.9 stands for 1 / 0.9 where more is better."""
    worse = plan.scale == "ratio" and (value - 1) * plan.better < 0
    return 1 / value if worse else value
