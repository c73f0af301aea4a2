"""Assumptions of the mixed analysis of variance, groups by phases or by blocks."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Self

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from motorlearn import digits
from motorlearn.audit.context import Context
from motorlearn.audit.report import Check, Conclusion, Remedy, Step, judged, remedied
from motorlearn.compare import BlockComparison, PhaseComparison
from motorlearn.linear import repeated_anova, welch_one_way
from motorlearn.mixed import fit_mixed
from motorlearn.mixed.inference.degrees_of_freedom import f_test

Floats = NDArray[np.float64]

ANALYSIS = "mixed analysis of variance"


@dataclass(frozen=True)
class Repeated:
    """Scores of participants at the levels of one within factor, and their analysis of variance.

    Attributes
    ----------
    within : str
        Name of the factor, ``phase`` or ``block``; also its column in ``scores``.
    scores : DataFrame
        ``participant, group, score`` and the column of the factor, on the scale of the analysis.
    anova : DataFrame
        The analysis that was made.
    groups, levels : tuple
        Groups and levels in their order.
    ratio : bool
        Whether the scale is logarithmic.
    """

    within: str
    scores: pd.DataFrame
    anova: pd.DataFrame
    groups: tuple
    levels: tuple
    ratio: bool

    @classmethod
    def of(cls, result: PhaseComparison | BlockComparison) -> Self:
        """Take the repeated measures out of a comparison of phases or of blocks."""
        within = "block" if isinstance(result, BlockComparison) else "phase"
        ratio = result.recipe.options.get("effect") == "ratio"
        scores = result.scores
        if ratio:
            scores = scores.assign(score=np.log(scores["score"]))
        levels = result.recipe.options.get("phases", tuple(sorted(scores[within].unique())))
        groups = tuple(result.recipe.options["groups"])
        return cls(within, scores, result.anova, groups, tuple(levels), ratio)

    @property
    def wide(self) -> pd.DataFrame:
        """Participants by levels, missing cells included."""
        return self.scores.pivot(index="participant", columns=self.within, values="score")[
            list(self.levels)
        ]

    def complete(self) -> tuple[Floats, NDArray[np.intp]]:
        """Scores (participants, levels) and group codes of those without a missing cell."""
        wide = self.wide.dropna()
        group_of = self.scores.drop_duplicates("participant").set_index("participant")["group"]
        places = [self.groups.index(group_of[name]) for name in wide.index]
        _, codes = np.unique(np.array(places), return_inverse=True)
        return wide.to_numpy(dtype=float), codes.astype(np.intp)


def repeated_checks(
    result: PhaseComparison | BlockComparison, context: Context
) -> Iterator[tuple[str, Check]]:
    """Give the checks of groups by phases or blocks, where that analysis was made."""
    data = Repeated.of(result)
    if not data.anova["statistic"].notna().any():
        return
    scores, codes = data.complete()
    if len(scores) < 4:
        return
    if scores.shape[1] > 2:
        yield ANALYSIS, sphericity_check(data, context)
    if codes.max() > 0:
        yield ANALYSIS, covariance_check(scores, codes, data, context)
    yield ANALYSIS, cells_check(data, context)
    yield ANALYSIS, cell_shape_check(scores, codes, data, context)


def sphericity_check(data: Repeated, context: Context) -> Check:
    """Greenhouse and Geisser's epsilon, with Mauchly's test as support."""
    row = _focus(data)
    epsilon = float(row["epsilon_gg"])
    finding = (
        f"{row['term']}: epsilon {digits.number(epsilon, 3)} (GG), "
        f"{digits.number(float(row['epsilon_hf']), 3)} (HF); Mauchly W "
        f"{digits.number(float(row['mauchly_w']), 3)}, {digits.p_clause(row['mauchly_p'])}."
    )
    remedy = None
    if context.remedies:
        steps = tuple(
            Step(name, (_f_conclusion(str(row["term"]), row, row[column]),))
            for name, column in (("Greenhouse-Geisser", "p_gg"), ("Huynh-Feldt", "p_hf"))
        )
        remedy = Remedy((_f_conclusion(str(row["term"]), row, row["p"]),), steps)
    return judged(
        f"differences between {data.within}s vary alike (sphericity)",
        "Greenhouse-Geisser epsilon",
        epsilon,
        context.guide("epsilon"),
        finding,
        "Below .75 read the Greenhouse-Geisser p, above it Huynh-Feldt; or use a mixed model.",
        remedy=remedy,
    )


def covariance_check(scores, codes, data: Repeated, context: Context) -> Check:
    """Box's M over the groups, and unequal groups with unequal variances."""
    p = box_m(scores, codes)
    sizes = np.bincount(codes)
    sizes = sizes[sizes > 0]
    n_ratio = float(sizes.max() / sizes.min())
    check = judged(
        "groups have the same covariances",
        "p of Box's M",
        p,
        context.guide("box"),
        f"Box's M {digits.p_clause(p)}; largest over smallest group {digits.number(n_ratio)}.",
        "Compare the changes of the groups by Welch, or let the variance differ by group.",
        remedy=_welch_change(scores, codes, data) if context.remedies else None,
    )
    unequal = context.guide("n_ratio").grade(n_ratio) != "fine" and check.grade == "look"
    if not unequal:
        return check
    finding = f"{check.finding} Unequal groups make it worse."
    return Check(
        check.assumption, check.diagnostic, check.value, check.guide, "act", finding,
        check.advice, check.remedy,
    )  # fmt: skip


def cells_check(data: Repeated, context: Context) -> Check:
    """Who is lost to listwise deletion, and what a mixed model on everybody says."""
    wide = data.wide
    lacking = wide.isna().any(axis=1)
    lost = [str(name) for name in wide.index[lacking]]
    share = len(lost) / len(wide)
    names = f": {', '.join(lost[:8])}{' …' if len(lost) > 8 else ''}" if lost else ""
    return judged(
        f"every participant has every {data.within}",
        f"share of participants left out for a missing {data.within}",
        share,
        context.guide("dropped"),
        f"{len(lost)} of {len(wide)} left out{names}.",
        "Use a mixed model on all available scores.",
        remedy=remedied(lambda: _mixed_model(data)) if context.remedies and lost else None,
    )


def cell_shape_check(scores, codes, data: Repeated, context: Context) -> Check:
    """Largest skewness of a group in a phase; chance is judged over all cells together."""
    skews, smallest, cells = [], 1.0, 0
    for code in np.unique(codes):
        for column in scores[codes == code].T:
            if len(column) < 4 or np.ptp(column) == 0:
                continue
            cells += 1
            skews.append(abs(float(stats.skew(column, bias=False))))
            smallest = min(smallest, float(stats.shapiro(column).pvalue))
    chance = min(1.0, smallest * max(cells, 1))
    return judged(
        f"residuals are roughly normal in every group and {data.within}",
        "largest skewness of a cell (figure: normal quantiles by cell)",
        max(skews, default=np.nan),
        context.guide("skewness"),
        f"{cells} cells; smallest Shapiro p, corrected for their number: {digits.p_value(chance)}.",
        "Analyse logarithms, or permute.",
        chance=chance,
        remedy=remedied(lambda: _other_scale(scores, codes, data)) if context.remedies else None,
    )


def box_m(scores, codes) -> float:
    """p of Box's M test of equal covariance matrices, by its F approximation.

    References
    ----------
    Box, G. E. P. (1949). Biometrika, 36, 317-346. doi:10.1093/biomet/36.3-4.317.
    """
    y, k = np.asarray(scores, dtype=float), np.asarray(scores).shape[1]
    parts = [y[codes == code] for code in np.unique(codes)]
    df = np.array([len(part) - 1 for part in parts])
    if len(parts) < 2 or (df < k).any():
        return float("nan")
    logs, matrices = [], []
    for part in parts:
        matrix = np.atleast_2d(np.cov(part, rowvar=False))
        matrices.append(matrix)
        logs.append(np.linalg.slogdet(matrix)[1])
    if not np.isfinite(logs).all():
        return float("nan")
    total, groups = df.sum(), len(parts)
    pooled = sum(d * matrix for d, matrix in zip(df, matrices)) / total
    m = total * np.linalg.slogdet(pooled)[1] - df @ np.array(logs)
    inverse = np.sum(1 / df) - 1 / total
    c1 = inverse * (2 * k**2 + 3 * k - 1) / (6 * (k + 1) * (groups - 1))
    c2 = (np.sum(1 / df**2) - 1 / total**2) * (k - 1) * (k + 2) / (6 * (groups - 1))
    df1 = k * (k + 1) * (groups - 1) / 2
    gap = c2 - c1**2
    df2 = (df1 + 2) / abs(gap)
    if gap > 0:
        return float(stats.f.sf(m * (1 - c1 - df1 / df2) / df1, df1, df2))
    b = df2 / (1 - c1 + 2 / df2)
    return float(stats.f.sf(df2 * m / (df1 * (b - m)), df1, df2)) if m < b else 0.0


def _focus(data: Repeated) -> pd.Series:
    """The interaction where there is one, otherwise the effect of phases."""
    rows = data.anova[data.anova["epsilon_gg"].notna()]
    return rows.iloc[-1]


def _f_conclusion(label: str, row, p: float) -> Conclusion:
    return Conclusion(
        f"{label} F({digits.degrees_of_freedom(row['df1'])})",
        float(row["statistic"]), np.nan, np.nan, float(p),
    )  # fmt: skip


def _welch_change(scores, codes, data: Repeated) -> Remedy | None:
    rows = data.anova
    change = scores[:, -1] - scores[:, 0]
    parts = [change[codes == code] for code in np.unique(codes)]
    test = welch_one_way(parts)
    if not np.isfinite(test.p):
        return None
    row = rows.iloc[-1]
    first, *_, last = data.levels
    after = Conclusion(
        f"change from {first} to {last}, Welch F({digits.degrees_of_freedom(test.df1)})",
        test.statistic, np.nan, np.nan, test.p,
    )  # fmt: skip
    return Remedy(
        (_f_conclusion(str(row["term"]), row, row["p"]),),
        (Step("Welch comparison of the groups' changes, first to last", (after,)),),
    )


def _mixed_model(data: Repeated) -> Remedy:
    names = {level: f"{place:03d} {level}" for place, level in enumerate(data.levels)}
    table = data.scores.assign(**{data.within: data.scores[data.within].map(names)})
    several = len(data.groups) > 1
    formula = f"score ~ group * {data.within}" if several else f"score ~ {data.within}"
    fit = fit_mixed(formula, table, random={"participant": "1"})
    term = f"group:{data.within}" if several else data.within
    columns = [place for place, name in enumerate(fit.design.fixed.assigned) if name == term]
    test = f_test(np.eye(len(fit.beta))[columns], fit.beta, fit.inference)
    row = data.anova.iloc[-1]
    after = Conclusion(
        f"{term}, mixed model F({digits.degrees_of_freedom(test.df1)})",
        float(test.statistic), np.nan, np.nan, float(test.p),
    )  # fmt: skip
    return Remedy(
        (_f_conclusion(str(row["term"]), row, row["p"]),),
        (Step("mixed model with a random intercept on all available scores", (after,)),),
    )


def _other_scale(scores, codes, data: Repeated) -> Remedy | None:
    if not data.ratio and scores.min() <= 0:
        return None
    other = np.exp(scores) if data.ratio else np.log(scores)
    several = len(np.unique(codes)) > 1
    found = repeated_anova(
        other, codes if several else None, within=[(data.within, scores.shape[1])]
    )
    effect, row = found[-1], data.anova.iloc[-1]
    after = Conclusion(
        f"{effect.term} F({digits.degrees_of_freedom(effect.test.df1)}), GG",
        effect.test.statistic, np.nan, np.nan, effect.p_gg,
    )  # fmt: skip
    return Remedy(
        (_f_conclusion(str(row["term"]), row, row["p_gg"]),),
        (Step("raw scores" if data.ratio else "logarithms", (after,)),),
    )
