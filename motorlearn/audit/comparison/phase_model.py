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
from motorlearn.linear import (
    Ancova,
    ancova,
    fit_least_squares,
    welch,
)
from motorlearn.linear.hypotheses import Estimate, t_estimate
from motorlearn.linear.least_squares import LeastSquares

Floats = NDArray[np.float64]


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
    unit : str
        What was allocated, and stands in the place of a participant.
    """

    phase: Hashable
    participants: NDArray[Any]
    y: Floats
    x: Floats
    codes: NDArray[np.intp]
    groups: tuple[Hashable, ...]
    pairs: tuple[tuple[int, int], ...]
    ratio: bool
    adjusted: bool
    variance: str = "equal"
    counted: bool = False
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
        )

    def rescaled(self) -> "PhaseModel":
        """The model on logarithms, or back on raw scores where it was on logarithms."""
        turn = np.exp if self.ratio else np.log
        return replace(self, y=turn(self.y), x=turn(self.x), ratio=not self.ratio)

    @property
    def positive(self) -> bool:
        """Whether logarithms exist."""
        values = np.concatenate([self.y, self.x if self.adjusted else self.y])
        return self.ratio or bool(np.nanmin(values) > 0)

    def analysis(self) -> Ancova | None:
        """Analysis of covariance of the complete cases, or none without a baseline."""
        return self._analysis if self.adjusted else None

    @cached_property
    def _analysis(self) -> Ancova:
        whole, names = self.complete, ["baseline"]
        return ancova(whole.y, whole.codes, whole.x, names=names, variance=self.variance)

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

    def weights(self, pair: tuple[int, int]) -> Floats:
        """Contrast weights of a pair of groups."""
        unit = np.eye(len(self.groups))
        return np.asarray(unit[pair[0]] - unit[pair[1]], dtype=float)

    def coefficient_weights(self, pair: tuple[int, int], fit: LeastSquares) -> Floats:
        """Weights of the coefficients of ``fit`` in a contrast of two groups."""
        present = [code for code in range(len(self.groups)) if code in self.complete.codes]
        unit = np.array([float(code == pair[0]) - float(code == pair[1]) for code in present])
        others = unit[1:] if self.adjusted else unit
        row = np.zeros(fit.design.shape[1])
        start = 1 if self.adjusted else 0
        row[start : start + len(others)] = others
        return row

    def places(self) -> NDArray[np.intp]:
        """Group of each participant used, counted over the groups that are present."""
        return np.unique(self.complete.codes, return_inverse=True)[1]

    def label(self, pair: tuple[int, int]) -> str:
        """Name of a contrast."""
        sign, kind = ("/", "ratio") if self.ratio else ("−", "difference")
        return f"{self.groups[pair[0]]} {sign} {self.groups[pair[1]]}, {kind}"

    def welch_of(self, pair: tuple[int, int]) -> Estimate:
        """Welch's comparison of a pair of groups, the baseline left aside."""
        return welch(*(self.y[self.codes == code] for code in pair))

    def pooled_of(self, pair: tuple[int, int]) -> Estimate:
        """Comparison of a pair of groups with the variance of these two."""
        sides = [self.y[self.codes == code] for code in pair]
        squares = sum(float(np.sum((side - side.mean()) ** 2)) for side in sides)
        df = sum(side.size for side in sides) - 2
        error = np.sqrt(squares / df * sum(1 / side.size for side in sides)) if df > 0 else np.nan
        return t_estimate(float(sides[0].mean() - sides[1].mean()), float(error), df)

    def conclude(
        self, pair: tuple[int, int], estimate: float, low: float, high: float, p: float
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
                t = model.difference(*pair, covariance=covariance)
            elif self.by_group:
                t = whole.welch_of(pair)
            else:
                t = whole.pooled_of(pair)
            found.append(self.conclude(pair, t.estimate, t.conf_low, t.conf_high, t.p))
        return tuple(found)


def phase_model(result: PhaseComparison, phase: Hashable) -> PhaseModel:
    """Take one test out of a comparison of phases."""
    options = result.recipe.options
    baseline = options["baseline"]
    groups = tuple(options["groups"])
    wide = result.scores.pivot(index="participant", columns="phase", values="score")
    group_of = result.scores.drop_duplicates("participant").set_index("participant")["group"]
    adjusted = baseline is not None and phase != baseline
    empty = pd.Series(np.nan, index=wide.index)
    y, x = wide.get(phase, empty), wide[baseline] if adjusted else empty
    ratio = options["effect"] == "ratio"
    scale = np.log if ratio else np.asarray
    rows = result.contrasts[
        (result.contrasts["phase"] == phase) & (result.contrasts["adjusted"] == adjusted)
    ]
    return PhaseModel(
        phase=phase,
        participants=wide.index.to_numpy(),
        y=scale(y.to_numpy(dtype=float)),
        x=scale(x.to_numpy(dtype=float)),
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
        unit=options.get("unit", "participant"),
    )


def is_counted(result: PhaseComparison | BlockComparison) -> bool:
    """Whether the scores are rates of hits among attempts."""
    columns = result.recipe.columns
    return "attempts" in columns or columns["outcome"] in ("hit", "hits", "hit_rate")
