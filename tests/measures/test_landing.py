import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motorlearn import measures as m
from motorlearn.exceptions import InputError
from motorlearn.measures.landing import landing_by_group

CASE = Path(__file__).parents[1] / "reference" / "aiming_scores" / "values.json"
WORKED = json.loads(CASE.read_text(encoding="utf-8"))["two_dimensions"]
X, Y = np.array(WORKED["xy"], dtype=float).T


def test_worked_values():
    assert m.mean_radial_error(X, Y) == pytest.approx(WORKED["MRE"], abs=1e-12)
    assert m.centroid_radial_error(X, Y) == pytest.approx(WORKED["SRE"], abs=1e-12)
    assert m.bivariate_variable_error(X, Y) == pytest.approx(WORKED["BVE"], abs=1e-12)


coordinates = st.lists(
    st.tuples(st.floats(-1e5, 1e5), st.floats(-1e5, 1e5)), min_size=2, max_size=40
)


@given(coordinates)
def test_mean_square_radius_is_bias_and_scatter(points):
    x, y = np.array(points).T
    whole = m.centroid_radial_error(x, y) ** 2 + m.bivariate_variable_error(x, y) ** 2
    assert np.mean(x**2 + y**2) == pytest.approx(whole, rel=1e-9, abs=1e-9)


def test_rotation_changes_no_score():
    turn = np.radians(37)
    x, y = X * np.cos(turn) - Y * np.sin(turn), X * np.sin(turn) + Y * np.cos(turn)
    for score in (m.mean_radial_error, m.centroid_radial_error, m.bivariate_variable_error):
        assert score(x, y) == pytest.approx(score(X, Y))


def test_a_point_with_one_missing_coordinate_is_left_out_whole():
    assert m.mean_radial_error([3, np.nan], [4, 100]) == 5
    assert m.centroid_radial_error([3, np.nan], [4, 100]) == 5


def test_groups_agree_with_single_scores():
    rng = np.random.default_rng(5)
    x, y = rng.normal(size=(2, 4, 11))
    y[2, 3] = np.nan
    grouped = landing_by_group(x.ravel(), y.ravel(), np.repeat(np.arange(4), 11), 4)
    np.testing.assert_allclose(grouped["mean_radial_error"], m.mean_radial_error(x, y))
    np.testing.assert_allclose(grouped["centroid_radial_error"], m.centroid_radial_error(x, y))
    np.testing.assert_allclose(
        grouped["bivariate_variable_error"], m.bivariate_variable_error(x, y)
    )
    assert grouped["n_landing"].tolist() == [11, 11, 10, 11]


def test_ellipse_holds_its_share_of_normal_points():
    rng = np.random.default_rng(11)
    spread = np.array([[9.0, 4.0], [4.0, 5.0]])
    points = rng.multivariate_normal([1, -2], spread, size=40_000)
    shape = m.landing_ellipse(*points.T)
    turn = np.radians(shape.angle)
    away = points - [shape.centre_x, shape.centre_y]
    along = away @ [np.cos(turn), np.sin(turn)] / shape.semi_major
    across = away @ [-np.sin(turn), np.cos(turn)] / shape.semi_minor
    assert np.mean(along**2 + across**2 <= 1) == pytest.approx(0.95, abs=0.004)
    assert shape.area == pytest.approx(np.pi * 5.991464547 * np.sqrt(29), rel=0.03)


def test_ellipse_by_hand_with_divisor_n():
    # Covariance diag(8/4, 2/4); the chi² quantile of one half on 2 df is 2 ln 2.
    shape = m.landing_ellipse([2, -2, 0, 0], [0, 0, 1, -1], share=0.5)
    assert shape.semi_major == pytest.approx(2 * np.sqrt(np.log(2)))
    assert shape.semi_minor == pytest.approx(np.sqrt(np.log(2)))
    assert shape.area == pytest.approx(2 * np.pi * np.log(2))


def test_ellipse_of_a_line_is_flat_and_points_along_it():
    shape = m.landing_ellipse([0, 1, 2], [0, 1, 2])
    assert shape.angle == pytest.approx(45)
    assert shape.area == pytest.approx(0, abs=1e-6)


def test_hit_probability_agrees_with_simulation():
    r = np.hypot(*np.random.default_rng(2).normal(0, 15, size=(2, 200_000)))
    assert m.hit_probability(20.0, 15.0) == pytest.approx(np.mean(r <= 20), abs=0.004)


@pytest.mark.parametrize(
    ("x", "y", "match"),
    [([1, 2], [1, 2], "three"), ([1, np.nan, 3], [1, 2, 3], "three"), ([1, 2], [1], "as many")],
)
def test_refusals(x, y, match):
    with pytest.raises(InputError, match=match):
        m.landing_ellipse(x, y)


def test_share_outside_0_to_1_is_refused():
    with pytest.raises(InputError, match="share"):
        m.landing_ellipse([1, 2, 3], [1, 2, 4], share=95)
