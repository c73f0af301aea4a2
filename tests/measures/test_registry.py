"""Measures of one's own: registered, scored, refused, on their way from plan to report."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import studies

import motorlearn as ml
from motorlearn import measures as m
from motorlearn.analysis.scores import scores_of
from motorlearn.analysis.technique import technique_change
from motorlearn.design import design_from_mapping
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.report.sections.results import compose
from motorlearn.report.view import view_of

NAME = "worst_quarter"


@pytest.fixture(autouse=True)
def clean():
    yield
    for name in m.registered_measures():
        m.forget_measure(name)


def worst_quarter(rows):
    ordered = np.sort(rows["radial_error"].dropna())
    return ordered[-max(1, len(ordered) // 4) :].mean()


def register(function=worst_quarter, name=NAME, **more):
    given = {
        "columns": "radial_error",
        "unit": "cm",
        "better": "lower",
        "meaning": "mean of the largest quarter of the radial errors",
    }
    return m.register_measure(name, function, **(given | more))


@pytest.fixture
def table():
    return pd.DataFrame(
        {
            "participant": ["a"] * 8 + ["b"] * 4,
            "radial_error": [1.0, 2, 3, 4, 5, 6, 7, 9, 10, 20, 30, 40],
        }
    )


def test_scores_by_hand_come_as_the_last_column(table):
    before = ml.score_trials(table, "participant")
    register()
    scores = ml.score_trials(table, "participant")
    assert scores[NAME].tolist() == [8.0, 40.0]
    assert scores.columns[-1] == NAME
    pd.testing.assert_frame_equal(scores.drop(columns=NAME), before)
    assert ml.score_trials(table, [])[NAME].tolist() == [30.0]
    assert NAME not in ml.score_trials(table, "participant", registered=[])


def test_rows_reach_the_right_cell_in_any_order(table):
    register()
    mixed = ml.score_trials(table.sample(frac=1, random_state=3), "participant")
    assert mixed[NAME].tolist() == [8.0, 40.0]


def test_void_rows_are_left_out_and_cells_without_values_are_empty(table):
    register()
    table["void"] = None
    table.loc[[7], "void"] = "slipped"
    assert ml.score_trials(table, "participant")[NAME].tolist() == [7.0, 40.0]
    table.loc[8:, "void"] = "rain"
    scores = ml.score_trials(table, "participant")[NAME]
    assert scores[0] == 7.0 and np.isnan(scores[1])
    table["void"] = None
    table.loc[8:, "radial_error"] = np.nan
    assert np.isnan(ml.score_trials(table, "participant")[NAME][1])


def test_without_its_columns_a_measure_is_not_there(table):
    register(columns=["radial_error", "tilt"])
    assert NAME not in ml.score_trials(table, "participant")
    assert NAME in ml.score_trials(table.assign(tilt=1.0), "participant")


def test_a_table_without_standard_outcomes_is_scored(table):
    tilted = table.rename(columns={"radial_error": "tilt"})
    with pytest.raises(ColumnError, match="no outcome to score"):
        ml.score_trials(tilted, "participant")
    register(lambda rows: rows["tilt"].max(), columns="tilt", unit="degrees")
    tilted["void"] = ["slipped"] + [""] * 11
    scores = ml.score_trials(tilted, "participant")
    assert scores[NAME].tolist() == [9.0, 40.0]
    assert scores["n_missing"].tolist() == [1, 0]


def test_a_function_cannot_change_the_table(table):
    def spoil(rows):
        rows["radial_error"] = 0.0
        return 1.0

    register(spoil)
    kept = table.copy()
    ml.score_trials(table, "participant")
    pd.testing.assert_frame_equal(table, kept)


@pytest.mark.parametrize("value", [1, np.int64(1), np.float32(1), 1.0])
def test_every_kind_of_number_is_one(table, value):
    register(lambda rows: value)
    assert ml.score_trials(table, "participant")[NAME].tolist() == [1.0, 1.0]


@pytest.mark.parametrize("value", [pd.NA, np.nan])
def test_what_cannot_be_computed_is_empty(table, value):
    register(lambda rows: value)
    assert ml.score_trials(table, "participant")[NAME].isna().all()


@pytest.mark.parametrize("value", [None, "3", True, np.inf, [1.0], pd.Series([1.0, 2.0])])
def test_what_is_no_number_is_refused_with_measure_and_cell(table, value):
    register(lambda rows: value if rows["participant"].iloc[0] == "b" else 1.0)
    with pytest.raises(InputError, match="'worst_quarter' gives no number at participant b"):
        ml.score_trials(table, "participant")


@pytest.mark.parametrize("error", [KeyError("tilt"), ZeroDivisionError("by zero"), InputError("x")])
def test_a_function_that_raises_is_told_with_measure_and_cell(table, error):
    def fails(rows):
        raise error

    register(fails)
    with pytest.raises(InputError, match="'worst_quarter' fails at participant a") as told:
        ml.score_trials(table, "participant")
    assert type(error).__name__ in str(told.value) and "forget_measure" in told.value.remedy


@pytest.mark.parametrize(
    "name", ["x", "phase", "score", "hit_rate", "variable_error", "n_landing", "stage"]
)
def test_names_of_the_toolkit_are_refused_for_good(name):
    with pytest.raises(InputError, match="has this name") as told:
        register(name=name, replace=True)
    assert told.value.remedy
    assert m.registered_measures() == {}


def test_own_names_are_replaced_on_demand_only(table):
    register()
    with pytest.raises(InputError, match="replace=True"):
        register(lambda rows: 0.0)
    assert ml.score_trials(table, "participant")[NAME].tolist() == [8.0, 40.0]
    register(lambda rows: 0.0, replace=True, better="higher")
    assert ml.score_trials(table, "participant")[NAME].tolist() == [0.0, 0.0]
    assert m.better_direction(NAME) == "higher"


@pytest.mark.parametrize(
    "wrong",
    [
        {"name": "worst quarter"},
        {"name": ""},
        {"name": 3},
        {"columns": []},
        {"columns": [3]},
        {"function": "mean"},
        {"better": "smaller"},
        {"meaning": " "},
        {"unit": None},
    ],
    ids=str,
)
def test_unfit_values_are_refused_with_a_remedy(wrong):
    with pytest.raises(InputError) as told:
        register(**wrong)
    assert told.value.remedy
    assert m.registered_measures() == {}


def test_a_column_of_the_same_name_is_refused(table):
    register()
    with pytest.raises(ColumnError, match="forget_measure"):
        ml.score_trials(table.assign(worst_quarter=1.0), "participant")
    content = studies.plan({"name": NAME, "unit": "cm", "better": "lower"})
    trials = studies.trials(4, studies.PARTS).assign(worst_quarter=1.0)
    said = refused_or_error(studies.study(content, trials))
    assert "name of a registered measure" in said


def refused_or_error(study):
    try:
        return ml.analyse_study(study).refused
    except InputError as error:
        return str(error)


def test_its_card_says_what_it_is_until_it_is_forgotten(table):
    register(name="spread_out", unit="length")
    register()
    card = m.definition(NAME)
    assert (card.label, card.equation, card.unit, card.better) == (
        "worst quarter", "mean of the largest quarter of the radial errors", "cm", "lower",
    )  # fmt: skip
    assert m.better_direction(NAME) == "lower"
    assert list(m.registered_measures()) == ["spread_out", NAME]
    written = m.score_table(ml.score_trials(table, "participant"), {"length": "mm"})
    assert written.headings[-2:] == ["spread out (mm)", "worst quarter (cm)"]
    m.forget_measure(NAME)
    assert list(m.registered_measures()) == ["spread_out"]
    assert NAME not in ml.score_trials(table, "participant")
    assert m.better_direction(NAME) is None
    with pytest.raises(InputError, match="no definition card"):
        m.definition(NAME)
    with pytest.raises(InputError, match="registered now: spread_out"):
        m.forget_measure(NAME)


def test_an_outcome_is_scored_by_its_own_measure_alone():
    def fails(rows):
        raise ZeroDivisionError("by zero")

    register()
    register(fails, name="of_another_study")
    names = (NAME, "bivariate_variable_error")
    outcomes = [{"name": name, "unit": "cm", "better": "lower"} for name in names]
    design = design_from_mapping(studies.plan(outcomes))
    table = studies.trials(2, [("pretest", 1, 1, 7)], seed=3).assign(stage="pretest")
    table.loc[[0, 1], ["x", "y", "radial_error"]] = np.nan
    own, other = (
        scores_of(table, outcome, design).cells(["participant"]) for outcome in design.outcomes
    )
    assert list(own) == list(other) == ["participant", "score", "n_trials"]
    assert own["score"].tolist() == table.groupby("participant")["radial_error"].max().tolist()
    assert other["n_trials"].tolist() == [5, 7]


def test_a_comparison_takes_its_direction_from_the_card():
    register(better="higher")
    scores = ml.score_trials(
        studies.trials(12, studies.PARTS, seed=8), ["participant", "group", "phase"]
    )
    compared = ml.compare_phases(
        scores, NAME, group="group", baseline="pretest", reference="blocked"
    )
    assert compared.recipe.options["better"] == "higher"


@pytest.fixture
def own_study():
    outcome = {"name": NAME, "unit": "cm", "better": "lower"}
    content = studies.plan(outcome, units={"length": "cm"})
    return studies.study(content, studies.trials(24, studies.PARTS, seed=8))


def test_a_plan_takes_it_to_the_answer_and_the_report(own_study, no_pictures):
    register()
    register(lambda rows: 1 / 0, name="broken")  # another one does no harm
    analysis = ml.analyse_study(own_study)
    row = analysis.primary.iloc[0]
    assert row["outcome"] == NAME and not analysis.refused
    numbers = row[["estimate", "conf_low", "conf_high", "df", "p", "g"]].astype(float)
    assert np.isfinite(numbers).all()
    by = ["participant", "group", "phase"]
    cells = own_study.trials.table.groupby(by).apply(worst_quarter).rename(NAME).reset_index()
    direct = ml.compare_phases(
        cells, NAME, group="group", baseline="pretest", reference="blocked", better="lower"
    ).contrasts.query("adjusted and phase == 'retention'")
    np.testing.assert_allclose(
        row[["estimate", "conf_low", "conf_high"]].astype(float),
        direct[["estimate", "conf_low", "conf_high"]].iloc[0].astype(float),
    )
    m.forget_measure(NAME)  # what was computed is still told
    document = compose(view_of(analysis, decimal="."), versions={"motorlearn": "test"})
    text = " ".join(document.texts)
    assert f"worst quarter was {abs(row['estimate']):.1f} cm" in text


@pytest.mark.parametrize("name", [NAME, "bivariate_variable_error"])
def test_technique_is_set_beside_a_measure_of_the_trials_of_a_test(name):
    register()
    shipped = ml.read_study(studies.SHIPPED)
    measured = shipped.design.outcomes[0].model_copy(update={"name": name})
    primary = shipped.design.primary.model_copy(update={"outcome": name})
    design = shipped.design.model_copy(update={"outcomes": (measured,), "primary": primary})
    told = technique_change(replace(shipped, design=design)).together
    assert len(told) == 1 and np.isfinite(told["r"].astype(float)).all()
    assert not np.allclose(told["r"].iloc[0], technique_change(shipped).together["r"].iloc[0])


def test_a_plan_that_names_a_measure_that_nobody_registered_says_how(own_study):
    assert "register a measure of your own" in refused_or_error(own_study)


def test_a_measure_that_fails_on_few_rows_is_found_in_a_plan(own_study):
    def late(rows):
        if len(rows) < 10:
            raise ValueError("ten trials are needed")
        return worst_quarter(rows)

    register(late)
    assert np.isfinite(ml.analyse_study(own_study).primary["estimate"].astype(float)).all()
