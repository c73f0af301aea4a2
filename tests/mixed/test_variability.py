"""Level and spread in one model: nlme, glmmTMB, a dense grid, recovery, refusals."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import stats

import motorlearn as ml
from motorlearn.exceptions import ColumnError, FitError, FormulaError, InputError
from motorlearn.mixed.solve.location_scale import LocationScale, SpreadRows

REFERENCE = Path(__file__).parents[1] / "reference" / "mixed_variability"
VALUES = json.loads((REFERENCE / "values.json").read_text())
CASES = {
    "sex": ("orthodont", "distance ~ age * Sex", "Sex", "1"),
    "sex_slopes": ("orthodont", "distance ~ age * Sex", "Sex", "1 + age"),
    "age": ("orthodont", "distance ~ age * Sex", "age", "1"),
    "sex_tmb": ("orthodont", "distance ~ age * Sex", "Sex + age", "1"),
    "sleep_tmb": ("sleep", "Reaction ~ Days", "half", "1"),
    "sleep_slopes_tmb": ("sleep", "Reaction ~ Days", "Days", "1 + Days"),
}


def table_of(name):
    if name == "orthodont":
        return pd.read_csv(REFERENCE / "orthodont.csv", dtype={"Subject": str})
    path = REFERENCE.parent / "mixed_models" / "sleepstudy.csv"
    table = pd.read_csv(path, dtype={"Subject": str})
    return table.assign(half=np.where(table["Days"] < 5, "early", "late"))


@pytest.mark.parametrize("case", CASES)
def test_a_fixed_part_alone_equals_r(case):
    name, formula, spread, level = CASES[case]
    expected = VALUES[case]
    fit = ml.fit_variability(
        formula, table_of(name), spread=spread, random={"Subject": level}, spread_random="0"
    )
    assert fit.converged and fit.loglik > expected["loglik"] - 1e-6
    assert_allclose(fit.of_level.beta, expected["fixef"], rtol=1e-4)
    if case.endswith("tmb"):
        assert_allclose(fit.of_spread.beta, expected["log_sd"], rtol=1e-4)
        for view, key in ((fit.of_level, "se"), (fit.of_spread, "log_sd_se")):
            # Without what few people add to them.
            own = np.sqrt(np.diag(view.vcov) * view.estimates["df"] / fit.people)
            assert_allclose(own, expected[key], rtol=1e-3)
        return
    slope = expected["slope"] if case == "age" else np.log(expected["slope"])
    assert_allclose(fit.of_spread.beta, [expected["log_sd"], slope], rtol=1e-4)


def made(people=24, rows=16, tau=0.3, late=0.15, seed=1):
    rng = np.random.default_rng(seed)
    person = np.repeat(np.arange(people), 2 * rows)
    test = np.tile(np.repeat([0, 1], rows), people)
    level = rng.normal(0, 3, people)
    log_sd = 0.5 * tau * level / 3 + tau * np.sqrt(0.75) * rng.normal(size=people)
    second = person >= people // 2
    spread = 1.2 + 0.4 * second * test + log_sd[person] + rng.normal(0, late, people)[person] * test
    table = pd.DataFrame(
        {
            "participant": person,
            "group": np.where(second, "random", "blocked"),
            "phase": np.where(test, "retention", "pretest"),
            "radial_error": 20
            + level[person]
            - 3 * test
            + np.exp(spread) * rng.normal(size=len(test)),
        }
    )
    return table.sample(frac=1, random_state=1)


@pytest.mark.parametrize("tied", [True, False])
def test_the_likelihood_equals_that_of_a_dense_grid(tied):
    """b and c both summed over a grid of their normal distribution, without anything of ours."""
    table = made(8, 5)
    fit = ml.fit_variability("radial_error ~ group", table, spread="group", correlated=tied)
    group = (table["group"] == "random").to_numpy(float)
    means = fit.of_level.beta[0] + fit.of_level.beta[1] * group
    logs = fit.of_spread.beta[0] + fit.of_spread.beta[1] * group
    sd_b, sd_c = fit.variances["sd"].iloc[:2]
    rho = fit.variances["correlation"].iloc[2] if tied else 0.0
    places = np.linspace(-7, 7, 281)
    step = places[1] - places[0]
    b, c = np.meshgrid(places, places)
    prior = stats.multivariate_normal([0, 0], [[1, rho], [rho, 1]]).logpdf(np.dstack([b, c]))
    total = 0.0
    for person in range(8):
        mine = np.flatnonzero(table["participant"].to_numpy() == person)
        logp = prior.copy()
        for i in mine:
            y = table["radial_error"].iloc[i]
            logp += stats.norm.logpdf(y, means[i] + sd_b * b, np.exp(logs[i] + sd_c * c))
        top = logp.max()
        total += top + np.log(np.exp(logp - top).sum() * step**2)
    assert_allclose(fit.loglik, total, atol=2e-4)


def test_gradient_equals_differences():
    rng = np.random.default_rng(2)
    person = np.repeat(np.arange(6), 8)
    x = np.column_stack([np.ones(48), np.tile([0.0, 1.0], 24)])
    starts = np.flatnonzero(np.r_[True, np.diff(person) > 0])
    for tied in (True, False):
        rows = SpreadRows(rng.normal(size=48), x, x, x.T, x.T, starts)
        model = LocationScale(rows, tied, 5)
        point = 0.2 + 0.2 * rng.normal(size=sum(model.sizes))
        model.place_nodes(point)
        slope = model.evaluate(point)[1]
        steps = 1e-6 * np.eye(len(point))
        found = [
            (model.evaluate(point + h)[0] - model.evaluate(point - h)[0]) / 2e-6 for h in steps
        ]
        assert_allclose(slope, found, rtol=1e-6, atol=1e-5)


def test_what_was_put_in_is_found_and_drawn_again():
    table = made(80, 12, seed=4)
    fit = ml.fit_variability(
        "radial_error ~ group * phase", table, spread="group * phase", spread_random="1 + phase"
    )
    late = fit.ratios("group", within="phase").query("phase == 'retention'").iloc[0]
    assert abs(np.log(late["estimate"]) - 0.4) < 0.25 and late["p"] < 0.01
    sd = fit.variances.set_index("term")["sd"]
    assert_allclose(sd["log SD: Intercept"].iloc[0], 0.3, atol=0.08)
    assert_allclose(
        fit.variances.query("other == 'log SD: Intercept'")["correlation"], 0.5, atol=0.25
    )
    assert fit.anova().frame.set_index("term")["p"]["group:phase"] < 0.01
    drawn = fit.simulate(100, seed=1)
    rows = table.iloc[fit.of_level.design.row].reset_index(drop=True)
    wide = rows.groupby(["participant", "phase"]).ngroup().to_numpy()
    sums = np.array([np.bincount(wide, row**2) - np.bincount(wide, row) ** 2 / 12 for row in drawn])
    logs = np.log(sums / 11).mean() / 2
    seen = np.log(rows.groupby(["participant", "phase"])["radial_error"].var()).mean() / 2
    assert_allclose(logs, seen, atol=0.03)
    assert len(fit.effects) == 80 * 3 and "ratio exp(d)" in str(fit)
    assert [table.title for table in fit.tables()][:3] == [
        "Logarithm of the standard deviation within a person",
        "Level of the scores",
        "Variances of the random effects",
    ]


def test_unit_and_origin_play_no_part():
    table = made()
    one = ml.fit_variability("radial_error ~ phase", table, spread="phase")
    moved = table.assign(radial_error=1000 + 25.4 * table["radial_error"])
    two = ml.fit_variability("radial_error ~ phase", moved, spread="phase")
    assert_allclose(one.ratios("phase")["estimate"], two.ratios("phase")["estimate"], rtol=1e-5)
    spread = two.spreads("phase")["estimate"] / one.spreads("phase")["estimate"]
    assert_allclose(spread, 25.4, rtol=1e-5)
    assert_allclose(two.loglik, one.loglik - len(table) * np.log(25.4), atol=1e-5)


def test_a_missing_slope_of_the_spread_is_said():
    table = made(30, 20, late=0.6)
    without = ml.fit_variability("radial_error ~ phase", table, spread="phase")
    assert any("spread_random" in words for words in without.warnings)
    other = ml.fit_variability(
        "radial_error ~ phase", table, spread="phase", spread_random="1 + phase"
    )
    assert not any("spread_random" in words for words in other.warnings)
    assert other.aic < without.aic


HALVES = np.arange(6 * 2 * 4) % 2


@pytest.mark.parametrize(
    ("change", "options", "error", "match"),
    [
        ({}, {"spread": "missing"}, ColumnError, "lacks"),
        ({}, {"spread": "0"}, (InputError, FormulaError), "intercept|empty|no term"),
        (
            {},
            {"spread": "group", "random": {"participant": "1", "group": "1"}},
            InputError,
            "one gr",
        ),
        ({}, {"spread": "group", "spread_random": "phase * group * trial"}, InputError, "terms"),
        ({}, {"spread": "group + copy"}, FitError, "told apart"),
        ({"radial_error": 1.0}, {"spread": "group"}, FitError, "."),
        ({"phase": None}, {"spread": "phase"}, InputError, "without a value"),
        ({"radial_error": HALVES}, {"spread": "group"}, InputError, r"two values .*binomial"),
        ({}, {"spread": "group", "level": 95}, InputError, "level"),
    ],
)
def test_what_is_refused(change, options, error, match):
    table = made(6, 4).assign(trial=1.0)
    table = table.assign(trial=np.arange(len(table)) % 3 * 1.0, copy=table["group"])
    for name, value in change.items():
        table.loc[table.index[:1] if value is None else table.index, name] = value
    with pytest.raises(error, match=match):
        ml.fit_variability("radial_error ~ group", table, **options)


def test_one_row_for_each_person_is_too_few():
    table = made(20, 4).drop_duplicates(["participant"])
    with pytest.raises(FitError, match="one observation per level"):
        ml.fit_variability("radial_error ~ group", table, spread="group")
    two = made(20, 1)
    with pytest.raises(FitError, match="too few to tell spread"):
        ml.fit_variability("radial_error ~ group", two, spread="group")
