"""Rising factorials of hits that scatter, against products and the functions of SciPy."""

import numpy as np
import pytest
from scipy.special import digamma, gammaln, polygamma

from motorlearn.mixed.solve.rising import MOST_TERMS, log_rising


@pytest.mark.parametrize("most", [7, 8, 9, MOST_TERMS, MOST_TERMS + 1])
def test_value_and_derivatives_are_differences_of_gamma_functions(most):
    a = np.array([[1e-3, 0.4, 2.5, 31.0], [1e-3, 0.4, 2.5, 31.0]])
    y = np.array([[0.0, 1.0, most, most - 2], [most, 3.0, 0.0, 5.0]])
    found = log_rising(a, y)
    np.testing.assert_allclose(found[0], gammaln(a + y) - gammaln(a), rtol=1e-11, atol=1e-12)
    np.testing.assert_allclose(found[1], digamma(a + y) - digamma(a), rtol=1e-11, atol=1e-12)
    for order in (1, 2):
        wanted = polygamma(order, a + y) - polygamma(order, a)
        np.testing.assert_allclose(found[order + 1], wanted, rtol=1e-10, atol=1e-12)


def test_no_digits_are_lost_where_hits_hardly_scatter():
    """Σ 1/(a + j)² over j = 0, 1, 2 for a of a million, written out."""
    _, _, second, _ = log_rising(np.array([1e6]), np.array([3.0]))
    wanted = -(1e-12 + 1 / 1000001**2 + 1 / 1000002**2)
    assert second[0] == pytest.approx(wanted, rel=1e-14)


def test_parts_of_a_hit_are_allowed():
    value = log_rising(np.array([2.0]), np.array([0.5]))[0]
    assert value[0] == pytest.approx(gammaln(2.5) - gammaln(2.0))
