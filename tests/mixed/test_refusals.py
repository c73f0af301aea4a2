"""What cannot be fitted is refused with a remedy; what can be fitted but doubted is named."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.exceptions import FitError, InputError

ONE = {"participant": "1"}
NODES = "quadrature is not a number of nodes from 1 to 101"


def binomial(formula, table, random=None, **options):
    options = {"attempts": "throws"} | options
    return ml.fit_mixed(formula, table, random=random or ONE, family="binomial", **options)


def test_constant_outcome(small_study):
    with pytest.raises(FitError, match="0 in every row"):
        binomial("hits ~ phase", small_study.assign(hits=0))
    with pytest.raises(FitError, match="7 in every row"):
        ml.fit_mixed("hits ~ phase", small_study.assign(hits=7), random=ONE)


@pytest.mark.parametrize("family", ["gaussian", "binomial"])
def test_outcome_constant_in_a_group(small_study, family):
    table = small_study.copy()
    table.loc[table["group"] == "random", "hits"] = 12
    attempts = {"attempts": "throws"} if family == "binomial" else {}
    with pytest.raises(FitError, match=r"group: random.*leave this level out"):
        ml.fit_mixed("hits ~ group + phase", table, random=ONE, family=family, **attempts)


def test_one_observation_per_participant(small_study):
    table = small_study[small_study["phase"] == "pretest"]
    with pytest.raises(FitError, match="one observation per level"):
        ml.fit_mixed("radial_error ~ group", table, random=ONE)
    single = table.assign(hit=(table["hits"] > 4).astype(int))
    with pytest.raises(FitError, match="one observation per level"):
        binomial("hit ~ group", single, attempts=None)
    assert binomial("hits ~ group", table).converged  # 12 attempts each: overdispersion shows


def test_more_random_effects_than_data(small_study):
    with pytest.raises(FitError, match="72 effects"):
        ml.fit_mixed("radial_error ~ phase", small_study, random={"participant": "1 + phase"})


def test_rank_deficient_fixed_part_names_the_columns(small_study):
    table = small_study.assign(code=(small_study["group"] == "random") * 2.0)
    with pytest.raises(FitError, match="code"):
        ml.fit_mixed("radial_error ~ group + code", table, random=ONE)


@pytest.mark.parametrize("group", ["blocked", "random"])
def test_a_combination_of_levels_without_a_row_is_named(small_study, group):
    hole = small_study[(small_study["group"] != group) | (small_study["phase"] != "retention")]
    named = f"no row has group: {group} × phase: retention, so group × phase cannot be estimated; "
    with pytest.raises(FitError, match=named + "leave out the rows of one of these levels"):
        ml.fit_mixed("radial_error ~ group * phase", hole, random=ONE)
    more = pd.concat([hole] * 3, ignore_index=True)
    with pytest.raises(FitError, match=named):
        ml.fit_variability("radial_error ~ phase", more, random=ONE, spread="group * phase")


def test_levels_that_only_follow_from_others_have_rows(small_study):
    same = small_study.assign(code=np.where(small_study["group"] == "random", "r", "b"))
    with pytest.raises(FitError, match="no row has group: blocked × code: r; group: random"):
        ml.fit_mixed("radial_error ~ group * code", same, random=ONE)
    with pytest.raises(FitError, match="they say again what other terms say"):
        ml.fit_mixed("radial_error ~ group + code", same, random=ONE)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"hits": 13}, "13 of 12"),
        ({"hits": -1}, "-1 of 12"),
        ({"hits": 3.5}, "whole numbers"),
        ({"throws": 0}, "above zero"),
    ],
)
def test_probabilities_outside_zero_to_one(small_study, change, words):
    with pytest.raises(InputError, match=words):
        binomial("hits ~ phase", small_study.assign(**change))


def test_binomial_rows_that_are_not_zero_or_one(small_study):
    with pytest.raises(InputError, match="outside 0 to 1"):
        binomial("hits ~ phase", small_study, attempts=None)
    shares = small_study.assign(share=small_study["hits"] / 12)
    with pytest.raises(InputError, match="other than 0 and 1"):
        binomial("share ~ phase", shares, attempts=None)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"family": "weibull"}, "the family is not known.*'weibull'.*use one of"),
        ({"df": "containment"}, "the method for df is not known.*'containment'.*use one of"),
        ({"link": "logit"}, "gaussian model has no such link.*'logit'"),
        ({"attempts": "throws"}, "attempts"),
        ({"df": "kenward-roger", "reml": False}, "adjusts restricted maximum likelihood"),
        ({"quadrature": 5}, "a linear model needs no quadrature"),
        ({"family": "binomial", "link": "identity", "attempts": "throws"}, "no such link"),
        ({"family": "binomial", "quadrature": 0, "attempts": "throws"}, NODES),
        ({"family": "binomial", "quadrature": True, "attempts": "throws"}, NODES),
    ],
)
def test_options_that_do_not_exist(small_study, options, words):
    with pytest.raises(InputError, match=words):
        ml.fit_mixed("hits ~ phase", small_study, random=ONE, **options)


def test_quadrature_with_crossed_factors(small_study):
    with pytest.raises(InputError, match="single grouping factor"):
        binomial("hits ~ 1", small_study, random={"participant": "1", "phase": "1"}, quadrature=5)


def test_quadrature_on_a_grid_that_is_too_large(ring_push):
    with pytest.raises(InputError, match="10201"):
        ml.fit_mixed(
            "hits ~ time",
            ring_push,
            random={"participant": "1 + time"},
            family="binomial",
            attempts="attempts",
            quadrature=101,
        )


def test_single_level(small_study):
    with pytest.raises(FitError, match="single level"):
        ml.fit_mixed("hits ~ phase", small_study.assign(club="north"), random={"club": "1"})


def test_text_outcome_and_logarithm_of_zero(small_study):
    with pytest.raises(InputError, match="not numeric"):
        ml.fit_mixed("group ~ phase", small_study, random=ONE)
    with pytest.raises(InputError, match="finite"):
        ml.fit_mixed("log(hits) ~ phase", small_study.assign(hits=0), random=ONE)


def test_no_complete_row(small_study):
    with pytest.raises(InputError, match="no row"):
        ml.fit_mixed("hits ~ phase", small_study.assign(hits=np.nan), random=ONE)


def test_incomplete_rows_are_listed_not_lost(small_study):
    table = small_study.astype({"radial_error": float})
    table.loc[[0, 1, 5], "radial_error"] = np.nan
    fit = ml.fit_mixed("radial_error ~ phase", table, random=ONE)
    left_out = fit.recipe.left_out
    assert fit.n == 69 == fit.recipe.n
    assert list(left_out.columns) == ["participant", "group", "reason", "rows"]
    assert left_out["rows"].tolist() == [2, 1]
    assert left_out["participant"].tolist() == ["p00", "p01"]
    assert left_out["reason"].str.contains("radial_error").all()


def test_singular_fit_is_named(small_study):
    rng = np.random.default_rng(3)
    flat = small_study.assign(radial_error=rng.normal(size=72))
    centred = flat["radial_error"] - flat.groupby("participant")["radial_error"].transform("mean")
    fit = ml.fit_mixed("radial_error ~ phase", flat.assign(radial_error=centred), random=ONE)
    assert fit.singular and fit.converged
    assert "Singular fit: the variance of the level by participant is" in fit.warnings[0]
    assert fit.recipe.at_bound == ("variance of Intercept by participant",)
    assert fit.variances["variance"][0] < 1e-6 * fit.residual_sd**2
    assert np.isfinite(fit.estimates["std_error"]).all()


def test_perfect_correlation_is_named(sleepstudy):
    rng = np.random.default_rng(5)
    level = dict(zip(sleepstudy["Subject"].unique(), rng.normal(0, 30, 18), strict=True))
    shift = sleepstudy["Subject"].map(level)
    y = 250 + 10 * sleepstudy["Days"] + shift * (1 + 0.2 * sleepstudy["Days"])
    table = sleepstudy.assign(Reaction=y + rng.normal(0, 12, 180))
    fit = ml.fit_mixed("Reaction ~ Days", table, random={"Subject": "1 + Days"})
    said = "random effects of Subject (the level and Days) are perfectly correlated"
    assert any(said in warning for warning in fit.warnings)


def test_separation_is_named_and_not_fatal(small_study):
    table = small_study.copy()
    table.loc[table["phase"] == "retention", "hits"] = 12
    fit = binomial("hits ~ phase", table)
    assert any("Separation" in w and "phase: retention" in w for w in fit.warnings)
    row = fit.estimates.set_index("term").loc["phase[T.retention]"]
    assert row[["std_error", "p", "conf_low", "conf_high"]].isna().all()
    assert not fit.converged
    found = ml.contrasts(fit, "phase").set_index("contrast")
    assert np.isnan(found.loc["retention - pretest", "p"])
    assert found.loc["pretest - posttest", "p"] < 1


def test_extreme_scores_do_not_break_the_search(small_study):
    table = small_study.copy()
    table.loc[table["participant"].isin(["p00", "p02"]), "hits"] = 0
    table.loc[table["participant"].isin(["p01", "p03"]), "hits"] = 12
    fit = binomial("hits ~ group * phase", table)
    assert fit.converged and not any("Separation" in w for w in fit.warnings)


def test_two_groups_of_two():
    table = pd.DataFrame(
        {
            "participant": np.repeat(list("abcd"), 2),
            "group": np.repeat(["blocked", "random"], 4),
            "phase": ["pretest", "retention"] * 4,
            "score": [3.0, 4.0, 5.0, 5.5, 2.0, 4.0, 6.0, 7.5],
        }
    )
    for method in ("satterthwaite", "kenward-roger"):
        fit = ml.fit_mixed("score ~ group * phase", table, random=ONE, df=method)
        assert np.allclose(fit.estimates["df"][3], 2)  # four people, two means per group


def test_kenward_roger_refuses_too_many_effects(monkeypatch, ring_push):
    monkeypatch.setattr("motorlearn.mixed.inference.kenward_roger.MOST_EFFECTS", 10)
    with pytest.raises(ml.exceptions.RefusedError, match="satterthwaite"):
        ml.fit_mixed(
            "radial_error ~ time",
            ring_push,
            random={"participant": "1", "lane": "1"},
            df="kenward-roger",
        )


def test_a_table_with_a_repeated_index_is_read_by_position(small_study):
    table = pd.concat([small_study.head(36), small_study.tail(36).set_index(np.arange(36))])
    table["radial_error"] = table["radial_error"].where(np.arange(72) != 40)
    fit = ml.fit_mixed("radial_error ~ group * phase", table, random=ONE)
    assert fit.n == 71 and fit.recipe.left_out["rows"].tolist() == [1]
    assert np.allclose(fit.predict(table.drop(columns="radial_error")).iloc[:36], fit.fitted()[:36])


@pytest.mark.parametrize(("family", "outcome"), [("gaussian", "score"), ("binomial", "hit")])
def test_one_person_in_each_group_leaves_no_variance_between_people(family, outcome):
    rng = np.random.default_rng(3)
    table = pd.DataFrame(
        {
            "participant": np.repeat(["P01", "P02"], 20),
            "group": np.repeat(["blocked", "random"], 20),
            "score": rng.normal(25, 5, 40),
            "hit": np.tile([0, 1], 20),
        }
    )
    with pytest.raises(FitError, match="tells all 2 levels of 'participant' apart"):
        ml.fit_mixed(f"{outcome} ~ group", table, random={"participant": "1"}, family=family)


def test_few_people_that_the_groups_do_not_tell_apart_are_fitted():
    rng = np.random.default_rng(3)
    person = np.repeat(np.arange(4), 10)
    table = pd.DataFrame(
        {
            "participant": person.astype(str),
            "group": np.where(person < 2, "blocked", "random"),
            "score": rng.normal(25, 5, 40) + 4 * rng.normal(size=4)[person],
        }
    )
    assert ml.fit_mixed("score ~ group", table, random={"participant": "1"}).converged


@pytest.mark.parametrize("level", [95, 0, 1, -0.5, True])
def test_a_level_is_a_share(small_study, level):
    fit = ml.fit_mixed("radial_error ~ phase", small_study, random=ONE)
    calls = (
        lambda: ml.marginal_means(fit, "phase", level=level),
        lambda: ml.contrasts(fit, "phase", level=level),
        lambda: ml.mixed.profile_intervals(fit, level=level),
        lambda: ml.mixed.bootstrap_intervals(fit, simulations=20, seed=1, level=level),
        lambda: ml.linear.welch([1.0, 2, 4], [2.0, 5, 6], level=level),
        lambda: ml.linear.one_sample([1.0, 2, 4], level=level),
    )
    for call in calls:
        with pytest.raises(InputError, match="confidence level"):
            call()


def test_a_bound_without_end_is_no_bound(small_study):
    with pytest.raises(InputError, match="finite"):
        ml.linear.equivalence_test(0.2, 0.3, 40, bound=np.inf)
    with pytest.raises(InputError, match="finite"):
        ml.compare_phases(small_study, "radial_error", group="group", equivalence=np.inf)


def weighted(table, random="1", **options):
    options = {"reml": False} | options
    return ml.fit_mixed("radial_error ~ phase", table, random={"participant": random}, **options)


@pytest.mark.parametrize(
    ("one", "other", "words"),
    [
        ({"random": ["1", "early"]}, {"random": "1 + late"}, "not inside"),
        ({"weights": "throws"}, {"random": ["1", "late"]}, "different weights"),
        ({"offset": "hits"}, {"random": ["1", "late"]}, "different offsets|same rows"),
    ],
)
def test_only_nested_models_of_one_outcome_are_compared(small_study, one, other, words):
    rng = np.random.default_rng(2)
    rows = pd.concat([small_study] * 3, ignore_index=True)
    table = rows.assign(
        early=rng.normal(size=216),
        late=rng.normal(size=216),
        throws=rng.integers(5, 15, 216),
        radial_error=rows["radial_error"] + rng.normal(0, 3, 216),
    )
    with pytest.raises(InputError, match=words):
        ml.mixed.likelihood_ratio(weighted(table, **one), weighted(table, **other))
    fine = ml.mixed.likelihood_ratio(weighted(table), weighted(table, random=["1", "late"]))
    assert fine.df == 1
