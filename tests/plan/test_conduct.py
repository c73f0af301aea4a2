import numpy as np
import pandas as pd
import pytest
from plans_of_tests import RING_PUSH, plan, ring_push
from scipy import stats

import motorlearn as ml
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.plan import (
    analysis_label,
    compare_with_plan,
    pilot_page,
    radius_for,
    simulate_study,
)
from motorlearn.trials import Study, Trials


def changed(study, table):
    return Study(study.design, Trials(table), study.participants)


@pytest.fixture(scope="module")
def done():
    return simulate_study(plan(), seed=1, missing=False)


def test_a_study_done_as_planned_has_no_deviations(done):
    assert compare_with_plan(done).table.empty


def test_the_shipped_study_deviates_as_its_card_says():
    table = compare_with_plan(ml.read_study(RING_PUSH)).table.set_index(["topic", "where"])
    assert table.loc[("no trials", "retention"), "people"] == 7
    assert table.loc[("interval", "retention"), "people"] == 2
    assert table.loc[("practice order", "practice session 1"), "people"] == 1
    assert table.loc[("fewer trials", "acquisition"), "people"] == 3
    assert len(table) == 7


@pytest.mark.parametrize(
    ("change", "topic", "people"),
    [
        (lambda t: t[~((t.participant == "P03") & (t.phase == "retention"))], "no trials", 1),
        (lambda t: t.drop(t.index[(t.participant == "P03")][:3]), "fewer trials", 1),
        (lambda t: pd.concat([t, t.tail(2)]), "more trials", 1),
        (lambda t: t.assign(feedback=1), "feedback in a test", 48),
        (
            lambda t: t.assign(phase=t.phase.where(t.phase != "pretest", "progress")),
            "phase not planned",
            48,
        ),
        (
            lambda t: t.assign(date=t.date.where(t.phase != "retention", "2026-12-01")),
            "interval",
            48,
        ),
        (lambda t: t[t.phase != "acquisition"], "practice not recorded", 48),
    ],
)
def test_each_deviation_is_found(done, change, topic, people):
    found = compare_with_plan(changed(done, change(done.trials.table))).table
    assert found.set_index("topic").loc[[topic], "people"].max() == people


@pytest.mark.parametrize("last", ["pretest", "acquisition"])
def test_a_test_still_to_come_is_no_deviation(done, last):
    phases = done.design.phases
    made = phases[: phases.index(last) + 1]
    table = done.trials.table
    table = table[table["phase"].isin(made)]
    assert compare_with_plan(changed(done, table)).table.empty
    one_short = table[(table.participant != "P03") | (table.phase != last)]
    found = compare_with_plan(changed(done, one_short)).table
    assert found[["topic", "where", "participants"]].to_numpy().tolist() == [
        ["no trials", last, "P03"]
    ]


def test_swapped_practice_orders_are_named(done):
    table = done.trials.table.copy()
    other = {"blocked": "random", "random": "blocked"}
    people = done.participants.assign(group=done.participants["group"].map(other))
    table["group"] = table["group"].map(other)
    found = compare_with_plan(Study(done.design, Trials(table), people)).table
    assert set(found["topic"]) == {"practice order"}
    assert found.groupby("where")["people"].sum().tolist() == [48, 48]


def test_group_sizes_are_compared_with_the_plan(done):
    people = done.participants.iloc[1:]
    study = Study(done.design, done.trials, people)
    assert "group size" in set(compare_with_plan(study).table["topic"])


def test_analyses_are_labelled_by_the_plan():
    design = plan(
        analyses=[
            {"outcome": "hit", "phase": "retention", "method": "ancova"},
            {
                "outcome": "radial_error",
                "phase": "retention",
                "method": "welch",
                "role": "sensitivity",
            },
        ]
    )
    assert analysis_label(design, "radial_error", "retention", "ancova") == "primary"
    assert analysis_label(design, "hit", "retention", "ancova") == "secondary"
    assert analysis_label(design, "radial_error", "retention", "welch") == "sensitivity"
    assert analysis_label(design, "radial_error", "posttest", "ancova") == "exploratory"


def test_radius_of_a_circular_spread_is_the_rayleigh_quantile():
    assert radius_for(0.4, spread=20) == pytest.approx(stats.rayleigh.ppf(0.4, scale=20))


def test_radius_from_landing_points_agrees_with_counting():
    rng = np.random.default_rng(1)
    cov = [[150.0, 40.0], [40.0, 300.0]]
    x, y = rng.multivariate_normal([4, -9], cov, 200_000).T
    for wanted in (0.2, 0.6):
        radius = radius_for(wanted, x=x, y=y)
        assert np.mean(np.hypot(x, y) <= radius) == pytest.approx(wanted, abs=0.004)


def test_radius_questions_without_an_answer_are_refused():
    with pytest.raises(InputError, match="between 0 and 1"):
        radius_for(1.0, spread=2)
    with pytest.raises(InputError, match="three landing points"):
        radius_for(0.5, x=[1, 2], y=[1, 2])


def pilot_table(people=40, trials=25, between=5.0, within=10.0, seed=1):
    rng = np.random.default_rng(seed)
    names = np.repeat([f"P{i}" for i in range(people)], trials)
    level = np.repeat(rng.normal(30, between, people), trials)
    return pd.DataFrame(
        {
            "participant": names,
            "phase": "pretest",
            "radial_error": level + rng.normal(0, within, len(names)),
        }
    )


def test_pilot_recovers_reliability_and_error_of_measurement():
    rows = pilot_page(pilot_table(), "radial_error").table.set_index("quantity")
    # 25 / (25 + 100 / 25) = .862; SEM = 10 / sqrt(25) = 2; change = 1.96 sqrt(2) 2 = 5.54.
    reliability = rows.loc["reliability of a person's mean"]
    assert reliability["conf_low"] < 0.862 < reliability["conf_high"]
    assert rows.loc["standard error of measurement", "value"] == pytest.approx(2, abs=0.1)
    assert rows.loc["smallest detectable change of one person", "value"] == pytest.approx(
        1.959964 * np.sqrt(2) * rows.loc["standard error of measurement", "value"]
    )


def test_pilot_interval_of_reliability_covers():
    inside = []
    for seed in range(200):
        rows = pilot_page(pilot_table(15, 10, seed=seed), "radial_error").table
        row = rows.set_index("quantity").loc["reliability of a person's mean"]
        inside.append(row["conf_low"] <= 25 / 35 <= row["conf_high"])
    assert np.mean(inside) == pytest.approx(0.95, abs=0.045)


def test_pilot_flags_a_ceiling_and_missing_outcomes():
    table = pd.DataFrame(
        {
            "participant": np.repeat(list("abcdef"), 10),
            "phase": "pretest",
            "hit": [1.0] * 40 + [0.0, 1.0] * 5 + [1.0, np.nan] * 5,
        }
    )
    rows = pilot_page(table, "hit").table.set_index("quantity")
    assert rows.loc["share of people at an edge", "grade"] == "act"
    assert rows.loc["hit rate", "grade"] == "look"
    assert rows.loc["share without outcome", "grade"] == "look"


def test_pilot_says_that_effects_are_not_for_sample_size():
    page = pilot_page(pilot_table(), "radial_error")
    assert "too uncertain to plan a sample size" in page.statements[0]
    assert not page.table["quantity"].str.contains("effect|power").any()
    with pytest.raises(ColumnError, match="lacks a column"):
        pilot_page(pilot_table(), "hit")
    with pytest.raises(InputError, match="two people"):
        pilot_page(pilot_table(people=1), "radial_error")


def test_ring_push_pilot_offers_target_sizes():
    trials = simulate_study(ring_push(), seed=2, missing=False).trials.table
    target = pilot_page(trials, "hit").target.set_index("hit_rate")
    pre = trials[trials["phase"] == "pretest"]
    share = np.mean(np.hypot(pre["x"], pre["y"]) <= target.loc[0.4, "radius"])
    assert share == pytest.approx(0.4, abs=0.002)
    # Points of many people are a mixture; one normal distribution comes near.
    assert target.loc[0.4, "radius_normal"] == pytest.approx(target.loc[0.4, "radius"], rel=0.15)
