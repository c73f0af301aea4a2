"""Analysis of covariance against the formulas of statsmodels: 200 random data sets."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from statsmodels.stats.anova import anova_lm

from motorlearn.linear import ancova


def data_set(seed):
    rng = np.random.default_rng(seed)
    groups, n = int(rng.integers(2, 5)), int(rng.integers(16, 60))
    codes = np.concatenate([np.repeat(np.arange(groups), 3), rng.integers(0, groups, n)])
    x = rng.normal(30, 6, len(codes))
    y = 0.6 * x + codes * rng.normal() + rng.normal(0, rng.uniform(1, 6), len(codes))
    return pd.DataFrame({"y": y, "x": x, "g": codes})


@pytest.mark.parametrize("sets", [range(12), pytest.param(range(200), marks=pytest.mark.slow)])
def test_means_differences_and_tests_are_those_of_formulas(sets):
    # Ours stays: it has a variance for each group and a name in every refusal, and one difference
    # takes an eighth of ``t_test``. The fit itself is that of OLS. 200 sets: 2e-10 at most.
    worst = 0.0
    for seed in sets:
        frame = data_set(seed)
        ours = ancova(frame["y"], frame["g"], frame["x"])
        fit = smf.ols("y ~ C(g) + x", frame).fit()
        robust = smf.ols("y ~ C(g) + x", frame).fit(cov_type="HC3", use_t=True)
        groups = ours.groups
        for code in range(groups):
            row = np.r_[1.0, np.eye(groups)[code][1:], frame["x"].mean()]
            theirs, mine = fit.t_test(row), ours.adjusted_mean(code)
            low, high = theirs.conf_int()[0]
            pairs = [(mine.estimate, theirs.effect[0]), (mine.std_error, theirs.sd.item()),
                     (mine.conf_low, low), (mine.conf_high, high)]  # fmt: skip
            worst = max(worst, *(abs(a / b - 1) for a, b in pairs))
        row = np.r_[0.0, np.eye(groups)[-1][1:], 0.0]
        for kind, theirs in (("ordinary", fit.t_test(row)), ("HC3", robust.t_test(row))):
            mine = ours.difference(groups - 1, 0, covariance=kind)
            worst = max(worst, abs(mine.std_error / theirs.sd.item() - 1))
            worst = max(worst, abs(mine.p - float(theirs.pvalue)))
        table = anova_lm(fit, typ=2)
        worst = max(worst, abs(ours.group_test.statistic / table.loc["C(g)", "F"] - 1))
        worst = max(worst, abs(ours.covariate_tests[0].statistic / table.loc["x", "F"] - 1))
        slopes = smf.ols("y ~ C(g) * x", frame).fit().compare_f_test(fit)
        worst = max(worst, abs(ours.slopes_test.statistic - slopes[0]) / max(slopes[0], 1e-3))
        assert ours.slopes_test.p == pytest.approx(slopes[1], abs=1e-8)
    assert worst < 1e-7, worst


def test_the_variance_for_each_group_is_what_the_library_lacks():
    rng = np.random.default_rng(3)
    codes = np.repeat([0, 1], [8, 24])
    x = rng.normal(30, 5, 32)
    y = 0.5 * x + rng.normal(0, np.where(codes == 0, 9.0, 3.0))
    own = ancova(y, codes, x, variance="by group").difference(1, 0)
    fit = smf.ols("y ~ C(g) + x", pd.DataFrame({"y": y, "x": x, "g": codes})).fit()
    assert own.estimate == pytest.approx(fit.params["C(g)[T.1]"], abs=1e-9)
    assert own.std_error > 1.3 * fit.bse["C(g)[T.1]"]
    assert own.df < fit.df_resid / 2
