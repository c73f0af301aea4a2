"""Boundaries of group sequential tests: published values, hand answers, what they must hold."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from motorlearn.exceptions import InputError
from motorlearn.linear import interim_boundaries, spent_by

PUBLISHED = json.loads(
    (Path(__file__).parents[1] / "reference" / "spending" / "values.json").read_text()
)


@pytest.mark.parametrize("spending", ["obrien-fleming", "pocock"])
def test_five_equal_looks_are_as_tabulated(spending):
    wanted = PUBLISHED[f"five_looks_{spending.replace('-', '_')}"]
    found = interim_boundaries(np.arange(1, 6) / 5, spending=spending)
    np.testing.assert_allclose(found.z, wanted, atol=2e-4)


def test_unequal_looks_are_as_another_program_gives_them():
    wanted = PUBLISHED["unequal_looks"]
    found = interim_boundaries(wanted["fractions"])
    np.testing.assert_allclose(found.z, wanted["z"], atol=2e-4)
    np.testing.assert_allclose(found.spent, wanted["spent"], rtol=1e-3)


def test_one_side_of_a_two_sided_test_is_the_one_sided_test_of_half_the_level():
    wanted = PUBLISHED["one_sided_05_four_looks"]
    found = interim_boundaries(wanted["fractions"], level=0.1)
    np.testing.assert_allclose(found.z, wanted["z"], atol=2e-4)
    np.testing.assert_allclose(found.spent / 2, wanted["spent"], rtol=1e-3)


def test_one_look_is_the_usual_test():
    found = interim_boundaries([1.0])
    np.testing.assert_allclose(found.z, stats.norm.isf(0.025), atol=1e-9)
    np.testing.assert_allclose(found.p, 0.05, atol=1e-10)


@pytest.mark.parametrize("last", [1.0, 1.3])
def test_two_looks_hold_the_bivariate_normal(last):
    fractions = np.array([0.4, last])  # more people than planned spend no more than the level
    found = interim_boundaries(fractions, spending="pocock")
    r = np.sqrt(fractions[0] / fractions[1])
    normal = stats.multivariate_normal([0, 0], [[1, r], [r, 1]])
    a, b = found.z
    inside = normal.cdf([a, b]) - normal.cdf([-a, b]) - normal.cdf([a, -b]) + normal.cdf([-a, -b])
    assert 1 - inside == pytest.approx(0.05, abs=1e-5)


def test_drawn_paths_cross_as_often_as_is_spent():
    fractions = np.array([0.3, 0.5, 0.9, 1.0])
    found = interim_boundaries(fractions)
    rng = np.random.default_rng(1)
    steps = rng.standard_normal((200_000, 4)) * np.sqrt(np.diff(fractions, prepend=0.0))
    beyond = np.abs(np.cumsum(steps, axis=1)) / np.sqrt(fractions) >= found.z
    crossed = np.maximum.accumulate(beyond, axis=1).mean(axis=0)
    np.testing.assert_allclose(crossed, found.spent, atol=0.0025)


@pytest.mark.parametrize("spending", ["obrien-fleming", "pocock"])
def test_all_is_spent_at_the_end_and_nothing_at_the_start(spending):
    assert spent_by([0.0, 1.0], spending=spending).tolist() == pytest.approx([0.0, 0.05])
    assert (np.diff(spent_by(np.linspace(0, 1, 30), spending=spending)) >= 0).all()


def test_a_last_look_with_fewer_people_spends_what_is_left():
    found = interim_boundaries([0.5, 0.9], spent=[spent_by([0.5], spending="pocock")[0], 0.05])
    whole = interim_boundaries([0.5, 0.9], spending="pocock")
    assert found.p[1] > whole.p[1]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: interim_boundaries([0.5, 0.5]), "rise from above 0"),
        (lambda: interim_boundaries([]), "rise from above 0"),
        (lambda: interim_boundaries([0.0, 1.0]), "rise from above 0"),
        (lambda: interim_boundaries([0.5, float("nan")]), "rise from above 0"),
        (lambda: interim_boundaries([1.0], spending="half"), "no such spending function"),
        (lambda: interim_boundaries([1.0], level=1.2), "between 0 and 1"),
        (lambda: interim_boundaries([0.5, 1.0], spent=[0.04, 0.02]), "rises to the level"),
        (lambda: interim_boundaries([0.5, 1.0], spent=[0.01, 0.2]), "rises to the level"),
    ],
)
def test_what_cannot_be_is_refused(call, words):
    with pytest.raises(InputError, match=words):
        call()
