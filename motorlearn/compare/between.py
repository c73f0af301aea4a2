"""Groups against each other at one phase: means, contrasts, analysis of covariance."""

from collections.abc import Hashable, Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.compare.comparison import (
    ADJUSTED_COLUMNS,
    CONTRAST_COLUMNS,
    MEAN_COLUMNS,
    OMNIBUS_COLUMNS,
)
from motorlearn.compare.participants import PhaseScores
from motorlearn.exceptions import FitError
from motorlearn.linear.ancova import Ancova, ancova
from motorlearn.linear.hypotheses import Estimate, FTest
from motorlearn.linear.multiplicity import holm
from motorlearn.linear.samples import one_sample, welch, welch_one_way
from motorlearn.measures.effect_sizes import (
    NO_EFFECT,
    StandardisedEffect,
    adjusted_g,
    hedges_g,
)

NAN = float("nan")
NO_ESTIMATE = Estimate(*(NAN,) * 7)
WELCH = "Welch t of participants' scores"
ANCOVA = "analysis of covariance of participants' scores"


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
        Residual variance of the analysis of covariance.
    """

    data: PhaseScores
    pairs: tuple[tuple[Hashable, Hashable], ...]
    effect: str
    level: float
    baseline: Hashable | None
    variance: str = "equal"

    @property
    def values(self) -> NDArray[np.float64]:
        """Scores on the scale of the analysis."""
        return np.log(self.data.scores) if self.effect == "ratio" else self.data.scores

    def at(self, phase: Hashable) -> NDArray[np.float64]:
        """Values of one phase on the scale of the analysis."""
        return self.values[:, self.data.phases.index(phase)]

    def of(self, group: Hashable, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Values of one group that are present."""
        mine = values[self.data.codes == self.data.groups.index(group)]
        return mine[~np.isnan(mine)]

    def spread(self, phase: Hashable) -> tuple[float, int]:
        """Pooled standard deviation of participants within groups, and its degrees of freedom."""
        samples = [self.of(name, self.at(phase)) for name in self.data.groups]
        samples = [mine for mine in samples if mine.size]
        df = sum(mine.size for mine in samples) - len(samples)
        squares = sum(float(np.sum((mine - mine.mean()) ** 2)) for mine in samples)
        return (float(np.sqrt(squares / df)) if df > 0 else NAN), df

    def shown(self, value: float) -> float:
        """A value of the analysis on the scale on which it is reported."""
        return float(np.exp(value)) if self.effect == "ratio" else float(value)

    def shown_estimate(self, result: Estimate) -> tuple[float, float, float]:
        """Estimate and limits on the scale on which they are reported."""
        low, high = self.shown(result.conf_low), self.shown(result.conf_high)
        return self.shown(result.estimate), low, high

    @property
    def suffix(self) -> str:
        """What the method says about the scale."""
        return " on logarithms" if self.effect == "ratio" else ""

    @property
    def ancova_method(self) -> str:
        """Name of the analysis of covariance, with its scale and its variance."""
        own = ", a variance for each group" if self.variance == "by group" else ""
        return ANCOVA + self.suffix + own


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
            low, high = (mean.estimate,) * 2 if same else (mean.conf_low, mean.conf_high)
            rows.append((phase, group, scores.size, mean.estimate, sd, low, high))
    return pd.DataFrame(rows, columns=list(MEAN_COLUMNS))


def unadjusted_contrasts(comparing: Comparing, phase: Hashable) -> list[tuple]:
    """Contrasts of one phase by Welch's t, with Hedges g."""
    rows = []
    for group, reference in comparing.pairs:
        a, b = (comparing.of(name, comparing.at(phase)) for name in (group, reference))
        result, effect, reason = NO_ESTIMATE, NO_EFFECT, _why_not(a, b, group, reference)
        if not reason:
            result = welch(a, b, level=comparing.level)
            effect = hedges_g(
                (a.mean(), b.mean()),
                (a.std(ddof=1), b.std(ddof=1)),
                (a.size, b.size),
                level=comparing.level,
            )
        elif a.size and b.size:
            result = Estimate(float(a.mean() - b.mean()), NAN, NAN, NAN, NAN, NAN, NAN)
        method = reason or WELCH + comparing.suffix
        rows.append(
            _row(
                comparing,
                (phase, group, reference, False),
                result,
                effect,
                (a.size, b.size),
                method,
            )
        )
    return rows


@dataclass(frozen=True)
class Adjusted:
    """Analysis of covariance of one phase, or the reason why there is none."""

    phase: Hashable
    groups: tuple[Hashable, ...]
    sizes: dict[Hashable, int]
    model: Ancova | None
    sd: float
    reason: str


def adjust_for_baseline(comparing: Comparing, phase: Hashable) -> Adjusted:
    """Fit the analysis of covariance of one phase on the participants that have both scores."""
    data = comparing.data
    y, x = comparing.at(phase), comparing.at(comparing.baseline)
    both = ~np.isnan(y) & ~np.isnan(x)
    sizes = {name: int((both & (data.codes == i)).sum()) for i, name in enumerate(data.groups)}
    present = tuple(name for name in data.groups if sizes[name])
    codes = np.array([present.index(data.groups[c]) for c in data.codes[both]], dtype=np.intp)
    try:
        names = [str(comparing.baseline)]
        model = ancova(y[both], codes, x[both], names=names, variance=comparing.variance)
    except FitError as problem:
        return Adjusted(phase, present, sizes, None, NAN, f"not computed: {problem}")
    away = y[both] - np.array([y[both][codes == g].mean() for g in range(len(present))])[codes]
    sd = float(np.sqrt(away @ away / max(len(away) - len(present), 1)))
    flat = not model.fit.sse > 1e-24 * max(float(y[both] @ y[both]), 1e-300)
    reason = "not computed: the scores leave no residual spread" if flat else ""
    return Adjusted(phase, present, sizes, None if flat else model, sd, reason)


def adjusted_contrasts(comparing: Comparing, adjusted: Adjusted) -> list[tuple]:
    """Contrasts of one phase adjusted for the baseline, with Hedges g."""
    rows = []
    for group, reference in comparing.pairs:
        sizes = (adjusted.sizes[group], adjusted.sizes[reference])
        result, effect = NO_ESTIMATE, NO_EFFECT
        method = adjusted.reason or _empty_side(sizes, group, reference)
        if not method and adjusted.model is not None:
            places = [adjusted.groups.index(name) for name in (group, reference)]
            result = adjusted.model.difference(*places, level=comparing.level)
            effect = adjusted_g(
                result.estimate, result.std_error, adjusted.sd, result.df, level=comparing.level
            )
            method = comparing.ancova_method
        key = (adjusted.phase, group, reference, True)
        rows.append(_row(comparing, key, result, effect, sizes, method))
    return rows


def adjusted_mean_rows(comparing: Comparing, adjusted: Adjusted) -> list[tuple]:
    """Adjusted mean of every group at one phase."""
    rows = []
    for group in comparing.data.groups:
        mean = NO_ESTIMATE
        if adjusted.model is not None and group in adjusted.groups:
            mean = adjusted.model.adjusted_mean(adjusted.groups.index(group), level=comparing.level)
        shown, *limits = comparing.shown_estimate(mean)
        rows.append((adjusted.phase, group, shown, mean.std_error, mean.df, *limits))
    return rows


def omnibus_rows(comparing: Comparing, phase: Hashable, adjusted: Adjusted | None) -> list[tuple]:
    """Tests of all groups at one phase."""
    if len(comparing.data.groups) < 2:
        return []
    samples = [comparing.of(name, comparing.at(phase)) for name in comparing.data.groups]
    test = welch_one_way(samples)
    method = "Welch's one-way analysis" + comparing.suffix
    if np.isnan(test.statistic):
        method = "not computed: every group needs two participants whose scores differ"
    rows = [_f_row(phase, "group", test, method)]
    if adjusted is None:
        return rows
    if adjusted.model is None:
        empty = FTest(*(NAN,) * 7)
        return [*rows, _f_row(phase, "group", empty, adjusted.reason)]
    model, method = adjusted.model, comparing.ancova_method
    rows.append(_f_row(phase, "group", model.group_test, method))
    rows.append(_f_row(phase, str(comparing.baseline), model.covariate_tests[0], method))
    if model.slopes_test is not None:
        term = f"group:{comparing.baseline}"
        rows.append(_f_row(phase, term, model.slopes_test, method + ", test of parallel slopes"))
    return rows


def contrast_frame(
    rows: list[tuple], *, adjust_by: str, family: Iterable[Hashable] | None
) -> pd.DataFrame:
    """Rows of contrasts with Holm's p within each declared family.

    Without a family every phase is one of its own; with one, the contrasts of these phases are
    one family and those of other phases belong to none. Adjusted and unadjusted contrasts are
    two analyses and never share a family.
    """
    frame = pd.DataFrame(rows, columns=list(CONTRAST_COLUMNS))
    frame["p_adjusted"] = NAN
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


def adjusted_mean_frame(rows: list[tuple]) -> pd.DataFrame:
    """Rows of adjusted means as a frame."""
    return pd.DataFrame(rows, columns=list(ADJUSTED_COLUMNS))


def omnibus_frame(rows: list[tuple]) -> pd.DataFrame:
    """Rows of omnibus tests as a frame."""
    return pd.DataFrame(rows, columns=list(OMNIBUS_COLUMNS))


def _row(
    comparing: Comparing,
    key: tuple,
    result: Estimate,
    effect: StandardisedEffect,
    sizes: tuple[int, int],
    method: str,
) -> tuple:
    phase, group, reference, adjusted = key
    shown, *limits = comparing.shown_estimate(result)
    return (
        phase,
        group,
        reference,
        comparing.effect,
        adjusted,
        shown,
        result.std_error,
        result.df,
        result.statistic,
        result.p,
        NAN,
        *limits,
        effect.g,
        effect.conf_low,
        effect.conf_high,
        *sizes,
        method,
    )


def _f_row(phase: Hashable, term: str, test: FTest, method: str) -> tuple:
    return (phase, term, test.df1, test.df2, test.statistic, test.p, test.partial_eta2, method)


def _why_not(a: NDArray, b: NDArray, group: Hashable, reference: Hashable) -> str:
    small = [f"{name} has {x.size}" for name, x in ((group, a), (reference, b)) if x.size < 2]
    if small:
        return "not computed: two participants per group are needed, " + ", ".join(small)
    if not (np.ptp(a) > 0 or np.ptp(b) > 0):
        return "not computed: the scores of both groups are constant"
    return ""


def _empty_side(sizes: tuple[int, int], group: Hashable, reference: Hashable) -> str:
    empty = [str(name) for name, n in zip((group, reference), sizes) if n == 0]
    return f"not computed: nobody has both scores in {', '.join(empty)}" if empty else ""
