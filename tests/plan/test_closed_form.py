import json
from pathlib import Path

import numpy as np
import pytest
from statsmodels.stats.power import FTestAnovaPower, TTestIndPower

from motorlearn.exceptions import InputError
from motorlearn.measures import design_effect
from motorlearn.plan import (
    anova_power,
    detectable_effect,
    inflate_for_attrition,
    participants_needed,
    score_variance,
    t_power,
)
from motorlearn.plan.power.closed_form import noncentral_power

REFERENCE = json.loads(
    (Path(__file__).parents[1] / "reference" / "t_power" / "values.json").read_text()
)


@pytest.mark.parametrize("place", range(4))
def test_power_of_eleven_a_group(place):
    d = REFERENCE["d"][place]
    assert t_power(11, d) == pytest.approx(REFERENCE["both_tails"][place], abs=1e-8)
    # The tables that leave the opposite tail out are lower by that tail.
    assert t_power(11, d) >= REFERENCE["upper_tail_only"][place]


def test_power_and_size_of_the_textbook_case():
    assert t_power(64, 0.5) == pytest.approx(REFERENCE["n64_d5"], abs=1e-6)
    assert participants_needed(0.5) == pytest.approx(REFERENCE["needed_d5"], abs=5e-4)


@pytest.mark.parametrize(("n", "other", "d"), [(8, 8, 1.0), (20, 35, 0.4), (150, 90, 0.3)])
def test_unequal_groups_agree_with_another_program(n, other, d):
    expected = TTestIndPower().power(effect_size=d, nobs1=n, alpha=0.05, ratio=other / n)
    assert t_power(n, d, n_other=other) == pytest.approx(expected, abs=1e-9)


def test_power_without_effect_is_alpha_and_with_a_huge_one_is_one():
    assert t_power(20, 0.0) == pytest.approx(0.05, abs=1e-12)
    assert t_power(20, 3.0) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("case", REFERENCE["anova"], ids=lambda case: str(case["groups"]))
def test_anova_power(case):
    found = anova_power(case["n"], case["groups"], case["f"])
    assert found == pytest.approx(case["power"], abs=1e-8)
    total = case["n"] * case["groups"]
    other = FTestAnovaPower().power(case["f"], total, 0.05, k_groups=case["groups"])
    assert found == pytest.approx(other, abs=1e-8)


def test_adjustment_saves_one_minus_r_squared_of_the_people():
    plain = participants_needed(0.5)
    assert participants_needed(0.5, correlation=0.7) == pytest.approx(0.51 * plain)


def test_detectable_effect_and_size_are_inverse():
    d = detectable_effect(17)
    assert participants_needed(d) == pytest.approx(17, abs=1e-6)


def test_small_numbers_by_hand():
    assert design_effect(20, 0.05) == pytest.approx(1.95)
    assert score_variance(3.0, 8.0, 16) == 13.0
    assert inflate_for_attrition(24, 0.0) == 24
    assert inflate_for_attrition(18, 0.1) == 20


def test_impossible_questions_are_refused():
    with pytest.raises(InputError, match="effect of zero"):
        participants_needed(0.0)
    with pytest.raises(InputError, match="between 0 and 1"):
        inflate_for_attrition(10, 1.0)
    with pytest.raises(InputError, match="more people"):
        t_power(1, 0.5)
    with pytest.raises(InputError, match="power must be a number from 0 to 1"):
        participants_needed(0.5, power=1.2)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: participants_needed(0.5, correlation=1.2), "correlation must be a number"),
        (lambda: participants_needed(0.5, correlation=1.0), "leaves nothing to compare"),
        (lambda: participants_needed("half"), "effect must be a number"),
        (lambda: participants_needed(0.5, power=0.03), "between alpha and 1"),
        (lambda: t_power("many", 0.5), "n must be a number"),
        (lambda: t_power(-5, 0.5), "n must be a number from 0"),
        (lambda: t_power(20, 0.5, alpha=5), "alpha must be a number from 0 to 1"),
        (lambda: detectable_effect(20, power=2), "power must be a number from 0 to 1"),
        (lambda: anova_power(1, 3, 0.25), "more people"),
        (lambda: score_variance(3.0, 8.0, -2), "trials must be 1 or more"),
        (lambda: inflate_for_attrition("ten", 0.1), "n must be a number"),
    ],
)
def test_nonsense_is_refused_in_words(call, words):
    with pytest.raises(InputError, match=words):
        call()


@pytest.mark.parametrize(("df", "delta", "critical"), [(1, 60.0, 12.706), (2, 12.0, 4.303)])
def test_power_of_few_degrees_of_freedom_agrees_with_simulation(df, delta, critical):
    rng = np.random.default_rng(1)
    t = (delta + rng.standard_normal(400_000)) / np.sqrt(rng.chisquare(df, 400_000) / df)
    assert noncentral_power(df, delta, critical) == pytest.approx(
        np.mean(np.abs(t) > critical), abs=0.003
    )
