"""Audit of curves, rater agreement and equivalence."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.audit.curves import runs_correlation, runs_test
from motorlearn.design import design_from_mapping
from motorlearn.linear import equivalence_test

N = np.arange(1, 73)


def curve(seed=0, rate=0.08, noise=None, gain=15.0, log=False):
    rng = np.random.default_rng(seed)
    mean = 20 + gain * np.exp(-rate * (N - 1))
    scatter = rng.normal(0, 2.5, len(N)) if noise is None else noise(rng)
    return ml.fit_curve(N, mean * np.exp(scatter / 20) if log else mean + scatter)


def row(result, words, **options):
    table = ml.check_assumptions(result, **options).table
    chosen = table[table["assumption"].str.contains(words, regex=False)]
    assert len(chosen) == 1, table["assumption"].tolist()
    return chosen.iloc[0]


def serially(rng, rho=0.7):
    e = np.zeros(len(N))
    for i in range(1, len(N)):
        e[i] = rho * e[i - 1] + 2 * rng.normal()
    return e


# Curves -----------------------------------------------------------------------------------------


def test_a_clean_curve_passes():
    table = ml.check_assumptions(curve()).table
    shape = table[~table["assumption"].str.contains("rival")]
    assert set(shape["grade"]) == {"fine"}


def test_a_curve_that_never_flattened_is_not_believed():
    found = curve(rate=0.006, gain=60)
    assert row(found, "pinned down")["grade"] == "act"
    assert row(found, "flatten")["grade"] != "fine"


def test_serial_correlation_along_practice_is_flagged_and_widens_the_interval():
    found = row(curve(noise=serially), "independent")
    assert found["grade"] != "fine"
    assert "widened" in found["remedied"]


def test_scatter_that_shrinks_with_practice_is_flagged():
    shrinking = lambda rng: rng.normal(0, 1, len(N)) * np.where(N < 30, 6, 1.5)  # noqa: E731
    found = row(curve(noise=shrinking), "early and late")
    assert found["value"] > 2
    assert found["grade"] != "fine"


def test_a_step_inside_practice_shows_in_the_runs():
    step = lambda rng: rng.normal(0, 1.5, len(N)) + 8 * ((N > 25) & (N < 45))  # noqa: E731
    found = row(curve(noise=step), "stretches above or below")
    assert found["grade"] == "act"
    assert found["value"] > 0.5


def test_hits_have_their_own_residuals():
    rng = np.random.default_rng(1)
    p = 1 / (1 + np.exp(-(0.8 - 1.8 * np.exp(-0.08 * (N - 1)))))
    result = ml.fit_curve(N, rng.binomial(10, p), attempts=np.full(len(N), 10))
    audit = ml.check_assumptions(result)
    assert audit.residuals["residual"].std() == pytest.approx(1, abs=0.25)


def test_many_learners_and_one_average():
    rng = np.random.default_rng(2)
    people = pd.DataFrame({"participant": np.repeat(list("abcdef"), 72), "n": np.tile(N, 6)})
    people["error"] = 20 + 15 * np.exp(-0.08 * (people["n"] - 1)) + rng.normal(0, 2, len(people))
    fits = ml.fit_curves(people, "error", practice="n", by="participant")
    assert row(fits, "pinned down")["grade"] == "fine"
    assert row(fits, "not to their average")["grade"] == "fine"
    means = people.groupby("n", as_index=False)["error"].mean().assign(group="all")
    average = ml.fit_curves(means, "error", practice="n", by="group")
    assert row(average, "not to their average")["grade"] == "act"


@pytest.mark.parametrize(("blocks", "said"), [(5, True), (6, False)])
def test_with_five_scores_aicc_compares_no_forms(blocks, said):
    """Its correction, ``2q(q + 1) / (n - q - 1)``, has no value for a curve, which has q = 4."""
    rng = np.random.default_rng(3)
    people = pd.DataFrame({
        "participant": np.repeat(list("abcd"), blocks), "n": np.tile(np.arange(1, blocks + 1), 4),
    })  # fmt: skip
    people["error"] = 20 + 15 * np.exp(-0.5 * people["n"]) + rng.normal(0, 0.5, len(people))
    many = ml.fit_curves(people, "error", practice="n", by="participant")
    one = ml.fit_curve(people["n"][:blocks], people["error"][:blocks])
    for fit in (many, one):
        found = row(fit, "is preferred over its rival")
        assert ("too few scores for AICc" in found["finding"]) == said
        assert np.isnan(found["value"]) == said


def test_runs_by_hand():
    """Four and four in two runs: expected 5 runs, variance 12/7."""
    signs = [True] * 4 + [False] * 4
    from scipy import stats

    assert runs_test(signs) == pytest.approx(2 * stats.norm.sf(3 / np.sqrt(12 / 7)))
    assert np.isnan(runs_test([True] * 5))


def test_runs_of_serial_residuals_stand_for_their_correlation():
    """Arcsine law of normal signs: an outside derivation, against simulated AR(1) residuals."""
    rng, n = np.random.default_rng(4), 20000
    values = np.zeros(n)
    for i in range(1, n):
        values[i] = 0.6 * values[i - 1] + rng.normal()
    assert runs_correlation(values > 0) == pytest.approx(0.6, abs=0.03)
    assert runs_correlation(rng.normal(size=n) > 0) == pytest.approx(0.0, abs=0.03)


def test_a_p_value_alone_never_flags_the_runs():
    """A tiny stretch in very many trials: p small, the correlation harmless."""
    rng, n = np.random.default_rng(5), 6000
    values = np.zeros(n)
    for i in range(1, n):
        values[i] = 0.08 * values[i - 1] + rng.normal()
    practice = np.arange(1, n + 1)
    fit = ml.fit_curve(practice, 20 + 15 * np.exp(-0.01 * practice) + values)
    assert runs_test(np.asarray(fit.residuals) > 0) < 0.01
    assert row(fit, "stretches above or below")["grade"] == "fine"


# Agreement --------------------------------------------------------------------------------------


def rate(shift=0.0, slope=0.0, drift=0.0, noise=0.6, n=60, seed=0, order="seen"):
    rng = np.random.default_rng(seed)
    true = rng.normal(5, 1.5, n)
    rows = []
    for name, bias, tilt, change in (("A", 0, 0, 0), ("B", shift, slope, drift)):
        place = rng.permutation(n)
        score = true + bias + tilt * (true - 5) + change * place / n + rng.normal(0, noise, n)
        rows.append(pd.DataFrame({"clip": range(n), "rater": name, "score": score, "seen": place}))
    return ml.rater_agreement(
        pd.concat(rows), item="clip", rater="rater", score="score", kind="continuous", order=order
    )


def test_good_raters_pass():
    table = ml.check_assumptions(rate(noise=0.4)).table
    assert set(table["grade"]) == {"fine"}


def test_without_the_order_of_clips_drift_is_refused_in_its_row():
    found = row(rate(drift=1.5, order=None), "drifts")
    assert found["grade"] == "look"
    assert np.isnan(found["value"])
    assert found["finding"] == "Not judged: no column tells their order."


def test_drift_is_half_the_change_in_standard_deviations_between_clips():
    result = rate(drift=1.5)
    own = result.drift[result.drift["basis"] == "minus other raters"]
    change = own["change"].abs().max()
    spread = result.scores.groupby("item")["score"].mean().std()
    assert row(result, "drifts")["value"] == pytest.approx(change / 2 / spread)


def test_poor_agreement_drift_and_proportional_bias_are_flagged():
    assert row(rate(noise=2.5), "high enough")["grade"] == "act"
    assert row(rate(drift=1.5), "drifts")["grade"] != "fine"
    found = row(rate(slope=0.6), "over the whole range")
    assert found["grade"] != "fine"


def test_rare_category_points_to_ac1():
    pairs = [["no", "no"]] * 118 + [["no", "yes"]] * 5 + [["yes", "no"]] * 2
    long = pd.DataFrame(
        [
            {"clip": i, "rater": rater, "score": score}
            for i, pair in enumerate(pairs)
            for rater, score in zip("AB", pair)
        ]
    )
    result = ml.rater_agreement(long, item="clip", rater="rater", score="score", kind="nominal")
    found = row(result, "rare")
    assert found["grade"] != "fine"
    assert "AC1 0.94" in found["remedied"]


# Equivalence ------------------------------------------------------------------------------------


def plan(**smallest):
    content = {
        "study": {"title": "ring push"},
        "groups": [{"name": "blocked"}, {"name": "random"}],
        "tests": [{"phase": "retention", "trials": 36}],
        "outcomes": [{"name": "radial_error", "unit": "cm", "better": "lower"}],
    }
    if smallest:
        content["smallest_effect"] = smallest
    return design_from_mapping(content)


def test_bounds_without_a_reason_beforehand_need_action():
    verdict = equivalence_test(0.2, 0.6, 60, bound=2.5)
    assert row(verdict, "justified beforehand")["grade"] == "act"
    assert row(verdict, "justified beforehand", design=plan())["grade"] == "act"
    unreasoned = plan(value=2.5)
    assert row(verdict, "justified beforehand", design=unreasoned)["grade"] == "act"
    good = plan(value=2.5, reason="what a coach sees on the floor")
    assert row(verdict, "justified beforehand", design=good)["grade"] == "fine"
    assert row(verdict, "those declared", design=good)["grade"] == "fine"
    other = plan(value=1.0, reason="what a coach sees on the floor")
    assert row(verdict, "those declared", design=other)["grade"] == "act"


def test_an_interval_wider_than_the_bounds_says_nothing():
    assert row(equivalence_test(0.0, 2.0, 60, bound=1.0), "precise enough")["grade"] == "look"


# Population curves ------------------------------------------------------------------------------


def population(seed=0, learners=18, blocks=24, rho=0.0, rate=-2.0, groups=("one",)):
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(learners):
        level, gain, own = rng.normal(20, 2), rng.normal(14, 2), np.exp(rng.normal(rate, 0.3))
        last = 0.0
        for n in range(1, blocks + 1):
            last = rho * last + np.sqrt(1 - rho**2) * rng.normal()
            rows.append(
                (i, groups[i % len(groups)], n, level + gain * np.exp(-own * n) + 1.5 * last)
            )
    table = pd.DataFrame(rows, columns=["participant", "group", "block", "error"])
    return ml.fit_population_curve(
        table, "error", practice="block", vary=("asymptote", "rate"),
        group="group" if len(groups) > 1 else None, tests=False,
    )  # fmt: skip


def test_a_clean_population_curve_passes():
    table = ml.check_assumptions(population(), remedies=False).table
    assert not (table["grade"] == "act").any()
    assert (table["grade"] == "fine").sum() >= len(table) - 1


def test_serial_correlation_within_learners_is_flagged():
    assert row(population(rho=0.7), "independent", remedies=False)["grade"] != "fine"


def test_a_population_that_never_flattened_is_not_believed():
    found = row(population(rate=-4.5), "flatten", remedies=False)
    assert found["grade"] != "fine"


def test_groups_and_remedies_of_a_population_curve():
    found = population(groups=("blocked", "random"))
    assert "logarithms" in row(found, "scatter alike")["remedied"]
    assert row(found, "spread alike in every group")["grade"] == "fine"
    assert "power form" in row(found, "rival")["finding"]


def test_scores_that_never_vary_and_curves_that_fit_exactly_are_audited():
    same = pd.DataFrame({"clip": [1, 1, 2, 2, 3, 3], "rater": list("AB") * 3, "score": 2})
    result = ml.rater_agreement(same, item="clip", rater="rater", score="score", kind="ordinal")
    assert row(result, "high enough")["grade"] == "look"
    assert ml.check_assumptions(ml.fit_curve(N, np.full(len(N), 3.0))).worst == "act"
