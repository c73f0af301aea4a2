"""Which rows count is one rule: every entry point leaves out the same rows and says so."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.compare import compare_blocks
from motorlearn.trials import counted_rows, void_reasons
from motorlearn.trials.checking.balance import attrition


@pytest.fixture(scope="module")
def spoiled():
    """Twelve people, two groups, practice and two tests; rows of one group voided and tripled."""
    rng = np.random.default_rng(8)
    rows = [
        (f"p{person:02d}", "blocked" if person % 2 else "random", phase, block, trial)
        for person in range(12)
        for phase, blocks in (("pretest", 1), ("acquisition", 4), ("retention", 1))
        for block in range(1, blocks + 1)
        for trial in range(1, 7)
    ]
    table = pd.DataFrame(rows, columns=["participant", "group", "phase", "block", "trial"])
    table["time"] = 8 + 4 * np.exp(-0.5 * table["block"]) + rng.normal(0, 1, len(table))
    table["void"] = None
    at = table.index[(table["group"] == "random") & (table["phase"] != "pretest")][::3]
    table.loc[at, "void"] = "clock stopped"
    table.loc[at, "time"] *= 3
    return table


@pytest.mark.parametrize(
    ("entries", "counts"),
    [
        ([None, "", "0", "false", "No", " "], [True] * 6),
        ([False, True], [True, False]),
        ([0, 1], [True, False]),
        ([0.0, np.nan, 1.0], [True, True, False]),
        (["1", "true", "yes", "slipped"], [False] * 4),
        (pd.array([True, pd.NA], dtype="boolean"), [False, True]),
        (pd.Categorical(["", "slipped"]), [True, False]),
    ],
)
def test_what_is_a_reason(entries, counts):
    assert counted_rows(pd.DataFrame({"void": entries})).tolist() == counts


def test_a_flag_is_void_and_a_word_is_its_reason():
    table = pd.DataFrame({"void": ["1", True, "slipped", "no"]})
    assert void_reasons(table).tolist() == ["void", "void", "void: slipped", ""]


def test_a_flag_column_read_from_a_file_voids_only_what_it_flags(tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("participant,phase,trial,time,void\np1,pretest,1,9.5,0\np1,pretest,2,9.1,1\n")
    assert counted_rows(ml.read_trials(path).table).tolist() == [True, False]


def numbers_of(table):
    """n of every entry point that takes trials, and who it left out as void."""
    practice = table[table["phase"] == "acquisition"].assign(
        count=lambda rows: (rows["block"] - 1) * 6 + rows["trial"]
    )
    tests = table[table["phase"] != "acquisition"]
    ok = tests["phase"] == "retention"
    return {
        "score_trials": int(ml.score_trials(tests, "participant")["n_time"].sum()),
        "compare_phases": ml.compare_phases(tests, "time", group="group").recipe.n,
        "fit_mixed": ml.fit_mixed("time ~ group * phase", tests, random={"participant": "1"}).n,
        "practice": int(ml.score_trials(practice, "participant")["n_time"].sum()),
        "compare_blocks": compare_blocks(practice, "time", group="group").recipe.n,
        "fit_curves": ml.fit_curves(practice, "time", practice="count", by="participant").recipe.n,
        "fit_population_curve": ml.fit_population_curve(
            practice, "time", practice="count", participant="participant", group="group"
        ).recipe.n,
        "tested": int(attrition(tests, "retention", outcome="time")["tested"].sum()),
        "retention": int(ok.sum()),
    }


def test_every_entry_point_counts_the_same_rows(spoiled):
    dropped = spoiled[counted_rows(spoiled)]
    found = numbers_of(spoiled)
    assert found["score_trials"] == found["compare_phases"] == found["fit_mixed"]
    assert found["practice"] == found["compare_blocks"] == found["fit_curves"]
    assert found["practice"] == found["fit_population_curve"]
    expected = numbers_of(dropped)
    for name in set(found) - {"retention"}:
        assert found[name] == expected[name], name


def test_void_rows_change_no_estimate_and_are_named_in_the_recipe(spoiled):
    tests = spoiled[spoiled["phase"] != "acquisition"]
    dropped = tests[counted_rows(tests)]
    model = {"random": {"participant": "1"}}
    with_void = ml.fit_mixed("time ~ group * phase", tests, **model)
    without = ml.fit_mixed("time ~ group * phase", dropped, **model)
    pd.testing.assert_frame_equal(with_void.estimates, without.estimates)
    reasons = set(with_void.recipe.left_out["reason"])
    assert reasons == {"void: clock stopped"}
    assert with_void.recipe.left_out["rows"].sum() == len(tests) - len(dropped)


def test_void_rows_of_a_parquet_file_are_left_out_of_curves(spoiled, tmp_path):
    practice = spoiled[spoiled["phase"] == "acquisition"].assign(
        count=lambda rows: (rows["block"] - 1) * 6 + rows["trial"]
    )
    path = tmp_path / "practice.parquet"
    practice.sort_values(["participant", "count"]).to_parquet(path)
    options = {"practice": "count", "by": "participant"}
    stored = ml.fit_curves(path, "time", **options)
    inside = ml.fit_curves(practice, "time", **options)
    assert stored.recipe.n == inside.recipe.n == int(counted_rows(practice).sum())
    assert stored.recipe.left_out["rows"].sum() == inside.recipe.left_out["rows"].sum()


def test_attrition_does_not_count_a_void_test():
    table = pd.DataFrame(
        {
            "participant": ["p1", "p1", "p2", "p2"],
            "group": "a",
            "phase": ["pretest", "retention"] * 2,
            "time": [9.0, 8.0, 9.0, 8.0],
            "void": [None, None, None, "wrong target"],
        }
    )
    found = attrition(table, "retention", outcome="time")
    assert found["lost"].tolist() == [1]
