"""Assumptions of the mixed analysis of variance, groups by phases."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
from scipy import stats

from motorlearn import digits
from motorlearn.audit.context import Context
from motorlearn.audit.report import Check, Conclusion, Remedy, Step, judged, remedied
from motorlearn.compare import PhaseComparison
from motorlearn.linear import repeated_anova, welch_one_way
from motorlearn.mixed import fit_mixed
from motorlearn.mixed.inference import f_test

ANALYSIS = "mixed analysis of variance"
INTERACTION = "group:phase"


def repeated_checks(result: PhaseComparison, context: Context) -> Iterator[tuple[str, Check]]:
    """Give the checks of groups by phases, where that analysis was made."""
    scores, codes, groups = _complete(result)
    if not result.anova["statistic"].notna().any() or len(scores) < 4:
        return
    if scores.shape[1] > 2:
        yield ANALYSIS, sphericity_check(result, context)
    if len(groups) > 1:
        yield ANALYSIS, covariance_check(scores, codes, groups, result, context)
    yield ANALYSIS, cells_check(result, scores, context)
    yield ANALYSIS, cell_shape_check(scores, codes, result, context)


def sphericity_check(result: PhaseComparison, context: Context) -> Check:
    """Greenhouse and Geisser's epsilon, with Mauchly's test as support."""
    row = _focus(result)
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
        "differences between phases vary alike (sphericity)",
        "Greenhouse-Geisser epsilon",
        epsilon,
        context.guide("epsilon"),
        finding,
        "Below .75 read the Greenhouse-Geisser p, above it Huynh-Feldt; or use a mixed model.",
        remedy=remedy,
    )


def covariance_check(scores, codes, groups, result: PhaseComparison, context: Context) -> Check:
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
        remedy=_welch_change(scores, codes, result) if context.remedies else None,
    )
    unequal = context.guide("n_ratio").grade(n_ratio) != "fine" and check.grade == "look"
    if not unequal:
        return check
    finding = f"{check.finding} Unequal groups make it worse."
    return Check(
        check.assumption, check.diagnostic, check.value, check.guide, "act", finding,
        check.advice, check.remedy,
    )  # fmt: skip


def cells_check(result: PhaseComparison, scores, context: Context) -> Check:
    """Who is lost to listwise deletion, and what a mixed model on everybody says."""
    everybody = result.scores["participant"].nunique()
    share = 1 - len(scores) / everybody
    complete = set(_wide(result).dropna().index)
    lost = [str(name) for name in _wide(result).index if name not in complete]
    names = f": {', '.join(lost[:8])}{' …' if len(lost) > 8 else ''}" if lost else ""
    return judged(
        "every participant has every phase",
        "share of participants left out for a missing phase",
        share,
        context.guide("dropped"),
        f"{everybody - len(scores)} of {everybody} left out{names}.",
        "Use a mixed model on all available scores.",
        remedy=remedied(lambda: _mixed_model(result)) if context.remedies and lost else None,
    )


def cell_shape_check(scores, codes, result: PhaseComparison, context: Context) -> Check:
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
        "residuals are roughly normal in every group and phase",
        "largest skewness of a cell (figure: normal quantiles by cell)",
        max(skews, default=np.nan),
        context.guide("skewness"),
        f"{cells} cells; smallest Shapiro p, corrected for their number: {digits.p_value(chance)}.",
        "Analyse logarithms, or permute.",
        chance=chance,
        remedy=remedied(lambda: _other_scale(scores, codes, result)) if context.remedies else None,
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


def _wide(result: PhaseComparison) -> pd.DataFrame:
    phases = list(result.recipe.options["phases"])
    return result.scores.pivot(index="participant", columns="phase", values="score")[phases]


def _complete(result: PhaseComparison):
    wide = _wide(result).dropna()
    group_of = result.scores.drop_duplicates("participant").set_index("participant")["group"]
    groups = [name for name in result.recipe.options["groups"] if name in set(group_of[wide.index])]
    codes = np.array([groups.index(group_of[name]) for name in wide.index], dtype=np.intp)
    values = wide.to_numpy(dtype=float)
    ratio = result.recipe.options["effect"] == "ratio"
    return (np.log(values) if ratio else values), codes, groups


def _focus(result: PhaseComparison) -> pd.Series:
    """The interaction where there is one, otherwise the effect of phases."""
    rows = result.anova[result.anova["epsilon_gg"].notna()]
    return rows.iloc[-1]


def _f_conclusion(label: str, row, p: float) -> Conclusion:
    return Conclusion(
        f"{label} F({digits.degrees_of_freedom(row['df1'])})",
        float(row["statistic"]), np.nan, np.nan, float(p),
    )  # fmt: skip


def _welch_change(scores, codes, result: PhaseComparison) -> Remedy | None:
    rows = result.anova
    change = scores[:, -1] - scores[:, 0]
    parts = [change[codes == code] for code in np.unique(codes)]
    test = welch_one_way(parts)
    if not np.isfinite(test.p):
        return None
    row = rows.iloc[-1]
    first, *_, last = result.recipe.options["phases"]
    after = Conclusion(
        f"change from {first} to {last}, Welch F({digits.degrees_of_freedom(test.df1)})",
        test.statistic, np.nan, np.nan, test.p,
    )  # fmt: skip
    return Remedy(
        (_f_conclusion(str(row["term"]), row, row["p"]),),
        (Step("Welch comparison of the groups' changes, first to last phase", (after,)),),
    )


def _mixed_model(result: PhaseComparison) -> Remedy:
    table = result.scores.copy()
    if result.recipe.options["effect"] == "ratio":
        table["score"] = np.log(table["score"])
    several = len(result.recipe.options["groups"]) > 1
    formula = "score ~ group * phase" if several else "score ~ phase"
    fit = fit_mixed(formula, table, random={"participant": "1"})
    term = INTERACTION if several else "phase"
    columns = [place for place, name in enumerate(fit.design.fixed.assigned) if name == term]
    test = f_test(np.eye(len(fit.beta))[columns], fit.beta, fit.inference)
    row = result.anova.iloc[-1]
    after = Conclusion(
        f"{term}, mixed model F({digits.degrees_of_freedom(test.df1)})",
        float(test.statistic), np.nan, np.nan, float(test.p),
    )  # fmt: skip
    return Remedy(
        (_f_conclusion(str(row["term"]), row, row["p"]),),
        (Step("mixed model with a random intercept on all available scores", (after,)),),
    )


def _other_scale(scores, codes, result: PhaseComparison) -> Remedy | None:
    ratio = result.recipe.options["effect"] == "ratio"
    if not ratio and scores.min() <= 0:
        return None
    other = np.exp(scores) if ratio else np.log(scores)
    several = len(np.unique(codes)) > 1
    found = repeated_anova(other, codes if several else None, within=[("phase", scores.shape[1])])
    effect, row = found[-1], result.anova.iloc[-1]
    after = Conclusion(
        f"{effect.term} F({digits.degrees_of_freedom(effect.test.df1)}), GG",
        effect.test.statistic, np.nan, np.nan, effect.p_gg,
    )  # fmt: skip
    return Remedy(
        (_f_conclusion(str(row["term"]), row, row["p_gg"]),),
        (Step("raw scores" if ratio else "logarithms", (after,)),),
    )
