"""Sensitivity: each variant against a direct computation, and the point where it tips."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from variants import drawn_model

import motorlearn as ml
from motorlearn.audit import sensitivity
from motorlearn.audit.comparison.resampled import _by_group
from motorlearn.design import design_from_mapping
from motorlearn.exceptions import InputError
from motorlearn.linear import estimate_by_group
from motorlearn.trials import Study, Trials


def scores(seed=0, n=20, effect=-3.0, missing=()):
    rng = np.random.default_rng(seed)
    rows = []
    for group in ("blocked", "random"):
        for i in range(n):
            person = f"{group[0]}{i:02d}"
            pre = rng.normal(40, 5)
            rows.append((person, group, "pretest", pre))
            post = 10 + 0.6 * pre + effect * (group == "random") + rng.normal(0, 3)
            if person not in missing:
                rows.append((person, group, "retention", post))
    return pd.DataFrame(rows, columns=["participant", "group", "phase", "radial_error"])


def compare(table, **options):
    return ml.compare_phases(table, "radial_error", group="group", baseline="pretest", **options)


def study_of(table, method="blocks", **columns):
    plan = design_from_mapping(
        {
            "study": {"title": "ring push"},
            "groups": [{"name": "blocked"}, {"name": "random"}],
            "tests": [{"phase": "pretest", "trials": 30}, {"phase": "retention", "trials": 36}],
            "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
            "allocation": {"method": method, "strata": ["experience"]},
        }
    )
    people = table.drop_duplicates("participant")[["participant", "group"]].assign(**columns)
    return Study(plan, Trials(table), participants=people)


def variant(found, name):
    rows = found.table[found.table["variant"] == name]
    assert len(rows) == 1, found.table["variant"].tolist()
    return rows.iloc[0]


def test_original_is_the_contrast_of_the_comparison():
    result = compare(scores())
    row = variant(sensitivity(result, permutations=99), "as analysed")
    there = result.contrasts.query("phase == 'retention' and adjusted").iloc[0]
    for name in ("estimate", "conf_low", "conf_high", "p"):
        assert row[name] == pytest.approx(there[name])


def test_leaving_one_out_equals_a_new_comparison():
    table = scores(n=8)
    found = sensitivity(compare(table), permutations=99).leave_one_out.set_index("participant")
    for person in ("b03", "r07"):
        again = compare(table[table["participant"] != person]).contrasts
        there = again.query("phase == 'retention' and adjusted").iloc[0]
        assert found.loc[person, "estimate"] == pytest.approx(there["estimate"])
        assert found.loc[person, "p"] == pytest.approx(there["p"])


def test_leaving_one_out_without_a_baseline_uses_welch():
    table = scores(n=6)
    result = ml.compare_phases(table, "radial_error", group="group")
    found = sensitivity(result, phase="retention", permutations=99).leave_one_out
    again = ml.compare_phases(
        table[table["participant"] != "r01"], "radial_error", group="group"
    ).contrasts.query("phase == 'retention'")
    own = found.set_index("participant").loc["r01"]
    assert own["p"] == pytest.approx(again["p"].iloc[0])


def test_flagged_outliers_are_named_and_left_out_beside():
    table = scores(n=12)
    there = (table["participant"] == "b02") & (table["phase"] == "retention")
    table.loc[there, "radial_error"] = 80
    row = variant(sensitivity(compare(table), permutations=99), "without flagged outliers")
    assert row["note"] == "without b02"
    assert row["n"] == 23
    clean = compare(table[table["participant"] != "b02"]).contrasts
    assert row["estimate"] == pytest.approx(
        clean.query("phase == 'retention' and adjusted")["estimate"].iloc[0]
    )


def test_missing_scores_tip_the_conclusion_where_they_are_bad_enough():
    missing = ("r00", "r01", "r02", "r03")
    found = sensitivity(compare(scores(missing=missing)), permutations=99)
    tip = found.tipping.iloc[0]
    assert tip["missing"] == 4
    assert 0.5 < tip["shift"] <= 4  # only worse scores of random can undo its advantage
    path = found.shifts.set_index("shift")["p"]
    assert path[0.0] < 0.05 < path.loc[tip["shift"] :].iloc[0]
    assert path.iloc[-1] > 0.05


def test_missing_scores_of_the_second_group_tip_it_too():
    missing = ("b00", "b01", "b02", "b03")
    found = sensitivity(compare(scores(missing=missing)), permutations=99)
    tip = found.tipping.iloc[0]
    assert tip["missing"] == 4  # none was moved, and "no shift changes it" was said
    assert -4 <= tip["shift"] < -0.5  # only better scores of blocked can undo the advantage
    path = found.shifts.set_index("shift")["estimate"]
    assert path.loc[-1.0] > path.loc[0.0] > path.loc[1.0]


def test_nobody_missing_has_no_tipping_point():
    found = sensitivity(compare(scores()), permutations=99)
    assert found.tipping.empty
    assert "missing scores imputed" not in found.table["variant"].tolist()


def test_per_protocol_uses_the_status_of_the_study():
    table = scores(n=12)
    status = np.where(
        table.drop_duplicates("participant")["participant"] == "r05", "late", "completed"
    )
    study = study_of(table, status=status, experience="no")
    row = variant(sensitivity(compare(table), study=study, permutations=99), "per protocol")
    assert row["n"] == 23
    assert row["note"] == "1 left out"
    own = sensitivity(compare(table), per_protocol=[f"{g}{i:02d}" for g in "br" for i in range(6)],
                      permutations=99)  # fmt: skip
    assert variant(own, "per protocol")["n"] == 12
    with pytest.raises(InputError, match="'nobody'"):
        sensitivity(compare(table), per_protocol=["nobody"])


def test_permutation_honours_strata_and_refuses_groups_not_drawn_by_lot():
    table = scores(n=12)
    people = table.drop_duplicates("participant")["participant"]
    own_stratum = study_of(table, experience=people.str[0].to_numpy())
    stuck = variant(
        sensitivity(compare(table), study=own_stratum, permutations=99), "permutation test"
    )
    assert stuck["p"] == 1
    assert "only inside experience" in stuck["note"]
    free = variant(sensitivity(compare(table), permutations=999), "permutation test")
    assert free["p"] < 0.1
    found = variant(
        sensitivity(compare(table), study=study_of(table, method="none"), permutations=99),
        "permutation test",
    )
    assert np.isnan(found["p"])
    assert "not drawn by lot" in found["note"]


def test_ratio_and_difference_are_each_others_variant():
    table = scores()
    ratio, plain = (
        sensitivity(compare(table, effect=e), permutations=99) for e in ("ratio", "difference")
    )
    a, b = variant(ratio, "raw scores"), variant(plain, "as analysed")
    assert a["estimate"] == pytest.approx(b["estimate"])
    c, d = variant(plain, "logarithms"), variant(ratio, "as analysed")
    assert (c["estimate"], c["conf_high"]) == pytest.approx((d["estimate"], d["conf_high"]))


def test_one_seed_one_result_and_json():
    first, second = (sensitivity(compare(scores()), permutations=199, seed=4) for _ in range(2))
    pd.testing.assert_frame_equal(first.table, second.table)
    again = type(first).from_json(first.to_json())
    assert again.verdict == first.verdict
    assert "conclusion" in str(first)


def test_mixed_model_variants():
    rng = np.random.default_rng(3)
    table = scores(n=10).drop(columns="radial_error").assign(attempts=20)
    table["hits"] = rng.binomial(20, 0.5, len(table))
    fit = ml.fit_mixed(
        "hits ~ group * phase", table, random={"participant": "1"}, family="binomial",
        attempts="attempts",
    )  # fmt: skip
    names = sensitivity(fit).table["variant"].unique()
    assert "random effect for every row" in names
    assert "15 quadrature points" in names
    assert "jackknife over participants" in names


@pytest.mark.parametrize(("attempts", "may_scatter"), [(1, False), (2, True)])
def test_single_attempts_get_no_effect_of_their_row(attempts, may_scatter):
    table = scores(n=10).drop(columns="radial_error").assign(attempts=attempts)
    table["hits"] = np.random.default_rng(3).binomial(attempts, 0.5, len(table))
    fit = ml.fit_mixed(
        "hits ~ group * phase", table, random={"participant": "1"}, family="binomial",
        attempts="attempts",
    )  # fmt: skip
    tried = sensitivity(fit).table["variant"]
    assert ("random effect for every row" in set(tried)) == may_scatter


def test_one_group_and_other_things_are_refused():
    table = scores()
    alone = ml.compare_phases(
        table[table["group"] == "random"], "radial_error", group=None, baseline="pretest"
    )
    with pytest.raises(InputError, match="no contrast"):
        sensitivity(alone)
    with pytest.raises(InputError, match="'DataFrame'"):
        sensitivity(table)


def test_primary_of_the_plan_decides_which_test_is_tried():
    table = scores(n=10)
    study = study_of(table, experience="no")
    study = replace(
        study,
        design=study.design.model_copy(
            update={"primary": ml.design.Primary(outcome="radial_error", phase="retention")}
        ),
    )
    assert sensitivity(compare(table), study=study, permutations=99).analysis.startswith(
        "retention"
    )


def test_the_order_of_groups_changes_no_resampled_interval():
    table = scores(n=9)

    def intervals(groups):
        result = compare(table, groups=groups, reference="blocked")
        study = study_of(table, experience="no")
        rows = sensitivity(result, study=study, phase="retention", permutations=199).table
        rows = rows[rows["variant"].isin(["residuals resampled", "permutation test"])]
        assert len(rows) == 2
        return rows[["estimate", "conf_low", "conf_high", "p"]].to_numpy()

    turned = intervals(["random", "blocked"])
    assert intervals(["blocked", "random"]) == pytest.approx(turned, rel=1e-9)


def test_variants_with_one_variance_say_so_where_it_does_not_hold():
    """10 and 30 people, the ten scattering three times as wide: 21 % in place of 5 %."""
    rng = np.random.default_rng(5)
    rows = []
    for group, n, sd in (("blocked", 10, 6.0), ("random", 30, 2.0)):
        for i in range(n):
            person = rng.normal()
            for test in ("pretest", "retention"):
                score = 40 + sd * (0.8 * person + 0.6 * rng.normal())
                rows.append((f"{group}{i}", group, test, score))
    table = pd.DataFrame(rows, columns=["participant", "group", "phase", "radial_error"])
    options = {"group": "group", "baseline": "pretest"}
    found = sensitivity(ml.compare_phases(table, "radial_error", **options), permutations=199).table
    notes = found.set_index("variant")["note"]
    assert "where nothing is there" in notes["as analysed"]
    assert "where nothing is there" in notes["without flagged outliers"]
    assert notes["a variance for each group"] == ""
    apart = ml.compare_phases(table, "radial_error", variance="by group", **options)
    own = sensitivity(apart, permutations=199).table
    assert not own["note"].str.contains("one variance").any()
    assert "a variance for each group" not in own["variant"].tolist()


def test_permutation_with_a_variance_for_each_group_is_the_t_of_that_analysis():
    """The statistic of the labels as they fell, against the Satterthwaite analysis."""
    model = drawn_model(np.random.default_rng(2), (10, 30), (3, 1), "normal").complete
    fit = model.fit()
    t = estimate_by_group(fit, model.coefficient_weights((1, 0), fit), model.places())
    estimate, error = _by_group(model, (1, 0), model.y[None], model.codes[None])
    assert (estimate[0], error[0]) == pytest.approx((t.estimate, t.std_error))


def test_where_classes_were_allocated_a_class_is_taken_out_and_called_one():
    rows = scores(n=24).assign(place=lambda t: t["participant"].str[1:].astype(int) // 4)
    rows["class"] = rows["group"].str[0] + rows["place"].astype(str)
    compared = ml.compare_phases(
        rows, "radial_error", group="group", baseline="pretest", unit="class"
    )
    found = sensitivity(compared, permutations=99).table
    assert "without the class that matters most" in set(found["variant"])
    assert not found["note"].str.contains("participant").any()
    alone = sensitivity(
        ml.compare_phases(rows, "radial_error", group="group", baseline="pretest"), permutations=99
    )
    assert "without the participant who matters most" in set(alone.table["variant"])
