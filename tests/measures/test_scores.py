import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn import measures as m
from motorlearn.exceptions import ColumnError, InputError


@pytest.fixture
def trials():
    rng = np.random.default_rng(20)
    n = 240
    table = pd.DataFrame(
        {
            "participant": np.repeat([f"P{i:02d}" for i in range(8)], 30),
            "phase": np.tile(np.repeat(["transfer", "pretest", "retention"], 10), 8),
            "x": rng.normal(0, 12, n),
            "y": rng.normal(-3, 15, n),
            "error": rng.normal(2, 5, n),
            "time": rng.uniform(8, 12, n),
        }
    )
    return table.assign(hit=(np.hypot(table["x"], table["y"]) <= 20).astype(int))


BY = ["participant", "phase"]


def test_agrees_with_the_scores_of_each_group(trials):
    scores = ml.score_trials(trials, BY).set_index(BY)
    for key, rows in trials.groupby(BY):
        row = scores.loc[key]
        assert row["n"] == 10
        assert row["hits"] == rows["hit"].sum()
        low, high = m.wilson_interval(rows["hit"].sum(), 10)
        assert [row["hit_low"], row["hit_high"]] == pytest.approx([low, high])
        assert row["variable_error"] == pytest.approx(m.variable_error(rows["error"]))
        assert row["total_error"] == pytest.approx(m.total_error(rows["error"]))
        assert row["mean_radial_error"] == pytest.approx(m.mean_radial_error(rows["x"], rows["y"]))
        assert row["bivariate_variable_error"] == pytest.approx(
            m.bivariate_variable_error(rows["x"], rows["y"])
        )
        assert row["mean_time"] == pytest.approx(rows["time"].mean())


def test_both_identities_hold(trials):
    s = ml.score_trials(trials, BY)
    np.testing.assert_allclose(
        s["total_error"] ** 2, s["constant_error"] ** 2 + s["variable_error"] ** 2, rtol=1e-9
    )
    r2 = trials.assign(r2=trials["x"] ** 2 + trials["y"] ** 2).groupby(BY)["r2"].mean()
    whole = s["centroid_radial_error"] ** 2 + s["bivariate_variable_error"] ** 2
    np.testing.assert_allclose(whole, r2.loc[pd.MultiIndex.from_frame(s[BY])], rtol=1e-9)


def test_phases_come_in_the_order_of_a_study(trials):
    phases = ml.score_trials(trials, BY)["phase"].tolist()[:3]
    assert phases == ["pretest", "retention", "transfer"]


def test_row_order_does_not_matter(trials):
    one = ml.score_trials(trials, BY)
    other = ml.score_trials(trials.sample(frac=1, random_state=1), BY)
    pd.testing.assert_frame_equal(one, other)


def test_void_and_missing_trials_are_counted_and_not_scored(trials):
    spoilt = trials.copy()
    spoilt["void"] = None
    spoilt.loc[0, "void"] = "slipped"
    spoilt.loc[1, "x"] = np.nan
    first = ml.score_trials(spoilt, BY).set_index(BY).loc[("P00", "transfer")]
    rest = trials.iloc[1:10]
    assert (first["n"], first["n_missing"]) == (10, 2)
    assert (first["attempts"], first["n_landing"], first["n_time"]) == (9, 8, 9)
    assert first["mean_time"] == pytest.approx(rest["time"].mean())


def test_a_group_without_a_value_has_a_row_without_scores(trials):
    trials.loc[trials["participant"] == "P03", ["x", "hit"]] = np.nan
    row = ml.score_trials(trials, "participant").set_index("participant").loc["P03"]
    assert (row["n"], row["n_missing"], row["attempts"], row["n_landing"]) == (30, 30, 0, 0)
    assert np.isnan(row["hit_rate"]) and np.isnan(row["mean_radial_error"])
    assert row["n_time"] == 30


def test_aggregated_rows_give_the_same_hits(trials):
    counts = trials.groupby(BY, as_index=False).agg(hits=("hit", "sum"), attempts=("hit", "size"))
    hits = ["attempts", "hits", "hit_rate", "hit_low", "hit_high"]
    pd.testing.assert_frame_equal(
        ml.score_trials(counts, BY)[hits], ml.score_trials(trials, BY)[hits]
    )


def test_unequal_attempts_and_both_kinds_of_rows_together():
    table = pd.DataFrame(
        {
            "participant": ["a", "a", "a", "b"],
            "hit": [1, None, None, None],
            "hits": [None, 12, None, 7],
            "attempts": [None, 20, None, 18],
        }
    )
    scores = ml.score_trials(table, "participant")
    assert scores[["n", "n_missing", "attempts", "hits"]].values.tolist() == [
        [3, 1, 21, 13],
        [1, 0, 18, 7],
    ]


def test_radial_error_serves_where_there_are_no_coordinates(trials):
    radial = trials.assign(radial_error=np.hypot(trials["x"], trials["y"]))
    expected = ml.score_trials(trials, BY)["mean_radial_error"]
    found = ml.score_trials(radial.drop(columns=["x", "y"]), BY)
    np.testing.assert_allclose(found["mean_radial_error"], expected)
    assert "bivariate_variable_error" not in found


def test_no_columns_to_group_by_scores_the_whole_table(trials):
    scores = ml.score_trials(trials, [])
    assert len(scores) == 1 and scores["n"].item() == len(trials)


@pytest.mark.parametrize("kind", ["category", "string", "object"])
def test_kinds_of_identifiers(trials, kind):
    other = trials.astype({"participant": kind, "phase": kind})
    a, b = ml.score_trials(trials, BY), ml.score_trials(other, BY)
    np.testing.assert_allclose(a["mean_time"], b["mean_time"])


@pytest.mark.parametrize("kind", ["bool", "Int64", "boolean", "float32", "int8[pyarrow]"])
def test_kinds_of_hits(trials, kind):
    other = trials.astype({"hit": kind})
    assert (
        ml.score_trials(other, BY)["hits"].tolist() == ml.score_trials(trials, BY)["hits"].tolist()
    )


def test_a_missing_identifier_is_a_group_of_its_own_and_not_lost(trials):
    trials.loc[:4, "participant"] = None
    assert ml.score_trials(trials, "participant")["n"].sum() == len(trials)


@pytest.mark.parametrize(
    ("change", "by", "error", "match"),
    [
        (lambda t: t.drop(columns="participant"), BY, ColumnError, "group by"),
        (lambda t: t.iloc[:0], BY, InputError, "no trials"),
        (lambda t: t[["participant"]], "participant", ColumnError, "no outcome"),
        (lambda t: t.drop(columns="y"), BY, ColumnError, "both x and y"),
        (lambda t: t.assign(hit=2), BY, InputError, "a miss is 0"),
        (lambda t: t.assign(x="3,5"), BY, InputError, "holds text"),
        (lambda t: t.assign(x=np.inf), BY, InputError, "infinite"),
        (lambda t: t.assign(time=-1.0), BY, InputError, "negative"),
        (lambda t: t.assign(hits=3), BY, ColumnError, "attempts"),
        (lambda t: t.assign(hits=30, attempts=20), BY, InputError, "30 of 20"),
        (lambda t: t.assign(hits=1.5, attempts=20), BY, InputError, "whole"),
        (lambda t: t.to_dict("list"), BY, InputError, "DataFrame"),
        (lambda t: pd.concat([t, t[["x"]]], axis=1), BY, ColumnError, "twice"),
    ],
)
def test_bad_input_is_named(trials, change, by, error, match):
    with pytest.raises(error, match=match):
        ml.score_trials(change(trials), by)


def test_numbers_stored_as_text_are_read_as_numbers(trials):
    text = trials.assign(time=trials["time"].round(3).astype("str"))
    expected = ml.score_trials(trials.assign(time=trials["time"].round(3)), BY)
    np.testing.assert_allclose(ml.score_trials(text, BY)["mean_time"], expected["mean_time"])
