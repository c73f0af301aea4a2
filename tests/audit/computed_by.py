"""What computes what: every classical piece beside its formula or the library that also has it.

``python tests/audit/computed_by.py [SETS]`` draws random data sets (200 unless told), computes each
piece here and by the other way, and writes ``docs/computed-by.csv`` with the largest difference.
Each piece is a function that takes a generator and gives differences: relative ones, except of
p values, epsilons, rates and correlations, which are taken as they are.
"""

import sys
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pingouin
import statsmodels.formula.api as smf
from scipy import linalg, stats
from statsmodels.genmod.cov_struct import Exchangeable
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_estimating_equations import GEE
from statsmodels.regression.linear_model import OLS
from statsmodels.stats.anova import anova_lm
from statsmodels.stats.inter_rater import cohens_kappa, fleiss_kappa
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.power import FTestAnovaPower, TTestIndPower
from statsmodels.stats.weightstats import ttost_ind, ttost_paired

import motorlearn as ml
from motorlearn.audit.comparison.binomial import hits_of, marginal_conclusions
from motorlearn.audit.comparison.phase_model import phase_model
from motorlearn.exceptions import FitError
from motorlearn.linear import (
    ancova,
    equivalence_of_means,
    fit_least_squares,
    holm,
    joint_test,
    repeated_anova,
    welch,
    welch_one_way,
)
from motorlearn.measures import (
    clopper_pearson_interval,
    hedges_g,
    moving_together,
    newcombe_difference,
    small_sample_factor,
    wilson_interval,
)
from motorlearn.measures.agreement.icc import intraclass_correlations
from motorlearn.measures.agreement.kappa import chance_corrected_of, kappa_of, weights_between
from motorlearn.measures.questionnaires.reliability import cronbach_alpha
from motorlearn.plan.power.closed_form import anova_power, t_power
from motorlearn.report.meta_analysis import random_effects

TABLE = Path(__file__).parents[2] / "docs" / "computed-by.csv"
SETS = 200
Z = 1.959963984540054
"""Normal quantile of .975, from a table."""

Differences = Iterator[float]


def relative(a: float, b: float) -> float:
    """Difference of two numbers as a share of the second."""
    return float(abs(a - b) / max(abs(b), 1e-12))


def apart(a, b) -> float:
    """Largest difference of two arrays."""
    return float(np.abs(np.asarray(a, float) - np.asarray(b, float)).max())


def _regression(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    n, p = int(rng.integers(8, 60)), int(rng.integers(1, 5))
    x = np.column_stack([np.ones(n), rng.normal(size=(n, p)) * 10.0 ** rng.integers(-3, 4, p)])
    return x, rng.normal(size=n) * rng.uniform(0.1, 20) + 10.0 ** rng.integers(0, 5)


def _by_hand(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Coefficients by QR with one step of refinement, and both covariances, as in textbooks."""
    q, r = np.linalg.qr(x)
    b = linalg.solve_triangular(r, q.T @ y)
    b = b + linalg.solve_triangular(r, q.T @ (y - x @ b))
    inverse = linalg.solve_triangular(r, np.eye(x.shape[1]))
    unscaled, e = inverse @ inverse.T, y - x @ b
    weighted = x * (e / (1 - np.einsum("ij,jk,ik->i", x, unscaled, x)))[:, None]
    ordinary = unscaled * (e @ e) / (len(y) - x.shape[1])
    return b, ordinary, unscaled @ (weighted.T @ weighted) @ unscaled


def least_squares(rng: np.random.Generator) -> Differences:
    x, y = _regression(rng)
    fit, (b, ordinary, _) = fit_least_squares(x, y), _by_hand(x, y)
    unit = np.sqrt(np.diag(ordinary))
    yield apart(fit.coefficients / unit, b / unit)
    yield apart(np.sqrt(np.diag(fit.covariance())) / unit, 1)


def hc3(rng: np.random.Generator) -> Differences:
    x, y = _regression(rng)
    fit, (*_, robust) = fit_least_squares(x, y), _by_hand(x, y)
    yield apart(np.sqrt(np.diag(fit.covariance("HC3")) / np.diag(robust)), 1)


def linear_hypothesis(rng: np.random.Generator) -> Differences:
    n = int(rng.integers(12, 60))
    x, y = np.column_stack([np.ones(n), rng.normal(size=(n, 3))]), rng.normal(30, 5, n)
    fit, rows = fit_least_squares(x, y), np.eye(4)[1:]
    yield relative(joint_test(fit, rows).statistic, float(OLS(y, x).fit().f_test(rows).fvalue))


def covariance_analysis(rng: np.random.Generator) -> Differences:
    groups, n = int(rng.integers(2, 5)), int(rng.integers(16, 60))
    codes = np.concatenate([np.repeat(np.arange(groups), 3), rng.integers(0, groups, n)])
    x = rng.normal(30, 6, len(codes))
    y = 0.6 * x + codes * rng.normal() + rng.normal(0, rng.uniform(1, 6), len(codes))
    frame = pd.DataFrame({"y": y, "x": x, "g": codes})
    ours, fit = ancova(y, codes, x), smf.ols("y ~ C(g) + x", frame).fit()
    for code in range(groups):
        row = np.r_[1.0, np.eye(groups)[code][1:], x.mean()]
        theirs, mine = fit.t_test(row), ours.adjusted_mean(code)
        yield relative(mine.estimate, theirs.effect[0])
        yield relative(mine.std_error, theirs.sd.item())
    yield relative(ours.group_test.statistic, anova_lm(fit, typ=2).loc["C(g)", "F"])


def rate_intervals(rng: np.random.Generator) -> Differences:
    n = rng.integers(1, 60, 2)
    k = rng.binomial(n, rng.uniform(0, 1))
    p = k / n
    half = Z * np.sqrt(p * (1 - p) / n + Z**2 / (4 * n**2))
    low, high = ((p + Z**2 / (2 * n) + sign * half) / (1 + Z**2 / n) for sign in (-1, 1))
    yield apart(wilson_interval(k, n), (low, high))
    _, down, up = newcombe_difference(tuple(k), tuple(n))
    yield apart(down, p[0] - p[1] - np.hypot(p[0] - low[0], high[1] - p[1]))
    yield apart(up, p[0] - p[1] + np.hypot(high[0] - p[0], p[1] - low[1]))
    exact = [stats.binomtest(int(a), int(b)).proportion_ci(method="exact") for a, b in zip(k, n)]
    yield apart(np.transpose(clopper_pearson_interval(k, n)), exact)


def multiplicity(rng: np.random.Generator) -> Differences:
    p = rng.uniform(size=rng.integers(1, 10)) ** 3
    yield apart(holm(p), multipletests(p, method="holm")[1])


def _ratings(rng: np.random.Generator, raters: int) -> np.ndarray:
    true = rng.integers(0, 5, (int(rng.integers(10, 40)), 1))
    return np.clip(true + rng.integers(-1, 2, (len(true), raters)), 0, 4).astype(float)


def kappas(rng: np.random.Generator) -> Differences:
    rated, codes = _ratings(rng, 2), np.arange(5.0)
    square = np.zeros((5, 5))
    np.add.at(square, tuple(rated.astype(int).T), 1)
    even = np.ones((1, len(rated)))
    gap = np.abs(np.subtract.outer(codes, codes))
    yield apart(kappa_of(rated, even, codes, np.eye(5)), cohens_kappa(square).kappa)
    for name, power in (("linear", 1), ("quadratic", 2)):
        ours = kappa_of(rated, even, codes, weights_between(codes, name))
        yield apart(ours, cohens_kappa(square, weights=gap**power).kappa)


def kappa_of_many(rng: np.random.Generator) -> Differences:
    counts = np.stack([np.bincount(row, minlength=5) for row in _ratings(rng, 4).astype(int)])
    ours = chance_corrected_of(counts.astype(float), np.ones((1, len(counts))), "fleiss")
    yield apart(ours, fleiss_kappa(counts))


def power_by_formula(rng: np.random.Generator) -> Differences:
    (first, second), d = (int(v) for v in rng.integers(4, 80, 2)), rng.uniform(0, 1.5)
    theirs = TTestIndPower().power(effect_size=d, nobs1=first, alpha=0.05, ratio=second / first)
    yield apart(t_power(first, d, n_other=second), theirs)
    groups, f = int(rng.integers(2, 6)), rng.uniform(0.05, 0.8)
    theirs = FTestAnovaPower().power(f, first * groups, 0.05, k_groups=groups)
    yield apart(anova_power(first, groups, f), theirs)


def equivalence(rng: np.random.Generator) -> Differences:
    a, b = (rng.normal(0, rng.uniform(0.5, 4), rng.integers(3, 30)) for _ in range(2))
    yield apart(
        equivalence_of_means(a, b, bound=(-1.0, 1.5)).p,
        ttost_ind(a, b, -1.0, 1.5, usevar="unequal")[0],
    )
    c = rng.normal(a, 1.0)
    ours = equivalence_of_means(a, c, bound=0.8, paired=True)
    yield apart(ours.p, ttost_paired(a, c, -0.8, 0.8)[0])


def estimating_equations(rng: np.random.Generator) -> Differences:
    n, attempts = int(rng.integers(8, 20)), int(rng.integers(8, 21))
    able = rng.beta(5, 5, (2 * n, 1)) * np.ones((1, 2))
    table = pd.DataFrame(
        {
            "participant": np.repeat(np.arange(2 * n), 2),
            "group": np.repeat(["blocked", "random"], 2 * n),
            "phase": ["pretest", "retention"] * 2 * n,
            "hits": rng.binomial(attempts, able).ravel(),
            "attempts": attempts,
        }
    )
    found = ml.compare_phases(
        table, "hits", attempts="attempts", group="group", phase="phase", baseline="pretest"
    )
    model = phase_model(found, "retention")
    try:
        (odds,), data = marginal_conclusions(found, model), hits_of(found, model)
    except FitError:
        return
    # The same equations on single attempts with an exchangeable correlation.
    person = np.repeat(np.arange(len(data.hits)), attempts)
    number = np.tile(np.arange(attempts), len(data.hits))
    hit = (number < data.hits[person]).astype(float)
    fit = GEE(hit, data.design[person], person, family=Binomial(), cov_struct=Exchangeable()).fit(
        cov_type="bias_reduced", maxiter=100
    )
    yield apart(np.log(odds.estimate), fit.params[1])
    reach = np.log(odds.conf_high / odds.conf_low) / 2
    half = stats.t.isf(0.025, len(data.hits) - data.design.shape[1])
    yield relative(reach, half * np.sqrt(fit.cov_robust_bc[1, 1]))


def combined_studies(rng: np.random.Generator) -> Differences:
    error = rng.uniform(0.3, 2, int(rng.integers(3, 9)))
    y = rng.normal(1, np.hypot(error, rng.uniform(1, 3)))
    found = random_effects(y, error)
    # Paule & Mandel (1982): the variance between studies at which Q is its expectation.
    tau2 = found.tau2
    w = 1 / (error**2 + tau2)
    mean = w @ y / w.sum()
    yield apart(found.mean, mean)
    if tau2 > 1e-6:
        yield apart(w @ (y - mean) ** 2, len(y) - 1)


def intraclass(rng: np.random.Generator) -> Differences:
    rated = rng.normal(0, 2, (int(rng.integers(6, 30)), 1)) + rng.normal(
        size=(1, int(rng.integers(2, 6)))
    )
    rated = rated + rng.normal(size=rated.shape)
    long = pd.DataFrame([(i, j, v) for (i, j), v in np.ndenumerate(rated)], columns=list("ijv"))
    theirs = pingouin.intraclass_corr(long, targets="i", raters="j", ratings="v")
    yield apart([icc.estimate for icc in intraclass_correlations(rated)], theirs["ICC"])


def alpha_of_a_scale(rng: np.random.Generator) -> Differences:
    answers = rng.normal(size=(int(rng.integers(10, 60)), 1)) + rng.normal(
        size=(1, int(rng.integers(3, 8)))
    )
    answers = answers + rng.normal(size=answers.shape)
    theirs, _ = pingouin.cronbach_alpha(pd.DataFrame(answers))
    yield apart(cronbach_alpha(answers).estimate, theirs)


def effect_size(rng: np.random.Generator) -> Differences:
    a, b = rng.normal(0, 1, rng.integers(3, 30)), rng.normal(0.4, 1.3, rng.integers(3, 30))
    ours = hedges_g((a.mean(), b.mean()), (a.std(ddof=1), b.std(ddof=1)), (len(a), len(b)))
    rough = 1 - 3 / (4 * (len(a) + len(b) - 2) - 1)
    theirs = pingouin.compute_effsize(a, b, eftype="hedges") / rough
    yield apart(ours.g, theirs * small_sample_factor(len(a) + len(b) - 2))


def effect_size_interval(rng: np.random.Generator) -> Differences:
    """Interval of d: ours inverts the noncentral t, pingouin takes a normal approximation."""
    a, b = rng.normal(0, 1, rng.integers(5, 30)), rng.normal(0.4, 1.3, rng.integers(5, 30))
    ours = hedges_g((a.mean(), b.mean()), (a.std(ddof=1), b.std(ddof=1)), (len(a), len(b)))
    factor = small_sample_factor(len(a) + len(b) - 2)
    low, high = pingouin.compute_esci(ours.d, len(a), len(b), eftype="cohen", decimals=8)
    yield apart((ours.conf_low / factor, ours.conf_high / factor), (low, high))


def _repeated(rng: np.random.Generator) -> tuple[np.ndarray, pd.DataFrame]:
    scores = rng.normal(size=(int(rng.integers(6, 25)), int(rng.integers(3, 6))))
    scores = scores @ rng.normal(size=(scores.shape[1],) * 2)
    people, tests = scores.shape
    long = pd.DataFrame(
        {
            "who": np.repeat(np.arange(people), tests),
            "test": np.tile(np.arange(tests), people),
            "score": scores.ravel(),
        }
    )
    return scores, long


def repeated_measures(rng: np.random.Generator) -> Differences:
    scores, long = _repeated(rng)
    (ours,) = repeated_anova(scores, within=[("test", scores.shape[1])])
    theirs = pingouin.rm_anova(long, dv="score", within="test", subject="who", correction=True)
    yield relative(ours.test.statistic, theirs["F"].iloc[0])
    yield apart(ours.p_gg, theirs["p_GG_corr"].iloc[0])


def epsilons(rng: np.random.Generator) -> Differences:
    scores, _ = _repeated(rng)
    (ours,) = repeated_anova(scores, within=[("test", scores.shape[1])])
    wide = pd.DataFrame(scores)
    yield apart(ours.sphericity.epsilon_gg, pingouin.epsilon(wide, correction="gg"))
    yield apart(ours.sphericity.epsilon_hf, pingouin.epsilon(wide, correction="hf"))
    yield apart(ours.sphericity.mauchly_w, pingouin.sphericity(wide).W)


def type_three(rng: np.random.Generator) -> Differences:
    """F of the tests in unequal groups: ours is type III, that of pingouin is sequential."""
    small = int(rng.integers(3, 6))
    group = np.repeat([0, 1], [small, 3 * small])
    scores = rng.normal(size=(len(group), 3))
    scores += np.arange(3) * np.where(group == 0, 2.0, 0.0)[:, None]
    long = pd.DataFrame(
        {
            "who": np.repeat(np.arange(len(group)), 3),
            "test": np.tile(np.arange(3), len(group)),
            "score": scores.ravel(),
            "group": np.repeat(group, 3),
        }
    )
    theirs = pingouin.mixed_anova(
        long, dv="score", within="test", between="group", subject="who"
    ).set_index("Source")
    ours = {row.term: row for row in repeated_anova(scores, group, within=[("test", 3)])}
    yield relative(ours["test"].test.statistic, theirs.loc["test", "F"])


def pairs_of_tests(rng: np.random.Generator) -> Differences:
    scores, long = _repeated(rng)
    table = long.rename(columns={"who": "participant", "test": "block", "score": "time"})
    found = ml.compare.pairs_within(
        ml.compare.compare_blocks(table.assign(group="all"), "time", group="group", phase=None)
    ).pairs
    for pair in found.itertuples():
        theirs = stats.ttest_rel(scores[:, int(pair.later)], scores[:, int(pair.earlier)])
        yield relative(pair.statistic, theirs.statistic)
        yield apart(pair.p, theirs.pvalue)


def repeated_correlation(rng: np.random.Generator) -> Differences:
    people, tests = int(rng.integers(8, 20)), int(rng.integers(3, 6))
    shared = rng.normal(size=(people, tests))
    x, y = (shared + rng.normal(size=shared.shape) + i * np.arange(tests) for i in (1, 2))
    x[rng.random(x.shape) < 0.1] = np.nan
    long = pd.DataFrame(
        {"x": x.ravel(), "y": y.ravel(), "who": np.repeat(np.arange(people), tests)}
    ).dropna()
    long = long[long.groupby("who")["x"].transform("size") >= 2]
    yield apart(
        moving_together(x, y).r_within, pingouin.rm_corr(long, "x", "y", "who")["r"].iloc[0]
    )


def normality(rng: np.random.Generator) -> Differences:
    x = rng.normal(size=int(rng.integers(5, 60))) ** int(rng.integers(1, 4))
    theirs = pingouin.normality(pd.Series(x))["pval"].iloc[0]
    yield apart(stats.shapiro(x).pvalue, theirs)


def equal_variances(rng: np.random.Generator) -> Differences:
    samples = [rng.normal(0, rng.uniform(1, 3), rng.integers(4, 30)) for _ in range(3)]
    theirs = pingouin.homoscedasticity(samples, method="levene")["pval"].iloc[0]
    yield apart(stats.levene(*samples, center="median").pvalue, theirs)


def welch_of_many(rng: np.random.Generator) -> Differences:
    samples = [
        rng.normal(0, rng.uniform(0.1, 9), rng.integers(3, 30)) for _ in range(rng.integers(2, 6))
    ]
    k, n = len(samples), np.array([len(x) for x in samples])
    w = n / np.array([np.var(x, ddof=1) for x in samples])
    means = np.array([x.mean() for x in samples])
    doubt = np.sum((1 - w / w.sum()) ** 2 / (n - 1))
    between = w @ (means - w @ means / w.sum()) ** 2 / (k - 1)
    found = welch_one_way(samples)
    yield relative(found.statistic, between / (1 + 2 * (k - 2) / (k**2 - 1) * doubt))
    yield relative(found.df2, (k**2 - 1) / (3 * doubt))


def welch_of_two(rng: np.random.Generator) -> Differences:
    a, b = (rng.normal(0, rng.uniform(0.1, 9), rng.integers(2, 30)) for _ in range(2))
    ours, theirs = welch(a, b), stats.ttest_ind(a, b, equal_var=False)
    yield relative(ours.statistic, theirs.statistic)
    yield apart(ours.p, theirs.pvalue)


@dataclass(frozen=True)
class Piece:
    """One statistic: who computes it, what it was, and how far apart the two ways may lie.

    ``most`` is the largest difference allowed; where the library computes something else ``least``
    is the largest difference that must be seen at the least.
    """

    name: str
    lines: str
    now: str
    beside: str
    differences: Callable[[np.random.Generator], Differences] | None
    most: float = 1e-9
    least: float = 0.0
    note: str = ""


OURS = "ours"
SM = "statsmodels"
PIECES = (
    Piece("least squares", "112", f"{SM} OLS", "QR, written out", least_squares, 1e-8),
    Piece("HC3", "14", f"{SM} OLS.cov_HC3", "sandwich, written out", hc3, 1e-7),
    Piece("F and linear hypotheses", "85", f"{OURS}, on the fit of OLS", f"{SM} f_test",
          linear_hypothesis, 1e-8, note="f_test errs by 1e-5 where columns differ in scale"),
    Piece("analysis of covariance, adjusted means", "124", f"{OURS}, on the fit of OLS",
          f"{SM} formula, t_test, anova_lm", covariance_analysis, 1e-7,
          note="with a variance for each group, which the library lacks"),
    Piece("intervals of hit rates", "80", f"{SM} proportion_confint, confint_proportions_2indep",
          "Wilson, Newcombe written out; scipy binomtest", rate_intervals, 1e-9),
    Piece("Holm", "23", OURS, f"{SM} multipletests", multiplicity, 1e-12,
          note="the library takes thousands of times as long"),
    Piece("kappa, weighted kappa", "54", OURS, f"{SM} cohens_kappa", kappas, 1e-12,
          note="thousands of resampled tables at once"),
    Piece("Fleiss' kappa", "40", OURS, f"{SM} fleiss_kappa", kappa_of_many, 1e-12,
          note="the library takes no gaps"),
    Piece("power in closed form: audit of a plan, summaries", "none",
          f"{SM} TTestIndPower, TTestPower, FTestAnovaPower", "", None),
    Piece("power in closed form: t_power, anova_power", "44", OURS,
          f"{SM} TTestIndPower, FTestAnovaPower", power_by_formula, 1e-7,
          note="the library gives nan for few people and large effects"),
    Piece("two one-sided tests", "104", OURS, f"{SM} ttost_ind, ttost_paired", equivalence, 1e-9,
          note="also of adjusted means, contrasts and summaries"),
    Piece("estimating equations for hits", "none", f'{SM} GEE, cov_type="bias_reduced"',
          "the same on single attempts, exchangeable", estimating_equations, 1e-4),
    Piece("missing scores, chained equations", "none", f"{SM} MICEData", "", None),
    Piece("combining studies", "43", f"{SM} combine_effects",
          "equation of Paule and Mandel", combined_studies, 1e-4),
    Piece("lowess", "none", f"{SM} lowess", "", None),
    Piece("six intraclass correlations", "125", OURS, "pingouin intraclass_corr", intraclass,
          1e-7, note="the library takes no gaps"),
    Piece("Cronbach's alpha", "none", OURS, "pingouin cronbach_alpha", alpha_of_a_scale, 1e-9,
          note="loading pingouin costs more than loading pandas"),
    Piece("Hedges g", "51", OURS, "pingouin compute_effsize, exact factor", effect_size, 1e-9),
    Piece("interval of a standardised difference", "30", f"{OURS}, noncentral t of scipy",
          "pingouin compute_esci", effect_size_interval, 1.0, 0.01,
          note="the library's is a normal approximation"),
    Piece("repeated measures, Greenhouse-Geisser", "88", OURS, "pingouin rm_anova",
          repeated_measures, 1e-8, note="with groups, and who is left out by name"),
    Piece("sphericity, epsilon", "28", OURS, "pingouin epsilon, sphericity", epsilons, 1e-8),
    Piece("groups by tests, type III", "21", OURS, "pingouin mixed_anova", type_three, 100.0, 0.05,
          note="the library's is sequential and drops people unsaid"),
    Piece("pairs of tests after the analysis", "17", "pingouin pairwise_tests",
          "scipy ttest_rel", pairs_of_tests, 1e-8),
    Piece("repeated-measures correlation", "none", OURS, "pingouin rm_corr",
          repeated_correlation, 1e-9, note="also apart from the common course, by permutation"),
    Piece("normality (Shapiro-Wilk)", "1", "scipy shapiro", "pingouin normality", normality, 1e-12),
    Piece("equal variances (Levene, medians)", "1", "scipy levene", "pingouin homoscedasticity",
          equal_variances, 1e-12),
    Piece("Welch's one-way analysis", "30", f"{SM} anova_oneway", "Welch (1951), written out",
          welch_of_many, 1e-8),
    Piece("Welch's t", "35", OURS, "scipy ttest_ind", welch_of_two, 1e-9,
          note="also from summaries"),
    Piece("bootstrap of a contrast", "18", OURS, "scipy bootstrap (BCa)", None,
          note="with six a group BCa covers .889, ours .960"),
)  # fmt: skip


def largest(piece: Piece, sets: int) -> float:
    """Largest difference of a piece over so many random data sets; nan where there is no other."""
    if piece.differences is None:
        return float("nan")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return max(
            difference
            for seed in range(sets)
            for difference in piece.differences(np.random.default_rng((15, seed)))
        )


def row(piece: Piece, sets: int) -> dict[str, object]:
    """One row of the table."""
    found = largest(piece, sets)
    return {
        "piece": piece.name,
        "lines in 1.0.0": piece.lines,
        "computed by": piece.now,
        "held against": piece.beside,
        "largest difference": "" if np.isnan(found) else f"{found:.0e}",
        "why ours, or what differs": piece.note,
    }


def main(sets: int) -> None:
    """Compute and write the table."""
    rows = []
    for piece in PIECES:
        rows.append(row(piece, sets))
        print(rows[-1], flush=True)
    pd.DataFrame(rows).to_csv(TABLE, index=False, lineterminator="\n")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else SETS)
