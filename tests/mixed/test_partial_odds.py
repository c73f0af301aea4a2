"""Effects at each cut of a rating scale: clmm2 and clm (ordinal), slopes, recovery, refusals."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from statsmodels.discrete.discrete_model import MNLogit
from statsmodels.miscmodels.ordinal_model import OrderedModel

import motorlearn as ml
from motorlearn.exceptions import InputError
from motorlearn.mixed import partial_odds
from motorlearn.mixed.solve.partial_ratings import PartialOrdinal
from motorlearn.mixed.solve.ratings import Ordinal

REFERENCE = Path(__file__).parents[1] / "reference" / "mixed_families"
VALUES = json.loads((REFERENCE / "partial.json").read_text())


def wine():
    table = pd.read_csv(REFERENCE / "wine.csv")
    return table.assign(three=np.digitize(table["rating"], [2.5, 3.5]))


@pytest.mark.parametrize("way", ["laplace", "agq"])
def test_wine_equals_clmm2(way):
    expected = VALUES[way]
    nodes = 15 if way == "agq" else 1
    fit = ml.fit_mixed(
        "three ~ temp + contact", wine(), random={"judge": "1"}, family="ordinal", quadrature=nodes
    )
    found = partial_odds(fit, "contact")
    assert found.loglik > expected["loglik"] - 1e-5
    effects = [*found.thresholds["estimate"], *-found.cuts["estimate"], *found.common["estimate"]]
    # clmm2 differences its likelihood and stops within about 1e-4 of the optimum.
    assert_allclose(effects, expected["coef"][:5], rtol=2e-3)
    assert_allclose(found.sds["sd"], expected["coef"][5:], rtol=2e-3)
    errors = [*found.thresholds["std_error"], *found.cuts["std_error"], *found.common["std_error"]]
    assert_allclose(errors, expected["se"][:5], rtol=1e-2)
    assert_allclose(found.test["statistic"][0], 2 * (found.loglik - fit.loglik), rtol=1e-9)
    assert found.test["df"][0] == 1


def test_without_differences_between_people_it_equals_clm():
    """Groups of rows that do not differ, so that the random part is estimated as zero."""
    table, expected = wine(), VALUES["clm"]
    # Dealt out like cards from a sorted pack, so that every group gets the same.
    dealt = table.sort_values(["temp", "contact", "three"], kind="stable")
    table = dealt.assign(nobody=np.arange(72) % 6)
    fit = ml.fit_mixed("three ~ temp + contact", table, random={"nobody": "1"}, family="ordinal")
    if fit.covariances["nobody"][0, 0] > 1e-6:
        pytest.fail("these groups were to differ in nothing")
    found = partial_odds(fit, "contact")
    assert found.loglik > expected["loglik"] - 1e-6
    effects = [*found.thresholds["estimate"], *-found.cuts["estimate"], *found.common["estimate"]]
    assert_allclose(effects, expected["coef"], rtol=1e-4)
    errors = [*found.thresholds["std_error"], *found.cuts["std_error"], *found.common["std_error"]]
    assert_allclose(errors, expected["se"], rtol=1e-3)


@pytest.mark.parametrize("link", ["logit", "probit"])
def test_slopes_and_what_it_reduces_to(link):
    rng = np.random.default_rng(1)
    own, eta = rng.normal(size=(30, 2)), rng.normal(size=(1, 30))
    y, weight = rng.integers(0, 4, (1, 30)).astype(float), np.ones((1, 30))
    kind = PartialOrdinal(link, 4, own)
    extra = np.array([[0.2, 0.4, *0.05 * rng.normal(size=4)]])
    by_extra = kind.extras(eta, y, weight, extra)
    for j in range(6):
        step = 1e-6 * np.eye(6)[j]
        ahead, behind = (kind.rows(eta, y, weight, extra + s * step) for s in (1, -1))
        for order, sign in ((0, 1), (1, 1), (2, 1)):
            change = sign * (ahead[order] - behind[order])[0] / 2e-6
            assert_allclose(by_extra[order][j, 0], change, rtol=2e-4, atol=1e-6)
    plain = Ordinal(link, 4).rows(eta, y, weight, extra[:, :2])
    same = kind.rows(eta, y, weight, np.array([[0.2, 0.4, 0, 0, 0, 0]]))
    assert_allclose(np.array(same), np.array(plain), atol=1e-12)


def test_an_effect_at_the_upper_cut_alone_is_found_and_tested():
    rng = np.random.default_rng(5)
    person = np.repeat(np.arange(60), 12)
    latent = rng.normal(0, 0.8, 60)[person] + rng.logistic(size=720)
    second = person >= 30
    table = pd.DataFrame(
        {
            "participant": person,
            "group": np.where(second, "random", "blocked"),
            "rating": (latent > -1) * 1 + (latent > np.where(second, 0.2, 1.5)),
        }
    )
    fit = ml.fit_mixed("rating ~ group", table, random={"participant": "1"}, family="ordinal")
    found = partial_odds(fit, "group", simulations=30, seed=1)
    assert_allclose(found.cuts["estimate"], [0.0, 1.3], atol=0.5)
    assert found.test["p"][0] < 1e-3 and found.test["p_bootstrap"][0] == 1 / 31
    assert "odds ratio" in str(found)
    audit = ml.check_assumptions(fit, seed=1).table.set_index("assumption")
    row = audit.loc["a term moves all ratings alike (proportional odds)"]
    assert "partial_odds" in " ".join(map(str, row))


def test_a_cut_that_nobody_of_a_group_passes_is_said():
    table = wine()
    table.loc[(table["contact"] == "yes") & (table["three"] == 0), "three"] = 1
    fit = ml.fit_mixed("three ~ contact + temp", table, random={"judge": "1"}, family="ordinal")
    found = partial_odds(fit, "contact")
    assert any("contact[T.yes] above 0" in words for words in found.warnings)
    assert np.isnan(found.cuts["p"][0]) and np.isfinite(found.cuts["p"][1])
    assert "runs off" in str(found)


@pytest.mark.parametrize(
    ("family", "terms", "match"),
    [("poisson", "contact", "three ratings"), ("ordinal", "task", "no such term")],
)
def test_what_is_refused(family, terms, match):
    fit = ml.fit_mixed("three ~ temp + contact", wine(), random={"judge": "1"}, family=family)
    with pytest.raises(InputError, match=match):
        partial_odds(fit, terms)


def test_without_differences_between_people_it_equals_statsmodels():
    """Proportional odds: OrderedModel. An effect at each cut: MNLogit, which is as free."""
    table = wine()
    dealt = table.sort_values(["contact", "temp", "three"], kind="stable")
    table = dealt.assign(nobody=np.arange(72) % 6, yes=dealt["contact"].eq("yes") * 1.0)
    fit = ml.fit_mixed("three ~ contact", table, random={"nobody": "1"}, family="ordinal")
    assert fit.singular
    other = OrderedModel(table["three"], table[["yes"]], distr="logit")
    other = other.fit(method="bfgs", gtol=1e-9, disp=0)
    assert_allclose(fit.loglik, other.llf, atol=1e-6)
    slope, first, step = other.params
    assert_allclose(fit.thresholds["estimate"], [first, first + np.exp(step)], rtol=1e-4)
    assert_allclose(fit.beta[1], slope, rtol=1e-4)
    free = MNLogit(table["three"], np.column_stack([np.ones(72), table["yes"]])).fit(disp=0)
    found = partial_odds(fit, "contact")
    assert_allclose(found.loglik, free.llf, atol=1e-6)
    shares = table.groupby("yes")["three"].agg([lambda s: (s > 0).mean(), lambda s: (s > 1).mean()])
    logits = np.log(shares / (1 - shares)).to_numpy()
    assert_allclose(found.cuts["estimate"], logits[1] - logits[0], rtol=1e-4)
