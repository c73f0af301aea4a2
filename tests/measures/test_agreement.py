"""Agreement of raters: published tables, invariants, and what a table of ratings may get wrong."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.measures.agreement.alpha import alpha_of
from motorlearn.measures.agreement.icc import (
    intraclass_correlations,
)
from motorlearn.measures.agreement.kappa import (
    chance_corrected_of,
    kappa_of,
    two_rater_indices,
    weights_between,
)
from motorlearn.measures.agreement.limits import limits_of_agreement, linear_trend

VALUES = json.loads(
    (Path(__file__).parents[1] / "reference/rater_agreement/values.json").read_text("utf-8")
)


def long(matrix, raters="ABCDEFGH"):
    return pd.DataFrame(
        [
            {"clip": f"c{i}", "rater": raters[j], "score": value}
            for i, row in enumerate(matrix)
            for j, value in enumerate(row)
            if value is not None
        ]
    )


def agree(table, kind="continuous", **options):
    return ml.rater_agreement(
        table, item="clip", rater="rater", score="score", kind=kind, **options
    )


def estimates(result):
    return result.estimates.set_index("term")["estimate"]


def kappa(counts, weights=None):
    """Kappa of a square table of counts."""
    table = np.asarray(counts, dtype=float)
    cells, codes = np.argwhere(table > 0).astype(float), np.arange(len(table))
    agreement = np.eye(len(table)) if weights is None else np.asarray(weights)
    return kappa_of(cells, table[table > 0][None], codes, agreement)[0]


def chance_corrected(choices, chance):
    """Fleiss' kappa or AC1 of items by categories."""
    choices = np.asarray(choices, dtype=float)
    return chance_corrected_of(choices, np.ones((1, len(choices))), chance)[0]


def alpha(scores, metric):
    """Alpha of items by raters, over the items that two or more rated."""
    table = np.asarray(scores, dtype=float)
    table = table[np.isfinite(table).sum(axis=1) >= 2]
    codes = np.unique(table[np.isfinite(table)])
    return alpha_of(table, np.ones((1, len(table))), codes, metric)[0]


# Outside reference ------------------------------------------------------------------------------


def test_all_six_icc_of_shrout_and_fleiss():
    case = VALUES["shrout_fleiss_1979"]
    for icc in intraclass_correlations(case["ratings"]):
        assert icc.estimate == pytest.approx(case["computed"][icc.form], rel=1e-10)
        assert icc.estimate == pytest.approx(case["published"][icc.form], abs=0.005)
        low, high = case["interval"][icc.form]
        assert (icc.conf_low, icc.conf_high) == pytest.approx((low, high), rel=1e-9)


def test_icc_of_the_wine_judges_through_the_front_door():
    case = VALUES["wine"]
    table = pd.DataFrame({"clip": case["item"], "rater": case["rater"], "score": case["score"]})
    found = estimates(agree(table))
    for form, value in case["computed"].items():
        assert found[form] == pytest.approx(value, abs=5e-9)


def test_kappa_of_cohen():
    case = VALUES["cohen_1960_1968"]
    counts = case["n"] * np.array(case["proportions"])
    found = {"kappa": kappa(counts)}
    for name, key in (
        ("weighted", "disagreement"),
        ("weighted_asymmetric", "disagreement_asymmetric"),
    ):
        weights = 1 - np.array(case[key]) / np.max(case[key])
        found[name] = kappa(counts, weights)
    for name, value in found.items():
        assert value == pytest.approx(case["computed"][name], rel=1e-10)
        assert value == pytest.approx(case["published"][name], abs=0.0005)


def test_weighted_kappa_of_fleiss_cohen_and_everitt():
    case = VALUES["fleiss_cohen_everitt_1969"]
    assert kappa(case["counts"]) == pytest.approx(case["kappa"], rel=1e-9)
    weighted = kappa(case["counts"], case["agreement_weights"])
    assert weighted == pytest.approx(case["weighted"], rel=1e-9)
    patients = np.array(case["counts"]).ravel()
    draws = np.random.default_rng(5).multinomial(200, patients / 200, size=2000).astype(float)
    cells, codes = np.argwhere(np.ones((3, 3))).astype(float), np.arange(3)
    resampled = kappa_of(cells, draws, codes, np.array(case["agreement_weights"]))
    assert np.std(resampled) == pytest.approx(case["weighted_std_error"], rel=0.05)


def test_fleiss_kappa_of_both_published_tables():
    case = VALUES["fleiss_1971"]
    choices = [[row.count(category) for category in range(1, 6)] for row in case["diagnoses"]]
    for counts, published in (
        (choices, "published_kappa"),
        (case["counts"], "published_counts_kappa"),
    ):
        found = chance_corrected(counts, "fleiss")
        assert found == pytest.approx(case[published], abs=0.0005)


def test_ac1_stays_high_where_kappa_collapses():
    case = VALUES["gwet_2008"]
    (both_yes, yes_no), (no_yes, both_no) = case["counts"]
    choices = [[2, 0]] * both_yes + [[1, 1]] * (yes_no + no_yes) + [[0, 2]] * both_no
    assert chance_corrected(choices, "ac1") == pytest.approx(case["ac1"], abs=1e-4)
    assert kappa(case["counts"]) == pytest.approx(case["kappa"], abs=1e-4)
    assert chance_corrected(choices, "fleiss") == pytest.approx(case["pi"], abs=1e-4)


def test_alpha_with_missing_ratings():
    case = VALUES["krippendorff"]
    scores = np.array(case["scores"], dtype=float)
    for metric in ("nominal", "ordinal", "interval", "ratio"):
        assert alpha(scores, metric) == pytest.approx(case[metric], abs=0.0005)
    choices = np.stack([(scores == value).sum(axis=1) for value in range(1, 6)], axis=1)
    assert chance_corrected(choices, "ac1") == pytest.approx(case["ac1"], abs=1e-5)
    assert chance_corrected(choices, "fleiss") == pytest.approx(case["fleiss_kappa"], abs=1e-5)


def test_limits_of_the_two_peak_flow_meters():
    case = VALUES["bland_altman_1986"]
    found = limits_of_agreement(case["first"], case["second"])
    assert found.bias == pytest.approx(case["bias"], abs=0.05)
    assert found.sd == pytest.approx(case["sd"], abs=0.05)
    for name in ("slope", "slope_low", "slope_high"):
        assert getattr(found, name) == pytest.approx(case[name], rel=1e-9)


# Hand answer and equivalence --------------------------------------------------------------------


def test_quadratic_weighted_kappa_is_an_icc_for_many_items():
    rng = np.random.default_rng(3)
    true = rng.integers(0, 3, 4000)
    both = [
        np.clip(true + rng.integers(-1, 2, 4000) * (rng.random(4000) < 0.3), 0, 2) for _ in "AB"
    ]
    counts = np.zeros((3, 3))
    np.add.at(counts, tuple(both), 1)
    icc = intraclass_correlations(np.column_stack(both))[1].estimate
    assert kappa(counts, weights_between(np.arange(3.0))) == pytest.approx(icc, abs=2e-4)


def test_hand_indices_of_a_two_by_two_table():
    found = two_rater_indices([[40, 9], [6, 45]])
    assert found.agreement == pytest.approx(0.85)
    assert found.prevalence == pytest.approx(0.05)  # |40 - 45| / 100
    assert found.bias == pytest.approx(0.03)  # |9 - 6| / 100


def test_two_raters_alpha_of_hand_table():
    # units 00 00 11 01: coincidences o00=4 o11=2 o01=o10=1; Do=2, De=2*5*3/7 -> 1-2/(30/7)
    found = alpha([[0, 0], [0, 0], [1, 1], [0, 1]], "nominal")
    assert found == pytest.approx(1 - 2 / (30 / 7))


def test_trend_is_the_least_squares_line():
    order = np.array([1.0, 2, 4, 7, 8])
    value = np.array([0.2, 0.1, 0.5, 0.4, 0.9])
    assert linear_trend(order, value).slope == pytest.approx(np.polyfit(order, value, 1)[0])


# Recovery ---------------------------------------------------------------------------------------


def test_interval_of_agreement_covers_the_truth():
    rng = np.random.default_rng(11)
    truth = 1.96 / (1.96 + 0.04 + 0.5625)
    hits = 0
    for _ in range(300):
        rater = rng.normal(0, 0.2, 6)
        scores = rng.normal(0, 1.4, (40, 1)) + rater + rng.normal(0, 0.75, (40, 6))
        icc = intraclass_correlations(scores)[1]
        hits += icc.conf_low <= truth <= icc.conf_high
    assert 0.92 <= hits / 300 <= 0.985


def drifting(change, seed=0, n=200):
    rng = np.random.default_rng(seed)
    true = rng.normal(5, 1.4, n)
    rows = []
    for name, drift in (("A", 0.0), ("B", change)):
        order = rng.permutation(n)
        score = true + drift * order / (n - 1) + rng.normal(0, 0.5, n)
        rows.append(pd.DataFrame({"clip": range(n), "rater": name, "score": score, "seen": order}))
    return pd.concat(rows)


def test_drift_of_one_rater_is_found_and_attributed():
    drift = agree(drifting(1.5), order="seen").drift
    against = drift[drift["basis"] == "minus other raters"].set_index("rater")
    assert against.loc["B", "change_low"] < 1.5 < against.loc["B", "change_high"]
    assert against.loc["B", "p"] < 0.001
    assert against.loc["A", "p"] > 0.01


def test_rerating_compares_only_the_same_items():
    first = drifting(0).drop(columns="seen").assign(time=1)
    again = first[(first["rater"] == "A") & (first["clip"] < 30)].assign(time=2)
    again["score"] += 0.5
    found = agree(pd.concat([first, again]), occasion="time").rerating
    assert found["rater"].tolist() == ["A"]
    assert found.loc[0, "n"] == 30
    assert found.loc[0, "difference"] == pytest.approx(0.5)
    assert found.loc[0, "agreement"] == 0


# Invariants -------------------------------------------------------------------------------------

SCORES = VALUES["shrout_fleiss_1979"]["ratings"]


def test_shift_scale_and_row_order_leave_icc_alone():
    table = long(SCORES)
    changed = table.assign(score=10 - 3 * table["score"]).sample(frac=1, random_state=1)
    pd.testing.assert_series_equal(estimates(agree(changed)), estimates(agree(table)), rtol=1e-9)


def test_constant_rater_bias_lowers_agreement_but_not_consistency():
    biased = np.array(SCORES, dtype=float) + np.array([0, 5, 0, 0])
    before, after = estimates(agree(long(SCORES))), estimates(agree(long(biased.tolist())))
    assert after["ICC(C,1)"] == pytest.approx(before["ICC(C,1)"])
    shifted = estimates(agree(long(np.add(SCORES, [0, -5, 0, 0]).tolist())))
    assert shifted["ICC(A,1)"] < before["ICC(A,1)"]


def test_relabelling_nominal_categories_changes_nothing():
    table = long([["x", "x"], ["y", "x"], ["y", "y"], ["z", "z"], ["x", "x"], ["z", "y"]])
    other = table.assign(score=table["score"].map({"x": "q", "y": "a", "z": "m"}))
    pd.testing.assert_series_equal(
        estimates(agree(other, "nominal")).drop("Krippendorff's alpha (nominal)"),
        estimates(agree(table, "nominal")).drop("Krippendorff's alpha (nominal)"),
    )


# Which coefficient applies ----------------------------------------------------------------------


@pytest.mark.parametrize(("averaged", "term"), [(1, "ICC(A,1)"), (2, "ICC(A,2)"), (4, "ICC(A,k)")])
def test_the_score_the_study_uses_decides_the_icc(averaged, term):
    result = agree(long(SCORES), averaged=averaged)
    assert result.estimates.loc[result.estimates["applies"], "term"].tolist() == [term]
    assert term in result.advice[0]


def test_averaged_icc_is_the_spearman_brown_step():
    result = estimates(agree(long(SCORES), averaged=2))
    single = result["ICC(A,1)"]
    assert result["ICC(A,2)"] == pytest.approx(2 * single / (1 + single))


def test_graded_items_of_three_raters_call_for_alpha():
    rows = [[1, 2], [3, 3], [4, 5], [2, None], [5, None], [1, 1], [2, 2], [4, 4]]
    three = [[*row, value] for row, value in zip(rows, [1, 3, None, 2, 5, None, 2, 4])]
    result = agree(long(three), "ordinal")
    assert result.estimates.loc[result.estimates["applies"], "term"].item() == (
        "Krippendorff's alpha (ordinal)"
    )
    assert result.recipe.left_out.empty
    assert result.estimates["n"].tolist() == [8] * len(result.estimates)


def test_rare_category_is_explained():
    table = long([["no", "no"]] * 118 + [["no", "yes"]] * 5 + [["yes", "no"]] * 2)
    assert any("AC1 = 0.94" in sentence for sentence in agree(table, "nominal").advice)


def test_result_survives_json_and_prints():
    result = agree(drifting(0.3), order="seen")
    again = type(result).from_json(result.to_json())
    pd.testing.assert_frame_equal(again.estimates, result.estimates)
    assert "ICC(A,1)" in str(result)
    assert "<table" in result._repr_html_()


# Refusal ----------------------------------------------------------------------------------------


def test_two_scores_from_one_rater_are_refused():
    with pytest.raises(InputError, match=r"two scores.*c1 by rater A.*occasion="):
        agree(pd.concat([long([[1, 2], [3, 4]]), long([[1, 2], [3, 4]]).iloc[[2]]]))


def test_unknown_kind_column_and_words_are_refused():
    with pytest.raises(InputError, match=r"the kind of score is unknown.*'fancy'.*use one of"):
        agree(long(SCORES), "fancy")
    with pytest.raises(ColumnError, match="'judge'"):
        ml.rater_agreement(
            long(SCORES), item="clip", rater="judge", score="score", kind="continuous"
        )
    with pytest.raises(InputError, match=r"'good'.*categories="):
        agree(long([["good", "bad"], ["good", "good"]]), "ordinal")
    with pytest.raises(InputError, match="not among the categories"):
        agree(long([[1, 2], [3, 3]]), "ordinal", categories=[1, 2])


def test_one_rater_is_refused():
    with pytest.raises(InputError, match="two raters"):
        agree(long([[1], [2], [3]]))


def test_ordered_words_are_ranked_as_given():
    words = long([["poor", "fair"], ["good", "good"], ["fair", "fair"], ["good", "fair"]])
    numbers = words.assign(score=words["score"].map({"poor": 0, "fair": 1, "good": 2}))
    named = estimates(agree(words, "ordinal", categories=["poor", "fair", "good"]))
    pd.testing.assert_series_equal(named, estimates(agree(numbers, "ordinal")))


def test_raters_who_never_differ_and_scores_that_never_vary():
    perfect = estimates(agree(long([[1, 1], [2, 2], [5, 5]])))
    assert perfect[["ICC(1)", "ICC(A,1)", "ICC(C,1)"]].tolist() == [1, 1, 1]
    constant = agree(long([[2, 2], [2, 2], [2, 2]]))
    assert constant.estimates["estimate"].isna().all()
    assert any("undefined" in sentence for sentence in constant.advice)


def test_error_of_measurement_by_hand():
    # Mean squares of raters 10 and of error 2: rater variance (10 - 2) / 4 clips = 2, error 2.
    clips, raters = np.sqrt(10) * np.array([-1, 0, 0, 1]), np.sqrt(2.5) * np.array([-1, 0, 1])
    error = np.sqrt(1.5) * np.outer([1, -1, 1, -1], [1, -1, 0])
    found = agree(long(20 + clips[:, None] + raters + error)).measurement_error
    assert found["sem"].tolist() == pytest.approx([2.0, np.sqrt(2)])  # with raters' levels, without
