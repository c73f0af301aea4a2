"""Variants by statsmodels: estimating equations for hits, chained equations for missing scores."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from library_variants import CHAINED as CHAINED_CELLS
from library_variants import DOCS, IMPUTATIONS, WHICH, chained_ps, score_study, studied

import motorlearn as ml
from motorlearn.audit.comparison.binomial import (
    binomial_conclusions,
    hits_of,
    marginal_conclusions,
)
from motorlearn.audit.comparison.phase_model import phase_model
from motorlearn.audit.sensitivity.chained import NAME as CHAINED
from motorlearn.audit.sensitivity.chained import Chain, _imputations
from motorlearn.audit.sensitivity.phases import BY_EQUATIONS as MARGINAL

KEPT = ["people with both tests"]
"""The comparison as analysed, which stands in these tables to compare with."""


def hits(seed, n=12, attempts=(20, 20)):
    rng = np.random.default_rng(seed)
    tried = rng.integers(attempts[0], attempts[1] + 1, (2 * n, 2))
    able = rng.beta(5, 5, (2 * n, 1)) * np.ones((1, 2))
    return pd.DataFrame(
        {
            "participant": np.repeat(np.arange(2 * n), 2),
            "group": np.repeat(["blocked", "random"], 2 * n),
            "phase": ["pretest", "retention"] * 2 * n,
            "hits": rng.binomial(tried, able).ravel(),
            "attempts": tried.ravel(),
        }
    )


def compared(table):
    found = ml.compare_phases(
        table, "hits", attempts="attempts", group="group", phase="phase", baseline="pretest"
    )
    return found, phase_model(found, "retention")


@pytest.mark.parametrize("attempts", [(20, 20), (6, 20)])
def test_equations_of_hits_have_the_corrected_sandwich(attempts):
    # Mancl & DeRouen (2001), written out for columns that are alike within people; with an
    # exchangeable correlation ρ a person weighs n μ(1 − μ) / (1 + (n − 1) ρ).
    for seed in range(6):
        found, model = compared(hits(seed, attempts=attempts))
        data, (odds,) = hits_of(found, model), marginal_conclusions(found, model)
        x, share, rho, b = data.design, data.hits / data.attempts, 0.0, np.zeros(3)
        for _ in range(60):
            mu = 1 / (1 + np.exp(-x @ b))
            if attempts[0] < 20:
                e2 = (data.hits * (1 - mu) ** 2 + (data.attempts - data.hits) * mu**2) / (
                    mu * (1 - mu)
                )
                total = (data.hits - data.attempts * mu) ** 2 / (mu * (1 - mu))
                pairs = (data.attempts * (data.attempts - 1) / 2).sum()
                scale = e2.sum() / (data.attempts.sum() - 3)
                rho = ((total - e2) / 2).sum() / scale / (pairs - 3)
            weight = data.attempts * mu * (1 - mu) / (1 + (data.attempts - 1) * rho)
            bread = np.linalg.inv((x.T * weight) @ x)
            pull = weight * (share - mu) / (mu * (1 - mu))
            b = b + bread @ x.T @ pull
        lever = np.einsum("ij,jk,ik->i", x, bread, x) * weight
        spread = bread @ (x.T * (pull / (1 - lever)) ** 2) @ x @ bread
        assert np.log(odds.estimate) == pytest.approx(b[1], abs=1e-4)
        reach = np.log(odds.conf_high / odds.conf_low) / 2
        from_t = 2.0796138447 * np.sqrt(spread[1, 1])  # t of .975 with 21 df, from a table
        assert reach == pytest.approx(from_t, rel=2e-3)


def test_the_row_of_hits_stands_beside_the_others_and_is_another_one():
    found, model = compared(hits(3))
    table = ml.audit.sensitivity(found, phase="retention", permutations=99).table
    row = table[table["variant"] == MARGINAL].iloc[0]
    assert row["null"] == 1 and row["n"] == 24
    (plain,) = binomial_conclusions(found, model)
    assert row["estimate"] == pytest.approx(plain.estimate, rel=1e-6)
    assert abs(row["conf_high"] - plain.conf_high) > 0.01


def test_a_group_at_the_bound_has_no_odds():
    table = hits(1)
    late = (table["group"] == "random") & (table["phase"] == "retention")
    table.loc[late, "hits"] = table.loc[late, "attempts"]
    rows = ml.audit.sensitivity(compared(table)[0], phase="retention", permutations=99).table
    row = rows[rows["variant"] == MARGINAL].iloc[0]
    assert np.isnan(row["p"]) and "random is at the bound" in row["note"]


def gaps(seed=2, n=30):
    """People of the random group who did badly after practice do not come back."""
    rng = np.random.default_rng(seed)
    pre, late = rng.normal(30, 3, 2 * n), rng.normal(20, 3, 2 * n)
    group = np.repeat(["blocked", "random"], n)
    retention = late + rng.normal(0, 0.3, 2 * n)
    whole = retention[group == "random"].mean() - retention[group == "blocked"].mean()
    gone = (group == "random") & (late > np.quantile(late[group == "random"], 0.6))
    rows = {"pretest": pre, "posttest": late, "retention": np.where(gone, np.nan, retention)}
    table = pd.DataFrame({"participant": np.arange(2 * n), "group": group, **rows})
    long = table.melt(["participant", "group"], var_name="phase", value_name="radial_error")
    return long.dropna(), whole


def test_chained_equations_learn_from_the_other_tests():
    long, truth = gaps()
    found = ml.compare_phases(long, "radial_error", group="group", baseline="pretest")
    before = np.random.get_state()[1].copy()  # noqa: NPY002
    once, again = (
        ml.audit.sensitivity(found, phase="retention", permutations=99, imputations=10, seed=4)
        for _ in range(2)
    )
    assert (np.random.get_state()[1] == before).all()  # noqa: NPY002
    pd.testing.assert_frame_equal(once.table, again.table)
    rows = once.table.set_index("variant")["estimate"]
    assert abs(rows[CHAINED] - truth) < 0.4
    assert abs(rows["missing scores imputed"] - truth) > 1
    assert once.table.set_index("variant").loc[CHAINED, "n"] == 60


def test_nothing_is_imputed_where_nothing_is_asked_or_missing():
    long, _ = gaps()
    found = ml.compare_phases(long, "radial_error", group="group", baseline="pretest")
    asked = ml.audit.sensitivity(found, phase="retention", permutations=99)
    assert CHAINED not in set(asked.table["variant"])
    came = long.groupby("participant")["phase"].transform("size") == 3
    found = ml.compare_phases(long[came], "radial_error", group="group", baseline="pretest")
    asked = ml.audit.sensitivity(found, phase="retention", permutations=99, imputations=5)
    assert CHAINED not in set(asked.table["variant"])


def test_every_imputation_is_another_one():
    """All had been the last one of the chain, so that nothing was added for what is not known."""
    long, _ = gaps()
    wide = long.pivot(index="participant", columns="phase", values="radial_error")
    table = pd.DataFrame(wide.to_numpy(), columns=["s0", "s1", "s2"])
    lost = table.isna().any(axis=1).to_numpy()
    each = _imputations(table, 3, seed=1)
    column = table.columns[table.isna().any()][0]
    drawn = np.array([one[column] for one in each])
    assert (np.ptp(drawn[:, lost], axis=0) > 0).all()
    assert (np.ptp(drawn[:, ~lost], axis=0) == 0).all()


def test_drawn_scores_scatter_as_their_regression_says():
    # One test with gaps: means and spread of the draws are those of the t predictive distribution.
    rng = np.random.default_rng(5)
    x = rng.normal(size=40)
    y = 2 * x + rng.normal(size=40)
    table = pd.DataFrame({"s0": x, "s1": np.where(np.arange(40) < 1, np.nan, y)})
    drawn = np.array([one["s1"][0] for one in _imputations(table, 400, seed=2)])
    fit = sm.OLS(y[1:], sm.add_constant(x[1:])).fit()
    place = np.array([1.0, x[0]])
    spread = np.sqrt(fit.scale * (1 + place @ fit.normalized_cov_params @ place) * 37 / 35)
    assert drawn.mean() == pytest.approx(fit.params @ place, abs=4 * spread / np.sqrt(400))
    assert drawn.std() == pytest.approx(spread, rel=0.14)


def gappy(rng, people=14):
    """Three tests of people who differ, some scores missing, and the indicator of a group."""
    level = rng.normal(20, 4, people)
    scores = level[:, None] + rng.normal(0, 2, (people, 3))
    scores[rng.choice(people, 4, replace=False), 2] = np.nan
    table = pd.DataFrame(scores, columns=["s0", "s1", "s2"])
    return table.assign(g1=np.tile([0.0, 1.0], people // 2))


def test_imputations_do_not_hang_on_how_a_matrix_is_taken_apart(monkeypatch):
    """Singular vectors are known but for their signs, which differ between linear algebra."""
    wide = gappy(np.random.default_rng(7))
    plain = _imputations(wide, 3, seed=5)
    whole = np.linalg.svd

    def turned(*args, **options):
        left, values, right = whole(*args, **options)
        return -left, values, -right

    monkeypatch.setattr(np.linalg, "svd", turned)
    for one, other in zip(plain, _imputations(wide, 3, seed=5), strict=True):
        assert one["s2"] == pytest.approx(other["s2"], rel=1e-9)


def test_coefficients_of_the_chain_have_the_spread_of_their_estimates():
    wide = gappy(np.random.default_rng(8))
    chain = Chain(wide, np.random.default_rng(1))
    here = chain.ix_obs["s2"]
    x = np.column_stack([np.ones(len(wide)), chain.data.drop(columns="s2").to_numpy(float)])
    fit = sm.OLS(chain.data["s2"].to_numpy()[here], x[here]).fit()
    drawn = []
    for _ in range(4000):
        chain.perturb_params("s2")
        drawn.append((chain.params["s2"] - fit.params) / chain.sigma["s2"])
    assert np.mean(drawn, axis=0) == pytest.approx(np.zeros(4), abs=0.15)
    spread = np.sqrt(np.diag(fit.normalized_cov_params))
    scaled = np.cov(np.transpose(drawn)) / np.outer(spread, spread)
    wanted = fit.normalized_cov_params / np.outer(spread, spread)
    assert scaled == pytest.approx(wanted, abs=0.1)


@pytest.mark.parametrize(("name", "columns"), [("equations", 2), ("chained", 3)])
def test_the_rates_on_the_page_are_near_the_level(name, columns):
    table = pd.read_csv(DOCS / f"error-rates-{name}.csv")
    _, _, cells, (first, second), _ = WHICH["hits" if name == "equations" else name]
    assert len(table) == len(cells) and table["studies"].min() >= 490
    where = [(" and ".join(map(str, sizes)), *rest) for sizes, *rest in cells]
    assert list(zip(table["people"], table[first], table[second])) == where
    rates = table.iloc[:, 3:-1]
    assert rates.shape[1] == columns
    assert rates.drop(columns=KEPT, errors="ignore").to_numpy().max() <= 0.07


@pytest.mark.slow
@pytest.mark.parametrize("name", ["hits", "chained"])
def test_a_row_of_the_page_again(name):
    draw, judge, cells, *_ = WHICH[name]
    ps = studied(draw, judge, cells, 1, range(200))
    most = 0.065 + 2 * np.sqrt(0.05 * 0.95 / len(ps))
    assert (ps.drop(columns=KEPT, errors="ignore") <= 0.05).mean().max() <= most


def test_the_rates_are_those_of_the_front_door():
    sizes, *rest = CHAINED_CELLS[1]
    model, wide = score_study(np.random.default_rng(6), sizes, *rest)
    counted = chained_ps(model, wide, 4)
    table = wide.iloc[:, :3].set_axis(["pretest", "posttest", "retention"], axis=1)
    table["participant"] = [f"P{i:02d}" for i in range(len(table))]
    table["group"] = np.array(["blocked", "random"])[model.codes]
    long = table.melt(["participant", "group"], var_name="phase", value_name="radial_error")
    found = ml.compare_phases(long.dropna(), "radial_error", group="group", baseline="pretest")
    rows = ml.audit.sensitivity(
        found, phase="retention", permutations=99, imputations=IMPUTATIONS, seed=4
    ).table.set_index("variant")
    assert rows.loc[CHAINED, "p"] == pytest.approx(counted["chained equations"], rel=1e-9)
    (plain,) = phase_model(found, "retention").conclusions()
    assert plain.p == pytest.approx(counted["people with both tests"], rel=1e-9)
