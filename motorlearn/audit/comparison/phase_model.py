"""The comparison of groups at one test, taken apart so that its remedies can be run beside it."""

from collections.abc import Hashable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from motorlearn.audit.report import Conclusion
from motorlearn.compare import BlockComparison, PhaseComparison
from motorlearn.compare.crossing import MAIN, CellContrast, crossing_of, labels_of
from motorlearn.linear import (
    Ancova,
    ancova,
    estimate_by_group,
    estimate_contrast,
    fit_least_squares,
    welch,
)
from motorlearn.linear.hypotheses import Estimate, t_estimate
from motorlearn.linear.least_squares import LeastSquares

Floats = NDArray[np.float64]
Pair = tuple[int, int] | CellContrast
"""A contrast: two groups, or an effect of the factors whose cells the groups are."""


@dataclass(frozen=True)
class PhaseModel:
    """Scores of one test on the scale of the analysis, with the baseline where there is one.

    Attributes
    ----------
    phase : hashable
        The test.
    participants : ndarray, shape (n,)
        Everybody with a score at the test or at the baseline.
    y, x : ndarray, shape (n,)
        Score and baseline; NaN where missing. ``x`` is all NaN without a baseline.
    codes : ndarray of int, shape (n,)
        Group of each participant, a position in ``groups``.
    groups : tuple
        Names of the groups.
    pairs : tuple of (int, int)
        Contrasts, group against reference.
    ratio : bool
        Whether the scale is logarithmic and effects are ratios.
    adjusted : bool
        Whether the baseline is in the model.
    variance : {"equal", "by group"}
        Residual variance of the analysis of covariance.
    counted : bool
        Whether the scores are rates of hits among attempts.
    more : ndarray, shape (n, covariates), or None
        All that the analysis adjusts for, where that is more than the baseline; ``x`` is then
        their combination as the analysis fits it, by which remedies adjust.
    unit : str
        What was allocated, and stands in the place of a participant.
    """

    phase: Hashable
    participants: NDArray[Any]
    y: Floats
    x: Floats
    codes: NDArray[np.intp]
    groups: tuple[Hashable, ...]
    pairs: tuple[Pair, ...]
    ratio: bool
    adjusted: bool
    variance: str = "equal"
    counted: bool = False
    more: Floats | None = None
    with_baseline: bool = True
    unit: str = "participant"

    @property
    def by_group(self) -> bool:
        """Whether the contrasts allow every group its own variance, as Welch's t does."""
        welch_by_default = not self.adjusted and self.unit == "participant"
        return self.variance == "by group" or welch_by_default

    @property
    def used(self) -> NDArray[np.bool_]:
        """Participants the model can use."""
        there = np.isfinite(self.y)
        return there & np.isfinite(self.x) if self.adjusted else there

    @cached_property
    def complete(self) -> "PhaseModel":
        """The model with only the participants it can use."""
        return self.subset(self.used)

    def subset(self, keep: NDArray[np.bool_]) -> "PhaseModel":
        """The model with some participants."""
        return replace(
            self,
            participants=self.participants[keep],
            y=self.y[keep],
            x=self.x[keep],
            codes=self.codes[keep],
            more=None if self.more is None else self.more[keep],
        )

    def rescaled(self) -> "PhaseModel":
        """The model on logarithms, or back on raw scores where it was on logarithms."""
        turn = np.exp if self.ratio else np.log
        other = replace(self, y=turn(self.y), ratio=not self.ratio)
        if self.more is None:
            return replace(other, x=turn(self.x))
        return combined(
            replace(
                other,
                more=np.column_stack([turn(self.more[:, 0]), self.more[:, 1:]])
                if self.with_baseline
                else self.more,
            )
        )

    @property
    def positive(self) -> bool:
        """Whether logarithms exist."""
        start = self.y if not self.adjusted else self.x
        if self.more is not None:
            start = self.more[:, 0] if self.with_baseline else self.y
        values = np.concatenate([self.y, start])
        return self.ratio or bool(np.nanmin(values) > 0)

    def analysis(self) -> Ancova | None:
        """Analysis of covariance of the complete cases, or none without a baseline."""
        return self._analysis if self.adjusted else None

    @cached_property
    def _analysis(self) -> Ancova:
        whole, names = self.complete, ["baseline"]
        x = whole.x if whole.more is None else whole.more
        codes = self.places()
        return ancova(whole.y, codes, x, names=names if x.ndim == 1 else (), variance=self.variance)

    def fit(self) -> LeastSquares:
        """The linear model behind the comparison, complete cases."""
        model = self.analysis()
        if model is not None:
            return model.fit
        whole = self.complete
        columns = np.eye(len(self.groups))[whole.codes]
        present = np.asarray(columns.any(axis=0))
        names = [str(name) for name, here in zip(self.groups, present) if here]
        return fit_least_squares(columns[:, present], whole.y, names=names)

    def weights(self, pair: Pair) -> Floats:
        """Contrast weights of a pair of groups, or of an effect of factors."""
        if isinstance(pair, CellContrast):
            return np.array(pair.weights)
        unit = np.eye(len(self.groups))
        return np.asarray(unit[pair[0]] - unit[pair[1]], dtype=float)

    def moved(self, pair: Pair, missing: NDArray[np.bool_]) -> Floats:
        """How a shift of a contrast moves the missing scores: 1, -1, or 0 for not at all.

        Those of the first side are moved; where only the second side lacks scores, those of it,
        the other way, so that the contrast is moved alike.
        """
        weights = self.weights(pair)[self.codes]
        first = missing & (weights > 0)
        if first.any():
            return first.astype(float)
        return -(missing & (weights < 0)).astype(float)

    def coefficient_weights(self, pair: Pair, fit: LeastSquares) -> Floats:
        """Weights of the coefficients of ``fit`` in a contrast of two groups."""
        present = [code for code in range(len(self.groups)) if code in self.complete.codes]
        unit = self.weights(pair)[present]
        others = unit[1:] if self.adjusted else unit
        row = np.zeros(fit.design.shape[1])
        start = 1 if self.adjusted else 0
        row[start : start + len(others)] = others
        return row

    def places(self) -> NDArray[np.intp]:
        """Group of each participant used, counted over the groups that are present."""
        return np.unique(self.complete.codes, return_inverse=True)[1]

    def label(self, pair: Pair, *, scale: str = "") -> str:
        """Name of a contrast, on its own scale or on another one that is a ratio."""
        sign, kind = ("/", "ratio") if self.ratio or scale else ("−", "difference")
        kind = scale or kind
        if isinstance(pair, CellContrast):
            group, reference = labels_of(vars(pair))
            over = f", averaged over {pair.factor}" if pair.kind == MAIN else ""
            return f"{group} {sign} {reference}{over}, {pair.kind}"
        return f"{self.groups[pair[0]]} {sign} {self.groups[pair[1]]}, {kind}"

    def welch_of(self, pair: Pair) -> Estimate:
        """Welch's comparison of a pair of groups, or of cells, the baseline left aside."""
        if isinstance(pair, CellContrast):
            plain = replace(self, adjusted=False, more=None)
            fit = plain.fit()
            return estimate_by_group(fit, plain.coefficient_weights(pair, fit), plain.places())
        return welch(*(self.y[self.codes == code] for code in pair))

    def pooled_of(self, pair: Pair) -> Estimate:
        """Comparison of a pair of groups with the variance of these two, or of cells with one."""
        if isinstance(pair, CellContrast):
            plain = replace(self, adjusted=False, more=None)
            fit = plain.fit()
            return estimate_contrast(fit, plain.coefficient_weights(pair, fit))
        sides = [self.y[self.codes == code] for code in pair]
        squares = sum(float(np.sum((side - side.mean()) ** 2)) for side in sides)
        df = sum(side.size for side in sides) - 2
        error = np.sqrt(squares / df * sum(1 / side.size for side in sides)) if df > 0 else np.nan
        return t_estimate(float(sides[0].mean() - sides[1].mean()), float(error), df)

    def conclude(
        self, pair: Pair, estimate: float, low: float, high: float, p: float
    ) -> Conclusion:
        """A conclusion on the scale on which it is reported."""
        a, b, c = np.exp([estimate, low, high]) if self.ratio else (estimate, low, high)
        null = 1.0 if self.ratio else 0.0
        return Conclusion(self.label(pair), float(a), float(b), float(c), float(p), null)

    def conclusions(self, *, covariance: str | None = None) -> tuple[Conclusion, ...]:
        """Contrasts of the complete cases: covariance analysis, or Welch without a baseline."""
        model, whole, found = self.analysis(), self.complete, []
        for pair in self.pairs:
            if model is not None:
                present = np.unique(whole.codes)
                t = model.contrast(self.weights(pair)[present], covariance=covariance)
            elif self.by_group:
                t = whole.welch_of(pair)
            else:
                t = whole.pooled_of(pair)
            found.append(self.conclude(pair, t.estimate, t.conf_low, t.conf_high, t.p))
        return tuple(found)


def combined(model: PhaseModel) -> PhaseModel:
    """The model with ``x`` as the combination of all its covariates that the analysis fits."""
    if model.more is None:
        return model
    x = model.more
    known = replace(model, x=np.where(np.isnan(x).any(axis=1), np.nan, 0.0))
    fit = known.fit()
    slopes = fit.coefficients[len(np.unique(known.complete.codes)) :]
    return replace(model, x=x @ slopes)


def phase_model(result: PhaseComparison, phase: Hashable) -> PhaseModel:
    """Take one test out of a comparison of phases."""
    options = result.recipe.options
    baseline = options["baseline"]
    groups = tuple(options["groups"])
    wide = result.scores.pivot(index="participant", columns="phase", values="score")
    group_of = result.scores.drop_duplicates("participant").set_index("participant")["group"]
    covariates = _covariates(result, wide.index)
    adjusted = phase != baseline and (baseline is not None or covariates is not None)
    empty = pd.Series(np.nan, index=wide.index)
    with_baseline = adjusted and baseline is not None
    y, x = wide.get(phase, empty), wide[baseline] if with_baseline else empty
    ratio = options["effect"] == "ratio"
    scale = np.log if ratio else np.asarray
    rows = result.contrasts[
        (result.contrasts["phase"] == phase) & (result.contrasts["adjusted"] == adjusted)
    ]
    before = scale(x.to_numpy(dtype=float))
    more = None
    if adjusted and covariates is not None:
        more = np.column_stack([before, covariates]) if with_baseline else covariates
    model = PhaseModel(
        phase=phase,
        participants=wide.index.to_numpy(),
        y=scale(y.to_numpy(dtype=float)),
        x=before,
        codes=np.array([groups.index(group_of[name]) for name in wide.index], dtype=np.intp),
        groups=groups,
        pairs=tuple(
            (groups.index(row.group), groups.index(row.reference))
            for row in rows.itertuples()
            if np.isfinite(row.p)
        ),
        ratio=ratio,
        adjusted=adjusted,
        variance=options.get("variance", "equal"),
        counted=is_counted(result),
        more=more,
        with_baseline=baseline is not None,
        unit=options.get("unit", "participant"),
    )
    return combined(model) if model.pairs else model


def _covariates(result: PhaseComparison, people: pd.Index) -> Floats | None:
    """Covariates beside the baseline, in the order of the people; None where there are none."""
    if len(result.people.columns) < 2:
        return None
    own = result.people.set_index("participant").reindex(people)
    return np.asarray(own.to_numpy(dtype=float))


def effects_of(result: PhaseComparison) -> list[CellContrast]:
    """What was asked of the cells of two factors; nothing where groups are not crossed."""
    factors = result.recipe.options.get("factors")
    if not factors:
        return []
    return crossing_of(factors, tuple(result.recipe.options["groups"])).contrasts()


def is_counted(result: PhaseComparison | BlockComparison) -> bool:
    """Whether the scores are rates of hits among attempts."""
    columns = result.recipe.columns
    return "attempts" in columns or columns["outcome"] in ("hit", "hits", "hit_rate")
