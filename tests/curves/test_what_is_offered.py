"""The table of what can be asked for where (docs/reference/curves.md): every cell is called."""

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import motorlearn as ml
from motorlearn.curves import FORMS, curve_quantities, make_form, register_form
from motorlearn.exceptions import MotorlearnError

PAGE = Path(__file__).parents[2] / "docs/reference/curves.md"
TRIAL = np.arange(1.0, 25.0)
DAY = np.repeat([1, 2], 12)
PLACES = ("one", "many", "population")
HITS, SAVED = {"attempts": "m"}, {"session": "day", "restart": "savings"}
ASKED = {
    **{name: {"form": name} for name in ("exponential", "power", "power_prior", "apex")},
    **{name: {"form": name} for name in ("s_shaped", "two_processes")},
    "own form, one rate": {"form": "slow_start"},
    "own form, two rates": {"form": "stretched"},
    "hits": HITS,
    "spread by practice": {"variance": "practice"},
    "spread by level": {"variance": "mean"},
    "correlated neighbours": {"correlation": "ar1"},
    "lognormal errors": {"errors": "lognormal"},
    "lognormal errors, correlated neighbours": {"errors": "lognormal", "correlation": "ar1"},
    "lognormal errors, spread by level": {"errors": "lognormal", "variance": "mean"},
    "t errors": {"errors": "t"},
    "t errors, correlated neighbours": {"errors": "t", "correlation": "ar1"},
    "hits, t errors": HITS | {"errors": "t"},
    "hits, correlated neighbours": HITS | {"correlation": "ar1"},
    "sandwich interval": {"interval": "sandwich"},
    "profile interval": {"interval": "profile"},
    "bootstrap interval": {"interval": "bootstrap"},
    "warm-up": {"session": "day"},
    "savings": SAVED,
    "warm-up and savings": {"session": "day", "restart": "both"},
    "hits, savings": HITS | SAVED,
    "S-shaped, savings": SAVED | {"form": "s_shaped"},
    "two processes, warm-up": {"form": "two_processes", "session": "day"},
    "savings, correlated neighbours, spread by practice": SAVED
    | {"correlation": "ar1", "variance": "practice"},
    "quantities": {"quantities": True},
}
SHORT = {"simulations": 20, "seed": 1}
LONG = {
    ("power_prior", "population"),
    ("apex", "population"),
    ("two_processes", "population"),
    ("S-shaped, savings", "population"),
    ("two processes, warm-up", "population"),
    ("t errors", "many"),
    ("spread by level", "many"),
    ("warm-up and savings", "many"),
    ("warm-up and savings", "population"),
    ("savings, correlated neighbours, spread by practice", "many"),
    ("lognormal errors, correlated neighbours", "many"),
    ("profile interval", "one"),
}
CELLS = [
    pytest.param(name, place, marks=pytest.mark.slow if (name, place) in LONG else [])
    for name in ASKED
    for place in PLACES
]


def cells():
    """Rows of the page: what is asked for, and yes or a dash for each place."""
    rows = re.findall(
        r"^\| (.+?) \| (yes|–) \| (yes|–) \| (yes|–) \|$", PAGE.read_text("utf-8"), re.M
    )
    return [(name.strip("`"), *marks) for name, *marks in rows]


@pytest.fixture(scope="module")
def table():
    rng, parts = np.random.default_rng(11), []
    for who in range(4):
        way, now = [], 1.0
        for k in range(TRIAL.size):
            now *= np.exp(-0.25) if k else 1.0
            now = 0.7 * now + 0.3 if k == 12 else now
            way.append(now)
        y = 20 + rng.normal() + 12 * np.array(way) + 0.5 * rng.normal(size=TRIAL.size)
        hits = rng.binomial(40, 1 / (1 + np.exp(-(24 - y) / 3)))
        parts.append(
            pd.DataFrame({"who": who, "trial": TRIAL, "day": DAY, "y": y, "hits": hits, "m": 40})
        )
    return pd.concat(parts, ignore_index=True)


@pytest.fixture(scope="module", autouse=True)
def own_forms():
    """Two forms of one's own, in the registry while this file runs."""
    known = dict(FORMS)
    slow = make_form("slow_start", lambda n, r: np.exp(-r * (n - 1)), rates={"rate": (1e-3, 5)})
    bounds = {"rate": (1e-3, 5), "stretch": (0.3, 3)}
    stretched = make_form("stretched", lambda n, r, s: np.exp(-((r * (n - 1)) ** s)), rates=bounds)
    for form in (slow, stretched):
        register_form(form)
    yield
    for name in set(FORMS) - set(known):
        del FORMS[name]


def called(place, table, asked):
    """The fit of one cell."""
    given, outcome = dict(asked), "hits" if "attempts" in asked else "y"
    quantities = given.pop("quantities", False)
    if place == "one":
        own = table[table["who"] == 0]
        named = {
            name: own[given[name]].to_numpy() for name in ("attempts", "session") if name in given
        }
        short = SHORT if given.get("interval") == "bootstrap" else {}
        fit = ml.fit_curve(own["trial"], own[outcome], **given | named | short)
    elif place == "many":
        form = given.pop("form", "exponential")
        two = table[table["who"] < 2]
        fit = ml.fit_curves(two, outcome, practice="trial", by="who", forms=(form,), **given)
    else:
        fit = ml.fit_population_curve(
            table, outcome, practice="trial", participant="who", vary=("asymptote",), **given
        )
    return curve_quantities(fit, level_at=[5], criterion=22, area=(1, 20)) if quantities else fit


def test_the_page_and_this_file_name_the_same():
    assert [name for name, *_ in cells()] == list(ASKED)


@pytest.mark.parametrize(("name", "place"), CELLS)
def test_a_cell_does_what_the_page_says(name, place, table):
    row = next(row for row in cells() if row[0] == name)
    if row[1 + PLACES.index(place)] == "yes":
        fit = called(place, table, ASKED[name])
        frame = fit.table if place == "many" else fit.estimates
        assert len(frame)
        asked = ASKED[name]
        # Two processes and a warm-up are more than 24 trials tell apart: the asymptote is missing.
        known = "attempts" not in asked and asked.get("form") != "two_processes"
        if asked.keys() & {"session", "errors"} and known:
            level = frame if place == "many" else frame.set_index("term").loc[["asymptote"]]
            level = level["asymptote" if place == "many" else "estimate"]
            assert level.median() == pytest.approx(20, abs=3)
        return
    with pytest.raises(MotorlearnError):
        called(place, table, ASKED[name])
