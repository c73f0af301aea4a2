"""From a plan to the numbers its power rests on."""

import math
from dataclasses import replace
from typing import Final

import numpy as np

from motorlearn.design import Assumptions, Design, Outcome, Primary, joint_term, smallest_effect_of
from motorlearn.exceptions import DesignError, InputError
from motorlearn.plan.power.factors import carriers_of, effect_weights, joint_hypothesis
from motorlearn.plan.power.scenario import STAND_IN_UNIT, Aim, Scenario
from motorlearn.plan.power.within_people import check_within_people
from motorlearn.plan.timetable import Event, timetable

HIT_OUTCOMES: Final = ("hit", "hits", "hit_rate")
MODELS: Final = ("ancova", "linear mixed", "binomial mixed")

_STAND_IN = {
    "hits": Assumptions(baseline=0.25, between_sd=0.7, gain=1.2, source="stand-in"),
    "ratio": Assumptions(baseline=1.0, between_sd=0.2, within_sd=0.5, gain=0.4, source="stand-in"),
    "difference": Assumptions(baseline=0.0, between_sd=1.0, within_sd=2.4, source="stand-in"),
}
STAND_IN_WARNING = (
    "The plan has no [assumptions]: stand-in values were used, which are teaching values and no "
    "estimate of anything; enter your own from a pilot or a comparable study."
)


def scenario(
    design: Design,
    *,
    assumptions: Assumptions | None = None,
    model: str | None = None,
    trials: int | None = None,
) -> Scenario:
    """Turn a plan into the numbers its power rests on.

    Raises
    ------
    DesignError
        If the primary contrast cannot be told, or there is no test to compare.
    InputError
        If the planned model does not fit the outcome.
    """
    _check_assumptions(assumptions)
    notes: list[str] = []
    primary = design.primary or _assumed_primary(design, notes)
    outcome = design.outcome(primary.outcome) or design.outcomes[0]
    counts = outcome.name in HIT_OUTCOMES
    assumed, unit = _assumed(assumptions or design.assumptions, outcome, primary.effect, notes)
    events = [event for event in timetable(design).events if not event.is_practice]
    at, base = _places(design, primary, events)
    chosen = _model(model or primary.model, counts, len(design.groups), base, notes)
    contrast, joint = _contrast(design, primary)
    _check_joint(joint, chosen, primary.aim)
    return _completed(
        design,
        Scenario(
            counts=counts,
            effect=primary.effect,
            model=chosen,
            assumed=assumed,
            better=1 if outcome.better == "higher" else -1,
            phases=tuple(event.phase for event in events),
            done=_share_done(design, assumed.forgetting, _reference(design, contrast)),
            baseline=base,
            primary=at,
            trials_at=tuple(trials or event.trials for event in events),
            ratio=_ratio(design),
            contrast=contrast,
            carriers=carriers_of(design, contrast),
            low=_edge(outcome.low, -math.inf, counts or unit == STAND_IN_UNIT),
            high=_edge(outcome.high, math.inf, counts or unit == STAND_IN_UNIT),
            unit=unit,
            outcome=outcome.name,
            joint=joint,
            variance=primary.variance,
            aim=primary.aim,
            bound=_bound(design, primary.aim, chosen),
            clustered=_clustered(design, assumed, chosen, notes),
            within=_within(design, assumed, notes),
            warnings=tuple(notes),
        ),
    )


def _check_assumptions(assumptions: object) -> None:
    if assumptions is not None and not isinstance(assumptions, Assumptions):
        raise InputError(
            "assumptions must be those of a plan",
            [assumptions],
            "give motorlearn.design.Assumptions(baseline=..., between_sd=...)",
        )


def _completed(design: Design, plan: Scenario) -> Scenario:
    """The hypothesis of a joint test, and the bound in the unit of the scores."""
    plan = replace(plan, hypothesis=joint_hypothesis(design))
    if plan.within:
        check_within_people(plan)
    in_sd = design.smallest_effect is not None and design.smallest_effect.in_sd
    return replace(plan, bound=plan.from_d(plan.bound)) if in_sd else plan


def _edge(bound: float | None, none: float, counts: bool) -> float:
    return none if bound is None or counts else bound


def _assumed(
    given: Assumptions | None, outcome: Outcome, effect: str, notes: list[str]
) -> tuple[Assumptions, str]:
    """Assumptions, stand-ins where there are none, and the unit of raw effects."""
    counts = outcome.name in HIT_OUTCOMES
    if given is not None:
        _check(given, counts, effect)
        return given, _unit(outcome)
    notes.append(STAND_IN_WARNING)
    plain = not counts and effect == "difference"
    unit = STAND_IN_UNIT if plain else _unit(outcome)
    return _STAND_IN["hits" if counts else effect], unit


def _unit(outcome: Outcome) -> str:
    if outcome.name == "hits":
        return "hits"
    return "hit rate" if outcome.name in HIT_OUTCOMES else outcome.unit


def _assumed_primary(design: Design, notes: list[str]) -> Primary:
    phase = next(
        (p for p in ("retention", "transfer", "posttest", "progress") if p in design.phases), None
    )
    if phase is None:
        raise DesignError("there is no test after practice whose power could be computed")
    outcome = design.outcomes[0].name
    notes.append(f"The plan names no primary comparison: {outcome} at the {phase} test was taken.")
    baseline = "pretest" if "pretest" in design.phases else None
    return Primary(outcome=outcome, phase=phase, baseline=baseline)


def _places(design: Design, primary: Primary, events: list[Event]) -> tuple[int, int]:
    """Numbers of the primary test and of the baseline, -1 where there is none."""
    phases = [event.phase for event in events]
    named = [
        number
        for number, event in enumerate(events)
        if event.phase == primary.phase and primary.test in ("", event.label)
    ]
    if not named:
        raise DesignError(
            "the plan has no such primary test", [primary.test or primary.phase], "name one it has"
        )
    at = named[-1]
    base = phases.index(primary.baseline) if primary.baseline in phases else -1
    if len(design.groups) == 1 and base < 0:
        base = 0 if at > 0 else -1
    if base >= at:
        raise DesignError(
            "the baseline is not before the primary test",
            [f"primary.baseline = {primary.baseline!r}"],
            "name a test before practice",
        )
    return at, base


def _check(assumed: Assumptions, counts: bool, effect: str) -> None:
    if counts and not 0 < assumed.baseline < 1:
        raise InputError(
            "assumptions.baseline must be a hit rate between 0 and 1", [assumed.baseline]
        )
    if not counts and assumed.within_sd is None:
        raise InputError(
            "assumptions.within_sd is missing", None, "give the SD of single trials of one person"
        )
    if not counts and effect == "ratio" and assumed.baseline <= 0:
        raise InputError("a ratio needs a positive baseline", [assumed.baseline])


def _model(model: str, counts: bool, groups: int, baseline: int, notes: list[str]) -> str:
    if model not in MODELS:
        raise InputError("there is no such model", [model], f"choose one of {', '.join(MODELS)}")
    if groups == 1:
        if baseline < 0:
            raise DesignError(
                "one group and one test leave nothing to compare", None, "add a pretest"
            )
        notes.append(
            "One group: the power is that of a change, which cannot be put down to the programme."
        )
        return "paired"
    if model == "binomial mixed" and not counts:
        raise InputError("a binomial model needs an outcome that counts hits", [model])
    if model in ("linear mixed", "binomial mixed") and baseline < 0:
        raise DesignError(
            "the planned mixed model compares changes and needs a baseline", None, "add a pretest"
        )
    return model


def _check_joint(joint: bool, model: str, aim: Aim) -> None:
    if joint and (model != "ancova" or aim != "difference"):
        raise InputError(
            "power of a joint test (three groups or more, or an effect of several degrees of "
            "freedom) is that of a difference by ancova",
            [model, aim],
            "name two groups in primary.groups, or two levels in primary.levels; or set model and "
            "aim so",
        )


def _bound(design: Design, aim: Aim, model: str) -> float:
    if aim in ("difference", "superiority"):
        return math.nan
    bound = smallest_effect_of(design)
    if bound is None:
        raise DesignError(
            f"primary.aim is {aim!r} and smallest_effect is missing",
            None,
            "declare the smallest effect of interest: it is the bound",
        )
    if model == "binomial mixed":
        raise InputError(
            "odds ratios have no bound in the unit of the score", [model], "use ancova"
        )
    return bound


def _clustered(design: Design, assumed: Assumptions, model: str, notes: list[str]) -> bool:
    if design.allocation.method != "cluster" and design.allocation.clusters is None:
        return False
    if assumed.cluster_size is None:
        raise InputError(
            "clusters are allocated, but assumptions.cluster_size is missing",
            None,
            "give cluster_size and cluster_icc",
        )
    if model != "ancova":
        raise InputError("power with clusters is computed for cluster means", [model], "use ancova")
    notes.append("Clusters are allocated: their means are analysed, and n counts participants.")
    return True


def _within(design: Design, assumed: Assumptions, notes: list[str]) -> bool:
    if design.within is None:
        return False
    if assumed.condition_correlation is None:
        raise InputError(
            "people meet every condition, but assumptions.condition_correlation is missing",
            None,
            "give the correlation of people's true scores under two conditions",
        )
    notes.append("People meet both conditions: their differences are analysed, n counts people.")
    return True


def _share_done(design: Design, forgetting: float, reference: str) -> np.ndarray:
    """Share of the gain at each test: practice done so far, less what is forgotten.

    Practice is that of the reference group, a share of what the group that practises most does.
    """
    total = max(sum(e.trials for e in design.practice_of(name)) for name in design.group_names)
    done, shares = 0, []
    for event in timetable(design, reference).events:
        if event.is_practice:
            done += event.trials
            continue
        share = done / total if total else float(event.phase != "pretest")
        kept = 1 - forgetting if event.phase in ("retention", "transfer") else 1.0
        shares.append(share * kept)
    return np.array(shares)


def _reference(design: Design, contrast: np.ndarray) -> str:
    """Name of the group that effects are counted from."""
    return design.group_names[int(np.argmin(contrast))]


def _ratio(design: Design) -> np.ndarray:
    sizes = [group.size for group in design.groups]
    if any(size is None for size in sizes):
        return np.ones(len(sizes))
    values = np.array(sizes, dtype=float)
    ratio: np.ndarray = values / values.mean()
    return ratio


def _contrast(design: Design, primary: Primary) -> tuple[np.ndarray, bool]:
    """Weights of the groups, and whether all are tested together."""
    names = design.group_names
    if len(names) == 1:
        return np.ones(1), False
    if primary.factors:
        return effect_weights(design), bool(joint_term(design))
    named = primary.groups or (names[::-1] if len(names) == 2 else ())
    if len(named) < 2:
        raise DesignError(
            "the primary contrast is not named", names, "set primary.groups to the two groups"
        )
    weights = np.zeros(len(names))
    weights[[names.index(name) for name in named[1:]]] = -1 / (len(named) - 1)
    weights[names.index(named[0])] = 1.0
    joint = len(named) > 2
    if joint and len(named) < len(names):
        raise DesignError(
            "a joint test takes all groups of the plan",
            sorted(set(names) - set(named)),
            "name all of them in primary.groups, or two",
        )
    return weights, joint
