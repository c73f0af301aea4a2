"""Conditions within people: against lmerTest, lm and afex, by hand, and bad input."""

import json
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pingouin as pg
import pytest
from scipy import stats

import motorlearn as ml
from motorlearn.exceptions import InputError

REFERENCE = Path(__file__).parents[1] / "reference"
NAMES = ["estimate", "std_error", "df", "statistic", "p"]


def case(name):
    folder = REFERENCE / name
    assert tomllib.loads((folder / "source.toml").read_text())["status"] == "computed"
    return pd.read_csv(folder / "data.csv"), json.loads((folder / "values.json").read_text())


@pytest.fixture(scope="module")
def crossover():
    return case("crossover")


def compared(table, **options):
    options = {"group": None, "within": "condition", "period": "period"} | options
    return ml.compare_phases(table, "radial_error", **options)


def close(row, expected, *, rtol=1e-7, factor=1.0):
    for name, value in expected.items():
        wanted = value * (factor if name in ("estimate", "statistic") else 1.0)
        wanted *= abs(factor) if name == "std_error" else 1.0
        wanted = np.sign(factor) * value if name == "statistic" else wanted
        assert row[name] == pytest.approx(wanted, rel=rtol), name


def test_a_crossover_is_that_of_lmertest_on_who_met_both_periods(crossover):
    table, values = crossover
    found = compared(table, baseline="pretest")
    late = found.contrasts[found.contrasts["phase"] == "retention"].set_index("adjusted")
    close(late.loc[False], values["complete"])
    close(late.loc[True], values["adjusted"])
    terms = found.periods[found.periods["phase"] == "retention"].set_index("term")
    # lmer's sums to zero: the second minus the first is minus twice its coefficient.
    close(terms.loc["period"], values["period"], factor=-2)
    close(terms.loc["sequence (carry-over)"], values["carry_over"], factor=-2)


def test_who_missed_a_period_is_named_and_counts_in_the_mixed_model(crossover):
    table, values = crossover
    late = table[table["phase"] == "retention"]
    found = compared(late, route="mixed")
    close(found.mixed.iloc[0], values["all"], rtol=1e-5)
    assert found.contrasts["n_group"].tolist() == [12]
    assert "P03 (random), P08 (blocked)" in " ".join(found.statements)
    left = found.recipe.left_out
    assert set(zip(left["participant"], left["group"])) == {("P03", "random"), ("P08", "blocked")}
    assert found.means["n"].tolist() == [13, 13]


def test_without_a_period_it_is_the_paired_t_test(crossover):
    table, _ = crossover
    row = compared(table, period=None).contrasts.query("phase == 'retention'").iloc[0]
    wide = table[table["phase"] == "retention"].pivot(
        index="participant", columns="condition", values="radial_error"
    )
    theirs = stats.ttest_rel(wide["random"], wide["blocked"], nan_policy="omit")
    assert row["statistic"] == pytest.approx(theirs.statistic)
    assert row["p"] == pytest.approx(theirs.pvalue)
    assert row["df"] == 11


@pytest.mark.parametrize("between", [True, False])
def test_two_factors_within_people_are_those_of_afex(between):
    table, values = case("two_within")
    if between:
        found = ml.compare_phases(
            table, "value", group="treatment", participant="id", phase="hour", within="phase"
        )
        names = {"group": "treatment", "phase of the study": "hour"}
    else:
        found = ml.compare_phases(
            table.assign(test="retention"), "value", group=None, participant="id", phase="test",
            within=["phase", "hour"],
        )  # fmt: skip
        names = {}
    if between:
        names |= {"phase": "phase"}
    rows = found.anova.assign(
        term=[":".join(names.get(t, t) for t in term.split(":")) for term in found.anova["term"]]
    ).set_index("term")
    rows = rows.rename(index={"phase of the study": "hour"})
    for term, expected in values["mixed" if between else "alone"].items():
        for name, value in expected.items():
            assert rows.loc[term, name] == pytest.approx(value, rel=1e-9), (term, name)


def test_blocks_and_conditions_are_the_same_two_factors():
    table, values = case("two_within")
    found = ml.compare_blocks(
        table.rename(columns={"hour": "block"}), "value", group="treatment", participant="id",
        phase=None, within="phase",
    )  # fmt: skip
    rows = found.anova.set_index("term")
    expected = values["mixed"]["treatment:phase:hour"]
    assert rows.loc["group:phase:block", "statistic"] == pytest.approx(expected["statistic"])
    assert rows.loc["group:phase:block", "p_gg"] == pytest.approx(expected["p_gg"])
    assert len(found.posthoc) == 10 and found.trends["n"].eq(16).all()


def test_the_period_is_taken_out_and_the_order_of_rows_does_not_matter(crossover):
    table, _ = crossover
    shifted = table.assign(radial_error=table["radial_error"] + 7 * table["period"])
    one, other = compared(table), compared(shifted.sample(frac=1, random_state=1))
    np.testing.assert_allclose(
        one.contrasts[NAMES].astype(float), other.contrasts[NAMES].astype(float)
    )
    moved = other.periods["estimate"] - one.periods["estimate"]
    assert moved[one.periods["term"] == "period"].tolist() == pytest.approx([7, 7])


def test_a_ratio_is_a_difference_of_logarithms(crossover):
    table, _ = crossover
    ratio = compared(table, effect="ratio").contrasts.iloc[1]
    logs = table.assign(radial_error=np.log(table["radial_error"]))
    plain = compared(logs).contrasts.iloc[1]
    assert ratio["estimate"] == pytest.approx(np.exp(plain["estimate"]))
    assert ratio["p"] == pytest.approx(plain["p"])


def test_one_order_for_everybody_is_said_and_the_difference_still_told(crossover):
    table, _ = crossover
    same = table[table["sequence"] == "blocked first"]
    found = compared(same)
    assert "the same order (blocked then random)" in " ".join(found.statements)
    assert found.contrasts["p"].notna().all()
    assert found.periods["reason"].str.contains("same condition").all()


def test_three_conditions_have_a_test_of_all_and_every_pair_its_own_error():
    rng = np.random.default_rng(5)
    orders = ["abc", "bca", "cab"]
    rows = [
        (person, period, name, "retention", rng.normal() + person)
        for person in range(12)
        for period, name in enumerate(orders[person % 3])
    ]
    table = pd.DataFrame(rows, columns=["participant", "period", "condition", "phase", "time"])
    found = ml.compare_phases(
        table, "time", group=None, within="condition", period="period", pairs="all"
    )
    assert found.contrasts["df"].tolist() == [9.0] * 3
    assert found.omnibus["term"].tolist() == ["condition"]
    assert found.periods["later"].tolist()[:2] == [1, 2]


def test_the_analysis_of_variance_takes_the_phases_that_are_named():
    rng = np.random.default_rng(6)
    table = pd.DataFrame(
        [
            (person, 1 + (person + place) % 2, name, phase, rng.normal() + person)
            for person in range(10)
            for place, name in enumerate(("blocked", "random"))
            for phase in ("pretest", "acquisition", "retention")
        ],
        columns=["participant", "period", "condition", "phase", "time"],
    )
    asked = {"group": None, "within": "condition", "period": "period", "baseline": None}
    tests = ["pretest", "retention"]
    whole = ml.compare_phases(table, "time", **asked)
    found = ml.compare_phases(table, "time", anova_phases=tests, **asked)
    theirs = pg.rm_anova(
        table[table["phase"].isin(tests)], "time", within=["condition", "phase"],
        subject="participant",
    ).set_index("Source")["F"]  # fmt: skip
    own = found.anova.set_index("term")["statistic"]
    for term, name in (("condition", "condition"), ("phase", "phase"),
                       ("condition:phase", "condition * phase")):  # fmt: skip
        assert own[term] == pytest.approx(theirs[name])
    assert whole.anova.set_index("term").loc["phase", "df1"] == 2
    assert [tuple(row) for row in found.posthoc[["from_phase", "to_phase"]].to_numpy()] == [
        ("pretest", "retention")
    ]
    pd.testing.assert_frame_equal(found.contrasts, whole.contrasts)
    with pytest.raises(InputError, match="sideways"):
        ml.compare_phases(table, "time", anova_phases=["pretest", "sideways"], **asked)


BAD = {
    "no condition column": (
        lambda t: t.drop(columns="condition"), "lacks the column of a condition"
    ),
    "one condition each": (
        lambda t: t[t["period"] == 1], "nobody has scores under two levels of condition"
    ),
    "an empty condition": (
        lambda t: t.assign(condition=t["condition"].where(t.index != 0)),
        "'condition' is empty in 1 rows ('P01')",
    ),
    "one condition": (
        lambda t: t[t["condition"] == "blocked"], "has one level only"
    ),
    "one condition in two periods": (
        lambda t: t.assign(period=t["period"].where(t.index != 0, 2)),
        "met one condition in two levels of 'period' ('P01')",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_bad_conditions_are_named_in_one_sentence(crossover, name):
    spoil, words = BAD[name]
    with pytest.raises(InputError) as problem:
        compared(spoil(crossover[0]))
    assert words in str(problem.value) and "\n" not in str(problem.value)


def test_a_person_with_one_condition_only_is_named_and_the_rest_goes_on(crossover):
    table, _ = crossover
    one = table[(table["participant"] != "P01") | (table["condition"] == "blocked")]
    found = compared(one)
    assert found.contrasts["n_group"].tolist() == [11, 11]
    assert "P01 (random)" in " ".join(found.statements)
