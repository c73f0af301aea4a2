"""What a population keeps to itself: a maximum that was not confirmed, and of how many people."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.curves.population import claims, told


def learners(count, rate, blocks=12):
    rng, block = np.random.default_rng(6), np.arange(1.0, blocks + 1)
    curve = 20 + 15 * np.exp(-rate * (block - 1))
    rows = [
        pd.DataFrame({"participant": who, "block": block, "y": curve + rng.normal() + noise})
        for who, noise in enumerate(rng.normal(0, 0.3, (count, blocks)))
    ]
    return pd.concat(rows)


def fitted(count, rate):
    rows = learners(count, rate)
    return ml.fit_population_curve(rows, "y", practice="block", vary=("asymptote",))


@pytest.mark.parametrize(("rate", "kept"), [(0.05, False), (0.4, True)])
def test_a_maximum_that_two_searches_do_not_share_has_no_errors_and_if_slow_no_curve(
    monkeypatch, rate, kept
):
    found = told.fit_population
    monkeypatch.setattr(told, "fit_population", lambda *a: replace(found(*a), agree=False))
    monkeypatch.setattr(claims.Asked, "verdicts", lambda self: (False, False, False))
    fit = fitted(8, rate)
    assert fit.status == "shape not settled"
    assert fit.estimates["std_error"].isna().all()
    assert fit.estimates["estimate"].notna().all() == kept


def test_a_population_that_leaves_its_chord_by_nothing_is_at_the_lowest_rate(monkeypatch):
    monkeypatch.setattr(claims.Asked, "verdicts", lambda self: (False, False, False))
    rows = learners(8, 0.3)
    rows["y"] = 35 - 0.5 * rows["block"] + 0.1 * rows["participant"] + 0.01 * np.sin(7 * rows["y"])
    fit = ml.fit_population_curve(rows, "y", practice="block", vary=("asymptote",))
    assert fit.status == "rate at a bound"
    assert fitted(8, 0.05).status == "asymptote not seen"


@pytest.mark.parametrize(("count", "interval"), [(29, "profile"), (30, "wald")])
def test_fewer_than_thirty_learners_get_profiles(count, interval):
    assert fitted(count, 0.3).recipe.options["interval"] == interval
