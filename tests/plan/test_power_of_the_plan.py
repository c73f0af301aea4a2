"""Power is that of the plan: its trials, means, aims and people, held against other programs."""

import numpy as np
import pytest
import statsmodels.api as sm
from plans_of_tests import HITS, plan, programme
from statsmodels.stats.power import FTestAnovaPower, TTestPower

import motorlearn as ml
from motorlearn.exceptions import DesignError, InputError
from motorlearn.plan.power.analyses import analyse
from motorlearn.plan.power.latent import cut_mean, log_odds_of, rate_moments, uncut_mean
from motorlearn.plan.power.planned import scenario
from motorlearn.plan.power.simulated_scores import draw_batch

RETENTION = {"phase": "retention", "trials": 36, "interval_days": 7}
ASSUMED = {"baseline": 38, "between_sd": 6.5, "within_sd": 15, "gain": 12, "stability": 0.8}


def found_row(found):
    return found.table[found.table["kind"] == "power"].iloc[0]


def simulated_ancova(n, effect, *, trials, studies, seed, between=6.5, within=15.0, stability=0.8):
    """Power of an analysis of covariance by statsmodels alone: means of so many trials."""
    rng = np.random.default_rng(seed)
    group = np.repeat([0.0, 1.0], n)
    rejected = 0
    for _ in range(studies):
        lasting = np.sqrt(stability) * rng.standard_normal(2 * n)
        true = [
            between * (lasting + np.sqrt(1 - stability) * rng.standard_normal(2 * n))
            for _ in range(2)
        ]
        x, y = (
            score + within / np.sqrt(count) * rng.standard_normal(2 * n)
            for score, count in zip(true, trials, strict=True)
        )
        fit = sm.OLS(y + effect * group, np.column_stack([np.ones(2 * n), group, x])).fit()
        rejected += fit.pvalues[1] < 0.05
    return rejected / studies


@pytest.mark.parametrize(
    ("trials", "studies"),
    [((10, 60), 1500), pytest.param((60, 10), 6000, marks=pytest.mark.slow)],
)
def test_each_test_has_the_trials_of_the_plan(trials, studies):
    design = plan(
        tests=[{"phase": "pretest", "trials": trials[0]}, RETENTION | {"trials": trials[1]}],
        assumptions={
            "baseline": 38,
            "between_sd": 3,
            "within_sd": 20,
            "gain": 12,
            "stability": 0.95,
        },
    )
    row = found_row(ml.power(design, n=24, simulations=4000, seed=3, effects=[3.0]))
    other = simulated_ancova(
        24, 3.0, trials=trials, studies=studies, seed=4, between=3.0, within=20.0, stability=0.95
    )
    error = np.sqrt(row["power"] * (1 - row["power"]) * (1 / 4000 + 1 / studies))
    assert row["power"] == pytest.approx(other, abs=4 * error)
    assert f"pretest {trials[0]}, retention {trials[1]}" in str(
        ml.power(design, n=24, simulations=2, seed=1, effects=[]).assumptions
    )


@pytest.mark.parametrize(("baseline", "gain", "spread"), [(0.3, 1.0, 0.9), (0.25, 1.2, 1.6)])
def test_declared_means_of_hits_are_those_that_people_show(baseline, gain, spread):
    hits = HITS | {
        "assumptions": {
            "baseline": baseline,
            "between_sd": spread,
            "gain": gain,
            "stability": 0.9,
            "forgetting": 0.2,
        }
    }
    plan_ = scenario(plan(**hits), model="ancova")
    batch = draw_batch(plan_, 4000, 4.0, 4, np.random.default_rng(1))
    before, after = (batch.scores[:, :, at] for at in (batch.baseline, batch.primary))
    assert before.mean() / 20 == pytest.approx(baseline, abs=0.006)
    # 4 hits of 20 are 4 hits of 20: conditional on the person they would be 3.1 to 3.6.
    difference = after[:, batch.groups == 1].mean() - after[:, batch.groups == 0].mean()
    assert difference == pytest.approx(4.0, abs=0.12)
    odds = baseline / (1 - baseline) * np.exp(0.8 * gain)
    assert after[:, batch.groups == 0].mean() / 20 == pytest.approx(odds / (1 + odds), abs=0.006)


def test_a_ratio_of_hits_is_a_ratio():
    primary = {"outcome": "hits", "groups": ["random", "blocked"], "effect": "ratio"}
    plan_ = scenario(plan(**HITS | {"primary": primary, "smallest_effect": None}))
    batch = draw_batch(plan_, 4000, 1.25, 4, np.random.default_rng(2))
    after = batch.scores[:, :, batch.primary]
    means = [after[:, batch.groups == group].mean() for group in (1, 0)]
    assert means[0] / means[1] == pytest.approx(1.25, abs=0.02)
    assert plan_.no_effect == 1.0
    logs = analyse(plan_, batch).estimate
    assert np.exp(logs).mean() > 1.2


def test_scores_that_are_cut_at_a_bound_keep_the_declared_mean():
    design = plan(
        outcomes=[{"name": "radial_error", "unit": "cm", "better": "lower", "low": 0}],
        assumptions={"baseline": 8, "between_sd": 6, "within_sd": 10, "gain": 4},
    )
    plan_ = scenario(design)
    batch = draw_batch(plan_, 4000, 1.5, 4, np.random.default_rng(3))
    assert batch.scores[:, :, 0].mean() == pytest.approx(8, abs=0.1)
    after = batch.scores[:, :, 1]
    kept = 8 - 4 * (1 - 0.35)
    assert after[:, batch.groups == 0].mean() == pytest.approx(kept, abs=0.1)
    assert after[:, batch.groups == 1].mean() == pytest.approx(kept - 1.5, abs=0.1)
    assert (after == 0).any()


@pytest.mark.parametrize("spread", [0.3, 1.0, 2.5])
def test_means_are_turned_into_what_is_drawn_and_back(spread):
    z = np.random.default_rng(4).standard_normal(400_000)
    m = log_odds_of(0.2, spread)
    rates = 1 / (1 + np.exp(-(m + spread * z)))
    assert rates.mean() == pytest.approx(0.2, abs=0.002)
    assert rates.var() == pytest.approx(rate_moments(m, spread)[1], abs=0.002)
    low, high = 0.0, 3.0
    before = uncut_mean(1.0, spread, low, high)
    assert np.clip(before + spread * z, low, high).mean() == pytest.approx(1.0, abs=0.01)
    assert cut_mean(before, spread, low, high) == pytest.approx(1.0)


def test_people_are_lost_where_the_primary_test_is_the_posttest_too():
    design = plan(
        tests=[{"phase": "pretest", "trials": 30}, {"phase": "posttest", "trials": 30}, RETENTION],
        primary={"outcome": "radial_error", "phase": "posttest", "groups": ["random", "blocked"]},
        assumptions=ASSUMED | {"attrition": 0.3},
    )
    batch = draw_batch(scenario(design), 50, 0.0, 200, np.random.default_rng(1))
    assert np.isnan(batch.scores[:, :, batch.primary]).mean() == pytest.approx(0.3, abs=0.02)
    assert not np.isnan(batch.scores[:, :, batch.baseline]).any()


def test_those_who_score_worse_may_leave_more_often():
    assumed = ASSUMED | {"attrition": 0.3, "attrition_slope": 1.0}
    batch = draw_batch(scenario(plan(assumptions=assumed)), 50, 0.0, 400, np.random.default_rng(2))
    gone = np.isnan(batch.scores[:, :, batch.primary])
    assert gone.mean() == pytest.approx(0.3, abs=0.02)
    before = batch.scores[:, :, batch.baseline]
    z = (before - before.mean(axis=1, keepdims=True)) / before.std(axis=1, keepdims=True)
    slope = sm.Logit(gone.ravel().astype(float), sm.add_constant(z.ravel())).fit(disp=0).params[1]
    # Errors are better where they are lower, so the worse have the higher ones.
    assert slope == pytest.approx(1.0, abs=0.06)


def test_one_group_is_tested_for_the_gain_of_the_plan():
    design = programme()
    content = design.model_dump(exclude_none=True)
    content["assumptions"] = {
        "baseline": 0.3,
        "between_sd": 0.8,
        "gain": 0.9,
        "forgetting": 0.0,
        "stability": 0.9,
    }
    content.pop("recipe", None)
    design = ml.design.design_from_mapping(content)
    found = ml.power(design, n=14, simulations=2000, seed=1)
    row = found.table.set_index("effect_name").loc["gain of the plan"]
    plan_ = scenario(design)
    assert row["effect"] == pytest.approx(plan_.declared_change())
    assert row["closed_form"] == pytest.approx(row["power"], abs=0.04)
    assert found.assumptions.set_index("name").loc["gain", "value"] == "0.9"


def test_power_of_a_change_is_that_of_the_paired_t_test():
    content = {
        "tests": [{"phase": "pretest", "trials": 1}, RETENTION | {"trials": 1}],
        "groups": [{"name": "all", "size": 20}],
        "outcomes": [{"name": "error", "unit": "cm", "better": "higher"}],
        "primary": {"outcome": "error"},
        "assumptions": {"baseline": 0, "between_sd": 1.0, "within_sd": 0.0, "stability": 0.6},
        "smallest_effect": None,
        "allocation": None,
    }
    row = found_row(ml.power(plan(**content), n=20, simulations=4000, seed=2, effects=[0.5]))
    expected = TTestPower().power(0.5 / np.sqrt(2 * 0.4), 20, 0.05)
    assert row["power"] == pytest.approx(expected, abs=4 * row["mc_error"])
    assert row["closed_form"] == pytest.approx(expected)


def plain(**changes):
    """Scores of a plain t test: one trial, no baseline, one standard deviation."""
    content = {
        "tests": [RETENTION | {"trials": 1}],
        "outcomes": [{"name": "error", "unit": "cm", "better": "higher"}],
        "primary": {"outcome": "error", "groups": ["random", "blocked"], "baseline": None},
        "assumptions": {"baseline": 0, "between_sd": 1.0, "within_sd": 0.0},
        "smallest_effect": None,
    }
    return plan(**content | changes)


def test_three_groups_together_have_the_power_of_the_f_test():
    groups = [{"name": g, "schedule": g, "size": 20} for g in ("blocked", "serial", "random")]
    tests = [{"phase": "pretest", "trials": 1}, RETENTION | {"trials": 1}]
    design = plain(
        groups=groups,
        tests=tests,
        primary={"outcome": "error", "groups": ["random", "serial", "blocked"]},
        assumptions={"baseline": 0, "between_sd": 1.0, "within_sd": 0.0, "stability": 0.0},
    )
    row = found_row(ml.power(design, n=20, simulations=4000, seed=5, effects=[0.8]))
    f = 0.8 * np.sqrt(2) / 3
    expected = FTestAnovaPower().power(f, 60, 0.05, k_groups=3)
    assert row["closed_form"] == pytest.approx(expected)
    # One degree of freedom goes to the covariate, which tells nothing here.
    assert row["power"] == pytest.approx(expected, abs=0.035)
    none = ml.power(design, n=20, simulations=4000, seed=6, effects=[]).table["power"].iloc[0]
    assert none == pytest.approx(0.05, abs=0.014)
    with pytest.raises(DesignError, match="takes all groups"):
        four = [*groups, {"name": "own", "size": 20}]
        scenario(
            plan(
                groups=four,
                primary={"outcome": "radial_error", "groups": ["random", "serial", "blocked"]},
            )
        )


@pytest.mark.parametrize("aim", ["equivalence", "non-inferiority"])
def test_equivalence_is_claimed_as_often_as_by_one_sided_tests_of_statsmodels(aim):
    design = plain(
        primary={"outcome": "error", "groups": ["random", "blocked"], "baseline": None, "aim": aim},
        smallest_effect={"value": 0.8},
    )
    found = ml.power(design, n=40, simulations=3000, seed=7)
    table = found.table.set_index("effect_name")
    rng = np.random.default_rng(8)
    said = {}
    for name, shift in (("worse by the bound", -0.8), ("none", 0.0)):
        said[name] = 0
        for _ in range(1200):
            a, b = rng.normal(shift, 1, 40), rng.normal(0, 1, 40)
            if aim == "equivalence":
                p = sm.stats.ttost_ind(a, b, -0.8, 0.8, usevar="unequal")[0]
                said[name] += p < 0.05
            else:
                p = sm.stats.ttest_ind(a, b, "larger", usevar="unequal", value=-0.8)[1]
                said[name] += p < 0.025
        error = np.sqrt(0.25 * (1 / 3000 + 1 / 1200))
        assert table.loc[name, "power"] == pytest.approx(said[name] / 1200, abs=4 * error)
    assert table.loc["worse by the bound", "kind"] == "false positives"
    assert table.loc["worse by the bound", "power"] < 0.07
    assert found.detectable.empty


def test_an_aim_without_a_bound_is_refused_when_the_plan_is_read():
    primary = {"outcome": "radial_error", "groups": ["random", "blocked"], "aim": "equivalence"}
    with pytest.raises(DesignError, match="smallest_effect is missing"):
        plan(primary=primary, smallest_effect=None)


def test_which_of_several_retention_tests_is_said_by_its_name():
    tests = [
        {"phase": "pretest", "trials": 30},
        RETENTION | {"name": "after a day", "interval_days": 1, "trials": 10},
        RETENTION | {"name": "after a week", "interval_days": 7, "trials": 40},
    ]
    primary = {"outcome": "radial_error", "groups": ["random", "blocked"]}
    last = scenario(plan(tests=tests, primary=primary))
    first = scenario(plan(tests=tests, primary=primary | {"test": "after a day"}))
    assert (first.trials, last.trials) == (10, 40)
    with pytest.raises(DesignError, match="not the name of a retention test"):
        plan(tests=tests, primary=primary | {"test": "after a year"})


def test_a_variance_for_each_group_is_simulated_as_it_is_planned():
    primary = {"outcome": "radial_error", "groups": ["random", "blocked"]}
    one = scenario(plan(primary=primary))
    own = scenario(plan(primary=primary | {"variance": "by group"}))
    batch = draw_batch(one, 12, 3.0, 50, np.random.default_rng(1))
    assert (analyse(own, batch).df < analyse(one, batch).df).all()
    assert np.allclose(analyse(own, batch).estimate, analyse(one, batch).estimate)


@pytest.mark.parametrize("n", [2, 3, 4])
def test_very_few_people_are_refused_in_words_or_computed(n):
    groups = [{"name": "blocked", "size": n}, {"name": "random", "size": n}]
    for model in ("ancova", "linear mixed"):
        found = ml.power(plan(groups=groups), n=n, simulations=60, seed=1, effects=[3], model=model)
        assert found.table["power"].between(0, 1).all()


def test_too_few_clusters_are_refused_with_their_number():
    clustered = plan(
        allocation={"method": "cluster", "unit": "class"},
        assumptions=ASSUMED | {"cluster_size": 10, "cluster_icc": 0.1},
    )
    for n in (2, 10):
        with pytest.raises(InputError, match="too few clusters"):
            ml.power(clustered, n=n, simulations=10, seed=1)
    for n in (20, 30, 40):
        found = ml.power(clustered, n=n, simulations=100, seed=1, effects=[3])
        assert found.table["power"].between(0, 1).all()


def test_a_baseline_that_comes_later_is_refused():
    primary = {
        "outcome": "radial_error",
        "phase": "posttest",
        "groups": ["random", "blocked"],
        "baseline": "retention",
    }
    tests = [{"phase": "posttest", "trials": 30}, RETENTION]
    with pytest.raises(DesignError, match="not before the primary test"):
        ml.power(plan(tests=tests, primary=primary), n=20, simulations=2, seed=1)
