"""Technique beside the outcome: hand answers, an outside reference, refusals."""

import numpy as np
import pandas as pd
import pytest

from motorlearn.analysis.speed import COST, FREE, NO_GAIN, OPEN, speed_beside
from motorlearn.analysis.technique import TOTAL, primary_scores, technique_change
from motorlearn.design import design_from_mapping
from motorlearn.exceptions import InputError
from motorlearn.trials import Study, Trials
from motorlearn.wording import Voice
from motorlearn.wording.technique import speed_sentence

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
    assert found.items["item"].tolist() == ["knees", "paddle", TOTAL]


def test_speed_stands_beside_hits():
    speed = [[10, 9, 8], [11, 10, 9], [9, 9, 8]]
    one = study([[0, 0, 1], [1, 1, 3], [0, 2, 3]], [[5, 6, 9], [4, 9, 11], [6, 7, 10]], speed)
    found = speed_beside(primary_scores(one), PLAN)
    change = found.change.set_index("score")
    assert np.isclose(change.loc["speed", "change"], -5 / 3)
    assert np.isclose(change.loc["outcome", "change"], 5)  # hits of 20: 4, 7, 4
    assert found.together.empty  # three people


@pytest.mark.parametrize(
    ("gain", "faster", "verdict"),
    [(4, -2, COST), (4, 2, FREE), (4, 0, OPEN), (0, -2, NO_GAIN)],
)
def test_a_gain_is_bought_only_where_both_intervals_leave_out_zero(gain, faster, verdict):
    people = np.arange(8)
    noise = np.tile([-1, 1], 4)
    hits = np.column_stack([people, people + gain / 2, people + gain + noise])
    speed = np.column_stack([people + 9, people + 9, people + 9 + faster + noise])
    one = study(np.zeros((8, 3)), hits, speed.tolist())
    found = speed_beside(primary_scores(one), PLAN)
    assert found.verdicts == {"all": verdict}
    said = speed_sentence(found.change, verdict, found.tests, "m/s", Voice(PLAN, PLAN.outcomes[0]))
    assert {
        COST: "slower trials may be",
        FREE: "not bought",
        OPEN: "no loss of speed is shown",
    }.get(verdict, "no gain in hits") in said
    if verdict == OPEN:  # hand: 0 -+ t(.975; 7) sqrt(8 / 7) / sqrt(8) = 2.3646 x .37796 = .8937
        assert "one of up to 0.9 m/s fits these data" in said


def test_scores_of_landmarks_stand_beside_those_of_raters_and_are_not_mixed_with_them():
    one = study([[0, 0, 1], [1, 1, 3], [0, 2, 3]], [[5, 6, 9], [4, 9, 11], [6, 7, 10]])
    camera = one.ratings.assign(rater="landmarks", source="landmarks", score=1.0)
    both = pd.concat([one.ratings.assign(source="raters"), camera])
    found = technique_change(Study(PLAN, one.trials, None, both))
    total = found.items[found.items["item"] == TOTAL].set_index("source")
    assert (total.loc["raters", "change"], total.loc["landmarks", "change"]) == (2, 0)
    assert "landmarks" in str(found)


def test_groups_keep_their_own_change():
    one = study([[0, 0, 1], [1, 1, 3], [0, 2, 3]], [[5, 6, 9], [4, 9, 11], [6, 7, 10]])
    table = one.trials.table
    table = table.assign(group=np.where(table["participant"] == "P0", "a", "b"))
    plan = PLAN.model_copy(
        update={"groups": tuple(PLAN.groups[0].model_copy(update={"name": n}) for n in "ab")}
    )
    found = technique_change(Study(plan, Trials(table), None, one.ratings))
    total = found.items[found.items["item"] == TOTAL].set_index("group")
    assert (total.loc["a", "change"], total.loc["b", "change"]) == (1, 2.5)


def test_without_ratings_of_two_tests_it_says_so():
    one = study([[0, 0, 1]] * 3, [[5, 6, 9]] * 3)
    pretest = one.ratings[one.ratings["phase"] == "pretest"]
    with pytest.raises(InputError, match="not rated at two tests"):
        technique_change(Study(PLAN, one.trials, None, pretest))
    with pytest.raises(InputError, match="no ratings"):
        technique_change(Study(PLAN, one.trials))
