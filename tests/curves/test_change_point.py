"""A sudden change and a monotone curve: hand answers, error rates, power, refusals."""

import numpy as np
import pytest
from scipy.optimize import isotonic_regression

from motorlearn.curves import find_change_point, fit_monotone
from motorlearn.exceptions import InputError

TRIAL = np.arange(1.0, 61.0)
CURVE = 20 + 15 * np.exp(-0.1 * (TRIAL - 1))


def noise(seed, sd=3.0):
    return sd * np.random.default_rng(seed).normal(size=60)


def test_the_statistic_of_two_levels_is_the_best_f_of_all_places():
    y = 10 + noise(1) - 4 * (TRIAL >= 30)
    found = find_change_point(TRIAL, y, form="level", simulations=99)
    best = 0.0
    for c in range(3, 58):
        one, two = y[:c], y[c:]
        left = np.sum((one - one.mean()) ** 2) + np.sum((two - two.mean()) ** 2)
        best = max(best, (np.sum((y - y.mean()) ** 2) - left) / 2 / (left / 57))
    assert found.statistic == pytest.approx(best, rel=1e-9)
    jump = found.estimates.set_index("term").at["jump", "estimate"]
    at = found.estimates.loc[0, "estimate"]
    assert jump == pytest.approx(y[at <= TRIAL].mean() - y[at > TRIAL].mean())


def test_a_jump_is_found_where_it_is():
    y = CURVE - 8 * (TRIAL >= 35) + noise(2, 2.0)
    found = find_change_point(TRIAL, y)
    row = found.estimates.iloc[0]
    assert found.jumps and found.p < 0.01
    assert row["conf_low"] <= 35 <= row["conf_high"] and row["conf_high"] - row["conf_low"] < 12
    assert found.estimates.set_index("term").at["jump", "estimate"] == pytest.approx(-8, abs=2.5)
    assert np.sum((y - found.fitted) ** 2) < np.sum((y - CURVE) ** 2)


@pytest.mark.parametrize(("odd", "place"), [(slice(-2, None), 58), (slice(2), 4)])
def test_three_scores_lie_on_either_side_of_a_place(odd, place):
    y = 20 + noise(1)
    y[odd] += 25
    found = find_change_point(TRIAL, y, form="level", simulations=99)
    assert found.estimates.loc[0, "estimate"] == place
    halves = np.repeat([1.0, 2.0], [8, 3])
    halved = find_change_point(halves, y[:11], form="level", simulations=99)
    assert halved.estimates.loc[0, "estimate"] == 2
    with pytest.raises(InputError, match="no place with three scores on either side"):
        find_change_point(halves[:-1], y[:10], form="level", simulations=99)


def alike(seed, by=0.4, sd=3.0):
    """Noise whose neighbours are correlated."""
    drawn = noise(seed, 1.0)
    for k in range(1, 60):
        drawn[k] = by * drawn[k - 1] + np.sqrt(1 - by**2) * drawn[k]
    return sd * drawn


NOISES = {
    "plain": noise,
    "neighbours": alike,
    "spread": lambda seed: noise(seed) * TRIAL**-0.3,
    "both": lambda seed: alike(seed) * TRIAL**-0.3,
}


@pytest.mark.slow
@pytest.mark.parametrize("kind", NOISES)
def test_without_a_jump_the_search_claims_one_in_twenty(kind):
    """A plain F test of the best place claims one in more than a third of these."""
    found = [
        find_change_point(TRIAL, CURVE + NOISES[kind](s), simulations=199, seed=s)
        for s in range(100)
    ]
    # Binomial(100, .05): above 11 with probability .004 (scipy.stats.binom).
    assert np.sum([one.p <= 0.05 for one in found]) <= 11
    assert np.mean([one.statistic > 3.17 for one in found]) > 0.3


def test_noise_of_the_null_is_that_of_the_scores():
    found = [find_change_point(TRIAL, 20 + alike(s), form="level") for s in range(6)]
    plain = [find_change_point(TRIAL, 20 + noise(s), form="level") for s in range(6)]
    wide = [
        find_change_point(TRIAL, 20 + noise(s) * TRIAL**-0.5, form="level", simulations=99)
        for s in range(6)
    ]
    # Means of six have standard errors of about .05 (correlation) and .04 (power).
    assert np.mean([one.noise["correlation"] for one in found]) == pytest.approx(0.4, abs=0.15)
    assert np.mean([one.noise["correlation"] for one in plain]) < 0.15
    assert np.mean([one.noise["spread_power"] for one in wide]) == pytest.approx(-0.5, abs=0.15)
    assert "correlated by" in found[0].tables()[0].notes[-1]


def test_a_place_without_a_jump_is_said_to_be_that_of_the_largest_step():
    flat = find_change_point(TRIAL, 20 + noise(1), form="level", simulations=99)
    step = find_change_point(TRIAL, 20 + noise(1) - 9 * (TRIAL >= 30), form="level", simulations=99)
    told = [any("would lie" in note for note in one.tables()[0].notes) for one in (flat, step)]
    assert [flat.jumps, step.jumps] == [False, True] and told == [True, False]


@pytest.mark.parametrize(
    ("n", "y", "options", "said"),
    [
        (TRIAL[:9], CURVE[:9], {}, "ten scores"),
        (TRIAL, np.ones(60), {}, "all the same"),
        (TRIAL, (CURVE > 25).astype(float), {}, "scores"),
        (TRIAL, CURVE, {"form": "s_shaped"}, "one rate"),
        (TRIAL, CURVE, {"simulations": 10}, "simulations"),
        (TRIAL - 1, CURVE, {"form": "power"}, "practice counts of at least"),
        (TRIAL, CURVE[:-1], {}, "differ in length"),
        (TRIAL, CURVE, {"level": 95}, "confidence level"),
    ],
)
def test_refusals(n, y, options, said):
    with pytest.raises(InputError, match=said):
        find_change_point(n, y, **options)


def test_the_monotone_curve_is_monotone_and_no_closer_than_the_best_monotone_steps():
    y = CURVE + noise(3)
    found = fit_monotone(TRIAL, y, simulations=99)
    assert found.falls and np.all(np.diff(found.fitted) <= 1e-9)
    steps = isotonic_regression(y, increasing=False).x
    assert np.sum((y - found.fitted) ** 2) >= np.sum((y - steps) ** 2)
    assert found.predict(TRIAL) == pytest.approx(found.fitted)
    rising = fit_monotone(TRIAL, -y, simulations=99)
    assert not rising.falls and rising.fitted == pytest.approx(-found.fitted, abs=1e-6)


def test_a_form_that_bends_elsewhere_is_found_out():
    late = 35 - 15 / (1 + np.exp(-0.4 * (TRIAL - 25))) + noise(4, 1.5)
    assert fit_monotone(TRIAL, late, simulations=199).p < 0.01
    assert fit_monotone(TRIAL, late, form="s_shaped", simulations=99).p > 0.05


@pytest.mark.slow
@pytest.mark.parametrize("kind", NOISES)
def test_a_right_form_is_doubted_one_time_in_twenty(kind):
    found = [
        fit_monotone(TRIAL, CURVE + NOISES[kind](s), simulations=99, seed=s).p <= 0.05
        for s in range(60)
    ]
    # Binomial(60, .05): above 8 with probability .003 (scipy.stats.binom).
    assert np.sum(found) <= 8


@pytest.mark.parametrize(
    ("n", "y", "said"),
    [
        (TRIAL[:6], CURVE[:6], "ten practice counts"),
        (TRIAL - 1, CURVE, "above 0"),
        (TRIAL, (CURVE > 25).astype(float), "scores"),
    ],
)
def test_monotone_refusals(n, y, said):
    with pytest.raises(InputError, match=said):
        fit_monotone(n, y)
