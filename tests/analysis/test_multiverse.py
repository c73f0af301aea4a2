"""Combinations of declared choices: each is the comparison itself; what can't be is named."""

import time
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import studies

import motorlearn as ml
from motorlearn.design import combinations_declared, design_from_mapping
from motorlearn.exceptions import DesignError, InputError
from motorlearn.figures import multiverse_plot, text_overlaps, texts_cut
from motorlearn.report.sections.declared import multiverse_line
from motorlearn.report.view import view_of

TIMES = {"name": "time", "unit": "s", "better": "lower"}
SIZED = [{"name": "blocked", "size": 12}, {"name": "random", "size": 12}]
ALL_MODELS = ["ancova by group", "change score", "unadjusted", "linear mixed"]


def made(multiverse, *, people=24, **more):
    content = studies.plan([studies.ERROR, TIMES], groups=SIZED, multiverse=multiverse, **more)
    table = studies.trials(people, studies.PARTS, seed=9, effect=-0.3)
    ages = {f"P{i + 1:02d}": 20 + (7 * i) % 31 for i in range(people)}
    return studies.study(content, table.assign(age=table["participant"].map(ages)))


@pytest.fixture(scope="module")
def study():
    return made(
        {
            "outcomes": ["time"],
            "effects": ["ratio"],
            "covariates": [["age"]],
            "models": ALL_MODELS,
            "exclusions": [
                {"rule": "beyond 2 SD", "beyond_sd": 2.0},
                {"rule": "far trials", "column": "radial_error", "above": 60.0},
                {"rule": "P03 talked", "undo": True},
            ],
        },
        exclusions=[
            {"rule": "P03 talked", "participants": ["P03"], "phases": ["retention"], "reason": "r"}
        ],
    )


@pytest.fixture(scope="module")
def found(study):
    return ml.multiverse(study)


def test_the_first_combination_is_the_primary_row(study, found):
    row, own = found.table.iloc[0], ml.analysis.primary_comparison(study).primary.iloc[0]
    for name in ("estimate", "conf_low", "conf_high", "df", "p", "g"):
        assert row[name] == pytest.approx(own[name], rel=1e-12)
    assert row["n"] == own["n_group"] + own["n_reference"] and row["primary"]
    assert found.table["primary"].sum() == 1


def test_all_declared_combinations_are_there_once_and_no_other(study, found):
    assert len(found.table) == combinations_declared(study.design) == 2 * 2 * 2 * 5 * 4
    respects = ["exclusion", "outcome", "effect", "covariates", "model"]
    assert not found.table.duplicated(respects).any()
    assert set(found.table["outcome"]) == {"radial_error", "time"}


@pytest.mark.parametrize("effect", ["difference", "ratio"])
@pytest.mark.parametrize("covariates", [(), ("age",)])
@pytest.mark.parametrize(
    ("model", "options"),
    [("ancova", {}), ("ancova by group", {"variance": "by group"}), ("unadjusted", None)],
)
def test_combinations_are_what_compare_phases_gives(
    study, found, effect, covariates, model, options
):
    baseline = None if options is None else "pretest"
    told = ml.compare_phases(
        study.trials.table, "radial_error", group="group", baseline=baseline, effect=effect,
        phases=["pretest", "retention"], groups=["blocked", "random"], covariates=covariates,
        **(options or {}),
    ).contrasts  # fmt: skip
    told = told[(told["phase"] == "retention")]
    told = told[told["adjusted"] == (baseline is not None or bool(covariates))].iloc[0]
    table = found.table
    mine = table[
        (table["exclusion"] == "as planned")
        & (table["outcome"] == "radial_error")
        & (table["effect"] == effect)
        & (table["covariates"] == (", ".join(covariates) or "none"))
        & (table["model"] == model)
    ].iloc[0]
    for name in ("estimate", "conf_low", "conf_high", "df", "p", "g"):
        assert mine[name] == pytest.approx(told[name], rel=1e-10), name


def test_change_scores_are_welch_s_test_of_changes(study, found):
    cells = study.trials.table.groupby(["participant", "group", "phase"])["radial_error"].mean()
    wide = cells.unstack("phase").reset_index()
    change = (wide["retention"] - wide["pretest"]).groupby(wide["group"]).apply(list)
    a, b = np.array(change["random"]), np.array(change["blocked"])
    row = found.table.query(
        "exclusion == 'as planned' and outcome == 'radial_error' and effect == 'difference' and "
        "covariates == 'none' and model == 'change score'"
    ).iloc[0]
    assert row["estimate"] == pytest.approx(np.nanmean(a) - np.nanmean(b))


def test_an_exclusion_leaves_out_what_it_names(study, found):
    plain = found.table.query(
        "outcome == 'radial_error' and effect == 'difference' and covariates == 'none' and "
        "model == 'ancova'"
    ).set_index("exclusion")
    kept = study.trials.table.query("radial_error <= 60")
    told = ml.compare_phases(
        kept, "radial_error", group="group", baseline="pretest", groups=["blocked", "random"],
        phases=["pretest", "retention"],
    ).contrasts  # fmt: skip
    told = told[(told["phase"] == "retention") & told["adjusted"]].iloc[0]
    assert plain.loc["far trials", "estimate"] == pytest.approx(told["estimate"])
    assert plain.loc["beyond 2 SD", "n"] < plain.loc["as planned", "n"]


def test_what_cannot_be_computed_is_named_and_not_dropped(study, found):
    lost = found.table[found.table["reason"] != ""]
    assert len(found.computed) + len(lost) == len(found.table)
    mixed = lost.query("model == 'linear mixed' and exclusion == 'as planned'")
    assert (mixed["covariates"] == "age").all()
    assert mixed["reason"].str.contains("takes no covariates").all()
    # In memory nothing was voided by the plan's rule, so that undoing it changes nothing.
    undone = lost.query("exclusion == 'P03 talked'")
    assert undone["reason"].str.contains("plan's own choice again").all()
    assert lost["estimate"].isna().all()


def test_an_exclusion_of_the_plan_is_undone(tmp_path):
    study = made(
        {"exclusions": [{"rule": "P03 talked", "undo": True}]},
        exclusions=[
            {"rule": "P03 talked", "participants": ["P03"], "phases": ["retention"], "reason": "r"}
        ],
    )
    table = study.trials.table.copy()
    gone = (table["participant"] == "P03") & (table["phase"] == "retention")
    table["void"] = pd.Series(pd.NA, table.index, dtype="str").mask(gone, "r")
    voided = replace(study, trials=replace(study.trials, table=table))
    rows = ml.multiverse(voided).table
    assert rows["n"].tolist() == [23, 24]
    again = ml.multiverse(made({"effects": ["ratio"]})).table.iloc[0]
    assert rows["estimate"].iloc[1] == pytest.approx(again["estimate"])


def test_agreement_counts_sign_and_verdict(found):
    done, first = found.computed, found.table.iloc[0]
    assert found.same_sign == (done["direction"] == first["direction"]).sum()
    assert found.same_verdict == (done["verdict"] == first["verdict"]).sum()
    assert ((done["p"] < 0.05) == (done["verdict"] != 0)).all()
    by_choice = found.choices.query("respect == 'model'")
    assert by_choice["computed"].sum() == len(done)
    assert by_choice["not_computed"].sum() == len(found.table) - len(done)


def test_better_is_told_by_the_outcome_s_own_direction():
    table = studies.trials(24, studies.PARTS, seed=9, effect=-0.3)
    content = studies.plan(
        [studies.ERROR, {"name": "score", "better": "higher"}], multiverse={"outcomes": ["score"]}
    )
    study = studies.study(content, table.assign(score=-table["radial_error"]))
    rows = ml.multiverse(study).table
    assert rows["estimate"].iloc[0] == pytest.approx(-rows["estimate"].iloc[1])
    assert rows["direction"].nunique() == 1


def test_analysis_report_and_page_tell_the_same(study):
    analysis = ml.analyse_study(made({"models": ["unadjusted"], "effects": ["ratio"]}))
    told = multiverse_line(view_of(analysis, decimal="."))
    page = str(ml.report.supervisor_page(analysis))
    assert "Of 4 combinations of declared choices, all were computed" in told
    assert " ".join(told.split()[:6]) in " ".join(page.split())
    assert len(page.splitlines()) <= 40 and max(map(len, page.splitlines())) <= 100
    assert analysis.multiverse.table.equals(ml.multiverse(analysis.study).table)
    assert '"multiverse"' in analysis.to_json()


@pytest.mark.parametrize("size", ["column", "page"])
def test_the_figure_is_legible_and_has_words(found, size):
    drawing = multiverse_plot(found, size=size)
    assert not text_overlaps(drawing.figure) and not texts_cut(drawing.figure)
    assert "it is no test" in drawing.caption and "have the sign" in drawing.alt
    assert "Hedges g" in drawing.axes[0].get_ylabel()


def test_one_scale_is_drawn_in_its_unit():
    found = ml.multiverse(made({"models": ["unadjusted"]}))
    drawing = multiverse_plot(found, label="radial error (cm)")
    assert "(cm)" in drawing.axes[0].get_ylabel() and found.unit == "cm"


@pytest.mark.parametrize(
    ("section", "words"),
    [
        ({}, "declares no alternative"),
        ({"models": []}, "declares no alternative"),
        ({"models": ["ancova"]}, "nothing but the plan's own"),
        ({"models": ["anova"]}, "multiverse.models"),
        ({"outcomes": ["hits"]}, "which the plan lacks"),
        ({"effects": ["ratio", "ratio"]}, "twice"),
        ({"exclusions": [{"rule": "x"}]}, "says one thing"),
        ({"exclusions": [{"rule": "x", "above": 3.0}]}, "needs a column"),
        ({"exclusions": [{"rule": "x", "undo": True}]}, "no exclusion that the plan applies"),
        ({"exclusions": [{"rule": "x", "phases": ["week 9"]}]}, "week 9"),
        ({"covariates": [[f"c{i}"] for i in range(5001)]}, "5,000 are the most"),
        ({"alternatives": ["x"]}, "alternatives"),
    ],
)
def test_a_plan_says_what_is_wrong_with_its_alternatives(section, words):
    with pytest.raises(DesignError, match=words):
        design_from_mapping(studies.plan([studies.ERROR, TIMES], multiverse=section))


def test_alternatives_need_a_primary_comparison_between_groups():
    with pytest.raises(DesignError, match="primary"):
        design_from_mapping(
            studies.plan([studies.ERROR], multiverse={"effects": ["ratio"]}, primary=None)
        )
    with pytest.raises(InputError, match="declares no alternatives"):
        ml.multiverse(studies.hits_of_trials())
    one = studies.hits_one_group()
    content = one.design.model_dump(exclude_unset=True, by_alias=True)
    content["multiverse"] = {"models": ["ancova"]}
    refused = replace(one, design=design_from_mapping(content))
    with pytest.raises(InputError, match="one group"):
        ml.multiverse(refused)


def test_a_covariate_in_no_file_is_named():
    rows = ml.multiverse(made({"covariates": [["height"]]})).table
    assert rows["reason"].iloc[1] == "covariate 'height' is in no file"


@pytest.mark.slow
def test_five_hundred_combinations_take_ten_seconds_at_most():
    rules = [{"rule": f"beyond {k / 10:g}", "beyond_sd": k / 10} for k in range(15, 30)] + [
        {"rule": f"above {k}", "column": "radial_error", "above": float(k)} for k in range(40, 50)
    ]
    study = made(
        {
            "outcomes": ["time"],
            "effects": ["ratio"],
            "covariates": [["age"]],
            "models": ["ancova by group", "change score"],
            "exclusions": rules,
        },
        people=48,
    )
    start = time.process_time()
    found = ml.multiverse(study)
    assert len(found.table) >= 500 and time.process_time() - start <= 10
