"""What power is computed for: the planned comparison, its tests and its assumptions, as numbers."""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from motorlearn.design import Assumptions, Design, Outcome, Primary
from motorlearn.exceptions import DesignError, InputError
from motorlearn.plan.timetable import timetable

HIT_OUTCOMES = ("hit", "hits", "hit_rate")
Scale = Literal["difference", "ratio", "hits"]

_STAND_IN = {
    "hits": Assumptions(baseline=0.25, between_sd=0.7, gain=1.2, source="stand-in"),
    "ratio": Assumptions(baseline=1.0, between_sd=0.2, within_sd=0.5, gain=0.4, source="stand-in"),
    "difference": Assumptions(baseline=0.0, between_sd=1.0, within_sd=2.4, source="stand-in"),
}
STAND_IN_WARNING = (
    "The plan has no [assumptions]: stand-in values were used, which are teaching values and no "
    "estimate of anything; enter your own from a pilot or a comparable study."
)


@dataclass(frozen=True)
class Scenario:
    """The planned comparison as numbers.

    Parameters
    ----------
    scale : {"difference", "ratio", "hits"}
        Scale on which people are simulated and compared.
    model : {"ancova", "linear mixed", "binomial mixed", "paired"}
        The planned analysis.
    assumed : Assumptions
        Parameters of the population.
    better : int
        1 where higher scores are better, -1 where lower ones are.
    phases : tuple of str
        Phase of each test.
    done : ndarray, shape (tests,)
        Share of the gain that is present at each test.
    baseline, primary : int
        Numbers of the two tests compared; baseline -1 where there is none.
    trials_at : tuple of int
        Trials in each test.
    ratio : ndarray, shape (groups,)
        Group sizes relative to their mean.
    contrast : ndarray, shape (groups,)
        Weights of the primary contrast.
    low, high : float
        Bounds of the score.
    unit : str
        Unit of raw effects.
    outcome : str
        Name of the primary outcome.
    clustered : bool
        Whether clusters are allocated, and their means analysed.
    warnings : tuple of str
        What was assumed because the plan does not say it.
    """

    scale: Scale
    model: str
    assumed: Assumptions
    better: int
    phases: tuple[str, ...]
    done: np.ndarray
    baseline: int
    primary: int
    trials_at: tuple[int, ...]
    ratio: np.ndarray
    contrast: np.ndarray
    low: float
    high: float
    unit: str
    outcome: str = ""
    clustered: bool = False
    warnings: tuple[str, ...] = ()

    @property
    def first(self) -> int:
        """Number of the group that carries the effect."""
        return int(np.argmax(self.contrast))

    @property
    def trials(self) -> int:
        """Trials in the primary test."""
        return self.trials_at[self.primary]

    def with_trials(self, trials: int) -> "Scenario":
        """Give the same scenario with another number of trials, the same in each test."""
        return replace(self, trials_at=(trials,) * len(self.trials_at))

    def sizes(self, n: int) -> np.ndarray:
        """People per group where the mean size is n."""
        return np.maximum(np.round(n * self.ratio).astype(int), 1)

    def mean_at(self, test: int) -> float:
        """Mean of the reference group at a test: raw units, or log odds for hits."""
        change = self.assumed.gain * self.done[test]
        if self.scale == "hits":
            return _logit(self.assumed.baseline) + self.better * change
        return self.assumed.baseline + self.better * change

    def true_sd(self, test: int) -> float:
        """Standard deviation of true scores at a test: raw units, or hit rate (delta method)."""
        if self.scale == "hits":
            p = expit(self.mean_at(test))
            return p * (1 - p) * self.assumed.between_sd
        return self.assumed.between_sd

    def score_sd(self, test: int | None = None) -> float:
        """Standard deviation of people's scores at a test: raw units, or hit rate.

        By default at the primary test.
        """
        test = self.primary if test is None else test
        trials = self.trials_at[test]
        if self.scale == "hits":
            p = expit(self.mean_at(test))
            noise = p * (1 - p) / trials
        else:
            noise = (self.assumed.within_sd or 0.0) ** 2 / trials
        return math.sqrt(self.true_sd(test) ** 2 + noise)

    def reliability(self, test: int) -> float:
        """Share of the variance of scores at a test that is between people."""
        return self.true_sd(test) ** 2 / self.score_sd(test) ** 2

    def score_correlation(self) -> float:
        """Correlation of people's scores at the baseline and the primary test."""
        both = (self.baseline, self.primary)
        kept = math.prod(math.sqrt(self.reliability(test)) for test in both)
        return self.assumed.stability * kept

    def latent_variance(self) -> float:
        """Variance of people's scores at the primary test on the simulated scale."""
        a = self.assumed
        if self.scale == "hits":
            p = expit(self.mean_at(self.primary))
            return a.between_sd**2 + 1 / (self.trials * p * (1 - p))
        return self.score_sd() ** 2

    def shift(self, effect: float) -> float:
        """Turn an effect in raw units (or a ratio) into a shift of the simulated scale.

        Positive effects are improvements; a ratio below 1 is one where lower is better.
        """
        mean = self.mean_at(self.primary)
        if self.scale == "hits":
            rate = expit(mean) + self.better * effect / self.raw_unit
            if not 0 < rate < 1:
                raise InputError(
                    "the effect takes the hit rate out of 0 to 1", [effect], "take a smaller one"
                )
            return _logit(rate) - mean
        if self.scale == "ratio":
            return math.log(effect)
        return self.better * effect

    @property
    def raw_unit(self) -> float:
        """Raw units in one unit of the simulated score: attempts where hits are counted."""
        return float(self.trials) if self.unit == "hits" else 1.0

    @property
    def no_effect(self) -> float:
        """The raw effect that stands for none."""
        return 1.0 if self.scale == "ratio" else 0.0

    def from_d(self, d: float) -> float:
        """Raw effect (or ratio) of a standardised one, d times the SD of scores."""
        if self.scale == "ratio":
            mean = self.mean_at(self.primary)
            return (mean + self.better * d * self.score_sd()) / mean
        return d * self.score_sd() * self.raw_unit

    def to_d(self, effect: float) -> float:
        """Standardised effect of a raw one (or of a ratio), positive for improvement."""
        if self.scale == "ratio":
            return self.better * (effect - 1) * self.mean_at(self.primary) / self.score_sd()
        return effect / self.raw_unit / self.score_sd()

    def from_shift(self, shift: float) -> float:
        """Raw effect (or ratio) of a shift of the simulated scale."""
        if self.scale == "ratio":
            return math.exp(shift)
        if self.scale == "hits":
            mean = self.mean_at(self.primary)
            return self.better * (expit(mean + shift) - expit(mean)) * self.raw_unit
        return self.better * shift


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
    notes: list[str] = []
    primary = design.primary or _assumed_primary(design, notes)
    outcome = design.outcome(primary.outcome) or design.outcomes[0]
    scale: Scale = "hits" if outcome.name in HIT_OUTCOMES else primary.effect
    assumed = assumptions or design.assumptions
    unit = _unit(outcome, scale)
    if assumed is None:
        assumed = _STAND_IN[scale]
        notes.append(STAND_IN_WARNING)
        unit = "standard deviations between people" if scale == "difference" else unit
    _check(assumed, scale)
    events = [event for event in timetable(design).events if not event.is_practice]
    phases = tuple(event.phase for event in events)
    at = len(phases) - 1 - phases[::-1].index(primary.phase)
    base = phases.index(primary.baseline) if primary.baseline in phases else -1
    if len(design.groups) == 1 and base < 0:
        base = 0 if at > 0 else -1
    chosen = _model(model or primary.model, scale, len(design.groups), base, notes)
    if chosen == "paired":
        assumed = assumed.model_copy(update={"gain": 0.0})
    return Scenario(
        scale=scale,
        model=chosen,
        assumed=assumed,
        better=1 if outcome.better == "higher" else -1,
        phases=phases,
        done=_share_done(design, assumed.forgetting),
        baseline=base,
        primary=at,
        trials_at=tuple(trials or event.trials for event in events),
        outcome=outcome.name,
        ratio=_ratio(design),
        contrast=_contrast(design, primary),
        low=-math.inf if outcome.low is None else outcome.low,
        high=math.inf if outcome.high is None else outcome.high,
        unit=unit,
        clustered=_clustered(design, assumed, chosen, notes),
        warnings=tuple(notes),
    )


def expit(value: float) -> float:
    """Probability of log odds."""
    return 1 / (1 + math.exp(-value))


def _logit(p: float) -> float:
    return math.log(p / (1 - p))


def _unit(outcome: Outcome, scale: Scale) -> str:
    if outcome.name == "hits":
        return "hits"
    return "hit rate" if scale == "hits" else outcome.unit


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


def _check(assumed: Assumptions, scale: Scale) -> None:
    if scale == "hits" and not 0 < assumed.baseline < 1:
        raise InputError(
            "assumptions.baseline must be a hit rate between 0 and 1", [assumed.baseline]
        )
    if scale != "hits" and assumed.within_sd is None:
        raise InputError(
            "assumptions.within_sd is missing", None, "give the SD of single trials of one person"
        )
    if scale == "ratio" and assumed.baseline <= 0:
        raise InputError("a ratio needs a positive baseline", [assumed.baseline])


def _model(model: str, scale: Scale, groups: int, baseline: int, notes: list[str]) -> str:
    if groups == 1:
        if baseline < 0:
            raise DesignError(
                "one group and one test leave nothing to compare", None, "add a pretest"
            )
        notes.append(
            "One group: the power is that of a change, which cannot be put down to the programme."
        )
        return "paired"
    if model == "binomial mixed" and scale != "hits":
        raise InputError("a binomial model needs an outcome that counts hits", [scale])
    if model in ("linear mixed", "binomial mixed") and baseline < 0:
        raise DesignError(
            "the planned mixed model compares changes and needs a baseline", None, "add a pretest"
        )
    return model


def _clustered(design: Design, assumed: Assumptions, model: str, notes: list[str]) -> bool:
    if design.allocation.method != "cluster":
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


def _share_done(design: Design, forgetting: float) -> np.ndarray:
    """Share of the gain at each test: practice done so far, less what is forgotten."""
    plan = timetable(design)
    total = sum(event.trials for event in plan.events if event.is_practice)
    done, shares = 0, []
    for event in plan.events:
        if event.is_practice:
            done += event.trials
            continue
        share = done / total if total else float(event.phase != "pretest")
        kept = 1 - forgetting if event.phase in ("retention", "transfer") else 1.0
        shares.append(share * kept)
    return np.array(shares)


def _ratio(design: Design) -> np.ndarray:
    sizes = [group.size for group in design.groups]
    if any(size is None for size in sizes):
        return np.ones(len(sizes))
    values = np.array(sizes, dtype=float)
    return values / values.mean()


def _contrast(design: Design, primary: Primary) -> np.ndarray:
    names = design.group_names
    if len(names) == 1:
        return np.ones(1)
    pair = primary.groups[:2] or (names[::-1] if len(names) == 2 else ())
    if len(pair) < 2:
        raise DesignError(
            "the primary contrast is not named", names, "set primary.groups to the two groups"
        )
    weights = np.zeros(len(names))
    weights[names.index(pair[0])], weights[names.index(pair[1])] = 1.0, -1.0
    return weights
