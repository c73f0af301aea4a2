"""Coefficients on 200 random tables with gaps are those of other programs."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.measures.agreement.alpha import alpha_of
from motorlearn.measures.agreement.crossed import _even_number, crossed_components
from motorlearn.measures.agreement.icc import FORMS, intraclass_correlations
from motorlearn.measures.agreement.kappa import (
    chance_corrected_of,
    choices_of,
    kappa_of,
    weights_between,
)

FOLDER = Path(__file__).parents[1] / "reference" / "rater_agreement_gaps"
CASES = json.loads((FOLDER / "values.json").read_text("utf-8"))
TABLES = [np.array(case["scores"], dtype=float) for case in CASES]


def codes_of(table):
    return np.unique(table[np.isfinite(table)])


def even(table):
    return np.ones((1, len(table)))


def whole(table):
    return table[np.isfinite(table).all(axis=1)]


@pytest.mark.parametrize("metric", ["nominal", "ordinal", "interval"])
def test_alpha_is_that_of_krippendorff(metric):
    found = [alpha_of(t, even(t), codes_of(t), metric)[0] for t in TABLES]
    np.testing.assert_allclose(found, [case[metric] for case in CASES], rtol=0, atol=1e-12)


@pytest.mark.parametrize(("name", "chance"), [("gwet", "ac1"), ("fleiss", "fleiss")])
def test_coefficients_with_gaps_are_those_of_irrcac(name, chance):
    found = [chance_corrected_of(choices_of(t, codes_of(t)), even(t), chance)[0] for t in TABLES]
    np.testing.assert_allclose(found, [case[name] for case in CASES], rtol=0, atol=6e-6)


def test_fleiss_kappa_is_that_of_statsmodels():
    chosen = [i for i, case in enumerate(CASES) if "fleiss_whole" in case]
    full = [whole(TABLES[i]) for i in chosen]
    found = [chance_corrected_of(choices_of(t, codes_of(t)), even(t), "fleiss")[0] for t in full]
    assert len(chosen) > 150
    np.testing.assert_allclose(
        found, [CASES[i]["fleiss_whole"] for i in chosen], rtol=0, atol=1e-12
    )


@pytest.mark.parametrize(
    ("name", "weights"),
    [("cohen", "none"), ("linear", "linear"), ("quadratic", "quadratic"),
     ("psych_kappa", "none"), ("psych_weighted", "quadratic")],
)  # fmt: skip
def test_kappas_of_two_raters_are_those_of_statsmodels_and_psych(name, weights):
    chosen = [i for i, case in enumerate(CASES) if name in case]
    full = [whole(TABLES[i]) for i in chosen]
    found = [
        kappa_of(t, even(t), codes_of(t), weights_between(codes_of(t), weights))[0] for t in full
    ]
    assert len(chosen) > 70
    np.testing.assert_allclose(found, [CASES[i][name] for i in chosen], rtol=0, atol=1e-12)


def test_six_icc_are_those_of_pingouin():
    chosen = [i for i, case in enumerate(CASES) if "forms" in case]
    found = [[icc.estimate for icc in intraclass_correlations(whole(TABLES[i]))] for i in chosen]
    np.testing.assert_allclose(found, [CASES[i]["forms"] for i in chosen], rtol=0, atol=1e-11)


@pytest.mark.parametrize(
    "chosen", [range(0, 200, 25), pytest.param(range(200), marks=pytest.mark.slow)]
)
def test_icc_with_gaps_is_that_of_lme4_and_psych(chosen):
    for i in chosen:
        parts = crossed_components(TABLES[i])
        share = parts.item / (parts.item + parts.rater + parts.error)
        assert share == pytest.approx(CASES[i]["icc"], abs=2e-6)
        if "psych" in CASES[i]:
            assert share == pytest.approx(CASES[i]["psych"], abs=1e-4)


@pytest.mark.parametrize("place", [3, 40, 111])
def test_the_front_door_gives_the_same(place):
    table, case = TABLES[place], CASES[place]
    rows = [(i, f"r{j}", v) for (i, j), v in np.ndenumerate(table) if np.isfinite(v)]
    long = pd.DataFrame(rows, columns=["clip", "rater", "score"])
    found = ml.rater_agreement(long, item="clip", rater="rater", score="score", kind="ordinal")
    told = found.estimates.set_index("term")["estimate"]
    assert told["Krippendorff's alpha (ordinal)"] == pytest.approx(case["ordinal"], abs=1e-12)
    assert told["Gwet's AC1"] == pytest.approx(case["gwet"], abs=6e-6)
    assert told["Fleiss' kappa"] == pytest.approx(case["fleiss"], abs=6e-6)
    assert told["ICC(A,1)"] == pytest.approx(case["icc"], abs=2e-6)
    assert {form.single for form in FORMS} <= set(told.index)


def test_the_even_number_of_ratings_is_that_of_snedecor():
    # n0 = (N - sum n^2 / N) / (k - 1) of the one-way analysis with unequal numbers.
    assert _even_number(np.array([3, 3, 3])) == pytest.approx(3)
    assert _even_number(np.array([1, 2, 3])) == pytest.approx((6 - 14 / 6) / 2)
