"""Technique beside the outcome: hand answers, an outside reference, refusals."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from motorlearn.analysis.technique import technique_change
from motorlearn.design import design_from_mapping
from motorlearn.exceptions import InputError
from motorlearn.trials import Study, Trials

PLAN = design_from_mapping(
    {
        "study": {"title": "Ring push"},
        "groups": [{"name": "all"}],
        "tests": [
            {"phase": "pretest", "trials": 20, "day": 0},
            {"phase": "progress", "name": "week 2", "trials": 20, "week": 2},
            {"phase": "retention", "trials": 20, "interval_days": 7},
        ],
        "outcomes": [{"name": "hits", "better": "higher"}],
    }
)
PHASES = ("pretest", "progress", "retention")


def study(scores, hits, speed=None):
    """One study from arrays of shape (people, tests)."""
    people = [f"P{i}" for i in range(len(scores))]
    ratings, trials = [], []
    for i, person in enumerate(people):
        for j, phase in enumerate(PHASES):
            ratings.append((person, phase, "A", "knees", float(scores[i][j])))
            ratings.append((person, phase, "A", "paddle", float(scores[i][j]) + 1))
            row = {"participant": person, "phase": phase, "hits": hits[i][j], "attempts": 20}
            trials.append(row | ({} if speed is None else {"speed": speed[i][j]}))
    names = ["participant", "phase", "rater", "item", "score"]
    return Study(PLAN, Trials(pd.DataFrame(trials)), None, pd.DataFrame(ratings, columns=names))


def test_the_change_of_an_item_is_the_mean_of_the_paired_changes():
    # Changes 1, 2, 3: mean 2, SD 1, t(2, .975) = 4.3027, half width 4.3027 / sqrt(3) = 2.4841.
    found = technique_change(
        study([[0, 0, 1], [1, 1, 3], [0, 2, 3]], [[5, 6, 9], [4, 9, 11], [6, 7, 10]])
    )
    knees = found.items.set_index("item").loc["knees"]
    assert (knees["n"], knees["change"]) == (3, 2)
    assert np.allclose([knees["conf_low"], knees["conf_high"]], [2 - 2.4841, 2 + 2.4841], atol=1e-3)
    assert found.items["item"].tolist() == ["knees", "paddle", "total"]


def test_moving_together_is_the_correlation_within_people():
    # Reference: analysis of covariance with one slope and a level per person (Bakdash & Marusich
    # 2017), fitted by statsmodels; r is the root of SS slope / (SS slope + SS error), signed.
    rng = np.random.default_rng(4)
    scores = rng.uniform(0, 2, (8, 3))
    hits = np.clip(np.round(6 + 4 * scores + rng.normal(0, 2, (8, 3))), 0, 20).astype(int)
    found = technique_change(study(scores, hits)).together.iloc[0]
    rows = pd.DataFrame(
        {"y": hits.ravel() / 20, "x": scores.ravel() + 0.5, "who": np.repeat(range(8), 3)}
    )
    fit = smf.ols("y ~ C(who) + x", rows).fit()
    without = smf.ols("y ~ C(who)", rows).fit()
    share = (without.ssr - fit.ssr) / without.ssr
    assert np.isclose(found["r"], np.sign(fit.params["x"]) * np.sqrt(share))
    assert np.isclose(found["p"], fit.pvalues["x"])
    assert found["df"] == 8 * 2 - 1


def test_speed_stands_beside_hits():
    speed = [[10, 9, 8], [11, 10, 9], [9, 9, 8]]
    found = technique_change(
        study([[0, 0, 1], [1, 1, 3], [0, 2, 3]], [[5, 6, 9], [4, 9, 11], [6, 7, 10]], speed)
    )
    assert np.isclose(found.speed["change"].iloc[0], -5 / 3)
    assert "speed and outcome" in set(found.together["pair"])
    assert "Exploratory" in str(found)


def test_without_ratings_of_two_tests_it_says_so():
    one = study([[0, 0, 1]] * 3, [[5, 6, 9]] * 3)
    pretest = one.ratings[one.ratings["phase"] == "pretest"]
    with pytest.raises(InputError, match="not rated at two tests"):
        technique_change(Study(PLAN, one.trials, None, pretest))
    with pytest.raises(InputError, match="no ratings"):
        technique_change(Study(PLAN, one.trials))
