"""Simultaneous comparisons, slopes, places, kinds of contrasts and joint tests of type II."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from scipy import stats

import motorlearn as ml
from motorlearn.exceptions import InputError
from motorlearn.mixed.inference.simultaneous import adjusted, critical, max_t_tail, tukey_tail

REFERENCE = Path(__file__).parents[1] / "reference" / "simultaneous"
VALUES = json.loads((REFERENCE / "values.json").read_text())
BLOCKS = {"Block/Variety": "1"}


@pytest.fixture(scope="module")
def oats():
    return pd.read_csv(REFERENCE / "oats.csv")


@pytest.fixture(scope="module")
def by_level(oats):
    formula = "`yield` ~ Variety + C(nitro)"
    return ml.fit_mixed(formula, oats, random=BLOCKS, df="kenward-roger")


@pytest.fixture(scope="module")
def by_number(oats):
    return ml.fit_mixed("`yield` ~ Variety * nitro", oats, random=BLOCKS, df="kenward-roger")


def assert_comparisons(found, expected, *, p=2e-4):
    # Pairs come in another order there: put both in that of their estimates.
    order = np.argsort(expected["estimate"], kind="stable")
    expected = {key: np.array(values)[order] for key, values in expected.items()}
    found = found.frame.sort_values("estimate", kind="stable")
    assert_allclose(found["estimate"], expected["estimate"], rtol=1e-5)
    assert_allclose(found["std_error"], expected["se"], rtol=1e-5)
    assert_allclose(found["df"], expected["df"], rtol=1e-4)
    assert_allclose(found["p_adjusted"], expected["p"], atol=p)
    margin = np.array(expected["high"]) - expected["low"]
    assert_allclose(found["conf_high"] - found["conf_low"], margin, rtol=1e-3)


def test_all_pairs_by_tukey_equal_emmeans(by_level):
    found = ml.contrasts(by_level, "nitro", adjust="tukey")
    assert_comparisons(found, VALUES["oats_tukey"])
    # Pairs of equal precision: the multivariate t is the studentised range. Its integral is over a
    # sample of directions, which builds of linear algebra turn differently: p within 5e-4.
    jointly = ml.contrasts(by_level, "nitro", adjust="mvt")
    assert_comparisons(jointly, VALUES["oats_tukey"], p=5e-4)


def test_against_a_reference_and_by_the_multivariate_t(by_level):
    expected = VALUES["oats_dunnett_mvt"]
    found = ml.contrasts(by_level, "nitro", kind="reference", adjust="dunnett")
    assert_comparisons(found, expected)
    same = ml.contrasts(by_level, "nitro", reference=0.0, adjust="dunnett")
    pd.testing.assert_frame_equal(same.frame, found.frame)
    pairs = ml.contrasts(by_level, "Variety", adjust="mvt")
    assert_comparisons(pairs, VALUES["oats_variety_mvt"])


def test_tails_equal_ptukey_and_pmvt():
    points = np.array(VALUES["tails"]["t"])
    twelve = np.full(4, 12.0)
    tukey = adjusted(tukey_tail(5), points, twelve)
    assert_allclose(tukey, VALUES["tails"]["tukey5_12"], rtol=1e-6)
    correlation = np.array([[1, 0.5, 0.2], [0.5, 1, 0.5], [0.2, 0.5, 1]])
    tail = max_t_tail(correlation)
    assert_allclose(adjusted(tail, points, twelve), VALUES["tails"]["mvt"], rtol=2e-3)
    law = stats.multivariate_t(np.zeros(3), correlation, df=12, seed=1)
    inside = law.cdf(np.full(3, 2.0), lower_limit=np.full(3, -2.0), maxpts=200_000)
    assert_allclose(tail(2.0, 12.0), 1 - inside, atol=2e-4)
    bound = critical(tail, np.array([12.0, np.inf]), 0.9)
    assert_allclose([tail(bound[0], 12.0), tail(bound[1], np.inf)], 0.1, atol=1e-6)


def test_unequal_groups_equal_emmeans():
    # A linear model without random part: the arrays of the same contrasts.
    table = pd.read_csv(REFERENCE / "warpbreaks.csv")
    cell = table["wool"] + table["tension"]
    x = pd.get_dummies(cell).to_numpy(float)
    cells = np.linalg.lstsq(x, table["breaks"].to_numpy(float))[0]
    names = sorted(cell.unique())
    mean = {t: np.array([name.endswith(t) / 2 for name in names]) for t in "LMH"}
    for key in ("warp_tukey", "warp_dunnett"):
        expected = VALUES[key]
        labels = [label.split(" - ") for label in expected["label"]]
        rows = np.array([mean[a] - mean[b] for a, b in labels])
        covariance = rows @ np.linalg.inv(x.T @ x) @ rows.T
        estimate = rows @ cells
        error = np.array(expected["se"])
        assert_allclose(estimate, expected["estimate"])
        tail = max_t_tail(covariance / np.outer(*[np.sqrt(np.diag(covariance))] * 2))
        p = adjusted(tail, estimate / error, np.array(expected["df"], float))
        assert_allclose(p, expected["p"], atol=2e-4)


def test_slopes_by_group_and_their_differences(by_number):
    expected = VALUES["oats_slopes"]
    found = ml.marginal_means(by_number, "Variety", slope="nitro")
    for name, key in (("estimate", "estimate"), ("std_error", "se"), ("df", "df")):
        assert_allclose(found[name], expected[key], rtol=1e-5)
    assert (found["quantity"] == "slope in nitro").all()
    pairs = ml.contrasts(by_number, "Variety", slope="nitro", adjust="tukey")
    assert_comparisons(pairs, VALUES["oats_slope_pairs"])
    overall = ml.marginal_means(by_number, (), slope="nitro")
    assert_allclose(overall["estimate"], np.mean(expected["estimate"]), rtol=1e-6)


def test_means_at_a_place(by_number):
    expected = VALUES["oats_at"]
    found = ml.marginal_means(by_number, "Variety", at={"nitro": 0.3})
    for name, key in (("estimate", "estimate"), ("std_error", "se"), ("df", "df")):
        assert_allclose(found[name], expected[key], rtol=1e-5)
    both = ml.marginal_means(by_number, "Variety", at={"nitro": [0.0, 0.3]})
    assert list(both.frame.columns[:2]) == ["nitro", "Variety"] and len(both) == 6
    assert_allclose(both["estimate"][3:], expected["estimate"], rtol=1e-5)
    steps = ml.contrasts(by_number, "nitro", within="Variety", at={"nitro": [0.0, 1.0]})
    slopes = ml.marginal_means(by_number, "Variety", slope="nitro")
    assert_allclose(steps["estimate"], slopes["estimate"], rtol=1e-8)
    one = ml.marginal_means(by_number, (), at={"Variety": "Victory", "nitro": 0.3})
    assert_allclose(one["estimate"], expected["estimate"][2], rtol=1e-6)


def test_the_slope_of_a_curve_is_its_derivative(oats):
    fit = ml.fit_mixed("`yield` ~ poly(nitro, 2)", oats, random={"Block": "1"})
    places = ml.marginal_means(fit, (), at={"nitro": [0.3, 0.3 + 1e-4]})["estimate"]
    slope = ml.marginal_means(fit, (), at={"nitro": 0.3}, slope="nitro")["estimate"]
    assert_allclose(slope.item(), np.diff(places).item() / 1e-4, rtol=1e-3)


def test_helmert_and_ones_own_weights(by_level):
    means = ml.marginal_means(by_level, "nitro")["estimate"].to_numpy()
    helmert = ml.contrasts(by_level, "nitro", kind="helmert")
    assert_allclose(helmert["estimate"], [means[i] - means[:i].mean() for i in (1, 2, 3)])
    own = ml.contrasts(by_level, "nitro", kind={"much - little": [-0.5, -0.5, 0.5, 0.5]})
    assert own["contrast"].item() == "much - little"
    assert_allclose(own["estimate"].item(), means[2:].mean() - means[:2].mean())


@pytest.mark.parametrize(
    ("given", "match"),
    [
        ({"kind": {"a": [1, 0, 0, 0]}}, "sum to zero"),
        ({"kind": {"a": [1, -1]}}, "one number for each of 4 levels"),
        ({"kind": {}}, "no contrast"),
        ({"kind": "helmert", "adjust": "tukey"}, "all pairs"),
        ({"adjust": "dunnett"}, "reference"),
        ({"slope": "Variety"}, "not a number of the fixed part"),
        ({"at": {"Variety": "Wheat"}}, "Wheat"),
        ({"at": {"Block": "I"}}, "not in the fixed part"),
        ({"at": {"Variety": []}}, "not one the model knows"),
    ],
)
def test_what_does_not_fit_is_refused(by_level, given, match):
    with pytest.raises(InputError, match=match):
        ml.contrasts(by_level, "nitro", **given)


def test_anova_of_type_two_equals_car(oats):
    table = oats.drop(index=[2, 16, 17, 39, 40, 41, 59]).rename(columns={"nitro": "level"})
    table["level"] = table["level"].astype(str)
    fit = ml.fit_mixed("`yield` ~ Variety * level", table, random={"Block": "1"})
    for df, key in (("kenward-roger", "kr"), ("normal", "chisq")):
        found, expected = fit.anova(type=2, df=df), VALUES[f"oats_type2_{key}"]
        assert_allclose(found["p"], expected["p"], rtol=1e-4)
    found, expected = fit.anova(type=2, df="kenward-roger"), VALUES["oats_type2_kr"]
    for name, key in (("statistic", "F"), ("df1", "df1"), ("df2", "df2")):
        assert_allclose(found[name], expected[key], rtol=1e-5)
    assert not np.allclose(found["p"][:2], fit.anova(df="kenward-roger")["p"][:2], rtol=1e-3)
    assert "allowed for" in str(found)
