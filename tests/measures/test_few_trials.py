"""Scores of few trials, and rows that contradict themselves: nothing perfect, nothing dropped."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn import measures as m
from motorlearn.exceptions import InputError
from motorlearn.measures.aim import variable_error_share


def test_one_trial_has_no_scatter():
    table = pd.DataFrame({"participant": ["a", "b", "b"], "error": [3.0, 1.0, 3.0]})
    table = table.assign(x=table["error"], y=0.0)
    scores = ml.score_trials(table, "participant").set_index("participant")
    names = ["variable_error", "variable_error_corrected", "bivariate_variable_error",
             "bivariate_variable_error_corrected"]  # fmt: skip
    assert scores.loc["a", names].isna().all()
    assert scores.loc["b", "variable_error"] == 1
    assert np.isnan(m.variable_error([3.0])) and np.isnan(m.bivariate_variable_error([3.0], [1.0]))
    assert scores.loc["a", "total_error"] == 3


@pytest.mark.parametrize(("n", "seen"), [(2, 5.64), (3, 7.24), (20, 9.62)])
def test_share_of_the_scatter_that_few_trials_show(n, seen):
    """Spread 10: the values are those of the chi distribution, checked by drawing."""
    assert 10 * variable_error_share(n) == pytest.approx(seen, abs=0.005)
    rng = np.random.default_rng(n)
    drawn = m.variable_error(rng.normal(0, 10, (40_000, n))).mean()
    assert drawn == pytest.approx(seen, abs=0.08)


def test_corrected_errors_do_not_hang_on_the_number_of_trials():
    rng = np.random.default_rng(1)
    for n in (2, 4, 12):
        who = np.repeat(np.arange(4000), n)
        x, y = rng.normal(0, 10, (2, len(who)))
        scores = ml.score_trials(pd.DataFrame({"p": who, "error": x, "x": x, "y": y}), "p").mean()
        assert scores["variable_error_corrected"] == pytest.approx(10, abs=0.3)
        assert scores["bivariate_variable_error_corrected"] == pytest.approx(
            10 * np.sqrt(2), abs=0.3
        )


def test_a_caution_where_people_differ_in_trials():
    table = pd.DataFrame({"participant": list("aabbb"), "error": [1.0, 2, 3, 4, 6]})
    assert "compare the corrected one" in " ".join(
        m.score_table(ml.score_trials(table, "participant")).notes
    )
    same = m.score_table(ml.score_trials(table.iloc[:4], "participant"))
    assert "corrected" not in " ".join(same.notes)


def test_hits_without_attempts_are_counted_as_missing():
    table = pd.DataFrame({"p": ["a", "a"], "hits": [5, 7], "attempts": [10, None]})
    scores = ml.score_trials(table, "p")
    assert scores[["n", "n_missing", "hits", "attempts"]].values.tolist() == [[2, 1, 5, 10]]


def test_a_negative_radial_error_is_refused():
    with pytest.raises(InputError, match=r"cannot be negative.*'error'"):
        ml.score_trials(pd.DataFrame({"p": ["a"], "radial_error": [-3.0]}), "p")


def test_a_radial_error_serves_rows_without_coordinates():
    table = pd.DataFrame(
        {"p": "a", "x": [3.0, np.nan], "y": [4.0, np.nan], "radial_error": [np.nan, 15.0]}
    )
    row = ml.score_trials(table, "p").iloc[0]
    assert (row["n_landing"], row["n_radial"], row["mean_radial_error"]) == (1, 2, 10)


def test_a_radial_error_that_contradicts_the_landing_point_is_counted():
    table = pd.DataFrame(
        {"p": ["a", "a", "b"], "x": [3.0, 5.0, 8.0], "y": [4.0, 12.0, 6.0],
         "radial_error": [5.0, 99.0, 10.4]}
    )  # fmt: skip
    scores = ml.score_trials(table, "p")
    assert scores["n_contradicting"].tolist() == [1, 0]
    assert scores["mean_radial_error"].tolist() == [9, 10]
    assert "target: 1; x and y were taken" in " ".join(m.score_table(scores).notes)
    fine = ml.score_trials(table[table["p"] == "b"], "p")
    assert "n_contradicting" not in fine and "taken" not in " ".join(m.score_table(fine).notes)


def test_what_cannot_be_a_precision_is_refused():
    for wrong in (lambda: m.design_effect(5, 1.5), lambda: m.binomial_sem(0.5, 0)):
        with pytest.raises(InputError):
            wrong()
    with pytest.raises(InputError, match="rows belong together"):
        ml.score_trials(table=pd.DataFrame({"hit": [1]}), by=None)


def test_a_hit_beside_hits_of_attempts_is_refused():
    table = pd.DataFrame({"p": ["a"], "hit": [1], "hits": [12], "attempts": [20]})
    with pytest.raises(InputError, match="hit 1 beside 12 of 20"):
        ml.score_trials(table, "p")
    fine = pd.DataFrame({"p": ["a"], "hit": [1], "hits": [1], "attempts": [1]})
    assert ml.score_trials(fine, "p")["hits"].item() == 1


def test_no_interval_for_hits_of_several_people_together():
    table = pd.DataFrame(
        {"participant": ["a", "b"], "group": "x", "hits": [5, 7], "attempts": [10, 10]}
    )
    pooled, own = ml.score_trials(table, "group"), ml.score_trials(table, "participant")
    assert pooled["hit_rate"].item() == 0.6 and np.isnan(pooled["hit_low"].item())
    assert own["hit_low"].notna().all()
    assert "not independent" in " ".join(m.score_table(pooled).notes)


@pytest.mark.parametrize("transfer", [m.percent_transfer, m.bounded_transfer])
def test_transfer_in_percent_refuses_scores_without_a_true_zero(transfer):
    with pytest.raises(InputError, match="true zero"):
        transfer(-10, -20, better="higher")
    with pytest.raises(InputError, match="true zero"):
        transfer(30, -20, better="higher")


def test_bounded_transfer_keeps_its_bounds():
    rng = np.random.default_rng(2)
    found = m.bounded_transfer(*rng.gamma(0.3, 10, (2, 500)), better="higher")
    assert np.abs(found).max() <= 100
