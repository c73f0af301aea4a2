"""The table of what can be asked of which model (docs/reference/mixed.md): every cell is called."""

import re
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

import motorlearn as ml
from motorlearn import mixed
from motorlearn.exceptions import MotorlearnError
from motorlearn.results import Result

PAGE = Path(__file__).parents[2] / "docs/reference/mixed.md"
ONE = {"participant": "1"}
MODELS = {
    "scores": ("error", {}),
    "hits": ("hits", {"family": "binomial", "attempts": "throws"}),
    "hits that scatter": ("hits", {"family": "beta-binomial", "attempts": "throws"}),
    "ratings": ("rating", {"family": "ordinal"}),
    "counts": ("count", {"family": "negative-binomial"}),
    "times": ("time", {"family": "lognormal"}),
    "amounts": ("time", {"family": "gamma"}),
    "neighbours": ("error", {"correlation": "ar1", "within": "test/block"}),
    "unequal spread": ("error", {"variance": "test"}),
    "spread": ("error", {}),
}
SAME_AS = {  # models of one engine, called in full by the slow tests only
    "counts": ("count", {"family": "poisson"}),
    "ratings": ("rating", {"family": "ordinal", "link": "probit"}),
    "hits": ("hit", {"family": "binomial"}),
}
WHOLE, TREND = "group * test", "group * block + test"
SHORT = {"simulations": 20, "seed": 1}


def _of(fit):
    """What means and tests are asked of: the spread of a model of both."""
    return fit.of_spread if isinstance(fit, mixed.VariabilityFit) else fit


ASKED = {
    "joint tests, type III": lambda fit: fit(WHOLE).anova(),
    "joint tests, type II": lambda fit: fit(WHOLE).anova(type=2),
    "joint tests, Satterthwaite": lambda fit: _of(fit(WHOLE)).anova(df="satterthwaite"),
    "joint tests, Kenward-Roger": lambda fit: _of(fit(WHOLE)).anova(df="kenward-roger"),
    "test of terms, names in any order": lambda fit: _of(fit(WHOLE)).test("test:group"),
    "interaction on incomplete data": lambda fit: _of(fit(WHOLE, gaps=True)).test("group:test"),
    "nesting a/b": lambda fit: _of(fit("group / test")).test("group:test"),
    "splines, type II": lambda fit: fit("group * bs(block, df=3) + test").anova(type=2),
    "splines, type III": lambda fit: fit("group * bs(block, df=3) + test").anova(),
    "squares by I()": lambda fit: fit("group + block + I(block**2)").anova(),
    "means": lambda fit: mixed.marginal_means(_of(fit(WHOLE)), "group", within="test"),
    "means, averaged over people": lambda fit: mixed.marginal_means(
        fit(WHOLE), "group", scale="average"
    ),
    "medians": lambda fit: mixed.marginal_means(fit(WHOLE), "group", scale="median"),
    "probability of each rating": lambda fit: mixed.marginal_means(
        fit(WHOLE), "group", scale="average", rating="each"
    ),
    "ratios": lambda fit: mixed.contrasts(_of(fit(WHOLE)), "group", scale="ratio"),
    "slopes": lambda fit: mixed.marginal_means(_of(fit(TREND)), "group", slope="block"),
    "slopes of a spline at its end": lambda fit: mixed.marginal_means(
        _of(fit("group * bs(block, df=3) + test")), "group", slope="block", at={"block": [1, 4]}
    ),
    "differences of slopes": lambda fit: mixed.contrasts(_of(fit(TREND)), "group", slope="block"),
    "contrasts at values": lambda fit: mixed.contrasts(
        _of(fit(TREND)), "group", at={"block": [1, 4]}
    ),
    "Tukey": lambda fit: mixed.contrasts(_of(fit(WHOLE)), "test", adjust="tukey"),
    "Dunnett": lambda fit: mixed.contrasts(
        _of(fit(WHOLE)), "test", kind="reference", adjust="dunnett"
    ),
    "multivariate t": lambda fit: mixed.contrasts(
        _of(fit(WHOLE)), "group", within="test", adjust="mvt"
    ),
    "polynomial, Helmert, own": lambda fit: [
        mixed.contrasts(_of(fit(WHOLE)), "test", kind=kind)
        for kind in ("polynomial", "helmert", {"late - early": [-1, 0, 1]})
    ],
    "prediction of new people": lambda fit: _of(fit(WHOLE)).predict(
        table().head(3), participants="population"
    ),
    "prediction of known people": lambda fit: _of(fit(WHOLE)).predict(table().head(3)),
    "prediction intervals": lambda fit: mixed.prediction_intervals(
        fit(WHOLE), table().head(3), seed=1, simulations=200
    ),
    "profile of effects": lambda fit: mixed.profile_effects(fit("group"), ["group[T.random]"]),
    "profile of variances": lambda fit: mixed.profile_intervals(fit("group")),
    "bootstrap of a contrast": lambda fit: mixed.bootstrap_tests(fit("group"), "group", **SHORT),
    "bootstrap of a term": lambda fit: mixed.bootstrap_tests(fit("group"), terms="group", **SHORT),
    "bootstrap intervals": lambda fit: mixed.bootstrap_intervals(fit("group"), **SHORT),
    "random structures": lambda fit: mixed.random_structures(
        fit("block", random={"participant": "1 + block"})
    ),
    "partial odds": lambda fit: mixed.partial_odds(fit("group"), "group").cuts,
    "without each participant": lambda fit: mixed.leave_one_out(fit("group")),
    "outcomes drawn": lambda fit: fit(WHOLE).simulate(2, seed=1),
}
QUICK_MODELS = ("scores", "ratings")
SLOW_MODELS = ("hits that scatter", "amounts", "neighbours", "unequal spread")
LONG = {  # only of two models by default, of all among the slow tests
    "interaction on incomplete data",
    "nesting a/b",
    "splines, type II",
    "splines, type III",
    "squares by I()",
    "slopes",
    "slopes of a spline at its end",
    "differences of slopes",
    "contrasts at values",
    "Tukey",
    "multivariate t",
    "profile of effects",
    "profile of variances",
    "bootstrap of a contrast",
    "bootstrap of a term",
    "bootstrap intervals",
    "random structures",
    "without each participant",
}


@cache
def table():
    rng, rows = np.random.default_rng(3), []
    for person in range(12):
        own = rng.normal(0, 0.6)
        for late, test in enumerate(("pretest", "posttest", "retention")):
            for block in range(1, 5):
                eta = own + 0.3 * late + 0.05 * block + 0.2 * (person % 2) * (late > 0)
                rows.append(
                    {
                        "participant": f"p{person:02d}",
                        "group": ("blocked", "random")[person % 2],
                        "test": test,
                        "block": block,
                        "error": 20 - 3 * eta + rng.normal(0, 1.5),
                        "hits": rng.binomial(12, rng.beta(6 * expit(eta), 6 * (1 - expit(eta)))),
                        "throws": 12,
                        "hit": rng.binomial(1, expit(eta)),
                        "rating": int(np.digitize(eta + rng.logistic(), [-0.5, 1.0])),
                        "count": rng.negative_binomial(4, 4 / (4 + np.exp(eta))),
                        "time": rng.gamma(8, np.exp(eta) / 8),
                    }
                )
    found = pd.DataFrame(rows)
    return found.assign(test=pd.Categorical(found["test"], ["pretest", "posttest", "retention"]))


@cache
def _fitted(outcome, options, formula, gaps, random):
    rows = table()
    if gaps:
        rows = rows[(rows["test"] != "retention") | (rows["participant"] > "p02")]
    if options is None:
        return ml.fit_variability(f"{outcome} ~ {formula}", rows, spread=formula)
    return ml.fit_mixed(
        f"{outcome} ~ {formula}", rows, random={"participant": random}, **dict(options)
    )


def fitting(model, *, other=False):
    """A function that fits one model by a formula, each once."""
    outcome, options = (SAME_AS if other else MODELS)[model]
    held = None if model == "spread" else tuple(options.items())

    def fit(formula, *, gaps=False, random=ONE):
        return _fitted(outcome, held, formula, gaps, random["participant"])

    return fit


def cells():
    """Rows of the page: what is asked, and yes or a dash for each model."""
    pattern = r"^\| (.+?) \|" + r" (yes|–) \|" * len(MODELS) + "$"
    return {name: marks for name, *marks in re.findall(pattern, PAGE.read_text("utf-8"), re.M)}


def holds_numbers(found):
    """Whether an answer holds estimates that are numbers."""
    if isinstance(found, Result):
        return holds_numbers(found.frame if hasattr(found, "frame") else found.estimates)
    if isinstance(found, pd.DataFrame):
        named = {"estimate", "predicted", "sd", "statistic", "loglik"} & set(found)
        columns = found[sorted(named)].dropna(axis="columns", how="all")
        return bool(len(columns.columns)) and np.isfinite(columns.iloc[-1].to_numpy(float)).all()
    if hasattr(found, "statistic"):
        return np.isfinite(found.statistic) and 0 <= found.p <= 1
    return np.isfinite(np.asarray(found, dtype=float)).all()


def long(name, model):
    return model not in QUICK_MODELS and (name in LONG or model in SLOW_MODELS)


def called(name, model, *, other=False):
    if cells()[name][list(MODELS).index(model)] == "–":
        with pytest.raises(MotorlearnError):
            ASKED[name](fitting(model, other=other))
        return
    found = ASKED[name](fitting(model, other=other))
    for one in found if isinstance(found, list) else [found]:
        assert holds_numbers(one)


def test_the_page_and_this_file_name_the_same():
    assert list(cells()) == list(ASKED)
    assert f"| asked for | {' | '.join(MODELS)} |" in PAGE.read_text("utf-8")


@pytest.mark.parametrize(
    ("name", "model"),
    [
        pytest.param(name, model, marks=pytest.mark.slow if long(name, model) else [])
        for name in ASKED
        for model in MODELS
    ],
)
def test_a_cell_does_what_the_page_says(name, model):
    called(name, model)


@pytest.mark.slow
@pytest.mark.parametrize("name", list(ASKED))
@pytest.mark.parametrize("model", list(SAME_AS))
def test_a_model_of_the_same_engine_does_the_same(name, model):
    if (name, model) != ("ratios", "ratings"):  # probit has no odds ratio
        called(name, model, other=True)
