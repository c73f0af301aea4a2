"""What a plan can find: power, detectable effect and reliability from its own numbers."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats
from statsmodels.stats.power import FTestAnovaPower, TTestIndPower, TTestPower

from motorlearn import digits
from motorlearn.design import Design
from motorlearn.exceptions import InputError
from motorlearn.plan.audit.hole import Hole
from motorlearn.plan.power.class_means import (
    class_mean_power,
    class_sizes,
    correlation_of_means,
    detectable_between_classes,
)
from motorlearn.plan.power.closed_form import noncentral_power
from motorlearn.plan.power.effects import smallest_of_interest
from motorlearn.plan.power.joint import detectable_joint, joint_power
from motorlearn.plan.power.planned import scenario
from motorlearn.plan.power.scenario import Scenario
from motorlearn.plan.power.within_people import detectable_within, within_power

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
    "aim",
]


@dataclass(frozen=True)
class Finds:
    """One row: what the plan can find with its sizes, trials and assumptions.

    Parameters
    ----------
    outcome, phase : str
        The primary comparison.
    n : str
        Expected people of the groups compared, after attrition, in words.
    smallest_effect : float
        Smallest effect of interest; NaN where none is declared.
    power : float
        Power for it, by the t test (of three groups or more the F test) with the gain of the
        covariate; where equivalence or non-inferiority is the aim, how often it will be claimed if
        there is no difference.
    detectable : float
        Effect found with a power of 80 %, in the unit.
    unit : str
        Unit of both effects.
    reliability, reliability_baseline : float
        Share of the variance of scores at the primary test, and at the baseline, that is between
        people.
    correlation : float
        Correlation of scores at the two tests.
    aim : str
        Aim of the primary comparison.
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
    aim: str = "difference"


def finds(design: Design) -> Finds | None:
    """Say what a plan can find; None where sizes, assumptions or the comparison are missing.

    Closed form: the t test of the contrast, its effect divided by ``sqrt(1 - r^2)`` where scores at
    the baseline are adjusted for; for classes that are allocated that of their means, by the design
    effect; for three groups or more that are tested together the F test, one
    group standing off from the others; for one group the paired t test. Power of the analysis
    itself is simulated by :func:`motorlearn.power`.
    """
    sizes = [group.size for group in design.groups]
    if design.assumptions is None or design.primary is None or None in sizes:
        return None
    try:
        plan = scenario(design)
    except InputError:
        return None
    if plan.within:
        return _of_differences(design, plan, sizes[0] or 0)
    if plan.clustered:
        return _of_classes(design, plan, [size or 0 for size in sizes])
    return _row(design, plan, [size or 0 for size in sizes])


def _row(design: Design, plan: Scenario, sizes: list[int]) -> Finds:
    pair = np.flatnonzero(plan.contrast) if not plan.hypothesis else np.arange(len(sizes))
    n = np.array(sizes)[pair] * (1 - plan.assumed.attrition)
    r = plan.score_correlation() if plan.baseline >= 0 else 0.0
    shrink = np.sqrt(2 * (1 - r)) if plan.model == "paired" else np.sqrt(1 - r**2)
    effect = smallest_of_interest(design, plan)
    power = detectable = np.nan
    if n.min() > 2:
        detectable = plan.from_d(_solved(plan, n, power=WANTED) * shrink)
        if not np.isnan(effect):
            given = abs(plan.to_d(effect)) / shrink
            claimed = _claimed(plan.aim, n, given)
            power = _solved(plan, n, effect=given) if claimed is None else claimed
    return Finds(
        outcome=plan.outcome,
        phase=plan.phases[plan.primary],
        n=_people(n),
        smallest_effect=effect,
        power=power,
        detectable=detectable,
        unit="ratio" if plan.effect == "ratio" else plan.unit,
        reliability=plan.reliability(plan.primary),
        reliability_baseline=plan.reliability(plan.baseline) if plan.baseline >= 0 else np.nan,
        correlation=r if plan.baseline >= 0 else np.nan,
        aim=plan.aim,
    )


def _of_classes(design: Design, plan: Scenario, sizes: list[int]) -> Finds | None:
    """What a comparison of class means can find, by the design effect."""
    if plan.joint or plan.counts or plan.aim != "difference":
        return None
    classes, size = class_sizes(plan, np.array(sizes, dtype=float)[np.flatnonzero(plan.contrast)])
    effect = smallest_of_interest(design, plan)
    detectable = detectable_between_classes(plan, classes, size, WANTED)
    power = class_mean_power(plan, plan.to_d(effect), classes, size) if effect == effect else np.nan
    return Finds(
        outcome=plan.outcome,
        phase=plan.phases[plan.primary],
        n=f"{' and '.join(digits.whole(value) for value in classes)} times {size:.3g} people",
        smallest_effect=effect,
        power=power,
        detectable=plan.from_d(detectable) if detectable == detectable else np.nan,
        unit="ratio" if plan.effect == "ratio" else plan.unit,
        reliability=plan.reliability(plan.primary),
        reliability_baseline=plan.reliability(plan.baseline) if plan.baseline >= 0 else np.nan,
        correlation=correlation_of_means(plan, size) if plan.baseline >= 0 else np.nan,
    )


def _of_differences(design: Design, plan: Scenario, people: int) -> Finds | None:
    """What a comparison within people can find, by the t test of their differences."""
    if plan.aim != "difference":
        return None
    left = people * (1 - plan.assumed.attrition)
    effect = smallest_of_interest(design, plan)
    detectable = detectable_within(plan, left, WANTED)
    return Finds(
        outcome=plan.outcome,
        phase=plan.phases[plan.primary],
        n=f"{digits.whole(left)} people",
        smallest_effect=effect,
        power=within_power(plan, plan.to_d(effect), left) if effect == effect else np.nan,
        detectable=plan.from_d(detectable) if detectable == detectable else np.nan,
        unit=plan.unit,
        reliability=plan.reliability(plan.primary),
        reliability_baseline=plan.reliability(plan.baseline) if plan.baseline >= 0 else np.nan,
        correlation=plan.score_correlation() if plan.baseline >= 0 else np.nan,
    )


def _solved(
    plan: Scenario, n: np.ndarray, *, effect: float | None = None, power: float | None = None
) -> float:
    """Power of a standardised effect, or the effect of a power, by the test of the contrast."""
    asked = {"alpha": 0.05, "power": power}
    if plan.joint and plan.hypothesis:
        return (
            joint_power(plan, effect, n)
            if effect is not None
            else detectable_joint(plan, n, WANTED)
        )
    if plan.joint:
        # One group stands off from the others, which are alike: f² = d² (share) (1 - share).
        share = n[plan.first] / n.sum()
        root = np.sqrt(share * (1 - share))
        f = None if effect is None else effect * root
        solver = FTestAnovaPower()
        found = solver.solve_power(effect_size=f, nobs=n.sum(), k_groups=len(n), **asked)
        return float(found if f is not None else found / root)
    if plan.model == "paired":
        return float(TTestPower().solve_power(effect_size=effect, nobs=n[0], **asked))
    if plan.crossed:
        return _of_cells(plan, n, effect, power)
    solver = TTestIndPower()
    found = solver.solve_power(effect_size=effect, nobs1=n[0], ratio=n[-1] / n[0], **asked)
    return float(found)


def _people(n: np.ndarray) -> str:
    """People of the groups compared; one number where they are equally large."""
    counts = [digits.whole(value) for value in n]
    if len(set(counts)) == 1:
        return f"{counts[0]} people in each group"
    return f"{', '.join(counts[:-1])} and {counts[-1]} people"


def _of_cells(plan: Scenario, n: np.ndarray, effect: float | None, power: float | None) -> float:
    """As :func:`_solved`, of a contrast of all cells: a t with the variance of their weights."""
    weights = plan.contrast[np.flatnonzero(plan.contrast)]
    root, df = float(np.sqrt(np.sum(weights**2 / n))), float(n.sum() - len(n))
    critical = float(stats.t.isf(0.025, df))
    if effect is not None:
        return noncentral_power(df, effect / root, critical)
    reached = optimize.brentq(lambda d: noncentral_power(df, d, critical) - (power or 0), 0.0, 40.0)
    return float(reached) * root


def _claimed(aim: str, n: np.ndarray, bound: float) -> float | None:
    """How often a claim against a bound is made where there is no difference; None for others."""
    if aim not in ("equivalence", "non-inferiority"):
        return None
    df = n.sum() - 2
    away = bound / np.sqrt((1 / n).sum())
    if aim == "non-inferiority":
        return float(stats.t.cdf(away - stats.t.ppf(0.975, df), df))
    return max(2 * float(stats.t.cdf(away - stats.t.ppf(0.95, df), df)) - 1, 0.0)


def sentence(found: Finds) -> str:
    """What the plan can find, in words."""
    unit = f" {found.unit}" if found.unit and found.unit != "ratio" else ""
    text = (
        f"With {found.n} left at the {found.phase} test the plan finds an effect of "
        f"{digits.significant(found.detectable)}{unit} with a power of {digits.percent(WANTED)}"
    )
    if not np.isnan(found.smallest_effect):
        size = f"{digits.significant(found.smallest_effect)}{unit}"
        text += (
            f", and the smallest effect of interest, {size}, with {digits.percent(found.power)}"
            if found.aim == "difference"
            else f"; where there is no difference it claims {found.aim} by {size} in "
            f"{digits.percent(found.power)} of studies"
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
    little = found.power < _LITTLE
    claimed = found.aim != "difference"
    yield Hole(
        f"{found.aim} hardly claimed" if claimed else "smallest effect not found",
        "act" if little else "look",
        "smallest_effect.value, groups.size, tests.trials",
        f"{found.n} {_does(found)} {digits.percent(found.power)} (closed form)",
        _what_follows(claimed, little),
        f"plan more people or trials with motorlearn.power; as planned the study finds "
        f"{digits.significant(found.detectable)} with {digits.percent(WANTED)}",
        "power of the t test with the gain of the covariate (statsmodels)",
    )


def _does(found: Finds) -> str:
    if found.aim == "difference":
        return "find the smallest effect of interest with a power of"
    return f"let {found.aim} be claimed, where there is no difference, with a probability of"


def _what_follows(claimed: bool, little: bool) -> str:
    if claimed:
        return "groups that do not differ will often be left without a verdict"
    missed = "an effect that would matter "
    return missed + ("will more often be missed than found" if little else "may well be missed")


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
    if smallest.unit == "score" and not 0.5 <= smallest.value <= 2:
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
