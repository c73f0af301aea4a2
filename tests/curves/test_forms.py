"""Every form in the registry: gradient, learning rate, half-life, limits."""

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.curves import FORMS, check_form, make_form, named_form, register_form
from motorlearn.exceptions import InputError

N = np.array([1.0, 1.5, 2, 5, 12, 40])
RATES = {"exponential": [0.07], "power": [0.7], "power_prior": [0.9, 6.0], "apex": [0.02, 0.3]}
RATES |= {"s_shaped": [0.3, 12.0], "two_processes": [0.5, 0.1, 0.6]}


@pytest.mark.parametrize("name", FORMS)
def test_gradient_agrees_with_finite_differences(name):
    form, rates = FORMS[name], RATES[name]
    for k, slope in enumerate(form.gradient(N, rates, 1.0)):
        step = 1e-6 * rates[k]
        up, down = list(rates), list(rates)
        up[k] += step
        down[k] -= step
        numeric = (form.basis(N, up) - form.basis(N, down)) / (2 * step)
        assert slope == pytest.approx(numeric, rel=1e-7, abs=1e-9)


@pytest.mark.parametrize("name", FORMS)
def test_relative_learning_rate_is_minus_the_log_slope(name):
    form, rates = FORMS[name], RATES[name]
    step = 1e-5
    slope = (form.log_basis(N + step, rates, 1) - form.log_basis(N - step, rates, 1)) / (2 * step)
    assert form.relative_rate(N, rates) == pytest.approx(-slope, rel=1e-7)


@pytest.mark.parametrize("name", FORMS)
@pytest.mark.parametrize("first", [1.0, 3.0])
def test_half_life_halves_the_way(name, first):
    form, rates = FORMS[name], RATES[name]
    half = form.half_life(rates, first)
    ends = form.basis(np.array([first, first + half]), rates, first)
    assert ends[1] / ends[0] == pytest.approx(0.5, rel=1e-10)


def test_mixture_and_prior_practice_hold_the_simple_forms_as_limits():
    assert FORMS["apex"].basis(N, [0.07, 0.0]) == pytest.approx(
        FORMS["exponential"].basis(N, [0.07])
    )
    assert FORMS["apex"].basis(N, [0.0, 0.7]) == pytest.approx(FORMS["power"].basis(N, [0.7]))
    assert FORMS["power_prior"].basis(N, [0.7, 0.0]) == pytest.approx(
        FORMS["power"].basis(N, [0.7])
    )


@pytest.mark.parametrize("name", FORMS)
def test_guess_lies_inside_the_bounds(name):
    form = FORMS[name]
    guess = form.guess(N, form.curve(N, 20, 15, RATES[name]))
    assert guess["gain"] > 0
    for rate, (low, high) in zip(form.rates, form.bounds(N)):
        assert low < guess[rate] < high


def test_an_unknown_form_is_refused():
    with pytest.raises(InputError, match="choose among"):
        named_form("straight line")


@pytest.mark.parametrize("name", FORMS)
def test_every_form_passes_the_tests_that_are_exported(name):
    assert check_form(FORMS[name]) == []


def wrong(n, rate):
    return 1 + 0.0 * n + 0.001 * n * rate


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"basis": wrong}, "rises"),
        ({"slopes": lambda n, rate: (0.0 * n,)}, "derivative"),
        ({"rates": {"rate": (2.0, 1.0)}}, "in order"),
        ({"rates": {}}, "one rate"),
        ({"name": "power"}, "this name"),
    ],
)
def test_a_form_with_a_fault_is_not_registered(change, words):
    given = {
        "name": "faulty",
        "basis": lambda n, rate: np.exp(-rate * n),
        "rates": {"rate": (1e-3, 1e2)},
    }
    given |= change
    with pytest.raises(InputError, match=words):
        register_form(make_form(given.pop("name"), given.pop("basis"), **given))
    assert "faulty" not in FORMS


def test_a_registered_function_is_fitted_alone_and_in_a_batch():
    form = make_form(
        "hyperbola_here", lambda n, rate: 1 / (1 + rate * (n - 1)), rates={"rate": (1e-4, 1e3)}
    )
    register_form(form)
    try:
        trial = np.arange(1.0, 41.0)
        y = 20 + 9 / (1 + 0.3 * (trial - 1)) + 0.1 * np.sin(7 * trial)
        alone = ml.fit_curve(trial, y, form="hyperbola_here")
        rows = pd.DataFrame({"who": "a", "trial": trial, "error": y})
        row = ml.fit_curves(
            rows, "error", practice="trial", by="who", forms=("hyperbola_here",)
        ).table.iloc[0]
        assert alone.value("rate") == pytest.approx(0.3, rel=0.05)
        assert row["rate"] == pytest.approx(alone.value("rate"), rel=1e-5)
        design = np.stack([np.ones(40), 1 / (1 + alone.value("rate") * (trial - 1))], axis=1)
        assert alone.sse == pytest.approx(float(np.linalg.lstsq(design, y)[1][0]), rel=1e-8)
    finally:
        del FORMS["hyperbola_here"]
