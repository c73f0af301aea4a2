"""A primary effect of several degrees of freedom: one F test from the plan to the page."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
import studies
from scipy import stats
from statsmodels.stats.anova import anova_lm

import motorlearn as ml
from motorlearn.exceptions import InputError
from motorlearn.linear.batch import ancova_hypothesis_batch
from motorlearn.plan.power.joint import joint_power
from motorlearn.plan.power.planned import scenario
from motorlearn.report.study_page import audit_study
from motorlearn.report.supervisor import supervisor_page

ORDER = {"name": "order", "levels": ["blocked", "random"]}
AID = {"name": "aid", "label": "feedback", "levels": ["always", "faded", "never"]}
CELLS = [f"{a}-{b}" for a in ORDER["levels"] for b in AID["levels"]]
SIZES = (5, 4, 6, 4, 5, 4)
PARTS = [("pretest", 1, 1, 10), ("acquisition", 1, 1, 10), ("retention", 2, 1, 10)]


def two_by_three(factors=("order", "aid"), **primary):
    """A study of 2 by 3 unequal cells whose primary effect is one joint test."""
    table = studies.trials(sum(SIZES), PARTS, seed=9)
    cell = dict(zip(table["participant"].unique(), np.repeat(CELLS, SIZES)))
    plan = studies.plan(
        studies.ERROR,
        groups=None,
        factors=[ORDER, AID],
        primary={"outcome": "radial_error", "factors": list(factors), **primary},
    )
    return studies.study(
        plan, table.assign(group=table["participant"].map(cell)), "x", "y", "radial_error"
    )


@pytest.fixture(scope="module")
def analysed():
    return ml.analyse_study(two_by_three())


def expected(study, term):
    """F and p of the term by statsmodels, type III."""
    table = study.trials.table
    means = table.groupby(["participant", "group", "phase"])["radial_error"].mean().unstack("phase")
    frame = means.reset_index()
    frame[["order", "aid"]] = frame["group"].str.split("-", expand=True)
    fit = smf.ols("retention ~ pretest + C(order, Sum) * C(aid, Sum)", frame).fit()
    return anova_lm(fit, typ=3).loc[term]


def test_the_interaction_of_two_by_three_is_that_of_statsmodels(analysed):
    wanted = expected(analysed.study, "C(order, Sum):C(aid, Sum)")
    row = analysed.primary.iloc[0]
    assert row["statistic"] == pytest.approx(wanted["F"], rel=1e-9)
    assert row["p"] == pytest.approx(wanted["PR(>F)"], rel=1e-9)
    assert (row["effect"], row["group"], row["n_group"]) == ("joint test", "order × feedback", 28)
    assert row["df"] == 28 - 7
    assert np.isnan(row["estimate"]) and not analysed.refused


def test_a_main_effect_of_three_levels_is_that_of_statsmodels():
    found = ml.analysis.study.page_analysis(two_by_three(["aid"]), mixed=False)
    wanted = expected(found.study, "C(aid, Sum)")
    assert found.primary["p"].iloc[0] == pytest.approx(wanted["PR(>F)"], rel=1e-9)
    page = " ".join(dict(supervisor_page(found).entries)["primary result"])
    assert "the effect of feedback, averaged over order, in radial error gave F(2, 21)" in page


def test_the_page_tells_the_test_and_what_it_leaves_open(analysed):
    page = supervisor_page(analysed)
    said = " ".join(dict(page.entries)["primary result"])
    assert page.headline.startswith("order × feedback, Delayed retention: joint test, F = ")
    assert "the interaction of order and feedback in radial error gave F(2, 21) = " in said
    assert "adjusted for the pretest; partial η² = " in said
    assert "28 participants analysed" in said
    assert "whether what order does here differs with feedback" in said


def test_it_is_the_one_primary_test(analysed):
    tests = audit_study(analysed).tests
    first = tests[tests["label"] == "primary"]
    assert first["contrast"].tolist() == ["joint test: order × feedback"]
    assert first["p"].iloc[0] == analysed.primary["p"].iloc[0]
    table = analysed.audit.table.set_index("assumption")
    assert table.loc["one primary comparison, the rest in a named family", "value"] == 1


def test_no_bound_and_no_looks_for_a_joint_test():
    with pytest.raises(InputError, match="one joint test and no single number"):
        two_by_three(aim="non-inferiority")
    design = two_by_three().design
    looked = {"interim": {"fractions": [0.5, 1.0]}}
    sized = [{"name": cell, "size": 5} for cell in CELLS]
    plan = design.model_dump(mode="json", exclude_unset=True) | looked | {"groups": sized}
    study = studies.study(plan, two_by_three().trials.table, "x", "y", "radial_error")
    look = ml.analysis.study.page_analysis(study, mixed=False).interim
    assert "the primary comparison is a joint test" in look.reason


def test_many_studies_at_once_are_those_of_statsmodels():
    rng = np.random.default_rng(2)
    codes = np.repeat(np.arange(6), SIZES)
    x, y = rng.normal(size=(2, 3, len(codes)))
    rows = [[1, -1, 0, -1, 1, 0], [1, 0, -1, -1, 0, 1]]
    f, df, p = ancova_hypothesis_batch(y, codes, rows, x)
    for i in range(3):
        frame = pd.DataFrame({"y": y[i], "x": x[i], "order": codes // 3, "aid": codes % 3})
        fit = smf.ols("y ~ x + C(order, Sum) * C(aid, Sum)", frame).fit()
        wanted = anova_lm(fit, typ=3).loc["C(order, Sum):C(aid, Sum)"]
        assert (f[i], p[i]) == pytest.approx((wanted["F"], wanted["PR(>F)"]), rel=1e-9)
    assert (df == len(codes) - 7).all()


def test_power_of_the_interaction_is_that_of_the_noncentral_f():
    plan = ml.design.design_from_mapping(
        {
            "study": {"title": "Ring push"},
            "factors": [ORDER, AID],
            "groups": [{"name": cell, "size": 12} for cell in CELLS],
            "tests": [{"phase": "retention", "trials": 36, "interval_days": 7}],
            "outcomes": [studies.ERROR],
            "primary": {
                "outcome": "radial_error",
                "factors": ["order", "aid"],
                "baseline": None,
            },
            "assumptions": {"baseline": 38, "between_sd": 4, "within_sd": 12},
        }
    )
    found = ml.power(plan, n=[12], simulations=2000, seed=1, effects=[6])
    row = found.table[found.table["kind"] == "power"].iloc[0]
    # One cell of 2 by 3 stands off by d: its interaction effects have the sum of squares
    # d² (1/2) (2/3), so that with n people a cell the F is noncentral with n d² / 3.
    d = 6 / np.sqrt(4**2 + 12**2 / 36)
    by_hand = stats.ncf.sf(stats.f.isf(0.05, 2, 66), 2, 66, 12 * d**2 / 3)
    assert joint_power(scenario(plan), d, np.full(6, 12.0)) == pytest.approx(by_hand, rel=1e-9)
    assert row["closed_form"] == pytest.approx(by_hand, rel=1e-9)
    assert row["power"] == pytest.approx(by_hand, abs=4 * row["mc_error"])
