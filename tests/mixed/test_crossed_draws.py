"""Outcomes of designs with several grouping factors at once, against one fit after the other."""

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

import motorlearn as ml
from motorlearn.mixed import crossed_replicates, refitting
from motorlearn.mixed.refitting import refit_each, refit_many
from motorlearn.mixed.solve.engine import working
from motorlearn.mixed.solve.general_together import GeneralTogether

PEOPLE = 12


@pytest.fixture(scope="module")
def study():
    rng = np.random.default_rng(5)
    person, test = np.repeat(np.arange(PEOPLE), 4), np.tile(np.arange(4), PEOPLE)
    item = (person + 2 * test + rng.integers(0, 3, person.size)) % 5
    eta = 0.3 * test + rng.normal(0, 0.7, PEOPLE)[person] + rng.normal(0, 0.5, 5)[item]
    return pd.DataFrame(
        {
            "participant": [f"p{number:02d}" for number in person],
            "school": [f"s{number}" for number in person // 3],
            "item": [f"i{number}" for number in item],
            "group": np.array(["blocked", "random"])[person % 2],
            "test": test / 3,
            "hits": rng.binomial(20, 1 / (1 + np.exp(0.6 - eta))),
            "throws": 20,
            "score": 30 + 3 * eta + rng.normal(0, 2, person.size),
            "time": np.exp(0.2 * eta + rng.normal(0, 0.3, person.size)),
            "catches": rng.poisson(np.exp(1.5 + 0.5 * eta) * rng.gamma(2, 0.5, person.size)),
            "rating": np.digitize(eta + rng.logistic(size=person.size), [0, 1.5]),
            "rows": rng.integers(1, 4, person.size).astype(float),
        }
    )


CROSSED = {"participant": "1", "item": "1"}
HITS = {"family": "binomial", "attempts": "throws"}
MODELS = {
    "linear": ("score ~ group * test", {"random": CROSSED}),
    "weights": ("score ~ test", {"random": CROSSED, "weights": "rows", "reml": False}),
    "nested": ("score ~ test", {"random": {"school/participant": "1"}}),
    "slopes": ("score ~ test", {"random": {"participant": ["1", "test"], "item": "1"}}),
    "lognormal": ("time ~ test", {"random": CROSSED, "family": "lognormal"}),
    "hits": ("hits ~ group * test", {"random": CROSSED, **HITS}),
    "hits with slopes": (
        "hits ~ test",
        {"random": {"participant": "1 + test", "school": "1"}, **HITS},
    ),
    "counts": ("catches ~ test", {"random": CROSSED, "family": "negative-binomial"}),
    "ratings": ("rating ~ test", {"random": CROSSED, "family": "ordinal"}),
}


@pytest.mark.parametrize("name", MODELS)
def test_fits_at_once_are_those_of_one_after_the_other(study, name):
    formula, options = MODELS[name]
    fit = ml.fit_mixed(formula, study, **options)
    draws = fit.simulate(4, seed=3)
    many, good = refit_each(fit, draws)
    single, kept = refitting._one_by_one(fit, draws)
    assert good.tolist() == kept.tolist()
    assert many.converged.tolist() == single.converged.tolist()
    for field in ("deviance", "beta", "psi", "sigma", "extra"):
        given = getattr(many, field), getattr(single, field)
        assert_allclose(*given, rtol=1e-6, atol=1e-6, err_msg=field)
    size = np.abs(single.vcov).max()
    assert_allclose(many.vcov, single.vcov, atol=1e-6 * size)


def test_the_size_of_a_go_changes_nothing(study, monkeypatch):
    fit = ml.fit_mixed(MODELS["hits"][0], study, **MODELS["hits"][1])
    draws = fit.simulate(7, seed=4)
    whole, _ = refit_many(fit, draws)
    monkeypatch.setattr(crossed_replicates, "_AT_ONCE", 1)
    alone, _ = refit_many(fit, draws)
    assert_allclose(whole.beta, alone.beta, atol=1e-9)
    assert_allclose(whole.vcov, alone.vcov, atol=1e-9)


def test_an_outcome_that_cannot_be_fitted_is_left_out_in_its_place(study):
    """The second of three outcomes follows the fixed part exactly: no residual spread is left."""
    fit = ml.fit_mixed("score ~ test", study, random=CROSSED)
    draws = fit.simulate(3, seed=5)
    draws[1] = 30 + 2 * study["test"]
    many, good = refit_each(fit, draws)
    assert good.tolist() == [True, False, True]
    alone, _ = refit_many(fit, draws[[2]])
    assert_allclose(many.beta[1], alone.beta[0], atol=1e-8)


@pytest.mark.parametrize("name", ["linear", "hits"])
def test_doubtful_searches_are_made_alone_and_keep_their_place(study, monkeypatch, name):
    fit = ml.fit_mixed(MODELS[name][0], study, **MODELS[name][1])
    draws = fit.simulate(4, seed=6)
    wanted, _ = refit_many(fit, draws)
    plain = crossed_replicates._unsettled
    asked = []

    def every_second(*given):
        bad = plain(*given)
        bad[::2] = True
        return bad

    one_by_one = refitting._one_by_one

    def counted(fit, draws):
        asked.append(len(draws))
        return one_by_one(fit, draws)

    monkeypatch.setattr(crossed_replicates, "_unsettled", every_second)
    monkeypatch.setattr(refitting, "_one_by_one", counted)
    found, failed = refit_many(fit, draws)
    assert (asked, failed) == ([2], 0)
    assert_allclose(found.beta, wanted.beta, atol=1e-6)
    assert_allclose(found.psi, wanted.psi, atol=1e-6)


def test_a_large_design_is_fitted_one_by_one(study, monkeypatch):
    fit = ml.fit_mixed("score ~ test", study, random=CROSSED)
    draws = fit.simulate(2, seed=7)
    wanted, _ = refit_many(fit, draws)
    monkeypatch.setattr(crossed_replicates, "MOST_EFFECTS", 4)
    found, _ = refit_many(fit, draws)
    assert_allclose(found.beta, wanted.beta, atol=1e-6)


@pytest.mark.parametrize("name", ["hits with slopes", "counts"])
def test_gradients_of_all_outcomes_at_once(study, name):
    """Against central differences of the value, with two outcomes side by side."""
    fit = ml.fit_mixed(MODELS[name][0], study, **MODELS[name][1])
    design, options = fit.design, refitting.options_of(fit)
    work = working(design.x, refitting.factors_of(design))
    draws = fit.simulate(2, seed=8)[:, np.argsort(design.cell)].astype(float)
    weight = np.full(draws.shape, 20.0 if name != "counts" else 1.0)
    kind = options.likelihood(design)
    model = GeneralTogether(work, draws, weight, design.offset, kind)
    count = fit.design.x.shape[1] + sum(f.structure.n_free for f in work.factors) + kind.n_extra
    point = np.random.default_rng(9).normal(0.4, 0.2, (2, count))
    both = np.arange(2)
    _, gradient = model.objective(point, both)
    for j in range(count):
        step = 1e-5 * np.eye(count)[j]
        rise = model.objective(point + step, both)[0] - model.objective(point - step, both)[0]
        assert_allclose(gradient[:, j], rise / 2e-5, rtol=1e-5, atol=1e-5)
