"""The demonstrations show what they say: hand answers, simulation, invariants, refusals."""

import dataclasses

import numpy as np
import pytest
from scipy import integrate, stats

import motorlearn as ml
from motorlearn.exceptions import InputError
from motorlearn.plan.simulation.presets import PRESETS
from motorlearn.teaching.demonstrations.pooled_trials import people_p_values, pooled_p_values
from motorlearn.teaching.demonstrations.practice_and_tests import forgotten
from motorlearn.teaching.demonstrations.twenty_attempts import hit_rate_moments, retest_correlation
from motorlearn.teaching.demonstrations.two_groups import mean_interval

teaching = ml.teaching
COMPUTE = {name: lesson.compute for name, lesson in teaching.LESSONS.items()}


@pytest.mark.parametrize("name", COMPUTE)
def test_the_same_seed_gives_the_same_numbers_and_another_seed_others(name):
    first, again, other = (COMPUTE[name](seed=seed) for seed in (3, 3, 4))
    assert first.to_json() == again.to_json() != other.to_json()


@pytest.mark.parametrize("name", COMPUTE)
def test_conclusion_is_one_sentence_and_the_text_holds_numbers(name):
    shown = COMPUTE[name]()
    assert shown.conclusion.endswith(".") and ". " not in shown.conclusion
    assert any(character.isdigit() for character in shown.text)
    assert str(shown) and shown.to_frame().shape[0]


@pytest.mark.parametrize("name", COMPUTE)
def test_a_result_survives_json(name):
    shown = COMPUTE[name]()
    assert type(shown).from_json(shown.to_json()).text == shown.text


@pytest.mark.parametrize(
    ("name", "setting"),
    [
        ("practice and tests", {"days": -1}),
        ("practice and tests", {"preset": "wishful"}),
        ("practice and tests", {"per_group": 1}),
        ("twenty attempts", {"hit_rate": 1.0}),
        ("pooled trials", {"attempts": 0}),
        ("pooled trials", {"spread": float("nan")}),
        ("regression to the mean", {"chosen": 0}),
        ("averaged curves", {"noise": 0.0}),
        ("feedback dependence", {"every": 1}),
        ("feedback dependence", {"preset": "wishful"}),
    ],
)
def test_a_setting_outside_its_range_is_named(name, setting):
    with pytest.raises(InputError) as caught:
        COMPUTE[name](**setting)
    assert str(next(iter(setting.values()))) in str(caught.value)
    assert "choose" in str(caught.value)


# Performance is not learning --------------------------------------------------------------------


def test_reversal_shows_over_many_classes_and_is_the_interaction():
    shown = [teaching.practice_and_tests(seed=seed) for seed in range(60)]
    practice, retention, change = np.mean([s.differences["estimate"] for s in shown], axis=0)
    assert practice > 1.5 and retention < -1.5
    assert change == pytest.approx(retention - practice)


def test_interaction_is_the_welch_test_of_each_persons_change():
    shown = teaching.practice_and_tests()
    change = shown.people["retention"] - shown.people["practice"]
    blocked, random = (change[shown.people["group"] == g] for g in ("blocked", "random"))
    expected = stats.ttest_ind(random, blocked, equal_var=False).confidence_interval()
    assert shown.differences.loc[2, "conf_low"] == pytest.approx(expected.low)
    assert shown.differences.loc[2, "conf_high"] == pytest.approx(expected.high)


def test_null_preset_claims_a_reversal_no_more_often_than_its_interval_promises():
    # Null: schedules do nothing. The interval of the interaction leaves out zero in 5 % of classes.
    misses = 0
    for seed in range(300):
        row = teaching.practice_and_tests(preset="null", per_group=12, seed=seed).differences.loc[2]
        misses += not row["conf_low"] <= 0 <= row["conf_high"]
    assert stats.binomtest(misses, 300, 0.05).pvalue > 0.001


def test_longer_gaps_forget_more_and_a_week_forgets_what_was_set():
    assert forgotten(0, 0.35) == pytest.approx(0.05)
    assert forgotten(7, 0.35) == pytest.approx(0.35)
    assert np.all(np.diff([forgotten(days, 0.35) for days in (0, 1, 3, 7, 28, 60)]) > 0)
    week, month = (teaching.practice_and_tests(days=days) for days in (7, 28))
    assert month.people["retention"].mean() > week.people["retention"].mean()


def test_a_test_without_a_gap_is_not_called_retention():
    assert "no retention test" in teaching.practice_and_tests(days=0).conclusion


def test_a_larger_group_keeps_its_earlier_members():
    small, large = (teaching.practice_and_tests(per_group=n) for n in (10, 30))
    shared = large.people.merge(small.people, on=["participant", "group"])
    assert len(shared) == 20
    np.testing.assert_allclose(shared["retention_x"], shared["retention_y"])


def test_levels_agree_with_the_generator_of_invented_studies():
    # Expected radial error over people at the end of practice, by quadrature of the same presets.
    preset = dataclasses.replace(
        PRESETS["null"], bias_x=(0, 0), bias_y=(0, 0), aspect=1.0, log_sd_between=0.0
    )
    shown = teaching.practice_and_tests(preset=preset, per_group=400)
    first = shown.means.query("moment == 'block 1'")["mean"].mean()
    gain = preset.gain_median * np.exp(preset.gain_log_sd * stats.norm.ppf(GRID))
    rate = preset.rate_median * np.exp(preset.rate_log_sd * stats.norm.ppf(GRID))
    sigma = np.exp(preset.log_sd + gain[:, None, None] * np.exp(-rate[:, None] * np.arange(18) / 3))
    assert first == pytest.approx(np.sqrt(np.pi / 2) * sigma.mean(), rel=0.02)


GRID = (np.arange(200) + 0.5) / 200


def test_the_effect_of_the_schedule_moves_from_its_immediate_to_its_delayed_value():
    # Everybody alike, so that the ratio of the groups is the effect of the schedule alone. By hand:
    # share lost 1 - .95 (1 + d)^(-.1825), so .20 (half of the way from .05 to .35) after 1.564 days
    # and .551 after 60, which is 1.671 of that way.
    preset = dataclasses.replace(
        PRESETS["null"],
        shifts={"posttest": {"random": 0.5}, "retention": {"random": -0.5}},
        log_sd_between=0.0, gain_log_sd=0.0, rate_log_sd=0.0, forgetting_sd=0.0,
        bias_x=(0, 0), bias_y=(0, 0),
    )  # fmt: skip
    for days, effect in ((0, 0.5), (7, -0.5), (60, -1.171), (1.564, 0.0)):
        shown = teaching.practice_and_tests(preset=preset, days=days, per_group=400)
        means = shown.people.groupby("group")["retention"].mean()
        assert np.log(means["random"] / means["blocked"]) == pytest.approx(effect, abs=0.03)


def test_reversal_needs_a_turn_of_the_sign():
    flags = {
        preset: [
            teaching.practice_and_tests(preset=preset, per_group=60, seed=seed)
            for seed in range(20)
        ]
        for preset in ("laboratory", "null")
    }
    assert sum(shown.reversal for shown in flags["laboratory"]) >= 18
    assert not any(shown.reversal for shown in flags["null"])
    for shown in flags["laboratory"]:
        practice, retention, _ = shown.differences["estimate"]
        assert not shown.reversal or practice * retention < 0


def test_intervals_of_means_are_students():
    scores = np.array([3.0, 4.0, 8.0, 1.0, 5.0])
    low, high = stats.t.interval(0.95, 4, scores.mean(), stats.sem(scores))
    assert mean_interval(scores) == pytest.approx((4.2, low, high))


# Twenty attempts --------------------------------------------------------------------------------


def test_twenty_attempts_by_hand():
    shown = teaching.twenty_attempts()
    assert shown.std_error == pytest.approx(np.sqrt(20 * 0.6 * 0.4))
    assert shown.smallest_change == pytest.approx(6.07, abs=0.005)
    assert (round(shown.hit_low, 3), round(shown.hit_high, 3)) == (0.387, 0.781)
    assert shown.counts["probability"].sum() == pytest.approx(1)
    assert "7 hits" in shown.conclusion


def test_moments_of_hit_rates_agree_with_another_quadrature():
    for rate, spread in ((0.6, 0.7), (0.2, 1.5)):
        logit = np.log(rate / (1 - rate))

        def p(z, logit=logit, spread=spread):
            return 1 / (1 + np.exp(-(logit + spread * z)))

        mean = integrate.quad(lambda z: p(z) * stats.norm.pdf(z), -10, 10)[0]
        square = integrate.quad(lambda z: p(z) ** 2 * stats.norm.pdf(z), -10, 10)[0]
        assert hit_rate_moments(rate, spread) == pytest.approx((mean, square - mean**2), abs=1e-8)


def test_retest_correlation_agrees_with_simulated_retests():
    rng = np.random.default_rng(5)
    p = 1 / (1 + np.exp(-(np.log(1.5) + 0.7 * rng.standard_normal(200_000))))
    simulated = np.corrcoef(rng.binomial(20, p), rng.binomial(20, p))[0, 1]
    assert retest_correlation(20, 0.6, 0.7) == pytest.approx(simulated, abs=0.005)


# Pooled trials ----------------------------------------------------------------------------------


def test_pooled_p_value_is_the_chi_square_test_of_the_two_by_two_table():
    hits = np.array([[[12, 9, 15], [17, 14, 16]]])
    table = [[36, 24], [47, 13]]
    expected = stats.chi2_contingency(table, correction=False).pvalue
    assert pooled_p_values(hits, 20)[0] == pytest.approx(expected)


def test_peoples_p_value_is_students_t_test():
    hits = np.random.default_rng(2).binomial(20, 0.6, (5, 2, 8))
    expected = stats.ttest_ind(hits[:, 0], hits[:, 1], axis=1).pvalue
    np.testing.assert_allclose(people_p_values(hits), expected)


def test_equal_scores_are_no_evidence():
    assert pooled_p_values(np.full((1, 2, 4), 20), 20)[0] == 1
    assert people_p_values(np.full((1, 2, 4), 20))[0] == 1


def test_pooling_deceives_only_where_people_differ():
    alike = teaching.pooled_trials(spread=0.0, studies=5000).false_positives["share"]
    apart = teaching.pooled_trials(studies=5000).false_positives["share"]
    assert alike[0] == pytest.approx(0.05, abs=0.012)
    assert apart[0] > 0.2 and apart[1] == pytest.approx(0.05, abs=0.012)


# Averages ---------------------------------------------------------------------------------------


def test_the_spread_of_rates_flips_the_winner_of_the_average_only():
    # Simulated elsewhere with other numbers of learners: spread 1.3, learners 97 %, averages 33 %;
    # spread 1.6, averages 0 %.
    shares = {
        spread: teaching.averaged_curves(spread=spread).shares["share"]
        for spread in (0.0, 0.3, 1.3, 1.6)
    }
    assert all(people > 0.9 for people, _ in shares.values())
    assert shares[0.0][1] == shares[0.3][1] == 1.0
    assert shares[1.3][1] < 0.5
    assert shares[1.6][1] < 0.1


def test_fits_to_the_average_agree_with_the_public_fit():
    shown = teaching.averaged_curves()
    for form in ("exponential", "power"):
        fit = ml.fit_curve(shown.practice, shown.fitted["mean"], form=form)
        np.testing.assert_allclose(shown.fitted[form], fit.predict(shown.practice), rtol=1e-4)


# Regression to the mean -------------------------------------------------------------------------


def _mean_change(**settings):
    return np.mean(
        [
            teaching.regression_to_mean(seed=seed, **settings).changes["estimate"]
            for seed in range(40)
        ],
        axis=0,
    )


def test_people_chosen_for_a_poor_score_gain_without_any_effect():
    assert _mean_change(effect=0)[0] > 1.5
    assert abs(_mean_change(effect=0, chosen=1.0)[0]) < 0.1


def test_the_control_group_gains_as_much_and_the_difference_is_the_effect():
    programme, control, effect = _mean_change(effect=0, control=True)
    assert programme == pytest.approx(control, abs=0.25)
    assert abs(effect) < 0.25
    assert _mean_change(effect=0.5, control=True)[2] > 1.5


def test_allocation_by_lot_does_not_use_the_lot_of_the_cut():
    pretests = [
        teaching.regression_to_mean(control=True, seed=seed).people.groupby("group")["pretest"]
        for seed in range(40)
    ]
    gap = [means.mean()["control"] - means.mean()["programme"] for means in pretests]
    assert abs(np.mean(gap)) < 4 * np.std(gap) / np.sqrt(len(gap))


# Feedback ---------------------------------------------------------------------------------------


def test_the_presets_of_feedback_differ_where_they_should():
    test = {
        preset: teaching.feedback_dependence(preset=preset, per_group=300).differences["estimate"]
        for preset in ("guidance", "null", "information")
    }
    assert all(rows[0] > 0 for rows in test.values())
    assert test["guidance"][1] < -1
    assert abs(test["null"][1]) < 0.3
    assert test["information"][1] > 1
