"""Invented studies of conditions that each person meets."""

import pytest
import studies

import motorlearn as ml
from motorlearn.exceptions import InputError


def planned(conditions=("blocked", "random"), by="period", size=12):
    return ml.design.design_from_mapping(
        studies.plan(
            studies.ERROR,
            groups=[{"name": name, "schedule": name, "size": size} for name in conditions],
            tasks=[{"name": "near"}, {"name": "far"}],
            within={"by": by, "washout_days": 14},
            primary={"outcome": "radial_error", "groups": [conditions[1], conditions[0]]},
            units={"length": "cm"},
        )
    )


@pytest.mark.parametrize("conditions", [("blocked", "random"), ("blocked", "serial", "random")])
def test_everybody_meets_every_condition_once_in_a_counterbalanced_order(conditions):
    study = ml.simulate_study(planned(conditions), seed=3, missing=False)
    met = study.trials.table.drop_duplicates(["participant", "period"])
    assert (met.groupby("participant")["group"].nunique() == len(conditions)).all()
    places = met.groupby(["period", "group"]).size()
    assert places.nunique() == 1 and places.iloc[0] == 12 / len(conditions)
    orders = met.sort_values("period").groupby("participant")["group"].agg(" then ".join)
    assert study.participants.set_index("participant")["group"].eq(orders).all()
    analysed = ml.analysis.study.page_analysis(study, mixed=False)
    assert not analysed.refused and analysed.primary["n_group"].iloc[0] == 12


def test_who_withdrew_is_absent_from_then_on_and_periods_follow_each_other():
    study = ml.simulate_study(planned(size=48), seed=2)
    table = study.trials.table
    stopped = study.participants.loc[
        study.participants["status"].str.startswith("withdrew"), "participant"
    ]
    first = table[(table["period"] == 1) & (table["phase"] == "acquisition")]
    early = first.groupby("participant").size()
    early = set(early[early < 60].index)
    assert early and early & set(stopped) == early
    assert not early & set(table.loc[table["period"] == 2, "participant"])
    assert (
        table[table["period"] == 1]["date"].max()
        < table[table["period"] == 2].groupby("participant")["date"].min().max()
    )


def test_the_same_seed_gives_the_same_study_and_a_task_of_its_own_is_refused():
    one, two = (ml.simulate_study(planned(), seed=5).trials.table for _ in range(2))
    assert one.equals(two)
    with pytest.raises(InputError, match="by period only"):
        ml.simulate_study(planned(by="task"), seed=1)


def test_the_true_effect_is_found_within_people():
    """With everybody better under random practice at retention, the mean over seeds says so."""
    plan = planned(size=24)
    found = [
        ml.analysis.study.primary_comparison(ml.simulate_study(plan, seed=seed, preset=preset))
        for preset in ("laboratory", "null")
        for seed in (1, 2, 3)
    ]
    estimates = [entry.primary["estimate"].iloc[0] for entry in found]
    assert sum(estimates[:3]) / 3 < -1 < sum(estimates[3:]) / 3
