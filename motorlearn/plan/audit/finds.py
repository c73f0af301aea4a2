"""What a plan can find: power, detectable effect and reliability from its own numbers."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from statsmodels.stats.power import TTestIndPower, TTestPower

from motorlearn import digits
from motorlearn.design import Design, smallest_effect_of
from motorlearn.exceptions import InputError
from motorlearn.plan.audit.hole import Hole
from motorlearn.plan.power.effects import improvement
from motorlearn.plan.power.planned import scenario
from motorlearn.plan.power.scenario import Scenario

WANTED = 0.8
_LITTLE = 0.5
_RELIABLE = 0.5
COLUMNS = [
    "outcome",
    "phase",
    "n",
    "smallest_effect",
    "power",
    "detectable",
    "unit",
    "reliability",
    "reliability_baseline",
    "correlation",
]


@dataclass(frozen=True)
class Finds:
    """One row: what the plan can find with its sizes, trials and assumptions.

    Parameters
    ----------
    outcome, phase : str
        The primary comparison.
    n : str
        Expected people of the groups compared, after attrition.
    smallest_effect : float
        Smallest effect of interest; NaN where none is declared.
    power : float
        Power for it, by the t test with the gain of the covariate.
    detectable : float
        Effect found with a power of 80 %, in the unit.
    unit : str
        Unit of both effects.
    reliability, reliability_baseline : float
        Share of the variance of scores at the primary test, and at the baseline, that is between
        people.
    correlation : float
        Correlation of scores at the two tests.
    """

    outcome: str
    phase: str
    n: str
    smallest_effect: float
    power: float
    detectable: float
    unit: str
    reliability: float
    reliability_baseline: float
    correlation: float


def finds(design: Design) -> Finds | None:
    """Say what a plan can find; None where sizes, assumptions or the comparison are missing.

    Closed form: the t test of the contrast, its effect divided by ``sqrt(1 - r^2)`` where scores at
    the baseline are adjusted for; for one group the paired t test. Power of the analysis itself is
    simulated by :func:`motorlearn.power`.
    """
    sizes = [group.size for group in design.groups]
    if design.assumptions is None or design.primary is None or None in sizes:
        return None
    if len(design.groups) > 1 and len(design.primary.groups) != 2 and len(design.groups) != 2:
        return None
    if design.allocation.method == "cluster":
        return None
    try:
        plan = scenario(design)
    except InputError:
        return None
    return _row(design, plan, [size or 0 for size in sizes])


def _row(design: Design, plan: Scenario, sizes: list[int]) -> Finds:
    pair = np.flatnonzero(plan.contrast)
    kept = 1 - plan.assumed.attrition
    n = np.array(sizes)[pair] * kept
    r = plan.score_correlation() if plan.baseline >= 0 else 0.0
    paired = plan.model == "paired"
    shrink = np.sqrt(2 * (1 - r)) if paired else np.sqrt(1 - r**2)
    smallest = smallest_effect_of(design)
    effect = np.nan if smallest is None else improvement(plan, smallest)
    solver = TTestPower() if paired else TTestIndPower()
    known = {"nobs": n[0]} if paired else {"nobs1": n[0], "ratio": n[-1] / n[0]}
    power = detectable = np.nan
    if n.min() > 2:
        d = float(solver.solve_power(power=WANTED, alpha=0.05, **known))
        detectable = plan.from_d(d * shrink)
        if not np.isnan(effect):
            given = abs(plan.to_d(effect)) / shrink
            power = float(solver.power(effect_size=given, alpha=0.05, **known))
    return Finds(
        outcome=plan.outcome,
        phase=plan.phases[plan.primary],
        n=" and ".join(digits.whole(value) for value in n),
        smallest_effect=effect,
        power=power,
        detectable=detectable,
        unit="ratio" if plan.effect == "ratio" else plan.unit,
        reliability=plan.reliability(plan.primary),
        reliability_baseline=plan.reliability(plan.baseline) if plan.baseline >= 0 else np.nan,
        correlation=r if plan.baseline >= 0 else np.nan,
    )


def sentence(found: Finds) -> str:
    """What the plan can find, in words."""
    unit = f" {found.unit}" if found.unit and found.unit != "ratio" else ""
    text = (
        f"With {found.n} people left at the {found.phase} test the plan finds an effect of "
        f"{digits.significant(found.detectable)}{unit} with a power of {digits.percent(WANTED)}"
    )
    if not np.isnan(found.smallest_effect):
        text += (
            f", and the smallest effect of interest, {digits.significant(found.smallest_effect)}"
            f"{unit}, with {digits.percent(found.power)}"
        )
    return (
        f"{text}; the reliability of a score is {digits.number(found.reliability)} (closed form)."
    )


def size_rests_on_nothing(design: Design) -> Iterator[Hole]:
    """Look for a size without assumptions: no power can be linked to it."""
    if design.primary is not None and design.assumptions is None:
        yield Hole(
            "size rests on nothing",
            "look",
            "assumptions, groups.size",
            "sizes are planned, but nothing says how the primary outcome is thought to behave",
            "nobody can say which effect the study can find",
            "enter [assumptions] from a pilot (motorlearn.plan.pilot_page writes them) or a "
            "comparable study, with the source",
        )


def smallest_effect_found(design: Design) -> Iterator[Hole]:
    """Look whether the sizes suit the smallest effect of interest."""
    found = finds(design)
    if found is None or np.isnan(found.power) or found.power >= WANTED:
        return
    yield Hole(
        "smallest effect not found",
        "act" if found.power < _LITTLE else "look",
        "smallest_effect.value, groups.size, tests.trials",
        f"{found.n} people find the smallest effect of interest with a power of "
        f"{digits.percent(found.power)} (closed form)",
        "an effect that would matter will more often be missed than found"
        if found.power < _LITTLE
        else "an effect that would matter may well be missed",
        f"plan more people or trials with motorlearn.power; as planned the study finds "
        f"{digits.significant(found.detectable)} with {digits.percent(WANTED)}",
        "power of the t test with the gain of the covariate (statsmodels)",
    )


def reliability_of_scores(design: Design) -> Iterator[Hole]:
    """Look for tests whose scores would mostly be chance."""
    found = finds(design)
    if found is None:
        return
    for name, value in (
        (found.phase, found.reliability),
        (design.primary.baseline if design.primary else "", found.reliability_baseline),
    ):
        if value < _RELIABLE:
            yield Hole(
                "unreliable scores",
                "act",
                "tests.trials, assumptions.between_sd, assumptions.within_sd",
                f"by the plan's own numbers the reliability of a person's score at the {name} "
                f"test is {digits.number(value)}",
                "more than half of the differences between people are chance; effects shrink in "
                "standard deviations and single people cannot be told apart",
                "give more trials in the test, or take a finer score",
                "between people / (between people + within / trials); .5 is common practice, no "
                "source",
            )


def ratio_of_interest(design: Design) -> Iterator[Hole]:
    """Look for a smallest effect that was meant as a difference but is read as a ratio."""
    primary, smallest = design.primary, design.smallest_effect
    if primary is None or smallest is None or primary.effect != "ratio":
        return
    if not 0.5 <= smallest.value <= 2:
        yield Hole(
            "smallest effect is no likely ratio",
            "act",
            "smallest_effect.value, primary.effect",
            f'effect = "ratio" and the smallest effect is {smallest.value:g}: scores would have to '
            f"be {smallest.value:g} times as large before it matters",
            "smaller effects, however clear, would be called too small to matter",
            'give a ratio near 1 (0.9 or 1.1), or set effect = "difference" with raw units',
        )


RULES = (
    size_rests_on_nothing,
    smallest_effect_found,
    reliability_of_scores,
    ratio_of_interest,
)
