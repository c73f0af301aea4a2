"""Bad input to every function of curves: an answer or an error of the toolkit, and no warning."""

import warnings

import numpy as np
import pandas as pd
import pytest

from motorlearn import curves
from motorlearn.exceptions import MotorlearnError

TRIAL = np.arange(1.0, 13.0)
GOOD = 20 + 10 * np.exp(-0.3 * (TRIAL - 1)) + np.sin(7 * TRIAL)
PEOPLE = pd.DataFrame(
    {
        "player": np.repeat(np.arange(4), 12),
        "group": np.repeat(["a", "b"], 24),
        "block": np.tile(TRIAL, 4),
        "error": (GOOD + np.cos(np.outer(np.arange(1, 5), TRIAL))).ravel(),
    }
)
KEPT = pd.DataFrame({"participant": np.repeat(list("pqr"), 4), "delay": [1.0, 2, 7, 30] * 3})
KEPT["score"] = 80 - 9 * np.log(KEPT["delay"]) + np.sin(5 * KEPT.index)
PUSH = np.repeat([0.0, 30.0, 0.0], [4, 16, 8])
LEARNT = curves.simulate_adaptation(PUSH, retention=[0.6, 0.99], learning=[0.2, 0.02])
FIT = curves.fit_curve(TRIAL, GOOD)
ONE = [None, np.nan, -1, 10**400, 95, [1], 1j, np.array([1, 2]), object()]
MANY = [
    None,
    [],
    TRIAL[:5],
    TRIAL * np.nan,
    TRIAL * 1e160,
    TRIAL + 0j,
    ["a"] * 12,
    -TRIAL,
    [[1], [2, 3]],
]


def tables(table, column):
    """The table broken in some ways, and one column with odd values."""
    twice, bare = pd.concat([table, table], axis=1), table.rename(columns={column: "other"})
    odd = [np.nan, np.inf, 1e160, 1j, "x", pd.Timestamp("2026-01-01"), -5, pd.NA]
    values = [table.assign(**{column: value}) for value in odd]
    return [None, table.to_numpy(), table.iloc[:0], table.iloc[:1], twice, bare, *values]


def names(*arguments):
    return dict.fromkeys(arguments, ONE)


ROWS = {"table": PEOPLE, "outcome": "error", "practice": "block"}
SERIES = {"practice": TRIAL, "outcome": GOOD}
BROKEN = [*tables(PEOPLE, "error"), *tables(PEOPLE, "block"), *tables(PEOPLE, "player")]
CASES = {
    "fit_curve": (
        SERIES,
        {"practice": MANY, "outcome": MANY, "weights": MANY, "attempts": MANY, "session": MANY}
        | names("form", "fixed", "first", "interval", "level", "repeated", "errors", "restart"),
    ),
    "fit_curves": (
        ROWS | {"by": "player", "forms": ("exponential",)},
        {"table": BROKEN}
        | names("outcome", "practice", "by", "forms", "attempts", "weights", "session", "first"),
    ),
    "fit_population_curve": (
        ROWS | {"participant": "player", "vary": ("asymptote",)},
        {"table": BROKEN[:14]}
        | names("outcome", "practice", "participant", "group", "vary", "form", "level", "tests"),
    ),
    "compare_curves": (
        ROWS | {"participant": "player", "group": "group"},
        {"table": BROKEN[:14]} | names("outcome", "group", "quantity", "form", "level", "session"),
    ),
    "score_predictions": (
        ROWS | {"by": "player", "blocks": 3, "forms": ("exponential",)},
        {"table": BROKEN[:14]} | names("outcome", "practice", "by", "blocks", "attempts"),
    ),
    "find_change_point": (SERIES | {"simulations": 19}, {"practice": MANY, "outcome": MANY}),
    "fit_monotone": (SERIES | {"simulations": 19}, {"practice": MANY, "outcome": MANY}),
    "fit_adaptation": (
        {"perturbation": PUSH, "adaptation": LEARNT.sum(axis=1) + np.sin(PUSH)},
        {"perturbation": MANY, "adaptation": MANY, "clamp": MANY} | names("rates", "level"),
    ),
    "simulate_adaptation": (
        {"perturbation": PUSH, "retention": [0.6], "learning": [0.2]},
        {"perturbation": MANY, "clamp": MANY} | names("retention", "learning"),
    ),
    "fit_forgetting": (
        {"table": KEPT, "outcome": "score", "delay": "delay", "forms": ("exponential",)},
        {"table": tables(KEPT, "score")}
        | names("outcome", "delay", "participant", "group", "vary", "forms", "floor", "level"),
    ),
    "curve_quantities": ({"fit": FIT}, names("fit", "level_at", "criterion", "area", "level")),
    "average_of_exponentials": (
        {"time": TRIAL, "shape": 2.0, "scale": 3.0},
        {"time": MANY} | names("shape", "scale"),
    ),
    "demonstrate_averaging": (
        {"learners": 2, "trials": 6, "classes": 1},
        {"learners": ONE[:4], "trials": ONE[:4], "classes": ONE[:4]} | names("noise", "seed"),
    ),
    "make_form": (
        {"name": "q", "basis": lambda n, rate: 1 / (1 + rate * n), "rates": {"rate": (0.1, 9)}},
        names("name", "basis", "rates", "title", "equation"),
    ),
    "named_form": ({}, names("name")),
    "check_form": ({"form": curves.FORMS["power"]}, {"practice": MANY[1:]} | names("form")),
    "register_form": ({}, names("form")),
}


@pytest.mark.parametrize("name", CASES)
@pytest.mark.filterwarnings("error")
def test_bad_input_is_refused_in_words(name):
    good, odd = CASES[name]
    refused = 0
    for argument, values in odd.items():
        for value in values:
            try:
                getattr(curves, name)(**{**good, argument: value})
            except MotorlearnError:
                refused += 1
    assert refused >= len(odd)


@pytest.mark.parametrize("name", ["fit_curves", "fit_population_curve"])
def test_two_columns_of_one_name_are_named(name):
    twice = pd.concat([PEOPLE, PEOPLE["error"]], axis=1)
    told = "the table has columns of the same name.*'error'.*rename one of them"
    with pytest.raises(MotorlearnError, match=told):
        getattr(curves, name)(**{**CASES[name][0], "table": twice})


WHOLE = curves.fit_population_curve(
    PEOPLE, "error", practice="block", participant="player", vary=("asymptote",), interval="wald"
)


@pytest.mark.filterwarnings("error")
def test_bands_of_a_population_are_given_or_refused():
    asked = {"practice": MANY} | names("level", "simulations", "draws", "seed")
    refused = []
    for argument, values in asked.items():
        for value in values:
            try:
                told = WHOLE.predict(**({"practice": TRIAL} | {argument: value}))
                # What is asked for at no place is told as missing, as for one learner.
                assert np.isfinite(told["estimate"][told["practice"].notna()]).all()
            except MotorlearnError as problem:
                refused.append((argument, str(problem)))
    assert {name for name, _ in refused} == set(asked)


@pytest.mark.parametrize("what", ["predict", "bands", "relative_rate"])
def test_places_that_are_none_are_refused(what):
    for value in (None, "x", np.inf, 1j, [[1], [2, 3]]):
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            with pytest.raises(MotorlearnError):
                getattr(FIT, what)(value)


@pytest.mark.slow
def test_forgetting_of_hits_that_run_out_has_no_foreign_exception():
    day = np.arange(1.0, 31)
    rng = np.random.default_rng(0)
    hits = 20 + 10 * np.exp(-0.2 * (day - 1)) + rng.normal(0, 0.5, 30) > 25
    found = curves.fit_forgetting(day, hits, forms="power")
    assert found.comparison["status"].notna().all()


def test_forgetting_names_what_cannot_vary():
    rows = pd.DataFrame({"participant": [1, 1, 2, 2], "d": [0, 1, 0, 1], "e": [1.0, 2, 3, 4]})
    with pytest.raises(MotorlearnError, match="no such parameter to vary"):
        curves.fit_forgetting(rows, "e", delay="d", vary=("x",))


COPIED = pd.concat([PEOPLE, PEOPLE.iloc[:1]])
WORDS = [
    (PEOPLE.assign(block=PEOPLE["block"] > 4), "True or False"),
    (PEOPLE.assign(error=[True, *PEOPLE["error"].iloc[1:]]), "True or False"),
    (PEOPLE.assign(error=["30,1", *PEOPLE["error"].iloc[1:]]), "30,1 in row 1.*with a point"),
    (PEOPLE.assign(error=[*PEOPLE["error"].iloc[:-1], np.inf]), r"infinite in rows \(48\)"),
    (
        PEOPLE.assign(block=[*PEOPLE["block"].iloc[:-1], np.nan]),
        r"infinite in rows \(48",
    ),
    (PEOPLE.assign(player=[[1]] * 48), "cannot be a name"),
    (PEOPLE.assign(void="fell"), "every one is void"),
    (PEOPLE.assign(block=3), "the same everywhere"),
    (COPIED, r"stand more than once \('0 at 1'\)"),
    (pd.concat([PEOPLE, PEOPLE]), "stand more than once"),
]


@pytest.mark.parametrize(("table", "said"), WORDS)
@pytest.mark.filterwarnings("error")
def test_a_population_says_where_and_what(table, said):
    with pytest.raises(MotorlearnError, match=said):
        curves.fit_population_curve(
            table, "error", practice="block", participant="player", vary=("asymptote",)
        )


def test_rows_are_counted_with_those_that_do_not_count():
    table = PEOPLE.assign(void=["fell", *[""] * 47], error=["x", "x", *PEOPLE["error"].iloc[2:]])
    for ask in (curves.fit_population_curve, curves.compare_curves):
        with pytest.raises(MotorlearnError, match="x in row 2"):
            ask(table, "error", practice="block", participant="player", group="group")


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("fit_adaptation", {"perturbation": PUSH, "adaptation": PUSH > 0}),
        ("fit_adaptation", {"perturbation": [True, *PUSH[1:]], "adaptation": PUSH}),
        ("simulate_adaptation", {"perturbation": PUSH, "retention": [True], "learning": [0.2]}),
        ("simulate_adaptation", {"perturbation": PUSH, "retention": [0.9], "learning": [True]}),
        ("fit_curve", SERIES | {"weights": True}),
        ("fit_curve", {"practice": TRIAL > 3, "outcome": GOOD}),
        ("curve_quantities", {"fit": FIT, "level_at": [True]}),
        ("average_of_exponentials", {"time": [True, 2.0], "shape": 2.0, "scale": 3.0}),
    ],
)
def test_true_is_no_number(name, options):
    with pytest.raises(MotorlearnError, match="True or False"):
        getattr(curves, name)(**options)


def test_hits_may_be_true_and_false():
    hit = np.arange(12) % 3 > 0
    given = curves.fit_curve(TRIAL, hit)
    assert given.family == "binomial"
    assert given.loglik == curves.fit_curve(TRIAL, hit.astype(float)).loglik


def test_a_seed_is_checked_where_nothing_is_drawn():
    with pytest.raises(MotorlearnError, match="seed"):
        curves.fit_curve(TRIAL, GOOD, seed="x")
