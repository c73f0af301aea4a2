import json
from pathlib import Path

import numpy as np
import pytest

from motorlearn.exceptions import InputError
from motorlearn.linear import (
    equivalence_from_summary,
    equivalence_of_means,
    equivalence_test,
    welch,
)

CASE = Path(__file__).parents[1] / "reference" / "equivalence_summary" / "values.json"
SUMMARY = json.loads(CASE.read_text(encoding="utf-8"))


def test_summary_values():
    found = equivalence_from_summary(
        tuple(SUMMARY["m"]),
        tuple(SUMMARY["sd"]),
        tuple(SUMMARY["n"]),
        bound=0.43,
        standardised=True,
    )
    assert found.df == pytest.approx(SUMMARY["welch_df"], rel=1e-10)
    assert [found.t_low, found.p_low] == pytest.approx([SUMMARY["t_lower"], SUMMARY["p_lower"]])
    assert [found.t_high, found.p_high] == pytest.approx([SUMMARY["t_upper"], SUMMARY["p_upper"]])
    assert [found.conf_low, found.conf_high] == pytest.approx(SUMMARY["ci90"], rel=1e-9)
    assert found.equivalent


def test_verdict_is_that_of_the_interval_and_of_the_larger_p():
    rng = np.random.default_rng(5)
    for _ in range(200):
        found = equivalence_test(rng.normal(), rng.uniform(0.1, 1), rng.integers(2, 60), bound=1.0)
        assert found.equivalent == (found.p < 0.05)
        assert found.p == max(found.p_low, found.p_high)


def test_samples_summary_and_estimate_agree():
    rng = np.random.default_rng(6)
    a, b = rng.normal(0, 1, 30), rng.normal(0.1, 2, 25)
    row = welch(a, b)
    by_estimate = equivalence_test(row.estimate, row.std_error, row.df, bound=0.8)
    assert equivalence_of_means(a, b, bound=0.8).p == pytest.approx(by_estimate.p)
    by_summary = equivalence_from_summary(
        (a.mean(), b.mean()), (a.std(ddof=1), b.std(ddof=1)), (30, 25), bound=0.8
    )
    assert by_summary.p == pytest.approx(by_estimate.p)


def test_standardised_bound_of_samples_is_in_units_of_their_sample_deviations():
    # Sample variances 1 and 4: the root of their mean is the square root of 2.5.
    first, second = [4.0, 5.0, 6.0], [3.0, 5.0, 7.0]
    found = equivalence_of_means(first, second, bound=2.0, standardised=True)
    assert found.bound_high == pytest.approx(2 * np.sqrt(2.5))


def test_paired_standardised_bound_is_in_units_of_the_change():
    a = np.array([5.0, 6, 7, 9, 4])
    b = a + np.array([0.1, -0.2, 0.3, 0.0, -0.1])
    one = equivalence_of_means(a, b, bound=0.5, paired=True, standardised=True)
    assert one.bound_high == pytest.approx(0.5 * np.std(a - b, ddof=1))


def test_unequal_bounds():
    found = equivalence_test(0.5, 0.1, 30, bound=(-0.2, 1.0))
    assert found.equivalent and found.bound_low == -0.2


def test_at_the_bound_the_error_rate_is_alpha():
    rng, hits = np.random.default_rng(7), 0
    for _ in range(4000):
        hits += equivalence_of_means(
            rng.normal(0.6, 1, 40), rng.normal(0, 1, 40), bound=0.6
        ).equivalent
    assert hits / 4000 == pytest.approx(0.05, abs=0.011)


@pytest.mark.parametrize(
    ("arguments", "match"),
    [
        ({"bound": -1.0}, "enclose"),
        ({"bound": 0.0}, "enclose"),
        ({"bound": 1.0, "alpha": 0.7}, "alpha"),
        ({"bound": 1.0, "std_error": 0.0}, "standard error"),
    ],
)
def test_refusals(arguments, match):
    with pytest.raises(InputError, match=match):
        equivalence_test(**({"estimate": 0.1, "std_error": 0.2, "df": 20} | arguments))


def test_pairs_of_unequal_length_are_refused():
    with pytest.raises(InputError, match="same length"):
        equivalence_of_means([1.0, 2.0], [1.0], bound=1.0, paired=True)
