import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motorlearn import measures as m
from motorlearn.exceptions import InputError
from motorlearn.measures.aim import aim_by_group

CASE = Path(__file__).parents[1] / "reference" / "aiming_scores" / "values.json"
WORKED = json.loads(CASE.read_text(encoding="utf-8"))["one_dimension"]

SCORES = {
    "CE": m.constant_error,
    "AE": m.absolute_error,
    "VE": m.variable_error,
    "E": m.total_error,
}


@pytest.mark.parametrize("name", SCORES)
def test_worked_values(name):
    assert SCORES[name](WORKED["e"]) == pytest.approx(WORKED[name], abs=1e-12)


@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=50))
def test_total_error_is_bias_and_scatter(errors):
    bias, scatter = m.constant_error(errors), m.variable_error(errors)
    assert m.total_error(errors) ** 2 == pytest.approx(bias**2 + scatter**2, rel=1e-9, abs=1e-9)


def test_a_shift_moves_the_bias_and_nothing_else():
    e = np.array(WORKED["e"], dtype=float)
    assert m.constant_error(e + 7) == pytest.approx(8)
    assert m.variable_error(e + 7) == pytest.approx(m.variable_error(e))


def test_scores_scale_with_the_unit():
    e = np.array(WORKED["e"], dtype=float)
    for score in SCORES.values():
        assert score(10 * e) == pytest.approx(10 * score(e))


def test_missing_trials_are_left_out_and_a_test_without_trials_has_no_score():
    assert m.constant_error([1.0, np.nan, 3.0]) == 2.0
    assert np.isnan(m.variable_error([np.nan, np.nan]))


def test_infinite_errors_are_refused():
    with pytest.raises(InputError, match="infinite"):
        m.constant_error([1.0, np.inf])


def test_axis_and_groups_agree():
    e = np.random.default_rng(3).normal(size=(6, 9))
    grouped = aim_by_group(e.ravel(), np.repeat(np.arange(6), 9), 6)
    for name, score in {
        "constant_error": m.constant_error,
        "absolute_constant_error": m.absolute_constant_error,
        "variable_error": m.variable_error,
        "absolute_error": m.absolute_error,
        "total_error": m.total_error,
    }.items():
        np.testing.assert_allclose(grouped[name], score(e), rtol=1e-12)


def test_grouped_scatter_survives_a_large_offset():
    e = 1e8 + np.array([0.0, 1.0, 2.0])
    assert aim_by_group(e, np.zeros(3, int), 1)["variable_error"][0] == pytest.approx(
        np.sqrt(2 / 3), rel=1e-9
    )


def test_effective_width_uses_the_sample_deviation():
    e = [3.0, -1, 4, -2, 1]
    assert m.effective_width(e) == pytest.approx(4.133 * np.std(e, ddof=1))
    assert np.isnan(m.effective_width([3.0]))
