"""Audits of mixed models of ratings and counts: faulty and clean outcomes, and their remedies."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml

ONE = {"participant": "1"}


@pytest.fixture(scope="module")
def table():
    rng = np.random.default_rng(12)
    found = pd.DataFrame(
        {"participant": np.repeat(np.arange(20), 8), "group": np.repeat(["blocked", "random"], 80)}
    )
    late = found["group"] == "random"
    eta = (0.6 * late + rng.normal(0, 0.6, 20)[found["participant"]]).to_numpy()
    cuts, noise = [-1.0, 0.4, 1.5], rng.logistic(size=160)
    found["rating"] = ((eta + noise)[:, None] > cuts).sum(axis=1)
    # One group is rated in the middle, the other at both ends: no common odds ratio.
    found["ends"] = ((eta + np.where(late, 0.25, 1.6) * noise)[:, None] > cuts).sum(axis=1)
    found["catches"] = rng.poisson(np.exp(eta))
    found["faults"] = rng.poisson(np.exp(eta) * rng.gamma(2, 0.5, 160))
    found["two_parts"] = found["catches"] * 3 * (rng.random(160) < 0.4)
    return found


def row(table, outcome, family, words):
    fit = ml.fit_mixed(f"{outcome} ~ group", table, random=ONE, family=family)
    rows = ml.check_assumptions(fit).table
    found = rows[rows["assumption"].str.contains(words, regex=False)]
    assert len(found) == 1
    return found.iloc[0]


def test_odds_that_are_not_proportional_are_flagged(table):
    clean = row(table, "rating", "ordinal", "proportional odds")
    faulty = row(table, "ends", "ordinal", "proportional odds")
    assert clean["grade"] == "fine" and faulty["grade"] == "act"
    assert faulty["value"] > 3 and "above 0" in faulty["remedied"]


def test_counts_that_scatter_are_flagged(table):
    clean = row(table, "catches", "poisson", "independent events")
    faulty = row(table, "faults", "poisson", "independent events")
    assert clean["grade"] == "fine" and faulty["grade"] == "act"
    assert "negative binomial" in faulty["remedied"]


def test_zeros_beyond_the_model_are_flagged(table):
    assert row(table, "catches", "poisson", "counts of zero")["grade"] == "fine"
    assert row(table, "two_parts", "poisson", "counts of zero")["grade"] != "fine"


def test_ratings_at_the_top_are_flagged(table):
    top = table.assign(rating=table["rating"].where(table["participant"] % 3 == 0, 3))
    assert row(top, "rating", "ordinal", "floor or ceiling")["grade"] == "act"
