import numpy as np
import pandas as pd
import pingouin as pg
import pytest
import statsmodels.formula.api as smf
from scipy import stats

import motorlearn as ml
from motorlearn.compare import PhaseComparison
from motorlearn.compare.options import checked_out_of
from motorlearn.exceptions import ColumnError, InputError, RefusedError


def compare(table, outcome="radial_error", **options):
    return ml.compare_phases(
        table, outcome, **({"group": "group", "baseline": "pretest"} | options)
    )


def at(result, phase, group, *, adjusted):
    rows = result.contrasts
    chosen = (rows["phase"] == phase) & (rows["group"] == group) & (rows["adjusted"] == adjusted)
    return rows[chosen].iloc[0]


@pytest.fixture
def means(study):
    return study.groupby(["participant", "group", "phase"])["radial_error"].mean().unstack("phase")


def test_scores_are_the_means_of_participants(study, means):
    scores = compare(study).scores
    assert len(scores) == means.size
    for row in scores.itertuples():
        assert row.score == pytest.approx(means.loc[(row.participant, row.group), row.phase])
        assert row.n_trials == 10


def test_unadjusted_contrasts_agree_with_independent_software(study, means):
    row = at(compare(study), "retention", "random", adjusted=False)
    a, b = (means.xs(name, level="group")["retention"] for name in ("random", "blocked"))
    expected = stats.ttest_ind(a, b, equal_var=False)
    assert (row["statistic"], row["p"], row["df"]) == pytest.approx(
        (expected.statistic, expected.pvalue, expected.df)
    )
    interval = expected.confidence_interval()
    assert (row["conf_low"], row["conf_high"]) == pytest.approx((interval.low, interval.high))
    assert row["g"] == pytest.approx(pg.compute_effsize(a, b, eftype="hedges"), rel=2e-3)
    assert (row["n_group"], row["n_reference"]) == (9, 7)


@pytest.mark.parametrize("effect", ["difference", "ratio"])
def test_adjusted_contrasts_agree_with_independent_software(study, means, effect):
    row = at(compare(study, effect=effect), "transfer", "random", adjusted=True)
    frame = means.reset_index()
    if effect == "ratio":
        frame[["pretest", "transfer"]] = np.log(frame[["pretest", "transfer"]])
    other = smf.ols("transfer ~ C(group, Treatment('blocked')) + pretest", frame).fit()
    name = "C(group, Treatment('blocked'))[T.random]"
    shown = np.exp if effect == "ratio" else np.asarray
    assert row["estimate"] == pytest.approx(shown(other.params[name]))
    assert row["std_error"] == pytest.approx(other.bse[name])
    assert row["p"] == pytest.approx(other.pvalues[name])
    assert [row["conf_low"], row["conf_high"]] == pytest.approx(shown(other.conf_int().loc[name]))
    assert row["effect"] == effect


def test_adjusted_means_and_omnibus_belong_to_the_contrasts(study):
    result = compare(study)
    means = result.adjusted_means.set_index(["phase", "group"])["estimate"]
    row = at(result, "retention", "serial", adjusted=True)
    assert means["retention", "serial"] - means["retention", "blocked"] == pytest.approx(
        row["estimate"]
    )
    adjusted = "analysis of covariance of participants' scores"
    tests = result.omnibus.query("phase == 'retention'")[["term", "method"]]
    assert tests.to_numpy().tolist() == [
        ["group", "Welch's one-way analysis"],
        ["group", adjusted],
        ["pretest", adjusted],
        ["group:pretest", f"{adjusted}, test of parallel slopes"],
    ]


def test_anova_is_that_of_independent_software():
    table = pg.read_dataset("mixed_anova_unbalanced")
    result = ml.compare_phases(
        table, "Scores", group="Group", phase="Time", participant="Subject", baseline=None
    )
    rows = result.anova.set_index("term")
    assert rows.loc["phase", "statistic"] == pytest.approx(1.5391377573, rel=1e-9)
    assert rows.loc["group:phase", "p_gg"] == pytest.approx(0.50308029403, rel=1e-9)
    assert rows.loc["phase", "generalised_eta2"] == pytest.approx(0.0512763872074304, rel=1e-9)
    whole = result.interaction.iloc[0]
    assert whole["term"] == "group:phase"
    assert whole["p"] == rows.loc["group:phase", "p_gg"]


def test_the_analysis_of_variance_leaves_out_phases_that_are_not_named(study):
    tests = ["pretest", "retention"]
    people = study.drop_duplicates("participant").groupby("group")["participant"]
    fewest = people.size().min()  # pingouin is right where groups are of one size
    study = study[study["participant"].isin(people.head(fewest))]
    whole, found = compare(study), compare(study, anova_phases=tests)
    assert whole.anova.set_index("term").loc["phase", "df1"] > 1
    assert found.anova.set_index("term").loc["phase", "df1"] == 1
    scores = study[study["phase"].isin(tests)]
    theirs = pg.mixed_anova(
        scores.groupby(["participant", "group", "phase"], as_index=False)["radial_error"].mean(),
        "radial_error", within="phase", subject="participant", between="group",
    ).set_index("Source")["F"]  # fmt: skip
    own = found.anova.set_index("term")["statistic"]
    assert own["group"] == pytest.approx(theirs["group"])
    assert own["phase"] == pytest.approx(theirs["phase"])
    assert own["group:phase"] == pytest.approx(theirs["Interaction"])
    assert [tuple(row) for row in found.posthoc[["from_phase", "to_phase"]].to_numpy()] == [
        ("pretest", "retention")
    ]
    pd.testing.assert_frame_equal(found.contrasts, whole.contrasts)
    with pytest.raises(InputError, match="sideways"):
        compare(study, anova_phases=["pretest", "sideways"])


def test_interaction_of_two_groups_and_two_phases_is_the_t_of_the_changes(study, means):
    two = study[study["group"] != "serial"]
    result = compare(two, phases=["pretest", "retention"])
    change = (means["retention"] - means["pretest"]).groupby("group")
    a, b = change.get_group("random"), change.get_group("blocked")
    row = result.interaction.query("term == 'group:change'").iloc[0]
    assert row["estimate"] == pytest.approx(a.mean() - b.mean())
    assert row["p"] == pytest.approx(stats.ttest_ind(a, b, equal_var=False).pvalue)
    pooled = stats.ttest_ind(a, b).statistic ** 2
    f = result.anova.set_index("term").loc["group:phase", "statistic"]
    assert f == pytest.approx(pooled)


def test_reversal_between_practice_and_delayed_test_is_tested(study):
    pairs = compare(study).interaction[["from_phase", "to_phase"]].dropna()
    assert ("acquisition", "retention") in set(pairs.itertuples(index=False, name=None))


def test_paired_change_agrees_with_independent_software(study, means):
    row = (
        compare(study)
        .paired.query("group == 'serial' and from_phase == 'posttest' and to_phase == 'retention'")
        .iloc[0]
    )
    mine = means.xs("serial", level="group")
    expected = stats.ttest_rel(mine["retention"], mine["posttest"])
    assert (row["statistic"], row["p"]) == pytest.approx((expected.statistic, expected.pvalue))


def test_aggregated_rows_and_trials_give_the_same_hits(study):
    counts = study.groupby(["participant", "group", "phase"], as_index=False).agg(
        hits=("hit", "sum"), attempts=("hit", "size")
    )
    trials = compare(study, "hit")
    aggregated = compare(counts, "hits", attempts="attempts")
    pd.testing.assert_frame_equal(
        trials.contrasts.select_dtypes("number"), aggregated.contrasts.select_dtypes("number")
    )


def test_row_order_and_names_do_not_matter(study):
    one = compare(study)
    other = compare(
        study.sample(frac=1, random_state=3).rename(columns={"participant": "id", "phase": "time"}),
        participant="id",
        phase="time",
    )
    pd.testing.assert_frame_equal(one.contrasts, other.contrasts)


def test_shift_and_scale(study):
    one, other = compare(study), compare(study.assign(radial_error=study["radial_error"] * 10 + 3))
    numbers = ["estimate", "std_error", "conf_low", "conf_high"]
    np.testing.assert_allclose(other.contrasts[numbers], 10 * one.contrasts[numbers], rtol=1e-7)
    same = ["p", "g", "g_low", "g_high"]
    np.testing.assert_allclose(other.contrasts[same], one.contrasts[same], rtol=1e-7)


def test_ratio_does_not_know_the_unit(study):
    one = compare(study, effect="ratio")
    other = compare(study.assign(radial_error=study["radial_error"] * 2.54), effect="ratio")
    np.testing.assert_allclose(other.contrasts["estimate"], one.contrasts["estimate"])


def test_reference_and_all_pairs(study):
    result = compare(study, reference="random")
    assert set(result.contrasts["reference"]) == {"random"}
    every = compare(study, pairs="all").contrasts.query("phase == 'retention' and adjusted")
    assert len(every) == 3


def test_groups_keep_the_order_that_is_asked_for(study):
    result = compare(study, groups=["serial", "random"])
    assert result.recipe.options["groups"] == ("serial", "random")
    assert set(result.contrasts["group"]) == {"random"}
    ordered = pd.Categorical(study["group"], ["random", "blocked", "serial", "unused"])
    assert compare(study.assign(group=ordered)).recipe.options["groups"][0] == "random"


def test_holm_is_applied_within_the_declared_family(study):
    by_phase = compare(study).contrasts.query("phase == 'retention' and adjusted")
    assert by_phase["p_adjusted"].tolist() == pytest.approx(
        ml.linear.holm(by_phase["p"].to_numpy()).tolist()
    )
    declared = compare(study, family=["retention", "transfer"]).contrasts.query("adjusted")
    inside = declared[declared["phase"].isin(["retention", "transfer"])]
    assert inside["p_adjusted"].tolist() == pytest.approx(
        ml.linear.holm(inside["p"].to_numpy()).tolist()
    )
    assert declared[~declared["phase"].isin(["retention", "transfer"])]["p_adjusted"].isna().all()
    assert compare(study, adjust="none").contrasts["p_adjusted"].isna().all()


def test_equivalence_is_judged_against_the_declared_bound(study):
    result = compare(study, equivalence=50.0)
    assert result.equivalence["equivalent"].all()
    row = at(result, "retention", "random", adjusted=True)
    found = ml.linear.equivalence_test(row["estimate"], row["std_error"], row["df"], bound=2.0)
    other = (
        compare(study, equivalence=2.0)
        .equivalence.query("phase == 'retention' and group == 'random' and adjusted")
        .iloc[0]
    )
    assert other["p"] == pytest.approx(found.p)
    ratio = compare(study, effect="ratio", equivalence=1.25).equivalence.iloc[0]
    assert (ratio["bound_low"], ratio["bound_high"]) == pytest.approx((0.8, 1.25))
    turned = compare(study, effect="ratio", equivalence=0.8).equivalence.iloc[0]
    assert turned["p"] == pytest.approx(ratio["p"])


def test_standardised_bound_is_in_deviations_of_participants(study, means):
    found = compare(study, equivalence=0.5, equivalence_unit="sd").equivalence
    row = found.query("phase == 'retention' and group == 'random' and adjusted").iloc[0]
    within = means["retention"].groupby("group").transform(lambda v: v - v.mean())
    sd = np.sqrt((within**2).sum() / (len(within) - 3))
    assert row["bound_high"] == pytest.approx(0.5 * sd)
    ratio = compare(study, equivalence=1.0, equivalence_unit="sd", effect="ratio").equivalence
    assert (ratio["bound_high"] > 1).all()


def test_one_group_has_paired_change_and_says_what_it_cannot_show(study):
    for table, group in ((study.query("group == 'blocked'"), "group"), (study, None)):
        result = compare(table, group=group)
        assert result.contrasts.empty and result.adjusted_means.empty and result.omnibus.empty
        assert result.anova["term"].tolist() == ["phase"]
        assert len(result.paired) > 0
        assert "regression to the mean" in result.statements[0]
        assert "Change within each group" in str(result)


def test_losses_are_named_and_complete_cases_analysed(study):
    gone = (study["participant"] == "P003") & (study["phase"] == "transfer")
    gone |= (study["participant"] == "P008") & (study["phase"] != "pretest")
    result = compare(study[~gone])
    lost = result.recipe.left_out
    assert set(lost["participant"]) == {"P003", "P008"}
    assert (lost["participant"] == "P008").sum() == 4
    assert result.anova["df2"].iloc[0] == 21 - 2 - 3
    assert at(result, "retention", "serial", adjusted=True)["n_group"] == 4
    assert any("P003 (blocked), P008 (serial)" in sentence for sentence in result.statements)


def test_who_has_no_baseline_is_in_the_unadjusted_comparison_only(study):
    table = study[~((study["participant"] == "P020") & (study["phase"] == "pretest"))]
    result = compare(table)
    assert at(result, "retention", "random", adjusted=False)["n_group"] == 9
    adjusted = at(result, "retention", "random", adjusted=True)
    without = compare(study[study["participant"] != "P020"])
    expected = at(without, "retention", "random", adjusted=True)
    assert adjusted["n_group"] == 8
    assert adjusted["estimate"] == pytest.approx(expected["estimate"])


def test_void_trials_are_left_out_and_counted(study):
    study["void"] = ""
    study.loc[[0, 1], "void"] = ["slipped", "slipped"]
    study.loc[2, "radial_error"] = np.nan
    result = compare(study)
    lost = result.recipe.left_out
    assert lost[["participant", "group", "reason", "rows"]].values.tolist() == [
        ["P000", "blocked", "no value in 'radial_error'", 1],
        ["P000", "blocked", "void: slipped", 2],
    ]
    first = result.scores.iloc[0]
    assert first["score"] == pytest.approx(study.loc[3:9, "radial_error"].mean())
    assert result.recipe.n == len(study) - 3


def test_a_phase_without_scores_of_a_group_is_a_visible_row(study):
    table = study[~((study["group"] == "serial") & (study["phase"] == "transfer"))]
    result = compare(table)
    for adjusted in (False, True):
        row = at(result, "transfer", "serial", adjusted=adjusted)
        assert row["method"].startswith("not computed") and np.isnan(row["p"])
        assert row["n_group"] == 0
        assert np.isfinite(at(result, "transfer", "random", adjusted=adjusted)["p"])
    assert result.anova["method"].str.contains("no complete case in serial").all()


def test_a_phase_in_which_everybody_hits_is_a_visible_row(study):
    study.loc[study["phase"] == "retention", "hit"] = 1
    result = compare(study, "hit")
    rows = result.contrasts.query("phase == 'retention'")
    assert rows["method"].str.startswith("not computed").all() and rows["p"].isna().all()
    mean = result.means.query("phase == 'retention'")
    assert mean["mean"].eq(1).all() and mean["conf_low"].eq(1).all()


@pytest.mark.parametrize("people", [2, 3, 4])
def test_very_few_people_are_refused_row_by_row(study, people):
    names = study.drop_duplicates("participant").groupby("group").head(1)["participant"]
    result = compare(study[study["participant"].isin(names.iloc[:people])])
    assert result.contrasts["method"].str.startswith("not computed").all()
    assert any("very small" in sentence for sentence in result.statements)


def test_trials_as_the_unit_are_refused_with_the_inflation(study):
    with pytest.raises(RefusedError, match=r"people, not trials.*understated.*compare_phases"):
        compare(study, unit="trial")


def test_ratio_of_scores_that_are_not_positive_is_refused(study):
    study.loc[study["participant"] == "P002", "hit"] = 0
    with pytest.raises(RefusedError, match="P002 at acquisition"):
        compare(study, "hit", effect="ratio")


def test_direction_comes_from_the_outcome_unless_it_is_given(study):
    assert compare(study).recipe.options["better"] == "lower"
    assert compare(study, "hit").recipe.options["better"] == "higher"
    assert compare(study, better="higher").recipe.options["better"] == "higher"


def test_statements_follow_the_design(study):
    said = " ".join(compare(study).statements)
    assert "performance under the conditions of practice" in said
    no_delay = compare(study, phases=["pretest", "acquisition", "posttest"]).statements
    assert any("without practice" in sentence for sentence in no_delay)
    no_start = compare(study, baseline=None, phases=["retention"]).statements
    assert any("no test before practice" in sentence for sentence in no_start)
    for sentence in [*compare(study).statements, *no_delay, *no_start]:
        assert "learn" not in sentence


def test_scores_from_few_trials_are_called_weak_unless_rows_are_aggregated(study, means):
    few = study[study["trial"] <= 4]
    assert any("fewer than 10 trials" in sentence for sentence in compare(few).statements)
    for table in (study, means.stack().rename("radial_error").reset_index()):
        assert not any("fewer than" in sentence for sentence in compare(table).statements)


def test_result_survives_json(study):
    result = compare(study, equivalence=1.2, effect="ratio")
    again = PhaseComparison.from_json(result.to_json())
    assert str(again) == str(result)
    assert again.statements == result.statements
    assert "<table" in result._repr_html_()


def test_groups_and_phases_may_be_numbers(study):
    table = study.assign(
        group=study["group"].map({"blocked": 1, "serial": 2, "random": 3}),
        phase=study["phase"].map(
            {"pretest": 1, "acquisition": 2, "posttest": 3, "retention": 4, "transfer": 5}
        ),
    )
    result = compare(table, baseline=1)
    assert result.contrasts["reference"].unique().tolist() == [1]
    assert result.interaction["group"].dropna().unique().tolist() == [2, 3]


@pytest.mark.parametrize(
    ("change", "options", "error", "match"),
    [
        (lambda t: t.drop(columns="participant"), {}, ColumnError, "participant"),
        (lambda t: t.iloc[:0], {}, InputError, "no rows"),
        (lambda t: t, {"baseline": "progress"}, InputError, "baseline"),
        (lambda t: t, {"reference": "variable"}, InputError, "reference"),
        (lambda t: t, {"phases": ["pretest", "progress"]}, InputError, "progress"),
        (lambda t: t, {"family": ["progress"]}, InputError, "family"),
        (lambda t: t, {"effect": "odds"}, InputError, "effect"),
        (lambda t: t, {"equivalence_unit": "cm"}, InputError, "equivalence_unit"),
        (lambda t: t, {"level": 95}, InputError, "level"),
        (lambda t: t, {"better": "more"}, InputError, "better"),
        (lambda t: t, {"equivalence": -1.0}, InputError, "bound"),
        (lambda t: t, {"equivalence": 1.0, "effect": "ratio"}, InputError, "bound"),
        (lambda t: t.query("participant == 'P000'"), {}, InputError, "two participants"),
        (lambda t: t.assign(radial_error=1.0), {}, InputError, "is the same"),
        (lambda t: t.assign(radial_error="3,4"), {}, InputError, "text"),
        (lambda t: t.assign(radial_error=np.nan), {}, InputError, "no value"),
        (lambda t: t.assign(radial_error=1e200 * t["x"]), {}, InputError, "too large"),
        (lambda t: t.assign(group=t["group"].where(t.index > 2)), {}, InputError, "empty in 3"),
        (
            lambda t: t.assign(group=np.where(t.index == 0, "random", t["group"])),
            {},
            InputError,
            "two groups.*P000",
        ),
        (lambda t: t.to_dict("list"), {}, InputError, "DataFrame"),
    ],
)
def test_bad_input_is_named(study, change, options, error, match):
    with pytest.raises(error, match=match):
        compare(change(study), **options)


def test_hits_above_attempts_and_unequal_attempts_without_their_column(study):
    counts = study.groupby(["participant", "group", "phase"], as_index=False).agg(
        hits=("hit", "sum"), attempts=("hit", "size")
    )
    with pytest.raises(InputError, match="12 of 10"):
        compare(counts.assign(hits=12), "hits", attempts="attempts")
    counts.loc[0, "attempts"] = 20
    with pytest.raises(InputError, match="attempts='attempts'"):
        compare(counts, "hits")


def test_no_heading_of_a_table_stands_twice(study):
    found = ml.compare_phases(study, "radial_error", group="group", baseline="pretest")
    for table in found.tables():
        assert len(set(table.headings)) == len(table.headings), table.name


def test_trials_numbered_as_people_are_told_from_people(study):
    numbered = study.assign(participant=range(len(study)))
    said = ml.compare_phases(numbered, "radial_error", group="group").statements
    assert said[0].startswith("Nobody has a score in two phases")
    assert not any("two phases" in sentence for sentence in compare(study).statements)
    one = ml.compare_phases(
        numbered[numbered["phase"] == "retention"], "radial_error", group="group"
    )
    assert not any("two phases" in sentence for sentence in one.statements)


@pytest.mark.parametrize(
    ("out_of", "attempts"), [(20, None), (0, "attempts"), (np.inf, "attempts"), (-20, "attempts")]
)
def test_hits_of_a_number_need_that_number_and_attempts(out_of, attempts):
    with pytest.raises(InputError, match="hits of a number above 0, with a column of attempts"):
        checked_out_of(out_of, attempts)
    assert checked_out_of(20, "attempts") == 20 and checked_out_of(None, None) is None


def test_a_category_that_nobody_has_is_no_group(study):
    order = ["random", "blocked", "serial"]
    named = study.assign(group=pd.Categorical(study["group"], categories=["nobody", *order]))
    found = compare(named).contrasts
    assert found["reference"].unique().tolist() == ["random"]
    assert found["group"].unique().tolist() == order[1:]
