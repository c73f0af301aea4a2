"""The averaging trap: the exact identity, the demonstration, and when it does not bite."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import gamma

import motorlearn as ml
from motorlearn.exceptions import InputError

REFERENCE = json.loads(
    (Path(__file__).parents[1] / "reference/averaging_gamma/values.json").read_text("utf-8")
)


def test_the_average_over_gamma_rates_is_a_power_law():
    found = ml.curves.average_of_exponentials(REFERENCE["t"], REFERENCE["a"], REFERENCE["b"])
    assert found == pytest.approx(REFERENCE["y"], rel=1e-12)


def test_the_identity_holds_against_the_integral_and_the_form_in_the_registry():
    for time in (0.5, 3.0, 40.0):
        integral = quad(
            lambda r, t=time: np.exp(-r * t) * gamma.pdf(r, 2.0, scale=1 / 5),
            0,
            np.inf,
            epsrel=1e-12,
        )[0]
        assert ml.curves.average_of_exponentials(time, 2.0, 5.0) == pytest.approx(
            integral, rel=1e-9
        )
    n = np.arange(1.0, 40)
    power = ml.curves.FORMS["power_prior"]
    shown = power.basis(n, [2.0, 4.0]) / power.basis(np.array(1.0), [2.0, 4.0])
    average = ml.curves.average_of_exponentials(n - 1, 2.0, 5.0)
    assert np.max(np.abs(shown / average - 1)) < 1e-12


def test_learners_stay_exponential_and_their_average_does_not():
    shown = ml.curves.demonstrate_averaging(rate_sd=1.6, classes=20).preferred.set_index("level")
    assert shown.at["single learners", "exponential"] > 0.7
    assert shown.at["averages", "exponential"] < 0.2


def test_with_equal_rates_averaging_does_no_harm():
    shown = ml.curves.demonstrate_averaging(rate_sd=0.0, classes=20).preferred.set_index("level")
    assert shown.at["averages", "exponential"] == 1.0


def test_the_demonstration_is_the_same_every_time():
    one, other = (ml.curves.demonstrate_averaging(classes=3, seed=4) for _ in range(2))
    assert one.curves.equals(other.curves)
    assert str(one) == str(other)


def test_impossible_settings_are_refused():
    with pytest.raises(InputError):
        ml.curves.demonstrate_averaging(learners=0)
    with pytest.raises(InputError):
        ml.curves.average_of_exponentials([1.0], -1.0, 5.0)


SMALL = {"learners": 2, "trials": 6, "classes": 1}


@pytest.mark.parametrize(
    "wrong", [{"rate_sd": -0.01}, {"noise": -0.01}, {"median_rate": -0.01}, {"median_rate": 0.0}]
)
def test_spread_and_noise_below_zero_and_a_rate_of_zero_are_refused(wrong):
    with pytest.raises(InputError, match="spread and noise must be at least 0, and the rate above"):
        ml.curves.demonstrate_averaging(**SMALL, **wrong)


def test_without_spread_and_noise_all_learners_are_one_exponential():
    found = ml.curves.demonstrate_averaging(**SMALL, rate_sd=0.0, noise=0.0, median_rate=0.2)
    one, other = (part["score"].to_numpy() for _, part in found.learners.groupby("participant"))
    assert one == pytest.approx(other)
    assert np.diff(one)[1:] / np.diff(one)[:-1] == pytest.approx(np.full(4, np.exp(-0.2)))
