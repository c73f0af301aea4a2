"""Groups compared on quantities of curves: against a library, by hand, refusals, error rates."""

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.meta_analysis import combine_effects

import motorlearn as ml
from motorlearn.curves import compare_curves, curve_quantities
from motorlearn.exceptions import ColumnError, InputError

TRIAL = np.arange(1.0, 41.0)


def study(seed=1, learners=8, ratio=1.0, noise=1.5):
    rng, parts = np.random.default_rng(seed), []
    for k in range(2 * learners):
        rate = np.exp(np.log(0.15) + 0.3 * rng.normal()) * (ratio if k % 2 else 1.0)
        y = 20 + 2 * rng.normal() + (12 + rng.normal()) * np.exp(-rate * (TRIAL - 1))
        y = y + noise * rng.normal(size=40)
        group = "random" if k % 2 else "blocked"
        parts.append(pd.DataFrame({"participant": k, "group": group, "trial": TRIAL, "y": y}))
    return pd.concat(parts, ignore_index=True)


def compare(table, **options):
    return compare_curves(table, "y", practice="trial", group="group", **options)


def test_tables_name_the_quantity_in_words():
    titles = [table.title for table in compare(study()).tables()]
    assert titles == ["Groups compared: half-life", "Half-life by group"]


def test_means_are_those_of_a_meta_analysis_of_the_learners():
    table = study()
    found = compare(table, quantity="level_at", at=20.0)
    for row in found.groups.itertuples():
        effects, variances = [], []
        for _, part in table[table["group"] == row.group].groupby("participant"):
            told = curve_quantities(
                ml.fit_curve(part["trial"], part["y"]), level_at=[20.0], level=0.95
            )
            one = told.estimates.iloc[0]
            from_people = found.people.set_index("participant").loc[part["participant"].iloc[0]]
            assert one["estimate"] == pytest.approx(from_people["estimate"])
            effects.append(one["estimate"])
            variances.append(from_people["std_error"] ** 2)
        wanted = combine_effects(
            np.array(effects), np.array(variances), method_re="iterated", use_t=True
        )
        low, high = wanted.conf_int(use_t=True)[3]
        assert row.estimate == pytest.approx(wanted.mean_effect_re)
        assert [row.conf_low, row.conf_high] == pytest.approx([low, high], rel=1e-6)
    gap = found.groups["estimate"].diff().iloc[1]
    assert found.contrasts.loc[0, "estimate"] == pytest.approx(gap)
    assert found.contrasts.loc[0, "kind"] == "difference"


def test_a_learner_who_is_known_well_counts_for_more():
    table = study(noise=0.5)
    odd = table["participant"] == 2
    rng = np.random.default_rng(3)
    table.loc[odd, "y"] = 60 + 4 * np.exp(-0.9 * (TRIAL - 1)) + 3.0 * rng.normal(size=40)
    found = compare(table)
    person = found.people.set_index("participant").loc[2]
    others = found.people.drop(index=2)
    if np.isfinite(person["std_error"]):
        assert person["std_error"] > 3 * others["std_error"].median()
    else:
        assert person["reason"]


def test_ratio_of_half_lives_is_found():
    found = compare(study(seed=4, ratio=2.0, learners=12, noise=1.0))
    row = found.contrasts.iloc[0]
    assert row["kind"] == "ratio" and row["conf_low"] < 0.5 < row["conf_high"] and row["p"] < 0.01


def test_learners_without_the_quantity_are_named_and_the_reader_is_warned():
    table = study(learners=6)
    flat = table["participant"].isin([0, 2])
    table.loc[flat, "y"] = 20 + np.random.default_rng(1).normal(size=int(flat.sum()))
    found = compare(table)
    assert found.groups.set_index("group").loc["blocked", "left_out"] == 2
    assert set(found.people.loc[found.people["participant"].isin([0, 2]), "reason"]) == {
        "no change"
    }
    assert "blocked 2 of 6" in found.warnings[0]


@pytest.mark.parametrize(
    ("options", "error", "said"),
    [
        ({"quantity": "speed"}, InputError, "quantity"),
        ({"at": 3.0}, InputError, "half-life"),
        ({"quantity": "area", "at": 3.0}, InputError, "two practice counts"),
        ({"quantity": "level_at"}, InputError, "one number"),
        ({"participant": "who"}, ColumnError, "who"),
        ({"level": 95}, InputError, "confidence level"),
        ({"form": "line"}, InputError, "no learning curve"),
        ({"quantity": "trials_to", "at": 5.0}, InputError, "does not reach"),
    ],
)
def test_refusals(options, error, said):
    with pytest.raises(error, match=said):
        compare(study(learners=3), **options)


def test_one_group_or_two_groups_of_one_person_are_refused():
    table = study(learners=3)
    with pytest.raises(InputError, match="two groups"):
        compare(table[table["group"] == "random"])
    table.loc[0, "group"] = "random"
    with pytest.raises(InputError, match="more than one group"):
        compare(table)


def test_areas_and_levels_by_hand():
    fit = ml.fit_curve(TRIAL, 20 + 15 * np.exp(-0.1 * (TRIAL - 1)))
    told = curve_quantities(fit, area=(1.0, 41.0)).estimates.set_index("quantity")
    assert told.at["area", "estimate"] == pytest.approx(20 * 40 + 150 * (1 - np.exp(-4)), rel=1e-6)
    with pytest.raises(InputError, match="two practice counts"):
        curve_quantities(fit, area=(5.0, 1.0))


@pytest.mark.slow
def test_equal_groups_differ_no_more_often_than_they_should():
    rejected = np.array(
        [compare(study(seed, 10)).contrasts.loc[0, "p"] < 0.05 for seed in range(120)]
    )
    assert rejected.mean() < 0.11


def of_sessions(seed, saved=(0.8, 0.5), learners=6, noise=0.7):
    """Two groups of learners with three days, who keep a share of their way over night."""
    rng, parts = np.random.default_rng(seed), []
    day = np.repeat(["a", "b", "c"], 14)
    for who in range(2 * learners):
        kept, way, now = saved[who % 2] + 0.05 * rng.normal(), [], 1.0
        for k in range(42):
            now *= np.exp(-0.15) if k else 1.0
            now = kept * now + 1 - kept if k in (14, 28) else now
            way.append(now)
        y = 20 + rng.normal() + 12 * np.array(way) + noise * rng.normal(size=42)
        group = "random" if who % 2 else "blocked"
        named = {"participant": who, "group": group, "trial": np.arange(1.0, 43), "day": day}
        parts.append(pd.DataFrame(named | {"y": y}))
    return pd.concat(parts, ignore_index=True)


def test_groups_are_compared_on_their_savings():
    table = of_sessions(1)
    asked = {"quantity": "savings", "session": "day", "restart": "savings"}
    found = compare(table, **asked)
    assert found.groups["estimate"].tolist() == pytest.approx([0.8, 0.5], abs=0.1)
    row = found.contrasts.iloc[0]
    assert row["kind"] == "difference"
    assert row["conf_low"] < -0.3 < row["conf_high"] < 0
    alone = [compare(table, at=at, **asked).people["estimate"] for at in ("b", "c")]
    assert found.people["estimate"].to_numpy() == pytest.approx(np.mean(alone, axis=0))
    own = table[table["participant"] == 0]
    fit = ml.fit_curve(own["trial"], own["y"], session=own["day"], restart="savings")
    told = curve_quantities(fit).estimates
    assert alone[0][0] == pytest.approx(told.loc[told["quantity"] == "savings", "estimate"].iloc[0])
    error = fit.estimates.set_index("term").at["savings[b]", "std_error"]
    assert compare(table, at="b", **asked).people.loc[0, "std_error"] == pytest.approx(error)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"quantity": "savings"}, "give session, a column, and restart"),
        ({"quantity": "savings", "session": "day"}, "restart='savings' or 'both'"),
        (
            {"quantity": "savings", "session": "day", "restart": "both", "at": "z"},
            "there is no session 'z'",
        ),
        ({"nonsense": 1}, "no such option of compare_curves"),
    ],
)
def test_savings_without_sessions_and_unknown_options_are_refused(options, said):
    with pytest.raises(InputError, match=said):
        compare(of_sessions(1), **options)
