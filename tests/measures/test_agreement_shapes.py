"""Every shape of an agreement is printed; nothing is invented, nothing made zero."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.exceptions import InputError, MotorlearnError
from motorlearn.measures.agreement.crossed import crossed_components
from motorlearn.measures.agreement.icc import mean_squares
from motorlearn.measures.agreement.limits import limits_of_agreement, linear_trend
from motorlearn.measures.agreement.patterns import quantile_interval
from motorlearn.measures.agreement.pivots import pivots


def scored(items=30, raters=3, seed=0, decimals=0):
    rng = np.random.default_rng(seed)
    true = rng.normal(5, 1.5, (items, 1))
    scores = true + rng.normal(0, 0.3, raters) + rng.normal(0, 0.7, (items, raters))
    return long(np.round(scores, decimals))


def long(matrix):
    rows, columns = np.nonzero(~pd.isna(np.asarray(matrix, dtype=object)))
    values = [matrix[i][j] for i, j in zip(rows, columns)]
    table = pd.DataFrame({"clip": rows, "rater": [f"r{j}" for j in columns], "score": values})
    return table.assign(
        seen=np.arange(len(table)) % 7, time=1, learner=[f"p{clip // 3}" for clip in rows]
    )


def agree(table, kind="continuous", **options):
    return ml.rater_agreement(
        table, item="clip", rater="rater", score="score", kind=kind, **options
    )


def twice(table):
    return pd.concat([table, table.assign(time=2)])


SHAPES = {
    "plain": lambda: agree(scored()),
    "with order": lambda: agree(scored(), order="seen"),
    "order of one clip": lambda: agree(scored().assign(seen=1), order="seen"),
    "rated again": lambda: agree(twice(scored()), occasion="time"),
    "occasion, nobody again": lambda: agree(scored(), occasion="time"),
    "mean of two": lambda: agree(scored(), averaged=2),
    "missing cells": lambda: agree(scored().sample(frac=0.7, random_state=1)),
    "clips of learners": lambda: agree(scored(), cluster="learner"),
    "ordinal": lambda: agree(scored(), "ordinal", order="seen"),
    "ordinal, linear": lambda: agree(scored(raters=2), "ordinal", weights="linear"),
    "ordinal, learners": lambda: agree(scored(), "ordinal", cluster="learner"),
    "nominal": lambda: agree(scored(raters=2).assign(score=lambda t: t["score"] > 5), "nominal"),
    "nominal, again": lambda: agree(
        twice(scored().assign(score=lambda t: t["score"] > 5)), "nominal", occasion="time"
    ),
    "one category": lambda: agree(scored().assign(score="yes"), "nominal"),
    "one grade": lambda: agree(scored().assign(score=1), "ordinal"),
    "one score": lambda: agree(scored().assign(score=1.5), order="seen"),
    "perfect": lambda: agree(long([[i, i] for i in range(10)])),
    "perfect grades": lambda: agree(long([[i % 3, i % 3] for i in range(10)]), "ordinal"),
    "two items": lambda: agree(long([[1, 2], [3, 4]])),
    "unconnected": lambda: agree(long([[1, 2, None, None], [3, 4, None, None],
                                       [None, None, 2, 3], [None, None, 4, 4]])),
}  # fmt: skip


@pytest.mark.parametrize("shape", SHAPES)
def test_every_shape_is_printed_in_text_html_and_json(shape):
    result = SHAPES[shape]()
    text, page = str(result), result._repr_html_()
    assert "Rater agreement" in text and "<table" in page
    again = type(result).from_json(result.to_json())
    assert str(again) == text
    assert result.to_frame()["term"].tolist() == result.estimates["term"].tolist()
    audit = ml.check_assumptions(result)
    assert str(audit)
    assert result.estimates["applies"].sum() == 1


def test_a_rare_category_says_that_the_interval_is_rough():
    six = [[0, 0, 0], [0, 0, 0], [0, 1, 0], [0, 0, 0], [2, 2, 1], [0, 0, 0]]
    said = " ".join(agree(long(six), "ordinal", categories=[0, 1, 2]).advice)
    assert "category 1 has the ratings of 0.7 items" in said and "Do not lean" in said
    even = [[i % 3, (i + (i % 4 == 0)) % 3, i % 3] for i in range(30)]
    assert "lean" not in " ".join(agree(long(even), "ordinal").advice)
    assert "lean" not in " ".join(agree(scored()).advice)


# No p is made up ---------------------------------------------------------------------------------


def test_audit_writes_only_a_p_that_was_computed():
    rng = np.random.default_rng(3)
    result = agree(long(np.round(rng.normal(5, 1, (10, 2)) + rng.normal(0, 0.4, (10, 1)), 1)))
    row = result.estimates.query("applies").iloc[0]
    assert 0.02 < row["p"] < 0.9
    table = ml.check_assumptions(result).table
    shown = " ".join(table["original"] + " " + table["remedied"])
    assert "ICC(A,1)" in shown
    assert "p > .999" not in shown and "p < .001" not in shown
    assert f"p = {row['p']:.3f}".replace("0.", ".") in shown


def test_audit_of_kappa_has_no_p():
    pairs = [["no", "no"]] * 60 + [["no", "yes"]] * 3 + [["yes", "no"]] * 2
    table = ml.check_assumptions(agree(long(pairs), "nominal")).table
    assert not any(" p " in text for text in table["original"] + table["remedied"])
    assert any("AC1" in text for text in table["remedied"])


def test_audit_of_kappa_judges_its_lower_limit():
    """Ten pairs with kappa .8 or so prove nothing; poor agreement asks for action."""
    few = [["no", "no"]] * 5 + [["yes", "yes"]] * 4 + [["no", "yes"]]
    poor = [["no", "no"], ["yes", "yes"], ["no", "yes"], ["yes", "no"]] * 10
    many = [["no", "no"]] * 90 + [["yes", "yes"]] * 90 + [["no", "yes"]] * 3
    grades = {}
    for name, pairs in (("few", few), ("poor", poor), ("many", many)):
        result = agree(long(pairs), "nominal")
        row = ml.check_assumptions(result).table.iloc[0]
        applies = result.estimates.query("applies").iloc[0]
        assert row["value"] == applies["conf_low"] and "lower limit" in row["diagnostic"]
        grades[name] = row["grade"]
    assert grades == {"few": "look", "poor": "act", "many": "fine"}


def test_a_line_without_scatter_has_no_p():
    assert np.isnan(linear_trend([1, 2, 3], [2, 2, 2]).p)
    assert np.isnan(linear_trend([1, 2, 3], [2, 4, 6]).p)


# Intervals ---------------------------------------------------------------------------------------


def test_ten_perfect_items_do_not_prove_perfect_agreement():
    result = agree(long([[i % 2, i % 2] for i in range(10)]), "nominal")
    found = result.estimates.set_index("term").loc["Cohen's kappa"]
    assert found["estimate"] == 1 == found["conf_high"]
    assert found["conf_low"] < 0.75
    said = " ".join(result.advice)
    assert "almost perfect (Landis" not in said and "anything from" in said
    assert "10 items do not tell" in said


@pytest.mark.parametrize("seed", range(6))
def test_an_interval_holds_its_estimate(seed):
    for kind in ("continuous", "ordinal", "nominal"):
        rows = agree(scored(8, seed=seed), kind).estimates.dropna(subset=["conf_low"])
        assert (rows["conf_low"] <= rows["estimate"]).all()
        assert (rows["estimate"] <= rows["conf_high"]).all()


def test_small_samples_say_what_they_cannot_show():
    assert any("wide" in sentence for sentence in agree(scored(8, 2)).advice)
    audit = ml.check_assumptions(agree(scored(6, 3))).table
    assert not audit["finding"].str.contains("intervals are wide").any()


# Missing cells, means of raters ------------------------------------------------------------------


def test_mean_of_raters_with_missing_cells_gets_its_own_icc_and_error():
    table = scored(40, 4).sample(frac=0.6, random_state=2)
    one, three = agree(table), agree(table, averaged=3)
    row = three.estimates.query("applies").iloc[0]
    assert row["term"] == "ICC(A,3)"
    single = one.estimates.set_index("term").loc["ICC(A,1)", "estimate"]
    assert row["estimate"] == pytest.approx(3 * single / (1 + 2 * single))
    told = [
        {t.name: t for t in found.tables()}["measurement_error"].title for found in (one, three)
    ]
    assert told == [
        "Measurement error of one rater's score",
        "Measurement error of the mean of 3 raters",
    ]
    ratio = one.measurement_error["sem"] / three.measurement_error["sem"]
    assert ratio.tolist() == pytest.approx([3**0.5] * 2)
    assert "3 raters" in str(three)


def test_variances_of_a_table_with_gaps_are_those_of_the_mixed_engine():
    table = scored(30, 3, decimals=2).sample(frac=0.7, random_state=3)
    wide = table.pivot(index="clip", columns="rater", values="score")
    ours = crossed_components(wide)
    fit = ml.fit_mixed(
        "score ~ 1", table.assign(clip=table["clip"].astype(str)),
        random={"clip": "1", "rater": "1"},
    )  # fmt: skip
    theirs = fit.variances.set_index("group")["variance"]
    assert [ours.item, ours.rater] == pytest.approx([theirs["clip"], theirs["rater"]], rel=1e-4)
    assert ours.error == pytest.approx(fit.residual_sd**2, rel=1e-4)


def test_a_complete_table_gives_the_same_by_mean_squares_and_by_likelihood():
    table = scored(25, 4, decimals=2)
    table["score"] += 0.4 * table["rater"].str[1:].astype(int)
    found = crossed_components(table.pivot(index="clip", columns="rater", values="score"))
    icc = agree(table).estimates.set_index("term")["estimate"]
    whole = found.item + found.rater + found.error
    assert found.item / whole == pytest.approx(icc["ICC(A,1)"], rel=1e-6)


def test_each_estimate_has_its_own_number_of_items():
    table = long([[1, 2, None]] * 3 + [[2, 2, 3], [4, 5, 4], [1, 1, 2], [3, None, None]])
    result = agree(table, "ordinal")
    assert result.estimates["n"].tolist() == [6] * len(result.estimates)
    assert result.recipe.n == 6 and result.recipe.left_out["rows"].tolist() == [1]


# Several clips of one learner --------------------------------------------------------------------


def test_clips_of_one_learner_widen_the_interval():
    rng = np.random.default_rng(4)
    person = np.repeat(rng.normal(0, 1.5, (8, 1)), 6, axis=0)
    scores = person + rng.normal(0, 0.3, (48, 1)) + rng.normal(0, 0.3, (48, 2))
    table = long(np.round(scores, 2)).assign(learner=lambda t: t["clip"] // 6)
    widths = []
    for cluster in (None, "learner"):
        row = agree(table, cluster=cluster).estimates.set_index("term").loc["ICC(C,1)"]
        widths.append(row["conf_high"] - row["conf_low"])
    assert widths[1] > 1.5 * widths[0]


def test_limits_with_several_items_of_a_learner_are_those_of_the_mixed_model():
    rng = np.random.default_rng(5)
    learner = np.repeat(np.arange(15), 4)
    gap = 0.4 + rng.normal(0, 0.8, 15)[learner] + rng.normal(0, 0.5, 60)
    first = rng.normal(10, 2, 60)
    found = limits_of_agreement(first + gap, first, clusters=learner)
    table = pd.DataFrame({"gap": gap, "learner": learner.astype(str)})
    fit = ml.fit_mixed("gap ~ 1", table, random={"learner": "1"})
    total = fit.variances["variance"].iloc[0] + fit.residual_sd**2
    assert found.sd == pytest.approx(total**0.5, rel=1e-6)
    assert found.bias == pytest.approx(fit.estimates["estimate"].iloc[0], rel=1e-9)
    alone = limits_of_agreement(first + gap, first)
    assert found.upper_high - found.upper_low > alone.upper_high - alone.upper_low


@pytest.mark.parametrize("clusters", [None, np.repeat(np.arange(12), 4)])
def test_intervals_of_limits_cover(clusters):
    rng = np.random.default_rng(6)
    n, inside = (8, 0) if clusters is None else (48, 0)
    between = 0.0 if clusters is None else 1.0
    truth = 0.5 + 1.959964 * np.sqrt(1 + between)
    for _ in range(600):
        gap = 0.5 + rng.normal(0, 1, n)
        if clusters is not None:
            gap = gap + rng.normal(0, 1, 12)[clusters]
        found = limits_of_agreement(gap, np.zeros(n), clusters=clusters)
        inside += found.upper_low <= truth <= found.upper_high
    assert inside / 600 == pytest.approx(0.95, abs=0.025)


# What a table of ratings may get wrong -----------------------------------------------------------


def again(before="pre", after="post"):
    first = scored(12, 2)
    return pd.concat(
        [first.assign(time=after, score=first["score"] + 1), first.assign(time=before)]
    )


def test_words_for_occasions_need_their_order():
    with pytest.raises(InputError, match=r"order of the words.*'post'.*occasions="):
        agree(again(), occasion="time")
    found = agree(again(), occasion="time", occasions=["pre", "post"])
    assert found.rerating["difference"].tolist() == pytest.approx([1, 1])
    phases = agree(again("pretest", "posttest"), occasion="time")
    assert phases.rerating["difference"].tolist() == pytest.approx([1, 1])
    numbers = agree(again("2", "10"), occasion="time")
    assert numbers.rerating["difference"].tolist() == pytest.approx([1, 1])


def test_blanks_round_a_name_make_no_new_rater():
    table = scored(10, 2)
    table.loc[table.index[0], "rater"] = "r0 "
    assert agree(table).scores["rater"].unique().tolist() == ["r0", "r1"]
    table.loc[table.index[0], "rater"] = "R0"
    with pytest.raises(InputError, match="capitals"):
        agree(table)


def test_a_rating_without_a_rater_or_item_is_refused():
    for column in ("rater", "clip"):
        table = scored(10, 2).astype({column: object})
        table.loc[table.index[2], column] = None
        with pytest.raises(InputError, match=column):
            agree(table)


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ({"averaged": 1.5}, "whole number"),
        ({"averaged": 0}, "whole number"),
        ({"averaged": "two"}, "whole number"),
        ({"level": 95}, "level"),
        ({"level": "high"}, "level"),
        ({"weights": "cubic"}, "weights"),
        ({"order": "word"}, "order of the words"),
        ({"cluster": "half"}, "two learners"),
        ({"item": []}, "no column names"),
        ({"item": None}, "no column names"),
        ({"kind": ["ordinal"]}, "kind"),
        ({"kind": "nominal", "averaged": 2}, "no mean"),
    ],
)
def test_impossible_options_are_refused_in_our_words(options, match):
    table = scored(10, 2).assign(word="early", half=lambda t: t["rater"])
    given = {"item": "clip", "kind": "continuous"} | options
    with pytest.raises(MotorlearnError, match=match):
        ml.rater_agreement(table, rater="rater", score="score", **given)


def test_a_list_or_infinite_scores_are_refused():
    with pytest.raises(InputError, match="table"):
        agree([[1, 2], [3, 4]])
    with pytest.raises(InputError, match="not numbers"):
        agree(scored(10, 2).assign(score=np.inf))
    with pytest.raises(InputError, match="no rating has a score"):
        agree(scored(10, 2).assign(score=np.nan))


def test_linear_weights_of_a_hand_table():
    """Agreement weights 1, .5, 0: observed (3 + .5)/5 = .7 where one pair of five is a grade off
    and one two grades; chance by hand from margins (1, 2, 2)/5 and (2, 2, 1)/5."""
    table = long([[0, 0], [1, 1], [2, 2], [1, 0], [2, 1]])
    found = agree(table, "ordinal", weights="linear", categories=[0, 1, 2]).estimates
    w = np.array([[1, 0.5, 0], [0.5, 1, 0.5], [0, 0.5, 1]])
    chance = np.array([1, 2, 2]) / 5 @ w @ (np.array([2, 2, 1]) / 5)
    kappa = (0.8 - chance) / (1 - chance)
    assert found.set_index("term").loc["weighted kappa", "estimate"] == pytest.approx(kappa)


# Totals ------------------------------------------------------------------------------------------


def checklist(clips=24, seed=1):
    rng = np.random.default_rng(seed)
    skill = rng.normal(0, 1, clips)
    rows = [
        {"clip": clip, "rater": rater, "item": item,
         "score": int(np.clip(np.round(1 + skill[clip] + rng.normal(0, 0.5)), 0, 2))}
        for clip in range(clips) for rater in "AB" for item in ("grip", "stance", "swing")
    ]  # fmt: skip
    return pd.DataFrame(rows).astype({"score": float})


def test_an_emptied_clip_is_missing_and_not_zero():
    ratings = checklist()
    emptied = ratings.copy()
    emptied.loc[(emptied["rater"] == "B") & (emptied["clip"] < 5), "score"] = np.nan
    dropped = ratings[~((ratings["rater"] == "B") & (ratings["clip"] < 5))]
    found = ml.measures.total_scores(emptied, by=["clip", "rater"])
    assert found.table["score"].isna().sum() == 5
    assert found.incomplete["missing"].tolist() == ["grip, stance, swing"] * 5
    assert "without a total: 5" in str(found)
    left = ml.measures.total_scores(dropped, by=["clip", "rater"])
    pd.testing.assert_series_equal(
        agree(found.table).estimates["estimate"], agree(left.table).estimates["estimate"]
    )


def test_one_empty_item_gives_no_half_total():
    ratings = checklist()
    ratings.loc[0, "score"] = np.nan
    found = ml.measures.total_scores(ratings, by=["clip", "rater"])
    assert np.isnan(found.table["score"].iloc[0])
    rule = ml.measures.total_scores(ratings, by=["clip", "rater"], at_least=2)
    assert rule.table["score"].iloc[0] == pytest.approx(3 * ratings["score"].iloc[1:3].mean())
    assert rule.table["made"].iloc[0] == "prorated" and rule.incomplete["missing"].item() == "grip"
    whole = rule.table["score"].iloc[1:]
    pd.testing.assert_series_equal(whole, found.table["score"].iloc[1:])


def test_totals_by_one_column_and_by_none():
    one = pd.DataFrame({"clip": [1, 1], "item": ["a", "b"], "score": [1, 2]})
    assert ml.measures.total_scores(one, by="clip").table["score"].tolist() == [3]
    with pytest.raises(InputError, match="names one total"):
        ml.measures.total_scores(one, by=None)
    with pytest.raises(InputError, match="from a table"):
        ml.measures.total_scores([1], by="clip")


def test_totals_refuse_what_cannot_be_added():
    ratings = checklist()
    with pytest.raises(InputError, match="twice"):
        ml.measures.total_scores(ratings, by=["clip"])
    with pytest.raises(InputError, match="checklist"):
        ml.measures.total_scores(ratings, by=["clip", "rater"], items=["grip"])
    with pytest.raises(InputError, match="prorated"):
        ml.measures.total_scores(ratings, by=["clip", "rater"], at_least=4)
    with pytest.raises(InputError, match="text"):
        ml.measures.total_scores(
            ratings.astype({"score": object}).replace(2.0, "two"), by=["clip", "rater"]
        )


# Planning ----------------------------------------------------------------------------------------


def test_planned_width_is_the_width_that_samples_give():
    """Samples of scores, where the plan draws mean squares."""
    rng = np.random.default_rng(7)
    widths = []
    for _ in range(40):
        scores = np.sqrt(0.7) * rng.normal(size=(25, 1)) + np.sqrt(0.06) * rng.normal(size=4)
        drawn = pivots(mean_squares(scores + np.sqrt(0.24) * rng.normal(size=(25, 4))))
        widths.append(np.ptp(quantile_interval(drawn.agreement(), 0.7, level=0.95)))
    plan = ml.measures.plan_rating(0.7, raters=[4], clips=[25], rater_share=0.2)
    assert plan.grid["width"].item() == pytest.approx(np.mean(widths), rel=0.12)


def test_rare_yes_needs_more_clips():
    options = {"raters": [2], "clips": [20, 60], "simulations": 40}
    rare = ml.measures.plan_rating(0.6, prevalence=0.1, **options)
    even = ml.measures.plan_rating(0.6, prevalence=0.5, **options)
    assert (rare.grid["width"] > even.grid["width"]).all()
    assert rare.grid["undefined"].iloc[0] > 0
    assert "Fleiss" in str(rare) and even.fewest(0.5)["clips"].tolist() == [60]
    with pytest.raises(InputError, match="inside 0 to 1"):
        ml.measures.plan_rating(1.2, raters=[2], clips=[20])
    with pytest.raises(InputError, match="two raters"):
        ml.measures.plan_rating(0.8, raters=[1], clips=[20])
