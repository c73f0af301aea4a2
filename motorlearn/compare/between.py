"""Groups against each other at one phase: means, contrasts, analysis of covariance."""

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Self

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.compare.clusters import Clusters
from motorlearn.compare.comparison import ADJUSTED, CONTRAST, MEAN, how
from motorlearn.compare.covariates import Covariates
from motorlearn.compare.crossing import Crossing
from motorlearn.compare.participants import PhaseScores, why_flat
from motorlearn.exceptions import FitError
from motorlearn.linear.ancova import Ancova, ancova
from motorlearn.linear.hypotheses import Estimate, t_estimate
from motorlearn.linear.multiplicity import holm
from motorlearn.linear.samples import one_sample, welch
from motorlearn.measures.effect_sizes import (
    NO_EFFECT,
    StandardisedEffect,
    adjusted_g,
    hedges_g,
)
from motorlearn.rows import Row

NAN = float("nan")
NO_ESTIMATE = Estimate(
    estimate=NAN, std_error=NAN, df=NAN, statistic=NAN, p=NAN, conf_low=NAN, conf_high=NAN
)
WELCH = "Welch t"
STUDENT = "t with one variance"
ANCOVA = "analysis of covariance"


@dataclass(frozen=True)
class Comparing:
    """What is compared and how; handed through the room.

    Parameters
    ----------
    data : PhaseScores
        The scores as they are.
    pairs : tuple of (group, reference)
        Contrasts asked for.
    effect : {"difference", "ratio"}
        A ratio is a difference of logarithms.
    level : float
        Level of the intervals.
    baseline : hashable or None
        Phase that is the covariate.
    variance : {"equal", "by group"}
        Residual variance of the analysis of covariance and of the mixed model of scores.
    clusters : Clusters, optional
        Where classes were allocated: their people; ``data`` then holds the means of classes.
    crossing : Crossing, optional
        Groups as the cells of two factors.
    covariates : Covariates, optional
        What is adjusted for beside the baseline.
    """

    data: PhaseScores
    pairs: tuple[tuple[Hashable, Hashable], ...]
    effect: str
    level: float
    baseline: Hashable | None
    variance: str = "equal"
    clusters: Clusters | None = None
    crossing: Crossing | None = None
    covariates: Covariates | None = None

    def adjusts(self, phase: Hashable) -> bool:
        """Whether groups are compared at a phase adjusted for baseline or covariates."""
        if len(self.data.groups) < 2 or phase == self.baseline:
            return False
        return self.baseline is not None or self.covariates is not None

    @property
    def values(self) -> NDArray[np.float64]:
        """Scores on the scale of the analysis."""
        scores = self.data.scores
        return np.asarray(np.log(scores)) if self.effect == "ratio" else scores

    def over(self, phases: Sequence[Hashable]) -> Self:
        """The same with some of the phases only."""
        if tuple(phases) == self.data.phases:
            return self
        places = [self.data.phases.index(name) for name in phases]
        some = {name: getattr(self.data, name)[:, places] for name in ("scores", "trials")}
        return replace(self, data=replace(self.data, phases=tuple(phases), **some))

    def at(self, phase: Hashable) -> NDArray[np.float64]:
        """Values of one phase on the scale of the analysis."""
        return self.values[:, self.data.phases.index(phase)]

    def of(self, group: Hashable, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Values of one group that are present."""
        mine: NDArray[np.float64] = values[self.data.codes == self.data.groups.index(group)]
        return mine[~np.isnan(mine)]

    def spread(self, phase: Hashable) -> tuple[float, int]:
        """Pooled standard deviation of participants within groups, and its degrees of freedom."""
        squares, df = within([self.of(name, self.at(phase)) for name in self.data.groups])
        return (float(np.sqrt(squares / df)) if df > 0 else NAN), df

    def shown(self, value: float) -> float:
        """A value of the analysis on the scale on which it is reported."""
        return float(np.exp(value)) if self.effect == "ratio" else float(value)

    def told(self, result: Estimate) -> Row:
        """Give an estimate by name, with its limits on the scale on which they are reported."""
        limits = {name: self.shown(getattr(result, name)) for name in ("conf_low", "conf_high")}
        return asdict(result) | {"estimate": self.shown(result.estimate)} | limits

    @property
    def suffix(self) -> str:
        """What the method says about the scale."""
        return " on logarithms" if self.effect == "ratio" else ""

    @property
    def things(self) -> str:
        """What is analysed, in the plural: participants, or class means."""
        return "participants" if self.clusters is None else f"{self.clusters.unit} means"

    def of_what(self, of_people: str = "participants' scores") -> str:
        """What the method says about the values that are analysed, and their scale."""
        what = of_people if self.clusters is None else f"{self.clusters.unit} means"
        return f" of {what}{self.suffix}"

    def two_samples(self, a: NDArray[np.float64], b: NDArray[np.float64]) -> tuple[Estimate, str]:
        """Difference of two means, first minus second, and the name of its test.

        People by Welch's t; classes, which are few, with one variance unless it was declared
        otherwise.
        """
        if self.clusters is None or self.variance == "by group":
            return welch(a, b, level=self.level), WELCH
        squares, df = within([a, b])
        error = float(np.sqrt(squares / df * (1 / a.size + 1 / b.size)))
        told = t_estimate(float(a.mean() - b.mean()), error, df, level=self.level)
        return told, STUDENT

    def too_few(self, sizes: dict[Hashable, int]) -> str:
        """Why so many of a side are too few for a test; empty where they are enough."""
        small = [f"{name} has {n}" for name, n in sizes.items() if n < 2]
        if not small:
            return ""
        if self.clusters is None:
            return "two participants per group are needed, " + ", ".join(small)
        unit = self.clusters.unit
        return (
            f"what sets one {unit} apart cannot be told from what its group did: two of "
            f"{unit} per group are needed, " + ", ".join(small)
        )

    @property
    def ancova_method(self) -> str:
        """Name of the analysis of covariance, with its scale and its variance."""
        own = ", a variance for each group" if self.variance == "by group" else ""
        more = self.covariates.names if self.covariates is not None else ()
        also = "also " if more and self.baseline is not None else ""
        beside = f", {also}adjusted for {', '.join(more)}" if more else ""
        return ANCOVA + self.of_what() + own + beside


def within(samples: Sequence[NDArray[np.float64]]) -> tuple[float, int]:
    """Sum of squares about the means of the samples that hold anything, and its df."""
    held = [sample for sample in samples if sample.size]
    squares = sum(float(np.sum((sample - sample.mean()) ** 2)) for sample in held)
    return squares, sum(sample.size for sample in held) - len(held)


def describe_means(comparing: Comparing) -> pd.DataFrame:
    """Mean, standard deviation and t interval of participants' scores, raw scale."""
    data, rows = comparing.data, []
    for i, phase in enumerate(data.phases):
        for group in data.groups:
            scores = comparing.of(group, data.scores[:, i])
            mean = one_sample(scores, level=comparing.level)
            sd = float(np.std(scores, ddof=1)) if scores.size > 1 else NAN
            # Scores without spread have the interval of their one value.
            same = sd == 0
            row = MEAN.row(
                phase=phase,
                group=group,
                n=scores.size,
                mean=mean.estimate,
                sd=sd,
                conf_low=mean.estimate if same else mean.conf_low,
                conf_high=mean.estimate if same else mean.conf_high,
            )
            rows.append(row)
    return MEAN.frame(rows)


def unadjusted_contrasts(comparing: Comparing, phase: Hashable) -> list[Row]:
    """Contrasts of one phase by Welch's t, with Hedges g."""
    rows = []
    for group, reference in comparing.pairs:
        a, b = (comparing.of(name, comparing.at(phase)) for name in (group, reference))
        result, effect, method = NO_ESTIMATE, NO_EFFECT, ""
        reason = _why_not(comparing, a, b, group, reference)
        if not reason:
            result, method = comparing.two_samples(a, b)
            effect = (
                NO_EFFECT
                if comparing.clusters
                else hedges_g(
                    (a.mean(), b.mean()),
                    (a.std(ddof=1), b.std(ddof=1)),
                    (a.size, b.size),
                    level=comparing.level,
                )
            )
        elif a.size and b.size:
            result = replace(NO_ESTIMATE, estimate=float(a.mean() - b.mean()))
        row = CONTRAST.row(
            phase=phase,
            group=group,
            reference=reference,
            effect=comparing.effect,
            adjusted=False,
            n_group=a.size,
            n_reference=b.size,
            **how(method + comparing.of_what(), reason),
            **comparing.told(result),
            **standardised(effect),
        )
        rows.append(row)
    return rows


@dataclass(frozen=True)
class Adjusted:
    """Analysis of covariance of one phase, or the reason why there is none.

    ``terms`` and ``levels`` say what each covariate of the model is.
    """

    phase: Hashable
    groups: tuple[Hashable, ...]
    sizes: dict[Hashable, int]
    model: Ancova | None
    sd: float
    reason: str
    terms: tuple[str, ...] = ()
    levels: tuple[str, ...] = ()


def adjust_for_baseline(comparing: Comparing, phase: Hashable) -> Adjusted:
    """Fit the analysis of covariance of one phase on the participants that have all it needs."""
    data = comparing.data
    x, terms, levels = _beside(comparing)
    y = comparing.at(phase)
    both = ~np.isnan(y) & ~np.isnan(x).any(axis=1)
    sizes = {name: int((both & (data.codes == i)).sum()) for i, name in enumerate(data.groups)}
    present = tuple(name for name in data.groups if sizes[name])
    codes = np.array([present.index(data.groups[c]) for c in data.codes[both]], dtype=np.intp)
    try:
        names = [f"{term} {level}".strip() for term, level in zip(terms, levels)]
        model = ancova(y[both], codes, x[both], names=names, variance=comparing.variance)
    except FitError as problem:
        reason = _too_few_classes(comparing, sizes) or str(problem)
        return Adjusted(phase, present, sizes, None, NAN, reason)
    away = y[both] - np.array([y[both][codes == g].mean() for g in range(len(present))])[codes]
    sd = float(np.sqrt(away @ away / max(len(away) - len(present), 1)))
    flat = not model.fit.sse > 1e-24 * max(float(y[both] @ y[both]), 1e-300)
    reason = why_flat(y[both], codes, present) if flat else ""
    return Adjusted(phase, present, sizes, None if flat else model, sd, reason, terms, levels)


def _too_few_classes(comparing: Comparing, sizes: dict[Hashable, int]) -> str:
    """Why classes cannot be compared: with one in a group, it and its schedule are the same."""
    few = [f"{name} has {size}" for name, size in sizes.items() if size < 2]
    if comparing.clusters is None or not few:
        return ""
    unit = comparing.clusters.unit
    return (
        f"with one {unit} in a group nothing tells the {unit} from its schedule "
        f"({', '.join(few)}); allocate several of each, or describe them and test nothing"
    )


def _beside(comparing: Comparing) -> tuple[NDArray[np.float64], tuple[str, ...], tuple[str, ...]]:
    """Columns that scores are adjusted for, and what each stands for."""
    blocks, terms, levels = [], [], []
    if comparing.baseline is not None:
        blocks.append(comparing.at(comparing.baseline)[:, None])
        terms.append(str(comparing.baseline))
        levels.append("")
    if comparing.covariates is not None:
        blocks.append(comparing.covariates.values)
        terms += comparing.covariates.terms
        levels += comparing.covariates.levels
    return np.hstack(blocks), tuple(terms), tuple(levels)


def adjusted_contrasts(comparing: Comparing, adjusted: Adjusted) -> list[Row]:
    """Contrasts of one phase adjusted for the baseline, with Hedges g."""
    rows = []
    for group, reference in comparing.pairs:
        sizes = (adjusted.sizes[group], adjusted.sizes[reference])
        result, effect = NO_ESTIMATE, NO_EFFECT
        reason = adjusted.reason or _empty_side(comparing, sizes, group, reference)
        if not reason and adjusted.model is not None:
            places = [adjusted.groups.index(name) for name in (group, reference)]
            result = adjusted.model.difference(*places, level=comparing.level)
            effect = (
                NO_EFFECT
                if comparing.clusters
                else adjusted_g(
                    result.estimate, result.std_error, adjusted.sd, result.df, level=comparing.level
                )
            )
        row = CONTRAST.row(
            phase=adjusted.phase,
            group=group,
            reference=reference,
            effect=comparing.effect,
            adjusted=True,
            n_group=sizes[0],
            n_reference=sizes[1],
            **how(comparing.ancova_method, reason),
            **comparing.told(result),
            **standardised(effect),
        )
        rows.append(row)
    return rows


def adjusted_mean_rows(comparing: Comparing, adjusted: Adjusted) -> list[Row]:
    """Adjusted mean of every group at one phase."""
    rows = []
    for group in comparing.data.groups:
        mean = NO_ESTIMATE
        if adjusted.model is not None and group in adjusted.groups:
            mean = adjusted.model.adjusted_mean(adjusted.groups.index(group), level=comparing.level)
        told = comparing.told(mean)
        asked = {name: told[name] for name in ADJUSTED.names if name in told}
        rows.append(ADJUSTED.row(phase=adjusted.phase, group=group, **asked))
    return rows


def contrast_frame(
    rows: list[Row], *, adjust_by: str, family: Iterable[Hashable] | None
) -> pd.DataFrame:
    """Rows of contrasts with Holm's p within each declared family.

    Without a family every phase is one of its own; with one, the contrasts of these phases are
    one family and those of other phases belong to none. Adjusted and unadjusted contrasts are
    two analyses and never share a family.
    """
    frame = CONTRAST.frame(rows)
    if adjust_by == "none":
        return frame
    declared = None if family is None else set(family)
    for adjusted in (False, True):
        chosen = frame["adjusted"] == adjusted
        for phase in frame["phase"].unique() if declared is None else [None]:
            inside = (
                frame["phase"].isin(declared) if declared is not None else frame["phase"] == phase
            )
            where = chosen & inside
            frame.loc[where, "p_adjusted"] = holm(frame.loc[where, "p"].to_numpy(dtype=float))
    return frame


def adjusted_mean_frame(rows: list[Row]) -> pd.DataFrame:
    """Rows of adjusted means as a frame."""
    return ADJUSTED.frame(rows)


def standardised(effect: StandardisedEffect) -> Row:
    """Give a standardised effect by the names it has in a row."""
    return {"g": effect.g, "g_low": effect.conf_low, "g_high": effect.conf_high}


def _why_not(
    comparing: Comparing,
    a: NDArray[np.float64],
    b: NDArray[np.float64],
    group: Hashable,
    reference: Hashable,
) -> str:
    few = comparing.too_few({group: a.size, reference: b.size})
    if few or np.ptp(a) > 0 or np.ptp(b) > 0:
        return few
    return "the scores of both groups are constant"


def _empty_side(
    comparing: Comparing, sizes: tuple[int, int], group: Hashable, reference: Hashable
) -> str:
    empty = [str(name) for name, n in zip((group, reference), sizes) if n == 0]
    if empty:
        return f"nobody has both scores in {', '.join(empty)}"
    return comparing.too_few({group: sizes[0], reference: sizes[1]}) if comparing.clusters else ""
