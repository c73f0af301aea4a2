"""The mixed route with a variance for each group."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import motorlearn as ml
from motorlearn.linear import ancova_batch, jackknife_by_group, welch
from motorlearn.plan.power.score_models import fit_scores
from motorlearn.plan.power.simulated_scores import Batch

TESTS = ("pretest", "retention", "transfer")


def drawn(studies, sizes, sds, missing=0.0, seed=1):
    """Scores (studies, people, tests) without an effect; tests correlate by .5."""
    rng = np.random.default_rng(seed)
    spread = np.repeat(sds, sizes)[:, None]
    level = rng.normal(size=(studies, sum(sizes), 1))
    noise = rng.normal(size=(studies, sum(sizes), 3))
    scores = 40 + spread * (level + noise) / np.sqrt(2)
    lost = rng.random(scores.shape) < missing
    lost[:, :, 0] = False
    return np.where(lost, np.nan, scores)


def compare(scores, sizes, **options):
    person, test = np.nonzero(~np.isnan(scores))
    group = np.repeat([f"g{i}" for i in range(len(sizes))], sizes)
    table = pd.DataFrame({"participant": person, "group": group[person]})
    table = table.assign(phase=np.array(TESTS)[test], radial_error=scores[person, test])
    given = {"group": "group", "baseline": "pretest", "route": "mixed", "variance": "by group"}
    return ml.compare_phases(table, "radial_error", **(given | options))


def last(frame):
    return frame[frame["phase"] == "transfer"].iloc[0]


def batch_of(scores, sizes):
    people = sum(sizes)
    groups = np.repeat(np.arange(len(sizes)), sizes)
    return Batch(scores, groups, np.arange(people), 0, 2, np.ones(3))


def test_complete_scores_without_a_baseline_give_welch():
    scores = drawn(1, (6, 14), (3, 1))[0]
    row = last(compare(scores, (6, 14), baseline=None).mixed)
    plain = welch(scores[6:, 2], scores[:6, 2])
    assert row[["estimate", "std_error", "df", "p"]].tolist() == pytest.approx(
        [plain.estimate, plain.std_error, plain.df, plain.p], rel=1e-6
    )
    assert "a variance for each group (jackknife over participants)" in row["method"]


def test_few_people_without_a_baseline_are_compared_test_by_test():
    scores = drawn(1, (3, 4), (3, 1))[0]
    frame = compare(scores, (3, 4), baseline=None).mixed
    plain = welch(scores[3:, 1], scores[:3, 1])
    row = frame[frame["phase"] == "retention"].iloc[0]
    assert row[["std_error", "df"]].tolist() == pytest.approx([plain.std_error, plain.df], rel=1e-6)


def test_moves_are_those_of_leaving_each_person_out():
    """Each person is taken out and the rest fitted anew with the same covariance, one by one."""
    rng = np.random.default_rng(2)
    y, codes = drawn(1, (4, 5), (3, 1), 0.2, seed=4)[0], np.repeat([0, 1], (4, 5))
    cell = np.array([[0, 1, 3], [0, 2, 4]])
    x = np.eye(5)[cell[codes]]
    root = rng.normal(size=(3, 3))
    covariance, weights = root @ root.T + np.eye(3), np.array([0, 0, 0, -1.0, 1.0])

    def fitted(people):
        inside, outside = np.zeros((5, 5)), np.zeros(5)
        for i in people:
            here = ~np.isnan(y[i])
            w = np.linalg.inv(covariance[np.ix_(here, here)])
            inside += x[i][here].T @ w @ x[i][here]
            outside += x[i][here].T @ w @ y[i][here]
        return weights @ np.linalg.solve(inside, outside)

    inverse = np.zeros((9, 3, 3))
    for i in range(9):
        here = ~np.isnan(y[i])
        inverse[i][np.ix_(here, here)] = np.linalg.inv(covariance[np.ix_(here, here)])
    found = jackknife_by_group(y[None], x, inverse[None], codes, weights)
    whole = fitted(range(9))
    moves = np.array([fitted([j for j in range(9) if j != i]) - whole for i in range(9)])
    squares = [np.sum((moves[codes == g] - moves[codes == g].mean()) ** 2) for g in (0, 1)]
    assert found.estimate.item() == pytest.approx(whole)
    # Each group's part is shrunk by (m - 1) / m, with m between 1 and its number of people.
    assert 0.5 * sum(squares) < found.std_error.item() ** 2 < sum(squares)
    assert 1 < found.df.item() < 7


@pytest.mark.parametrize("sizes", [(8, 12), (8, 8, 12)])
def test_many_studies_side_by_side_are_the_front_door(sizes):
    scores = drawn(3, sizes, (3, *(1,) * (len(sizes) - 1)), 0.15, seed=6)
    weights = np.zeros(len(sizes))
    weights[[0, 1]] = -1, 1
    found = fit_scores(batch_of(scores, sizes), weights, "by group")
    for place, study in enumerate(scores):
        row = last(compare(study, sizes).mixed)
        numbers = [values[place] for values in found]
        assert row[["estimate", "std_error", "df"]].tolist() == pytest.approx(numbers, rel=1e-3)


def test_ratios_stand_on_logarithms_and_hits_keep_their_own_test():
    scores = drawn(1, (8, 12), (6, 2), 0.1)[0]
    ratio = last(compare(scores, (8, 12), effect="ratio").mixed)
    logs = last(compare(np.log(scores), (8, 12)).mixed)
    assert np.log(ratio["estimate"]) == pytest.approx(logs["estimate"], rel=1e-6)
    assert ratio["p"] == pytest.approx(logs["p"], rel=1e-5)
    assert ratio["conf_low"] < ratio["estimate"] < ratio["conf_high"]


def test_a_group_of_one_person_at_a_test_has_a_reason_and_no_number():
    scores = drawn(1, (8, 12), (3, 1))[0]
    scores[:7, 2] = np.nan
    row = last(compare(scores, (8, 12)).mixed)
    assert np.isnan(row["p"]) and "a single participant" in row["reason"]


@pytest.mark.slow
@pytest.mark.parametrize(
    ("sizes", "sds", "missing"),
    [((30, 10), (1, 3), 0.15), ((10, 10, 10), (1, 1, 3), 0.15), ((10, 10), (1, 1), 0.0)],
)
def test_the_rate_holds_where_groups_scatter_unequally(sizes, sds, missing):
    scores, weights = drawn(2000, sizes, sds, missing, seed=9), np.zeros(len(sizes))
    weights[[0, -1]] = -1, 1
    rates = {}
    for kind in ("equal", "by group"):
        estimate, error, df = fit_scores(batch_of(scores, sizes), weights, kind)
        rates[kind] = np.mean(2 * stats.t.sf(np.abs(estimate / error), df) < 0.05)
    own = ancova_batch(
        scores[:, :, 2], batch_of(scores, sizes).groups, scores[:, :, 0], weights=weights,
        variance="by group",
    )  # fmt: skip
    # 7.7 % with 30 and 10 people, the ten three times as wide and 15 % of scores missing.
    assert 0.035 < rates["by group"] < 0.085
    assert abs(rates["by group"] - np.mean(own.p < 0.05)) < 0.025
    assert rates["equal"] > 0.1 or sds == (1, 1)
