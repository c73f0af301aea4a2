"""Classes allocated as a whole: against lmerTest, scipy's t of class means, and bad input."""

import json
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import motorlearn as ml
from motorlearn.exceptions import InputError

CASE = Path(__file__).parents[1] / "reference" / "clusters"
NAMES = ["estimate", "std_error", "df", "statistic", "p"]


@pytest.fixture(scope="module")
def table():
    return pd.read_csv(CASE / "data.csv")


def compared(table, **options):
    return ml.compare_phases(table, "radial_error", group="group", unit="class", **options)


def values():
    assert tomllib.loads((CASE / "source.toml").read_text())["status"] == "computed"
    return json.loads((CASE / "values.json").read_text())


def test_class_means_are_compared_by_the_exact_t_test(table):
    row = compared(table).contrasts.query("phase == 'retention'").iloc[0]
    late = table[table["phase"] == "retention"]
    means = late.groupby(["group", "class"])["radial_error"].mean()
    theirs = stats.ttest_ind(means["random"], means["blocked"])
    assert (row["n_group"], row["n_reference"], row["df"]) == (6, 6, 10)
    np.testing.assert_allclose(row[["statistic", "p"]].astype(float), theirs, rtol=1e-12)
    low, high = theirs.confidence_interval()
    np.testing.assert_allclose(row[["conf_low", "conf_high"]].astype(float), (low, high))


def test_class_means_adjusted_for_their_baseline_are_those_of_lm(table):
    found = compared(table, baseline="pretest").contrasts.query("adjusted").iloc[0]
    expected = values()["class_means"]
    for name, value in expected.items():
        assert found[name] == pytest.approx(value, rel=1e-9), name
    assert found["df"] == 9


def test_people_in_classes_are_those_of_lmertest(table):
    for baseline, case in ((None, "plain"), ("pretest", "adjusted")):
        frame = compared(table, baseline=baseline, route="mixed").mixed
        row, expected = frame[frame["phase"] == "retention"].iloc[0], values()[case]
        for name in NAMES:
            assert row[name] == pytest.approx(expected[name], rel=1e-5), (case, name)


def test_icc_of_equal_classes_is_that_of_the_analysis_of_variance():
    rng = np.random.default_rng(3)
    scores = rng.normal(size=(8, 1)) + rng.normal(size=(8, 5))
    table = pd.DataFrame(
        {
            "class": np.repeat(np.arange(8), 5),
            "participant": np.arange(40),
            "group": np.repeat(["blocked", "random"], 20),
            "phase": "retention",
            "time": scores.ravel(),
        }
    )
    row = ml.compare_phases(table, "time", group="group", unit="class").clusters.iloc[0]
    means = scores.mean(axis=1).reshape(2, 4)
    between = 5 * means.var(axis=1, ddof=1).mean()
    within = scores.var(axis=1, ddof=1).mean()
    icc = (between - within) / (between + 4 * within)
    assert row["icc"] == pytest.approx(icc)
    assert row["design_effect"] == pytest.approx(1 + 4 * icc)
    # Searle's exact limits of a one-way layout, written out for 6 and 32 degrees of freedom.
    low = between / within / stats.f.isf(0.025, 6, 32)
    assert row["icc_low"] == pytest.approx(max((low - 1) / (low + 4), 0))


def test_no_row_of_a_result_counts_people_as_units(table):
    found = compared(table, baseline="pretest", route="mixed")
    assert found.contrasts[["n_group", "n_reference"]].to_numpy().max() == 6
    assert found.anova["df2"].max() == 10
    assert found.paired["n"].max() == 6 and found.posthoc["n"].max() == 12
    assert found.scores["participant"].nunique() == 12
    blocks = table.assign(block=table["phase"].map({"pretest": 1, "retention": 2}))
    practice = ml.compare_blocks(blocks, "radial_error", group="group", phase=None, unit="class")
    assert practice.anova["df2"].max() == 10


def test_fewer_than_six_classes_are_said_to_be_no_basis(table):
    four = table[table["class"].isin([f"class {n:02d}" for n in range(1, 9)])]
    said = " ".join(compared(four).statements)
    assert "blocked has 4, random has 4" in said and "no basis" in said
    assert "no basis" not in " ".join(compared(table).statements)


def test_one_class_in_a_group_gives_no_estimate_and_the_rest_goes_on(table):
    one = table.assign(**{"class": table["class"].where(table["group"] == "random", "the class")})
    found = compared(one, baseline="pretest", route="mixed")
    assert found.contrasts["p"].isna().all() and found.mixed["p"].isna().all()
    assert found.contrasts["reason"].str.contains("blocked has 1").all()
    assert found.anova["reason"].str.contains("blocked has 1").all()
    assert found.means["mean"].notna().all()


BAD = {
    "a class in two groups": (
        lambda t: t.assign(**{"class": t["class"].replace("class 02", "class 01")}),
        "a class is in two groups ('class 01')",
    ),
    "a person in two classes": (
        lambda t: t.assign(**{"class": t["class"].where(t.index != t.index[0], "class 03")}),
        "a participant is in more than one class ('01-1')",
    ),
    "a person without class": (
        lambda t: t.assign(**{"class": t["class"].where(t["participant"] != "01-1")}),
        "a participant has no class ('01-1')",
    ),
    "no column": (lambda t: t.drop(columns="class"), "lacks the column"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_classes_are_named_in_one_sentence(table, case):
    spoil, words = BAD[case]
    with pytest.raises(InputError) as problem:
        compared(spoil(table))
    assert words in str(problem.value) and "\n" not in str(problem.value)
