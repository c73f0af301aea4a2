"""The comparison of groups at one test, taken apart so that its remedies can be run beside it."""

from collections.abc import Hashable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from motorlearn.audit.report import Conclusion
from motorlearn.compare import BlockComparison, PhaseComparison
from motorlearn.linear import (
    Ancova,
    BatchContrast,
    ancova,
    ancova_batch,
    estimate_by_group,
    fit_least_squares,
    welch,
)
from motorlearn.linear.hypotheses import Estimate
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

    @property
    def by_group(self) -> bool:
        """Whether the contrasts allow every group its own variance, as Welch's t does."""
        return self.variance == "by group" or not self.adjusted

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
            else:
                t = whole.welch_of(pair)
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
    )


def is_counted(result: PhaseComparison | BlockComparison) -> bool:
    """Whether the scores are rates of hits among attempts."""
    columns = result.recipe.columns
    return "attempts" in columns or columns["outcome"] in ("hit", "hits", "hit_rate")


def bootstrapped(model: PhaseModel, *, resamples: int, seed: int) -> tuple[Conclusion, ...]:
    """Contrasts by the studentised bootstrap, residuals drawn anew within their groups.

    Residuals without any effect are drawn for everybody from the own group's, put on one footing
    for their leverage, and t is computed each time with a variance for each group; its tails take
    the place of Student's. Groups are drawn in the order of their names, so that their order in
    the plan changes nothing.

    References
    ----------
    Efron, B., & Tibshirani, R. J. (1993). An introduction to the bootstrap, chapters 9 and 12.
    """
    fit, whole = model.fit(), model.complete
    noise = _residuals_drawn(fit, whole, resamples, np.random.default_rng(seed))
    away = noise - noise @ fit.design @ fit.unscaled @ fit.design.T
    unit = np.eye(model.places().max() + 1)[model.places()]
    df = np.maximum((1 - fit.leverage) @ unit, 1e-12)
    found = []
    for pair in model.pairs:
        weights = model.coefficient_weights(pair, fit)
        loads = weights @ fit.unscaled @ fit.design.T
        errors = np.sqrt(away**2 @ unit / df @ (loads**2 @ unit))
        t = (noise @ loads)[errors > 0] / errors[errors > 0]
        own = estimate_by_group(fit, weights, model.places())
        low, high = own.estimate - own.std_error * np.quantile(t, [0.975, 0.025])
        tail = min(np.sum(t >= own.statistic), np.sum(t <= own.statistic)) + 1
        p = min(1.0, 2 * float(tail) / (len(t) + 1))
        found.append(model.conclude(pair, own.estimate, float(low), float(high), p))
    return tuple(found)


def _residuals_drawn(
    fit: LeastSquares, whole: PhaseModel, resamples: int, rng: np.random.Generator
) -> Floats:
    """Centred residuals of every group, drawn anew within it, shape (resamples, n)."""
    residual = fit.residuals / np.sqrt(np.maximum(1 - fit.leverage, 1e-12))
    drawn = np.empty((resamples, fit.n))
    for code in sorted(np.unique(whole.codes), key=lambda code: str(whole.groups[code])):
        members = np.flatnonzero(whole.codes == code)
        own = residual[members] - residual[members].mean()
        drawn[:, members] = rng.choice(own, size=(resamples, len(members)))
    return drawn


def at_baseline(model: PhaseModel, quantile: float = 0.5) -> tuple[Conclusion, ...]:
    """Contrasts with a slope and a variance for each group, read at a quantile of the baseline."""
    whole = model.complete
    point = float(np.quantile(whole.x, quantile))
    unit = np.eye(len(model.groups))[whole.codes]
    fit = fit_least_squares(np.hstack([unit, unit * (whole.x - point)[:, None]]), whole.y)
    found = []
    for pair in model.pairs:
        c = np.concatenate([model.weights(pair), np.zeros(len(model.groups))])
        t = estimate_by_group(fit, c, whole.codes)
        found.append(model.conclude(pair, t.estimate, t.conf_low, t.conf_high, t.p))
    return tuple(found)


def imputed(
    model: PhaseModel, pair: tuple[int, int], shifts: Floats, *, draws: int = 200, seed: int = 0
) -> list[Conclusion]:
    """A contrast with missing scores imputed from the baseline, shifted in the first group.

    Scores are drawn from the model fitted to the complete cases, parameters drawn anew for each
    imputation, and combined by Rubin's rules; ``shifts`` are added to the imputed scores of the
    first group of the pair, on the scale of the analysis.
    """
    fit, missing = model.fit(), ~np.isfinite(model.y)
    whole = model.subset(
        model.used | (missing & (np.isfinite(model.x) if model.adjusted else True))
    )
    missing = ~np.isfinite(whole.y)
    rng = np.random.default_rng(seed)
    sigma = np.sqrt(fit.sse / rng.chisquare(fit.df, draws))
    root = np.linalg.cholesky(fit.unscaled)
    beta = fit.coefficients + sigma[:, None] * (rng.normal(size=(draws, len(root))) @ root.T)
    drawn = beta @ _design(whole, missing).T + sigma[:, None] * rng.normal(
        size=(draws, missing.sum())
    )
    y = np.repeat(whole.y[None], draws, axis=0)
    x = np.repeat(whole.x[None], draws, axis=0)
    shifted = whole.codes[missing] == pair[0]
    found = []
    for shift in shifts:
        y[:, missing] = drawn + shift * shifted
        found.append(_rubin(model, pair, _contrast(whole, pair, y, x), fit.df))
    return found


def permuted(
    model: PhaseModel,
    *,
    blocks: NDArray[Any] | None = None,
    permutations: int = 4999,
    seed: int = 0,
) -> tuple[Conclusion, ...]:
    """Permutation p of each contrast; labels move only inside the blocks they were drawn in.

    The statistic is the t of the adjusted contrast; every permutation moves the group labels of
    all groups, so the null hypothesis is that of no effect on anybody.
    """
    whole = model.complete
    strata = np.zeros(len(whole.y), dtype=int) if blocks is None else blocks[model.used]
    rng = np.random.default_rng(seed)
    codes = np.repeat(whole.codes[None], permutations, axis=0)
    for stratum in np.unique(strata):
        members = np.flatnonzero(strata == stratum)
        codes[:, members] = rng.permuted(codes[:, members], axis=1)
    y = np.repeat(whole.y[None], permutations, axis=0)
    x = np.repeat(whole.x[None], permutations, axis=0) if model.adjusted else None
    found = []
    for pair, before in zip(model.pairs, model.conclusions()):
        weights = model.weights(pair)
        drawn = ancova_batch(y, codes, x, weights=weights)
        here = ancova_batch(
            whole.y[None], whole.codes, whole.x[None] if model.adjusted else None, weights=weights
        )
        t = np.abs(here.estimate / here.std_error)[0]
        as_large = np.abs(drawn.estimate / drawn.std_error) >= t * (1 - 1e-12)
        p = (1 + as_large.sum()) / (1 + permutations)
        found.append(replace(before, p=float(p)))
    return tuple(found)


def _contrast(model: PhaseModel, pair: tuple[int, int], y: Floats, x: Floats) -> BatchContrast:
    return ancova_batch(y, model.codes, x if model.adjusted else None, weights=model.weights(pair))


def _design(model: PhaseModel, rows: NDArray[np.bool_]) -> Floats:
    unit = np.eye(len(model.groups))[model.codes[rows]]
    if not model.adjusted:
        return unit
    return np.column_stack([np.ones(rows.sum()), unit[:, 1:], model.x[rows]])


def _rubin(
    model: PhaseModel, pair: tuple[int, int], contrast: BatchContrast, df: float
) -> Conclusion:
    m = len(contrast.estimate)
    estimate, within = contrast.estimate.mean(), np.mean(contrast.std_error**2)
    between = contrast.estimate.var(ddof=1) * (1 + 1 / m)
    total = within + between
    lost = between / total
    old = (m - 1) / max(lost, 1e-12) ** 2
    observed = (df + 1) / (df + 3) * df * (1 - lost)
    used = old * observed / (old + observed)
    error = np.sqrt(total)
    reach = stats.t.isf(0.025, used) * error
    p = 2 * stats.t.sf(abs(estimate) / error, used)
    return model.conclude(pair, estimate, estimate - reach, estimate + reach, p)
