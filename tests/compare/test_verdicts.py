"""Verdicts against a bound: intervals and tests say the same, by hand and by scipy."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import motorlearn as ml
from motorlearn.linear import equivalence_of_means


@pytest.fixture(scope="module")
def table():
    rng = np.random.default_rng(3)
    return pd.DataFrame(
        {
            "participant": range(40),
            "group": ["blocked", "random"] * 20,
            "phase": "retention",
            "radial_error": rng.normal(30, 4, 40) - 3 * (np.arange(40) % 2),
        }
    )


def verdicts(table, bound, unit="score", better="lower"):
    found = ml.compare_phases(
        table, "radial_error", group="group", equivalence=bound, equivalence_unit=unit,
        better=better,
    )  # fmt: skip
    return found.contrasts.iloc[0], found.verdicts.set_index("aim")


def test_one_sided_tests_are_those_of_scipy(table):
    contrast, found = verdicts(table, 1.0)
    random, blocked = (
        table.loc[table["group"] == name, "radial_error"] for name in ("random", "blocked")
    )
    for aim, shift in (("superiority", 0.0), ("non-inferiority", 1.0)):
        known = stats.ttest_ind(random - shift, blocked, equal_var=False, alternative="less")
        assert found.loc[aim, "p"] == pytest.approx(2 * known.pvalue, rel=1e-10)
    beyond = stats.ttest_ind(random + 1.0, blocked, equal_var=False, alternative="less").pvalue
    assert found.loc["minimum effect", "p"] == pytest.approx(2 * beyond, rel=1e-10)
    assert contrast["group"] == "random" and contrast["estimate"] < 0


def test_a_verdict_is_where_its_interval_lies(table):
    for bound in (0.2, 1.0, 3.0, 9.0):
        _, found = verdicts(table, bound)
        low, high, shown = found["conf_low"], found["conf_high"], found["shown"]
        assert shown["equivalence"] == (low["equivalence"] > -bound and high["equivalence"] < bound)
        assert shown["non-inferiority"] == (high["non-inferiority"] < bound)
        assert shown["superiority"] == (high["superiority"] < 0)
        aim = "minimum effect"
        assert shown[aim] == (low[aim] > bound or high[aim] < -bound)


def test_without_a_direction_nothing_is_better(table):
    named = table.rename(columns={"radial_error": "score"})
    found = ml.compare_phases(named, "score", group="group", equivalence=1.0).verdicts
    one_sided = found[found["aim"].isin(["superiority", "non-inferiority"])]
    assert one_sided["reason"].str.contains("which direction is better is not known").all()


def test_an_average_sd_is_the_root_mean_variance(table):
    _, found = verdicts(table, 0.5, unit="average sd")
    random, blocked = (
        table.loc[table["group"] == name, "radial_error"] for name in ("random", "blocked")
    )
    sd = float(np.sqrt((random.var() + blocked.var()) / 2))
    known = equivalence_of_means(random, blocked, bound=0.5 * sd)
    assert found.loc["equivalence", "p"] == pytest.approx(known.p, rel=1e-10)
    assert found.loc["equivalence", "sd"] == pytest.approx(sd)
    assert "root mean variance" in found.loc["equivalence", "bound_unit"]
