"""Unequal spread of groups and few people: what the result says about its own tests."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import motorlearn as ml
from motorlearn.compare.spread import OFTEN, pooled_rate

TESTS = ("pretest", "retention", "transfer")


def study(sizes, sds, seed=1, missing=()):
    rng = np.random.default_rng(seed)
    groups = [f"g{i}" for i, size in enumerate(sizes) for _ in range(size)]
    spread = np.repeat(sds, sizes)
    level = rng.normal(size=len(groups))
    rows = [
        {"participant": i, "group": group, "phase": phase, "radial_error": 40 + spread[i] * value}
        for i, group in enumerate(groups)
        for phase, value in zip(TESTS, 0.7 * level[i] + 0.7 * rng.normal(size=3))
        if (i, phase) not in missing
    ]
    return pd.DataFrame(rows)


def said(table, **options):
    given = {"group": "group", "baseline": "pretest"} | options
    found = ml.compare_phases(table, "radial_error", **given).statements
    return [one for one in found if one.startswith(("Groups differ in spread", "With fewer"))]


def test_the_rate_is_that_of_a_simulation():
    rng = np.random.default_rng(3)
    one, two = rng.normal(0, 3, (20_000, 10)), rng.normal(0, 1, (20_000, 30))
    rate = np.mean(stats.ttest_ind(one, two, axis=1).pvalue < 0.05)
    pooled = np.sqrt((9 * 9 + 29 * 1) / 38 * (1 / 10 + 1 / 30))
    own = np.sqrt(9 / 10 + 1 / 30)
    df = own**4 / ((9 / 10) ** 2 / 9 + (1 / 30) ** 2 / 29)
    assert pooled_rate((pooled, 38), (own, df)) == pytest.approx(rate, abs=0.02)
    assert rate > OFTEN


def test_a_small_wide_group_is_told_with_the_rate():
    table = study((10, 30), (3, 1))
    (sentence,) = said(table)
    assert "g0 (n = 10" in sentence and "a variance for each group" in sentence
    assert "The analysis of covariance gives all groups one" in sentence
    (sentence,) = said(table, route="mixed")
    assert "The analysis of covariance and the mixed model give" in sentence
    assert said(table, variance="by group") == said(table, variance="by group", route="mixed") == []


def test_the_mixed_model_of_hits_pools_whatever_was_asked_for_and_says_so():
    table = study((10, 30), (3, 0.3)).rename(columns={"radial_error": "score"})
    table = table.assign(hits=(10 + (table["score"] - 40)).clip(1, 19).round(), attempts=20)
    options = {"group": "group", "baseline": "pretest", "attempts": "attempts"}
    result = ml.compare_phases(table, "hits", **options, variance="by group", route="mixed")
    assert [limit.kind for limit in result.limits].count("unequal spread, mixed") == 1


def test_three_groups_that_pool_are_told():
    assert "Groups differ in spread" in said(study((10, 10, 10), (1, 1, 4)))[0]


def test_the_pair_that_is_told_stands_beside_the_spread_of_all_groups():
    table = study((10, 10, 10), (1, 1, 4))
    result = ml.compare_phases(table, "radial_error", group="group", baseline="pretest")
    (limit,) = [one for one in result.limits if one.kind.startswith("unequal spread")]
    phase, *pair = limit.names
    scores = result.scores[result.scores["phase"] == phase]
    by_group = scores.groupby("group")["score"]
    pooled = np.sqrt((by_group.var() * (by_group.size() - 1)).sum() / (len(scores) - 3))
    assert limit.values[2] == pytest.approx(pooled)
    assert list(limit.values[:2]) == pytest.approx([by_group.std()[name] for name in pair])
    told = replace(limit, outcome="time").sentence()
    assert f"spread at {phase} in time: {pair[0]} (n = 10" in told
    assert "within all groups together is" in told


def test_alike_groups_are_seldom_told():
    told = [bool(said(study((12, 12), (1, 1), seed))) for seed in range(8)]
    assert sum(told) <= 1


def test_few_people_who_missed_tests_are_told_what_the_mixed_model_does():
    whole = study((6, 6), (1, 1))
    assert said(whole, route="mixed") == []
    gone = study((6, 6), (1, 1), missing={(0, "transfer")})
    assert "6.7 to 7.3 %" in said(gone, route="mixed")[0]
    assert said(study((12, 12), (1, 1), missing={(0, "transfer")}), route="mixed") == []


def test_few_people_with_hits_are_told():
    table = study((6, 6), (1, 1))
    table["hits"] = np.random.default_rng(1).binomial(20, 0.4, len(table))
    table["attempts"] = 20
    options = {"group": "group", "baseline": "pretest", "attempts": "attempts", "route": "mixed"}
    found = ml.compare_phases(table, "hits", **options).statements
    assert any("mixed model of hits does not hold 5 %" in one for one in found)
