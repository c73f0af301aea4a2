"""Times by rules of the plan: errors, cut-offs, scale, summary, contrast; check to report."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

import motorlearn as ml
from motorlearn.design import TimeRules, design_from_mapping
from motorlearn.exceptions import ColumnError, DesignError, InputError
from motorlearn.report.sections.exclusions import exclusion_blocks
from motorlearn.tables import Table
from motorlearn.trials.time_rules import count_cuts, time_cuts, time_problems
from motorlearn.wording.times import time_rules_of

WHY = "set after the pilot: anticipated, or looked away"


def trials(seed=1):
    """Times above .2 s of 12 people, hits of nine in ten, four odd times, two orders of rings."""
    rng = np.random.default_rng(seed)
    frames = []
    for person in range(12):
        for phase, session in (("pretest", 1), ("retention", 2)):
            frames.append(
                pd.DataFrame(
                    {
                        "participant": f"P{person + 1:02d}",
                        "group": ("blocked", "random")[person % 2],
                        "phase": phase,
                        "session": session,
                        "block": 1,
                        "trial": np.arange(1, 21),
                        "order": np.tile(["mixed", "rings"], 10),
                        "time": (0.2 + np.exp(rng.normal(-0.7 + 0.02 * person, 0.4, 20))).round(3),
                        "hit": (rng.random(20) < 0.9).astype(int),
                    }
                )
            )
    table = pd.concat(frames, ignore_index=True)
    table.loc[[3, 25], "time"] = 0.04
    table.loc[[60, 61], "time"] = 7.5
    return table


def study(times, *, effect="difference", table=None):
    content = {
        "study": {"title": "Ring push"},
        "groups": [{"name": "blocked"}, {"name": "random"}],
        "tests": [
            {"phase": "pretest", "trials": 20},
            {"phase": "retention", "trials": 20, "interval_days": 7},
        ],
        "outcomes": [
            {"name": "time", "unit": "s", "kind": "time", "better": "lower", "times": times},
            {"name": "hit", "better": "higher"},
        ],
        "primary": {"outcome": "time", "groups": ["random", "blocked"], "effect": effect},
    }
    design = design_from_mapping(content)
    return ml.trials.Study(design, ml.trials.Trials(trials() if table is None else table))


ERRORS = {"errors": "left out", "fastest": 0.25, "slowest": 3.0, "reason": WHY}


def kept(table):
    return table[(table["hit"] == 1) & table["time"].between(0.25, 3.0)]


def test_each_time_is_left_out_once_and_counted_by_rule_and_group():
    table, rules = trials(), TimeRules(**ERRORS)
    table.loc[3, "hit"] = 0
    table.loc[25, "hit"] = 1
    counts = count_cuts(table, "time", time_cuts(table, "time", rules), rules)
    wrong = counts[counts["rule"] == "wrong trials"].set_index("group")
    assert wrong["cut"].to_dict() == (table["hit"] == 0).groupby(table["group"]).sum().to_dict()
    short = counts[counts["rule"] == "below 0.25"]
    assert short["cut"].sum() == ((table["hit"] == 1) & (table["time"] < 0.25)).sum() == 1
    assert counts["cut"].sum() == len(table) - len(kept(table))
    share = 1 - len(kept(table[table["participant"] == "P01"])) / 40
    assert counts.loc[counts["group"] == "blocked", "most_of_one"].max() <= max(share, 0.5)


@pytest.mark.parametrize(
    ("more", "by_hand"),
    [
        ({}, lambda t: t.mean()),
        ({"summary": "median"}, lambda t: t.median()),
        ({"scale": "log", "shift": 0.2}, lambda t: np.exp(np.log(t - 0.2).mean())),
        ({"scale": "log", "shift": 0.2, "summary": "median"}, lambda t: (t - 0.2).median()),
    ],
)
def test_scores_are_those_by_hand(more, by_hand):
    effect = "ratio" if "scale" in more else "difference"
    found = ml.analyse_study(study(ERRORS | more, effect=effect))
    cells = found.details["time"].cells.set_index(["participant", "phase"])["score"]
    hand = kept(trials()).groupby(["participant", "phase"])["time"].agg(by_hand)
    assert_allclose(cells.reindex(hand.index), hand)
    assert found.primary["effect"].item() == effect
    assert found.details["hit"].cells["n_trials"].eq(20).all()  # trials count for hits as before


def test_mean_logs_give_the_ratio_of_geometric_means():
    found = ml.analyse_study(study(ERRORS | {"scale": "log", "shift": 0.2}, effect="ratio"))
    logs = kept(trials()).assign(log=lambda t: np.log(t["time"] - 0.2))
    means = logs.groupby(["group", "participant", "phase"])["log"].mean().unstack().reset_index()
    x = np.column_stack([np.ones(12), means["pretest"], means["group"] == "random"]).astype(float)
    slope = np.linalg.lstsq(x, means["retention"], rcond=None)[0][2]
    assert_allclose(found.primary["estimate"].item(), np.exp(slope))


def test_the_model_of_trials_takes_the_shifted_logarithm():
    found = ml.analyse_study(study(ERRORS | {"scale": "log", "shift": 0.2}, effect="ratio"))
    rows = kept(trials()).assign(above=lambda t: t["time"] - 0.2)
    fit = ml.fit_mixed(
        "above ~ group * phase", rows, random={"participant": "1 + phase"}, family="lognormal"
    )
    assert_allclose(found.mixed.params.to_numpy(), fit.params.to_numpy(), atol=1e-6)


@pytest.mark.parametrize("scale", ["raw", "log"])
def test_a_contrast_of_two_kinds_of_trials(scale):
    rules = {"fastest": 0.1, "reason": WHY, "contrast": "order", "scale": scale}
    rules |= {"first": "mixed", "second": "rings"}
    found = ml.analyse_study(study(rules, effect="ratio" if scale == "log" else "difference"))
    rows = trials().query("time >= 0.1")
    times = np.log(rows["time"]) if scale == "log" else rows["time"]
    means = times.groupby([rows["participant"], rows["phase"], rows["order"]]).mean().unstack()
    hand = means["mixed"] - means["rings"]
    hand = np.exp(hand) if scale == "log" else hand
    cells = found.details["time"].cells.set_index(["participant", "phase"])["score"]
    assert_allclose(cells.reindex(hand.index), hand)
    label = found.details["time"].label
    assert label == ("time, mixed less rings" if scale == "raw" else "time, mixed by rings")
    assert found.details["time"].unit == ("s" if scale == "raw" else "")


def test_check_and_report_count_what_the_rules_left_out():
    here = study(ERRORS)
    problems = time_problems(here.trials.table, here.design, "trials.csv")
    assert (problems["severity"] == "note").all()
    assert problems["value"].str.contains("2 of 480 times, of 1 participant: above 3").sum() == 1
    blocks = list(exclusion_blocks(ml.analyse_study(here)))
    table = next(b for b in blocks if isinstance(b, Table) and b.name == "cut-offs")
    assert table.rows["cut"].sum() == len(trials()) - len(kept(trials()))
    (said,) = time_rules_of(here.design)
    assert "below 0.25 s" in said and "hit = 0" in said and WHY in said


def test_a_cut_off_in_the_wrong_unit_is_doubted():
    here = study({"slowest": 0.3, "reason": WHY})
    (row,) = time_problems(here.trials.table, here.design, "").to_dict("records")
    assert row["severity"] == "doubt" and "unit" in row["advice"]


def test_times_without_a_logarithm_are_errors():
    here = study({"scale": "log", "shift": 0.2}, effect="ratio")
    problems = time_problems(here.trials.table, here.design, "")
    assert problems["severity"].tolist() == ["error"]
    with pytest.raises(InputError, match="no logarithm"):
        ml.analyse_study(here)


@pytest.mark.parametrize(
    ("times", "match"),
    [
        ({"fastest": 3.0, "slowest": 1.0, "reason": WHY}, "swap"),
        ({"fastest": 0.1}, "reason"),
        ({"shift": 0.2}, "log scale"),
        ({"contrast": "order"}, "go together"),
        ({"slowest": 1.0, "shift": 1.5, "scale": "log", "reason": WHY}, "above every time"),
        ({"scale": "log"}, "ratio"),
        ({"errors": "dropped"}, "errors"),
    ],
)
def test_plans_that_cannot_be_are_refused(times, match):
    with pytest.raises(DesignError, match=match):
        study(times)


def test_rules_need_their_columns_and_values():
    with pytest.raises(ColumnError, match="correct"):
        ml.analyse_study(study(ERRORS | {"error_column": "correct"}))
    with pytest.raises(InputError, match="nothere"):
        ml.analyse_study(study({"contrast": "order", "first": "mixed", "second": "nothere"}))


def test_rules_belong_to_times():
    with pytest.raises(DesignError, match="kind"):
        design_from_mapping(
            {
                "study": {"title": "Ring push"},
                "groups": [{"name": "blocked"}],
                "outcomes": [{"name": "hit", "better": "higher", "times": {"summary": "median"}}],
            }
        )


PAIR = {"contrast": "order", "first": "mixed", "second": "rings"}


@pytest.mark.parametrize("scale", ["raw", "log"])
def test_the_model_of_trials_holds_the_contrast(scale):
    shift = {"shift": 0.2} if scale == "log" else {}
    rules = {"fastest": 0.25, "reason": WHY, "scale": scale} | PAIR | shift
    found = ml.analyse_study(study(rules, effect="ratio" if scale == "log" else "difference"))
    rows = trials().query("time >= 0.25").assign(order=lambda t: pd.Categorical(t["order"]))
    rows["order"] = rows["order"].cat.reorder_categories(["rings", "mixed"])
    rows["above"] = rows["time"] - (0.2 if shift else 0.0)
    fit = ml.fit_mixed(
        "above ~ group * phase * order",
        rows,
        random={"participant": "1 + phase * order"},
        family="gaussian" if scale == "raw" else "lognormal",
    )
    assert_allclose(found.mixed.beta[-1], fit.beta[-1], atol=1e-5)
    assert found.mixed.fixed_names[-1].count(":") == 2
    # Balanced but for few times: the change of a group's contrast is close to that of its people.
    cells = found.details["time"].cells.pivot_table(
        index=["group", "participant"], columns="phase", values="score"
    )
    change = (np.log(cells) if shift else cells).pipe(lambda t: t["retention"] - t["pretest"])
    means = change.groupby("group").mean()
    assert_allclose(fit.beta[-1], means["random"] - means["blocked"], atol=0.05)


def test_sensitivity_has_the_other_rules():
    rules = ERRORS | {"other_cut_offs": [[0.1, 8.0], [0.3, 2.0]]}
    found = ml.analyse_study(study(rules)).sensitivity.table
    rows = found[found["note"].fillna("").str.endswith("times left out")].set_index("variant")
    assert list(rows.index) == [
        "without cut-offs of times",
        "with cut-offs of 0.1 and 8",
        "with cut-offs of 0.3 and 2",
        "with times of wrong trials",
        "with medians of times",
    ]
    other = {"errors": "left out", "reason": WHY}
    alone = ml.analyse_study(study(other)).primary.iloc[0]
    assert_allclose(
        rows.loc["without cut-offs of times", ["estimate", "p"]].astype(float),
        [alone["estimate"], alone["p"]],
    )
    wide = ml.analyse_study(study(ERRORS | {"fastest": 0.1, "slowest": 8.0})).primary.iloc[0]
    assert_allclose(rows.loc["with cut-offs of 0.1 and 8", "estimate"], wide["estimate"])


def test_without_cut_offs_a_logarithm_may_be_lacking_and_the_row_says_so():
    table = trials()
    table.loc[3, "time"] = 0.1
    rules = {"fastest": 0.25, "reason": WHY, "scale": "log", "shift": 0.2}
    found = ml.analyse_study(study(rules, effect="ratio", table=table)).sensitivity.table
    row = found[found["variant"] == "without cut-offs of times"].iloc[0]
    assert "no logarithm" in row["note"] and np.isnan(row["p"])


def test_other_cut_offs_are_pairs():
    with pytest.raises(DesignError, match="pairs"):
        study(ERRORS | {"other_cut_offs": [[3.0, 0.2]]})
    (said,) = time_rules_of(study(ERRORS | {"other_cut_offs": [[0.1, 8.0]]}).design)
    assert "cut-offs of 0.1 and 8 s were tried as well" in said
