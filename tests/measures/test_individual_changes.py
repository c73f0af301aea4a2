"""Who changed beyond trial noise: own limits, and how often chance alone leaves them."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from motorlearn import measures as m
from motorlearn.exceptions import ColumnError, InputError
from motorlearn.measures.individual_changes import GROUP_TRIALS, OWN_TRIALS


def chance_of_leaving(rate, attempts, later):
    """Exact chance that a person whose rate does not change leaves the own limits."""
    k, j = np.arange(attempts + 1), np.arange(later + 1)
    beyond = m.hit_change((k[:, None], j[None]), (attempts, later)).exceeds != 0
    return stats.binom.pmf(k, attempts, rate) @ beyond @ stats.binom.pmf(j, later, rate)


@pytest.mark.parametrize("pair", [(20, 20), (20, 10), (10, 36), (60, 60)])
def test_own_limits_of_hits_keep_five_per_cent_at_every_rate(pair):
    rates = [chance_of_leaving(p, *pair) for p in np.linspace(0.01, 0.99, 99)]
    assert max(rates) < 0.056
    assert np.mean(rates[20:80]) > 0.025


def test_a_band_from_the_group_hides_a_change_of_who_seldom_hits():
    """The band of a group at 60 % is 6.07 hits; from 0 of 20, 5 hits are beyond own limits."""
    band = float(m.smallest_detectable_change(m.binomial_sem(0.6, 20)))
    down, up = m.hit_limits([0, 9], 20, 20)
    assert up.tolist() == [5, 16] and up[0] < band
    assert np.isnan(down[0]) and down[1] == 3


def test_limits_are_where_the_verdict_turns():
    hits, attempts, later = 9, 20, 30
    down, up = m.hit_limits(hits, attempts, later)
    for value, exceeds in ((down, -1), (down + 1, 0), (up - 1, 0), (up, 1)):
        assert m.hit_change((hits, value), (attempts, later)).exceeds == exceeds


def test_interval_is_newcombe_s():
    found = m.hit_change((48, 56), (80, 70))
    assert [found.change, found.conf_low, found.conf_high] == pytest.approx(
        m.newcombe_difference((56, 48), (70, 80))
    )


def test_day_to_day_variation_widens_the_limits_and_keeps_the_rate():
    rng = np.random.default_rng(4)
    rates = np.clip(0.5 + rng.normal(0, 0.08, size=(2, 40_000)), 0, 1)
    hits = rng.binomial(20, rates)
    without = m.hit_change(tuple(hits), (20, 20)).exceeds != 0
    with_it = m.hit_change(tuple(hits), (20, 20), day_to_day=0.08).exceeds != 0
    assert without.mean() > 0.08
    assert with_it.mean() == pytest.approx(0.045, abs=0.012)


@pytest.mark.parametrize("trials", [(3, 3), (6, 10), (20, 20)])
def test_own_limits_of_landing_errors_keep_their_rate_where_people_differ_in_spread(trials):
    """Rayleigh-like radial errors, spread lognormal between people, nobody changes."""
    rng = np.random.default_rng(5)
    left = []
    for _ in range(20):
        spread = 15 * np.exp(rng.normal(0, 0.2, 200))
        rows = [
            pd.DataFrame(
                {
                    "participant": np.repeat(np.arange(200), n),
                    "phase": test,
                    "radial_error": np.hypot(
                        *(rng.normal(size=(2, 200, n)) * spread[:, None])
                    ).ravel(),
                }
            )
            for test, n in zip(("pretest", "retention"), trials)
        ]
        found = m.individual_changes(
            pd.concat(rows), "radial_error", tests=("pretest", "retention"), better="lower"
        )
        left.append((found.people["verdict"] != "within noise").mean())
        basis = OWN_TRIALS if min(trials) >= 5 else GROUP_TRIALS
        assert set(found.people["basis"]) == {basis}
    assert np.mean(left) == pytest.approx(0.05, abs=0.015)


def study():
    return pd.DataFrame(
        {
            "participant": list("aabbccdde"),
            "phase": ["pretest", "retention"] * 4 + ["pretest"],
            "hits": [9, 13, 2, 12, 18, 9, 3, 20, 7],
            "attempts": [20, 20, 20, 20, 20, 20, 20, 20, 20],
            "void": ["", "", "", "", "", "", "", "rain", ""],
        }
    )


def test_table_names_who_left_the_own_limits():
    found = m.individual_changes(study(), "hits", tests=("pretest", "retention"), better="higher")
    people = found.people.set_index("participant")
    assert people["verdict"].to_dict() == {
        "a": "within noise",
        "b": "better",
        "c": "worse",
        "d": "not computable",
        "e": "not computable",
    }
    assert people.loc["b", ["first", "second", "change"]].tolist() == pytest.approx([0.1, 0.6, 0.5])
    assert found.recipe.n == 3 and found.expected_by_chance == pytest.approx(0.15)
    text = str(found)
    assert "1 got better and 1 worse" in text and "chance alone" in text
    assert type(found).from_json(found.to_json()).people.equals(found.people)
    assert "within noise" in found._repr_html_()


def test_zeros_and_ones_are_hits_too():
    rows = study().query("participant in ['a', 'b']")
    ones = pd.concat(
        pd.DataFrame(
            {
                "participant": row.participant,
                "phase": row.phase,
                "hit": np.r_[np.ones(row.hits), np.zeros(20 - row.hits)],
            }
        )
        for row in rows.itertuples()
    )
    tests = ("pretest", "retention")
    counted = m.individual_changes(rows, "hits", tests=tests, better="higher").people
    single = m.individual_changes(ones, "hit", tests=tests, better="higher").people
    pd.testing.assert_frame_equal(counted, single)


def test_lower_is_better_turns_the_verdict():
    rows = pd.DataFrame(
        {
            "participant": "a",
            "phase": ["pretest"] * 6 + ["retention"] * 6,
            "time": [9.0, 9.1, 9.2, 8.9, 9.0, 9.1, 7.0, 7.1, 6.9, 7.2, 7.0, 7.1],
        }
    )
    found = m.individual_changes(rows, "time", tests=("pretest", "retention"), better="lower")
    assert found.people["verdict"].item() == "better"
    assert found.people["change"].item() < 0
    welch = stats.ttest_ind(rows["time"][6:], rows["time"][:6], equal_var=False)
    interval = welch.confidence_interval()
    assert found.people[["conf_low", "conf_high"]].iloc[0].tolist() == pytest.approx(list(interval))


def test_one_trial_each_is_not_computable():
    rows = pd.DataFrame(
        {"participant": ["a", "a"], "phase": ["pretest", "retention"], "time": [9.0, 1.0]}
    )
    found = m.individual_changes(rows, "time", tests=("pretest", "retention"), better="lower")
    assert found.people["verdict"].item() == "not computable"
    assert found.recipe.n == 0


def test_interval_of_the_detectable_change_covers():
    rng = np.random.default_rng(6)
    differences = rng.normal(0, np.sqrt(2) * 3, size=(5000, 15))
    sem = differences.std(axis=1, ddof=1) / np.sqrt(2)
    low, high = m.detectable_change_interval(sem, 14)
    truth = m.smallest_detectable_change(3.0)
    assert np.mean((low <= truth) & (truth <= high)) == pytest.approx(0.95, abs=0.01)


def test_refusals():
    tests = ("pretest", "retention")
    with pytest.raises(ColumnError, match="attempts"):
        m.individual_changes(study().drop(columns="attempts"), "hits", tests=tests, better="higher")
    with pytest.raises(InputError, match="better"):
        m.individual_changes(study(), "hits", tests=tests, better="more")
    with pytest.raises(InputError, match="transfer"):
        m.individual_changes(study(), "hits", tests=("pretest", "transfer"), better="higher")
    with pytest.raises(InputError, match="level"):
        m.hit_change((1, 2), (20, 20), level=95)
    with pytest.raises(InputError, match="level"):
        m.smallest_detectable_change(2.0, level=95)
    with pytest.raises(InputError, match="day"):
        m.hit_change((1, 2), (20, 20), day_to_day=-1)
    with pytest.raises(InputError, match="whole"):
        m.hit_limits(1, 20, 20.5)
