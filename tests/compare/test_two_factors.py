"""Two factors between people: against afex, car and emmeans, by hand, and what is refused."""

import json
import tomllib
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

import motorlearn as ml
from motorlearn.exceptions import ColumnError, InputError

CASE = Path(__file__).parents[1] / "reference" / "two_factors"
TWO = ["order", "feedback"]


@pytest.fixture(scope="module")
def table():
    return pd.read_csv(CASE / "data.csv")


@pytest.fixture(scope="module")
def values():
    assert tomllib.loads((CASE / "source.toml").read_text())["status"] == "computed"
    return json.loads((CASE / "values.json").read_text())


@pytest.fixture(scope="module")
def result(table):
    return ml.compare_phases(table, "radial_error", group=TWO, baseline="pretest", pairs="all")


@pytest.fixture(scope="module")
def adjusted(table):
    return ml.compare_phases(
        table, "radial_error", group=TWO, baseline="pretest", covariates=["age", "site"]
    )


@pytest.mark.parametrize("squares", ["III", "II"])
def test_the_whole_table_is_that_of_afex(table, values, squares):
    found = ml.compare_phases(table, "radial_error", group=TWO, squares=squares).anova
    found, known = found.set_index("term"), values[squares]
    assert list(found.index) == [row["term"] for row in known["tests"][1:]]
    for row in known["tests"][1:]:
        own = found.loc[row["term"]]
        numbers = [row[name] for name in ("Sum Sq", "num Df", "den Df", "F value", "Pr(>F)")]
        assert own[["sum_sq", "df1", "df2", "statistic", "p"]].astype(float).to_numpy() == (
            pytest.approx(numbers, rel=1e-8)
        )
    for row in known["corrected"]:
        own = found.loc[row["term"]]
        assert own["epsilon_gg"] == pytest.approx(row["GG eps"], rel=1e-8)
        assert own["epsilon_hf"] == pytest.approx(min(row["HF eps"], 1), rel=1e-8)
        assert own["p_gg"] == pytest.approx(row["Pr(>F[GG])"], rel=1e-8)
        assert own["p_hf"] == pytest.approx(row["Pr(>F[HF])"], rel=1e-6)
    for row in known["ges"]:
        assert found.loc[row["term"], "generalised_eta2"] == pytest.approx(row["ges"], rel=1e-8)
    assert found.loc["phase", "mauchly_w"] == pytest.approx(
        known["mauchly"][0]["Test statistic"], rel=1e-8
    )
    assert found["method"].str.contains(f"type {squares}, ").all()


def effects(result, kind, term):
    rows = result.effects.query("phase == 'transfer' and adjusted and kind == @kind")
    return rows[rows["term"] == term]


@pytest.mark.parametrize("case", ["ancova", "covariates"])
def test_effects_are_those_of_emmeans(result, adjusted, values, case):
    known, own = values[case], result if case == "ancova" else adjusted
    for kind, term, name in (
        ("main effect", "order", "order"),
        ("main effect", "feedback", "feedback"),
        ("interaction", "order:feedback", "interaction"),
        ("simple effect", "order", "simple"),
    ):
        rows = effects(own, kind, term)
        for mine, theirs in (
            ("estimate", "estimate"), ("std_error", "SE"), ("df", "df"),
            ("statistic", "t.ratio"),
        ):  # fmt: skip
            found = sorted(rows[mine])
            assert found == pytest.approx(sorted(r[theirs] for r in known[name]), rel=1e-8)
        if kind == "main effect":
            assert sorted(rows["p_adjusted"]) == pytest.approx(
                sorted(row["p.value"] for row in known[name]), rel=1e-8
            )
    slopes = own.slopes.query("phase == 'transfer'")
    assert slopes["r2"].iloc[0] == pytest.approx(known["r2"], rel=1e-8)
    assert slopes["adjusted_r2"].iloc[0] == pytest.approx(known["adjusted_r2"], rel=1e-8)
    assert len(effects(own, "simple effect", "feedback")) == 6


@pytest.mark.parametrize("case", ["ancova", "covariates"])
@pytest.mark.parametrize("squares", ["II", "III"])
def test_tests_at_one_phase_are_those_of_car(table, values, case, squares):
    more = ["age", "site"] if case == "covariates" else []
    found = ml.compare_phases(
        table, "radial_error", group=TWO, baseline="pretest", covariates=more, squares=squares
    ).omnibus
    rows = found[(found["phase"] == "transfer") & found["method"].str.contains("covariance")]
    rows = rows.set_index("term")
    for known in values[case]["iii" if squares == "III" else "ii"]:
        if known["term"] not in ("(Intercept)", "Residuals"):
            own = rows.loc[known["term"]]
            assert own["statistic"] == pytest.approx(known["F value"], rel=1e-7)
            assert own["p"] == pytest.approx(known["Pr(>F)"], rel=1e-7)


def test_marginal_means_are_those_of_emmeans(result, values):
    rows = result.marginal_means.query("phase == 'transfer' and adjusted")
    known = [*values["ancova"]["order_means"], *values["ancova"]["feedback_means"]]
    assert rows["estimate"].tolist() == pytest.approx([row["emmean"] for row in known], rel=1e-8)
    assert rows["std_error"].tolist() == pytest.approx([row["SE"] for row in known], rel=1e-8)
    assert rows["level"].tolist() == ["blocked", "random", "always", "faded", "none"]


def test_slopes_and_r2_are_those_of_statsmodels(table, adjusted):
    wide = table.pivot(
        index=["participant", "order", "feedback", "age", "site"],
        columns="phase", values="radial_error",
    ).reset_index()  # fmt: skip
    fit = smf.ols("retention ~ order * feedback + pretest + age + site", wide).fit()
    rows = adjusted.slopes.query("phase == 'retention'")
    names = ["pretest", "age", "site[T.south]", "site[T.west]"]
    for mine, theirs in (("estimate", fit.params), ("std_error", fit.bse), ("p", fit.pvalues)):
        assert rows[mine].tolist() == pytest.approx(theirs[names].tolist(), rel=1e-8)
    assert rows["r2"].iloc[0] == pytest.approx(fit.rsquared, rel=1e-9)
    assert rows["covariate"].tolist() == ["pretest", "age", "site", "site"]
    assert rows["level"].tolist() == ["", "", "south", "west"]


def test_a_main_effect_is_no_answer_of_one_cell():
    """Cells of 1, 1, 5 and 9: a main effect of order 6, by hand, however many people a cell has."""
    cells = {("a", "x"): [0, 2], ("a", "y"): [0, 1, 2, 1], ("b", "x"): [4, 6], ("b", "y"): [8, 10]}
    rows = [
        [f"{one}{other}{i}", one, other, "retention", score]
        for (one, other), scores in cells.items()
        for i, score in enumerate(scores)
    ]
    table = pd.DataFrame(rows, columns=["participant", *TWO, "phase", "time"])
    found = ml.compare_phases(table, "time", group=TWO, better="lower")
    own = found.effects.set_index(["kind", "term", "at"])["estimate"]
    assert own["main effect"]["order"].tolist() == pytest.approx([6.0])
    assert own["interaction"].tolist() == pytest.approx([4.0])
    assert own["simple effect"]["order"].tolist() == pytest.approx([4.0, 8.0])
    assert own["main effect"]["feedback"].tolist() == pytest.approx([2.0])
    assert found.anova["term"].tolist() == ["order", "feedback", "order:feedback"]


def test_levels_of_named_groups_say_the_same(table, result):
    cells = product(["blocked", "random"], ["always", "faded", "none"])
    label = dict(zip(cells, "ABCDEF", strict=True))
    named = table.assign(group=[label[one] for one in zip(table["order"], table["feedback"])])
    factors = {
        "order": {"blocked": ["A", "B", "C"], "random": ["D", "E", "F"]},
        "feedback": {"always": ["A", "D"], "faded": ["B", "E"], "none": ["C", "F"]},
    }
    found = ml.compare_phases(
        named, "radial_error", group="group", factors=factors, baseline="pretest", pairs="all"
    )
    pd.testing.assert_frame_equal(found.effects, result.effects)
    pd.testing.assert_frame_equal(found.anova, result.anova)
    assert ml.compare_phases(named, "radial_error", group="group").effects.empty


def test_blocks_of_two_factors(table):
    rows = table.rename(columns={"phase": "block"}).replace(
        {"block": {"pretest": 1, "retention": 2, "transfer": 3}}
    )
    found = ml.compare_blocks(rows, "radial_error", group=TWO, phase=None)
    whole = ml.compare_phases(table, "radial_error", group=TWO)
    assert found.anova["statistic"].tolist() == pytest.approx(whole.anova["statistic"].tolist())
    assert found.anova["term"].tolist()[-1] == "order:feedback:block"


def test_ratios_of_cells(table):
    found = ml.compare_phases(
        table, "radial_error", group=TWO, baseline="pretest", effect="ratio"
    ).effects
    logs = table.assign(radial_error=np.log(table["radial_error"]))
    plain = ml.compare_phases(logs, "radial_error", group=TWO, baseline="pretest").effects
    assert np.log(found["estimate"]).tolist() == pytest.approx(plain["estimate"].tolist())
    assert found["p"].tolist() == pytest.approx(plain["p"].tolist())


@pytest.mark.parametrize(
    ("group", "words"),
    [
        (["order", "order"], "two different columns"),
        (["order"], "two different columns"),
        (["order", "feedback", "site"], "two different columns"),
        (["order", "phase_"], "lacks a column"),
    ],
)
def test_what_two_factors_cannot_be(table, group, words):
    with pytest.raises((InputError, ColumnError), match=words):
        ml.compare_phases(table, "radial_error", group=group)


def test_cells_that_cannot_be_compared(table):
    gone = table[~((table["order"] == "random") & (table["feedback"] == "none"))]
    with pytest.raises(InputError, match=r"holds nobody.*random, none"):
        ml.compare_phases(gone, "radial_error", group=TWO)
    with pytest.raises(InputError, match="one level only"):
        ml.compare_phases(table[table["order"] == "random"], "radial_error", group=TWO)
    moved = table.copy()
    moved.loc[0, "order"] = "random"
    with pytest.raises(InputError, match="in two groups"):
        ml.compare_phases(moved, "radial_error", group=TWO)
    empty = table.assign(order=table["order"].where(table.index > 0))
    with pytest.raises(InputError, match="is empty in 1 rows"):
        ml.compare_phases(empty, "radial_error", group=TWO)


def test_one_person_in_a_cell_leaves_no_variance_there(table):
    cell = table[(table["order"] == "random") & (table["feedback"] == "none")]
    kept = cell["participant"].iloc[0]
    few = table[~table["participant"].isin(set(cell["participant"]) - {kept})]
    found = ml.compare_phases(few, "radial_error", group=TWO, baseline="pretest")
    plain = found.effects[~found.effects["adjusted"]]
    assert plain["p"].isna().all()
    assert plain["reason"].str.contains("two participants in every cell are needed").all()
    assert found.effects[found.effects["adjusted"]]["p"].notna().all()
    assert any("random-none has 1" in words for words in found.statements)


def test_drop_outs_and_people_without_a_covariate_are_named(table):
    lost = table.assign(age=table["age"].where(table["participant"] != "P02").astype(float))
    found = ml.compare_phases(
        lost, "radial_error", group=TWO, baseline="pretest", covariates=["age"]
    )
    names = found.recipe.left_out.set_index("participant")["reason"]
    assert names["P02"] == "no value of age: not in the adjusted comparison"
    assert names["P11"].startswith("no score at transfer")
    assert found.anova["method"].str.contains("32 complete participants").all()


@pytest.mark.parametrize(
    ("covariates", "words"),
    [
        (["shoe"], "no column of the table"),
        (["age", "age"], "named twice"),
        (["order"], "is another part"),
        (["phase"], "another part"),
        (["radial_error"], "another part"),
        (["same"], "same for everybody"),
        (["trial"], "differs within a person"),
        (["nickname"], "a label of its own"),
        (["empty"], "known of nobody"),
    ],
)
def test_what_a_covariate_cannot_be(table, covariates, words):
    more = table.assign(
        same=1, trial=range(len(table)), nickname=table["participant"] + "x", empty=np.nan
    )
    with pytest.raises((InputError, ColumnError), match=words):
        ml.compare_phases(
            more, "radial_error", group=TWO, baseline="pretest", covariates=covariates
        )


def test_a_comparison_is_written_and_read(adjusted):
    again = type(adjusted).from_json(adjusted.to_json())
    pd.testing.assert_frame_equal(again.effects, adjusted.effects, check_dtype=False)
    assert again.recipe.options["covariates"] == ("age", "site")
    assert "Effects of the factors" in str(adjusted)


def test_cells_without_spread_are_named_with_what_to_check():
    """Everybody of a cell has one score: which cell has which, and what may have happened."""
    people = pd.DataFrame(list(product(["a", "b"], ["always", "faded"], range(3))))
    people.columns = ["order", "feedback", "place"]
    flat = people.assign(
        participant=[f"P{n:02d}" for n in range(len(people))],
        phase="retention",
        radial_error=10.0 + 5 * (people["order"] == "b"),
    )
    found = ml.compare_phases(flat, "radial_error", group=TWO, pairs="all").effects
    reasons = found["reason"].astype(str)
    assert reasons.str.contains(
        "everyone in a group has the same score (a-always 10, a-faded 10, ", regex=False
    ).any()
    assert reasons.str.contains("check that they were not copied or typed in once").any()


def test_a_category_that_nobody_has_is_no_level(table, result):
    order = table["order"].unique().tolist()
    named = table.assign(order=pd.Categorical(table["order"], categories=["none", *order]))
    found = ml.compare_phases(named, "radial_error", group=TWO, baseline="pretest").anova
    pd.testing.assert_frame_equal(found, result.anova)


def test_a_cell_without_a_complete_case_is_named_in_the_table(table):
    order, feedback = table[TWO].iloc[0]
    own = (table["order"] == order) & (table["feedback"] == feedback)
    last = table["phase"] == table["phase"].iloc[-1]
    found = ml.compare_phases(table[~(own & last)], "radial_error", group=TWO).anova
    assert found["method"].tolist() == [f"not computed: no complete case in {order}-{feedback}"]
