import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from motorlearn import measures as m
from motorlearn.measures.effect_sizes import noncentrality_interval

CASE = Path(__file__).parents[1] / "reference" / "hedges" / "values.json"
BOOK = json.loads(CASE.read_text(encoding="utf-8"))


def book_effect():
    return m.hedges_g(tuple(BOOK["m"]), tuple(BOOK["s"]), tuple(BOOK["n"]))


def test_worked_example_of_the_book():
    effect = book_effect()
    assert effect.d == pytest.approx(BOOK["d"], rel=1e-9)
    assert effect.g == pytest.approx(BOOK["g"], abs=1e-5)
    assert effect.g / effect.d == pytest.approx(BOOK["J_exact"], rel=1e-9)
    assert effect.std_error == pytest.approx(BOOK["se_g"], abs=1e-5)


def test_interval_inverts_the_noncentral_t():
    effect = book_effect()
    limits = np.array([effect.conf_low, effect.conf_high]) / BOOK["J_exact"]
    assert limits == pytest.approx(BOOK["nct_ci_d"], abs=1e-8)


def test_small_sample_factor_against_the_usual_approximation():
    for df in (5, 10, 30, 100):
        assert m.small_sample_factor(df) == pytest.approx(1 - 3 / (4 * df - 1), abs=0.1 / df**2)


@pytest.mark.parametrize(("t", "df"), [(0.0, 5), (2.0, 20), (-4.0, 8), (30.0, 10), (-50.0, 200)])
def test_limits_put_the_stated_tail_beyond_t(t, df):
    low, high = noncentrality_interval(t, df)
    chi = stats.chi(df)
    u = chi.ppf((np.arange(20_000) + 0.5) / 20_000) / np.sqrt(df)
    assert np.mean(stats.norm.sf(t * u - low)) == pytest.approx(0.025, abs=1e-5)
    assert np.mean(stats.norm.cdf(t * u - high)) == pytest.approx(0.025, abs=1e-5)


def test_interval_covers_and_g_is_unbiased():
    rng, covered, found = np.random.default_rng(4), 0, []
    for _ in range(1500):
        a, b = rng.normal(0.8, 1, 8), rng.normal(0, 1, 8)
        effect = m.hedges_g((a.mean(), b.mean()), (a.std(ddof=1), b.std(ddof=1)), (8, 8))
        covered += effect.conf_low <= 0.8 <= effect.conf_high
        found.append(effect.g)
    # The interval is that of d times J, so it covers a little less than .95 in tiny samples.
    assert 0.93 <= covered / 1500 <= 0.965
    assert np.mean(found) == pytest.approx(0.8, abs=0.05)


def test_paired_example_of_the_book():
    book = BOOK["paired"]
    unit = book["sd_change"] / np.sqrt(2 * (1 - book["r"]))
    effect = m.paired_g((100, unit), (103, unit), book["r"], book["n"])
    assert effect.d == pytest.approx(book["d"], abs=1e-4)
    assert effect.g == pytest.approx(book["g"], abs=1e-4)
    assert effect.std_error**2 == pytest.approx(book["vg"], abs=1e-4)


def test_adjusted_effect_without_adjustment_is_the_ordinary_one():
    plain = book_effect()
    error = BOOK["s_within"] * np.sqrt(2 / 50)
    adjusted = m.adjusted_g(3.0, error, BOOK["s_within"], 98)
    assert adjusted.g == pytest.approx(plain.g, rel=1e-9)
    assert adjusted.std_error == pytest.approx(plain.std_error, rel=2e-3)


def test_unequal_groups_and_sign():
    one = m.hedges_g((5.0, 3.0), (2.0, 1.0), (4, 19))
    other = m.hedges_g((3.0, 5.0), (1.0, 2.0), (19, 4))
    assert one.g == -other.g
    assert (one.conf_low, one.conf_high) == pytest.approx((-other.conf_high, -other.conf_low))


@pytest.mark.parametrize("sizes", [(1, 1), (0, 5)])
def test_too_few_people_have_no_effect_size(sizes):
    assert np.isnan(m.hedges_g((1.0, 2.0), (np.nan, 1.0), sizes).g)


def test_no_spread_has_no_effect_size():
    assert np.isnan(m.hedges_g((1.0, 2.0), (0.0, 0.0), (5, 5)).g)


def test_log_odds_as_a_difference():
    assert m.d_from_log_odds(np.log(2)) == pytest.approx(0.38215, abs=1e-5)
